//! One direction of edges, and the wheels that may be behind it, the likeliest first.

use super::contender::{Contender, Origin, contenders};
use super::evidence::Fit;
use super::listener::Mark;
use super::rhythm::{Rhythm, median};
use crate::engine::EdgeKind;
use crate::wheel::Wheel;
use std::collections::VecDeque;

/// Fewest intervals from which anything is said.
const FEWEST: usize = 8;
/// Scatter up to which a known wheel fits whatever a learnt one does: the third harmonic of a speed that swings by
/// 45 % of its mean, left out of the model, is 1 %; a wheel out of true and noise may treble it.
const KNOWN_FITS: f64 = 0.04;
/// Beyond that, it must scatter by no more than this factor more.
const KNOWN_FACTOR: f64 = 2.0;
/// The simpler of two wheels with the same intervals may scatter by this factor more: it explains the ripple by other
/// orders.
const SURELY: f64 = 1.5;
/// Wheels that are looked at closely after a glance at all, and even ones, which are all alike at a glance.
const FINAL: usize = 12;
const FINAL_EVEN: usize = 6;
/// Share of places that must fit to be sure.
const SHARE: f64 = 0.5;
/// Scatter up to which it may be sure.
const CLEAN: f64 = 0.08;
/// One direction with what fits it.
pub(super) struct Heard {
    pub kind: EdgeKind,
    pub rhythm: Rhythm,
    /// The likeliest first: contender, fit, logarithm of likelihood.
    pub ranked: Vec<(Contender, Fit, f64)>,
}

impl Heard {
    /// What fits these edges; `None` when there are too few.
    pub fn new(kind: EdgeKind, marks: &VecDeque<Mark>, sheet: Option<&Wheel>) -> Option<Self> {
        let rhythm = Rhythm::of(marks.iter().map(|m| m.edge));
        if rhythm.y.len() < FEWEST {
            return None;
        }
        let n = rhythm.y.len() as f64;
        let mut glanced: Vec<(Contender, f64)> = contenders(&rhythm, sheet)
            .into_iter()
            .filter_map(|c| {
                let guess = n * c.pattern.guess(&rhythm.y)? - c.price;
                Some((c, guess))
            })
            .collect();
        glanced.sort_by(|a, b| b.1.total_cmp(&a.1));
        let (mut even, mut others) = (0, 0);
        let mut ranked: Vec<(Contender, Fit, f64)> = glanced
            .into_iter()
            .filter(|(c, _)| {
                let (count, most) = if c.pattern.part() == 1 {
                    (&mut even, FINAL_EVEN)
                } else {
                    (&mut others, FINAL)
                };
                *count += 1;
                *count <= most
            })
            .filter_map(|(c, _)| {
                let fit = c.pattern.fit(&rhythm.y)?;
                let total = n * fit.evidence - c.price;
                Some((c, fit, total))
            })
            .collect();
        ranked.sort_by(|a, b| b.2.total_cmp(&a.2));
        prefer_known(&mut ranked);
        prefer_simple(&mut ranked);
        Some(Self {
            kind,
            rhythm,
            ranked,
        })
    }

    /// Likelihood of the best per interval.
    pub fn best(&self) -> f64 {
        self.ranked
            .first()
            .map_or(f64::NEG_INFINITY, |r| r.2 / self.rhythm.y.len() as f64)
    }

    pub fn scatter(&self) -> f64 {
        self.ranked.first().map_or(f64::INFINITY, |r| r.1.scatter)
    }

    /// Mean interval of the newest turn of the best, samples.
    pub fn interval(&self) -> f64 {
        median(self.rhythm.at.windows(2).map(|w| w[1] - w[0]).collect())
    }
}

/// Whether equal teeth fit better than any other wheel that is known.
pub(super) fn comes_evenly(heard: &Heard) -> bool {
    (heard.ranked.iter())
        .find(|r| matches!(r.0.origin, Origin::Table | Origin::Family | Origin::Sheet))
        .is_some_and(|(c, fit, _)| {
            c.pattern.part() == 1 && fit.scatter < CLEAN && fit.share >= SHARE
        })
}

pub(super) fn is_even(heard: &Heard) -> bool {
    heard
        .ranked
        .first()
        .is_some_and(|r| r.0.pattern.part() == 1)
}

pub(super) fn alike(a: &Heard, b: &Heard) -> bool {
    match (a.ranked.first(), b.ranked.first()) {
        (Some(a), Some(b)) => a.0.pattern.is_like(&b.0.pattern),
        _ => false,
    }
}

/// Puts a wheel that is known before one that was learnt if it fits: what is left of the engine's ripple, which no
/// model describes wholly, is no reason to invent a wheel.
fn prefer_known(ranked: &mut [(Contender, Fit, f64)]) {
    let Some((first, learnt, _)) = ranked.first() else {
        return;
    };
    if first.origin != Origin::Learnt {
        return;
    }
    let limit = KNOWN_FITS.max(KNOWN_FACTOR * learnt.scatter);
    let known =
        (ranked.iter()).position(|(c, fit, _)| c.origin != Origin::Learnt && fit.scatter < limit);
    if let Some(known) = known {
        ranked[..=known].rotate_right(1);
    }
}

/// Among wheels that give the same intervals, puts the one with fewest teeth first.
fn prefer_simple(ranked: &mut [(Contender, Fit, f64)]) {
    let Some((first, ..)) = ranked.first() else {
        return;
    };
    let simple = (ranked.iter().enumerate())
        .filter(|(_, r)| first.damaged.is_none() && r.0.damaged.is_none())
        .filter(|(_, r)| r.0.origin != Origin::Learnt && r.0.pattern.is_like(&first.pattern))
        .filter(|(_, r)| {
            r.0.pattern.part() > 1 && r.1.scatter < SURELY * ranked[0].1.scatter + 0.01
        })
        .min_by_key(|(_, r)| r.0.wheel.teeth())
        .map(|(i, _)| i);
    if let Some(simple) = simple {
        ranked[..=simple].rotate_right(1);
    }
}
