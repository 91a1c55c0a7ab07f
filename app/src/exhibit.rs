//! Exhibits: what was on screen, kept as data with its values, cursors and marks, so that it can be
//! drawn again, edited again, and written as PNG and SVG.
//!
//! [`document`] is the file, [`layout`] says what lies where on the picture, and two painters draw
//! that: [`picture`] into files, and the Exhibits page on the screen. [`store`] keeps them in folders.

pub mod document;
pub mod layout;
pub mod lettering;
pub mod mark;
pub mod picture;
mod points;
pub mod scene;
pub mod shape;
pub mod store;
#[cfg(test)]
mod tests;
