//! A session: one source of samples, its analysis, its recorder; and who ends them.

pub mod stage;
