//! Pictures of the Job screen and of the pages of the Recordings screen.

mod compare;
mod cycles;
mod exhibits;
mod export;
mod job;
mod references;
mod review;
#[allow(
    clippy::unwrap_used,
    dead_code,
    reason = "made for the journeys; a picture that cannot be made has failed"
)]
#[path = "../../journeys/workpiece.rs"]
mod workpiece;

use keyway::application::Application;
use keyway::theme::Look;
use std::error::Error;

/// One picture: its name, and the dashboard as it is then.
#[derive(Clone, Copy)]
pub struct Picture {
    /// Begin of the file's name: "review-whole".
    pub name: &'static str,
    /// Makes the dashboard in this look.
    pub make: fn(Look) -> Result<Application, Box<dyn Error>>,
}

/// All of them.
pub fn all() -> Vec<Picture> {
    [
        job::all(),
        review::all(),
        cycles::all(),
        compare::all(),
        references::all(),
        exhibits::all(),
        export::all(),
    ]
    .concat()
}
