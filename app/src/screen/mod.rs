//! The screens: each a struct, a `Message`, an `Action`, and new / title / update / view.

pub mod live;
