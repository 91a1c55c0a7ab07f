//! The text form of what is judged beside the agreement: leads, circuits, phasers, base timing,
//! trials and findings.

use super::Survey;
use super::document::inquiry::{bearing_word, outcome_word, standing_word};
use crate::screen::findings::{trial, written};
use crate::screen::hookup::mistake_words;
use crate::screen::live::words;
use keyway_analysis::circuit::Condition;
use keyway_analysis::findings::{Bearing, CauseRow, Standing};
use keyway_analysis::snapshot::ProofState;

/// The lines, without a newline at the end.
pub fn lines(survey: &Survey) -> Vec<String> {
    let last = &survey.last;
    let mut lines = vec![String::new(), "leads".to_owned()];
    for lead in last.leads.iter().filter(|l| l.proof != ProofState::Spare) {
        let mistake = lead
            .mistake
            .map_or_else(String::new, |m| format!(" ({})", mistake_words(m)));
        lines.push(format!(
            "  {:<18}{:<10}{}{mistake}",
            lead.role.to_string(),
            lead.proof.words(),
            lead.note
        ));
        if !lead.try_next.is_empty() {
            lines.push(format!("{:<30}try: {}", "", lead.try_next));
        }
    }
    for cam in &last.cams {
        if let Some(circuit) = cam.circuit.as_deref()
            && circuit.condition != Condition::NotShown
        {
            lines.push(format!(
                "{} circuit: {}. {}",
                cam.id,
                words::condition(circuit.condition),
                circuit.sentence
            ));
            if let Some(next) = &circuit.separated_by {
                lines.push(format!("  to tell more: {next}"));
            }
        }
        if let Some(observer) = cam.observer.as_deref() {
            let rate = |reading: &keyway_analysis::reading::Reading<_>| {
                let valid: Option<keyway_analysis::units::DegreesPerSecond> = reading.valid();
                valid.map_or_else(|| "not seen".to_owned(), |v| format!("{:.0}°/s", v.0))
            };
            let hold = observer.hold.valid().map_or_else(
                || "not learnt".to_owned(),
                |b| format!("{:.0} to {:.0} %", b.low.0, b.high.0),
            );
            lines.push(format!(
                "{} phaser: holds at {hold}; out {}, back {}",
                cam.id,
                rate(&observer.rate_out),
                rate(&observer.rate_back)
            ));
        }
    }
    lines.push(format!("base timing: {}", last.base_timing.sentence));
    lines.push(format!("  {}", last.base_timing.against));
    if let Some(next) = &last.base_timing.next {
        lines.push(format!("  to tell more: {next}"));
    }
    for result in &last.trials.results {
        lines.push(format!(
            "trial at {:.1} s, {}, {} cam: {}. {}",
            survey.seconds_at(result.span[0]),
            trial(result.order.kind),
            result.order.cam,
            outcome_word(result.outcome),
            result.sentence
        ));
        for measure in &result.measures {
            lines.push(format!("  {:<28}{}", measure.name, written(measure)));
        }
    }
    findings(survey, &mut lines);
    lines
}

fn findings(survey: &Survey, lines: &mut Vec<String>) {
    let findings = &survey.last.findings;
    if findings.causes.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push("findings".to_owned());
    for row in &findings.causes {
        let of = row
            .cam
            .map_or_else(String::new, |cam| format!("{cam} cam: "));
        let count = |bearing| row.evidence.iter().filter(|e| e.bearing == bearing).count();
        lines.push(format!(
            "  {:<15}{of}{} ({} for, {} against, {} not shown)",
            standing_word(row.standing),
            row.cause.words(),
            count(Bearing::Supports),
            count(Bearing::Contradicts),
            count(Bearing::NotShown)
        ));
        if row.standing == Standing::Supported {
            lines.extend(evidence(survey, row));
        }
    }
    if let Some(check) = &findings.next_check {
        lines.push(format!("next check: {}", check.action));
        lines.extend(findings.cautions.iter().map(|c| format!("  mind: {c}")));
    }
    for code in &findings.codes {
        lines.push(format!("{}: {}", code.code, code.meaning));
        lines.push(format!(
            "  {}: {}",
            bearing_word(code.bearing),
            code.measured
        ));
    }
}

/// What speaks for a cause, with its time.
fn evidence(survey: &Survey, row: &CauseRow) -> Vec<String> {
    (row.evidence.iter())
        .filter(|e| e.bearing == Bearing::Supports)
        .map(|e| {
            let at = e.at.map_or_else(String::new, |at| {
                format!(" at {:.1} s", survey.seconds_at(at))
            });
            format!("{:<17}{}{at}: {}", "", e.what, e.text)
        })
        .collect()
}
