//! The screens: each a struct, a `Message`, an `Action`, and new / title / update / view.

pub mod compare;
pub mod cycles;
pub mod exhibits;
pub mod export;
pub mod findings;
pub mod hookup;
pub mod import;
pub mod job;
pub mod live;
pub mod recordings;
pub mod references;
pub mod review;
pub mod source;
pub mod transport;
