//! `keyway collect`: a folder of jobs as one table.

use super::{Outcome, see_through};
use crate::exchange::collect::{self, Order};
use crate::fault::Fault;
use crate::figure;
use crate::output::{self, Reader};
use clap::Args;
use keyway_acquisition::export::Form;
use std::path::PathBuf;
use std::sync::Arc;

/// Measure every recording below a folder and make one table of it, to ask questions over many.
///
/// A row per recording, stream and cam, as Parquet for DuckDB, Polars or pandas, or as CSV;
/// EXCHANGE.md describes every column. A recording that cannot be read is a row that says why.
///
/// Plates, vehicle identification numbers and names of folders, which are often plates, are left
/// out: such a table is made to be passed on, and in many countries a plate is personal data. What
/// belongs to one job is told by a number that nobody can trace to the vehicle without the recordings.
#[derive(Debug, Args)]
pub struct Collect {
    /// Folder of jobs; recordings are looked for in it and below.
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
    /// Table to write; it must end in .parquet or .csv.
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// Put plates, vehicle identification numbers and names of folders into the table.
    #[arg(long)]
    pub with_plates: bool,
    /// An earlier Parquet table: recordings that are in it, told by their content, are not measured
    /// again. It may be the table that is written anew, with --replace.
    #[arg(long, value_name = "TABLE")]
    pub keep: Option<PathBuf>,
    /// Replace the table if it exists.
    #[arg(long)]
    pub replace: bool,
}

impl Collect {
    /// Collects.
    pub fn run(self) -> Result<Outcome, Fault> {
        let form = match Form::of(&self.output) {
            Some(form @ (Form::Csv | Form::Parquet)) => form,
            Some(Form::Wav) | None => {
                return Err(Fault::Export(Arc::from(format!(
                    "{} says no form of a table: end its name with .parquet or .csv",
                    self.output.display()
                ))));
            }
        };
        let order = Order {
            folder: self.folder,
            form,
            with_plates: self.with_plates,
            keep: self.keep,
            replace: self.replace,
        };
        let out = self.output.clone();
        let written = see_through("the collection", "measuring", move |progress| {
            collect::collect(&order, &out, progress)
        })?;
        for remark in &written.remarks {
            output::complain(remark);
        }
        let (Reader::There | Reader::Gone) = output::line(&format!(
            "{}: {} rows of {} recordings ({} kept from the earlier table, {} that cannot be read or measured), {}",
            self.output.display(),
            written.rows,
            written.recordings,
            written.reused,
            written.unreadable,
            figure::size(written.bytes)
        ))?;
        Ok(Outcome::Done)
    }
}
