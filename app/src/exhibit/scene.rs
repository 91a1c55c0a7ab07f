//! What a screen shows, as data: an exhibit is made of it, and a chart drawn.

use keyway_analysis::lead::Role;
use serde::{Deserialize, Serialize};

/// A drawing on axes with the values that belong to it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
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
    Line(Vec<[f64; 2]>),
    /// x, least and greatest y.
    Envelope(Vec<[f64; 3]>),
}

/// A tinted stretch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
pub struct Value {
    /// What it is: "engine speed".
    pub name: String,
    /// The figure with its unit: "2,950 rpm"; a dash when not known.
    pub figure: String,
    /// "valid", or "stale", "suspect", "missing" with the reason.
    pub quality: String,
}
