//! Engine speed, rolling cam phase, actuator duty and their agreement from raw samples.
//! Pure and incremental: no I/O, no clock, no async, no logging.

pub mod edge;
pub mod engine;
pub mod lead;
pub mod reading;
pub mod snapshot;
pub mod units;
