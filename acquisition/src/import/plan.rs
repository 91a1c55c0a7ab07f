//! The import plan: how the text of a capture is to be read. Whatever it leaves out is found from the file.

use serde::{Deserialize, Serialize};

/// Units a column may have, with the unit of the recording and what one of them is in it.
/// psi: NIST SP 811, appendix B.8.
const UNITS: &[(&str, &str, f64)] = &[
    ("V", "V", 1.0),
    ("mV", "V", 1e-3),
    ("A", "A", 1.0),
    ("mA", "A", 1e-3),
    ("kPa", "kPa", 1.0),
    ("bar", "kPa", 100.0),
    ("psi", "kPa", 6.894757),
];

/// How a capture is read.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// What this plan is for.
    #[serde(default)]
    pub name: String,
    /// The text.
    #[serde(default)]
    pub text: TextPlan,
    /// The time column.
    #[serde(default)]
    pub time: TimePlan,
    /// The columns to import; none means all that can be understood.
    #[serde(default)]
    pub columns: Vec<ColumnPlan>,
}

/// How the text is divided.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TextPlan {
    /// What stands between cells.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delimiter: Option<Delimiter>,
    /// The decimal sign.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decimal: Option<Decimal>,
    /// Rows with names above the numbers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub header_rows: Option<usize>,
    /// Whether a row with units follows the names.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit_row: Option<bool>,
    /// Lines to pass over before the names.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub skip_rows: Option<usize>,
}

/// Where the time is.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TimePlan {
    /// The column; number 0 means that there is none or that it is not to be used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<ColumnKey>,
    /// Its unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<TimeUnit>,
    /// Samples per second. For edges the rate of the recording that is made of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate: Option<f64>,
}

/// One column to import.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ColumnPlan {
    /// Which.
    pub column: ColumnKey,
    /// What it was connected to, as in a lead plan; found from its name when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub role: Option<String>,
    /// What its rows are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<Kind>,
    /// V, mV, A, mA, kPa, bar or psi; levels have none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Units at the probe tip per unit in the file (V, A or kPa), as in a lead plan: 10 for a 10:1 probe.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub factor: f64,
    /// What becomes of rows in which this column has no number.
    #[serde(default, skip_serializing_if = "Holes::is_gap")]
    pub holes: Holes,
}

fn one() -> f64 {
    1.0
}

fn is_one(x: &f64) -> bool {
    (x - 1.0).abs() < f64::EPSILON
}

/// A column by its name in the header, or by its number from 1.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum ColumnKey {
    /// From 1.
    Number(usize),
    /// As in the header, without regard to case if that is clear enough.
    Name(String),
}

/// What the rows of a column are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A value each sample period.
    Samples,
    /// Levels 0 and 1, a row per change, each holding until the next row.
    Edges,
}

/// What becomes of the rows in which a column has no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Holes {
    /// The row is left out of the recording, which has a gap there.
    #[default]
    Gap,
    /// The last value stays, as of a slow channel that is written only now and then.
    Hold,
}

impl Holes {
    fn is_gap(&self) -> bool {
        *self == Self::Gap
    }
}

/// Unit of the time column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TimeUnit {
    /// Seconds.
    S,
    /// Milliseconds.
    Ms,
    /// Microseconds.
    Us,
    /// Nanoseconds.
    Ns,
    /// Sample periods: the column counts samples.
    Sample,
}

impl TimeUnit {
    /// Seconds of one; none for counted samples.
    pub fn seconds(self) -> Option<f64> {
        match self {
            Self::S => Some(1.0),
            Self::Ms => Some(1e-3),
            Self::Us => Some(1e-6),
            Self::Ns => Some(1e-9),
            Self::Sample => None,
        }
    }

    /// As written in a plan.
    pub fn word(self) -> &'static str {
        match self {
            Self::S => "s",
            Self::Ms => "ms",
            Self::Us => "us",
            Self::Ns => "ns",
            Self::Sample => "sample",
        }
    }

    /// The unit that a word of a header names.
    pub(crate) fn named(word: &str) -> Option<Self> {
        Some(match word.trim().to_lowercase().as_str() {
            "s" | "sec" | "secs" | "second" | "seconds" => Self::S,
            "ms" | "msec" | "millisecond" | "milliseconds" => Self::Ms,
            // The micro sign and the Greek letter look alike and are two characters.
            "us" | "\u{b5}s" | "\u{3bc}s" | "usec" | "microsecond" | "microseconds" => Self::Us,
            "ns" | "nsec" | "nanosecond" | "nanoseconds" => Self::Ns,
            "sample" | "samples" => Self::Sample,
            _ => return None,
        })
    }
}

/// Unit of the values of a column.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Unit(usize);

impl Unit {
    /// The unit that a word of a header names.
    pub(crate) fn named(word: &str) -> Option<Self> {
        let word = word.trim();
        let exact = UNITS.iter().position(|u| u.0 == word);
        // "mV" and "MV" differ by nine digits: only where case says nothing is it passed over.
        let loose = || {
            [
                "v", "volt", "volts", "a", "amp", "amps", "kpa", "bar", "psi",
            ]
            .iter()
            .position(|w| word.eq_ignore_ascii_case(w))
            .map(|i| [0, 0, 0, 2, 2, 2, 4, 5, 6][i])
        };
        exact.or_else(loose).map(Self)
    }

    /// As written in a plan.
    pub fn word(self) -> &'static str {
        UNITS[self.0].0
    }

    /// The unit of the recording.
    pub fn recorded(self) -> &'static str {
        UNITS[self.0].1
    }

    /// Units of the recording per unit in the file.
    pub fn size(self) -> f64 {
        UNITS[self.0].2
    }
}

impl TryFrom<String> for Unit {
    type Error = String;
    fn try_from(word: String) -> Result<Self, String> {
        UNITS
            .iter()
            .position(|u| u.0 == word)
            .map(Self)
            .ok_or_else(|| format!("'{word}': a unit is V, mV, A, mA, kPa, bar or psi"))
    }
}

impl From<Unit> for String {
    fn from(unit: Unit) -> Self {
        unit.word().to_owned()
    }
}

/// What stands between cells: one character, or "tab" or "space".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Delimiter(pub(crate) u8);

impl Delimiter {
    /// Those that are tried, the surest first: a semicolon is in no number, a space is in many texts.
    pub(crate) const TRIED: [Self; 5] =
        [Self(b';'), Self(b'\t'), Self(b','), Self(b'|'), Self(b' ')];

    /// In words.
    pub fn word(self) -> String {
        match self.0 {
            b'\t' => "tab".to_owned(),
            b' ' => "space".to_owned(),
            b => char::from(b).to_string(),
        }
    }
}

impl TryFrom<String> for Delimiter {
    type Error = String;
    fn try_from(word: String) -> Result<Self, String> {
        match word.as_bytes() {
            b"tab" => Ok(Self(b'\t')),
            b"space" => Ok(Self(b' ')),
            [b] if b.is_ascii() && !b.is_ascii_alphanumeric() && !b"\r\n\".+-".contains(b) => {
                Ok(Self(*b))
            }
            _ => Err(format!(
                "'{word}': a delimiter is one character such as ; or , or |, or \"tab\" or \"space\""
            )),
        }
    }
}

impl From<Delimiter> for String {
    fn from(delimiter: Delimiter) -> Self {
        delimiter.word()
    }
}

/// The decimal sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Decimal {
    /// 1.5
    #[serde(rename = ".")]
    Point,
    /// 1,5
    #[serde(rename = ",")]
    Comma,
}

impl Decimal {
    /// The character.
    pub fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    /// In words.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }
}

impl Plan {
    /// Reads a plan. The error names the line and what is wrong there.
    pub fn from_toml(text: &str) -> Result<Self, toml::de::Error> {
        toml::from_str(text)
    }

    /// The plan as text that [`Self::from_toml`] reads.
    pub fn to_toml(&self) -> String {
        // Only maps with odd keys cannot be written, and there are none.
        toml::to_string(self).unwrap_or_default()
    }
}
