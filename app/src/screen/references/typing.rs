//! Typing a reference in from a handbook: one angle after another, each shown on a dial as it is meant.

use super::Action;
use super::field::number;
use crate::figure;
use crate::reference::today;
use iced::keyboard::Key;
use iced::keyboard::key::Named;
use keyway_analysis::engine::{CamSheet, EngineSheet};
use keyway_analysis::reference::handbook::{
    Datum, Printed, Shaft, Side, Told, TypedCam, reference,
};
use keyway_analysis::reference::{EdgeEntry, EdgeMark};
use keyway_analysis::units::CrankDegrees;
use std::sync::Arc;

/// Identities of the fields.
pub const FIELDS: [&str; 5] = [
    "typing-degrees",
    "typing-tolerance",
    "typing-name",
    "typing-source",
    "typing-by",
];

/// A field that something can be wrong with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// The angle.
    Degrees,
    /// The tolerance.
    Tolerance,
    /// The name.
    Name,
    /// Title and page.
    Source,
    /// The whole.
    Whole,
}

/// What is typed.
#[derive(Debug)]
pub struct Typing {
    pub(super) sheet: Arc<EngineSheet>,
    pub(super) cam: usize,
    /// Angles per cam of the sheet.
    pub(super) edges: Vec<Vec<EdgeEntry>>,
    /// As typed, per cam.
    pub(super) tolerances: Vec<String>,
    pub(super) mark: EdgeMark,
    /// From 0.
    pub(super) window: usize,
    pub(super) degrees: String,
    pub(super) shaft: Shaft,
    pub(super) side: Side,
    pub(super) datum: Datum,
    pub(super) name: String,
    pub(super) source: String,
    pub(super) by: String,
    wrong: Vec<(Field, String)>,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// Another cam.
    Cam(usize),
    /// Another edge of the window.
    Mark(EdgeMark),
    /// Another window.
    Window(usize),
    /// The typed angle changed.
    Degrees(String),
    /// Degrees of the other shaft.
    Shaft(Shaft),
    /// Before or after.
    Side(Side),
    /// From the other dead centre.
    Datum(Datum),
    /// Takes the angle.
    Add,
    /// Takes one away again.
    Remove(usize),
    /// The typed tolerance changed.
    Tolerance(String),
    /// A field changed.
    Name(String),
    /// A field changed.
    Source(String),
    /// A field changed.
    By(String),
    /// Keeps it.
    Save,
}

impl Typing {
    /// Nothing typed yet, for this engine.
    pub fn new(sheet: &Arc<EngineSheet>) -> Self {
        Self {
            sheet: Arc::clone(sheet),
            cam: 0,
            edges: vec![Vec::new(); sheet.cams.len()],
            tolerances: vec![String::new(); sheet.cams.len()],
            mark: EdgeMark::Rising,
            window: 0,
            degrees: String::new(),
            shaft: Shaft::Crank,
            side: Side::After,
            datum: Datum::Firing,
            name: format!("{}, handbook", sheet.name),
            source: String::new(),
            by: String::new(),
            wrong: Vec::new(),
        }
    }

    /// It could not be kept.
    pub fn failed(&mut self, why: &str) {
        self.wrong = vec![(Field::Whole, why.to_owned())];
    }

    pub(super) fn own(&self) -> Option<&CamSheet> {
        self.sheet.cams.get(self.cam)
    }

    pub(super) fn windows(&self) -> usize {
        self.own().map_or(0, |c| c.windows.len())
    }

    /// What is wrong with a field.
    pub(super) fn slip(&self, field: Field) -> Option<&str> {
        self.wrong
            .iter()
            .find(|w| w.0 == field)
            .map(|w| w.1.as_str())
    }

    /// The angle as typed, if it is one.
    pub(super) fn printed(&self) -> Result<Printed, String> {
        let most = match self.shaft {
            Shaft::Crank => 360.0,
            Shaft::Cam => 180.0,
        };
        match number(&self.degrees) {
            Some(degrees) if (0.0..=most).contains(&degrees) => Ok(Printed {
                degrees,
                shaft: self.shaft,
                side: self.side,
                datum: self.datum,
            }),
            Some(degrees) if degrees < 0.0 => {
                Err("Type it without a sign, and choose before or after.".to_owned())
            }
            Some(_) => Err(format!(
                "At most {most:.0}°, counted from the nearer dead centre."
            )),
            None => Err("Type a number of degrees, such as 54.5.".to_owned()),
        }
    }

    /// Where the sheet has the edge that is being typed.
    pub(super) fn in_sheet(&self) -> Option<f64> {
        let cam = self.own()?;
        let all: Vec<f64> = cam.windows.iter().flatten().copied().collect();
        let [from, to] = self.mark.edges(self.window, cam.windows.len());
        let (a, b) = (all.get(from)?, all.get(to)?);
        Some((a + 0.5 * (b - a).rem_euclid(720.0)).rem_euclid(720.0))
    }

    /// What the typed angle means, in words, with how far it is from the sheet.
    pub(super) fn meaning(&self) -> Option<String> {
        let angle = self.printed().ok()?.angle().degrees();
        let off = self.in_sheet().map(|sheet| {
            let off = (angle - sheet + 360.0).rem_euclid(720.0) - 360.0;
            if off.abs() < 0.05 {
                ", as in the engine sheet".to_owned()
            } else {
                let side = if off > 0.0 { "later" } else { "earlier" };
                format!(
                    ", {}° {side} than in the engine sheet",
                    figure::plain(off.abs(), 1)
                )
            }
        });
        Some(format!(
            "{}° of the crank after firing TDC 1{}",
            figure::plain(angle, 1),
            off.unwrap_or_default()
        ))
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message, sheet: &EngineSheet) -> Action {
        self.wrong.clear();
        match message {
            Message::Cam(cam) => {
                self.cam = cam.min(sheet.cams.len().saturating_sub(1));
                self.window = 0;
            }
            Message::Mark(mark) => self.mark = mark,
            Message::Window(window) => self.window = window.min(self.windows().saturating_sub(1)),
            Message::Degrees(degrees) => self.degrees = degrees,
            Message::Shaft(shaft) => self.shaft = shaft,
            Message::Side(side) => self.side = side,
            Message::Datum(datum) => self.datum = datum,
            Message::Add => self.add(),
            Message::Remove(at) => {
                if let Some(edges) = self.edges.get_mut(self.cam)
                    && at < edges.len()
                {
                    let _gone = edges.remove(at);
                }
            }
            Message::Tolerance(tolerance) => {
                if let Some(own) = self.tolerances.get_mut(self.cam) {
                    *own = tolerance;
                }
            }
            Message::Name(name) => self.name = name,
            Message::Source(source) => self.source = source,
            Message::By(by) => self.by = by,
            Message::Save => return self.save(sheet),
        }
        Action::None
    }

    fn add(&mut self) {
        let printed = match self.printed() {
            Ok(printed) => printed,
            Err(why) => {
                self.wrong.push((Field::Degrees, why));
                return;
            }
        };
        let edge = EdgeEntry {
            mark: self.mark,
            window: self.window + 1,
            angle: CrankDegrees((printed.angle().degrees() * 100.0).round() / 100.0 % 720.0),
            spread: None,
            count: None,
        };
        if let Some(edges) = self.edges.get_mut(self.cam) {
            edges.retain(|e| (e.mark, e.window) != (edge.mark, edge.window));
            edges.push(edge);
            edges.sort_by(|a, b| a.angle.0.total_cmp(&b.angle.0));
        }
        self.degrees.clear();
    }

    fn save(&mut self, sheet: &EngineSheet) -> Action {
        if !self.degrees.trim().is_empty() {
            let why = "Add this angle, or take it out of the field.".to_owned();
            self.wrong.push((Field::Degrees, why));
        }
        if self.name.trim().is_empty() {
            self.wrong.push((Field::Name, "Give it a name.".to_owned()));
        }
        if self.source.trim().is_empty() {
            let why = "Where does it stand? Title and page.".to_owned();
            self.wrong.push((Field::Source, why));
        }
        if self.edges.iter().all(Vec::is_empty) && self.wrong.is_empty() {
            let why = "Add at least one angle.".to_owned();
            self.wrong.push((Field::Degrees, why));
        }
        let mut cams = Vec::new();
        for (cam, edges) in self.edges.iter().enumerate().filter(|(_, e)| !e.is_empty()) {
            match number(&self.tolerances[cam]).filter(|t| (0.05..=180.0).contains(t)) {
                Some(tolerance) => cams.push(TypedCam {
                    cam,
                    tolerance: CrankDegrees(tolerance),
                    edges: edges.clone(),
                }),
                None => {
                    let why =
                        "How far may a good engine be? Degrees of the crank, from 0.05.".to_owned();
                    self.wrong.push((Field::Tolerance, why));
                    self.cam = cam;
                    break;
                }
            }
        }
        if !self.wrong.is_empty() {
            return Action::None;
        }
        let told = Told {
            name: self.name.clone(),
            made: today(),
            by: self.by.clone(),
            source: self.source.clone(),
            ..Told::default()
        };
        match reference(sheet, &told, &cams) {
            Ok(made) => Action::Keep(Box::new(made)),
            Err(why) => {
                self.wrong
                    .push((Field::Whole, crate::screen::live::words::capital(&why)));
                Action::None
            }
        }
    }

    /// What a key does.
    pub fn key(&self, key: &Key) -> Option<Message> {
        let letter = match key {
            Key::Named(Named::Enter) => return Some(Message::Add),
            Key::Character(c) => c.to_lowercase(),
            Key::Named(_) | Key::Unidentified => return None,
        };
        Some(match letter.as_str() {
            "c" => Message::Cam((self.cam + 1) % self.sheet.cams.len().max(1)),
            "w" => Message::Window((self.window + 1) % self.windows().max(1)),
            "e" => {
                let all = EdgeMark::ALL;
                let here = all.iter().position(|m| *m == self.mark).unwrap_or(0);
                Message::Mark(all[(here + 1) % all.len()])
            }
            "d" => Message::Shaft(match self.shaft {
                Shaft::Crank => Shaft::Cam,
                Shaft::Cam => Shaft::Crank,
            }),
            "a" => Message::Side(match self.side {
                Side::Before => Side::After,
                Side::After => Side::Before,
            }),
            "t" => Message::Datum(match self.datum {
                Datum::Firing => Datum::Exchange,
                Datum::Exchange => Datum::Firing,
            }),
            "v" => Message::Save,
            _ => return None,
        })
    }
}
