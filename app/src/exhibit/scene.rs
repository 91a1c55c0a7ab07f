//! What a screen shows, as data: an exhibit is made of it, and a chart drawn.

use keyway_analysis::lead::Role;
use serde::{Deserialize, Serialize};

/// A drawing on axes with the values that belong to it. Places that are not numbers are allowed only
/// among the points of a curve; [`Scene::tidied`] takes them out elsewhere.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scene {
    /// What it shows, in a few words: "Exhaust cam, 12.0 s to 16.0 s".
    pub title: String,
    /// The screen it was taken from: "Live", "Review", "Cycles", "Compare".
    pub screen: String,
    /// The engine; empty stands for the one of the engine sheet in use.
    #[serde(default)]
    pub engine: String,
    /// What the screen says of it, in whole sentences; empty when it says nothing.
    #[serde(default)]
    pub sentence: String,
    /// The recordings it was taken from, by file name; none when taken live.
    pub recordings: Vec<String>,
    /// The horizontal axis, the same for all rows.
    pub x: Axis,
    /// One above the other.
    pub rows: Vec<Row>,
    /// Vertical cursors, at places of the horizontal axis, with their names: "A", "B".
    pub cursors: Vec<(String, f64)>,
    /// What was measured, each with its quality.
    pub values: Vec<Value>,
}

/// An axis.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Axis {
    /// What is along it: "time", "crank angle".
    pub label: String,
    /// Unit: "s", "°crank".
    pub unit: String,
    /// Begin.
    pub from: f64,
    /// End.
    pub to: f64,
}

/// One row of the drawing.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// The vertical axis.
    pub y: Axis,
    /// Curves, later ones over earlier ones.
    pub curves: Vec<Curve>,
    /// Stretches of the horizontal axis that are tinted, with their words: "not following".
    pub stretches: Vec<Stretch>,
}

/// A curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Curve {
    /// What it is: "Intake cam", "before".
    pub name: String,
    /// The signal, which gives the colour; none for what has no role.
    pub role: Option<Role>,
    /// Its points.
    pub shape: CurveShape,
}

/// Points of a curve; a place that is not known is left out, and the curve is broken there by a
/// point that is not a number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CurveShape {
    /// x and y.
    Line(#[serde(with = "super::points")] Vec<[f64; 2]>),
    /// x, least and greatest y.
    Envelope(#[serde(with = "super::points")] Vec<[f64; 3]>),
}

/// A tinted stretch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stretch {
    /// Begin on the horizontal axis.
    pub from: f64,
    /// End.
    pub to: f64,
    /// What it is, in words.
    pub words: String,
    /// Whether it is a disagreement; otherwise it is a zone or a hint.
    pub is_disagreement: bool,
}

/// A measured value as it is written.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Value {
    /// What it is: "engine speed".
    pub name: String,
    /// The figure with its unit: "2,950 rpm"; a dash when not known.
    pub figure: String,
    /// "valid", or "stale", "suspect", "missing" with the reason.
    pub quality: String,
}

/// How finely figures are kept: this part of the length of their axis, far below what an eye or a
/// printer tells apart on a row a few centimetres high.
const FINENESS: f64 = 10_000.0;

/// Most decimals that are kept.
const MOST_DECIMALS: i32 = 12;

impl Scene {
    /// As it is kept: figures rounded to what can be seen on their axes, and nothing outside the
    /// points of curves that is not a number.
    #[must_use]
    pub fn tidied(mut self) -> Self {
        let x = self.x.fineness();
        self.x.tidy();
        self.cursors.retain(|(_, at)| at.is_finite());
        for (_, at) in &mut self.cursors {
            // A cursor is told in figures: finer than the curves.
            *at = rounded(*at, x.map(|d| d + 2));
        }
        for row in &mut self.rows {
            let y = row.y.fineness();
            row.y.tidy();
            row.stretches
                .retain(|s| s.from.is_finite() && s.to.is_finite());
            for stretch in &mut row.stretches {
                stretch.from = rounded(stretch.from, x);
                stretch.to = rounded(stretch.to, x);
            }
            for curve in &mut row.curves {
                match &mut curve.shape {
                    CurveShape::Line(points) => {
                        for [at, value] in points {
                            (*at, *value) = (rounded(*at, x), rounded(*value, y));
                        }
                    }
                    CurveShape::Envelope(points) => {
                        for [at, low, high] in points {
                            *at = rounded(*at, x);
                            (*low, *high) = (rounded(*low, y), rounded(*high, y));
                        }
                    }
                }
            }
        }
        self
    }
}

impl Axis {
    /// Decimals worth keeping along it; none when it has no length.
    fn fineness(&self) -> Option<i32> {
        let step = (self.to - self.from).abs() / FINENESS;
        (step.is_finite() && step > 0.0)
            .then(|| {
                (-step.log10())
                    .ceil()
                    .clamp(-300.0, f64::from(MOST_DECIMALS))
            })
            .map(|decimals| {
                #[allow(
                    clippy::cast_possible_truncation,
                    reason = "a whole number between -300 and 12"
                )]
                let decimals = decimals as i32;
                decimals
            })
    }

    fn tidy(&mut self) {
        let fine = self.fineness().map(|d| d + 2);
        if !self.from.is_finite() || !self.to.is_finite() {
            (self.from, self.to) = (0.0, 1.0);
        }
        self.from = rounded(self.from, fine);
        self.to = rounded(self.to, fine);
    }
}

/// With so many decimals; negative ones round before the point.
fn rounded(value: f64, decimals: Option<i32>) -> f64 {
    let Some(decimals) = decimals else {
        return value;
    };
    // Whole powers of ten are exact up to 10^22, so one division gives the nearest decimal.
    let power = 10_f64.powi(decimals.abs());
    let shorter = if decimals >= 0 {
        (value * power).round() / power
    } else {
        (value / power).round() * power
    };
    if shorter.is_finite() { shorter } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[allow(clippy::float_cmp, reason = "exact in binary, or rounded to the same")]
    fn figures_are_rounded_to_what_is_seen_of_them() {
        let axis = |from, to| Axis {
            from,
            to,
            ..Axis::default()
        };
        let scene = Scene {
            x: axis(-0.1, 0.0),
            cursors: vec![
                ("A".to_owned(), f64::NAN),
                ("B".to_owned(), -0.012_345_678_9),
            ],
            rows: vec![
                Row {
                    y: axis(f64::NEG_INFINITY, 15.0),
                    stretches: vec![Stretch {
                        from: f64::INFINITY,
                        to: 0.0,
                        words: String::new(),
                        is_disagreement: true,
                    }],
                    ..Row::default()
                },
                Row {
                    y: axis(0.0, 15.0),
                    curves: vec![Curve {
                        name: String::new(),
                        role: None,
                        shape: CurveShape::Line(vec![
                            [-0.099_993_4, 13.712_345],
                            [f64::NAN, 2e300],
                        ]),
                    }],
                    ..Row::default()
                },
            ],
            ..Scene::default()
        };
        let kept = scene.tidied();
        assert_eq!(kept.cursors, [("B".to_owned(), -0.012_345_7)]);
        assert_eq!(kept.rows[0].y, axis(0.0, 1.0));
        assert!(kept.rows[0].stretches.is_empty());
        let CurveShape::Line(points) = &kept.rows[1].curves[0].shape else {
            panic!("it was a line");
        };
        assert_eq!(points[0], [-0.099_99, 13.712]);
        assert!(points[1][0].is_nan());
    }
}
