//! Resistance and inductance of the coil from the rise of its current.
//!
//! The rise i(t) = (V/R)(1 − e^(−tR/L)) solves V = R·i + L·di/dt. Integrated from the instant at which the driver
//! begins to conduct, ∫V dt = R·∫i dt + L·(i − i0), which is linear in R and L, holds for any current at the start
//! (a diode keeps it flowing) and for any course of V, and needs no derivative of a noisy current. V is what lies
//! across the coil, supply less pin. Over a whole period the last term nearly vanishes, which tells R from the means.

use super::span::{self, Cut};
use crate::channel::Channel;
use std::collections::VecDeque;

/// Stretches into which the conduction is cut.
const PARTS: u64 = 24;
/// Fewest stretches with which a curve is one.
const FEWEST_PARTS: u64 = 6;
/// Looks that are taken together, ten a second: more is steadier, less follows a change sooner.
const LOOKS: usize = 20;
/// Longest time constant L/R of a phaser's valve, seconds (1 to 5 ms, from memory): in a conduction much shorter than that
/// the current rises in a straight line, which tells the inductance and nothing of the resistance.
const SLOWEST: f64 = 5e-3;
/// Looks from which the scatter between them is known.
const FEWEST: usize = 6;

/// An estimate and its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Estimate {
    pub value: f64,
    pub error: f64,
}

/// What is known of coil and driver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Coil {
    /// Coil, and the feed up to where the supply is seen; ohms.
    pub resistance: Estimate,
    /// Henries.
    pub inductance: Estimate,
}

/// Sums of the linear equation flux = R·charge + L·current, taken about the mean of each period.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    qq: f64,
    qi: f64,
    ii: f64,
    qf: f64,
    fi: f64,
    /// Volts times amperes and amperes squared at the conducting driver.
    pi: f64,
    cc: f64,
    /// What the edges, known to a sample, leave open of resistance and inductance: shares, summed over the periods.
    open: [f64; 2],
    periods: f64,
}

impl Sums {
    fn add(&mut self, o: &Self, sign: f64) {
        self.qq += sign * o.qq;
        self.qi += sign * o.qi;
        self.ii += sign * o.ii;
        self.qf += sign * o.qf;
        self.fi += sign * o.fi;
        self.pi += sign * o.pi;
        self.cc += sign * o.cc;
        self.open[0] += sign * o.open[0];
        self.open[1] += sign * o.open[1];
        self.periods += sign * o.periods;
    }

    fn solve(&self) -> Option<(f64, f64)> {
        let det = self.qq * self.ii - self.qi * self.qi;
        let r = (self.qf * self.ii - self.fi * self.qi) / det;
        let l = (self.fi * self.qq - self.qf * self.qi) / det;
        // Charge and current in proportion over the whole conduction tell only one of the two.
        let known = det > 1e-9 * self.qq * self.ii;
        (known && r.is_finite() && l.is_finite() && r > 0.0 && l > 0.0).then_some((r, l))
    }
}

/// One point of the curve: charge, current, flux.
#[derive(Debug, Clone, Copy)]
struct Point {
    q: f64,
    i: f64,
    f: f64,
}

/// Learns one circuit from looks.
#[derive(Debug, Clone, Default)]
pub(super) struct Learner {
    looks: VecDeque<Sums>,
    fresh: Sums,
}

/// What one period is seen with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sight<'a> {
    pub command: &'a Channel,
    pub current: &'a Channel,
    pub supply: Option<&'a Channel>,
    /// Supply where no lead shows it: the level of the open pin.
    pub off_level: f64,
    /// What the clamp shows without current.
    pub offset: f64,
    /// Whether what lies across the coil is known in the off time, too: without a supply lead a diode hides it.
    pub whole: bool,
    pub rate: f64,
}

impl Learner {
    /// Takes one period. False when it holds too few samples.
    pub fn take(&mut self, sight: &Sight<'_>, cut: &Cut) -> bool {
        let Some((points, whole, sums)) = curve(sight, cut) else {
            return false;
        };
        let open = left_open(cut, whole, sight.rate);
        self.fresh.open[0] += open[0];
        self.fresh.open[1] += open[1];
        self.fresh.periods += 1.0;
        let n = points.len() as f64;
        let centre = |of: fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / n;
        let (q0, i0, f0) = (centre(|p| p.q), centre(|p| p.i), centre(|p| p.f));
        self.fresh.add(&sums, 1.0);
        for p in &points {
            let (q, i, f) = (p.q - q0, p.i - i0, p.f - f0);
            self.fresh.qq += q * q;
            self.fresh.qi += q * i;
            self.fresh.ii += i * i;
            self.fresh.qf += q * f;
            self.fresh.fi += i * f;
        }
        true
    }

    /// Ends one look.
    pub fn end_look(&mut self) {
        let fresh = std::mem::take(&mut self.fresh);
        if fresh.ii > 0.0 {
            self.looks.push_back(fresh);
        }
        if self.looks.len() > LOOKS {
            let _ = self.looks.pop_front();
        }
    }

    /// Forgets all.
    pub fn clear(&mut self) {
        self.looks.clear();
        self.fresh = Sums::default();
    }

    /// Coil from all looks kept. Its error holds the scatter between them (jackknife: each look left out once) and what
    /// the edges, known to a sample, leave open.
    pub fn coil(&self) -> Option<Coil> {
        let m = self.looks.len();
        if m < FEWEST {
            return None;
        }
        let mut all = Sums::default();
        self.looks.iter().for_each(|s| all.add(s, 1.0));
        let (r, l) = all.solve()?;
        let (mut rr, mut ll) = (0.0, 0.0);
        for left_out in &self.looks {
            let mut others = all;
            others.add(left_out, -1.0);
            let (ro, lo) = others.solve()?;
            rr += (ro - r).powi(2);
            ll += (lo - l).powi(2);
        }
        let share = (m as f64 - 1.0) / m as f64;
        // The scatter does not show what is wrong alike in all periods.
        let estimate = |value: f64, scatter: f64, open: f64| Estimate {
            value,
            error: (share * scatter).sqrt().hypot(value * open / all.periods),
        };
        Some(Coil {
            resistance: estimate(r, rr, all.open[0]),
            inductance: estimate(l, ll, all.open[1]),
        })
    }

    /// Ohms from the pin to ground while the driver conducts: driver and ground.
    pub fn driver(&self) -> Option<f64> {
        let (mut pi, mut cc) = (0.0, 0.0);
        for s in &self.looks {
            pi += s.pi;
            cc += s.cc;
        }
        (cc > 0.0).then(|| pi / cc)
    }
}

/// Shares of resistance and inductance that edges known to a sample leave open. Of the flux V·t that a conduction of x
/// time constants gives, 1 − (1 − e^(−x))/x is the resistance's: integrated rise of the current. The whole period tells
/// the resistance by its means.
fn left_open(cut: &Cut, whole: bool, rate: f64) -> [f64; 2] {
    let samples = cut.on() as f64;
    let x = samples / rate / SLOWEST;
    let share = 1.0 + (-x).exp_m1() / x;
    let resistance = if whole { 2.0 } else { 1.0 / share };
    [resistance / samples, 1.0 / (1.0 - share) / samples]
}

/// The points of one period's curve, whether its end is among them, and the sums at the driver.
fn curve(sight: &Sight<'_>, cut: &Cut) -> Option<(Vec<Point>, bool, Sums)> {
    let parts = PARTS.min(cut.on() / 2);
    if parts < FEWEST_PARTS {
        return None;
    }
    let current = |a, b| Some(span::mean(sight.current, a, b)? - sight.offset);
    let supply = |a, b| match sight.supply {
        Some(lead) => span::mean(lead, a, b),
        None => Some(sight.off_level),
    };
    let (mut q, mut f) = (0.0, 0.0);
    let mut sums = Sums::default();
    let mut means: Vec<(f64, f64, f64)> = Vec::new();
    for k in 0..parts {
        let at = |k: u64| cut.fall + k * cut.on() / parts;
        let (a, b) = (at(k), at(k + 1));
        let (i, pin) = (current(a, b)?, span::mean(sight.command, a, b)?);
        let seconds = (b - a) as f64 / sight.rate;
        q += i * seconds;
        f += (supply(a, b)? - pin) * seconds;
        // The falling edge is not the driver's drop.
        if k > 0 {
            sums.pi += pin * i;
            sums.cc += i * i;
        }
        means.push((i, q, f));
    }
    let mut points: Vec<Point> = means
        .windows(2)
        .map(|w| Point {
            // At the boundary of two stretches lies the mean of their means.
            i: 0.5 * (w[0].0 + w[1].0),
            q: w[0].1,
            f: w[0].2,
        })
        .collect();
    let end = if sight.whole {
        end(sight, cut, q, f)
    } else {
        None
    };
    points.extend(end);
    Some((points, end.is_some(), sums))
}

/// The end of the period, unless the flyback leaves the input's range or is too brief to be summed up.
fn end(sight: &Sight<'_>, cut: &Cut, q: f64, f: f64) -> Option<Point> {
    let (_, highest) = span::reach(sight.command, cut.rise, cut.end)?;
    // The edges of the flyback are known to a sample: of a hundred that is a percent of it.
    let coarse = cut.off() < 100 || cut.on() < 100;
    if coarse || highest >= sight.command.calibration.ends().1 {
        return None;
    }
    let seconds = cut.off() as f64 / sight.rate;
    let i = span::mean(sight.current, cut.rise, cut.end)? - sight.offset;
    let pin = span::mean(sight.command, cut.rise, cut.end)?;
    let supply = match sight.supply {
        Some(lead) => span::mean(lead, cut.rise, cut.end)?,
        None => sight.off_level,
    };
    let tail = span::between(cut.rise, cut.end, 0.96);
    let (before, after) = (
        span::mean(sight.current, tail - (cut.end - tail), tail)? - sight.offset,
        span::mean(sight.current, tail, cut.end)? - sight.offset,
    );
    Some(Point {
        q: q + i * seconds,
        // Carried on to the end.
        i: after + 0.5 * (after - before),
        f: f + (supply - pin) * seconds,
    })
}
