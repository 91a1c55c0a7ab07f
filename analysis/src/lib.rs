//! Engine speed, rolling cam phase, actuator duty and their agreement from raw samples.
//! Pure and incremental: no I/O, no clock, no async, no logging.

pub mod agreement;
pub mod calibration;
mod cam;
pub mod channel;
mod crank;
mod cycle;
pub mod drive;
pub mod duty;
pub mod edge;
pub mod engine;
mod gap_search;
pub mod history;
pub mod hookup;
pub mod hunting;
pub mod lead;
pub mod level;
pub mod pipeline;
pub mod reading;
pub mod readings;
pub mod ring;
pub mod rotation;
pub mod sentence;
pub mod series;
pub mod snapshot;
mod speed;
pub mod supply;
mod teeth;
pub mod trace;
pub mod units;
pub mod wheel;
pub mod zero_crossing;
