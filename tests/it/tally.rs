//! Every angle that the analysis claims, against the truth of the simulator.

use crate::matrix;
use crate::rig::{BLOCK, Rig};
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::snapshot::Sync;
use keyway_analysis::units::SampleTime;
use std::fmt;

/// Enough for crank and cams: at 6500 rpm a tooth of 60 takes 15 samples.
pub const RATE: f64 = 100_000.0;
/// Instants looked at in each slice of 1/200 s.
const LOOKS: u64 = 4;
/// Samples in a slice.
const SLICE: u64 = 500;
/// Below this speed a crank is not said to turn: it takes seconds for a revolution.
const TURNS: f64 = 30.0;

/// Where samples are lost: seconds after the start, and how many.
pub type Losses = &'static [(f64, usize)];

/// What was seen in one run, or in several together.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Instants looked at while the crank turned, and how many had a valid angle.
    pub looked: u64,
    pub valid: u64,
    /// All claims that were compared: valid angles, phase samples, revolutions.
    pub claims: u64,
    /// Claims more than a tooth wrong.
    pub wrong: u64,
    /// Seconds and error in degrees of the first of them.
    pub first_wrong: Option<(f64, f64)>,
    /// Revolutions for which wrong angles were claimed without a break, at most.
    pub wrong_for: f64,
    /// Largest error, in teeth and in degrees.
    pub teeth: f64,
    pub degrees: f64,
    /// Largest error of a phase, crank degrees.
    pub phase: f64,
    pub losses: u64,
    /// Longest time without a valid angle between two with one, and before the first, in revolutions of a turning crank;
    /// of the pattern alone, and with the cycle.
    pub regain: [f64; 2],
    pub find: [f64; 2],
}

impl Tally {
    /// Adds another run.
    pub fn add(&mut self, other: &Self) {
        self.looked += other.looked;
        self.valid += other.valid;
        self.claims += other.claims;
        self.wrong += other.wrong;
        self.first_wrong = self.first_wrong.or(other.first_wrong);
        self.losses += other.losses;
        for (most, now) in [
            (&mut self.wrong_for, other.wrong_for),
            (&mut self.teeth, other.teeth),
            (&mut self.degrees, other.degrees),
            (&mut self.phase, other.phase),
        ] {
            *most = most.max(now);
        }
        for k in 0..2 {
            self.regain[k] = self.regain[k].max(other.regain[k]);
            self.find[k] = self.find[k].max(other.find[k]);
        }
    }

    /// Part of the instants with a turning crank at which the angle was valid.
    pub fn share(&self) -> f64 {
        self.valid as f64 / self.looked.max(1) as f64
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:8} claims  valid {:5.1} %  worst {:5.2} teeth {:6.2}°  wrong {:5}  losses {:4}  found in {:4.1}/{:4.1} rev, again in {:4.1}/{:4.1} rev  phase {:5.2}°",
            self.claims,
            100.0 * self.share(),
            self.teeth,
            self.degrees,
            self.wrong,
            self.losses,
            self.find[0],
            self.find[1],
            self.regain[0],
            self.regain[1],
            self.phase,
        )?;
        if let Some((at, degrees)) = self.first_wrong {
            write!(
                f,
                "  FIRST WRONG at {at:.4} s by {degrees:.1}°, for {:.2} rev at most",
                self.wrong_for
            )?;
        }
        Ok(())
    }
}

/// Follows one run.
struct Watch {
    tally: Tally,
    /// Crank degrees of a tooth, of a part of the wheel, and from tooth 1 to TDC.
    tooth: f64,
    part: f64,
    gap_to_tdc: f64,
    /// Reference edges of the cams, as the sheet counts them.
    edges: [Vec<f64>; 2],
    /// Instants before this one were looked at, or lost.
    seen: u64,
    /// Degrees that the crank has turned forwards while samples came, and the truth's angle then.
    turned: f64,
    angle: f64,
    /// Where the pattern and the cycle were known last, in those degrees.
    known: [Option<f64>; 2],
    wrong_since: Option<f64>,
}

/// Runs a scenario with crank and cams only and compares everything that is claimed.
pub fn tally(scenario: &Scenario, seed: u64, seconds: f64, losses: Losses) -> Tally {
    let mut rig = Rig::of_wheels(scenario, seed, RATE, seconds + 1.0);
    rig.pipeline.collect_series();
    let windows = |w: &Vec<[f64; 2]>| w.iter().flatten().copied().collect();
    let wheel = &scenario.engine.crank;
    let mut watch = Watch {
        tally: Tally::default(),
        tooth: wheel.narrowest(),
        part: matrix::part(wheel),
        gap_to_tdc: wheel.gap_to_tdc,
        edges: [
            &scenario.engine.intake.windows,
            &scenario.engine.exhaust.windows,
        ]
        .map(windows),
        seen: 0,
        turned: 0.0,
        angle: rig.engine.truth().angle,
        known: [None, None],
        wrong_since: None,
    };
    let mut at = 0.0;
    let end = (seconds, 0);
    for &(until, lost) in losses.iter().filter(|l| l.0 < seconds).chain([&end]) {
        rig.run(until - at, |pipeline, engine| watch.look(pipeline, engine));
        rig.lose(lost);
        watch.skip(&rig.engine);
        at = rig.engine.made() as f64 / RATE;
    }
    watch.tally.losses = rig.pipeline.snapshot().counts.sync_losses;
    watch.tally
}

/// Signed distance of two angles on a circle, at most half of it.
fn distance(a: f64, b: f64, circle: f64) -> f64 {
    let d = (a - b).rem_euclid(circle);
    if d > circle / 2.0 { d - circle } else { d }
}

impl Watch {
    /// Samples were lost up to now.
    fn skip(&mut self, engine: &Engine) {
        self.seen = engine.made();
        self.angle = engine.truth().angle;
    }

    fn look(&mut self, pipeline: &mut Pipeline, engine: &Engine) {
        let done = engine.made() / SLICE * SLICE;
        let first = self.seen.max(done.saturating_sub(BLOCK as u64 + SLICE));
        let mut valid = false;
        let step = SLICE / LOOKS;
        let mut at = first.div_ceil(step) * step;
        while at <= done {
            valid |= self.compare(pipeline, engine, at);
            at += step;
            self.seen = at;
        }
        self.follow(pipeline, engine, valid);
        self.series(pipeline, engine);
    }

    /// One instant; true if its angle is valid.
    fn compare(&mut self, pipeline: &Pipeline, engine: &Engine, at: u64) -> bool {
        let Some(truth) = engine.truth_at(at) else {
            return false;
        };
        let turns = truth.rpm > TURNS;
        self.tally.looked += u64::from(turns);
        // The wheel alone claims an angle too; of an even one it is right whatever it is.
        let step = pipeline.crank_step().0;
        if let Some(angle) = pipeline.crank_angle_at(SampleTime(at as f64))
            && step > 2.0 * self.tooth
        {
            self.claim(truth.time, distance(angle.0, truth.angle, step));
        }
        let Some(angle) = pipeline.angle_at(SampleTime(at as f64)) else {
            return false;
        };
        self.tally.valid += u64::from(turns);
        self.claim(truth.time, distance(angle.degrees(), truth.angle, 720.0));
        true
    }

    fn claim(&mut self, time: f64, error: f64) {
        self.tally.claims += 1;
        self.tally.degrees = self.tally.degrees.max(error.abs());
        self.tally.teeth = self.tally.teeth.max(error.abs() / self.tooth);
        if error.abs() <= self.tooth {
            self.wrong_since = None;
            return;
        }
        self.tally.wrong += 1;
        let _ = self.tally.first_wrong.get_or_insert((time, error));
        let since = *self.wrong_since.get_or_insert(self.turned);
        self.tally.wrong_for = self.tally.wrong_for.max((self.turned - since) / 360.0);
    }

    /// How far the crank turned while pattern and cycle were not known.
    fn follow(&mut self, pipeline: &Pipeline, engine: &Engine, valid: bool) {
        let truth = engine.truth();
        if truth.rpm > TURNS {
            self.turned += (truth.angle - self.angle).max(0.0);
        }
        self.angle = truth.angle;
        let pattern = matches!(pipeline.sync(), Sync::Revolution | Sync::Cycle);
        for (k, known) in [pattern, valid].into_iter().enumerate() {
            if known {
                let without = (self.turned - self.known[k].unwrap_or(0.0)) / 360.0;
                let most = match self.known[k] {
                    Some(_) => &mut self.tally.regain[k],
                    None => &mut self.tally.find[k],
                };
                *most = most.max(without);
                self.known[k] = Some(self.turned);
            }
        }
    }

    /// Phase samples and revolutions.
    fn series(&mut self, pipeline: &mut Pipeline, engine: &Engine) {
        let series = pipeline.drain_series();
        for sample in series.phases {
            let truth = engine
                .truth_at_instant(sample.at.0)
                .expect("within the log");
            // A phase is reference less angle: it claims an angle too.
            let angle = self.edges[sample.cam][sample.edge] - sample.phase.0;
            self.claim(truth.time, distance(angle, truth.angle, 720.0));
            let shown = truth.cams[sample.cam].shown;
            let error = distance(sample.phase.0, shown, 720.0).abs();
            self.tally.phase = self.tally.phase.max(error);
        }
        for revolution in series.revolutions {
            let [start, end] = [revolution.start, revolution.end]
                .map(|t| engine.truth_at_instant(t.0).expect("within the log"));
            self.claim(end.time, end.angle - start.angle - 360.0);
            // It begins at tooth 1, of a wheel of like parts at the first tooth of any.
            if self.part <= 360.0 && self.part > 2.0 * self.tooth {
                let off = distance(start.angle + self.gap_to_tdc, 0.0, self.part);
                self.claim(start.time, off);
            }
        }
    }
}
