//! A change of duty away from one at which the cam stood, and the motion that answers it.
//!
//! Wherever it stood, in its hold band or pressed against a stop, a phaser that moves afterwards moves the way in which
//! the duty has changed. That holds whatever the hold duty is.

use super::sense::Answer;
use std::collections::VecDeque;

/// Change of duty that counts, points: twice the widest dead band to one side (5 points, common practice, from memory).
const CHANGE: f64 = 10.0;
/// While it stands the duty may stir by as much, points.
const STEADY: f64 = 6.0;
/// How long the duty must have been steady where the cam stood, seconds: longer than any dead time, or what it stood
/// for is a command that has not arrived yet.
const STOOD_FOR: f64 = 0.6;

/// Finds excursions.
#[derive(Debug, Clone, Default)]
pub(super) struct Excursions {
    duties: VecDeque<(f64, f64)>,
    /// Duty and place where it last stood.
    stood: Option<(f64, f64)>,
    /// When the present one began, and whether duty went up.
    under_way: Option<(f64, bool)>,
}

impl Excursions {
    /// One look; `still` if the cam has been standing. The answer so far while an excursion is under way.
    pub fn look(&mut self, now: f64, x: f64, duty: f64, still: bool) -> Option<Answer> {
        self.duties.push_back((now, duty));
        while self
            .duties
            .front()
            .is_some_and(|d| now - d.0 > STOOD_FOR + 0.01)
        {
            let _ = self.duties.pop_front();
        }
        let (least, most) = self
            .duties
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| {
                (a.min(d.1), b.max(d.1))
            });
        let covered = self
            .duties
            .front()
            .is_some_and(|d| now - d.0 >= STOOD_FOR - 0.03);
        if still && covered && most - least <= STEADY {
            self.stood = Some((0.5 * (least + most), x));
            self.under_way = None;
            return None;
        }
        let (from, place) = self.stood?;
        let change = duty - from;
        let (began, up) = match self.under_way {
            None if change.abs() >= CHANGE => *self.under_way.insert((now, change > 0.0)),
            None => return None,
            Some(known) => known,
        };
        let sign = if up { 1.0 } else { -1.0 };
        // A duty that has come back far, or gone beyond, ends it: what follows answers something else.
        if sign * change < -CHANGE {
            self.stood = None;
            self.under_way = None;
            return None;
        }
        Some(Answer {
            began,
            moved: sign * (x - place),
            pushed: sign * change >= CHANGE,
        })
    }
}
