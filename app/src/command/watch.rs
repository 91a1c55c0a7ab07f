//! `keyway watch`: live readings without a window.

use super::{Outcome, given_up, interrupt};
use crate::cli::SourceArgs;
use crate::fault::Fault;
use crate::output::{self, Reader};
use crate::readout::Readout;
use crate::session::Bench;
use crate::session::orders::Request;
use clap::Args;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Time between two lines.
const LINE_EVERY: f64 = 0.5;

/// How often it is looked whether a line is due.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Print live readings without a window.
///
/// One line per half second of samples. Ends after the given time, at Ctrl-C, or when nobody reads
/// any more; exit code 3 says that command and position disagreed at some time.
#[derive(Debug, Args)]
pub struct Watch {
    /// Where samples come from.
    #[command(flatten)]
    pub source: SourceArgs,
    /// End after so many seconds of samples.
    #[arg(long, value_name = "N", value_parser = super::positive)]
    pub seconds: Option<f64>,
    /// A code that the controller has stored, such as P0014, to be checked against what is measured;
    /// once for each.
    #[arg(long = "code", value_name = "CODE")]
    pub codes: Vec<String>,
    /// JSON lines instead of text.
    #[arg(long)]
    pub json: bool,
}

impl Watch {
    /// Prints until it is time to end.
    pub fn run(self) -> Result<Outcome, Fault> {
        let mut bench = Bench::new()?;
        let stop = interrupt(&bench);
        bench.open(&self.source.plan())?;
        if !self.codes.is_empty() {
            bench.request(Request::Codes(self.codes.clone()))?;
        }
        let mut outcome = Outcome::Done;
        let mut due = LINE_EVERY;
        let mut last = Instant::now();
        while !stop.load(Ordering::Relaxed) {
            let shown = bench.look();
            given_up(&shown.link.state)?;
            if let Some(snapshot) = &shown.snapshot {
                let now = snapshot.elapsed.0;
                // A device that came back counts from zero again.
                if now + LINE_EVERY < due - LINE_EVERY {
                    due = LINE_EVERY;
                }
                if now >= due {
                    while due <= now {
                        due += LINE_EVERY;
                    }
                    last = Instant::now();
                    if snapshot
                        .cams
                        .iter()
                        .any(|c| c.agreement.state.is_disagreement())
                    {
                        outcome = Outcome::Disagreed;
                    }
                    let readout = Readout::of(snapshot, &shown.link);
                    let reader = if self.json {
                        output::json(&readout)?
                    } else {
                        output::line(&readout.line())?
                    };
                    if reader == Reader::Gone {
                        break;
                    }
                }
                if self.seconds.is_some_and(|end| now >= end) {
                    break;
                }
            }
            if last.elapsed() > Duration::from_secs(3) {
                tracing::warn!("no samples for {} s", last.elapsed().as_secs());
                last = Instant::now();
            }
            std::thread::sleep(LOOK_EVERY);
        }
        Ok(outcome)
    }
}
