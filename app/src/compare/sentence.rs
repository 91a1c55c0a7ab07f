//! What a comparison says, in plain words: what changed beyond the uncertainty and what did not. It
//! never says which part is at fault.

use super::Comparison;
use super::side::Side;
use super::table::range;
use crate::figure;
use crate::screen::live::words;
use keyway_analysis::comparison::{Compared, Finding, Group, Verdict};

/// Changes that are named in the sentence; the rest is counted.
const NAMED: usize = 3;
/// What is worth naming when it has not changed.
const NOTABLE: [&str; 5] = [
    ".phase-at-rest",
    ".phase-driven",
    ".duty-driven",
    "idle-speed",
    "supply",
];

/// The sentence of the first and another.
pub fn summary(sides: &[Side], comparison: &Comparison) -> String {
    let (Some(base), Some(other)) = (sides.first(), sides.get(comparison.other)) else {
        return String::new();
    };
    let of = |is: fn(&Verdict) -> bool| comparison.rows.iter().filter(move |r| is(&r.verdict));
    let mut changed: Vec<&Compared> = of(|v| matches!(v, Verdict::Exceeds)).collect();
    // Where the cams stand first, and of each kind the clearest.
    changed.sort_by(|a, b| {
        let kind = weight(a.base.group).cmp(&weight(b.base.group));
        kind.then(clearness(b).total_cmp(&clearness(a)))
    });
    let states: Vec<&Compared> = of(|v| matches!(v, Verdict::Differs)).collect();
    let within = of(|v| matches!(v, Verdict::Within | Verdict::ExceedsAlone)).count();
    let mut sentences = Vec::new();
    let from = format!("From {} to {}", base.name, other.name);
    let told: Vec<String> = apart(&changed).iter().map(|row| change(row)).collect();
    if told.is_empty() && within == 0 && states.is_empty() {
        sentences.push(format!("{from} nothing can be compared."));
    } else if told.is_empty() {
        sentences.push(format!("{from} no figure changed beyond the uncertainty."));
    } else {
        let rest = match changed.len() - told.len() {
            0 => String::new(),
            1 => ", and 1 more figure changed".to_owned(),
            n => format!(", and {n} more figures changed"),
        };
        sentences.push(format!("{from} {}{rest}.", words::list(&told)));
    }
    if !states.is_empty() {
        let named: Vec<String> = states.iter().take(NAMED).map(|row| state(row)).collect();
        sentences.push(format!("{}.", words::capital(&words::list(&named))));
    }
    if within > 0 {
        let named: Vec<String> = (of(|v| matches!(v, Verdict::Within)))
            .filter(|row| NOTABLE.iter().any(|key| row.base.key.ends_with(key)))
            .filter(|row| !row.base.key.contains("edge-"))
            .take(NAMED)
            .map(|row| plain(&row.base.name))
            .collect();
        let rest = within - named.len();
        let named = match (named.is_empty(), rest) {
            (true, n) => count(n, "figure", "figures"),
            (false, 0) => words::list(&named),
            (false, n) => words::list(&[named, vec![format!("{n} more")]].concat()),
        };
        sentences.push(format!("Not beyond it: {named}."));
    }
    let apart = of(|v| matches!(v, Verdict::NotComparable(_))).count();
    let hidden = of(|v| matches!(v, Verdict::NotShown(_))).count();
    let open = match (apart, hidden) {
        (0, 0) => None,
        (0, n) => Some(format!("{n} not shown")),
        (n, 0) => Some(format!("{n} not comparable")),
        (n, m) => Some(format!("{n} not comparable and {m} not shown")),
    };
    sentences.extend(open.map(|words| format!("{words}: the table says why.")));
    sentences.join(" ")
}

/// The clearest changes, one of each cam and kind: edges that moved together are one change.
fn apart<'a>(changed: &[&'a Compared]) -> Vec<&'a Compared> {
    let mut named: Vec<&Compared> = Vec::new();
    for row in changed {
        let belongs =
            |other: &&Compared| other.base.group == row.base.group && cam(other) == cam(row);
        if named.len() < NAMED && !named.iter().any(belongs) {
            named.push(row);
        }
    }
    named
}

/// The order in which kinds of measures are told.
fn weight(group: Group) -> u8 {
    match group {
        Group::Position => 0,
        Group::Movement => 1,
        Group::Agreement => 2,
        Group::Command => 3,
        Group::Engine => 4,
        Group::Circuit => 5,
        Group::Recording => 6,
    }
}

fn cam(row: &Compared) -> &str {
    row.base.key.split('.').next().unwrap_or_default()
}

fn clearness(row: &Compared) -> f64 {
    let difference = row.difference.filter(|d| d.uncertainty > 0.0);
    let times = difference.map_or(f64::INFINITY, |d| d.by.abs() / d.uncertainty);
    // Of edges, their mean, and what else moved with it, the mean is the one to name.
    if row.base.key.contains("phase-at-rest") && !row.base.key.contains("edge-") {
        4.0 * times
    } else {
        times
    }
}

fn change(row: &Compared) -> String {
    let Some(difference) = row.difference else {
        return row.base.name.clone();
    };
    let digits = row.base.digits;
    format!(
        "{} changed by {} {} {}",
        plain(&row.base.name),
        figure::signed(difference.by, digits),
        range(difference.half_width, digits),
        row.base.unit
    )
}

/// A name within a sentence.
fn plain(name: &str) -> String {
    name.replace(", ", " ")
}

fn state(row: &Compared) -> String {
    match (&row.base.finding, &row.other.finding) {
        (Finding::State(a), Finding::State(b)) => {
            format!(
                "{} was \u{201c}{a}\u{201d} and is \u{201c}{b}\u{201d}",
                plain(&row.base.name)
            )
        }
        _ => row.base.name.clone(),
    }
}

fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
