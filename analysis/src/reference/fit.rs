//! Whether a reference belongs to an engine, and what an engine sheet becomes with it.

use super::{CamEntry, EdgeEntry, Reference};
use crate::engine::{CamReference, CamSheet, EdgeKind, EngineSheet, Sensor};
use crate::lead::CamId;
use crate::pattern::wrap;
use crate::units::CrankDegrees;
use std::fmt;

/// How far the single edges may be from where the sheet's pattern has them, crank degrees, the place of the cam as a
/// whole taken away. Windows that were read off a picture are off by several; more is another tone wheel.
const APART: f64 = 12.0;
/// How far the cam as a whole may be from where the sheet has it: a sheet that was drawn from an engine one tooth out
/// (15 to 20 degrees) is still served; more is rather another TDC.
const FAR: f64 = 30.0;
/// Angles of TDC that differ by less are the same.
const SAME_TDC: f64 = 0.05;

/// Why a reference does not belong to an engine.
#[derive(Debug, Clone, PartialEq)]
pub enum Misfit {
    /// Its engine has another name.
    Name {
        /// In the reference.
        own: String,
        /// In the sheet.
        sheet: String,
    },
    /// Another tone wheel on the crank.
    Wheel {
        /// In the reference.
        own: String,
        /// In the sheet.
        sheet: String,
    },
    /// Another kind of crank sensor, or another edge that marks the tooth.
    Sensor,
    /// TDC stood elsewhere behind the gap when it was measured.
    Tdc {
        /// In the reference.
        own: CrankDegrees,
        /// In the sheet.
        sheet: CrankDegrees,
    },
    /// The sheet has no such cam.
    NoCam(CamId),
    /// The cam has another number of windows.
    Windows {
        /// Which.
        cam: CamId,
        /// In the reference.
        own: usize,
        /// In the sheet.
        sheet: usize,
    },
    /// One of the two has a phaser on that cam and the other has not.
    Phaser(CamId),
    /// The edges do not lie to each other as in the sheet.
    Pattern {
        /// Which.
        cam: CamId,
        /// By how much the worst is off.
        off: CrankDegrees,
    },
    /// The cam as a whole lies elsewhere than in the sheet.
    Far {
        /// Which.
        cam: CamId,
        /// By how much.
        off: CrankDegrees,
    },
}

impl fmt::Display for Misfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Name { own, sheet } => {
                write!(f, "it is for \"{own}\", the engine sheet is \"{sheet}\"")
            }
            Self::Wheel { own, sheet } => write!(
                f,
                "it was made with the tone wheel {own}, the engine sheet has {sheet}"
            ),
            Self::Sensor => f.write_str(
                "it was made with another kind of crank sensor or another active edge than the engine sheet has",
            ),
            Self::Tdc { own, sheet } => write!(
                f,
                "it counts TDC {:.1}° after the gap, the engine sheet {:.1}°",
                own.0, sheet.0
            ),
            Self::NoCam(cam) => write!(f, "the engine sheet has no {cam} cam"),
            Self::Windows { cam, own, sheet } => write!(
                f,
                "the {cam} cam has {own} windows in it and {sheet} in the engine sheet"
            ),
            Self::Phaser(cam) => write!(
                f,
                "of the {cam} cam, one of the two has a phaser and the other has not"
            ),
            Self::Pattern { cam, off } => write!(
                f,
                "the edges of the {cam} cam do not lie to each other as in the engine sheet: the worst is {:.0}° off",
                off.0
            ),
            Self::Far { cam, off } => write!(
                f,
                "the {cam} cam lies {:.0}° from where the engine sheet has it: another TDC or another engine",
                off.0
            ),
        }
    }
}

/// What becomes of a cam of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Applied {
    /// Which.
    pub cam: CamId,
    /// Its windows.
    pub windows: Vec<[f64; 2]>,
    /// Whether they count as those of a good engine as a whole.
    pub known_good: bool,
    /// Its tolerance.
    pub tolerance: CrankDegrees,
    /// Where they come from.
    pub reference: CamReference,
}

/// A name without what does not matter in it.
fn plain(name: &str) -> String {
    let words: Vec<String> = name.split_whitespace().map(str::to_lowercase).collect();
    words.join(" ")
}

fn tenths(x: f64) -> f64 {
    (x * 100.0).round() / 100.0 + 0.0
}

impl Reference {
    /// Why it does not belong to this engine; empty when it does.
    pub fn misfits(&self, sheet: &EngineSheet) -> Vec<Misfit> {
        let (own, crank) = (&self.engine, &sheet.crank);
        let mut misfits = Vec::new();
        if plain(&own.name) != plain(&sheet.name) {
            misfits.push(Misfit::Name {
                own: own.name.clone(),
                sheet: sheet.name.clone(),
            });
        }
        if plain(&own.wheel) != plain(&crank.wheel) {
            misfits.push(Misfit::Wheel {
                own: own.wheel.clone(),
                sheet: crank.wheel.clone(),
            });
        } else if self.engine.gap_to_tdc.is_some() {
            if own.sensor != crank.sensor || own.active_edge != crank.active_edge {
                misfits.push(Misfit::Sensor);
            }
            if let Some(gap) = own.gap_to_tdc
                && wrap(gap.0 - crank.gap_to_tdc.0).abs() > SAME_TDC
            {
                misfits.push(Misfit::Tdc {
                    own: gap,
                    sheet: crank.gap_to_tdc,
                });
            }
        }
        for entry in &self.cams {
            match sheet.cam(entry.cam) {
                None => misfits.push(Misfit::NoCam(entry.cam)),
                Some(cam) => misfits.extend(misfit(entry, cam)),
            }
        }
        misfits
    }

    /// What becomes of the cams of the sheet, or why it does not belong to the engine.
    pub fn onto(&self, sheet: &EngineSheet) -> Result<Vec<Applied>, Vec<Misfit>> {
        let misfits = self.misfits(sheet);
        if !misfits.is_empty() {
            return Err(misfits);
        }
        Ok((self.cams.iter())
            .filter_map(|entry| {
                let cam = sheet.cam(entry.cam)?;
                Some(self.onto_cam(entry, cam))
            })
            .collect())
    }

    fn onto_cam(&self, entry: &CamEntry, cam: &CamSheet) -> Applied {
        let by = offset(entry, cam).map_or(0.0, |(mean, _)| mean);
        let moved: Vec<f64> = (cam.windows.iter().flatten())
            .zip(entry.angles())
            .map(|(angle, known)| known.unwrap_or(angle + by))
            .collect();
        let windows = (moved.chunks_exact(2))
            .map(|pair| {
                let rising = tenths(pair[0].rem_euclid(720.0));
                let width = (pair[1] - pair[0]).rem_euclid(720.0);
                [rising, tenths(rising + width)]
            })
            .collect();
        let mut edges: Vec<usize> = (entry.edges.iter())
            .flat_map(|e| e.mark.edges(e.window - 1, entry.windows))
            .map(|i| i + 1)
            .collect();
        edges.sort_unstable();
        edges.dedup();
        Applied {
            cam: entry.cam,
            windows,
            known_good: entry.is_whole() || cam.known_good,
            tolerance: entry.tolerance,
            reference: CamReference {
                name: self.name.clone(),
                // One word for all cams, where they are known in the same way.
                quality: if self
                    .cams
                    .iter()
                    .all(|c| c.is_whole() == entry.is_whole() && c.engines == entry.engines)
                {
                    self.words()
                } else {
                    self.cam_words(entry)
                },
                uncertainty: entry.uncertainty,
                edges: (!entry.is_whole()).then_some(edges),
            },
        }
    }
}

/// Angle of the same place in the sheet.
fn in_sheet(edge: &EdgeEntry, cam: &CamSheet) -> f64 {
    let pattern: Vec<f64> = cam.windows.iter().flatten().copied().collect();
    let [from, to] = edge.mark.edges(edge.window - 1, cam.windows.len());
    match (pattern.get(from), pattern.get(to)) {
        (Some(a), Some(b)) => a + 0.5 * (b - a).rem_euclid(720.0),
        _ => 0.0,
    }
}

/// By how much the reference's edges lie behind the sheet's: the mean, and how far the worst is off it.
fn offset(entry: &CamEntry, cam: &CamSheet) -> Option<(f64, f64)> {
    let first = entry
        .edges
        .first()
        .map(|e| wrap(e.angle.0 - in_sheet(e, cam)))?;
    let offs: Vec<f64> = (entry.edges.iter())
        .map(|e| first + wrap(e.angle.0 - in_sheet(e, cam) - first))
        .collect();
    let n: f64 = offs.iter().map(|_| 1.0).sum();
    let mean = offs.iter().sum::<f64>() / n;
    let worst = offs.iter().map(|o| (o - mean).abs()).fold(0.0, f64::max);
    Some((wrap(mean), worst))
}

fn misfit(entry: &CamEntry, cam: &CamSheet) -> Option<Misfit> {
    let id = entry.cam;
    if entry.windows != cam.windows.len() {
        return Some(Misfit::Windows {
            cam: id,
            own: entry.windows,
            sheet: cam.windows.len(),
        });
    }
    if entry.phaser != cam.phaser.is_some() {
        return Some(Misfit::Phaser(id));
    }
    let (mean, worst) = offset(entry, cam)?;
    if worst > APART {
        Some(Misfit::Pattern {
            cam: id,
            off: CrankDegrees(worst),
        })
    } else if mean.abs() > FAR {
        Some(Misfit::Far {
            cam: id,
            off: CrankDegrees(mean.abs()),
        })
    } else {
        None
    }
}

/// What a file calls a kind of sensor.
pub(super) fn sensor_word(sensor: Sensor) -> &'static str {
    match sensor {
        Sensor::Vr => "vr",
        Sensor::Hall => "hall",
    }
}

/// What a file calls an edge.
pub(super) fn edge_word(kind: EdgeKind) -> &'static str {
    match kind {
        EdgeKind::Rising => "rising",
        EdgeKind::Falling => "falling",
    }
}
