//! The tone wheel: where its teeth are, and the notation in which an engine sheet says so.
//!
//! | notation | wheel |
//! |---|---|
//! | `60-2` | 60 equal pitches, the last 2 teeth taken out |
//! | `36-2-2-2` | a name from [`crate::wheel_table`] |
//! | `36 without 14 15 32` | 36 equal pitches, these teeth (counted from 1) taken out |
//! | `12+1` | 12 equal pitches and one tooth more, half a pitch before the first |
//! | `24` | 24 equal teeth, no reference |
//! | `at 0 70 180 250` | teeth at these degrees of the wheel |
//! | `24 coded nnwnww...` | 24 equally spaced edges, each followed by a narrow or a wide tooth |
//! | `cam 12+1` | any of these on a wheel that turns with the cam |

use crate::units::CrankDegrees;
use crate::wheel_table;
use std::fmt;

/// Most teeth, as in a production timing unit (Freescale AN3769 section 2).
const MOST_TEETH: u16 = 255;
/// Two teeth closer than this, in degrees of the wheel, are one: below the pitch of a wheel of 255 teeth.
const CLOSEST: f64 = 1.0;

/// A wheel description that cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WheelError {
    /// Not understood.
    #[error(
        "tone wheel \"{0}\": write the teeth minus the missing ones (\"60-2\"), a number of equal teeth (\"24\"), one tooth more (\"12+1\"), \"36 without 14 15 32\", \"24 coded nnwn...\" with a letter for each tooth, or the edges in degrees (\"at 0 70 180 250\"); \"cam\" in front if it turns with the cam"
    )]
    Form(String),
    /// Outside what can be decoded.
    #[error(
        "tone wheel \"{0}\": between 1 and 255 teeth can be read, and at least one must be there"
    )]
    Range(String),
    /// A list of edges that is no list of edges.
    #[error(
        "tone wheel \"{text}\": edge {at} must lie after the one before, at least 1 degree from it, and below 360"
    )]
    Edge {
        /// The notation.
        text: String,
        /// The edge, degrees of the wheel.
        at: f64,
    },
}

/// Which of two tooth widths a coded wheel has after an edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// Shorter than half the pitch.
    Narrow,
    /// Longer than half the pitch.
    Wide,
}

/// Angles at which the active edges of a wheel pass the sensor. Tooth 0 lies at 0: the first after the gap,
/// or after the first of several; of a wheel without a gap, the first that is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Wheel {
    notation: String,
    /// Crank degrees after tooth 0, strictly increasing from 0.
    angles: Vec<f64>,
    /// One per tooth of a coded wheel, else empty.
    widths: Vec<Width>,
    period: f64,
}

impl Wheel {
    /// Reads the notation.
    pub fn parse(text: &str) -> Result<Self, WheelError> {
        let notation = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let (body, ratio) = match notation.strip_prefix("cam ") {
            Some(body) => (body, 2.0),
            None => (notation.as_str(), 1.0),
        };
        let body = wheel_table::PUBLISHED
            .iter()
            .find(|p| p.name == body)
            .map_or(body, |p| p.notation);
        let Layout { angles, widths } = layout(body).map_err(|slip| slip.of(text))?;
        Ok(Self {
            notation,
            angles: angles.into_iter().map(|a| a * ratio).collect(),
            widths,
            period: 360.0 * ratio,
        })
    }

    /// A wheel with active edges at these crank degrees within `period` (360, or 720 if it turns with the cam),
    /// as learnt from a signal. They are shifted so that the first lies at 0, and must increase.
    pub fn from_edges(edges: &[f64], period: f64) -> Result<Self, WheelError> {
        let first = edges.first().copied().unwrap_or(0.0);
        let ratio = period / 360.0;
        let list: Vec<String> = edges
            .iter()
            .map(|e| {
                format!("{:.2}", (e - first) / ratio)
                    .trim_end_matches('0')
                    .trim_end_matches('.')
                    .to_owned()
            })
            .collect();
        let cam = if period > 360.0 { "cam " } else { "" };
        Self::parse(&format!("{cam}at {}", list.join(" ")))
    }

    /// Number of teeth present.
    pub fn teeth(&self) -> usize {
        self.angles.len()
    }

    /// Crank degrees after which the pattern begins again: 360, or 720 for a wheel on a cam.
    pub fn period(&self) -> CrankDegrees {
        CrankDegrees(self.period)
    }

    /// Angle of a tooth after tooth 0, in [0, period).
    pub fn angle(&self, tooth: usize) -> CrankDegrees {
        CrankDegrees(self.angles[tooth])
    }

    /// Angle from a tooth to the one after it; the last is followed by the first of the next turn.
    pub fn pitch(&self, tooth: usize) -> CrankDegrees {
        let next = self.angles.get(tooth + 1).copied().unwrap_or(self.period);
        CrankDegrees(next - self.angles[tooth])
    }

    /// The tooth after this one.
    pub fn after(&self, tooth: usize) -> usize {
        (tooth + 1) % self.angles.len()
    }

    /// Smallest distance between two teeth.
    pub fn narrowest(&self) -> CrankDegrees {
        CrankDegrees(
            (0..self.teeth())
                .map(|i| self.pitch(i).0)
                .fold(f64::INFINITY, f64::min),
        )
    }

    /// Largest distance between two teeth.
    pub fn widest(&self) -> CrankDegrees {
        CrankDegrees(
            (0..self.teeth())
                .map(|i| self.pitch(i).0)
                .fold(0.0, f64::max),
        )
    }

    /// Width of the tooth that follows the edge, on a coded wheel.
    pub fn width(&self, tooth: usize) -> Option<Width> {
        self.widths.get(tooth).copied()
    }

    /// Whether tooth widths carry the reference.
    pub fn is_coded(&self) -> bool {
        !self.widths.is_empty()
    }

    /// Into how many like parts a turn divides: 1 for a wheel that tells where it is, the number of teeth for
    /// an even one.
    pub fn symmetry(&self) -> usize {
        let n = self.teeth();
        (1..=n)
            .find(|step| {
                n.is_multiple_of(*step)
                    && (0..n).all(|i| {
                        (self.pitch(i).0 - self.pitch((i + step) % n).0).abs() < 0.01
                            && self.width(i) == self.width((i + step) % n)
                    })
            })
            .map_or(1, |step| n / step)
    }

    /// Whether the interval after this tooth is not the usual one, so that it tells where the wheel is.
    pub fn stands_out(&self, tooth: usize) -> bool {
        let mut pitches: Vec<f64> = (0..self.teeth()).map(|t| self.pitch(t).0).collect();
        pitches.sort_by(f64::total_cmp);
        let usual = pitches[(pitches.len() - 1) / 2];
        !(0.8..=1.25).contains(&(self.pitch(tooth).0 / usual))
    }
}

impl fmt::Display for Wheel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.notation)
    }
}

/// Edges in degrees of the wheel.
struct Layout {
    angles: Vec<f64>,
    widths: Vec<Width>,
}

enum Slip {
    Form,
    Range,
    Edge(f64),
}

impl Slip {
    fn of(self, text: &str) -> WheelError {
        let text = text.to_owned();
        match self {
            Self::Form => WheelError::Form(text),
            Self::Range => WheelError::Range(text),
            Self::Edge(at) => WheelError::Edge { text, at },
        }
    }
}

fn layout(body: &str) -> Result<Layout, Slip> {
    let words: Vec<&str> = body.split(' ').collect();
    match words.as_slice() {
        ["at", edges @ ..] => listed(edges),
        [teeth, "without", gone @ ..] => {
            let gone = gone
                .iter()
                .map(|w| number(w))
                .collect::<Result<Vec<_>, _>>()?;
            without(number(teeth)?, &gone)
        }
        [teeth, "coded", letters @ ..] => coded(number(teeth)?, &letters.concat()),
        [one] => match (one.split_once('-'), one.split_once('+')) {
            (Some((teeth, missing)), _) => {
                let (teeth, missing) = (number(teeth)?, number(missing)?);
                if missing >= teeth {
                    return Err(Slip::Range);
                }
                without(teeth, &(teeth - missing + 1..=teeth).collect::<Vec<_>>())
            }
            (None, Some((teeth, "1"))) => {
                let Layout { mut angles, .. } = without(number(teeth)?, &[])?;
                let pitch = 360.0 / angles.len() as f64;
                angles.push(360.0 - 0.5 * pitch);
                Ok(Layout {
                    angles,
                    widths: Vec::new(),
                })
            }
            (None, Some(_)) => Err(Slip::Form),
            (None, None) => without(number(one)?, &[]),
        },
        _ => Err(Slip::Form),
    }
}

fn number(word: &str) -> Result<u16, Slip> {
    word.parse().map_err(|_| Slip::Form)
}

/// Equal pitches without some teeth, counted from 1; turned so that the tooth after the first gap lies at 0
/// unless tooth 1 itself follows a gap.
fn without(teeth: u16, gone: &[u16]) -> Result<Layout, Slip> {
    if !(1..=MOST_TEETH).contains(&teeth) || gone.iter().any(|g| !(1..=teeth).contains(g)) {
        return Err(Slip::Range);
    }
    let pitch = 360.0 / f64::from(teeth);
    let there: Vec<u16> = (1..=teeth).filter(|t| !gone.contains(t)).collect();
    let first = *there
        .iter()
        .find(|&&t| gone.contains(&if t == 1 { teeth } else { t - 1 }))
        .or(there.first())
        .ok_or(Slip::Range)?;
    let mut angles: Vec<f64> = there
        .iter()
        .map(|&t| f64::from((t + teeth - first) % teeth) * pitch)
        .collect();
    angles.sort_by(f64::total_cmp);
    Ok(Layout {
        angles,
        widths: Vec::new(),
    })
}

fn listed(edges: &[&str]) -> Result<Layout, Slip> {
    let mut angles: Vec<f64> = Vec::new();
    let mut first = None;
    for word in edges {
        let at: f64 = word.parse().map_err(|_| Slip::Form)?;
        let from = *first.get_or_insert(at);
        let is_close = angles.last().is_some_and(|last| at - from < last + CLOSEST);
        if !(0.0..360.0).contains(&at) || is_close {
            return Err(Slip::Edge(at));
        }
        angles.push(at - from);
    }
    if angles.is_empty() {
        return Err(Slip::Form);
    }
    if angles.len() > usize::from(MOST_TEETH) {
        return Err(Slip::Range);
    }
    Ok(Layout {
        angles,
        widths: Vec::new(),
    })
}

fn coded(teeth: u16, letters: &str) -> Result<Layout, Slip> {
    let widths = letters
        .chars()
        .map(|c| match c {
            'n' => Ok(Width::Narrow),
            'w' => Ok(Width::Wide),
            _ => Err(Slip::Form),
        })
        .collect::<Result<Vec<_>, _>>()?;
    if widths.len() != usize::from(teeth) {
        return Err(Slip::Form);
    }
    let Layout { angles, .. } = without(teeth, &[])?;
    Ok(Layout { angles, widths })
}

#[cfg(test)]
mod tests;
