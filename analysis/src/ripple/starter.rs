//! The starter's current, thinned to means of a millisecond.

use super::waveform::LENGTH;
use crate::rotation::whole_cycle::WholeCycle;
use crate::units::{Hertz, SampleTime};
use std::collections::VecDeque;

/// Means kept: the six cycles of teeth that the rotation keeps, at 60 rpm.
const KEPT: usize = 12_000;

/// Means of the last seconds. A millisecond is 1.2 crank degrees at 200 rpm, well below a part of the cycle.
#[derive(Debug, Clone)]
pub(crate) struct MeanTrain {
    /// Samples in one mean.
    length: u64,
    sum: i64,
    count: u64,
    /// Middle of each mean, and its value in counts.
    means: VecDeque<(f64, f64)>,
}

impl MeanTrain {
    pub fn new(rate: Hertz) -> Self {
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "samples in a millisecond"
        )]
        let length = (rate.0 / 1000.0).round() as u64;
        Self {
            length: length.max(1),
            sum: 0,
            count: 0,
            means: VecDeque::new(),
        }
    }

    /// Takes consecutive samples, the first of which has index `first`.
    pub fn push(&mut self, first: u64, samples: &[i16]) {
        let mut rest = samples;
        let mut next = first;
        while !rest.is_empty() {
            let most = usize::try_from(self.length - self.count).unwrap_or(usize::MAX);
            let (now, later) = rest.split_at(most.min(rest.len()));
            self.sum += now.iter().map(|&x| i64::from(x)).sum::<i64>();
            self.count += now.len() as u64;
            next += now.len() as u64;
            rest = later;
            if self.count == self.length {
                if self.means.len() == KEPT {
                    let _ = self.means.pop_front();
                }
                let n = self.count as f64;
                self.means
                    .push_back((next as f64 - (n + 1.0) / 2.0, self.sum as f64 / n));
                self.forget_part();
            }
        }
    }

    /// Samples were lost: no mean is taken across.
    pub fn forget_part(&mut self) {
        self.sum = 0;
        self.count = 0;
    }

    /// Mean over each part of a cycle, in counts; `None` where samples are missing.
    pub fn over(&self, cycle: &WholeCycle) -> Option<Vec<f64>> {
        if cycle.times.len() != LENGTH + 3 {
            return None;
        }
        // The instants of 0, 6 ... 720 degrees, without the margin on either side.
        cycle.times[1..LENGTH + 2]
            .windows(2)
            .map(|t| self.between(t[0], t[1]))
            .collect()
    }

    fn between(&self, from: SampleTime, to: SampleTime) -> Option<f64> {
        let a = self.means.partition_point(|m| m.0 < from.0);
        let b = self.means.partition_point(|m| m.0 < to.0);
        let due = (to.0 - from.0) / self.length as f64;
        let have = (b - a) as f64;
        if have < 1.0 || have < due - 1.5 {
            return None;
        }
        Some(self.means.range(a..b).map(|m| m.1).sum::<f64>() / have)
    }
}
