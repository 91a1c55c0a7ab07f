//! A figure with how well it is known.

use super::sequence;
use std::fmt;

/// Fewest values from which a mean is told: with fewer their likeness to each other cannot be seen.
const LEAST_VALUES: usize = 8;
/// Fewest independent values to which they must amount: one more than none to tell a scatter from.
const LEAST_INDEPENDENT: f64 = 2.0;
/// Spans of time that count as independent in a share of time, seconds: a state of agreement takes up to some seconds to
/// be decided and lasts as long (the sharpest wait of the judgement is 0.3 s, the longest some 5 s).
const SPAN: f64 = 5.0;

/// A figure and its uncertainty, all in the unit of the measure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Its standard uncertainty from scatter (type A of the GUM).
    pub uncertainty: f64,
    /// Degrees of freedom of that; infinite where it was told as if well known.
    pub freedom: f64,
    /// Values it rests on.
    pub values: usize,
    /// To how many independent values those amount.
    pub independent: f64,
    /// Half width of what the way of measuring may add and scatter does not show, such as where an edge lies between two
    /// samples.
    pub bound: f64,
    /// Half width of what another engine of the type adds: its wheels and sensors.
    pub engine_bound: f64,
    /// Half width of what another scope adds.
    pub scope_bound: f64,
}

/// Why there is no figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lacking {
    /// So many values only.
    Few(usize),
    /// It moved slowly all the time: the values amount to fewer than two independent ones.
    Dependent,
}

impl fmt::Display for Lacking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Few(0) => f.write_str("no values"),
            Self::Few(n) => write!(f, "{n} values only, {LEAST_VALUES} are needed"),
            Self::Dependent => f.write_str("it drifted all the time: no two independent values"),
        }
    }
}

impl Estimate {
    /// The mean of values that follow each other in time and may be alike because of that.
    pub fn of_sequence(values: &[f64]) -> Result<Self, Lacking> {
        if values.len() < LEAST_VALUES {
            return Err(Lacking::Few(values.len()));
        }
        let told = sequence::mean(values);
        if told.independent < LEAST_INDEPENDENT {
            return Err(Lacking::Dependent);
        }
        Ok(Self {
            value: told.mean,
            uncertainty: told.uncertainty,
            freedom: told.independent - 1.0,
            values: values.len(),
            independent: told.independent,
            ..Self::exact(0.0)
        })
    }

    /// The mean of values that have nothing to do with each other; two are needed.
    pub fn of_independent(values: &[f64]) -> Result<Self, Lacking> {
        if values.len() < 2 {
            return Err(Lacking::Few(values.len()));
        }
        let n = values.iter().map(|_| 1.0).sum::<f64>();
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        Ok(Self::reported(
            mean,
            (squares / (n - 1.0) / n).sqrt(),
            n - 1.0,
            values.len(),
        ))
    }

    /// A figure whose standard uncertainty was told with it.
    pub fn reported(value: f64, uncertainty: f64, freedom: f64, values: usize) -> Self {
        Self {
            value,
            uncertainty,
            freedom,
            values,
            independent: freedom + 1.0,
            ..Self::exact(0.0)
        }
    }

    /// A share of time in percent, seen over so many seconds. What never or always was the case may still be so at times:
    /// Jeffreys' interval (L. D. Brown, T. T. Cai, A. DasGupta, "Interval estimation for a binomial proportion",
    /// Statistical Science 16 (2001) 101) over spans that count as independent.
    pub fn share(percent: f64, seconds: f64, points: usize) -> Result<Self, Lacking> {
        let spans = seconds / SPAN;
        if spans < LEAST_INDEPENDENT {
            return Err(Lacking::Few(points.min(1)));
        }
        let (yes, no) = (
            0.5 + spans * percent / 100.0,
            0.5 + spans * (1.0 - percent / 100.0),
        );
        let all = yes + no;
        let deviation = (yes * no / (all * all * (all + 1.0))).sqrt();
        Ok(Self::reported(
            percent,
            100.0 * deviation,
            spans - 1.0,
            points,
        ))
    }

    fn exact(value: f64) -> Self {
        Self {
            value,
            uncertainty: 0.0,
            freedom: f64::INFINITY,
            values: 0,
            independent: 0.0,
            bound: 0.0,
            engine_bound: 0.0,
            scope_bound: 0.0,
        }
    }

    /// The same with what scatter does not show.
    pub fn bounded(self, bound: f64) -> Self {
        Self { bound, ..self }
    }

    /// The same with what another engine of the type adds.
    pub fn of_engine(self, engine_bound: f64) -> Self {
        Self {
            engine_bound,
            ..self
        }
    }

    /// The same with what another scope adds.
    pub fn of_scope(self, scope_bound: f64) -> Self {
        Self {
            scope_bound,
            ..self
        }
    }
}
