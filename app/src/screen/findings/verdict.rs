//! How causes, bearings and trials are called on screen.

use crate::screen::live::words::{self, capital, list};
use crate::widget::mark::Mark;
use keyway_analysis::findings::{Bearing, Cause, CauseRow, Standing};
use keyway_analysis::trial::{Outcome, TrialKind};

/// Whether a cause is a fault; working as commanded is none.
pub fn is_fault(row: &CauseRow) -> bool {
    row.cause != Cause::AsCommanded
}

/// Shape and word of a bearing.
pub fn bearing(bearing: Bearing) -> (Mark, &'static str) {
    match bearing {
        Bearing::Supports => (Mark::Disc, "supports"),
        Bearing::Contradicts => (Mark::Cross, "contradicts"),
        Bearing::NotShown => (Mark::Dash, "not shown"),
    }
}

/// The same as short as a cell of the table needs it.
pub fn bearing_short(bearing: Bearing) -> &'static str {
    match bearing {
        Bearing::Supports => "for",
        Bearing::Contradicts => "against",
        Bearing::NotShown => "not shown",
    }
}

/// How a cause stands, in words.
pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Supported => "supported",
        Standing::Open => "not ruled out",
        Standing::Contradicted => "contradicted",
    }
}

/// A trial in words.
pub fn trial(kind: TrialKind) -> &'static str {
    match kind {
        TrialKind::RestAtIdle => "rest at idle",
        TrialKind::RestUnplugged => "rest, unplugged",
        TrialKind::SnapRev => "snap rev",
        TrialKind::SlowSweep => "slow sweep",
        TrialKind::StepAndReturn => "step and return",
        TrialKind::Hold => "hold",
        TrialKind::RestRepeated => "rest, repeated",
    }
}

/// Shape and word of how a trial came out.
pub fn outcome(outcome: Outcome) -> (Mark, &'static str) {
    match outcome {
        Outcome::Sound => (Mark::Check, "sound"),
        Outcome::Unsound => (Mark::Warning, "not sound"),
        Outcome::NotShown => (Mark::Dash, "not shown"),
    }
}

/// What is the case, in a heading and a line.
pub fn summary(rows: &[&CauseRow]) -> (String, String) {
    let named = |standing: Standing| -> Vec<String> {
        (rows.iter())
            .filter(|r| r.standing == standing)
            .map(|r| r.cause.words().to_owned())
            .collect()
    };
    let (supported, open) = (named(Standing::Supported), named(Standing::Open));
    let hook_up = rows
        .iter()
        .any(|r| r.cause == Cause::LeadFault && r.standing == Standing::Supported);
    let remaining = match open.as_slice() {
        [] => "Everything else is contradicted.".to_owned(),
        open if open.len() > 4 => format!("{} others are not ruled out.", open.len()),
        open => format!("Not ruled out: {}.", list(open)),
    };
    if hook_up {
        return (
            "First the hook-up: a lead is not on its signal".to_owned(),
            "No part is blamed through a lead that is not proven.".to_owned(),
        );
    }
    match supported.as_slice() {
        [] if rows.iter().all(|r| r.standing == Standing::Open) => (
            "Nothing speaks for any cause yet".to_owned(),
            "What has to be done first is below.".to_owned(),
        ),
        [] => ("No cause is supported yet".to_owned(), remaining),
        [one] => (capital(one), remaining),
        several => (
            format!("{} explain it", capital(&list(several))),
            format!("They are not told apart yet. {remaining}"),
        ),
    }
}

/// The subject of a table.
pub fn subject(subject: super::Subject) -> String {
    match subject {
        Some(id) => format!("{} cam", words::cam_capital(id)),
        None => "Engine".to_owned(),
    }
}
