//! Engine speed, rolling cam phase, actuator duty and their agreement from raw samples.
//! Pure and incremental: no I/O, no clock, no async, no logging.

pub mod agreement;
pub mod calibration;
pub mod channel;
pub mod drive;
pub mod duty;
pub mod edge;
pub mod engine;
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
pub mod supply;
pub mod trace;
pub mod units;
pub mod wheel;
pub mod zero_crossing;
