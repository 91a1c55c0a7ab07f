//! From raw samples to edges on real sensors: waveforms made from their definitions, edges compared with the truth.
//! Run with `--nocapture` for the tables.

#![allow(clippy::print_stdout, reason = "the tables are printed")]

mod definition;
mod doubt;
mod hall;
mod motion;
mod noise;
mod reluctance;
mod scope;
mod score;
mod table;
