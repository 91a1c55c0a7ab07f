//! What recognition proposes: never more than a proposal, the engine sheet stays as it is.

use super::evidence::Pattern;
use super::windows::CamWindows;
use super::{Certainty, Recognition};
use crate::engine::{CrankSheet, EdgeKind, Sensor};
use crate::lead::{CamId, Role};
use crate::units::{CrankDegrees, SampleTime};
use crate::wheel::Wheel;

/// An engine sheet that would fit the signal better.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The lead it concerns.
    pub role: Role,
    /// When it was found.
    pub at: SampleTime,
    /// How sure it is.
    pub certainty: Certainty,
    /// Wheel for the sheet, in its notation; `None` when that of the sheet fits.
    pub wheel: Option<String>,
    /// Kind of sensor for the sheet; `None` when that of the sheet fits.
    pub sensor: Option<Sensor>,
    /// Active edge for the sheet; `None` when that of the sheet fits.
    pub active_edge: Option<EdgeKind>,
    /// Cam windows for the sheet; empty for a crank.
    pub windows: Vec<[CrankDegrees; 2]>,
    /// What else the signal could be, in the notation of the sheet.
    pub alternatives: Vec<String>,
    /// The proposal in one or two sentences.
    pub text: String,
}

impl Proposal {
    /// Where a recognition differs from the sheet; `None` when it does not, or is not sure enough to say so.
    pub fn of_crank(
        found: &Recognition,
        sheet: &CrankSheet,
        wheel: &Wheel,
        at: SampleTime,
    ) -> Option<Self> {
        if found.certainty == Certainty::Unclear {
            return None;
        }
        let best = found.candidates.first()?;
        let is_same = Pattern::of(&best.wheel).is_like(&Pattern::of(wheel))
            && best.wheel.is_coded() == wheel.is_coded();
        let sensor = found.sensor.filter(|s| *s != sheet.sensor);
        let active_edge = found
            .edge
            .filter(|e| *e != sheet.active_edge)
            .filter(|_| found.edge_certainty == Certainty::Sure || sensor.is_some());
        let damaged = best.damaged.filter(|_| is_same);
        if is_same && sensor.is_none() && active_edge.is_none() && damaged.is_none() {
            return None;
        }
        let mut text = format!(
            "The crank signal looks like {}{} ({}); the sheet says {}.",
            best.wheel,
            kind(found.sensor, found.edge),
            found.certainty,
            said(sheet),
        );
        for remark in &found.remarks {
            text.push(' ');
            text.push_str(remark);
        }
        Some(Self {
            role: Role::Crank,
            at,
            certainty: found.certainty,
            wheel: (!is_same).then(|| best.wheel.to_string()),
            sensor,
            active_edge,
            windows: Vec::new(),
            alternatives: (found.candidates[1..].iter())
                .filter(|c| c.is_near() && c.wheel != best.wheel)
                .map(|c| c.wheel.to_string())
                .collect(),
            text,
        })
    }

    /// Windows of a cam whose edges do not fit the sheet.
    pub fn of_cam(id: CamId, found: &CamWindows, at: SampleTime) -> Self {
        let list: Vec<String> = (found.windows.iter())
            .map(|[r, f]| format!("[{:.0}, {:.0}]", r.0, f.0))
            .collect();
        let turn = if found.repeats {
            "Both revolutions look the same."
        } else {
            "If the other revolution is meant, add 360 to all."
        };
        Self {
            role: Role::Cam(id),
            at,
            certainty: if found.repeats {
                Certainty::Unclear
            } else {
                Certainty::Likely
            },
            wheel: None,
            sensor: None,
            active_edge: None,
            windows: found.windows.clone(),
            alternatives: Vec::new(),
            text: format!(
                "The {id} cam signal is high at [{}] degrees after TDC 1 over {:.0} cycles, which is not what the sheet says. {turn}",
                list.join(", "),
                found.cycles,
            ),
        }
    }
}

fn kind(sensor: Option<Sensor>, edge: Option<EdgeKind>) -> String {
    let sensor = match sensor {
        Some(Sensor::Vr) => ", VR",
        Some(Sensor::Hall) => ", Hall",
        None => "",
    };
    let edge = edge.map_or(String::new(), |e| format!(", {} edge", direction(e)));
    format!("{sensor}{edge}")
}

fn said(sheet: &CrankSheet) -> String {
    let edge = Some(sheet.active_edge);
    format!("{}{}", sheet.wheel, kind(Some(sheet.sensor), edge))
}

fn direction(edge: EdgeKind) -> &'static str {
    match edge {
        EdgeKind::Rising => "rising",
        EdgeKind::Falling => "falling",
    }
}
