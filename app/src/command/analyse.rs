//! `keyway analyse`: measures a recording from end to end with the pipeline of the live screen.

use super::{Outcome, see_through};
use crate::chart;
use crate::fault::Fault;
use crate::output::{self, Reader};
use crate::reference::{self, applied::applied};
use crate::review::find::{Hit, Wish};
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use crate::session::{playback, whole};
use crate::setup::Setup;
use crate::survey;
use crate::survey::document::{self, Document};
use crate::survey::{report, table};
use clap::Args;
use keyway_acquisition::recording::reader::Recording;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Measure a recording from end to end.
///
/// Prints speed, the phase of each cam and edge, duty, agreement, events and counts; with --chart
/// also draws them against time.
#[derive(Debug, Args)]
pub struct Analyse {
    /// Recording.
    #[arg(value_name = "FILE", required_unless_present = "schema")]
    pub file: Option<PathBuf>,
    /// One JSON object instead of text, with every revolution, edge and period measured: about
    /// 1.2 MB for a minute of two driven cams.
    #[arg(long)]
    pub json: bool,
    /// With --json: leave out the single values, keep means and counts.
    #[arg(long, requires = "json")]
    pub no_series: bool,
    /// Print the JSON Schema that --json keeps, with every field and its unit.
    #[arg(long, conflicts_with_all = ["file", "json", "chart", "reference"])]
    pub schema: bool,
    /// A code that the controller has stored, such as P0014, to be checked against what was measured;
    /// once for each. Takes the place of those that were typed while recording.
    #[arg(long = "code", value_name = "CODE")]
    pub codes: Vec<String>,
    /// Print only the stretches in which this is the case, such as "duty > 60 and phase < 5" or
    /// "exhaust not following for 2 s". Fields: speed (rpm), supply (V), duty (%), phase (° crank),
    /// the last two with a cam behind if one is meant; states by their words; and, or, not, brackets.
    #[arg(long, value_name = "WISH", value_parser = Wish::of, conflicts_with_all = ["chart", "no_series", "schema", "codes", "reference"])]
    pub find: Option<Wish>,
    /// Known-good reference to judge base timing by, instead of the angles in the recording's own engine sheet.
    #[arg(long, value_name = "FILE")]
    pub reference: Option<PathBuf>,
    /// Draw a chart into this file, which must end in .svg or .png.
    #[arg(long, value_name = "FILE", value_parser = picture)]
    pub chart: Option<PathBuf>,
}

impl Analyse {
    /// Measures and prints.
    pub fn run(self) -> Result<Outcome, Fault> {
        let Some(file) = &self.file else {
            let text = serde_json::to_string_pretty(&document::schema())
                .map_err(|e| Fault::Output(Arc::from(e.to_string())))?;
            let (Reader::There | Reader::Gone) = output::line(&text)?;
            return Ok(Outcome::Done);
        };
        let (recording, own) = playback::open(file)?;
        if let Some(wish) = &self.find {
            return self.found(wish, &recording, &own);
        }
        let setup = match &self.reference {
            Some(path) => applied(&own, &reference::read(path)?.reference)?,
            None => own,
        };
        let engine = setup.sheet.name.clone();
        let title = format!("{engine} · {}", file.display());
        let with_series = self.json && !self.no_series;
        let mut script = Script::of(&recording);
        if !self.codes.is_empty() {
            script.set_codes(&self.codes);
        }
        let surveys = see_through("the analysis", "measuring", {
            let recording = recording.clone();
            move |progress| {
                let length = recording.duration().as_secs_f64();
                let mut done = 0.0;
                let analyser = Analyser::new(setup);
                survey::watched(
                    &recording,
                    analyser,
                    script,
                    &title,
                    with_series,
                    |block, _| {
                        let rate = recording.stream(block.generation).map(|s| s.rate_hz);
                        done += rate.map_or(0.0, |rate| block.len() as f64 / rate);
                        progress.set(done / length);
                        progress.check()
                    },
                )
            }
        })?;
        if surveys.is_empty() {
            return Err(Fault::Recording(Arc::from(format!(
                "{} holds no samples: there is nothing to measure",
                file.display()
            ))));
        }
        if let Some(shortfall) = recording.shortfall() {
            output::complain(&shortfall);
        }
        if let Some(path) = &self.chart {
            for (i, survey) in surveys.iter().enumerate() {
                chart::draw(survey, &numbered(path, i))?;
            }
        }
        let (Reader::There | Reader::Gone) = if self.json {
            let name = file.display().to_string();
            output::json(&Document::new(name, &recording, engine, surveys))?
        } else {
            let tables: Vec<String> = (surveys.iter())
                .map(|s| format!("{}\n{}", table::table(s), report::lines(s).join("\n")))
                .collect();
            output::line(&tables.join("\n\n"))?
        };
        Ok(Outcome::Done)
    }

    /// Prints where a wish is met.
    fn found(&self, wish: &Wish, recording: &Recording, setup: &Setup) -> Result<Outcome, Fault> {
        let course = see_through("the analysis", "measuring", {
            let (recording, setup) = (recording.clone(), setup.clone());
            move |progress| whole::course_of(&recording, &setup, Script::of(&recording), progress)
        })?;
        if let Some(stranger) = wish.stranger(&course) {
            return Err(Fault::Setup(Arc::from(format!(
                "the engine sheet in {} has no cam '{stranger}'",
                recording.path().display()
            ))));
        }
        if let Some(shortfall) = recording.shortfall() {
            output::complain(&shortfall);
        }
        let stretches = wish.hits(&course);
        let (Reader::There | Reader::Gone) = if self.json {
            output::json(&Stretches { form: 1, stretches })?
        } else if stretches.is_empty() {
            output::line("nowhere")?
        } else {
            let lines: Vec<String> = stretches.iter().map(ToString::to_string).collect();
            output::line(&lines.join("\n"))?
        };
        Ok(Outcome::Done)
    }
}

/// What `--find --json` prints.
#[derive(Debug, Serialize)]
struct Stretches {
    /// Number of this form: it changes when a field goes away or changes its meaning.
    form: u32,
    /// Seconds since the start of the recording, with the cams for which it is so.
    stretches: Vec<Hit>,
}

/// A file name the chart can be drawn into.
fn picture(name: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(name);
    let _format = chart::Format::of(&path).map_err(|e| e.to_string())?;
    Ok(path)
}

/// The first chart has the name asked for, those of further streams a number.
fn numbered(path: &Path, index: usize) -> PathBuf {
    if index == 0 {
        return path.to_owned();
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!("{stem}-{}.{ending}", index + 1))
}
