//! Recognition of unknown signals: leads made from definitions, and matrices of them.

mod lathe;
mod matrix;
