//! Keyway: the screens and commands.

pub mod amendment;
pub mod application;
pub mod chart;
pub mod cli;
pub mod command;
pub mod compare;
pub mod exchange;
pub mod exhibit;
pub mod fault;
pub mod figure;
pub mod font;
pub mod job;
pub mod log;
pub mod output;
pub mod readout;
pub mod reference;
pub mod review;
pub mod screen;
pub mod session;
pub mod settings;
pub mod setup;
pub mod status;
pub mod survey;
pub mod theme;
pub mod widget;
pub mod work;
