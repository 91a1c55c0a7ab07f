//! `keyway export`: a recording as a file that other programs open.

use super::{Outcome, see_through};
use crate::exchange::{results, samples};
use crate::fault::Fault;
use crate::figure;
use crate::output::{self, Reader};
use crate::session::playback;
use clap::{Args, ValueEnum};
use keyway_acquisition::export::{Form, Summary};
use keyway_acquisition::recording::reader::Recording;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Write a recording as a file that other programs open.
///
/// Samples as CSV, Parquet or WAV; with --results what was measured, a row per engine cycle, as CSV or
/// Parquet. The form follows from the ending of the file; EXCHANGE.md
/// describes every column. A file that exists is left as it is unless --replace is given.
#[derive(Debug, Args)]
pub struct Export {
    /// Recording.
    #[arg(value_name = "RECORDING")]
    pub file: PathBuf,
    /// File to write; without one, the name of the recording with the ending of the form.
    #[arg(short, long, value_name = "FILE", required_unless_present = "form")]
    pub output: Option<PathBuf>,
    /// Form of the file, if its ending does not say.
    #[arg(long, value_name = "FORM")]
    pub form: Option<FormWord>,
    /// What was measured instead of samples: a row per engine cycle.
    #[arg(long, conflicts_with_all = ["leads", "counts"])]
    pub results: bool,
    /// Begin, seconds since the start of the recording.
    #[arg(long, value_name = "SECONDS", default_value_t = 0.0, value_parser = second)]
    pub from: f64,
    /// End, seconds since the start of the recording; without one, to the end.
    #[arg(long, value_name = "SECONDS", value_parser = second)]
    pub to: Option<f64>,
    /// Leads, in the order of the columns: crank,cam-intake,command-exhaust,supply,input-7. Without
    /// any, everything that was recorded.
    #[arg(long, value_name = "LEADS", value_delimiter = ',')]
    pub leads: Vec<String>,
    /// One stream alone, counted from 1: a scope that was unplugged and came back began another.
    #[arg(long, value_name = "N")]
    pub stream: Option<usize>,
    /// Counts of the converter instead of values: the smallest file; the scale is in its metadata.
    #[arg(long)]
    pub counts: bool,
    /// Replace the file if it exists.
    #[arg(long)]
    pub replace: bool,
    /// Print what was written as one JSON object.
    #[arg(long)]
    pub json: bool,
}

/// A form as it is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FormWord {
    /// Text, a row per sample.
    Csv,
    /// Columns for pandas, Polars, DuckDB.
    Parquet,
    /// Sound, a channel per lead.
    Wav,
}

impl From<FormWord> for Form {
    fn from(word: FormWord) -> Self {
        match word {
            FormWord::Csv => Self::Csv,
            FormWord::Parquet => Self::Parquet,
            FormWord::Wav => Self::Wav,
        }
    }
}

impl Export {
    /// Exports.
    pub fn run(self) -> Result<Outcome, Fault> {
        let (form, out) = place(&self.file, self.output.as_deref(), self.form)?;
        let (recording, setup) = if self.results {
            let (recording, setup) = playback::open(&self.file)?;
            (recording, Some(setup))
        } else {
            let recording = Recording::open(&self.file);
            let recording = recording.map_err(|e| Fault::Recording(Arc::from(e.to_string())))?;
            (recording, None)
        };
        let shortfall = recording.shortfall();
        let span = self.from..self.to.unwrap_or(f64::INFINITY);
        let (stream, replace) = (self.stream, self.replace);
        let written = match setup {
            Some(setup) => {
                let order = results::Order {
                    form,
                    span,
                    stream,
                    replace,
                };
                let place = out.clone();
                see_through("the export", "measuring", move |progress| {
                    results::export(&recording, &setup, &order, &place, progress)
                        .map(|written| Written::of_results(&place, written))
                })?
            }
            None => {
                let order = samples::Order {
                    form,
                    span,
                    leads: self.leads,
                    stream,
                    counts: self.counts,
                    replace,
                };
                let place = out.clone();
                see_through("the export", "exporting", move |progress| {
                    samples::export(&recording, &order, &place, progress)
                        .map(|summary| Written::of_samples(&place, summary))
                })?
            }
        };
        for remark in shortfall.iter().chain(&written.remarks) {
            output::complain(remark);
        }
        let (Reader::There | Reader::Gone) = if self.json {
            output::json(&written)?
        } else {
            output::line(&written.words())?
        };
        Ok(Outcome::Done)
    }
}

/// What was written.
#[derive(Debug, Serialize)]
struct Written {
    file: String,
    rows: u64,
    /// Of samples the leads alone.
    columns: Vec<String>,
    streams: usize,
    /// Null for results, of which none lies across a gap.
    gaps: Option<u64>,
    missing_samples: Option<u64>,
    bytes: u64,
    remarks: Vec<String>,
}

impl Written {
    fn of_samples(place: &Path, summary: Summary) -> Self {
        Self {
            file: place.display().to_string(),
            rows: summary.samples,
            columns: summary.columns,
            streams: summary.streams,
            gaps: Some(summary.gaps),
            missing_samples: Some(summary.missing),
            bytes: summary.bytes,
            remarks: summary.remarks,
        }
    }

    fn of_results(place: &Path, written: results::Written) -> Self {
        Self {
            file: place.display().to_string(),
            rows: written.rows,
            columns: written.columns,
            streams: written.streams,
            gaps: None,
            missing_samples: None,
            bytes: written.bytes,
            remarks: written.remarks,
        }
    }

    fn words(&self) -> String {
        let mut words = format!(
            "{}: {} {}, {}",
            self.file,
            self.rows,
            // Only samples can have gaps.
            match self.gaps {
                Some(_) => format!("samples of {} leads", self.columns.len()),
                None => format!("engine cycles with {} columns", self.columns.len()),
            },
            figure::size(self.bytes)
        );
        if self.streams > 1 {
            words.push_str(&format!(", {} streams", self.streams));
        }
        if let (Some(gaps @ 1..), Some(missing)) = (self.gaps, self.missing_samples) {
            words.push_str(&format!(", {missing} samples missing at {gaps} places"));
        }
        words
    }
}

/// Form and place of the file.
fn place(
    recording: &Path,
    output: Option<&Path>,
    form: Option<FormWord>,
) -> Result<(Form, PathBuf), Fault> {
    match (output, form.map(Form::from)) {
        (Some(out), Some(form)) => Ok((form, out.to_owned())),
        (None, Some(form)) => Ok((form, recording.with_extension(form.ending()))),
        (Some(out), None) => match Form::of(out) {
            Some(form) => Ok((form, out.to_owned())),
            None => Err(Fault::Export(Arc::from(format!(
                "the ending of {} says no form: end it with .csv, .parquet or .wav, or add --form",
                out.display()
            )))),
        },
        (None, None) => Err(Fault::Export(Arc::from(
            "name the file to write with -o, or its form with --form",
        ))),
    }
}

/// A time on the command line.
fn second(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(n) if n.is_finite() && n >= 0.0 => Ok(n),
        _ => Err("a number of seconds, 0 or more, is needed".to_owned()),
    }
}
