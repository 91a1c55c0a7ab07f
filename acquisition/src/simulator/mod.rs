//! The virtual scope: an engine simulated behind the real protocol. It shares no code with the analysis.

pub mod blueprint;
mod bounds;
mod camshaft;
mod camwheel;
mod controller;
mod converter;
mod crankshaft;
mod crankwheel;
mod cylinder;
pub mod device;
pub mod disturbance;
pub(crate) mod embedded;
pub mod engine;
pub mod fault;
mod inputs;
mod phaser;
mod plant;
#[cfg(unix)]
pub mod pty;
pub mod sampler;
pub mod scenario;
pub mod scope;
pub mod script;
pub mod source;
mod supply;
pub mod truth;
mod turn;
mod valve;
mod wheel;
