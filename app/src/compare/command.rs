//! What the controller asks of a valve, and what its circuit shows.

use super::position::TOLD;
use super::side::named;
use super::take::{Part, Take};
use super::watch::Does;
use crate::screen::live::words;
use crate::survey::Survey;
use crate::survey::column::DutyColumns;
use keyway_analysis::circuit::{CircuitView, Flyback};
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Group, Measure};
use keyway_analysis::engine::CamSheet;
use keyway_analysis::lead::Role;
use keyway_analysis::reading::Reading;

/// Share of its resistance that a coil may gain or lose by its temperature between two recordings:
/// copper gains 0.39 % per kelvin, and 25 K is what a valve in warm oil may differ by (from memory).
const WARMTH: f64 = 0.1;
/// Share by which two scopes or probes may differ: a divider of 1 % resistors and as much of the
/// input (common accuracy, from memory).
const GAIN: f64 = 0.02;

/// The measures of a cam's command and circuit.
pub(super) fn measures(parts: &[Part<'_>], cam: usize, sheet: &CamSheet) -> Vec<Measure> {
    let role = Role::Command(sheet.cam);
    let Some(survey) = parts.last().map(|part| part.survey) else {
        return Vec::new();
    };
    let rest = Take::rest(parts, vec![role], cam);
    let drives = move |tick: &super::watch::Tick| {
        (tick.cams.get(cam)).is_some_and(|c| c.command == Does::Drive)
    };
    let driven = Take {
        words: "driven",
        wanted: Box::new(drives),
        ..Take::rest(parts, vec![role], cam)
    };
    let columns = |survey: &'_ Survey| survey.cams.get(cam).and_then(|c| c.periods.clone());
    let taken = |take: &Take<'_>, pick: fn(DutyColumns) -> Vec<f64>| {
        take.all(|survey| {
            let columns = columns(survey)?;
            Some(columns.seconds.clone().into_iter().zip(pick(columns)))
        })
    };
    let frequency = taken(&Take::always(parts, vec![role]), |c| c.frequency_hz);
    let hertz = Estimate::of_sequence(&frequency).map_or(0.0, |e| e.value);
    // Both edges of a period lie between samples.
    let duty_bound = 100.0 * hertz / survey.rate_hz;
    let always = Take::always(parts, vec![role]);
    let row = |key: &str, name: &str, unit: (&'static str, usize), take: &Take<'_>, finding| {
        let group = if unit.0 == "V" || unit.0 == "A" {
            Group::Circuit
        } else {
            Group::Command
        };
        Measure {
            conditions: take.conditions(),
            ..named(sheet.cam, key, name, (group, unit.0, unit.1), finding)
        }
    };
    let mut measures = vec![
        row(
            "duty-at-rest",
            "duty at rest",
            ("%", 1),
            &rest,
            rest.mean(&taken(&rest, |c| c.duty_pct), |e| e.bounded(duty_bound)),
        ),
        row(
            "duty-driven",
            "duty while driven",
            ("%", 1),
            &driven,
            driven.mean(&taken(&driven, |c| c.duty_pct), |e| e.bounded(duty_bound)),
        ),
        row(
            "frequency",
            "command frequency",
            ("Hz", 1),
            &always,
            always.mean(&frequency, |e| e.bounded(hertz * hertz / survey.rate_hz)),
        ),
        hold(survey, cam, sheet),
    ];
    let levels = [
        ("low-level", "low level", "V", vec![role]),
        ("high-level", "high level", "V", vec![role]),
        (
            "current",
            "mean current",
            "A",
            vec![role, Role::Current(sheet.cam)],
        ),
    ];
    for (i, (key, name, unit, roles)) in levels.into_iter().enumerate() {
        for (take, when) in [
            (Take::rest(parts, roles.clone(), cam), "at rest"),
            (
                Take {
                    words: "driven",
                    wanted: Box::new(drives),
                    ..Take::rest(parts, roles.clone(), cam)
                },
                "while driven",
            ),
        ] {
            // Driven hard, the pin is not off for long enough to come down from the flyback.
            if key == "high-level" && when != "at rest" {
                continue;
            }
            let values = take.looks(|tick| tick.cams.get(cam).and_then(|c| c.levels[i]));
            let finding = take.mean(&values, |e| e.of_scope(GAIN * e.value.abs()));
            let suffix = when.replace(' ', "-");
            measures.push(row(
                &format!("{key}-{suffix}"),
                &format!("{name} {when}"),
                (unit, 2),
                &take,
                finding,
            ));
        }
    }
    let circuit = survey.last.cams.get(cam).and_then(|c| c.circuit.as_deref());
    measures.extend(circuit.map(|view| coil(view, sheet)).unwrap_or_default());
    measures
}

/// The learnt hold duty: the band is what is told, so it is taken as a bound about its middle.
fn hold(survey: &Survey, cam: usize, sheet: &CamSheet) -> Measure {
    let learnt = survey
        .last
        .cams
        .get(cam)
        .and_then(|c| c.observer.as_deref());
    let finding = match learnt.map(|view| view.hold) {
        Some(Reading::Valid(band) | Reading::Stale(band, _)) => {
            let (low, high) = (band.low.0, band.high.0);
            let middle = Estimate::reported(0.5 * (low + high), 0.0, f64::INFINITY, 1);
            Finding::Figure(middle.bounded(0.5 * (high - low)))
        }
        Some(Reading::Suspect(_, why) | Reading::Missing(why)) => {
            Finding::NotShown(format!("not learnt: {why}"))
        }
        None => Finding::NotShown("no phaser on this cam in the engine sheet".to_owned()),
    };
    let details = (Group::Command, "%", 1);
    Measure {
        conditions: Conditions {
            words: "as learnt, at the supply then; drifts with oil, coil and supply".to_owned(),
            ..Conditions::default()
        },
        ..named(sheet.cam, "hold-duty", "learnt hold duty", details, finding)
    }
}

/// What the rise of the current and the pin tell of the coil, at the end.
fn coil(view: &CircuitView, sheet: &CamSheet) -> Vec<Measure> {
    let told = |reading: Reading<f64>, error: Option<f64>| match (reading, error) {
        (Reading::Valid(value), Some(error)) => {
            let told = Estimate::reported(value, error, TOLD, 1);
            Finding::Figure(told.of_scope(GAIN * value.abs()))
        }
        (Reading::Valid(value), None) => {
            Finding::Alone(value, "its scatter is not known".to_owned())
        }
        (Reading::Stale(_, age), _) => Finding::NotShown(format!("{:.0} s old", age.0)),
        (Reading::Suspect(_, why) | Reading::Missing(why), _) => Finding::NotShown(why.to_string()),
    };
    let ohms = match told(
        view.resistance.map(|v| v.0),
        view.resistance_error.map(|v| v.0),
    ) {
        Finding::Figure(e) => Finding::Figure(e.bounded(WARMTH * e.value)),
        other => other,
    };
    let henries = told(
        view.inductance.map(|v| 1000.0 * v.0),
        view.inductance_error.map(|v| 1000.0 * v.0),
    );
    let flyback = match view.flyback {
        Flyback::Clamped(v) => format!("clamped at {:.0} V", v.0),
        Flyback::Diode(v) => format!("diode, {:.0} V", v.0),
        Flyback::Absent => "absent".to_owned(),
        Flyback::Unknown(why) => format!("not shown: {why}"),
    };
    let named = |key: &str, name: &str, unit, digits, finding| {
        let details = (Group::Circuit, unit, digits);
        named(sheet.cam, key, name, details, finding)
    };
    vec![
        named(
            "coil-resistance",
            "coil and driver resistance",
            "Ω",
            1,
            ohms,
        ),
        named("coil-inductance", "coil inductance", "mH", 1, henries),
        named("flyback", "flyback", "", 0, state(flyback)),
        named(
            "circuit",
            "circuit",
            "",
            0,
            state(words::condition(view.condition).to_owned()),
        ),
    ]
}

/// A state in words; "not shown" is none.
pub(super) fn state(words: String) -> Finding {
    match words.strip_prefix("not shown") {
        Some(rest) => {
            let why = rest.trim_start_matches(": ");
            let why = if why.is_empty() {
                "too little seen"
            } else {
                why
            };
            Finding::NotShown(why.to_owned())
        }
        None => Finding::State(words),
    }
}
