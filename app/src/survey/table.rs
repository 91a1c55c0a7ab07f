//! The text form of a survey, for people.

use super::Survey;
use super::spread::Spread;
use crate::screen::hookup::proposal::Proposal;
use keyway_analysis::damage::Flaw;
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::lead::Role;

/// Several lines, without a newline at the end.
pub fn table(survey: &Survey) -> String {
    let counts = survey.last.counts;
    let mut lines = vec![
        survey.title.clone(),
        format!(
            "{:.1} s at {:.0} samples a second; {} revolutions, {}, {} samples lost, {} stray cam edges",
            survey.seconds,
            survey.rate_hz,
            counts.revolutions,
            number(counts.gaps, "gap", "gaps"),
            counts.lost,
            counts.stray_cam_edges,
        ),
        format!("wheel of the engine sheet: {}", survey.sheet.crank.wheel),
        format!("its signal: {}", recognised(survey)),
        format!("crank pattern lost: {}", losses(&survey.crank.losses)),
        format!("damaged teeth: {}", teeth(&survey.last.damaged_teeth)),
        String::new(),
        format!(
            "{:<26}{:>10}{:>10}{:>10}{:>10}",
            "", "mean", "spread", "lowest", "highest"
        ),
        row("speed, rpm", survey.speed, 0),
    ];
    for cam in &survey.cams {
        lines.push(row(&format!("{} phase, °", cam.id), cam.phase(), 2));
        lines.push(row("  rising edges", cam.phase_of(EdgeKind::Rising), 2));
        lines.push(row("  falling edges", cam.phase_of(EdgeKind::Falling), 2));
        lines.push(row(&format!("{} duty, %", cam.id), cam.duty(), 1));
        lines.push(row("  frequency, Hz", cam.frequency(), 1));
    }
    for cam in survey.cams.iter().filter(|c| c.phase().is_some()) {
        lines.push(String::new());
        let noise = cam
            .noise()
            .map_or_else(String::new, |n| format!("; from cycle to cycle {n:.3}°"));
        lines.push(format!("{} cam, edges of the pattern{noise}", cam.id));
        lines.push(format!(
            "{:<12}{:>12}{:>12}{:>10}{:>10}{:>10}",
            "", "reference", "measured", "phase", "spread", "edges"
        ));
        for (i, edge) in cam.edges.iter().enumerate() {
            let kind = match edge.kind {
                EdgeKind::Rising => "rising",
                EdgeKind::Falling => "falling",
            };
            lines.push(match (edge.measured(), edge.phase()) {
                (Some(measured), Some(phase)) => format!(
                    "{:<12}{:>12.2}{:>12.2}{:>10}{:>10.3}{:>10}",
                    format!("{i} {kind}"),
                    edge.reference,
                    measured,
                    plain(phase.mean, 2),
                    phase.spread,
                    phase.points
                ),
                _ => format!(
                    "{:<12}{:>12.2}{:>12}",
                    format!("{i} {kind}"),
                    edge.reference,
                    "--"
                ),
            });
        }
    }
    lines.push(String::new());
    for cam in &survey.cams {
        let states: Vec<String> = cam
            .states
            .iter()
            .map(|(state, seconds)| format!("{state} {seconds:.1} s"))
            .collect();
        lines.push(format!("{}: {}", cam.id, states.join(", ")));
    }
    lines.push(String::new());
    lines.extend(survey.last.cylinders.rows());
    lines.push(String::new());
    for event in &survey.events {
        let at = survey.seconds_at(event.at);
        lines.push(format!("{at:8.2} s  {}", event.text));
    }
    lines.join("\n").trim_end().to_owned()
}

fn number(n: u64, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// What the crank's signal looks like, beside the sheet.
fn recognised(survey: &Survey) -> String {
    let crank = survey.last.leads.iter().find(|l| l.role == Role::Crank);
    let Some(seen) = crank.and_then(|l| l.recognition.as_deref()) else {
        return "not enough seen to recognise a wheel".to_owned();
    };
    match Proposal::of(&survey.sheet, Role::Crank, seen) {
        None => "no wheel recognised".to_owned(),
        Some(proposal) => {
            let parts = [
                Some(proposal.looks),
                proposal.sheet,
                Some(proposal.others).filter(|o| !o.is_empty()),
            ];
            parts.into_iter().flatten().collect::<Vec<_>>().join(" ")
        }
    }
}

fn teeth(flaws: &[(usize, Flaw)]) -> String {
    if flaws.is_empty() {
        return "none seen".to_owned();
    }
    let words = flaws.iter().map(|(tooth, flaw)| {
        let what = match flaw {
            Flaw::Missing => "missing",
            Flaw::Misplaced => "out of place",
        };
        format!("tooth {} after the gap {what}", tooth + 1)
    });
    words.collect::<Vec<_>>().join(", ")
}

/// Instants that are written out; more are only counted.
const MOST_INSTANTS: usize = 12;

fn losses(at: &[f64]) -> String {
    if at.is_empty() {
        return "never".to_owned();
    }
    let times: Vec<String> = at
        .iter()
        .take(MOST_INSTANTS)
        .map(|t| format!("{t:.2}"))
        .collect();
    let more = if at.len() > MOST_INSTANTS {
        ", …"
    } else {
        ""
    };
    let number = number(at.len() as u64, "time", "times");
    format!("{number}, at {} s{more}", times.join(", "))
}

fn row(name: &str, spread: Option<Spread>, decimals: usize) -> String {
    match spread {
        None => format!("{name:<26}{:>10}", "--"),
        Some(s) => format!(
            "{name:<26}{:>10}{:>10}{:>10}{:>10}",
            plain(s.mean, decimals),
            plain(s.spread, decimals),
            plain(s.low, decimals),
            plain(s.high, decimals)
        ),
    }
}

/// A figure without the sign that a zero has from rounding.
fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
        _ => text,
    }
}
