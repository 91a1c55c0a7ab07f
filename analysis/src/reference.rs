//! Known-good references: the angles of every cam edge of a good engine at rest, with how well they are known.
//!
//! A reference is one small TOML file, described field by field in `analysis/REFERENCES.md`. It is identified with an
//! engine by what decides whether its angles mean the same there: the sheet's name, tone wheel, sensor and cams.

use crate::engine::{EdgeKind, Sensor};
use crate::lead::CamId;
use crate::units::{Band, CrankDegrees, Rpm};
use serde::Deserialize;
use std::fmt;

pub mod combine;
pub mod factor;
pub mod fit;
pub mod handbook;
mod keys;
pub mod measured;
pub mod quality;
mod text;

/// Form of the files this version writes. A newer form may have more fields; those known keep their meaning.
pub const FORM: u32 = 1;

/// A reference for one engine.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Reference {
    /// Form of the file.
    pub form: u32,
    /// How it is called.
    pub name: String,
    /// Where its angles come from.
    pub origin: Origin,
    /// Day on which it was made, year-month-day.
    pub made: String,
    /// Who made it; may be empty.
    #[serde(default)]
    pub by: String,
    /// Name of the recording, title and page of the handbook, or empty for a combination.
    #[serde(default)]
    pub source: String,
    /// Plate or other mark of the very vehicle that was measured; empty if nobody told.
    #[serde(default)]
    pub vehicle: String,
    /// Whatever else is to be known; may be empty.
    #[serde(default)]
    pub note: String,
    /// The engine it is for.
    pub engine: EngineMark,
    /// What it was measured under.
    #[serde(default)]
    pub conditions: Conditions,
    /// Its cams.
    pub cams: Vec<CamEntry>,
    /// What a combination was made of.
    #[serde(default)]
    pub parts: Vec<Part>,
}

/// Where the angles of a reference come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// A recording of one good engine.
    Measured,
    /// A handbook.
    Handbook,
    /// Several measured ones.
    Combined,
}

/// What decides whether the angles of a reference mean the same on an engine.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct EngineMark {
    /// Name of the engine sheet.
    pub name: String,
    /// Tone wheel of the crank, in the sheet's notation.
    pub wheel: String,
    /// Kind of the crank's sensor.
    pub sensor: Sensor,
    /// The edge that marks the crank's tooth.
    pub active_edge: EdgeKind,
    /// From the tooth after the gap to TDC in the sheet that was measured with. A handbook counts from TDC itself and
    /// does not need it.
    pub gap_to_tdc: Option<CrankDegrees>,
}

/// What a reference was measured under.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Conditions {
    /// Between which engine speeds.
    pub speed: Option<Band<Rpm>>,
    /// Oil temperature that the technician read, degrees Celsius.
    pub oil: Option<f64>,
}

/// What is known of one cam.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct CamEntry {
    /// Which.
    pub cam: CamId,
    /// How far a good engine may be from these angles.
    pub tolerance: CrankDegrees,
    /// Half width of the 95 % range of the angles as a whole, where the tolerance does not hold it already.
    #[serde(default)]
    pub uncertainty: CrankDegrees,
    /// Engines they rest on; 0 for a handbook.
    #[serde(default)]
    pub engines: usize,
    /// How many windows the sensor shows in a cycle.
    pub windows: usize,
    /// Whether the engine has a phaser on it.
    pub phaser: bool,
    /// How it was known to be at rest.
    #[serde(default)]
    pub rest: Rest,
    /// The edges.
    pub edges: Vec<EdgeEntry>,
}

/// How a cam was known to be at rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Rest {
    /// A proven command let it rest.
    Command,
    /// It has no phaser.
    Fixed,
    /// Nobody looked: a handbook says so.
    #[default]
    Told,
}

/// One edge, or the middle between two.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct EdgeEntry {
    /// What of the window.
    pub mark: EdgeMark,
    /// Which window of the sheet, from 1.
    pub window: usize,
    /// Crank degrees after firing TDC 1, in [0, 720).
    pub angle: CrankDegrees,
    /// Standard deviation: from cycle to cycle, or from engine to engine in a combination.
    pub spread: Option<CrankDegrees>,
    /// How many cycles, or engines.
    pub count: Option<usize>,
}

/// What of a window an angle belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum EdgeMark {
    /// Its rising edge.
    Rising,
    /// Its falling edge.
    Falling,
    /// Its middle: the centre of a tooth that shows high.
    Middle,
    /// The middle of the low stretch after it: the centre of a tooth that shows low.
    Low,
}

impl EdgeMark {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Rising, Self::Falling, Self::Middle, Self::Low];

    /// Its name in a file.
    pub fn word(self) -> &'static str {
        match self {
            Self::Rising => "rising",
            Self::Falling => "falling",
            Self::Middle => "middle",
            Self::Low => "low",
        }
    }

    /// The edges it lies between, counted from 0, of a cam with so many windows; one of them twice for an edge itself.
    pub fn edges(self, window: usize, windows: usize) -> [usize; 2] {
        let (rising, falling) = (2 * window, 2 * window + 1);
        match self {
            Self::Rising => [rising; 2],
            Self::Falling => [falling; 2],
            Self::Middle => [rising, falling],
            Self::Low => [falling, (falling + 1) % (2 * windows.max(1))],
        }
    }
}

/// One engine in a combination.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Part {
    /// Name of its reference.
    pub name: String,
    /// The vehicle.
    #[serde(default)]
    pub vehicle: String,
    /// Its recording.
    #[serde(default)]
    pub source: String,
    /// When it was made.
    #[serde(default)]
    pub made: String,
    /// Where each of its cams stands against the mean.
    pub offsets: Vec<CrankDegrees>,
    /// Whether it lies far from the others.
    #[serde(default)]
    pub outlier: bool,
    /// Whether the one who combined left it out of the mean.
    #[serde(default)]
    pub left_out: bool,
}

/// A mistake in a reference's text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// Line, from 1; none when it concerns the whole.
    pub line: Option<usize>,
    /// What is wrong and what to do.
    pub what: String,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.what),
            None => f.write_str(&self.what),
        }
    }
}

impl std::error::Error for Mistake {}

fn line_at(text: &str, at: usize) -> usize {
    let at = at.min(text.len());
    1 + text.as_bytes()[..at]
        .iter()
        .filter(|b| **b == b'\n')
        .count()
}

impl Reference {
    /// Reads a reference. Fields of a newer form are passed over, and stay in the text; in one of this form or an
    /// older one a field that is not known is a mistake.
    pub fn read(text: &str) -> Result<Self, Mistake> {
        let slip = |error: &toml::de::Error| Mistake {
            line: error.span().map(|s| line_at(text, s.start)),
            what: error.message().trim().replace('\n', "; "),
        };
        let table = toml::de::DeTable::parse(text).map_err(|e| slip(&e))?;
        let reference: Self = toml::from_str(text).map_err(|e| slip(&e))?;
        if reference.form == 0 {
            return Err(Mistake {
                line: None,
                what: "'form' counts from 1".to_owned(),
            });
        }
        if !reference.is_newer()
            && let Some((at, name)) = keys::unknown(table.get_ref())
        {
            return Err(Mistake {
                line: Some(line_at(text, at)),
                what: format!(
                    "'{name}' is not a field of a reference of form {FORM}; is it misspelt?"
                ),
            });
        }
        reference
            .check()
            .map_err(|what| Mistake { line: None, what })?;
        Ok(reference)
    }

    /// Whether a newer version wrote it: it may hold more than is shown.
    pub fn is_newer(&self) -> bool {
        self.form > FORM
    }

    /// The text of its file, with comments that explain it.
    pub fn text(&self) -> String {
        text::text(self)
    }

    /// What is known of a cam.
    pub fn cam(&self, id: CamId) -> Option<&CamEntry> {
        self.cams.iter().find(|c| c.cam == id)
    }

    /// What TOML cannot say.
    pub fn check(&self) -> Result<(), String> {
        let is_day = |text: &str| {
            let parts: Vec<&str> = text.split('-').collect();
            parts.len() == 3
                && parts
                    .iter()
                    .zip([4, 2, 2])
                    .all(|(p, n)| p.len() == n && p.bytes().all(|b| b.is_ascii_digit()))
        };
        if self.name.trim().is_empty() {
            return Err("'name' is empty; give the reference a name".to_owned());
        }
        if !is_day(&self.made) {
            return Err(format!(
                "made = \"{}\": write the day as year-month-day, such as 2026-11-30",
                self.made
            ));
        }
        if self.cams.is_empty() {
            return Err("it has no [[cams]]; at least one cam with one edge is needed".to_owned());
        }
        for (i, cam) in self.cams.iter().enumerate() {
            if self.cams[..i].iter().any(|c| c.cam == cam.cam) {
                return Err(format!("the {} cam stands in it twice", cam.cam));
            }
            cam.check()?;
        }
        Ok(())
    }
}

impl CamEntry {
    fn check(&self) -> Result<(), String> {
        let id = self.cam;
        let sound = |x: f64, least: f64, most: f64| x.is_finite() && (least..=most).contains(&x);
        if !sound(self.tolerance.0, 0.05, 180.0) {
            return Err(format!(
                "{id} cam: the tolerance must lie between 0.05 and 180 crank degrees"
            ));
        }
        if !sound(self.uncertainty.0, 0.0, 180.0) {
            return Err(format!(
                "{id} cam: the uncertainty must lie between 0 and 180 crank degrees"
            ));
        }
        if self.windows == 0 || self.edges.is_empty() {
            return Err(format!(
                "{id} cam: it needs at least one window and one edge"
            ));
        }
        for (i, edge) in self.edges.iter().enumerate() {
            let name = format!("{id} cam, {} of window {}", edge.mark.word(), edge.window);
            if edge.window == 0 || edge.window > self.windows {
                return Err(format!(
                    "{name}: windows are counted from 1 to {}",
                    self.windows
                ));
            }
            if !(edge.angle.0.is_finite() && (0.0..720.0).contains(&edge.angle.0)) {
                return Err(format!(
                    "{name}: the angle must lie between 0 and 720 crank degrees after firing TDC 1"
                ));
            }
            if edge.spread.is_some_and(|s| !sound(s.0, 0.0, 180.0)) {
                return Err(format!(
                    "{name}: the spread must lie between 0 and 180 crank degrees"
                ));
            }
            let is_same = |e: &EdgeEntry| e.mark == edge.mark && e.window == edge.window;
            if self.edges[..i].iter().any(is_same) {
                return Err(format!("{name} stands in it twice"));
            }
        }
        Ok(())
    }

    /// Edges of which the angle itself is given, by their place in the sheet's pattern; complete when all are.
    pub fn angles(&self) -> Vec<Option<f64>> {
        let mut angles = vec![None; 2 * self.windows];
        for edge in &self.edges {
            if let EdgeMark::Rising | EdgeMark::Falling = edge.mark {
                let [at, _] = edge.mark.edges(edge.window - 1, self.windows);
                if let Some(place) = angles.get_mut(at) {
                    *place = Some(edge.angle.0);
                }
            }
        }
        angles
    }

    /// Whether it gives every edge.
    pub fn is_whole(&self) -> bool {
        self.angles().iter().all(Option::is_some)
    }
}

#[cfg(test)]
pub(crate) mod tests;
