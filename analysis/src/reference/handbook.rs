//! Angles as a handbook gives them: so many degrees of the crank or of the cam, before or after a dead centre.

use super::{CamEntry, Conditions, EdgeEntry, EngineMark, Origin, Reference, Rest};
use crate::engine::EngineSheet;
use crate::units::CrankAngle;

/// The dead centre from which is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Datum {
    /// TDC of cylinder 1 at the end of its compression.
    Firing,
    /// TDC of cylinder 1 between exhaust and intake.
    Exchange,
}

/// Which shaft's degrees are meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shaft {
    /// Crank.
    Crank,
    /// Cam: one of its degrees is two of the crank.
    Cam,
}

/// On which side of the dead centre.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Before it.
    Before,
    /// After it.
    After,
}

/// An angle as it is printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Printed {
    /// The figure, not below 0.
    pub degrees: f64,
    /// Of which shaft.
    pub shaft: Shaft,
    /// On which side.
    pub side: Side,
    /// Of which dead centre.
    pub datum: Datum,
}

impl Printed {
    /// The place in the engine cycle.
    pub fn angle(self) -> CrankAngle {
        let from = match self.datum {
            Datum::Firing => 0.0,
            Datum::Exchange => 360.0,
        };
        let crank = match self.shaft {
            Shaft::Crank => self.degrees,
            Shaft::Cam => 2.0 * self.degrees,
        };
        CrankAngle::wrapped(match self.side {
            Side::Before => from - crank,
            Side::After => from + crank,
        })
    }
}

/// Who typed a reference in, from what, and when.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Told {
    /// How it shall be called.
    pub name: String,
    /// Day, year-month-day.
    pub made: String,
    /// Who.
    pub by: String,
    /// Recording, or title and page.
    pub source: String,
    /// Plate or other mark of the vehicle.
    pub vehicle: String,
    /// Whatever else.
    pub note: String,
    /// Oil temperature, degrees Celsius.
    pub oil: Option<f64>,
}

/// A cam as typed in; what was not typed is left out.
#[derive(Debug, Clone, PartialEq)]
pub struct TypedCam {
    /// Index of the cam in the sheet.
    pub cam: usize,
    /// How far a good engine may be from it.
    pub tolerance: crate::units::CrankDegrees,
    /// The edges.
    pub edges: Vec<EdgeEntry>,
}

/// The reference that a handbook gives for this engine.
pub fn reference(sheet: &EngineSheet, told: &Told, cams: &[TypedCam]) -> Result<Reference, String> {
    let entries = cams.iter().filter(|c| !c.edges.is_empty());
    let reference = Reference {
        form: super::FORM,
        name: told.name.trim().to_owned(),
        origin: Origin::Handbook,
        made: told.made.clone(),
        by: told.by.trim().to_owned(),
        source: told.source.trim().to_owned(),
        vehicle: String::new(),
        note: told.note.trim().to_owned(),
        engine: EngineMark {
            // A handbook counts from TDC, wherever the gap is.
            gap_to_tdc: None,
            ..EngineMark::of(sheet)
        },
        conditions: Conditions::default(),
        cams: entries
            .filter_map(|typed| {
                let cam = sheet.cams.get(typed.cam)?;
                Some(CamEntry {
                    cam: cam.cam,
                    tolerance: typed.tolerance,
                    uncertainty: crate::units::CrankDegrees(0.0),
                    engines: 0,
                    windows: cam.windows.len(),
                    phaser: cam.phaser.is_some(),
                    rest: Rest::Told,
                    edges: typed.edges.clone(),
                })
            })
            .collect(),
        parts: Vec::new(),
    };
    reference.check()?;
    match reference.misfits(sheet).first() {
        None => Ok(reference),
        Some(misfit) => Err(format!(
            "these angles do not fit the engine sheet: {misfit}. Look whether they are degrees of the crank or of the cam, before or after, and from which TDC"
        )),
    }
}

impl EngineMark {
    /// What decides on an engine.
    pub fn of(sheet: &EngineSheet) -> Self {
        let crank = &sheet.crank;
        Self {
            name: sheet.name.clone(),
            wheel: crank.wheel.clone(),
            sensor: crank.sensor,
            active_edge: crank.active_edge,
            gap_to_tdc: Some(crank.gap_to_tdc),
        }
    }
}
