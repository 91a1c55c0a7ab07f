//! Whole-system tests.

mod accuracy;
mod engines;
mod reference;
mod rig;
mod tidy;
