//! The screens: each a struct, a `Message`, an `Action`, and new / title / update / view.

pub mod findings;
pub mod hookup;
pub mod import;
pub mod live;
pub mod recordings;
pub mod source;
pub mod transport;
