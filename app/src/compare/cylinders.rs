//! What each cylinder gives at idle, and how each compresses while the starter turns the engine.

use super::engine::not_shown;
use super::take::Part;
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Group, Measure, Speed};
use keyway_analysis::ripple::Share;
use keyway_analysis::units::{Band, Rpm};

/// One measure for each cylinder of the sheet, of either kind.
pub(super) fn measures(parts: &[Part<'_>]) -> Vec<Measure> {
    let Some(survey) = parts.last().map(|part| part.survey) else {
        return Vec::new();
    };
    // The latest comparison that any stream has.
    let views = || parts.iter().rev().map(|part| &part.survey.last.cylinders);
    let running = views().find_map(|v| v.running.as_ref().ok());
    let cranking = views().find_map(|v| v.cranking.as_ref().ok());
    let last = &survey.last.cylinders;
    let mut measures = Vec::new();
    for number in 1..=survey.sheet.cylinders {
        let found = match (running, &last.running) {
            (Some(balance), _) => share(&balance.cylinders, number, balance.cycles),
            (None, Err(why)) => not_shown(why.to_string()),
            (None, Ok(_)) => not_shown("not seen"),
        };
        let name = format!("cylinder {number}, contribution");
        let speed = running.map(|balance| balance.speed);
        let words = "at idle, its last steady cycles";
        measures.push(row(number, "contribution", &name, words, speed, found));
    }
    for number in 1..=survey.sheet.cylinders {
        let found = match (cranking, &last.cranking) {
            (Some(compression), _) => share(&compression.cylinders, number, compression.cycles),
            (None, Err(why)) => not_shown(why.to_string()),
            (None, Ok(_)) => not_shown("not seen"),
        };
        let name = format!("cylinder {number}, relative compression");
        let speed = cranking.map(|compression| compression.speed);
        let words = "while the starter turns it";
        measures.push(row(number, "compression", &name, words, speed, found));
    }
    measures
}

fn row(
    number: u8,
    key: &str,
    name: &str,
    words: &str,
    speed: Option<Rpm>,
    finding: Finding,
) -> Measure {
    Measure {
        key: format!("cylinder-{number}.{key}"),
        name: name.to_owned(),
        group: Group::Engine,
        unit: "%",
        digits: 1,
        conditions: Conditions {
            words: words.to_owned(),
            speed: speed.map(|mean| Speed {
                mean,
                range: Band {
                    low: mean,
                    high: mean,
                },
            }),
            follows_speed: true,
            ..Conditions::default()
        },
        finding,
    }
}

/// The figure of one cylinder: a mean over cycles that are taken as independent of each other.
fn share(shares: &[Share], number: u8, cycles: usize) -> Finding {
    match shares.iter().find(|s| s.cylinder == Some(number)) {
        Some(share) if cycles > 1 => Finding::Figure(Estimate::reported(
            share.value.0,
            share.error.0,
            cycles as f64 - 1.0,
            cycles,
        )),
        Some(_) => not_shown("one cycle only"),
        None => not_shown("the cam has not told which revolution of the cycle is which"),
    }
}
