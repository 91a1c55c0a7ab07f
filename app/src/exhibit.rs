//! Exhibits: what was on screen, kept as data with its values, cursors and marks, so that it can be
//! drawn again, edited again, and written as PNG and SVG.

pub mod scene;
