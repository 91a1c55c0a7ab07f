//! Sample I/O: the serial link, the fan-out to recorder and analysis, recordings, the virtual scope.

pub mod block;
pub mod recording;
pub mod simulator;
