//! What several screens are made of. Widgets are functions: they hold nothing.

pub mod bar;
pub mod button;
pub mod envelope;
pub mod label;
pub mod mark;
pub mod rail;
