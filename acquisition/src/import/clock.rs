//! The sample clock behind a time column: its period in spite of rounded times, and which samples
//! are missing.
//!
//! Written times are rounded: at a period of 10.4 µs and six digits, steps of 10 and 11 µs take turns.
//! One step therefore says little. The period is that of the whole span, which the rounding of its
//! two ends hardly touches, and a row is placed by how far it is from where the rows before it say
//! it should be.

use super::rounding::Rounding;
use std::collections::VecDeque;

/// A row further than this many periods from its place is another sample.
const HALF: f64 = 0.5;
/// How far rounding alone puts a row from its place, in roundings: half for itself, half for the
/// rows before it, and a little for the arithmetic.
const ROUNDING: f64 = 1.02;
/// How much of its distance from its place a row moves the places after it: noise of the times is
/// then averaged over some sixteen rows, and a slow drift followed. More averages worse, less follows
/// drift worse.
const FOLLOW: f64 = 1.0 / 16.0;
/// Rows after which the period of the whole span is better than the one from the first rows.
const SETTLED: u64 = 256;
/// Most rows that may be out of place, or after a gap, for the times to be a sample clock at all.
const ODD: f64 = 0.05;

/// What the first rows tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FirstLook {
    /// Period, in units of the column.
    pub step: f64,
    /// Whether rows follow each other at that period, apart from a few.
    pub is_even: bool,
    /// Whether the times are so coarse that rows move by half a period.
    pub is_coarse: bool,
}

/// Looks at the first times, in units of the column, each with its rounding. None if there are fewer
/// than three or they do not run on; a row out of order is for [`Clock`] to find.
pub(crate) fn first_look(times: &[f64], rounding: f64) -> Option<FirstLook> {
    let (first, last) = (*times.first()?, *times.last()?);
    let count = times.len() - 1;
    if count < 2 || last <= first {
        return None;
    }
    let rough = (last - first) / count as f64;
    // Over so many rows rounding is no more than a hundredth of a period each.
    let wide = (200.0 * rounding / rough).min(count as f64 / 4.0);
    let mut lag = 1;
    while (lag as f64) < wide {
        lag *= 2;
    }
    let lag = lag.min(count);
    let mut steps: Vec<f64> = times
        .windows(lag + 1)
        .map(|w| (w[lag] - w[0]) / lag as f64)
        .collect();
    steps.sort_by(f64::total_cmp);
    let step = steps[steps.len() / 2];
    if step <= 0.0 {
        return None;
    }
    let coarse = ROUNDING * rounding / step;
    let mut single: Vec<f64> = times
        .windows(2)
        .map(|w| ((w[1] - w[0]) / step - 1.0).abs())
        .collect();
    single.sort_by(f64::total_cmp);
    let usual = single[single.len() * 9 / 10];
    let is_coarse = usual > 0.3 && coarse > HALF;
    let allowed = if is_coarse { coarse.max(HALF) } else { HALF };
    let odd = single.iter().filter(|d| **d > allowed).count();
    Some(FirstLook {
        step,
        is_even: odd as f64 <= ODD * count as f64 + 2.0,
        is_coarse,
    })
}

/// Where a row belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// So many samples are missing before it.
    After(u64),
    /// Earlier than the row before it.
    Backwards,
    /// The same time as the row before it, and not because times are rounded.
    Repeated,
}

/// Follows the times of a whole file.
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    step: f64,
    /// The period is known, and does not follow the span any more.
    is_fixed: bool,
    rounding_at_first: f64,
    is_coarse: bool,
    rounding: Rounding,
    first: Option<f64>,
    first_rounding: f64,
    last: f64,
    /// Where the last row should be, noise averaged out.
    smooth: f64,
    index: u64,
    rows: u64,
    early: u64,
    after_gaps: u64,
    missing: u64,
    /// Rows that moved by more than half a period only because times are rounded.
    coarse_rows: u64,
    /// Distances of the last rows from their places, in periods, the greatest of each thousand.
    worst: VecDeque<f64>,
}

impl Clock {
    /// A clock that begins with what the first rows tell. `rounding` as given there.
    pub fn new(look: FirstLook, rounding: f64) -> Self {
        Self {
            step: look.step,
            is_fixed: false,
            rounding_at_first: rounding,
            is_coarse: look.is_coarse,
            rounding: Rounding::default(),
            first: None,
            first_rounding: 0.0,
            last: 0.0,
            smooth: 0.0,
            index: 0,
            rows: 0,
            early: 0,
            after_gaps: 0,
            missing: 0,
            coarse_rows: 0,
            worst: VecDeque::new(),
        }
    }

    /// The clock of a column that counts samples: a period is one, exactly.
    pub fn counting() -> Self {
        let look = FirstLook {
            step: 1.0,
            is_even: true,
            is_coarse: false,
        };
        Self {
            is_fixed: true,
            ..Self::new(look, f64::INFINITY)
        }
    }

    /// The same clock from the start, with the period it has found.
    pub fn again(&self, step: f64) -> Self {
        let look = FirstLook {
            step,
            is_even: true,
            is_coarse: self.is_coarse,
        };
        Self {
            is_fixed: true,
            ..Self::new(look, self.rounding_at_first)
        }
    }

    /// Places a row whose time is written to `rounding`.
    pub fn push(&mut self, time: f64, rounding: f64) -> Place {
        let rounding = self.rounding.push(time, rounding);
        self.rows += 1;
        if self.first.is_none() {
            self.first = Some(time);
            self.first_rounding = rounding;
            (self.last, self.smooth) = (time, time);
            return Place::After(0);
        }
        // Where times are written to the period or finer and still step evenly, rounding plays no part.
        let plays = self.is_coarse || rounding > 1.5 * self.rounding_at_first;
        let slack = if plays {
            HALF.max(ROUNDING * rounding / self.step)
        } else {
            HALF
        };
        if time < self.last {
            return Place::Backwards;
        }
        if time - self.last <= 0.0 && slack <= HALF {
            return Place::Repeated;
        }
        let place = self.smooth + self.step;
        let off = (time - place) / self.step;
        let missing = if off > slack {
            off.round().max(1.0)
        } else {
            0.0
        };
        let off = off - missing;
        self.early += u64::from(off < -slack);
        self.after_gaps += u64::from(missing > 0.0);
        self.coarse_rows += u64::from(slack > HALF);
        self.smooth = place + (missing + off * FOLLOW) * self.step;
        self.last = time;
        let missing = whole(missing);
        self.missing += missing;
        self.index += 1 + missing;
        self.note(off.abs());
        if !self.is_fixed && self.index >= SETTLED {
            self.step = (time - self.first.unwrap_or(time)) / self.index as f64;
        }
        Place::After(missing)
    }

    fn note(&mut self, off: f64) {
        if self.rows % 1000 == 2 {
            self.worst.push_back(0.0);
            if self.worst.len() > 64 {
                let _ = self.worst.pop_front();
            }
        }
        if let Some(worst) = self.worst.back_mut() {
            *worst = worst.max(off);
        }
    }

    /// Whether so many rows are out of place or after gaps that this is no sample clock.
    pub fn is_uneven(&self) -> bool {
        self.rows > 20 && (self.early + self.after_gaps) as f64 > ODD * self.rows as f64 + 3.0
    }

    /// Period and how much it may be off, in units of the column: the rounding and the jitter of the
    /// two ends over the span between them.
    pub fn period(&self) -> (f64, f64) {
        if self.is_fixed || self.index == 0 {
            return (self.step, 0.0);
        }
        let step = (self.last - self.first.unwrap_or(self.last)) / self.index as f64;
        let ends = self.first_rounding.max(self.rounding.now) + 2.0 * self.jitter() * step;
        (step, ends / self.index as f64)
    }

    /// Distance of rows from their places, in periods: the greatest, of the last 64,000 rows.
    pub fn jitter(&self) -> f64 {
        self.worst.iter().copied().fold(0.0, f64::max)
    }

    /// Samples that are missing, and at how many places.
    pub fn gaps(&self) -> (u64, u64) {
        (self.missing, self.after_gaps)
    }

    /// Rows so coarse in time that a single missing sample would not show.
    pub fn coarse_rows(&self) -> u64 {
        self.coarse_rows
    }

    /// Rows so far.
    pub fn rows(&self) -> u64 {
        self.rows
    }
}

/// The rate of a period that may be off by `uncertainty` of itself: the one with the fewest digits,
/// in rate or in period, that is as good as any other. Clocks have round rates, and the digits that
/// rounding leaves are no knowledge.
pub(crate) fn plain_rate(period: f64, uncertainty: f64) -> f64 {
    let rate = 1.0 / period;
    // The arithmetic itself is no better than this.
    let slack = uncertainty.clamp(1e-12, 0.01);
    for digits in 1..=6 {
        let (by_rate, by_period) = (rounded(rate, digits), 1.0 / rounded(period, digits));
        for candidate in [by_rate, by_period] {
            if (candidate / rate - 1.0).abs() <= slack {
                return candidate;
            }
        }
    }
    rate
}

fn rounded(x: f64, digits: usize) -> f64 {
    // Through decimal digits: powers of ten below one are not exact.
    format!("{x:.*e}", digits - 1).parse().unwrap_or(x)
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "positive; a gap beyond 2^64 samples saturates"
)]
fn whole(x: f64) -> u64 {
    x as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Index of each row and the rate, of times as written.
    fn follow(written: &[String]) -> (Vec<u64>, f64) {
        let times: Vec<f64> = written.iter().map(|w| w.parse().unwrap()).collect();
        let rounding = |w: &String| 10f64.powi(super::super::number::last_digit(w.as_bytes()));
        let finest = written.iter().take(200).map(rounding).fold(1.0, f64::min);
        let look = first_look(&times[..times.len().min(2000)], finest).unwrap();
        assert!(look.is_even, "{look:?}");
        let mut clock = Clock::new(look, finest);
        let run = |clock: &mut Clock| {
            let mut index = 0;
            let mut places = Vec::new();
            for (w, &t) in written.iter().zip(&times) {
                match clock.push(t, rounding(w)) {
                    Place::After(missing) => index += missing,
                    other => panic!("{w}: {other:?}"),
                }
                places.push(index);
                index += 1;
            }
            places
        };
        let _ = run(&mut clock);
        let (period, uncertainty) = clock.period();
        let rate = plain_rate(period, uncertainty / period);
        (run(&mut clock.again(1.0 / rate)), rate)
    }

    fn except(count: u64, missing: &[u64]) -> Vec<u64> {
        (0..count).filter(|i| !missing.contains(i)).collect()
    }

    #[test]
    fn rounded_times_give_the_true_rate_and_every_gap() {
        let lost = [50, 51, 52, 700, 9_001];
        let rows = except(20_000, &lost);
        type Write = fn(u64) -> String;
        let cases: [(&str, f64, Write); 7] = [
            ("microseconds of 10.4", 1e6 / 10.4, |i| {
                format!("{:.6}", i as f64 * 10.4e-6)
            }),
            ("exact", 200_000.0, |i| format!("{:.6}", i as f64 * 5e-6)),
            ("zeros left out", 100_000.0, |i| {
                format!("{}", (i as f64 * 10.0).round() / 1e6)
            }),
            ("offset, negative", 50_000.0, |i| {
                format!("{:.5}", -0.1 + i as f64 * 2e-5)
            }),
            ("whole microseconds", 1e6, |i| format!("{}", i)),
            ("exponents", 1e6, |i| format!("{:.5e}", i as f64 * 1e-6)),
            ("full digits of a third", 30_000.0, |i| {
                format!("{}", i as f64 / 30_000.0)
            }),
        ];
        for (name, rate, write) in cases {
            let written: Vec<String> = rows.iter().map(|&i| write(i)).collect();
            let (places, found) = follow(&written);
            // "whole microseconds" are counted in units of the column, so its rate is one.
            let rate = if name == "whole microseconds" {
                1.0
            } else {
                rate
            };
            assert!((found / rate - 1.0).abs() < 1e-9, "{name}: {found}");
            assert_eq!(places, rows, "{name}");
        }
    }

    #[test]
    fn six_digits_that_become_too_coarse_still_keep_count() {
        // Beyond 1 s the last of six digits is 10 µs, twice the period: times repeat.
        let written: Vec<String> = (0..400_000u64)
            .map(|i| {
                let t = i as f64 * 5e-6;
                let places = if t < 0.1 {
                    7
                } else if t < 1.0 {
                    6
                } else {
                    5
                };
                format!("{t:.places$}")
            })
            .collect();
        let (places, rate) = follow(&written);
        assert!((rate / 200_000.0 - 1.0).abs() < 1e-9, "{rate}");
        assert_eq!(places.last(), Some(&399_999));
    }

    #[test]
    fn times_that_are_no_clock_are_told() {
        let times: Vec<f64> = (0..100).map(|i| f64::from(i * i)).collect();
        assert!(!first_look(&times, 1.0).unwrap().is_even);
        let mut clock = Clock::counting();
        assert_eq!(clock.push(5.0, 1.0), Place::After(0));
        assert_eq!(clock.push(8.0, 1.0), Place::After(2));
        assert_eq!(clock.push(8.0, 1.0), Place::Repeated);
        assert_eq!(clock.push(7.0, 1.0), Place::Backwards);
    }

    #[test]
    fn plain_rates() {
        assert!((plain_rate(1.0 / 199_999.98, 1e-6) - 200_000.0).abs() < 1e-9);
        assert!((plain_rate(1.040_000_03e-5, 1e-6) - 1.0 / 1.04e-5).abs() < 1e-6);
        assert!((plain_rate(1.0 / 123_456.7, 1e-9) - 123_456.7).abs() < 0.1);
    }
}
