//! Engine speed, rolling cam phase, actuator duty and their agreement from raw samples.
//! Pure and incremental: no I/O, no clock, no async, no logging.

pub mod edge;
pub mod engine;
pub mod lead;
pub mod reading;
pub mod rotation;
pub mod snapshot;
pub mod units;
pub mod wheel;
pub mod zero_crossing;
