//! `keyway record`: records without a window.

use super::{Outcome, given_up, interrupt};
use crate::cli::SourceArgs;
use crate::fault::Fault;
use crate::figure;
use crate::output;
use crate::session::Bench;
use crate::session::recorder::Caption;
use crate::status::{LinkState, RecordingStatus};
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// How often it is looked how far the recording is.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Record without a window.
///
/// Begins with the first samples; ends after the given time or at Ctrl-C, and then finishes the
/// file. A file that exists is left as it is.
#[derive(Debug, Args)]
pub struct Record {
    /// Where samples come from.
    #[command(flatten)]
    pub source: SourceArgs,
    /// File to make; the usual ending is .mcap.
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// End after so many seconds.
    #[arg(long, value_name = "N", value_parser = super::positive)]
    pub seconds: Option<f64>,
    /// A note that is kept in the file.
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub note: String,
}

impl Record {
    /// Records until it is time to end.
    pub fn run(self) -> Result<Outcome, Fault> {
        let mut bench = Bench::new()?;
        let stop = interrupt(&bench);
        bench.open(&self.source.plan())?;
        while !matches!(bench.look().link.state, LinkState::Streaming) {
            given_up(&bench.look().link.state)?;
            if stop.load(Ordering::Relaxed) {
                return Ok(Outcome::Done);
            }
            std::thread::sleep(LOOK_EVERY);
        }
        bench.record(&self.output, &Caption::of(self.note.as_str()))?;
        while !stop.load(Ordering::Relaxed) {
            let shown = bench.look();
            match shown.recording {
                RecordingStatus::On { seconds, .. } => {
                    if self.seconds.is_some_and(|end| seconds >= end) {
                        break;
                    }
                }
                RecordingStatus::Failed(why) => return Err(Fault::Recording(why)),
                RecordingStatus::Off => break,
            }
            // The device may be gone for good: then what there is is finished and the reason told.
            if let Err(fault) = given_up(&shown.link.state) {
                let _end = bench.stop_recording();
                return Err(fault);
            }
            std::thread::sleep(LOOK_EVERY);
        }
        let lost = bench.look().link.lost;
        match bench.stop_recording().as_deref() {
            Some(RecordingStatus::On {
                path,
                seconds,
                bytes,
            }) => {
                let _reader = output::line(&format!(
                    "{}: {seconds:.1} s, {}, {lost} samples lost",
                    path.display(),
                    figure::size(*bytes)
                ))?;
                Ok(Outcome::Done)
            }
            Some(RecordingStatus::Failed(why)) => Err(Fault::Recording(Arc::clone(why))),
            Some(RecordingStatus::Off) | None => Ok(Outcome::Done),
        }
    }
}
