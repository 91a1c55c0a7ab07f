//! Whether the phase of a cam at rest has moved over the session: slowly, as a chain or belt that stretches does
//! (one-sided, usually to retard), or at once, as one that jumps a tooth does.
//!
//! Three models are laid through the phase at rest: a constant, a line, and two levels. The one with the lowest
//! Bayesian information criterion, n ln(RSS/n) + k ln n, is the state (Schwarz, Annals of Statistics 6 (1978) 461),
//! if it beats the constant by 10, which Kass and Raftery call very strong evidence (JASA 90 (1995) 773, from memory).

use crate::units::{CrankDegrees, DegreesPerSecond, SampleTime, Seconds};
use std::ops::Range;

/// Bins before anything is said.
const LEAST_BINS: usize = 12;
/// Bins kept; then two and two are put together. More would place a step more finely and cost more time.
const MOST_BINS: usize = 192;
/// Cam revolutions in a bin at first: evens out what a cam swings from one to the next.
const BIN: u32 = 4;
/// Bins that either side of a step must have, so that a single odd bin is none.
const SIDE: usize = 3;
/// By how much a model must beat the constant.
const STRONG: f64 = 10.0;
/// Motion below this is none, crank degrees: sensor and oil warm up by tenths of a degree. Less would take a warm-up
/// for a stretch, more would see a stretch later.
const LEAST_MOTION: f64 = 0.5;
/// Standard errors that it must amount to: the criterion takes bins for independent, and an engine that hunts at idle
/// makes them alike for a while. Noise with a memory of 0.7 from one revolution to the next doubles the true error.
const CLEAR: f64 = 8.0;
/// Standard deviation below which bins are taken to be equal: nothing is measured more finely.
const FLOOR: f64 = 0.01;

/// Whether the phase at rest has moved over the session.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Drift {
    /// Too little seen at rest.
    #[default]
    Unknown,
    /// It has not.
    Still {
        /// Time over which that was watched.
        over: Seconds,
    },
    /// It moves slowly.
    Drifting {
        /// Rate, advance positive; a stretching chain or belt is negative.
        rate: DegreesPerSecond,
        /// Standard error of the rate.
        uncertainty: DegreesPerSecond,
        /// Time over which that was watched.
        over: Seconds,
    },
    /// It moved at once.
    Stepped {
        /// When, at latest; it was not before [`Self::Stepped::after`].
        at: SampleTime,
        /// The last time at rest before.
        after: SampleTime,
        /// By how much, advance positive.
        by: CrankDegrees,
        /// Standard error of that.
        uncertainty: CrankDegrees,
        /// The same in teeth of the cam sprocket (720 / teeth crank degrees each), if the sheet says how many it has.
        teeth: Option<Teeth>,
    },
}

/// A step in teeth of the cam sprocket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Teeth {
    /// How many, not rounded; advance positive.
    pub count: f64,
    /// Standard error.
    pub uncertainty: f64,
}

/// Several revolutions at rest.
#[derive(Debug, Clone, Copy)]
struct Bin {
    first: f64,
    last: f64,
    sum: f64,
    revolutions: u32,
}

impl Bin {
    fn middle(&self) -> f64 {
        0.5 * (self.first + self.last)
    }

    fn mean(&self) -> f64 {
        self.sum / f64::from(self.revolutions)
    }
}

/// Watches one cam.
#[derive(Debug, Clone)]
pub(crate) struct DriftWatch {
    rate: f64,
    tooth: Option<f64>,
    width: u32,
    bins: Vec<Bin>,
    open: Option<Bin>,
    state: Drift,
}

impl DriftWatch {
    /// `rate` samples a second; crank degrees that one tooth of the sprocket makes, if known.
    pub fn new(rate: f64, tooth: Option<f64>) -> Self {
        Self {
            rate,
            tooth,
            width: BIN,
            bins: Vec::new(),
            open: None,
            state: Drift::Unknown,
        }
    }

    /// The same with nothing seen.
    pub fn renewed(&self) -> Self {
        Self::new(self.rate, self.tooth)
    }

    pub fn state(&self) -> Drift {
        self.state
    }

    /// Takes the mean phase of a cam revolution at rest that ended at `at`.
    pub fn push(&mut self, at: f64, phase: f64) {
        let open = self.open.get_or_insert(Bin {
            first: at,
            last: at,
            sum: 0.0,
            revolutions: 0,
        });
        open.last = at;
        open.sum += phase;
        open.revolutions += 1;
        if open.revolutions < self.width {
            return;
        }
        self.bins.extend(self.open.take());
        if self.bins.len() >= MOST_BINS {
            self.width *= 2;
            self.bins = self
                .bins
                .chunks(2)
                .map(|two| Bin {
                    first: two[0].first,
                    last: two[two.len() - 1].last,
                    sum: two.iter().map(|b| b.sum).sum(),
                    revolutions: two.iter().map(|b| b.revolutions).sum(),
                })
                .collect();
        }
        self.state = self.judge();
    }

    fn judge(&self) -> Drift {
        let n = self.bins.len();
        let (Some(first), Some(last), true) =
            (self.bins.first(), self.bins.last(), n >= LEAST_BINS)
        else {
            return Drift::Unknown;
        };
        let count = size(&self.bins);
        let criterion = |rss: f64, terms: f64| {
            let variance = (rss / count).max(FLOOR * FLOOR);
            count * variance.ln() + terms * count.ln()
        };
        let seconds = |b: &Bin| b.middle() / self.rate;
        let over = seconds(last) - seconds(first);
        let line = Line::through(self.bins.iter().map(|b| (seconds(b), b.mean())));
        let step = Step::within(&self.bins, criterion);

        let still = criterion(Levels::of(&self.bins).squares(0..n), 1.0) - STRONG;
        let by_line = criterion(line.rss, 2.0);
        if let Some(step) = step.filter(|s| s.criterion < by_line.min(still)) {
            if step.by.abs() >= LEAST_MOTION && step.by.abs() >= CLEAR * step.uncertainty {
                return self.stepped(&step);
            }
        } else if by_line < still {
            let variance = (line.rss / (count - 2.0)).max(FLOOR * FLOOR);
            let uncertainty = (variance / line.sxx).sqrt();
            if (line.slope * over).abs() >= LEAST_MOTION && line.slope.abs() >= CLEAR * uncertainty
            {
                return Drift::Drifting {
                    rate: DegreesPerSecond(line.slope),
                    uncertainty: DegreesPerSecond(uncertainty),
                    over: Seconds(over),
                };
            }
        }
        Drift::Still {
            over: Seconds(over),
        }
    }

    fn stepped(&self, step: &Step) -> Drift {
        Drift::Stepped {
            at: SampleTime(self.bins[step.to].first),
            after: SampleTime(self.bins[step.from].last),
            by: CrankDegrees(step.by),
            uncertainty: CrankDegrees(step.uncertainty),
            teeth: self.tooth.map(|tooth| Teeth {
                count: step.by / tooth,
                uncertainty: step.uncertainty / tooth,
            }),
        }
    }
}

fn size(bins: &[Bin]) -> f64 {
    bins.iter().map(|_| 1.0).sum()
}

/// Sums over the first bins, so that the residuals of any stretch of them cost nothing.
struct Levels {
    /// Number, sum and sum of squares of the means before each bin.
    before: Vec<[f64; 3]>,
}

impl Levels {
    fn of(bins: &[Bin]) -> Self {
        // About the first mean: squares of what is far from zero would lose digits.
        let base = bins.first().map_or(0.0, Bin::mean);
        let mut before = vec![[0.0; 3]];
        let mut sums = [0.0; 3];
        for b in bins {
            let x = b.mean() - base;
            sums = [sums[0] + 1.0, sums[1] + x, sums[2] + x * x];
            before.push(sums);
        }
        Self { before }
    }

    fn sums(&self, bins: Range<usize>) -> [f64; 3] {
        let (a, b) = (self.before[bins.start], self.before[bins.end]);
        [b[0] - a[0], b[1] - a[1], b[2] - a[2]]
    }

    /// Mean, from the first bin's.
    fn mean(&self, bins: Range<usize>) -> f64 {
        let [n, sum, _] = self.sums(bins);
        sum / n
    }

    /// Squares about the mean.
    fn squares(&self, bins: Range<usize>) -> f64 {
        let [n, sum, squares] = self.sums(bins);
        (squares - sum * sum / n).max(0.0)
    }
}

/// Two levels.
struct Step {
    /// The last bin before and the first after; one between them holds the step itself.
    from: usize,
    to: usize,
    by: f64,
    uncertainty: f64,
    criterion: f64,
}

impl Step {
    /// The best place for a step, between two bins or in the midst of one.
    fn within(bins: &[Bin], criterion: impl Fn(f64, f64) -> f64) -> Option<Self> {
        let (n, levels) = (bins.len(), Levels::of(bins));
        let count = size(bins);
        [(0, 3.0), (1, 4.0)]
            .into_iter()
            .flat_map(|(skip, terms)| {
                (SIDE..=n.saturating_sub(SIDE + skip)).map(move |to| (to, to + skip, terms))
            })
            .map(|(end, to, terms)| {
                let rss = levels.squares(0..end) + levels.squares(to..n);
                let variance = (rss / (count - terms + 1.0)).max(FLOOR * FLOOR);
                let parts = 1.0 / levels.sums(0..end)[0] + 1.0 / levels.sums(to..n)[0];
                Self {
                    from: end - 1,
                    to,
                    by: levels.mean(to..n) - levels.mean(0..end),
                    uncertainty: (variance * parts).sqrt(),
                    criterion: criterion(rss, terms),
                }
            })
            .min_by(|a, b| a.criterion.total_cmp(&b.criterion))
    }
}

/// A line of least squares.
struct Line {
    slope: f64,
    sxx: f64,
    rss: f64,
}

impl Line {
    fn through(points: impl Iterator<Item = (f64, f64)> + Clone) -> Self {
        let (mut n, mut x, mut y) = (0.0, 0.0, 0.0);
        for (px, py) in points.clone() {
            n += 1.0;
            x += px;
            y += py;
        }
        let (x, y) = (x / n, y / n);
        let (mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0);
        for (px, py) in points {
            sxx += (px - x).powi(2);
            sxy += (px - x) * (py - y);
            syy += (py - y).powi(2);
        }
        let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
        Self {
            slope,
            sxx,
            rss: (syy - slope * sxy).max(0.0),
        }
    }
}

#[cfg(test)]
mod tests;
