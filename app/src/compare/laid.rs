//! The cycles of several recordings laid on each other by crank angle: of each the mean over the cycles
//! of a stretch, under the same conditions.

use super::side::Side;
use crate::fault::Fault;
use crate::review::locked::{self, Locked};
use crate::session::playback;
use crate::work::Progress;
use keyway_analysis::lead::Role;

/// Columns of a cycle: a crank degree each.
pub const COLUMNS: usize = 720;
/// Most cycles in a mean.
const CYCLES: usize = 40;

/// Recordings under one condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// Which: "at idle, commands at rest".
    pub words: &'static str,
    /// Of each recording its mean cycle, or why there is none.
    pub sides: Vec<Result<MeanCycle, String>>,
}

/// The mean of some cycles.
#[derive(Debug, Clone, PartialEq)]
pub struct MeanCycle {
    /// How many.
    pub cycles: usize,
    /// Engine speed over them, rpm.
    pub rpm: f64,
    /// Per lead the mean at the middle of each column; not a number where there is none.
    pub leads: Vec<(Role, String, Vec<f64>)>,
}

/// The conditions, in the order in which they are told.
const CONDITIONS: [&str; 3] = ["at idle, commands at rest", "at idle", "driven"];

/// All recordings under each condition that any of them has.
pub(super) fn all(sides: &[Side], progress: &Progress) -> Result<Vec<Laid>, Fault> {
    let has = |side: &Side, words: &str| side.course.stretches.iter().any(|s| s.words == words);
    let by_all = |words: &str| sides.iter().all(|side| has(side, words));
    let conditions: Vec<&'static str> = (CONDITIONS.into_iter())
        .filter(|words| sides.iter().any(|side| has(side, words)))
        // At rest is at idle as well, and all that can be seen there is seen better.
        .filter(|words| *words != CONDITIONS[1] || !by_all(CONDITIONS[0]))
        .collect();
    let pieces = (conditions.iter())
        .flat_map(|_| sides)
        .map(|_| 1.0)
        .sum::<f64>();
    let mut done = 0.0;
    let mut laid = Vec::new();
    for words in conditions {
        let mut cycles = Vec::new();
        for side in sides {
            let part = progress.part(done / pieces, (done + 1.0) / pieces);
            cycles.push(mean_cycle(side, words, &part)?);
            done += 1.0;
        }
        laid.push(Laid {
            words,
            sides: cycles,
        });
    }
    Ok(laid)
}

fn mean_cycle(
    side: &Side,
    words: &str,
    progress: &Progress,
) -> Result<Result<MeanCycle, String>, Fault> {
    if let Some(why) = side.course.hindrance {
        return Ok(Err(why.to_owned()));
    }
    let Some(stretch) = side.course.stretches.iter().find(|s| s.words == words) else {
        return Ok(Err(format!("not seen {words} for a second")));
    };
    let (recording, setup) = playback::open(&side.file)?;
    let span = stretch.span.clone();
    let locked = locked::cut(&recording, &setup, span, COLUMNS, CYCLES, progress)?;
    Ok(mean(&locked).ok_or_else(|| {
        let why = locked.hindrance.as_deref();
        why.unwrap_or("no whole engine cycle in it").to_owned()
    }))
}

fn mean(locked: &Locked) -> Option<MeanCycle> {
    let begin = locked.cycles.first()?;
    if !locked.cycles.iter().all(|c| c.is_known) {
        // Half a cycle may be wrong: windows would be compared with those of the other revolution.
        return None;
    }
    let count = locked.cycles.iter().map(|_| 1.0).sum::<f64>();
    let seconds: f64 = locked.cycles.iter().map(|c| c.end - c.begin).sum();
    let of = |cycles: &[Vec<f32>]| -> Vec<f64> {
        (0..COLUMNS)
            .map(|column| {
                let values = cycles.iter().filter_map(|c| c.get(column));
                let (sum, n) = (values.filter(|v| v.is_finite()))
                    .fold((0.0, 0.0), |(s, n), v| (s + f64::from(*v), n + 1.0));
                sum / n
            })
            .collect()
    };
    Some(MeanCycle {
        cycles: locked.cycles.len(),
        rpm: if seconds > 0.0 {
            120.0 * count / seconds
        } else {
            120.0 / (begin.end - begin.begin)
        },
        leads: (locked.leads.iter())
            .map(|lead| (lead.role, lead.unit.clone(), of(&lead.cycles)))
            .collect(),
    })
}
