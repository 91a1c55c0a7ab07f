//! The columns of the table, which are the same for every engine.

use crate::exchange::samples::SOFTWARE;
use crate::exchange::table::{Column, Kind};
use keyway_analysis::snapshot::AgreementState;

/// Number of this form. It changes when a column goes away or changes its meaning; new ones leave it.
pub(super) const FORM: i64 = 1;

/// States of agreement, each with a column of seconds.
pub(super) const STATES: [AgreementState; 9] = [
    AgreementState::Following,
    AgreementState::Lagging,
    AgreementState::NotFollowing,
    AgreementState::AgainstCommand,
    AgreementState::OffRest,
    AgreementState::Hunting,
    AgreementState::NoCommand,
    AgreementState::NoPosition,
    AgreementState::NotJudged,
];

/// Columns of the file and the job card.
const CARD: &[(&str, Kind)] = &[
    ("recording", Kind::Words),
    ("job", Kind::Words),
    ("file", Kind::Words),
    ("bytes", Kind::Whole),
    ("job_engine", Kind::Words),
    ("job_opened", Kind::Words),
    ("codes", Kind::Words),
];

/// Columns that name the vehicle.
const PLATES: &[(&str, Kind)] = &[
    ("plate", Kind::Words),
    ("vin", Kind::Words),
    ("job_folder", Kind::Words),
];

/// Columns of what was measured.
const MEASURED: &[(&str, Kind)] = &[
    ("form", Kind::Whole),
    ("software", Kind::Words),
    ("reason", Kind::Words),
    ("shortfall", Kind::Words),
    ("started", Kind::Instant),
    ("engine", Kind::Words),
    ("stream", Kind::Whole),
    ("seconds", Kind::Number),
    ("rate_hz", Kind::Number),
    ("samples", Kind::Whole),
    ("gaps", Kind::Whole),
    ("lost_samples", Kind::Whole),
    ("revolutions", Kind::Whole),
    ("sync_losses", Kind::Whole),
    ("stray_cam_edges", Kind::Whole),
    ("speed_mean_rpm", Kind::Number),
    ("speed_low_rpm", Kind::Number),
    ("speed_high_rpm", Kind::Number),
    ("crank_lead", Kind::Words),
    ("supply_lead", Kind::Words),
    ("base_timing", Kind::Words),
    ("cam", Kind::Words),
    ("cam_lead", Kind::Words),
    ("command_lead", Kind::Words),
    ("current_lead", Kind::Words),
    ("phase_mean_deg", Kind::Number),
    ("phase_low_deg", Kind::Number),
    ("phase_high_deg", Kind::Number),
    ("phase_noise_deg", Kind::Number),
    ("rest_offset_deg", Kind::Number),
    ("rest_uncertainty_deg", Kind::Number),
    ("rest_teeth", Kind::Number),
    ("rest_looks", Kind::Whole),
    ("rest_reason", Kind::Words),
    ("duty_mean_pct", Kind::Number),
    ("duty_low_pct", Kind::Number),
    ("duty_high_pct", Kind::Number),
    ("frequency_mean_hz", Kind::Number),
    ("rate_out_deg_per_s", Kind::Number),
    ("rate_back_deg_per_s", Kind::Number),
    ("travel_deg", Kind::Number),
    ("circuit", Kind::Words),
    ("disagreements", Kind::Whole),
    ("following_s", Kind::Number),
    ("lagging_s", Kind::Number),
    ("not_following_s", Kind::Number),
    ("against_command_s", Kind::Number),
    ("off_rest_s", Kind::Number),
    ("hunting_s", Kind::Number),
    ("no_command_s", Kind::Number),
    ("no_position_s", Kind::Number),
    ("not_judged_s", Kind::Number),
    ("causes_supported", Kind::Words),
    ("causes_not_ruled_out", Kind::Words),
    ("causes_contradicted", Kind::Words),
];

fn columns(list: &[(&str, Kind)]) -> Vec<Column> {
    list.iter()
        .map(|(name, kind)| Column::new(*name, *kind))
        .collect()
}

/// All columns.
pub(super) fn all(with_plates: bool) -> Vec<Column> {
    let mut all = columns(CARD);
    if with_plates {
        all.extend(columns(PLATES));
    }
    all.extend(measured());
    all
}

/// Those that are measured, which an earlier table can give.
pub(super) fn measured() -> Vec<Column> {
    columns(MEASURED)
}

/// What holds for the whole table, as JSON.
pub(super) fn about() -> String {
    serde_json::json!({ "form": FORM, "software": SOFTWARE }).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_its_column() {
        let names: Vec<String> = STATES
            .iter()
            .map(|s| format!("{}_s", s.words().replace(' ', "_")))
            .collect();
        let begin = MEASURED.iter().position(|(n, _)| *n == "following_s");
        let columns = &MEASURED[begin.unwrap()..][..STATES.len()];
        assert!(
            names
                .iter()
                .map(String::as_str)
                .eq(columns.iter().map(|(n, _)| *n))
        );
    }
}
