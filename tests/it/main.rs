//! Whole-system tests.

mod accuracy;
mod agreement_matrix;
mod angles;
mod base_timing;
mod captures;
mod circuits;
mod comparison;
mod end_to_end;
mod engines;
mod findings;
mod gap_rule;
mod harmonics;
mod hookup;
mod matrix;
mod open_rows;
mod reference;
mod references;
mod replay;
mod rig;
mod ripple;
mod scenarios;
mod step_response;
mod tally;
mod tidy;
mod trials;
mod workbench;
