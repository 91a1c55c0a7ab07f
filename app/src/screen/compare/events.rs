//! The courses of the recordings on each other, aligned by an event.

use super::chart::{Chart, Lane};
use crate::compare::Outcome;
use crate::compare::course::{AnchorKind, Course};
use crate::figure;
use crate::screen::live::words;
use keyway_analysis::lead::{CamId, Role};

/// The kinds of event that every recording has; the begin is always one.
pub fn kinds(outcome: &Outcome) -> Vec<AnchorKind> {
    let Some(first) = outcome.sides.first() else {
        return vec![AnchorKind::Begin];
    };
    let mut kinds = Vec::new();
    for anchor in &first.course.anchors {
        let has = |course: &Course| course.anchors.iter().any(|a| a.kind == anchor.kind);
        if !kinds.contains(&anchor.kind) && outcome.sides.iter().all(|s| has(&s.course)) {
            kinds.push(anchor.kind);
        }
    }
    kinds
}

/// The chart, `span` seconds to either side of the first event of this kind in each recording, each
/// shifted by so many seconds.
pub fn chart(outcome: &Outcome, kind: AnchorKind, shifts: &[f64], span: f64) -> Chart {
    let sides = &outcome.sides;
    let zero: Vec<Option<f64>> = (sides.iter().zip(shifts))
        .map(|(side, shift)| {
            let anchor = side.course.anchors.iter().find(|a| a.kind == kind);
            anchor.map(|a| a.at - shift)
        })
        .collect();
    // Nothing lies before the begin.
    let from = if kind == AnchorKind::Begin {
        0.0
    } else {
        -span
    };
    let lane = |title: String, unit, role, values: &dyn Fn(&Course) -> Option<Vec<f64>>, least| {
        let curves = (sides.iter().zip(&zero).enumerate())
            .filter_map(|(i, (side, zero))| {
                let (zero, values) = ((*zero)?, values(&side.course)?);
                let points = side.course.seconds.iter().zip(values);
                let near = points
                    .map(|(at, v)| [at - zero, v])
                    .filter(|p| p[0] >= from && p[0] <= span);
                Some((i, near.collect()))
            })
            .collect();
        Lane {
            title,
            unit,
            role,
            y: (0.0, 1.0),
            curves,
            bars: Vec::new(),
            note: unit.to_owned(),
        }
        .fitted(least)
    };
    let mut lanes = vec![lane(
        "Speed".to_owned(),
        "rpm",
        None,
        &|course| Some(course.speed.clone()),
        100.0,
    )];
    let mut cams: Vec<CamId> = Vec::new();
    for cam in sides.iter().flat_map(|s| &s.course.cams) {
        if !cams.contains(&cam.cam) {
            cams.push(cam.cam);
        }
    }
    for id in cams {
        let own = move |course: &Course| course.cams.iter().find(|c| c.cam == id).cloned();
        let name = words::cam_capital(id);
        lanes.push(lane(
            format!("{name} phase"),
            "°crank, advance up",
            Some(Role::Cam(id)),
            &|course| Some(own(course)?.phase),
            4.0,
        ));
        lanes.push(lane(
            format!("{name} duty"),
            "%",
            Some(Role::Command(id)),
            &|course| Some(own(course)?.duty),
            10.0,
        ));
    }
    let missing = (zero.iter().enumerate())
        .filter(|(_, at)| at.is_none())
        .map(|(i, _)| (i, format!("no such event: {}", kind.words())))
        .collect();
    Chart {
        axis: ("time".to_owned(), "s"),
        x: (from, span),
        marks: marks(from, span),
        lanes,
        missing,
    }
}

/// Five to ten marks at round times.
fn marks(from: f64, to: f64) -> Vec<(f64, String)> {
    let rough = (to - from) / 8.0;
    let power = 10_f64.powf(rough.log10().floor());
    let step = ([1.0, 2.0, 5.0, 10.0].iter())
        .map(|k| k * power)
        .find(|step| *step >= rough)
        .unwrap_or(10.0 * power);
    let digits = if step < 0.1 {
        2
    } else {
        usize::from(step < 1.0)
    };
    let mut marks = Vec::new();
    let mut at = (from / step).ceil() * step;
    while at <= to + 1e-9 {
        marks.push((at, figure::signed(at, digits)));
        at += step;
    }
    marks
}
