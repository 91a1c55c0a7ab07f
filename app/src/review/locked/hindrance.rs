//! Why there are no cycles, or fewer than one would expect.

use super::finder::Outcome;
use crate::setup::Setup;
use keyway_analysis::snapshot::Sync;
use std::ops::Range;

pub(super) fn of(found: &Outcome, setup: &Setup, span: &Range<f64>) -> Option<String> {
    if found.cycles.is_empty() {
        return Some(none_at_all(found, setup, span));
    }
    let mut words = Vec::new();
    let is_known = found.cycles.iter().all(|c| c.is_known);
    if !is_known {
        words.push(
            "No cam has told which of the two revolutions is which: 0° is the firing or the exchange TDC of cylinder 1, the same in all cycles shown"
                .to_owned(),
        );
    }
    if found.not_known > 0 {
        let cycles = times(found.not_known, "cycle", "cycles");
        words.push(if is_known {
            format!("{cycles} in which no cam had told the revolution are not shown")
        } else {
            format!("{cycles} of another count of teeth are not shown")
        });
    }
    // A cycle at either end is cut by the stretch itself.
    let missing = span.end - span.start - found.covered;
    if missing > 2.0 * found.longest {
        let share = 100.0 * found.covered / (span.end - span.start);
        let mut text = format!("complete cycles cover {share:.0} % of the stretch");
        let why = interruptions(found);
        if !why.is_empty() {
            text = format!("{text}: {}", why.join(", "));
        }
        words.push(text);
    }
    let text = words.join("; ");
    (!text.is_empty()).then(|| sentence(&text))
}

fn none_at_all(found: &Outcome, setup: &Setup, span: &Range<f64>) -> String {
    let seconds = span.end - span.start;
    if !found.has_crank {
        return "No crank lead was recorded here, and without it there is no crank angle."
            .to_owned();
    }
    let length = found.rpm.map(|rpm| (120.0 / rpm, rpm));
    let why = interruptions(found).join(", ");
    let text = match (found.sync, length) {
        (Some(Sync::Revolution | Sync::Cycle), Some((length, rpm))) if seconds < 2.0 * length => {
            return format!(
                "No complete engine cycle lies in these {seconds:.3} s: at {} rpm one takes {length:.3} s; choose a longer stretch.",
                crate::figure::plain(rpm, 0)
            );
        }
        (Some(Sync::Revolution), _) if is_even(setup) => {
            "the crank wheel alone does not tell the position, and no cam has told it".to_owned()
        }
        (Some(Sync::Revolution | Sync::Cycle), _) => {
            "the crank is not followed over a whole engine cycle".to_owned()
        }
        (Some(Sync::Searching), _) => format!(
            "the crank's teeth come, but they do not show the pattern of the sheet's wheel {}; see the crank lead on Hook-up",
            setup.sheet.crank.wheel.trim()
        ),
        (Some(Sync::Stopped), _) => "the crank stands, or its lead shows no teeth".to_owned(),
        (None, _) => "no samples could be measured here".to_owned(),
    };
    if why.is_empty() {
        sentence(&text)
    } else {
        sentence(&format!("{text}; {why}"))
    }
}

/// What interrupted the angle.
fn interruptions(found: &Outcome) -> Vec<String> {
    let mut why = Vec::new();
    if found.gaps > 0 {
        let gaps = times(found.gaps, "time", "times");
        why.push(format!("samples were lost {gaps} ({:.3} s)", found.lost));
    }
    if found.damaged > 0 {
        let parts = times(found.damaged, "part", "parts");
        why.push(format!("{parts} of the file cannot be read"));
    }
    if found.losses > 0 {
        let losses = usize::try_from(found.losses).unwrap_or(usize::MAX);
        let losses = times(losses, "time", "times");
        why.push(format!("the crank pattern was lost {losses}"));
    }
    if found.stood && found.sync != Some(Sync::Stopped) {
        why.push("the crank stood for a time".to_owned());
    }
    if found.streams > 1 {
        why.push(format!(
            "the stream began anew {}",
            times(found.streams - 1, "time", "times")
        ));
    }
    why
}

fn is_even(setup: &Setup) -> bool {
    // A wheel without any gap or mark is a bare number of teeth.
    setup.sheet.crank.wheel.trim().parse::<u32>().is_ok()
}

fn times(count: usize, one: &str, several: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { several })
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}
