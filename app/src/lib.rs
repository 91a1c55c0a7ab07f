//! Keyway: the screens and commands.

pub mod status;
