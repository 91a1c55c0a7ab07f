//! What a code is about, from its digits.

use super::name;
use crate::lead::{CamId, CamKind};

/// What is said of a sensor's circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Complaint {
    /// The circuit in general.
    Circuit,
    /// Range or performance.
    Range,
    /// Level low.
    Low,
    /// Level high.
    High,
    /// Comes and goes.
    Intermittent,
}

impl Complaint {
    fn words(self) -> &'static str {
        match self {
            Self::Circuit => "gives no usable signal",
            Self::Range => "gives a signal that does not fit",
            Self::Low => "stands low",
            Self::High => "stands high",
            Self::Intermittent => "comes and goes",
        }
    }
}

/// What a code is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Family {
    /// Actuator circuit.
    Circuit,
    /// Cam too far advanced, or its control does not perform.
    OverAdvanced,
    /// Cam too far retarded.
    OverRetarded,
    /// Cam answers slowly.
    SlowResponse,
    /// Crank and cam do not fit each other.
    Correlation,
    /// Crank sensor.
    Crank(Complaint),
    /// Cam sensor.
    Cam(Complaint),
}

impl Family {
    /// The meaning in our own words.
    pub fn meaning(self, cam: Option<CamId>) -> String {
        let cam = cam.map_or_else(String::new, name);
        match self {
            Self::Circuit => format!(
                "the controller sees the circuit of the {cam} cam's actuator open, shorted or out of its range"
            ),
            Self::OverAdvanced => format!(
                "the controller finds the {cam} cam earlier than it asks for, or its control not doing what it should"
            ),
            Self::OverRetarded => {
                format!("the controller finds the {cam} cam later than it asks for")
            }
            Self::SlowResponse => {
                format!("the controller finds that the {cam} cam answers too slowly")
            }
            Self::Correlation => format!(
                "the controller finds that crank and {cam} cam do not stand to each other as they should"
            ),
            Self::Crank(complaint) => {
                format!(
                    "the controller finds that the crank sensor {}",
                    complaint.words()
                )
            }
            Self::Cam(complaint) => format!(
                "the controller finds that the {cam} cam's sensor (or the only one of its bank) {}",
                complaint.words()
            ),
        }
    }
}

/// Family and cam of a code; `None` for one that is not explained.
pub(super) fn family(code: &str) -> Option<(Family, Option<CamId>)> {
    use CamKind::{Exhaust, Intake};
    let cam = |kind, bank| Some(CamId { kind, bank });
    let last = code.chars().last()?;
    let complaint = |first: char| {
        Some(match u32::from(last).checked_sub(u32::from(first))? {
            0 => Complaint::Circuit,
            1 => Complaint::Range,
            2 => Complaint::Low,
            3 => Complaint::High,
            4 => Complaint::Intermittent,
            _ => return None,
        })
    };
    if code.len() != 5 || !code.is_ascii() {
        return None;
    }
    Some(match (&code[..4], last) {
        ("P000", 'A') => (Family::SlowResponse, cam(Intake, 1)),
        ("P000", 'B') => (Family::SlowResponse, cam(Exhaust, 1)),
        ("P000", 'C') => (Family::SlowResponse, cam(Intake, 2)),
        ("P000", 'D') => (Family::SlowResponse, cam(Exhaust, 2)),
        ("P001", '6') => (Family::Correlation, cam(Intake, 1)),
        ("P001", '7') => (Family::Correlation, cam(Exhaust, 1)),
        ("P001", '8') => (Family::Correlation, cam(Intake, 2)),
        ("P001", '9') => (Family::Correlation, cam(Exhaust, 2)),
        (tens @ ("P001" | "P002"), '0'..='5') => {
            let kind = if last <= '2' { Intake } else { Exhaust };
            let family = match last {
                '0' | '3' => Family::Circuit,
                '1' | '4' => Family::OverAdvanced,
                _ => Family::OverRetarded,
            };
            (family, cam(kind, if tens == "P001" { 1 } else { 2 }))
        }
        ("P033", '5'..='9') => (Family::Crank(complaint('5')?), None),
        ("P034", '0'..='4') => (Family::Cam(complaint('0')?), cam(Intake, 1)),
        ("P034", '5'..='9') => (Family::Cam(complaint('5')?), cam(Intake, 2)),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Widely published wording, one of each family.
    #[test]
    fn families() {
        for (code, expected) in [
            ("P0010", Some(Family::Circuit)),
            ("P0011", Some(Family::OverAdvanced)),
            ("P0012", Some(Family::OverRetarded)),
            ("P0013", Some(Family::Circuit)),
            ("P0014", Some(Family::OverAdvanced)),
            ("P0015", Some(Family::OverRetarded)),
            ("P0016", Some(Family::Correlation)),
            ("P0019", Some(Family::Correlation)),
            ("P0020", Some(Family::Circuit)),
            ("P0025", Some(Family::OverRetarded)),
            ("P0026", None),
            ("P000A", Some(Family::SlowResponse)),
            ("P000E", None),
            ("P0335", Some(Family::Crank(Complaint::Circuit))),
            ("P0339", Some(Family::Crank(Complaint::Intermittent))),
            ("P0334", None),
            ("P0341", Some(Family::Cam(Complaint::Range))),
            ("P0349", Some(Family::Cam(Complaint::Intermittent))),
            ("P0350", None),
            ("P00165", None),
            ("B0016", None),
        ] {
            assert_eq!(family(code).map(|(f, _)| f), expected, "{code}");
        }
    }
}
