//! Circuits, phasers, base timing, trials and findings in the document.

use super::Known;
use crate::screen::live::words;
use crate::session::orders::trial_name;
use keyway_analysis::base_timing::{BaseTiming, CamBase, Conclusion};
use keyway_analysis::circuit::{CircuitCause, CircuitView, Condition, Flyback, Loss};
use keyway_analysis::findings::{Bearing, Cause, CauseRow, CodeView, Findings, Standing};
use keyway_analysis::lead::Role;
use keyway_analysis::observer::{ObserverView, Sense};
use keyway_analysis::reading::Reading;
use keyway_analysis::trial::{Measure, Outcome, TrialResult, TrialsView};
use keyway_analysis::units::SampleTime;
use schemars::JsonSchema;
use serde::Serialize;

fn known<T: Copy, U>(reading: &Reading<T>, number: impl Fn(T) -> U) -> Known<U> {
    match reading {
        Reading::Valid(v) => Known::Yes { value: number(*v) },
        Reading::Stale(_, age) => Known::of(None, format!("{:.1} s old", age.0)),
        Reading::Suspect(_, why) | Reading::Missing(why) => Known::of(None, why.to_string()),
    }
}

fn roles(leads: &[Role]) -> Vec<String> {
    leads.iter().map(ToString::to_string).collect()
}

/// What the electrical checks say of the circuit of a cam's actuator, at the end.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Circuit {
    /// What is the case, in words: "sound", "not shown", "stands at supply level".
    pub condition: &'static str,
    /// Since when, seconds.
    pub since_seconds: f64,
    /// The same in one sentence with its numbers.
    pub sentence: String,
    /// Everything that the leads fitted cannot tell apart.
    pub possible: Vec<&'static str>,
    /// The one measurement that would tell those apart; null when nothing has to be.
    pub separated_by: Option<String>,
    /// Roles of the leads it rests on.
    pub rests_on: Vec<String>,
    /// What the pin does when the driver opens: "clamped", "diode", "absent".
    pub flyback: Known<&'static str>,
    /// Level to which it then rises, volts.
    pub flyback_v: Known<f64>,
    /// Drop of the supply while this driver conducts, volts.
    pub sag_v: Known<f64>,
    /// Resistance of coil and driver in series, ohms.
    pub resistance_ohm: Known<f64>,
    /// Inductance of the coil, millihenries.
    pub inductance_mh: Known<f64>,
    /// Times at which the command was lost.
    pub losses: Vec<Lost>,
}

/// A time without command.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Lost {
    /// Last edge before it, seconds.
    pub from_seconds: f64,
    /// First edge after it, seconds; null while it lasts.
    pub to_seconds: Option<f64>,
    /// Crank revolutions in it; null if not known.
    pub turns: Option<f64>,
    /// Engine speed when it began, rpm; null if not known.
    pub speed_rpm: Option<f64>,
    /// Level at which the pin stood, volts.
    pub level_v: f64,
}

impl Circuit {
    pub(super) fn of(view: &CircuitView, seconds: &impl Fn(SampleTime) -> f64) -> Self {
        let (flyback, volts) = match view.flyback {
            Flyback::Unknown(why) => (Err(why), Err(why.to_string())),
            Flyback::Clamped(v) => (Ok("clamped"), Ok(v.0)),
            Flyback::Diode(v) => (Ok("diode"), Ok(v.0)),
            Flyback::Absent => (Ok("absent"), Err("there is none".to_owned())),
        };
        Self {
            condition: words::condition(view.condition),
            since_seconds: match view.condition {
                Condition::NotShown => 0.0,
                _ => seconds(view.since),
            },
            sentence: view.sentence.clone(),
            possible: view.possible.iter().map(|c| circuit_cause(*c)).collect(),
            separated_by: view.separated_by.clone(),
            rests_on: roles(&view.rests_on),
            flyback: match flyback {
                Ok(word) => Known::Yes { value: word },
                Err(why) => Known::of(None, why.to_string()),
            },
            flyback_v: match volts {
                Ok(value) => Known::Yes { value },
                Err(why) => Known::of(None, why),
            },
            sag_v: known(&view.sag, |v| v.0),
            resistance_ohm: known(&view.resistance, |v| v.0),
            inductance_mh: known(&view.inductance, |v| v.0 * 1000.0),
            losses: view.losses.iter().map(|l| Lost::of(l, seconds)).collect(),
        }
    }
}

impl Lost {
    fn of(loss: &Loss, seconds: &impl Fn(SampleTime) -> f64) -> Self {
        Self {
            from_seconds: seconds(loss.from),
            to_seconds: loss.to.map(seconds),
            turns: loss.turns,
            speed_rpm: loss.speed.map(|v| v.0),
            level_v: loss.level.0,
        }
    }
}

fn circuit_cause(cause: CircuitCause) -> &'static str {
    match cause {
        CircuitCause::DriverNeverOn => "not asked for, or the driver never conducts",
        CircuitCause::DriverAlwaysOn => "the driver conducts always",
        CircuitCause::WireTowardsDriver => "wire towards the driver",
        CircuitCause::WireTowardsValve => "wire towards the valve",
        CircuitCause::CoilOpen => "coil open",
        CircuitCause::CoilShorted => "coil shorted, or another coil",
        CircuitCause::FeedOpen => "feed open",
        CircuitCause::FeedResistance => "resistance in the feed, or a weak supply",
        CircuitCause::GroundResistance => "resistance in driver or ground",
        CircuitCause::ShortToGround => "short to ground",
        CircuitCause::ShortToSupply => "short to supply",
    }
}

/// What has been learnt of a phaser while it worked.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Phaser {
    /// Duty band in which it stands, percent.
    pub hold_pct: Known<[f64; 2]>,
    /// Rate away from rest when driven hard, crank degrees per second.
    pub rate_out_deg_per_second: Known<f64>,
    /// Rate back to rest when driven hard, crank degrees per second.
    pub rate_back_deg_per_second: Known<f64>,
    /// Travel seen from rest, crank degrees.
    pub travel_deg: Known<f64>,
    /// Whether more duty moves it the way the engine sheet says: "as the sheet", "opposite".
    pub sense: Known<&'static str>,
}

impl Phaser {
    pub(super) fn of(view: &ObserverView) -> Self {
        Self {
            hold_pct: known(&view.hold, |b| [b.low.0, b.high.0]),
            rate_out_deg_per_second: known(&view.rate_out, |v| v.0),
            rate_back_deg_per_second: known(&view.rate_back, |v| v.0),
            travel_deg: known(&view.travel, |v| v.0),
            sense: match view.sense {
                Sense::Unknown => Known::of(None, "not seen to move under command yet"),
                Sense::AsSheet => Known::Yes {
                    value: "as the sheet",
                },
                Sense::Opposite => Known::Yes { value: "opposite" },
            },
        }
    }
}

/// What the cams at rest say together, in words.
pub fn conclusion_word(conclusion: Conclusion) -> &'static str {
    match conclusion {
        Conclusion::NotJudged => "not judged",
        Conclusion::Good => "good",
        Conclusion::OneOutByTeeth(..) => "one out by teeth",
        Conclusion::OneOut(_) => "one out",
        Conclusion::AllOutAlike => "all out alike",
        Conclusion::SeveralOut => "several out",
    }
}

/// Where the cams stand at rest against their references.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Base {
    /// "not judged", "good", "one out by teeth", "one out", "all out alike", "several out".
    pub conclusion: &'static str,
    /// The cam that is out alone; null if it is none or several.
    pub cam: Option<String>,
    /// Whole teeth by which it is out, advance positive; null if it is not by whole teeth.
    pub teeth: Option<i32>,
    /// The conclusion in one sentence.
    pub sentence: String,
    /// What would tell more; null when nothing is open.
    pub next: Option<String>,
    /// Roles of the leads it rests on.
    pub rests_on: Vec<String>,
    /// What the cams are judged against and how good that is, in a few words.
    pub against: String,
    /// One entry per cam of the engine sheet.
    pub cams: Vec<CamAtRest>,
}

/// A cam at rest.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CamAtRest {
    /// Which.
    pub cam: String,
    /// Offset from its reference, crank degrees, advance positive.
    pub offset_deg: Known<f64>,
    /// Half width of its 95 % range, crank degrees.
    pub uncertainty_deg: Known<f64>,
    /// The same in teeth of its sprocket.
    pub teeth: Known<f64>,
    /// Looks at rest it rests on.
    pub looks: usize,
}

impl Base {
    /// The same in the document.
    pub fn of(base: &BaseTiming) -> Self {
        let (cam, teeth) = match base.conclusion {
            Conclusion::OneOutByTeeth(cam, n) => (Some(cam), Some(n)),
            Conclusion::OneOut(cam) => (Some(cam), None),
            Conclusion::NotJudged
            | Conclusion::Good
            | Conclusion::AllOutAlike
            | Conclusion::SeveralOut => (None, None),
        };
        Self {
            conclusion: conclusion_word(base.conclusion),
            cam: cam.map(|c| c.to_string()),
            teeth,
            sentence: base.sentence.clone(),
            next: base.next.clone(),
            rests_on: roles(&base.rests_on),
            against: base.against.clone(),
            cams: base.cams.iter().map(CamAtRest::of).collect(),
        }
    }
}

impl CamAtRest {
    fn of(cam: &CamBase) -> Self {
        Self {
            cam: cam.cam.to_string(),
            offset_deg: known(&cam.offset, |v| v.0),
            uncertainty_deg: Known::of(cam.uncertainty.map(|v| v.0), "no offset"),
            teeth: Known::of(cam.teeth, "no offset, or no sprocket in the engine sheet"),
            looks: cam.looks,
        }
    }
}

/// The result of a trial.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Trial {
    /// Which trial, by the name it has in the orders of a recording.
    pub trial: &'static str,
    /// Cam.
    pub cam: String,
    /// Oil temperature as read by the technician, degrees Celsius; null if it was not read.
    pub oil_celsius: Option<f64>,
    /// Begin, seconds.
    pub from_seconds: f64,
    /// End, seconds.
    pub to_seconds: f64,
    /// "sound", "not sound", "not shown".
    pub outcome: &'static str,
    /// The result in one sentence.
    pub sentence: String,
    /// The figures.
    pub measures: Vec<Measured>,
    /// Roles of the leads it rests on.
    pub rests_on: Vec<String>,
}

/// A figure of a trial.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Measured {
    /// What it is.
    pub name: String,
    /// The figure, in `unit`.
    pub figure: Known<f64>,
    /// Half width of its 95 % range, in `unit`; null if not known.
    pub uncertainty: Option<f64>,
    /// Its unit.
    pub unit: String,
}

/// The results of all trials of a stream.
/// The results of trials in the document.
pub fn trials(view: &TrialsView, seconds: &impl Fn(SampleTime) -> f64) -> Vec<Trial> {
    view.results.iter().map(|r| Trial::of(r, seconds)).collect()
}

impl Trial {
    fn of(result: &TrialResult, seconds: &impl Fn(SampleTime) -> f64) -> Self {
        Self {
            trial: trial_name(result.order.kind),
            cam: result.order.cam.to_string(),
            oil_celsius: result.order.oil,
            from_seconds: seconds(result.span[0]),
            to_seconds: seconds(result.span[1]),
            outcome: outcome_word(result.outcome),
            sentence: result.sentence.clone(),
            measures: result.measures.iter().map(Measured::of).collect(),
            rests_on: roles(&result.rests_on),
        }
    }
}

impl Measured {
    fn of(measure: &Measure) -> Self {
        Self {
            name: measure.name.clone(),
            figure: Known::of(measure.value, measure.why.clone()),
            uncertainty: measure.uncertainty,
            unit: measure.unit.clone(),
        }
    }
}

/// How a trial came out, in words.
pub fn outcome_word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Sound => "sound",
        Outcome::Unsound => "not sound",
        Outcome::NotShown => "not shown",
    }
}

/// How a cause stands, in words.
pub fn standing_word(standing: Standing) -> &'static str {
    match standing {
        Standing::Supported => "supported",
        Standing::Open => "not ruled out",
        Standing::Contradicted => "contradicted",
    }
}

/// How a piece of evidence bears on a cause, in words.
pub fn bearing_word(bearing: Bearing) -> &'static str {
    match bearing {
        Bearing::Supports => "supports",
        Bearing::Contradicts => "contradicts",
        Bearing::NotShown => "not shown",
    }
}

/// What explains what was measured.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Found {
    /// The causes of each cam, those that something supports and nothing contradicts first.
    pub causes: Vec<CauseEntry>,
    /// The check that best separates what remains; null when nothing has to be separated.
    pub next_check: Option<Check>,
    /// The stored codes that were named, explained and checked.
    pub codes: Vec<Code>,
    /// What to mind in the check.
    pub cautions: Vec<String>,
}

/// A cause with its evidence.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CauseEntry {
    /// The cause in words.
    pub cause: &'static str,
    /// Cam it concerns; null for the engine as a whole.
    pub cam: Option<String>,
    /// "supported", "not ruled out", "contradicted".
    pub standing: &'static str,
    /// The evidence.
    pub evidence: Vec<Piece>,
}

/// A piece of evidence.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Piece {
    /// What was looked at.
    pub what: &'static str,
    /// "supports", "contradicts", "not shown".
    pub bearing: &'static str,
    /// What was found, or why it is not shown.
    pub text: String,
    /// When, seconds; null when nothing was found.
    pub at_seconds: Option<f64>,
    /// Roles of the leads it rests on.
    pub leads: Vec<String>,
}

/// A check to make next.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Check {
    /// What to do.
    pub action: String,
    /// Which causes its outcomes tell apart.
    pub separates: Vec<&'static str>,
    /// Cam it concerns; null if none alone.
    pub cam: Option<String>,
}

/// A stored code.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Code {
    /// As stored.
    pub code: String,
    /// What it means; the standard and the maker's book decide.
    pub meaning: String,
    /// Whether what was measured agrees with it.
    pub measured: String,
    /// "supports", "contradicts", "not shown".
    pub bearing: &'static str,
}

impl Found {
    /// The same in the document; `seconds` gives the times of the recording.
    pub fn of(findings: &Findings, seconds: &impl Fn(SampleTime) -> f64) -> Self {
        Self {
            causes: (findings.causes.iter())
                .map(|row| CauseEntry::of(row, seconds))
                .collect(),
            next_check: findings.next_check.as_ref().map(|check| Check {
                action: check.action.clone(),
                separates: check.separates.iter().map(|c| Cause::words(*c)).collect(),
                cam: check.cam.map(|c| c.to_string()),
            }),
            codes: findings.codes.iter().map(Code::of).collect(),
            cautions: findings.cautions.clone(),
        }
    }
}

impl Code {
    /// The same in the document.
    pub fn of(code: &CodeView) -> Self {
        Self {
            code: code.code.clone(),
            meaning: code.meaning.clone(),
            measured: code.measured.clone(),
            bearing: bearing_word(code.bearing),
        }
    }
}

impl CauseEntry {
    fn of(row: &CauseRow, seconds: &impl Fn(SampleTime) -> f64) -> Self {
        Self {
            cause: row.cause.words(),
            cam: row.cam.map(|c| c.to_string()),
            standing: standing_word(row.standing),
            evidence: (row.evidence.iter())
                .map(|e| Piece {
                    what: e.what,
                    bearing: bearing_word(e.bearing),
                    text: e.text.clone(),
                    at_seconds: e.at.map(seconds),
                    leads: roles(&e.leads),
                })
                .collect(),
        }
    }
}
