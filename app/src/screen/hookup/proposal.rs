//! What a lead's signal looks like, beside what the engine sheet says, and what can be done about a
//! difference. It proposes; the sheet is only left when somebody presses a key.

use crate::amendment::{Amendment, edge_word};
use crate::figure;
use keyway_analysis::engine::{EdgeKind, EngineSheet, Sensor};
use keyway_analysis::lead::Role;
use keyway_analysis::recognise::{Candidate, Certainty, Look, Recognition, Signal};
use keyway_analysis::wheel::Wheel;

/// Other wheels that are named, of those that are nearly as likely.
const MOST_OTHERS: usize = 3;

/// What is said of one lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// "Looks like 36-1, Hall, falling edge: sure."
    pub looks: String,
    /// What the sheet says, where it says something else.
    pub sheet: Option<String>,
    /// What else it could be, and why that is not surer.
    pub others: String,
    /// The crank of the sheet as it would have to be; only where it differs and is sure enough.
    pub amendment: Option<Amendment>,
}

impl Proposal {
    /// Of a crank or cam lead, beside this sheet; none for other leads, and before anything was recognised.
    pub fn of(sheet: &EngineSheet, role: Role, seen: &Recognition) -> Option<Self> {
        match role {
            Role::Crank => {}
            Role::Cam(_) => return of_cam(seen),
            _ => return None,
        }
        let Some(first) = seen.candidates.first() else {
            return signal_words(seen.signal).map(|looks| Self {
                looks,
                sheet: None,
                others: seen.remarks.join(" "),
                amendment: None,
            });
        };
        let now = Amendment::of(sheet);
        let found = Amendment {
            wheel: first.wheel.to_string(),
            sensor: seen.sensor.unwrap_or(now.sensor),
            active_edge: match seen.edge {
                Some(edge) if seen.edge_certainty >= Certainty::Likely => edge,
                Some(_) | None => now.active_edge,
            },
        };
        let like = |wheel: &Wheel| Wheel::parse(&now.wheel).is_ok_and(|own| is_same(&own, wheel));
        let differs = !like(&first.wheel)
            || found.sensor != now.sensor
            || found.active_edge != now.active_edge;
        Some(Self {
            looks: looks(seen, first),
            sheet: differs.then(|| {
                format!(
                    "The engine sheet says {}.",
                    parts(&now.wheel, Some(now.sensor), Some(now.active_edge))
                )
            }),
            others: others(seen),
            amendment: (differs && seen.certainty >= Certainty::Likely).then_some(found),
        })
    }
}

/// Of a cam lead: its windows are the sheet's business, but a crank wheel is none of a cam's.
fn of_cam(seen: &Recognition) -> Option<Proposal> {
    let is_cranks = seen.look == Look::Crank && seen.certainty >= Certainty::Likely;
    match seen.candidates.first().filter(|_| is_cranks) {
        Some(first) => Some(Proposal {
            looks: format!(
                "Looks like a crank wheel, {}: {}.",
                first.wheel, seen.certainty
            ),
            sheet: Some(
                "The lead plan says that it is a cam's: is it on the right sensor?".to_owned(),
            ),
            others: String::new(),
            amendment: None,
        }),
        None => signal_words(seen.signal).map(|looks| Proposal {
            looks,
            sheet: None,
            others: String::new(),
            amendment: None,
        }),
    }
}

/// "36-1, Hall, falling edge".
fn parts(wheel: &str, sensor: Option<Sensor>, edge: Option<EdgeKind>) -> String {
    let mut words = vec![wheel.to_owned()];
    words.extend(sensor.map(|s| sensor_name(s).to_owned()));
    words.extend(edge.map(|e| match sensor {
        Some(Sensor::Vr) => format!("{} crossing", edge_word(e)),
        Some(Sensor::Hall) | None => format!("{} edge", edge_word(e)),
    }));
    words.join(", ")
}

fn sensor_name(sensor: Sensor) -> &'static str {
    match sensor {
        Sensor::Vr => "variable reluctance",
        Sensor::Hall => "Hall",
    }
}

fn looks(seen: &Recognition, first: &Candidate) -> String {
    let edge = seen
        .edge
        .filter(|_| seen.edge_certainty >= Certainty::Likely);
    let words = parts(&first.wheel.to_string(), seen.sensor, edge);
    let damage = first.damaged.map_or_else(String::new, |tooth| {
        format!(", tooth {tooth} damaged or missing")
    });
    format!("Looks like {words}{damage}: {}.", seen.certainty)
}

fn others(seen: &Recognition) -> String {
    let names: Vec<String> = seen
        .candidates
        .iter()
        .skip(1)
        .filter(|c| c.is_near())
        .take(MOST_OTHERS)
        .map(|c| c.wheel.to_string())
        .collect();
    let mut sentences = Vec::new();
    if !names.is_empty() {
        sentences.push(format!("It could also be {}.", names.join(", ")));
    }
    sentences.extend(seen.remarks.iter().cloned());
    sentences.join(" ")
}

/// A signal that is no wheel's, where that says something.
fn signal_words(signal: Signal) -> Option<String> {
    match signal {
        Signal::Early | Signal::Formless => None,
        Signal::Still { level } => Some(format!("Stands at {} V.", figure::plain(level.0, 1))),
        Signal::Hum { frequency } => Some(format!(
            "Looks like mains hum at {} Hz: is the lead open?",
            figure::plain(frequency.0, 0)
        )),
        Signal::Switched { frequency } => Some(format!(
            "Looks like a switched command at {} Hz, not a sensor.",
            figure::plain(frequency.0, 0)
        )),
        Signal::Reluctance { .. } => {
            Some("Swings as a variable-reluctance sensor does.".to_owned())
        }
        Signal::TwoLevel { .. } => Some("Switches as a Hall sensor does.".to_owned()),
    }
}

/// Whether two wheels have the same teeth, however they are written.
fn is_same(a: &Wheel, b: &Wheel) -> bool {
    // Below the pitch of the finest wheel by far; learnt angles are written to hundredths.
    const NEAR: f64 = 0.05;
    a.teeth() == b.teeth()
        && (a.period().0 - b.period().0).abs() < NEAR
        && (0..a.teeth())
            .all(|t| (a.angle(t).0 - b.angle(t).0).abs() < NEAR && a.width(t) == b.width(t))
}
