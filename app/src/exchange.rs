//! What others open: samples, results per engine cycle, and tables over many recordings.

pub mod leads;
pub mod samples;
