//! The cycles of the recordings on each other by crank angle, with the windows of the cams.

use super::chart::{Chart, Lane};
use crate::compare::Outcome;
use crate::compare::laid::{COLUMNS, Laid};
use crate::figure;
use crate::screen::live::words;
use keyway_analysis::comparison::Verdict;
use keyway_analysis::lead::Role;

/// Marks on the axis, crank degrees.
const EVERY: [u32; 5] = [0, 180, 360, 540, 720];

/// The chart of one condition.
pub fn chart(outcome: &Outcome, laid: usize) -> Chart {
    let Some(laid) = outcome.laid.get(laid) else {
        return Chart {
            missing: (outcome.sides.iter().enumerate())
                .map(|(i, _)| {
                    (
                        i,
                        "no stretch at idle or driven of a second and more".to_owned(),
                    )
                })
                .collect(),
            ..Chart::default()
        };
    };
    let mut roles: Vec<Role> = Vec::new();
    for cycle in laid.sides.iter().flatten() {
        for (role, ..) in &cycle.leads {
            if !roles.contains(role) {
                roles.push(*role);
            }
        }
    }
    // Commands and currents run by their own clock: their mean over the cycle says nothing.
    let is_locked = |role: &Role| matches!(role, Role::Cam(_) | Role::Crank | Role::Pressure);
    roles.retain(is_locked);
    roles.sort_by_key(|role| u8::from(*role == Role::Crank));
    Chart {
        axis: ("crank angle".to_owned(), "°"),
        x: (0.0, 720.0),
        marks: (EVERY.iter())
            .map(|at| (f64::from(*at), at.to_string()))
            .collect(),
        lanes: roles
            .iter()
            .map(|role| lane(outcome, laid, *role))
            .collect(),
        missing: (laid.sides.iter().enumerate())
            .filter_map(|(i, side)| Some((i, side.as_ref().err()?.clone())))
            .collect(),
    }
}

fn lane(outcome: &Outcome, laid: &Laid, role: Role) -> Lane {
    let width = 720.0 / COLUMNS as f64;
    let curve = |values: &[f64]| {
        let middle = |i: usize| (i as f64 + 0.5) * width;
        (values.iter().enumerate())
            .map(|(i, v)| [middle(i), *v])
            .collect::<Vec<_>>()
    };
    let curves = (laid.sides.iter().enumerate())
        .filter_map(|(i, side)| {
            let leads = &side.as_ref().ok()?.leads;
            let (.., values) = leads.iter().find(|(r, ..)| *r == role)?;
            Some((i, curve(values)))
        })
        .collect();
    let mut bars = Vec::new();
    let mut note = String::new();
    if let Role::Cam(cam) = role {
        let of = |side: usize| {
            let windows = &outcome.sides.get(side)?.windows;
            windows.iter().find(|w| w.cam == cam)
        };
        let sheet = of(0).map(|w| w.reference.clone()).unwrap_or_default();
        bars.extend(sheet.iter().map(|[a, b]| (None, *a, *b)));
        for side in 0..outcome.sides.len() {
            let measured = of(side).map(|w| w.measured.clone()).unwrap_or_default();
            bars.extend(measured.iter().map(|[a, b]| (Some(side), *a, *b)));
        }
        note = apart(outcome, &format!("{cam}.phase-at-rest"));
    }
    Lane {
        title: words::capital(&words::lead(role)),
        unit: "V",
        role: Some(role),
        y: (0.0, 1.0),
        curves,
        bars,
        note,
    }
    .fitted(0.5)
}

/// The phases at rest against the first, in words: "B after: 17.1° later at rest".
fn apart(outcome: &Outcome, key: &str) -> String {
    let words: Vec<String> = (outcome.comparisons.iter())
        .filter_map(|c| {
            let row = c.rows.iter().find(|r| r.base.key == key)?;
            let by = row.difference?.by;
            let name = &outcome.sides.get(c.other)?.name;
            if row.verdict != Verdict::Exceeds {
                return Some(format!("{name}: no change at rest beyond the uncertainty"));
            }
            let side = if by < 0.0 { "later" } else { "earlier" };
            Some(format!(
                "{name} {}° {side} at rest",
                figure::plain(by.abs(), 1)
            ))
        })
        .collect();
    words.join("; ")
}
