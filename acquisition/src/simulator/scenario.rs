//! A scenario: an engine, what the driver does, and what is wrong. Read from TOML.

use super::blueprint::Blueprint;
use super::bounds;
use super::fault::Fault;
use super::script::Segment;
use serde::Deserialize;
use std::ops::Range;
use std::path::Path;
use thiserror::Error;
use toml::Spanned;

/// A scenario of the virtual scope.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Short name: the file's name without its ending.
    pub name: String,
    /// One line for a list.
    pub title: String,
    /// What the customer and the controller say.
    pub story: Story,
    /// Name of the engine sheet that describes this engine to the technician.
    pub sheet: String,
    /// The engine.
    pub engine: Blueprint,
    /// Oil temperature.
    pub oil: Warming,
    /// Temperature of the valve coils.
    pub coil: Warming,
    /// What the driver does, in order.
    pub driver: Vec<Segment>,
    /// Segment (counted from 1) from which the list repeats; without it the last one lasts for ever.
    pub repeat_from: Option<usize>,
    /// Multiple of the usual noise of every input.
    pub noise: f64,
    /// What is wrong.
    pub faults: Vec<Fault>,
}

/// What the customer and the controller say.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Story {
    /// The complaint in the customer's words.
    pub complaint: String,
    /// The stored code, empty if none.
    #[serde(default)]
    pub code: String,
}

/// A temperature that rises from one value towards another.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Warming {
    /// °C at the start.
    #[serde(deserialize_with = "bounds::celsius")]
    pub start: f64,
    /// °C in the end.
    #[serde(deserialize_with = "bounds::celsius")]
    pub end: f64,
    /// Seconds in which 63 % of the way is gone.
    #[serde(deserialize_with = "bounds::positive")]
    pub time_constant: f64,
}

impl Warming {
    /// °C at a time in seconds.
    pub fn at(&self, time: f64) -> f64 {
        self.end + (self.start - self.end) * (-time.max(0.0) / self.time_constant).exp()
    }
}

/// The file as written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    title: String,
    story: Story,
    sheet: String,
    engine: Spanned<String>,
    oil: Warming,
    coil: Warming,
    driver: Spanned<Vec<Segment>>,
    #[serde(default)]
    repeat_from: Option<Spanned<usize>>,
    #[serde(default = "one", deserialize_with = "bounds::not_negative")]
    noise: f64,
    #[serde(default)]
    faults: Vec<Spanned<Fault>>,
}

const fn one() -> f64 {
    1.0
}

/// Why a scenario cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ScenarioError {
    /// No embedded scenario or engine of this name.
    #[error("there is no {what} called '{name}'; there are {known}")]
    Unknown {
        /// "scenario" or "engine".
        what: &'static str,
        /// The name asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// The file cannot be read.
    #[error("cannot read {file}: {why}")]
    Unreadable {
        /// The file.
        file: String,
        /// The system's reason.
        why: String,
    },
    /// A mistake on a line.
    #[error("{file}, line {line}: {why}")]
    Line {
        /// The file.
        file: String,
        /// Line counted from 1.
        line: usize,
        /// What is wrong there.
        why: String,
    },
}

macro_rules! embedded {
    ($dir:literal: $($name:literal),+ $(,)?) => {
        &[$(($name, include_str!(concat!("../../scenarios/", $dir, $name, ".toml")))),+]
    };
}

/// The embedded scenarios in the order of a list: the usual ones first.
const SCENARIOS: &[(&str, &str)] = embedded!("":
    "default", "healthy", "cold-start", "cold-thick-oil", "intake-chain-one-tooth",
    "intake-chain-two-teeth", "both-cams-one-tooth", "crank-sprocket-one-tooth",
    "chain-stretched", "cam-wheel-moved", "crank-wheel-moved", "stuck-at-rest", "stuck-off-rest", "hunting",
    "oil-starved-idle", "spool-stuck", "no-command", "command-stuck-on", "command-lost-above-speed",
    "command-lost-in-vibration", "open-coil", "short-to-ground", "short-to-supply", "weak-driver", "supply-drop",
    "cam-sensor-dropout", "lead-off", "leads-swapped", "probe-factor", "inverted-crank-lead",
    "ground-missing", "clamp-reversed", "touch-test", "chipped-tooth",
    "noisy-crank-lead", "hard-start", "small-hatch-healthy", "estate-six-healthy", "pick-up-healthy",
);

const ENGINES: &[(&str, &str)] =
    embedded!("engines/": "light-van", "small-hatch", "estate-six", "pick-up");

/// Faults of one scenario: the truth has a bit for each.
const MOST_FAULTS: usize = 64;

fn too_many() -> String {
    format!("a scenario has no more than {MOST_FAULTS} faults")
}

impl Scenario {
    /// Names of the embedded scenarios.
    pub fn names() -> impl Iterator<Item = &'static str> {
        SCENARIOS.iter().map(|(name, _)| *name)
    }

    /// An embedded scenario by name.
    pub fn named(name: &str) -> Result<Self, ScenarioError> {
        let (name, text) = find("scenario", SCENARIOS, name)?;
        Self::parse(name, &format!("{name}.toml"), text, None)
    }

    /// All embedded scenarios.
    ///
    /// # Errors
    /// None for the files in this repository, which a test keeps.
    pub fn all() -> Result<Vec<Self>, ScenarioError> {
        Self::names().map(Self::named).collect()
    }

    /// A scenario from a file. Its engine is an embedded name or a path beside the file ending in `.toml`.
    pub fn load(path: &Path) -> Result<Self, ScenarioError> {
        let text = read(path)?;
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        Self::parse(&name, &path.display().to_string(), &text, path.parent())
    }

    /// A scenario from text; `file` is how errors call it. Its engine is an embedded one.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, ScenarioError> {
        Self::parse(file, file, text, None)
    }

    /// Checks a scenario that was changed in memory as a file is checked when it is read.
    ///
    /// # Errors
    /// One sentence that says what is wrong.
    pub fn check(&self) -> Result<(), String> {
        self.engine.check()?;
        if self.driver.is_empty() {
            return Err("driver must hold at least one segment".into());
        }
        let segments = self.driver.len();
        if self
            .repeat_from
            .is_some_and(|n| !(1..=segments).contains(&n))
        {
            return Err(format!(
                "no such segment; they are counted from 1 to {segments}"
            ));
        }
        if self.faults.len() > MOST_FAULTS {
            return Err(too_many());
        }
        self.faults.iter().try_for_each(|f| f.check(&self.engine))
    }

    fn parse(
        name: &str,
        file: &str,
        text: &str,
        beside: Option<&Path>,
    ) -> Result<Self, ScenarioError> {
        let raw: File = read_toml(file, text)?;
        let wrong = |span: Range<usize>, why: String| ScenarioError::Line {
            file: file.to_owned(),
            line: line_of(text, span.start),
            why,
        };
        let wanted = raw.engine.get_ref();
        let engine: Blueprint = match beside {
            Some(dir) if wanted.ends_with(".toml") => {
                let path = dir.join(wanted);
                read_toml(&path.display().to_string(), &read(&path)?)?
            }
            _ => {
                let (name, text) = find("engine", ENGINES, wanted)
                    .map_err(|e| wrong(raw.engine.span(), e.to_string()))?;
                read_toml(&format!("engines/{name}.toml"), text)?
            }
        };
        let segments = raw.driver.get_ref().len();
        if segments == 0 {
            return Err(wrong(
                raw.driver.span(),
                "driver must hold at least one segment".into(),
            ));
        }
        if let Some(n) = &raw.repeat_from
            && !(1..=segments).contains(n.get_ref())
        {
            let why = format!("no such segment; they are counted from 1 to {segments}");
            return Err(wrong(n.span(), why));
        }
        if let Some(fault) = raw.faults.get(MOST_FAULTS) {
            return Err(wrong(fault.span(), too_many()));
        }
        for fault in &raw.faults {
            fault
                .get_ref()
                .check(&engine)
                .map_err(|why| wrong(fault.span(), why))?;
        }
        Ok(Self {
            name: name.to_owned(),
            title: raw.title,
            story: raw.story,
            sheet: raw.sheet,
            engine,
            oil: raw.oil,
            coil: raw.coil,
            driver: raw.driver.into_inner(),
            repeat_from: raw.repeat_from.map(Spanned::into_inner),
            noise: raw.noise,
            faults: raw.faults.into_iter().map(Spanned::into_inner).collect(),
        })
    }
}

fn find<'a>(
    what: &'static str,
    among: &'a [(&'a str, &'a str)],
    name: &str,
) -> Result<(&'a str, &'a str), ScenarioError> {
    among
        .iter()
        .find(|(n, _)| *n == name)
        .copied()
        .ok_or_else(|| ScenarioError::Unknown {
            what,
            name: name.to_owned(),
            known: among.iter().map(|(n, _)| *n).collect::<Vec<_>>().join(", "),
        })
}

fn read(path: &Path) -> Result<String, ScenarioError> {
    std::fs::read_to_string(path).map_err(|e| ScenarioError::Unreadable {
        file: path.display().to_string(),
        why: e.to_string(),
    })
}

fn line_of(text: &str, offset: usize) -> usize {
    1 + text.bytes().take(offset).filter(|b| *b == b'\n').count()
}

fn read_toml<T: serde::de::DeserializeOwned>(file: &str, text: &str) -> Result<T, ScenarioError> {
    toml::from_str(text).map_err(|e| ScenarioError::Line {
        file: file.to_owned(),
        line: e.span().map_or(1, |span| line_of(text, span.start)),
        why: e.message().to_owned(),
    })
}

#[cfg(test)]
mod tests;
