//! Faults of a phaser and its spool, besides those that stop, slow or upset it as a whole.

use super::super::bounds;
use serde::Deserialize;

/// What is wrong with a phaser's hydraulics.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(
    tag = "kind",
    rename_all = "kebab-case",
    rename_all_fields = "snake_case",
    deny_unknown_fields
)]
pub enum HydraulicFault {
    /// The valve's spool stands still, whatever the current.
    SpoolStuck {
        /// Where it stands: as with this duty, percent. 0 is shut, 100 acts as fully driven.
        #[serde(deserialize_with = "bounds::percent")]
        at: f64,
    },
    /// Oil leaks past the vanes: the phaser drifts back towards rest unless it is driven.
    Leak {
        /// Crank degrees per second.
        #[serde(deserialize_with = "bounds::not_negative")]
        rate: f64,
    },
    /// The pin does not find its hole: it rests without being held.
    LockFails,
    /// It comes to rest short of its stop, and does not lock.
    RestShifted {
        /// Crank degrees from the true rest.
        #[serde(deserialize_with = "bounds::not_negative")]
        degrees: f64,
    },
}
