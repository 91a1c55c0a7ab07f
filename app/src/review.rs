//! What the pages that look at recordings show, worked out beside the window: the course of a whole
//! recording, and stretches of it cut into engine cycles.

pub mod between;
pub mod course;
pub mod find;
pub mod gaze;
pub mod latest;
pub mod locked;
