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
    "intake-chain-two-teeth", "both-cams-one-tooth", "stuck-at-rest", "stuck-off-rest", "hunting",
    "no-command", "command-stuck-on", "command-lost-above-speed", "supply-drop",
    "cam-sensor-dropout", "lead-off", "leads-swapped", "probe-factor", "chipped-tooth",
    "noisy-crank-lead", "hard-start", "small-hatch-healthy", "estate-six-healthy", "pick-up-healthy",
);

const ENGINES: &[(&str, &str)] =
    embedded!("engines/": "light-van", "small-hatch", "estate-six", "pick-up");

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
mod tests {
    use super::*;

    #[test]
    fn every_embedded_scenario_reads() {
        let all = Scenario::all().unwrap();
        assert_eq!(all.len(), SCENARIOS.len());
        assert!(
            all.iter()
                .all(|s| !s.title.is_empty() && !s.story.complaint.is_empty())
        );
    }

    #[test]
    fn a_mistake_is_reported_with_its_line() {
        let good = SCENARIOS[0].1;
        let at = good.lines().position(|l| l.starts_with("oil")).unwrap() + 1;
        let bad = good.replacen("time_constant = ", "time_constant = -", 1);
        let error = Scenario::from_toml("x.toml", &bad).unwrap_err().to_string();
        assert_eq!(
            error,
            format!("x.toml, line {at}: -18 is out of range, expected a number above 0")
        );
        let unknown = good.replacen("title", "titel", 1);
        let error = Scenario::from_toml("x.toml", &unknown).unwrap_err();
        assert!(matches!(error, ScenarioError::Line { .. }), "{error}");
        assert!(error.to_string().contains("titel"), "{error}");
    }

    #[test]
    fn figures_that_do_not_go_together_are_reported_with_their_line() {
        let good = SCENARIOS[0].1;
        for (have, wrong, why) in [
            (
                "repeat_from = 1",
                "repeat_from = 9",
                "no such segment; they are counted from 1 to 4",
            ),
            (
                "moved = [2, 7]",
                "moved = [7, 2]",
                "moved [7, 2] must hold the lower figure first",
            ),
            (
                "engine = \"light-van\"",
                "engine = \"cart\"",
                "there is no engine called 'cart'",
            ),
        ] {
            let bad = good.replacen(have, wrong, 1);
            let error = Scenario::from_toml("x.toml", &bad).unwrap_err().to_string();
            assert!(
                error.starts_with("x.toml, line ") && error.contains(why),
                "{error}"
            );
        }
        let engine = ENGINES[0].1.replacen("[1, 3, 4, 2]", "[1, 3, 3, 2]", 1);
        let at = engine.lines().position(|l| l == "[block]").unwrap() + 1;
        let error = read_toml::<Blueprint>("e.toml", &engine)
            .unwrap_err()
            .to_string();
        assert!(
            error.starts_with(&format!("e.toml, line {at}: firing_order")),
            "{error}"
        );
    }

    #[test]
    fn every_kind_of_harm_to_wheel_and_signal_reads() {
        let good = SCENARIOS[0].1;
        let harm = |text: &str| {
            let text = format!("{good}\n[[faults]]\n{text}\n");
            Scenario::from_toml("x.toml", &text).map_err(|e| e.to_string())
        };
        let example = |line: &&str| line.trim_start_matches('#').trim().starts_with("how = ");
        let mut read = 0;
        // The examples in the scenario that explains every entry.
        for line in good.lines().filter(example) {
            let how = line
                .trim_start_matches('#')
                .split('(')
                .next()
                .unwrap_or_default();
            let text = format!(
                "kind = \"signal\"\nwheel = \"crank\"\nafter = 3\n{}",
                how.trim()
            );
            assert!(harm(&text).is_ok(), "{text}: {:?}", harm(&text));
            read += 1;
        }
        assert_eq!(read, 6);
        for text in [
            "kind = \"tooth-damaged\"\ntooth = 12\nheight = 0.4\nshift = 0.8",
            "kind = \"tooth-missing\"\ntooth = 58",
            "kind = \"tooth-extra\"\nat = 351\nheight = 0.7",
        ] {
            assert!(harm(text).is_ok(), "{text}: {:?}", harm(text));
        }
        let error = harm("kind = \"tooth-missing\"\ntooth = 59").unwrap_err();
        assert!(
            error.ends_with("the crank's wheel has teeth 1 to 58, not 59"),
            "{error}"
        );
    }

    #[test]
    fn wheels_of_every_kind_read_and_wrong_ones_do_not() {
        let plain = "teeth = 60\nmissing = 2\n";
        let read = |wheel: &str| {
            let text = ENGINES[0].1.replacen(plain, wheel, 1);
            read_toml::<Blueprint>("e.toml", &text).map_err(|e| e.to_string())
        };
        for (wheel, marks, period) in [
            (plain, 58, 360.0),
            (
                "teeth = 36\nwithout = [14, 15, 32, 33, 35, 36]\n",
                30,
                360.0,
            ),
            ("teeth = 12\nadded = true\n", 13, 360.0),
            ("teeth = 24\non_cam = true\n", 24, 720.0),
            ("marks = [0, 70, 180, 250]\nreach = 14\n", 4, 360.0),
        ] {
            let engine = read(wheel).unwrap();
            assert_eq!(engine.crank.all_marks().len(), marks, "{wheel}");
            assert!((engine.crank.period() - period).abs() < 1e-9, "{wheel}");
        }
        for (wheel, why) in [
            ("teeth = 1\n", "2 to 255 teeth"),
            ("teeth = 36\nwithout = [1]\n", "tooth 1 stays"),
            ("teeth = 12\nmarks = [0, 90]\n", "marks say it all"),
            ("marks = [0, 90, 80]\n", "marks must rise"),
            ("teeth = 4\ncoded = \"nwwn\"\n", "need a Hall sensor"),
            ("teeth = 4\ncoded = \"nww\"\n", "coded must hold 4 letters"),
            ("teeth = 60\nwobble = 4\n", "wobble must be below"),
        ] {
            let error = read(wheel).unwrap_err();
            assert!(error.contains(why), "{wheel}: {error}");
        }
    }

    #[test]
    fn a_file_may_bring_its_own_engine() {
        let dir = std::env::temp_dir().join(format!("keyway-scenario-{}", std::process::id()));
        std::fs::create_dir_all(&dir).unwrap();
        let scenario =
            SCENARIOS[0]
                .1
                .replacen("engine = \"light-van\"", "engine = \"own.toml\"", 1);
        std::fs::write(dir.join("mine.toml"), scenario).unwrap();
        std::fs::write(dir.join("own.toml"), ENGINES[1].1).unwrap();
        let read = Scenario::load(&dir.join("mine.toml"));
        std::fs::remove_dir_all(&dir).unwrap();
        let read = read.unwrap();
        assert_eq!((read.name.as_str(), read.engine.crank.teeth), ("mine", 36));
    }

    #[test]
    fn an_unknown_name_is_answered_with_the_names_there_are() {
        let error = Scenario::named("perfect").unwrap_err().to_string();
        assert!(
            error.contains("'perfect'") && error.contains("healthy"),
            "{error}"
        );
    }
}
