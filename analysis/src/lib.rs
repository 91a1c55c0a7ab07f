//! Engine speed, rolling cam phase, actuator duty and their agreement from raw samples.
//! Pure and incremental: no I/O, no clock, no async, no logging.

pub mod calibration;
pub mod channel;
pub mod drift;
pub mod duty;
pub mod edge;
pub mod engine;
pub mod lead;
pub mod phase;
pub mod pipeline;
pub mod quality;
pub mod reading;
pub mod rotation;
pub mod series;
pub mod snapshot;
pub mod units;
pub mod wheel;
pub mod wheel_table;
pub mod zero_crossing;

mod agreement;
mod cam;
mod crank;
mod cycle;
mod drive;
mod dwell;
mod extremes;
mod gap_search;
mod history;
mod hookup;
mod hum;
mod hunting;
mod level;
mod observation;
mod pattern;
mod readings;
pub mod ring;
mod runout;
mod sentence;
mod slicer;
mod speed;
mod spike_filter;
mod straight_line;
mod supply;
mod teeth;
mod trace;
mod zero_level;
