//! `keyway analyse`: measures a recording from end to end with the pipeline of the live screen.

use super::Outcome;
use crate::chart;
use crate::fault::Fault;
use crate::output::{self, Reader};
use crate::session::analyser::Analyser;
use crate::session::playback;
use crate::survey::{self, Spread, Survey};
use clap::Args;
use keyway_analysis::snapshot::AgreementState;
use serde::Serialize;
use std::path::PathBuf;
use std::sync::Arc;

/// Measure a recording from end to end.
///
/// Prints speed, phase and duty per cam, agreement, events and counts; with --chart also draws
/// them against time.
#[derive(Debug, Args)]
pub struct Analyse {
    /// Recording.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// One JSON object instead of text.
    #[arg(long)]
    pub json: bool,
    /// Draw a chart into this file, which must end in .svg or .png.
    #[arg(long, value_name = "FILE", value_parser = picture)]
    pub chart: Option<PathBuf>,
}

#[derive(Serialize)]
struct Report<'a> {
    engine: &'a str,
    seconds: f64,
    rate_hz: f64,
    speed_rpm: Option<Spread>,
    cams: Vec<CamReport<'a>>,
    events: Vec<EventReport<'a>>,
    counts: CountsReport,
    shortfall: Option<&'a str>,
}

#[derive(Serialize)]
struct CamReport<'a> {
    cam: String,
    phase_deg: Option<Spread>,
    duty_pct: Option<Spread>,
    seconds_by_agreement: &'a std::collections::BTreeMap<&'static str, f64>,
    disagreed: bool,
}

#[derive(Serialize)]
struct EventReport<'a> {
    seconds: f64,
    decided_seconds: f64,
    cam: Option<String>,
    agreement: Option<&'static str>,
    text: &'a str,
}

#[derive(Serialize)]
struct CountsReport {
    samples: u64,
    gaps: u64,
    lost: u64,
    revolutions: u64,
    sync_losses: u64,
    stray_cam_edges: u64,
}

impl Analyse {
    /// Measures and prints.
    pub fn run(self) -> Result<Outcome, Fault> {
        let (recording, setup) = playback::open(&self.file)?;
        let engine = setup.sheet.name.clone();
        let shortfall = recording.shortfall();
        let title = format!("{engine} · {}", self.file.display());
        let surveys = survey::of(&recording, Analyser::new(setup), &title)?;
        if surveys.is_empty() {
            return Err(Fault::Recording(Arc::from(format!(
                "{} holds no samples: there is nothing to measure",
                self.file.display()
            ))));
        }
        if let Some(shortfall) = &shortfall {
            output::complain(shortfall);
        }
        for (i, survey) in surveys.iter().enumerate() {
            let reader = if self.json {
                output::json(&report(&engine, survey, shortfall.as_deref()))?
            } else {
                text(survey)?
            };
            if let Some(path) = &self.chart {
                chart::draw(survey, &numbered(path, i))?;
            }
            if reader == Reader::Gone {
                break;
            }
        }
        Ok(Outcome::Done)
    }
}

/// A file name the chart can be drawn into.
fn picture(name: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(name);
    let _format = chart::Format::of(&path).map_err(|e| e.to_string())?;
    Ok(path)
}

/// The first chart has the name asked for, those of further streams a number.
fn numbered(path: &std::path::Path, index: usize) -> PathBuf {
    if index == 0 {
        return path.to_owned();
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!("{stem}-{}.{ending}", index + 1))
}

fn report<'a>(engine: &'a str, survey: &'a Survey, shortfall: Option<&'a str>) -> Report<'a> {
    let counts = survey.counts;
    Report {
        engine,
        seconds: survey.seconds,
        rate_hz: survey.rate_hz,
        speed_rpm: survey.speed,
        cams: survey
            .cams
            .iter()
            .map(|c| CamReport {
                cam: c.id.to_string(),
                phase_deg: c.phase,
                duty_pct: c.duty,
                seconds_by_agreement: &c.states,
                disagreed: c.disagreed,
            })
            .collect(),
        events: survey
            .events
            .iter()
            .map(|e| EventReport {
                seconds: survey.seconds_at(e.at),
                decided_seconds: survey.seconds_at(e.decided),
                cam: e.cam.map(|c| c.to_string()),
                agreement: e.state.map(AgreementState::words),
                text: &e.text,
            })
            .collect(),
        counts: CountsReport {
            samples: counts.samples,
            gaps: counts.gaps,
            lost: counts.lost,
            revolutions: counts.revolutions,
            sync_losses: counts.sync_losses,
            stray_cam_edges: counts.stray_cam_edges,
        },
        shortfall,
    }
}

fn text(survey: &Survey) -> Result<Reader, Fault> {
    let mut lines = vec![
        survey.title.clone(),
        format!(
            "{:.1} s at {:.0} samples a second; {} revolutions, {} gaps, {} samples lost, crank pattern lost {} times, {} stray cam edges",
            survey.seconds,
            survey.rate_hz,
            survey.counts.revolutions,
            survey.counts.gaps,
            survey.counts.lost,
            survey.counts.sync_losses,
            survey.counts.stray_cam_edges,
        ),
        String::new(),
        format!(
            "{:<18}{:>10}{:>10}{:>10}{:>10}",
            "", "mean", "spread", "lowest", "highest"
        ),
        row("speed, rpm", survey.speed, 0),
    ];
    for cam in &survey.cams {
        lines.push(row(&format!("{} phase, °", cam.id), cam.phase, 2));
        lines.push(row(&format!("{} duty, %", cam.id), cam.duty, 1));
    }
    lines.push(String::new());
    for cam in &survey.cams {
        let states: Vec<String> = cam
            .states
            .iter()
            .map(|(state, seconds)| format!("{state} {seconds:.1} s"))
            .collect();
        lines.push(format!("{}: {}", cam.id, states.join(", ")));
    }
    lines.push(String::new());
    for event in &survey.events {
        lines.push(format!(
            "{:8.2} s  {}",
            survey.seconds_at(event.at),
            event.text
        ));
    }
    output::line(lines.join("\n").trim_end())
}

fn row(name: &str, spread: Option<Spread>, decimals: usize) -> String {
    match spread {
        None => format!("{name:<18}{:>10}", "--"),
        Some(s) => format!(
            "{name:<18}{:>10.decimals$}{:>10.decimals$}{:>10.decimals$}{:>10.decimals$}",
            s.mean, s.spread, s.low, s.high
        ),
    }
}
