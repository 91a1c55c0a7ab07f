//! The difference of two figures and how well it is known.

use super::Estimate;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// What two recordings have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Relation {
    /// Whether they are of the same engine: then its wheels and sensors are the same, and what they add cancels.
    pub same_engine: bool,
    /// Whether they were made with the same scope.
    pub same_scope: bool,
}

/// A difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// By how much the other is more than the first.
    pub by: f64,
    /// Combined standard uncertainty.
    pub uncertainty: f64,
    /// Its effective degrees of freedom.
    pub freedom: f64,
    /// Half width of its 95 % range.
    pub half_width: f64,
    /// How often chance alone gives such a difference or a greater one, 0 to 1.
    pub probability: f64,
}

impl Difference {
    /// The second less the first.
    pub fn of(base: &Estimate, other: &Estimate, relation: Relation) -> Self {
        let bound = |e: &Estimate| {
            let rectangular =
                |half: f64, counts: bool| if counts { half * half / 3.0 } else { 0.0 };
            rectangular(e.bound, true)
                + rectangular(e.engine_bound, !relation.same_engine)
                + rectangular(e.scope_bound, !relation.same_scope)
        };
        let (a, b) = (base.uncertainty.powi(2), other.uncertainty.powi(2));
        let variance = a + b + bound(base) + bound(other);
        // Welch and Satterthwaite; bounds have infinitely many.
        let parts = a * a / base.freedom.max(1.0) + b * b / other.freedom.max(1.0);
        let freedom = if parts > 0.0 {
            variance * variance / parts
        } else {
            f64::INFINITY
        };
        Self::known(other.value - base.value, variance.sqrt(), freedom)
    }

    fn known(by: f64, uncertainty: f64, freedom: f64) -> Self {
        // Beyond this many a t distribution is a normal one to the last digit shown.
        let student = StudentsT::new(0.0, 1.0, freedom.clamp(1.0, 1e6)).ok();
        let times = student.map_or(f64::INFINITY, |t| t.inverse_cdf(0.975));
        let probability = if uncertainty > 0.0 {
            student.map_or(1.0, |t| 2.0 * t.sf(by.abs() / uncertainty))
        } else if by == 0.0 {
            1.0
        } else {
            0.0
        };
        Self {
            by,
            uncertainty,
            freedom,
            half_width: times * uncertainty,
            probability,
        }
    }
}
