//! Marks of a hand on an exhibit: pen strokes, arrows, text, highlighted boxes. Their places are shares
//! of the picture's field, so that they stay where they were put whatever the picture is drawn on.

use super::shape::Place;
use crate::theme::Palette;
use iced::Color;
use serde::{Deserialize, Serialize};

/// A place as shares of the field: 0 is left or top, 1 is right or bottom.
pub type Share = [f64; 2];

/// How finely places are kept: a tenth of a unit of the layout on the longer side.
const FINENESS: f64 = 10_000.0;

/// Least distance of two points of a stroke, units of the layout: closer ones are not seen apart.
const CLOSE: f64 = 1.5;

/// Inks by name. Each has a kin for a dark and for a light ground, from the same colour-blind-safe set as
/// the screens; beside the colour a mark has a shape or words of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ink {
    /// Black on paper, white on a dark screen.
    #[default]
    Plain,
    /// Vermillion.
    Vermillion,
    /// Blue.
    Blue,
    /// Bluish green.
    Green,
    /// Reddish purple.
    Purple,
}

impl Ink {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Vermillion,
        Self::Blue,
        Self::Green,
        Self::Purple,
        Self::Plain,
    ];

    /// Its name on screen.
    pub fn name(self) -> &'static str {
        match self {
            Self::Plain => "Neutral",
            Self::Vermillion => "Vermillion",
            Self::Blue => "Blue",
            Self::Green => "Green",
            Self::Purple => "Purple",
        }
    }

    /// Its colour in a palette.
    pub fn colour(self, p: &Palette) -> Color {
        match self {
            Self::Plain => p.text,
            Self::Vermillion => p.alarm,
            Self::Blue => p.intake,
            Self::Green => p.intake_2,
            Self::Purple => p.exhaust_2,
        }
    }
}

/// Width of a pen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Nib {
    /// As thick as a curve.
    #[default]
    Fine,
    /// To be seen across the workshop.
    Broad,
}

impl Nib {
    /// Width, units of the layout.
    pub fn width(self) -> f32 {
        match self {
            Self::Fine => 3.0,
            Self::Broad => 7.0,
        }
    }

    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Self::Fine => Self::Broad,
            Self::Broad => Self::Fine,
        }
    }
}

/// A mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Mark {
    /// A pen stroke.
    Stroke {
        /// Where the pen went.
        points: Vec<Share>,
        /// Ink.
        ink: Ink,
        /// Width.
        nib: Nib,
    },
    /// An arrow.
    Arrow {
        /// Its tail.
        from: Share,
        /// Its tip.
        to: Share,
        /// Ink.
        ink: Ink,
        /// Width.
        nib: Nib,
    },
    /// Words.
    Text {
        /// Upper left corner.
        at: Share,
        /// What is written there.
        words: String,
        /// Ink.
        ink: Ink,
    },
    /// A highlighted box.
    Highlight {
        /// One corner.
        from: Share,
        /// The opposite corner.
        to: Share,
        /// Ink.
        ink: Ink,
    },
}

impl Mark {
    /// Shifted by a share.
    #[must_use]
    pub fn moved(&self, by: Share) -> Self {
        let shift = |at: &Share| [fine(at[0] + by[0]), fine(at[1] + by[1])];
        let mut mark = self.clone();
        match &mut mark {
            Self::Stroke { points, .. } => {
                for point in points {
                    *point = shift(point);
                }
            }
            Self::Arrow { from, to, .. } | Self::Highlight { from, to, .. } => {
                (*from, *to) = (shift(from), shift(to));
            }
            Self::Text { at, .. } => *at = shift(at),
        }
        mark
    }

    /// With another ink.
    #[must_use]
    pub fn inked(&self, with: Ink) -> Self {
        let mut mark = self.clone();
        match &mut mark {
            Self::Stroke { ink, .. }
            | Self::Arrow { ink, .. }
            | Self::Text { ink, .. }
            | Self::Highlight { ink, .. } => *ink = with,
        }
        mark
    }

    /// All its places.
    pub fn places(&self) -> Vec<Share> {
        match self {
            Self::Stroke { points, .. } => points.clone(),
            Self::Arrow { from, to, .. } | Self::Highlight { from, to, .. } => vec![*from, *to],
            Self::Text { at, .. } => vec![*at],
        }
    }

    /// As much of a shift as keeps the mark on the field.
    pub fn room(&self, by: Share) -> Share {
        let places = self.places();
        [0, 1].map(|axis| {
            let (low, high) = places
                .iter()
                .map(|p| p[axis])
                .fold((1.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
            // A mark that is outside already may come in.
            by[axis].max((-low).min(0.0)).min((1.0 - high).max(0.0))
        })
    }

    /// Whether it is too small to have been meant.
    pub fn is_slip(&self, field: Place) -> bool {
        match self {
            // A dot is meant.
            Self::Stroke { points, .. } => points.is_empty(),
            Self::Arrow { from, to, .. } | Self::Highlight { from, to, .. } => {
                distance(*from, *to, field) < 8.0
            }
            Self::Text { words, .. } => words.trim().is_empty(),
        }
    }

    /// Whether a pointer at this place takes hold of it; `reach` is how far beside it may be, units.
    pub fn is_at(&self, at: Share, field: Place, reach: f64) -> bool {
        let here = units(at, field);
        match self {
            Self::Stroke { points, nib, .. } => {
                let reach = reach + f64::from(nib.width()) / 2.0;
                match points.as_slice() {
                    [one] => distance(*one, at, field) <= reach,
                    points => points.windows(2).any(|pair| {
                        beside(here, units(pair[0], field), units(pair[1], field)) <= reach
                    }),
                }
            }
            Self::Arrow { from, to, nib, .. } => {
                let reach = reach + f64::from(nib.width()) / 2.0;
                beside(here, units(*from, field), units(*to, field)) <= reach
            }
            // The layout knows how large the words are.
            Self::Text { .. } => false,
            Self::Highlight { from, to, .. } => (0..2).all(|axis| {
                let (a, b) = (units(*from, field)[axis], units(*to, field)[axis]);
                here[axis] >= a.min(b) - reach && here[axis] <= a.max(b) + reach
            }),
        }
    }
}

/// Adds a place to a stroke unless it is hardly beside the last one.
pub fn extend(points: &mut Vec<Share>, to: Share, field: Place) {
    let to = to.map(fine);
    let is_far = points
        .last()
        .is_none_or(|last| distance(*last, to, field) >= CLOSE);
    if is_far {
        points.push(to);
    }
}

/// A share kept as finely as it is seen.
pub fn fine(share: f64) -> f64 {
    (share * FINENESS).round() / FINENESS
}

fn units(at: Share, field: Place) -> [f64; 2] {
    [at[0] * f64::from(field[0]), at[1] * f64::from(field[1])]
}

/// Distance of two places, units.
fn distance(a: Share, b: Share, field: Place) -> f64 {
    let (a, b) = (units(a, field), units(b, field));
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Distance of a point from the stretch between two others.
fn beside(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length = dx * dx + dy * dy;
    let along = if length > 0.0 {
        (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (p[0] - a[0] - along * dx).hypot(p[1] - a[1] - along * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIELD: Place = [1000.0, 500.0];

    #[test]
    fn a_mark_is_taken_where_it_is_seen() {
        let arrow = Mark::Arrow {
            from: [0.1, 0.1],
            to: [0.5, 0.1],
            ink: Ink::Blue,
            nib: Nib::Fine,
        };
        // 20 units below the arrow: 0.04 of the height, 0.02 of the width.
        assert!(arrow.is_at([0.3, 0.14], FIELD, 20.0));
        assert!(!arrow.is_at([0.3, 0.15], FIELD, 20.0));
        assert!(!arrow.is_at([0.55, 0.1], FIELD, 20.0));
        let dot = Mark::Stroke {
            points: vec![[0.5, 0.5]],
            ink: Ink::Plain,
            nib: Nib::Broad,
        };
        assert!(dot.is_at([0.51, 0.5], FIELD, 10.0));
    }

    #[test]
    #[allow(clippy::float_cmp, reason = "exact in binary, or rounded to the same")]
    fn a_mark_stays_on_the_field() {
        let mark = Mark::Highlight {
            from: [0.2, 0.3],
            to: [0.6, 0.4],
            ink: Ink::Green,
        };
        assert_eq!(mark.room([0.7, -0.1]), [0.4, -0.1]);
        assert_eq!(mark.room([-0.5, -0.9]), [-0.2, -0.3]);
        let outside = mark.moved([2.0, 0.0]);
        assert_eq!(outside.room([0.3, 0.0]), [0.0, 0.0], "no further out");
        assert_eq!(outside.room([-0.3, 0.0]), [-0.3, 0.0], "but back in");
    }

    #[test]
    fn close_points_are_one() {
        let mut points = Vec::new();
        for k in 0..1000 {
            extend(&mut points, [0.5 + f64::from(k) * 1e-4, 0.5], FIELD);
        }
        assert!((50..=70).contains(&points.len()), "{}", points.len());
    }
}
