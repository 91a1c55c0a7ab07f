//! Pulse-width modulation of a ground-switched load.
//! Duty = time at the low level / period (IEEE 181-2011: duty factor of the negative pulse),
//! each period from falling edge to falling edge, both timed at the 50 % level.

use crate::edge::Edge;
use crate::engine::EdgeKind;
use crate::ring::SampleRing;
use crate::units::{Hertz, Percent, SampleTime, Seconds};
use std::collections::VecDeque;

/// A lead without an edge for this long stands still: two periods of 20 Hz, far below any valve's frequency (100 Hz and up).
const STILL: f64 = 0.1;
/// Periods are kept for this long.
const KEPT: f64 = 0.3;
/// Samples averaged per state and period.
const PER_STATE: u64 = 8;

/// One PWM period, times in samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Period {
    /// Falling edge that ends it.
    pub end: SampleTime,
    /// Time at the low level.
    pub low: f64,
    /// Length.
    pub length: f64,
}

/// Mean over the periods of a window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Duty {
    /// Share of time at the low level.
    pub duty: Percent,
    /// Periods per second.
    pub frequency: Hertz,
}

/// Measures one command lead.
#[derive(Debug, Clone)]
pub struct DutyMeter {
    rate: f64,
    /// State levels further from steady than this many counts are still moving.
    steady: f64,
    periods: VecDeque<Period>,
    lows: VecDeque<(SampleTime, f64)>,
    highs: VecDeque<(SampleTime, f64)>,
    fall: Option<SampleTime>,
    rise: Option<SampleTime>,
    last_edge: Option<SampleTime>,
}

impl DutyMeter {
    /// A meter at `rate`; a state that moves by more than `steady` counts has not settled.
    pub fn new(rate: Hertz, steady: f64) -> Self {
        Self {
            rate: rate.0,
            steady,
            periods: VecDeque::new(),
            lows: VecDeque::new(),
            highs: VecDeque::new(),
            fall: None,
            rise: None,
            last_edge: None,
        }
    }

    /// Takes the next edge; its state before it is read from `ring`. Returns the period it completes.
    pub fn push(&mut self, edge: Edge, ring: &SampleRing) -> Option<Period> {
        self.last_edge = Some(edge.at);
        match edge.kind {
            EdgeKind::Rising => {
                if let Some(fall) = self.fall {
                    // The second half of the low state: the driver has saturated by then.
                    if let Some(level) = self.settled(ring, fall, edge.at, 0.5) {
                        self.lows.push_back((edge.at, level));
                    }
                }
                self.rise = Some(edge.at);
                None
            }
            EdgeKind::Falling => {
                let before = self.fall.replace(edge.at);
                let rise = self.rise.take();
                if let Some(rise) = rise {
                    // The last quarter of the high state: after the flyback, if there is an after.
                    if let Some(level) = self.settled(ring, rise, edge.at, 0.75) {
                        self.highs.push_back((edge.at, level));
                    }
                }
                let (before, rise) = (before?, rise?);
                let period = Period {
                    end: edge.at,
                    low: rise.0 - before.0,
                    length: edge.at.0 - before.0,
                };
                // From the last edge before a standstill to the first after it is no period.
                if period.length > STILL * self.rate {
                    return None;
                }
                self.periods.push_back(period);
                Some(period)
            }
        }
    }

    /// Drops what is too old at `now`.
    pub fn settle(&mut self, now: SampleTime) {
        let oldest = now.0 - KEPT * self.rate;
        while self.periods.front().is_some_and(|p| p.end.0 < oldest) {
            let _ = self.periods.pop_front();
        }
        for levels in [&mut self.lows, &mut self.highs] {
            while levels.front().is_some_and(|(at, _)| at.0 < oldest) {
                let _ = levels.pop_front();
            }
        }
    }

    /// Mean over the periods that ended in the `window` before `now`; `None` when there is none or the lead stands still.
    pub fn duty(&self, now: SampleTime, window: Seconds) -> Option<Duty> {
        if self.is_still(now) {
            return None;
        }
        let from = now.0 - window.0 * self.rate;
        let (mut low, mut length, mut n) = (0.0, 0.0, 0.0);
        for p in self.periods.iter().rev().take_while(|p| p.end.0 > from) {
            low += p.low;
            length += p.length;
            n += 1.0;
        }
        (length > 0.0).then(|| Duty {
            duty: Percent(100.0 * low / length),
            frequency: Hertz(n * self.rate / length),
        })
    }

    /// The periods of the last 0.3 s, oldest first.
    pub fn periods(&self) -> impl DoubleEndedIterator<Item = &Period> {
        self.periods.iter()
    }

    /// Whether no edge came for longer than any valve's two periods.
    pub fn is_still(&self, now: SampleTime) -> bool {
        self.last_edge
            .is_none_or(|at| now.0 - at.0 > STILL * self.rate)
    }

    /// The last edge of all.
    pub fn last_edge(&self) -> Option<SampleTime> {
        self.last_edge
    }

    /// Mean settled level while on, in counts.
    pub fn low(&self, now: SampleTime, window: Seconds) -> Option<f64> {
        mean(&self.lows, now.0 - window.0 * self.rate)
    }

    /// Mean settled level while off, in counts.
    pub fn high(&self, now: SampleTime, window: Seconds) -> Option<f64> {
        mean(&self.highs, now.0 - window.0 * self.rate)
    }

    /// Forgets the period under way: no interval is measured across a gap.
    pub fn gap(&mut self) {
        self.fall = None;
        self.rise = None;
        self.last_edge = None;
    }

    fn settled(
        &self,
        ring: &SampleRing,
        from: SampleTime,
        to: SampleTime,
        share: f64,
    ) -> Option<f64> {
        let start = index(from.0 + share * (to.0 - from.0)) + 1;
        // Two samples off the edge itself.
        let end = index(to.0).saturating_sub(1);
        let (mean, half) = ring.sampled(start, end, PER_STATE)?;
        (half <= self.steady).then_some(mean)
    }
}

fn mean(levels: &VecDeque<(SampleTime, f64)>, from: f64) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0.0);
    for (_, level) in levels.iter().rev().take_while(|(at, _)| at.0 > from) {
        sum += level;
        n += 1.0;
    }
    (n > 0.0).then(|| sum / n)
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "sample times are not negative and far below 2^53"
)]
fn index(x: f64) -> u64 {
    x.max(0.0) as u64
}

#[cfg(test)]
#[allow(
    clippy::cast_possible_truncation,
    reason = "made samples lie well within the counts"
)]
mod tests {
    use super::*;
    use crate::edge::TwoState;
    use crate::level::LevelFinder;

    const RATE: f64 = 200_000.0;

    /// A second of a pin switched at `hertz`, 20 counts per volt: on 0.4 V, clamp at 53 V for `flyback` s, then 13.7 V.
    fn measure(duty: f64, hertz: f64, flyback: f64) -> (DutyMeter, SampleTime) {
        let samples: Vec<i16> = (0..200_000)
            .map(|i| {
                let t = (f64::from(i) + 0.3) / RATE;
                let x = (t * hertz).fract();
                let volts = if x < duty {
                    0.4
                } else if (x - duty) / hertz < flyback {
                    53.0
                } else {
                    13.7
                };
                let noise = f64::from((i * 7919) % 5) - 2.0;
                (volts * 200.0 + noise).round() as i16
            })
            .collect();
        let mut finder =
            LevelFinder::new((-20_000, 20_000), 400.0, RATE, 100).with_mid_at_most(1400.0);
        let mut ring = SampleRing::new(200_000);
        let (mut edges, mut found) = (TwoState::default(), Vec::new());
        let mut meter = DutyMeter::new(Hertz(RATE), 100.0);
        for (i, slice) in samples.chunks(1000).enumerate() {
            let first = i as u64 * 1000;
            ring.push(first, slice);
            finder.push(slice);
            if let Some(t) = finder.thresholds() {
                edges.push(first, slice, t, &mut found);
            }
            for e in found.drain(..) {
                let _ = meter.push(e, &ring);
            }
            meter.settle(SampleTime((first + 1000) as f64));
        }
        (meter, SampleTime(200_000.0))
    }

    #[test]
    fn duty_within_a_fifth_of_a_point_from_5_to_95_percent_and_100_to_400_hertz() {
        for hertz in [100.0, 198.7, 250.0, 317.3, 400.0] {
            for tenth in [50, 100, 223, 355, 500, 650, 800, 900, 950] {
                for flyback in [0.0, 1e-4, 4.5e-4] {
                    let duty = f64::from(tenth) / 1000.0;
                    let (meter, now) = measure(duty, hertz, flyback);
                    let got = meter.duty(now, Seconds(0.2)).expect("switching");
                    assert!(
                        (got.duty.0 - 100.0 * duty).abs() < 0.2,
                        "{hertz} Hz {duty} {flyback}: {got:?}"
                    );
                    assert!((got.frequency.0 - hertz).abs() < 0.02 * hertz.sqrt());
                    let low = meter.low(now, Seconds(0.2)).expect("low") / 200.0;
                    assert!((low - 0.4).abs() < 0.05, "low {low}");
                    // Where the flyback fills the off time, no settled level is claimed but the clamp's own.
                    if (1.0 - duty) / hertz > 1.4 * flyback {
                        let high = meter.high(now, Seconds(0.2)).expect("high") / 200.0;
                        assert!(
                            (high - 13.7).abs() < 0.05,
                            "{hertz} {duty} {flyback}: high {high}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn a_lead_that_stops_switching_is_still() {
        let (meter, now) = measure(0.5, 200.0, 0.0);
        assert!(!meter.is_still(now));
        assert!(meter.is_still(SampleTime(now.0 + 0.12 * RATE)));
        assert_eq!(
            meter.duty(SampleTime(now.0 + 0.12 * RATE), Seconds(0.2)),
            None
        );
    }

    #[test]
    fn a_standstill_is_no_period() {
        let (mut meter, ring) = (DutyMeter::new(Hertz(RATE), 100.0), SampleRing::new(1));
        // 200 Hz at 10 %, two seconds of nothing, then 90 %.
        let pulses = (0..10).map(|n| (1_000.0 * f64::from(n), 100.0));
        let again = (0..4).map(|n| (410_000.0 + 1_000.0 * f64::from(n), 900.0));
        for (fall, low) in pulses.chain(again) {
            for (at, kind) in [(fall, EdgeKind::Falling), (fall + low, EdgeKind::Rising)] {
                let at = SampleTime(at);
                let _ = meter.push(Edge { at, kind }, &ring);
            }
        }
        let now = SampleTime(414_000.0);
        meter.settle(now);
        let got = meter.duty(now, Seconds(0.1)).expect("switching again");
        assert!((got.duty.0 - 90.0).abs() < 1e-9, "{got:?}");
        assert!((got.frequency.0 - 200.0).abs() < 1e-9, "{got:?}");
    }
}
