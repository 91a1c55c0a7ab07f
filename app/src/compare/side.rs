//! A recording as one side of a comparison.

use super::course::{self, Course};
use super::take::Part;
use super::watch::Watch;
use super::{command, cylinders, engine, movement, position, standing, trials};
use crate::fault::Fault;
use crate::screen::live::words;
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use crate::session::playback;
use crate::survey;
use crate::work::Progress;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::comparison::{Conditions, Finding, Group, Measure};
use keyway_analysis::engine::CamSheet;
use keyway_analysis::lead::{CamId, Role};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A recording that was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// What it is called in the comparison: "A", "before".
    pub name: String,
    /// The file.
    pub file: PathBuf,
    /// Name of the engine in its sheet.
    pub engine: String,
    /// When it was started, nanoseconds since 1970-01-01 UTC.
    pub started_ns: u64,
    /// Length, seconds.
    pub seconds: f64,
    /// The scope it was made with, and its rate.
    pub scope: String,
    /// What of it cannot be read.
    pub shortfall: Option<String>,
    /// What was found.
    pub measures: Vec<Measure>,
    /// Speed, phase and duty over time.
    pub course: Course,
    /// Where the sensors are high, per cam of the sheet.
    pub windows: Vec<CamWindows>,
}

/// The windows of a cam, crank degrees after firing TDC 1.
#[derive(Debug, Clone, PartialEq)]
pub struct CamWindows {
    /// Which.
    pub cam: CamId,
    /// As in the engine sheet: rising and falling edge.
    pub reference: Vec<[f64; 2]>,
    /// As measured with the command at rest; empty where not known.
    pub measured: Vec<[f64; 2]>,
}

impl Side {
    /// Measures a recording.
    pub fn measure(path: &Path, name: String, progress: &Progress) -> Result<Self, Fault> {
        progress.check()?;
        progress.set(0.0);
        let (recording, setup) = playback::open(path)?;
        let whole = recording.duration().as_secs_f64().max(f64::MIN_POSITIVE);
        let mut watch = Watch::default();
        let mut done = 0.0;
        let surveys = survey::watched(
            &recording,
            Analyser::new(setup),
            Script::of(&recording),
            &name,
            true,
            |block, analyser| {
                progress.check()?;
                if let Some(stream) = recording.stream(block.generation) {
                    watch.look(block, analyser, stream.rate_hz);
                    done += block.len() as f64 / stream.rate_hz;
                }
                progress.set(done / whole);
                Ok(())
            },
        )?;
        if surveys.is_empty() {
            return Err(Fault::Compare(Arc::from(format!(
                "{} holds no samples: there is nothing to compare",
                path.display()
            ))));
        }
        let parts: Vec<Part<'_>> = (surveys.iter().zip(&watch.streams))
            .map(|(survey, ticks)| Part { survey, ticks })
            .collect();
        let measures = measures(&parts);
        let sheet = &surveys[0].sheet;
        let windows = (sheet.cams.iter())
            .map(|cam| CamWindows {
                cam: cam.cam,
                reference: cam.windows.clone(),
                measured: at_rest(&measures, cam),
            })
            .collect();
        Ok(Self {
            name,
            file: path.to_owned(),
            engine: surveys[0].sheet.name.clone(),
            started_ns: recording.header().started_ns,
            seconds: surveys.iter().map(|s| s.seconds).sum(),
            scope: scope(&recording),
            shortfall: recording.shortfall(),
            measures,
            course: course::of(&parts),
            windows,
        })
    }

    /// The file without its folder.
    pub fn file_name(&self) -> String {
        let name = self.file.file_name().unwrap_or(self.file.as_os_str());
        name.to_string_lossy().into_owned()
    }
}

/// The windows of a cam where its edges were measured at rest: phase is reference less measured angle.
fn at_rest(measures: &[Measure], cam: &CamSheet) -> Vec<[f64; 2]> {
    let edge = |i: usize, reference: f64| {
        let key = format!("{}.edge-{i}.phase-at-rest", cam.cam);
        match measures.iter().find(|m| m.key == key)?.finding {
            Finding::Figure(estimate) => Some(reference - estimate.value),
            _ => None,
        }
    };
    let windows = cam.windows.iter().enumerate();
    let measured: Option<Vec<[f64; 2]>> = windows
        .map(|(i, [rise, fall])| Some([edge(2 * i, *rise)?, edge(2 * i + 1, *fall)?]))
        .collect();
    measured.unwrap_or_default()
}

fn scope(recording: &Recording) -> String {
    recording.streams().next().map_or_else(String::new, |s| {
        let d = &s.device;
        format!("{} {} {} at {} Hz", d.maker, d.model, d.serial, s.rate_hz)
    })
}

fn measures(parts: &[Part<'_>]) -> Vec<Measure> {
    let Some(sheet) = parts.last().map(|part| Arc::clone(&part.survey.sheet)) else {
        return Vec::new();
    };
    let mut measures = Vec::new();
    for (i, cam) in sheet.cams.iter().enumerate() {
        measures.extend(position::measures(parts, i, cam));
        if let Some(phaser) = &cam.phaser {
            measures.extend(movement::measures(parts, i, cam, phaser));
            measures.extend(command::measures(parts, i, cam));
        }
        measures.extend(standing::agreement(parts, i, cam));
    }
    measures.extend(trials::measures(parts));
    measures.extend(engine::measures(parts));
    measures.extend(cylinders::measures(parts));
    measures.extend(standing::recording(parts));
    measures.iter_mut().for_each(resolve);
    measures
}

/// Nothing is told finer than it is written: half of the last digit is a bound of every figure (the
/// resolution of an indication, GUM F.2.2.1). Without it a supply that is steady to a tenth of a
/// millivolt would differ from every other.
fn resolve(measure: &mut Measure) {
    if let Finding::Figure(estimate) = &mut measure.finding {
        let last = 10_f64.powi(-i32::try_from(measure.digits).unwrap_or(0));
        estimate.bound = estimate.bound.max(0.5 * last);
    }
}

/// A measure of a cam.
pub(super) fn named(
    cam: CamId,
    key: &str,
    name: &str,
    (group, unit, digits): (Group, &'static str, usize),
    finding: Finding,
) -> Measure {
    Measure {
        key: format!("{cam}.{key}"),
        name: format!("{} cam, {name}", words::cam(cam)),
        group,
        unit,
        digits,
        conditions: Conditions::default(),
        finding,
    }
}

/// The lead whose colour a measure has.
pub fn role(measure: &Measure) -> Option<Role> {
    let cam: CamId = measure.key.split('.').next()?.parse().ok()?;
    Some(match measure.group {
        Group::Command | Group::Circuit => Role::Command(cam),
        Group::Position | Group::Movement | Group::Agreement | Group::Engine | Group::Recording => {
            Role::Cam(cam)
        }
    })
}
