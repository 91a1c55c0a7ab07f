//! What others open: samples, results per engine cycle, and tables over many recordings.

pub mod collect;
pub mod leads;
pub mod results;
pub mod samples;
pub mod table;
