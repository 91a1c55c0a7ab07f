//! The angles of the single edges of a cam while it rests: what a reference is made of. The windows of the sheet only
//! say which edge is which; whether they are those of a good engine does not matter here.

use super::rest::Rest;
use super::{BaseLook, Unjudged};
use crate::engine::{CamSheet, EdgeKind};
use crate::lead::{CamId, Role};
use crate::units::{Band, CrankAngle, CrankDegrees, Rpm};

/// Part of the idle zone's lower end, and of its upper, between which a rest counts. The delay of a sensor grows with
/// the speed in degrees: 20 µs are 0.1 degrees at idle and 0.4 at 3000 rpm, and a chain hangs differently when it runs fast.
const SLOWEST: f64 = 0.8;
const FASTEST: f64 = 1.25;

/// The angles of one cam at rest.
#[derive(Debug, Clone, PartialEq)]
pub struct CamAtRest {
    /// Which.
    pub cam: CamId,
    /// Its edges: rising of window 0, falling of window 0, rising of window 1, ...; those never seen have no cycles.
    pub edges: Vec<EdgeAtRest>,
    /// Between which speeds.
    pub speed: Option<Band<Rpm>>,
    /// Half width of the 95 % range of the place as a whole; `None` before a look at rest was whole.
    pub range: Option<CrankDegrees>,
    /// Looks at rest, driven away between them, that agree.
    pub looks: usize,
    /// Places at which it rested before, if that was elsewhere.
    pub elsewhere: Option<[CrankDegrees; 2]>,
    /// What most kept it from being seen at rest, if anything did.
    pub hindrance: Option<Hindrance>,
}

/// One edge of a cam at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeAtRest {
    /// Direction.
    pub kind: EdgeKind,
    /// Mean angle.
    pub angle: CrankAngle,
    /// Standard deviation from cycle to cycle.
    pub spread: CrankDegrees,
    /// How many cycles.
    pub cycles: usize,
}

/// What keeps a cam from being seen at rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hindrance {
    /// A lead is not in the plan.
    NoLead(Role),
    /// A lead is not proven.
    Unproven(Role),
    /// The engine does not run, or its speed is not known.
    NotRunning,
    /// The phase is not known.
    NoPhase,
    /// Its command does not let it rest.
    Driven,
    /// It is commanded to rest and still moves, or has only just come to rest.
    Moving,
    /// The engine runs outside its idle zone.
    Speed,
}

impl Hindrance {
    /// In words, behind "it" as the subject.
    pub fn words(self) -> String {
        match self {
            Self::NoLead(role) => format!("there is no lead on '{role}'; connect one"),
            Self::Unproven(role) => {
                format!("the lead on '{role}' is not proven; prove it on the Hook-up screen first")
            }
            Self::NotRunning => "the engine does not run, or its speed is not known".to_owned(),
            Self::NoPhase => {
                "its edges do not fit the windows in the engine sheet, so that no phase is known"
                    .to_owned()
            }
            Self::Driven => {
                "its command does not let it rest; let the engine idle, or unplug the actuator"
                    .to_owned()
            }
            Self::Moving => "it was commanded to rest and still moved".to_owned(),
            Self::Speed => "the engine ran outside its idle zone; let it idle warm".to_owned(),
        }
    }
}

/// Mean and spread of one edge's phase (Welford's recurrence).
#[derive(Debug, Clone, Copy, Default)]
struct Moments {
    count: usize,
    n: f64,
    mean: f64,
    squares: f64,
}

impl Moments {
    fn push(&mut self, x: f64) {
        self.count += 1;
        self.n += 1.0;
        let off = x - self.mean;
        self.mean += off / self.n;
        self.squares += off * (x - self.mean);
    }

    fn deviation(&self) -> f64 {
        if self.count < 2 {
            return 0.0;
        }
        (self.squares / (self.n - 1.0)).sqrt()
    }
}

/// Gathers them for one cam.
#[derive(Debug, Clone)]
pub(super) struct EdgeWatch {
    cam: CamId,
    /// Kind and angle in the sheet.
    pattern: Vec<(EdgeKind, f64)>,
    idle: Band<Rpm>,
    /// Edges since the last look.
    waiting: Vec<(usize, f64)>,
    seen: Vec<Moments>,
    speed: Option<Band<Rpm>>,
    /// How often each was in the way.
    hindrances: Vec<(Hindrance, usize)>,
}

impl EdgeWatch {
    pub fn new(sheet: &CamSheet, idle: Band<Rpm>) -> Self {
        let pattern: Vec<(EdgeKind, f64)> = (sheet.windows.iter())
            .flat_map(|&[rising, falling]| {
                [(EdgeKind::Rising, rising), (EdgeKind::Falling, falling)]
            })
            .collect();
        Self {
            cam: sheet.cam,
            seen: vec![Moments::default(); pattern.len()],
            pattern,
            idle,
            waiting: Vec::new(),
            speed: None,
            hindrances: Vec::new(),
        }
    }

    /// An edge whose place is known.
    pub fn wait(&mut self, edge: usize, phase: CrankDegrees) {
        self.waiting.push((edge, phase.0));
    }

    pub fn gap(&mut self) {
        self.waiting.clear();
    }

    /// Takes the edges since the last look if the cam rests, and says why not otherwise.
    pub fn look(
        &mut self,
        speed: Option<f64>,
        look: &BaseLook<'_>,
        lead: Option<Unjudged>,
        resting: bool,
    ) {
        let within =
            |rpm: &f64| (SLOWEST * self.idle.low.0..=FASTEST * self.idle.high.0).contains(rpm);
        let hindrance = match (lead, speed) {
            (Some(Unjudged::NoLead(role)), _) => Some(Hindrance::NoLead(role)),
            (Some(Unjudged::Unproven(role)), _) => Some(Hindrance::Unproven(role)),
            (_, None) => Some(Hindrance::NotRunning),
            _ if look.phase.valid().is_none() => Some(Hindrance::NoPhase),
            _ if !look.at_rest => Some(Hindrance::Driven),
            (_, Some(rpm)) if !within(&rpm) => Some(Hindrance::Speed),
            _ if !resting => Some(Hindrance::Moving),
            _ => None,
        };
        match (hindrance, speed) {
            (None, Some(rpm)) => {
                for (edge, phase) in self.waiting.drain(..) {
                    if let Some(seen) = self.seen.get_mut(edge) {
                        seen.push(phase);
                    }
                }
                let ends = self
                    .speed
                    .map_or([rpm, rpm], |s| [s.low.0.min(rpm), s.high.0.max(rpm)]);
                self.speed = Some(Band {
                    low: Rpm(ends[0]),
                    high: Rpm(ends[1]),
                });
            }
            (why, _) => {
                self.waiting.clear();
                let why = why.unwrap_or(Hindrance::NotRunning);
                match self.hindrances.iter_mut().find(|h| h.0 == why) {
                    Some(known) => known.1 += 1,
                    None => self.hindrances.push((why, 1)),
                }
            }
        }
    }

    pub fn view(&self, rest: Option<Rest>) -> CamAtRest {
        let edges = (self.pattern.iter().zip(&self.seen))
            .map(|(&(kind, angle), seen)| EdgeAtRest {
                kind,
                // Phase is reference minus measured angle.
                angle: CrankAngle::wrapped(angle - seen.mean),
                spread: CrankDegrees(seen.deviation()),
                cycles: seen.count,
            })
            .collect();
        CamAtRest {
            cam: self.cam,
            edges,
            speed: self.speed,
            range: rest.map(|r| CrankDegrees(r.place)),
            looks: rest.map_or(0, |r| r.looks),
            elsewhere: rest.and_then(|r| r.elsewhere).map(|e| e.map(CrankDegrees)),
            hindrance: (self.hindrances.iter().max_by_key(|h| h.1)).map(|h| h.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phase::PhaseDetail;
    use crate::reading::Reading;

    fn watch() -> EdgeWatch {
        let sheet: CamSheet = toml::from_str(
            "cam = \"intake\"\nwindows = [[40, 130]]\nknown_good = false\ntolerance = 3",
        )
        .expect("a cam");
        let idle = Band {
            low: Rpm(700.0),
            high: Rpm(900.0),
        };
        EdgeWatch::new(&sheet, idle)
    }

    #[test]
    fn only_edges_at_rest_count() {
        let mut w = watch();
        let detail = PhaseDetail::default();
        let look = |at_rest| BaseLook {
            phase: Reading::Valid(CrankDegrees(0.0)),
            spread: None,
            detail: &detail,
            at_rest,
        };
        for (phase, rpm, at_rest, resting) in [
            (2.0, 800.0, true, true),
            (-30.0, 800.0, false, false),
            (-20.0, 800.0, true, false),
            (9.0, 2500.0, true, true),
            (4.0, 820.0, true, true),
        ] {
            w.wait(0, CrankDegrees(phase));
            w.wait(1, CrankDegrees(phase + 1.0));
            w.look(Some(rpm), &look(at_rest), None, resting);
        }
        let view = w.view(None);
        assert_eq!(view.edges[0].cycles, 2);
        assert!((view.edges[0].angle.degrees() - 37.0).abs() < 1e-9);
        assert!((view.edges[1].angle.degrees() - 126.0).abs() < 1e-9);
        assert!((view.edges[0].spread.0 - 2.0f64.sqrt()).abs() < 1e-9);
        let speed = view.speed.expect("seen");
        assert_eq!([speed.low, speed.high], [Rpm(800.0), Rpm(820.0)]);
    }

    #[test]
    fn what_was_most_in_the_way_is_told() {
        let mut w = watch();
        let detail = PhaseDetail::default();
        let look = BaseLook {
            phase: Reading::Valid(CrankDegrees(0.0)),
            spread: None,
            detail: &detail,
            at_rest: false,
        };
        w.look(None, &look, None, false);
        for _ in 0..3 {
            let lead = Some(Unjudged::Unproven(Role::Crank));
            w.look(Some(800.0), &look, lead, false);
        }
        w.look(Some(800.0), &look, None, false);
        let view = w.view(None);
        assert_eq!(view.hindrance, Some(Hindrance::Unproven(Role::Crank)));
        assert_eq!(view.edges[0].cycles, 0);
    }
}
