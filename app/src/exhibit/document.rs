//! The document of an exhibit: JSON, one line for each of its parts, so that a person can read the upper
//! ones. The form is written down in `EXHIBITS.md`.

use super::mark::Mark;
use super::scene::Scene;
use crate::fault::Fault;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// The form that is written, and the newest that is read. It is raised whenever a field is added or
/// changed, or the layout moves what a mark may point at.
pub const FORM: u32 = 1;

/// Largest document that is read, bytes: many times the largest that is written.
pub const LARGEST: u64 = 64 << 20;

/// An exhibit.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Document {
    /// Form of the document.
    pub form: u32,
    /// Title, which the technician can change.
    pub title: String,
    /// When it was kept: "2026-11-25 16:03 UTC".
    pub taken: String,
    /// The program that kept it, with its version.
    pub software: String,
    /// The engine.
    pub engine: String,
    /// The technician's note.
    #[serde(default)]
    pub note: String,
    /// Marks, later ones over earlier ones.
    #[serde(default)]
    pub marks: Vec<Mark>,
    /// What was on screen.
    pub scene: Scene,
}

/// Changes that were not saved yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Draft {
    /// Form, as of a document.
    pub form: u32,
    /// Title.
    pub title: String,
    /// Note.
    pub note: String,
    /// Marks.
    pub marks: Vec<Mark>,
}

/// Only the form of a document, whatever else it holds.
#[derive(Deserialize)]
struct Form {
    form: Option<u32>,
}

impl Document {
    /// An exhibit of a scene, without marks.
    pub fn new(scene: Scene, engine: &str, taken: String) -> Self {
        let scene = scene.tidied();
        let engine = if scene.engine.is_empty() {
            engine.to_owned()
        } else {
            scene.engine.clone()
        };
        Self {
            form: FORM,
            title: scene.title.clone(),
            taken,
            software: format!("Keyway {}", env!("CARGO_PKG_VERSION")),
            engine,
            note: String::new(),
            marks: Vec::new(),
            scene,
        }
    }

    /// The text of the file.
    pub fn text(&self) -> Result<String, Fault> {
        let part = |name: &str, value: serde_json::Result<String>| match value {
            Ok(value) => Ok(format!("\"{name}\": {value}")),
            Err(e) => Err(Fault::Exhibit(Arc::from(format!(
                "the exhibit cannot be written: {e}"
            )))),
        };
        let parts = [
            part("form", serde_json::to_string(&FORM))?,
            part("title", serde_json::to_string(&self.title))?,
            part("taken", serde_json::to_string(&self.taken))?,
            part("software", serde_json::to_string(&self.software))?,
            part("engine", serde_json::to_string(&self.engine))?,
            part("note", serde_json::to_string(&self.note))?,
            part("marks", serde_json::to_string(&self.marks))?,
            part("scene", serde_json::to_string(&self.scene))?,
        ];
        Ok(format!("{{\n{}\n}}\n", parts.join(",\n")))
    }

    /// Reads the text of a file with this name.
    pub fn from_text(name: &str, text: &str) -> Result<Self, Fault> {
        let mut document: Self = read(name, text)?;
        // What another program put there may be anything.
        document.scene = document.scene.tidied();
        Ok(document)
    }
}

impl Draft {
    /// The text of the file.
    pub fn text(&self) -> Result<String, Fault> {
        serde_json::to_string(self)
            .map_err(|e| Fault::Exhibit(Arc::from(format!("the draft cannot be written: {e}"))))
    }

    /// Reads the text of a file with this name.
    pub fn from_text(name: &str, text: &str) -> Result<Self, Fault> {
        read(name, text)
    }
}

/// Reads a document whose form is known; the sentence of one that is not says what to do.
pub(super) fn read<T: for<'de> Deserialize<'de>>(name: &str, text: &str) -> Result<T, Fault> {
    let fault = |words: String| Fault::Exhibit(Arc::from(words));
    let form: Form = serde_json::from_str(text)
        .map_err(|e| fault(format!("{name} is not an exhibit of Keyway: {e}")))?;
    match form.form {
        None => Err(fault(format!(
            "{name} is not an exhibit of Keyway: it states no form"
        ))),
        Some(form) if form > FORM => Err(fault(format!(
            "{name} has form {form}, made by a newer Keyway; this one reads up to form {FORM}. Bring Keyway up to date, or look at the picture beside it"
        ))),
        Some(0) => Err(fault(format!("{name} has form 0, which there never was"))),
        Some(_) => serde_json::from_str(text).map_err(|e| {
            fault(format!(
                "{name} cannot be used as an exhibit, and is left as it is: {e}"
            ))
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::mark::{Ink, Nib};
    use super::super::scene::{Axis, Curve, CurveShape, Row, Value};
    use super::*;

    fn scene() -> Scene {
        Scene {
            title: "Exhaust cam: not following".to_owned(),
            screen: "Live".to_owned(),
            sentence: "78 % for 2.4 s; moved 0.6°, at least 8° expected.".to_owned(),
            x: Axis {
                label: "time".to_owned(),
                unit: "s".to_owned(),
                from: -20.0,
                to: 0.0,
            },
            rows: vec![Row {
                y: Axis {
                    label: "duty".to_owned(),
                    unit: "%".to_owned(),
                    from: 0.0,
                    to: 100.0,
                },
                curves: vec![Curve {
                    name: "exhaust".to_owned(),
                    role: Some("command exhaust".to_owned().try_into().unwrap()),
                    shape: CurveShape::Line(vec![[-20.0, 10.0], [-10.0, 50.5], [0.0, 78.0]]),
                }],
                ..Row::default()
            }],
            values: vec![Value {
                name: "engine speed".to_owned(),
                figure: "2\u{2009}950 rpm".to_owned(),
                quality: "valid".to_owned(),
            }],
            ..Scene::default()
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let mut document = Document::new(scene(), "Light van", "2026-11-30 14:03 UTC".to_owned());
        document.note = "hängt <hier> & \"dort\"\nzweite Zeile".to_owned();
        document.marks = vec![
            Mark::Stroke {
                points: vec![[0.1, 0.2], [0.3, 0.25]],
                ink: Ink::Vermillion,
                nib: Nib::Broad,
            },
            Mark::Arrow {
                from: [0.5, 0.5],
                to: [0.6, 0.4],
                ink: Ink::Blue,
                nib: Nib::Fine,
            },
            Mark::Text {
                at: [0.2, 0.2],
                words: "hier".to_owned(),
                ink: Ink::Plain,
            },
            Mark::Highlight {
                from: [0.0, 0.0],
                to: [1.0, 1.0],
                ink: Ink::Green,
            },
        ];
        let text = document.text().unwrap();
        assert_eq!(Document::from_text("a", &text).unwrap(), document);
        // Another library's idea of the same text.
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value["marks"][0]["kind"], "stroke");
        assert_eq!(
            value["scene"]["rows"][0]["curves"][0]["role"],
            "command exhaust"
        );
    }

    #[test]
    fn a_gap_in_a_curve_is_null() {
        let mut scene = scene();
        scene.rows[0].curves[0].shape =
            CurveShape::Envelope(vec![[-20.0, 1.0, 2.0], [-10.0, f64::NAN, f64::NAN]]);
        let text = Document::new(scene, "", String::new()).text().unwrap();
        assert!(
            text.contains("[[-20.0,1.0,2.0],[-10.0,null,null]]"),
            "{text}"
        );
        let back = Document::from_text("a", &text).unwrap();
        let CurveShape::Envelope(points) = &back.scene.rows[0].curves[0].shape else {
            panic!("it was an envelope");
        };
        assert!(points[1][1].is_nan());
    }

    #[test]
    fn what_cannot_be_read_is_refused_with_a_reason() {
        let good = Document::new(scene(), "", String::new()).text().unwrap();
        let refused = |text: &str| Document::from_text("a", text).unwrap_err().to_string();
        for (text, want) in [
            (good.replace("\"form\": 1", "\"form\": 2"), "newer Keyway"),
            (good.replace("\"form\": 1", "\"form\": 0"), "form 0"),
            (good.replace("\"form\": 1,", ""), "states no form"),
            (
                good.replace("\"note\":", "\"voice\": 3, \"note\":"),
                "voice",
            ),
            (
                good.replace("\"label\":\"duty\"", "\"lable\":\"duty\""),
                "lable",
            ),
            (good.replace("50.5", "1e999"), "number out of range"),
            (
                good.replace("[0.0,78.0]", "[0.0]"),
                "a point of 1 figures, not 2",
            ),
            (String::new(), "is not an exhibit"),
            (good[..good.len() / 2].to_owned(), "is not an exhibit"),
        ] {
            let sentence = refused(&text);
            assert!(sentence.contains(want), "{sentence}");
        }
    }
}
