//! What a signal looks like, in the document.

use super::Known;
use super::cam::Direction;
use keyway_analysis::engine::Sensor;
use keyway_analysis::lead::Role;
use keyway_analysis::recognise::{Candidate, Certainty, Origin, Polarity, Recognition};
use keyway_analysis::snapshot::{Snapshot, Sync};
use schemars::JsonSchema;
use serde::Serialize;

/// What the signal of a lead looks like, from a few revolutions of it and without the engine sheet's
/// word. It is a proposal: everything else in this document is measured by the sheet. Of a cam it
/// describes the edges of the more regular direction as if they were teeth; where those are equally
/// spaced, how many there are is not told.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Recognised {
    /// The likeliest wheel.
    pub wheel: Likely,
    /// How sure that is.
    pub certainty: CertaintyWord,
    /// What else it could be, the likeliest first.
    pub alternatives: Vec<Likely>,
    /// Kind of sensor.
    pub sensor: Known<SensorWord>,
    /// The edge to time by.
    pub edge: Known<Direction>,
    /// How sure that is; of a Hall sensor whose edges are equally good it is unclear.
    pub edge_certainty: CertaintyWord,
    /// Which way round the signal is.
    pub polarity: Known<PolarityWord>,
    /// Revolutions of the wheel that it rests on.
    pub revolutions: f64,
    /// Why it is not surer, as sentences.
    pub remarks: Vec<String>,
}

/// A wheel that it could be.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Likely {
    /// The wheel, in the notation of engine sheets.
    pub notation: String,
    /// Where it is taken from.
    pub origin: OriginWord,
    /// Tooth that is missing or damaged, counted from 1 after the gap; null if none is.
    pub damaged_tooth: Option<usize>,
    /// Scatter of an interval against this wheel and a smooth speed, as a part of the interval.
    pub scatter: f64,
    /// Natural logarithm of how much less likely it is than the first; 0 for the first.
    pub behind: f64,
}

/// How sure something is.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum CertaintyWord {
    /// It could well be something else.
    Unclear,
    /// Nothing fits better, but something fits nearly as well or little was seen.
    Likely,
    /// Nothing else fits.
    Sure,
}

/// Where a wheel is taken from.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum OriginWord {
    /// The engine sheet.
    Sheet,
    /// The table of wheels in common use.
    Table,
    /// A kind of wheel: equal teeth, some missing or one added.
    Family,
    /// Pitches counted in the signal.
    Counted,
    /// Angles measured in the signal.
    Learnt,
}

/// Kind of sensor.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SensorWord {
    /// Variable reluctance.
    Vr,
    /// Hall switch.
    Hall,
}

/// Which way round a signal is.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PolarityWord {
    /// Variable reluctance: falls through zero at the tooth's centre. Hall: a tooth pulls it low.
    Usual,
    /// The other way round.
    Inverted,
}

impl From<Certainty> for CertaintyWord {
    fn from(certainty: Certainty) -> Self {
        match certainty {
            Certainty::Unclear => Self::Unclear,
            Certainty::Likely => Self::Likely,
            Certainty::Sure => Self::Sure,
        }
    }
}

impl Recognised {
    /// Of the lead with this role, or why nothing is recognised.
    pub(super) fn of(snapshot: &Snapshot, role: Role) -> Known<Self> {
        let Some(lead) = snapshot.leads.iter().find(|l| l.role == role) else {
            return Known::of(None, "no lead fitted");
        };
        let Some(seen) = lead.recognition.as_deref() else {
            let why = match (role, snapshot.sync) {
                (Role::Cam(_), Sync::Cycle) => "its edges fit the engine sheet",
                _ => "not enough of the signal has been seen yet",
            };
            return Known::of(None, why);
        };
        let Some(first) = seen.candidates.first() else {
            let remarks = seen.remarks.join(" ");
            let why = if remarks.is_empty() {
                "the signal is no wheel's"
            } else {
                &remarks
            };
            return Known::of(None, why);
        };
        Known::Yes {
            value: Self::new(seen, first),
        }
    }

    fn new(seen: &Recognition, first: &Candidate) -> Self {
        Self {
            wheel: Likely::of(first),
            certainty: seen.certainty.into(),
            alternatives: seen.candidates.iter().skip(1).map(Likely::of).collect(),
            sensor: Known::of(
                seen.sensor.map(|s| match s {
                    Sensor::Vr => SensorWord::Vr,
                    Sensor::Hall => SensorWord::Hall,
                }),
                "the signal does not tell",
            ),
            edge: Known::of(seen.edge.map(Direction::of), "the signal does not tell"),
            edge_certainty: seen.edge_certainty.into(),
            polarity: Known::of(
                seen.polarity.map(|p| match p {
                    Polarity::Usual => PolarityWord::Usual,
                    Polarity::Inverted => PolarityWord::Inverted,
                }),
                "neither a gap nor the steepness tells",
            ),
            revolutions: seen.revolutions,
            remarks: seen.remarks.clone(),
        }
    }
}

impl Likely {
    fn of(candidate: &Candidate) -> Self {
        Self {
            notation: candidate.wheel.to_string(),
            origin: match candidate.origin {
                Origin::Sheet => OriginWord::Sheet,
                Origin::Table => OriginWord::Table,
                Origin::Family => OriginWord::Family,
                Origin::Counted => OriginWord::Counted,
                Origin::Learnt => OriginWord::Learnt,
            },
            damaged_tooth: candidate.damaged,
            scatter: candidate.scatter,
            behind: candidate.behind,
        }
    }
}
