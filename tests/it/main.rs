//! Whole-system tests.

mod accuracy;
mod captures;
mod end_to_end;
mod engines;
mod gap_rule;
mod harmonics;
mod reference;
mod replay;
mod rig;
mod ripple;
mod scenarios;
mod tidy;
mod workbench;
