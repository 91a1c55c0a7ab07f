//! The reference that a recording of a good engine gives, or why it gives none.

use super::handbook::Told;
use super::{CamEntry, Conditions, EdgeEntry, EdgeMark, EngineMark, Origin, Reference, Rest};
use crate::base_timing::{CamAtRest, Hindrance};
use crate::engine::{CamSheet, EdgeKind, EngineSheet};
use crate::lead::CamId;
use crate::units::{Band, CrankDegrees, Rpm};

/// Cycles in which every edge has to be seen: some five seconds of idle, after which the mean is known five times as
/// well as one edge. More would cost the technician time for nothing, for the spread between engines is larger.
pub const LEAST_CYCLES: usize = 30;
/// Widest spread of an edge from cycle to cycle: a good sensor has some tenths of a degree, and of one that scatters
/// more nothing good comes.
const WIDEST: f64 = 2.5;

/// Why a cam gives none.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Which.
    pub cam: CamId,
    /// Why, and what to do.
    pub why: String,
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} cam: {}", self.cam, self.why)
    }
}

/// The reference, and the cams that are not in it; `Err` when no cam is.
pub fn reference(
    sheet: &EngineSheet,
    rests: &[CamAtRest],
    told: &Told,
) -> Result<(Reference, Vec<Refusal>), Vec<Refusal>> {
    let (mut cams, mut refusals) = (Vec::new(), Vec::new());
    let mut speed: Option<Band<Rpm>> = None;
    for cam in &sheet.cams {
        let rest = rests.iter().find(|r| r.cam == cam.cam);
        match rest.map_or_else(|| Err("it was not seen".to_owned()), |r| entry(cam, r)) {
            Ok(entry) => {
                if let Some(seen) = rest.and_then(|r| r.speed) {
                    speed = Some(speed.map_or(seen, |s| Band {
                        low: if s.low < seen.low { s.low } else { seen.low },
                        high: if s.high > seen.high {
                            s.high
                        } else {
                            seen.high
                        },
                    }));
                }
                cams.push(entry);
            }
            Err(why) => refusals.push(Refusal { cam: cam.cam, why }),
        }
    }
    if cams.is_empty() {
        return Err(refusals);
    }
    let reference = Reference {
        form: super::FORM,
        name: told.name.trim().to_owned(),
        origin: Origin::Measured,
        made: told.made.clone(),
        by: told.by.trim().to_owned(),
        source: told.source.clone(),
        vehicle: told.vehicle.trim().to_owned(),
        note: told.note.trim().to_owned(),
        engine: EngineMark::of(sheet),
        conditions: Conditions {
            speed: speed.map(|s| Band {
                low: Rpm(s.low.0.round()),
                high: Rpm(s.high.0.round()),
            }),
            oil: told.oil,
        },
        cams,
        parts: Vec::new(),
    };
    Ok((reference, refusals))
}

/// What a cam gives, or why nothing.
fn entry(cam: &CamSheet, rest: &CamAtRest) -> Result<CamEntry, String> {
    let cycles = rest.edges.iter().map(|e| e.cycles).min().unwrap_or(0);
    if cycles < LEAST_CYCLES {
        let why = rest.hindrance.map(Hindrance::words).filter(|_| {
            // A rest that is merely short is no matter of what was before it.
            cycles == 0 || rest.hindrance != Some(Hindrance::Moving)
        });
        let seen = if cycles == 0 {
            "was not seen at rest".to_owned()
        } else {
            format!("was seen at rest for {cycles} cycles, {LEAST_CYCLES} are needed")
        };
        return Err(match why {
            Some(why) => format!("it {seen}: {why}"),
            None => format!("it {seen}: record a few seconds more of warm idle"),
        });
    }
    let Some(range) = rest.range else {
        return Err("it was not at rest long enough at a time: let the engine idle warm for five seconds and more".to_owned());
    };
    if let Some([low, high]) = rest.elsewhere {
        return Err(format!(
            "it rested at several places, {:.1}° apart and more: a good engine comes back to the same place",
            (high.0 - low.0).abs().max(1.5)
        ));
    }
    if let Some(worst) = rest.edges.iter().map(|e| e.spread.0).reduce(f64::max)
        && worst > WIDEST
    {
        return Err(format!(
            "its edges scatter by {worst:.1}° from cycle to cycle, more than {WIDEST:.1}°: look at its sensor and lead first"
        ));
    }
    let hundredth = |x: f64| (x * 100.0).round() / 100.0;
    let edges = (rest.edges.iter().enumerate())
        .map(|(i, edge)| EdgeEntry {
            mark: match edge.kind {
                EdgeKind::Rising => EdgeMark::Rising,
                EdgeKind::Falling => EdgeMark::Falling,
            },
            window: i / 2 + 1,
            // What rounds to a whole cycle is its begin.
            angle: CrankDegrees(hundredth(edge.angle.degrees()).rem_euclid(720.0)),
            spread: Some(CrankDegrees(hundredth(edge.spread.0))),
            count: Some(edge.cycles),
        })
        .collect();
    Ok(CamEntry {
        cam: cam.cam,
        tolerance: cam.tolerance,
        uncertainty: CrankDegrees(hundredth(range.0).max(0.01)),
        engines: 1,
        windows: cam.windows.len(),
        phaser: cam.phaser.is_some(),
        rest: if cam.phaser.is_some() {
            Rest::Command
        } else {
            Rest::Fixed
        },
        edges,
    })
}
