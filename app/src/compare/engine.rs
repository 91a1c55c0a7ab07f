//! The crank and the supply.

use super::take::{Part, Take};
use keyway_analysis::comparison::{Estimate, Finding, Group, Measure};
use keyway_analysis::lead::Role;

/// Revolutions in one value of the unsteadiness of the idle: half a second.
const SPAN: usize = 8;
/// Share by which two scopes or probes may differ (as for the levels of a command).
const GAIN: f64 = 0.02;

/// The measures of the engine as a whole.
pub(super) fn measures(parts: &[Part<'_>]) -> Vec<Measure> {
    let crank = Take::idle(parts, vec![Role::Crank]);
    let speeds = crank.all(|survey| {
        let series = survey.crank.series.as_ref()?;
        Some(
            series
                .seconds
                .iter()
                .copied()
                .zip(series.speed_rpm.iter().copied()),
        )
    });
    let swings: Vec<f64> = speeds.chunks_exact(SPAN).filter_map(deviation).collect();
    let supply = Take::idle(parts, vec![Role::Supply]);
    let of = |which: usize| supply.looks(move |tick| tick.supply[which]);
    let gain = |e: Estimate| e.of_scope(GAIN * e.value.abs());
    let row = |key: &str, name: &str, (group, unit, digits), take: &Take<'_>, finding| Measure {
        key: key.to_owned(),
        name: name.to_owned(),
        group,
        unit,
        digits,
        conditions: take.conditions(),
        finding,
    };
    let mut measures = vec![
        row(
            "idle-speed",
            "idle speed",
            (Group::Engine, "rpm", 0),
            &crank,
            // A revolution is timed to a sample, far below what a speed varies by.
            crank.mean(&speeds, |e| e),
        ),
        row(
            "idle-ripple",
            "unsteadiness of the idle",
            (Group::Engine, "rpm", 1),
            &crank,
            crank.mean(&swings, |e| e),
        ),
        row(
            "supply",
            "supply",
            (Group::Circuit, "V", 2),
            &supply,
            supply.mean(&of(0), gain),
        ),
        row(
            "supply-ripple",
            "supply ripple, peak to peak",
            (Group::Circuit, "V", 2),
            &supply,
            supply.mean(&of(1), gain),
        ),
    ];
    // The speed of the idle is the measure itself here: it must not make itself incomparable.
    for measure in &mut measures {
        measure.conditions.follows_speed = measure.key != "idle-speed";
    }
    measures
}

/// Standard deviation of the speed over some revolutions.
fn deviation(speeds: &[f64]) -> Option<f64> {
    let told = Estimate::of_independent(speeds).ok()?;
    Some(told.uncertainty * speeds.iter().map(|_| 1.0).sum::<f64>().sqrt())
}

/// Why a figure is missing, as a finding.
pub(super) fn not_shown(why: impl Into<String>) -> Finding {
    Finding::NotShown(why.into())
}
