//! Sample I/O: the serial link, the fan-out to recorder and analysis, recordings, the virtual scope.

pub mod block;
pub mod error;
pub mod export;
pub mod fanout;
pub mod health;
pub mod import;
pub mod link;
pub mod port;
pub mod recording;
pub mod simulator;
mod stop;
