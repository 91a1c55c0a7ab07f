//! The figures of trials; of each trial of a cam the latest counts.

use super::position::TOLD;
use super::side::named;
use super::take::Part;
use crate::session::orders::trial_name;
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Group, Measure};
use keyway_analysis::trial::{self, TrialResult};

/// The measures of all trials that were run.
pub(super) fn measures(parts: &[Part<'_>]) -> Vec<Measure> {
    let mut latest: Vec<&TrialResult> = Vec::new();
    for result in parts.iter().flat_map(|p| &p.survey.last.trials.results) {
        let is_same =
            |r: &&TrialResult| r.order.kind == result.order.kind && r.order.cam == result.order.cam;
        latest.retain(|r| !is_same(r));
        latest.push(result);
    }
    let each = |result: &&TrialResult| {
        let result = (*result).clone();
        let measures = result.measures.clone();
        measures.into_iter().map(move |m| measure(&result, &m))
    };
    latest.iter().flat_map(each).collect()
}

fn measure(result: &TrialResult, told: &trial::Measure) -> Measure {
    let trial = trial_name(result.order.kind);
    let key = format!("trial.{trial}.{}", told.name.replace([' ', ','], "-"));
    let name = format!("{} ({})", told.name, trial.replace('-', " "));
    // A range that was told as ± half of 95 % is two standard uncertainties.
    let finding = match (told.value, told.uncertainty) {
        (Some(value), Some(half)) => {
            Finding::Figure(Estimate::reported(value, 0.5 * half, TOLD, 1))
        }
        (Some(value), None) => {
            Finding::Alone(value, "the trial gives it without a range".to_owned())
        }
        (None, _) => Finding::NotShown(told.why.clone()),
    };
    let (unit, digits) = match told.unit.as_str() {
        "ms" => ("ms", 0),
        "°/s" => ("°/s", 0),
        "%" => ("%", 1),
        "rpm" => ("rpm", 0),
        "s" => ("s", 2),
        _ => ("°", 2),
    };
    Measure {
        conditions: Conditions {
            words: "in the trial".to_owned(),
            oil: result.order.oil,
            ..Conditions::default()
        },
        ..named(
            result.order.cam,
            &key,
            &name,
            (Group::Movement, unit, digits),
            finding,
        )
    }
}
