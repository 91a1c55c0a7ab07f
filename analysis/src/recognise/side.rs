//! Which of the two crossings of a swinging signal lies at the tooth's centre.

use super::listener::Mark;
use super::rhythm::{local_median, median};
use std::collections::VecDeque;

/// Crossings beside a gap are weaker by this factor on the wrong side of the tooth.
pub(super) const WEAKER: f64 = 1.8;
/// Without a gap the tooth's centre is steeper than the middle of the space by at least this factor.
const STEEPER: f64 = 1.1;

/// What the steepness tells.
pub(super) enum Steep {
    /// Which of the directions (index into what was heard) is steeper where it matters, and by what factor.
    Told {
        steeper: usize,
        factor: f64,
    },
    Untold,
}

/// Which direction crosses at the teeth: beside a gap the other one is weak, without a gap it is less steep.
pub(super) fn steepness([a, b]: [&VecDeque<Mark>; 2]) -> Steep {
    let (wa, wb) = (weakest(a), weakest(b));
    if let (Some(wa), Some(wb)) = (wa, wb) {
        let factor = wa / wb.max(1e-6);
        if factor > WEAKER {
            return Steep::Told { steeper: 0, factor };
        }
        if factor < 1.0 / WEAKER {
            return Steep::Told {
                steeper: 1,
                factor: 1.0 / factor.max(1e-6),
            };
        }
    }
    let usual =
        |marks: &VecDeque<Mark>| median(known(marks).into_iter().map(|m| m.steep).collect());
    let factor = usual(a) / usual(b).max(1e-9);
    if factor > STEEPER {
        Steep::Told { steeper: 0, factor }
    } else if factor < 1.0 / STEEPER {
        Steep::Told {
            steeper: 1,
            factor: 1.0 / factor,
        }
    } else {
        Steep::Untold
    }
}

fn known(marks: &VecDeque<Mark>) -> Vec<Mark> {
    marks
        .iter()
        .filter(|m| m.steep.is_finite())
        .copied()
        .collect()
}

/// Steepness of the weakest third of the crossings beside long intervals, against their neighbours.
fn weakest(marks: &VecDeque<Mark>) -> Option<f64> {
    let marks = known(marks);
    let at: Vec<f64> = marks.iter().map(|m| m.edge.at.0).collect();
    let steep: Vec<f64> = marks.iter().map(|m| m.steep).collect();
    let intervals: Vec<f64> = at.windows(2).map(|w| w[1] - w[0]).collect();
    let mut beside: Vec<f64> = (1..intervals.len())
        .filter(|&i| {
            let usual = local_median(&intervals, i);
            intervals[i] > 1.3 * usual || intervals[i - 1] > 1.3 * usual
        })
        .map(|i| steep[i] / local_median(&steep, i).max(1e-9))
        .collect();
    if beside.len() < 4 {
        return None;
    }
    beside.sort_by(f64::total_cmp);
    beside.truncate(beside.len().div_ceil(3));
    Some(beside.iter().sum::<f64>() / beside.len() as f64)
}
