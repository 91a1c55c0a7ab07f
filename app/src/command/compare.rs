//! `keyway compare`: recordings beside each other in every measure, with what is known of each.

use super::{Outcome, interrupt};
use crate::compare::document::{self, Document};
use crate::compare::side::Side;
use crate::compare::{banks, measure, named, table, with_first};
use crate::fault::Fault;
use crate::output::{self, Reader};
use crate::session::Bench;
use crate::work::{Stand, Work};
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Time between two looks at how far it is.
const LOOK: Duration = Duration::from_millis(100);

/// Compare recordings in every measure: before and after a repair, this engine and a good one.
///
/// The first is the base. Each measure has its value in either, the difference with its 95 % range,
/// and whether it exceeds what chance explains; where the conditions differ or a lead was not proven
/// it says so instead.
#[derive(Debug, Args)]
pub struct Compare {
    /// Recordings; the first is the base, the others are compared with it.
    #[arg(value_name = "FILE", required_unless_present_any = ["schema", "banks"], num_args = 2..)]
    pub files: Vec<PathBuf>,
    /// Compare the cams of bank 2 with those of bank 1 in this one recording.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["files", "schema"])]
    pub banks: Option<PathBuf>,
    /// What a recording is called, in the order of the files: --name before --name after.
    #[arg(long = "name", value_name = "WORDS", requires = "files")]
    pub names: Vec<String>,
    /// The recordings are of different engines of a type: the tolerance of wheels and sensors counts.
    /// Without it they are taken to be of one engine.
    #[arg(long, requires = "files")]
    pub other_engine: bool,
    /// One JSON object instead of text.
    #[arg(long)]
    pub json: bool,
    /// Print the JSON Schema that --json keeps, with every field and its unit.
    #[arg(long, conflicts_with_all = ["files", "json"])]
    pub schema: bool,
}

impl Compare {
    /// Measures, compares and prints.
    pub fn run(self) -> Result<Outcome, Fault> {
        if self.schema {
            let text = serde_json::to_string_pretty(&document::schema())
                .map_err(|e| Fault::Output(Arc::from(e.to_string())))?;
            let (Reader::There | Reader::Gone) = output::line(&text)?;
            return Ok(Outcome::Done);
        }
        if self.names.len() > self.files.len() {
            return Err(Fault::Compare(Arc::from(
                "there are more names than recordings; give one --name for each file, in their order",
            )));
        }
        let files = self.banks.clone().map_or(self.files.clone(), |f| vec![f]);
        let sides = measured(files, self.names.clone())?;
        for shortfall in sides.iter().filter_map(|s| s.shortfall.as_ref()) {
            output::complain(shortfall);
        }
        let (sides, comparisons) = match (&self.banks, sides.first()) {
            (Some(_), Some(whole)) => {
                let sides = banks::sides(whole)?;
                let comparison = banks::compare(&sides);
                (sides.to_vec(), vec![comparison])
            }
            _ => {
                let comparisons = with_first(&sides, !self.other_engine);
                (sides, comparisons)
            }
        };
        let (Reader::There | Reader::Gone) = if self.json {
            output::json(&Document::new(&sides, &comparisons))?
        } else {
            output::line(&table::table(&sides, &comparisons))?
        };
        Ok(Outcome::Done)
    }
}

/// Measures all on a thread, says how far it is, and ends at Ctrl-C.
fn measured(files: Vec<PathBuf>, names: Vec<String>) -> Result<Vec<Side>, Fault> {
    let bench = Bench::new()?;
    let stop = interrupt(&bench);
    let named = named(files, names);
    let work = Work::start("the comparison", move |progress| measure(&named, progress))?;
    loop {
        match work.look() {
            Stand::Ended(end) => {
                output::progress("");
                return end;
            }
            Stand::Running(share) => {
                output::progress(&format!("comparing: {:3.0} %", 100.0 * share));
                if stop.load(Ordering::Relaxed) {
                    work.cancel();
                }
                std::thread::sleep(LOOK);
            }
        }
    }
}
