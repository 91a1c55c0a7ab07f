//! Recordings: raw samples and what is needed to read them again, in one MCAP file.
//!
//! The format is described in `acquisition/README.md`. A recording is readable after the writer was
//! killed: everything needed to read it stands at its start, and each chunk stands on its own.

pub mod catalogue;
mod chunk;
mod clock;
pub mod cursor;
pub mod error;
pub mod header;
mod index;
pub mod lens;
pub mod overview;
pub mod reader;
pub mod samples;
mod seal;
pub mod store;
mod walk;
pub mod writer;

#[cfg(test)]
mod tests;
