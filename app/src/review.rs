//! What the pages that look at recordings show, worked out beside the window: the course of a whole
//! recording, and stretches of it cut into engine cycles.

pub mod locked;
