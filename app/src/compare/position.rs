//! Where a cam stands: at rest and driven, edge by edge.

use super::side::named;
use super::take::{Part, Take};
use super::watch::Does;
use crate::survey::Survey;
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Group, Measure};
use keyway_analysis::engine::{CamSheet, EdgeKind};
use keyway_analysis::lead::Role;
use keyway_analysis::units::SampleTime;

/// Cam revolutions in one value of the noise: more would need longer rests, fewer tell it to a third only.
const SPAN: usize = 4;

/// The phase at each edge of the pattern in one cam revolution.
type Turn = Vec<f64>;

/// The phase of a revolution.
fn whole(turn: &Turn) -> f64 {
    mean(turn.iter().copied()).unwrap_or(f64::NAN)
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

/// Whole cam revolutions of a stream while the conditions held.
fn turns(take: &Take<'_>, part: &Part<'_>, cam: usize) -> Vec<Turn> {
    let Some(survey) = part.survey.cams.get(cam) else {
        return Vec::new();
    };
    let Some(columns) = &survey.phases else {
        return Vec::new();
    };
    let samples = (columns.seconds.iter())
        .zip(columns.edge.iter().zip(&columns.phase_deg))
        .map(|(at, (edge, phase))| (*at, (*edge, *phase)));
    let (mut turns, mut open) = (Vec::new(), Vec::new());
    for (_, (edge, phase)) in take.of(part, samples) {
        if edge == 0 {
            open.clear();
        }
        if edge != open.len() {
            continue;
        }
        open.push(phase);
        if open.len() == survey.edges.len() {
            turns.push(std::mem::take(&mut open));
        }
    }
    turns
}

/// Crank degrees in half a sample: between two samples an edge may lie anywhere. The error of a single
/// edge shows in the scatter; what interpolation does to all of them alike is the same with the same
/// scope at the same rate and speed, so it counts between scopes.
fn half_sample(survey: &Survey, take: &Take<'_>) -> f64 {
    let speed = mean(take.looks(|tick| tick.speed).into_iter());
    speed.map_or(0.0, |rpm| 3.0 * rpm / survey.rate_hz)
}

/// The measures of a cam's position.
pub(super) fn measures(parts: &[Part<'_>], cam: usize, sheet: &CamSheet) -> Vec<Measure> {
    let Some(survey) = parts.last().map(|part| part.survey) else {
        return Vec::new();
    };
    let mut roles = vec![Role::Crank, Role::Cam(sheet.cam)];
    if sheet.phaser.is_some() {
        roles.push(Role::Command(sheet.cam));
    }
    let rest = Take::rest(parts, roles.clone(), cam);
    let driven = Take {
        words: "driven",
        wanted: Box::new(move |tick| {
            (tick.cams.get(cam)).is_some_and(|c| c.command == Does::Drive)
        }),
        ..Take::rest(parts, roles, cam)
    };
    let at_rest: Vec<Turn> = (parts.iter().flat_map(|p| turns(&rest, p, cam))).collect();
    let bound = half_sample(survey, &rest);
    let tolerance = sheet.tolerance.0;
    let bounded = |e: Estimate| e.of_scope(bound).of_engine(tolerance);
    let phase = |turns: &[Turn]| turns.iter().map(whole).collect::<Vec<f64>>();
    let place = |key: &str, name: &str, take: &Take<'_>, finding| Measure {
        conditions: Conditions {
            against: format!("{:?}", sheet.windows),
            ..take.conditions()
        },
        ..named(
            sheet.cam,
            key,
            name,
            (Group::Position, "°crank", 2),
            finding,
        )
    };
    let means = phase(&at_rest);
    let mut measures = vec![
        place(
            "phase-at-rest",
            "phase at rest",
            &rest,
            rest.mean(&means, bounded),
        ),
        offset(
            survey,
            cam,
            sheet,
            place("", "", &rest, Finding::State(String::new())),
        ),
    ];
    let edges = survey
        .cams
        .get(cam)
        .map(|c| c.edges.clone())
        .unwrap_or_default();
    for (i, edge) in edges.iter().enumerate() {
        let values: Vec<f64> = at_rest.iter().filter_map(|t| t.get(i).copied()).collect();
        let name = format!("edge at {:.0}° at rest", edge.reference);
        measures.push(place(
            &format!("edge-{i}.phase-at-rest"),
            &name,
            &rest,
            rest.mean(&values, bounded),
        ));
    }
    let of_kind = |turn: &Turn, kind: EdgeKind| {
        let own = edges.iter().zip(turn).filter(|(e, _)| e.kind == kind);
        mean(own.map(|(_, phase)| *phase))
    };
    let between: Vec<f64> = (at_rest.iter())
        .filter_map(|t| Some(of_kind(t, EdgeKind::Rising)? - of_kind(t, EdgeKind::Falling)?))
        .collect();
    measures.push(place(
        "rising-minus-falling",
        "rising minus falling edges",
        &rest,
        rest.mean(&between, bounded),
    ));
    let noise: Vec<f64> = means.chunks_exact(SPAN).filter_map(noise).collect();
    measures.push(place(
        "phase-noise",
        "phase noise",
        &rest,
        rest.mean(&noise, |e| e),
    ));
    if sheet.phaser.is_some() {
        let away: Vec<Turn> = (parts.iter().flat_map(|p| turns(&driven, p, cam))).collect();
        let finding = driven.mean(&phase(&away), bounded);
        measures.push(place(
            "phase-driven",
            "phase while driven",
            &driven,
            finding,
        ));
    }
    measures
}

/// Standard deviation from one revolution to the next, crank degrees; a step is the difference of two.
fn noise(phases: &[f64]) -> Option<f64> {
    let squares = phases.windows(2).map(|two| (two[1] - two[0]).powi(2));
    mean(squares).map(|square| (0.5 * square).sqrt())
}

/// The offset that the base timing tells, with the tolerance of the reference in its range.
fn offset(survey: &Survey, cam: usize, sheet: &CamSheet, like: Measure) -> Measure {
    let told = survey.last.base_timing.cams.get(cam);
    let finding = match told.and_then(|c| Some((c.offset.valid()?, c.uncertainty?, c.looks))) {
        Some((offset, half, looks)) => {
            Finding::Figure(Estimate::reported(offset.0, 0.5 * half.0, TOLD, looks))
        }
        None => Finding::NotShown(survey.last.base_timing.sentence.clone()),
    };
    let details = (Group::Position, "°crank", 2);
    Measure {
        conditions: Conditions {
            words: "at rest; the tolerance of the reference is in its range".to_owned(),
            follows_speed: false,
            ..like.conditions
        },
        ..named(
            sheet.cam,
            "base-offset",
            "offset against the reference",
            details,
            finding,
        )
    }
}

/// Degrees of freedom of a standard uncertainty that was told as half of a 95 % range: taken as known
/// to a quarter of itself, ½ · 4² (GUM G.4.2).
pub(super) const TOLD: f64 = 8.0;

/// The phase of every edge with what is its own taken away, over the whole stream, for what moves.
pub(super) fn course(survey: &Survey, cam: usize) -> Vec<(f64, f64)> {
    let Some(cam) = survey.cams.get(cam) else {
        return Vec::new();
    };
    let own: Vec<f64> = (cam.edges.iter())
        .map(|edge| edge.phase().map_or(f64::NAN, |p| p.mean))
        .collect();
    let level = mean(own.iter().copied().filter(|p| p.is_finite())).unwrap_or(0.0);
    let Some(columns) = &cam.phases else {
        return Vec::new();
    };
    (columns.seconds.iter())
        .zip(columns.edge.iter().zip(&columns.phase_deg))
        .filter_map(|(at, (edge, phase))| Some((*at, phase - own.get(*edge)? + level)))
        .collect()
}

/// The instant of a sample in a stream.
pub(super) fn seconds(survey: &Survey, at: SampleTime) -> f64 {
    survey.seconds_at(at)
}
