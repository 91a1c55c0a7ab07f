//! A comparison as text, for people.

use super::sentence::summary;
use super::side::Side;
use super::{Comparison, letters};
use crate::figure;
use keyway_analysis::comparison::{Compared, Finding, Measure, Verdict};

/// What a measure is in one recording, without its range.
pub fn value(measure: &Measure) -> String {
    match &measure.finding {
        Finding::Figure(e) => figure::plain(e.value, measure.digits),
        Finding::Count(tally) => figure::plain(tally.per_minute(), measure.digits),
        Finding::Alone(value, _) => figure::plain(*value, measure.digits),
        Finding::State(words) => words.clone(),
        Finding::NotShown(_) => figure::NONE.to_owned(),
    }
}

/// The half width of a range: "± 0.04"; more digits than the figure where it would be nought.
pub fn range(half_width: f64, digits: usize) -> String {
    let least = 10_f64.powi(-i32::try_from(digits).unwrap_or(0));
    let digits = if half_width > 0.0 && half_width < least {
        digits + 1
    } else {
        digits
    };
    let written = figure::plain(half_width, digits);
    if half_width > 0.0 && written.chars().all(|c| c == '0' || c == '.') {
        let smallest = 10_f64.powi(-i32::try_from(digits).unwrap_or(0));
        return format!("± <{}", figure::plain(smallest, digits));
    }
    format!("± {written}")
}

/// The difference and the half width of its 95 % range; dashes where there is none.
pub fn difference(row: &Compared) -> [String; 2] {
    match row.difference {
        Some(d) => [
            figure::signed(d.by, row.base.digits),
            range(d.half_width, row.base.digits),
        ],
        None => [figure::NONE.to_owned(), String::new()],
    }
}

/// What it comes to, in a word.
pub fn word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Exceeds => "exceeds",
        Verdict::ExceedsAlone => "exceeds alone",
        Verdict::Within => "within",
        Verdict::Differs => "differs",
        Verdict::Alike => "alike",
        Verdict::NotComparable(_) => "not comparable",
        Verdict::NotShown(_) => "not shown",
    }
}

/// Why there is no difference; none if there is one.
pub fn reason(verdict: &Verdict) -> Option<&str> {
    match verdict {
        Verdict::NotComparable(why) | Verdict::NotShown(why) => Some(why),
        Verdict::Exceeds
        | Verdict::ExceedsAlone
        | Verdict::Within
        | Verdict::Differs
        | Verdict::Alike => None,
    }
}

/// How the judgement is to be read.
pub fn legend(comparison: &Comparison) -> String {
    let tested = comparison.rows.iter().filter(|r| r.difference.is_some());
    let n = tested.count();
    let engines = if comparison.relation.same_engine {
        "One engine."
    } else {
        "Different wheels and sensors: the tolerance in the sheet counts."
    };
    format!(
        "exceeds: beyond chance with all {n} figures considered (Holm, 5 %). exceeds alone: outside its own \
         95 % range, as one in twenty is by chance. {engines}"
    )
}

/// Several lines, without a newline at the end.
pub fn table(sides: &[Side], comparisons: &[Comparison]) -> String {
    let mut lines: Vec<String> = (sides.iter().zip(letters()))
        .map(|(side, letter)| {
            let name = if side.name == letter {
                String::new()
            } else {
                format!("{}: ", side.name)
            };
            format!(
                "{letter}  {name}{}, {}, {:.1} s",
                side.file.display(),
                side.engine,
                side.seconds
            )
        })
        .collect();
    for comparison in comparisons {
        let (Some(base), Some(other)) = (sides.first(), sides.get(comparison.other)) else {
            continue;
        };
        lines.push(String::new());
        lines.push(summary(sides, comparison));
        lines.push(String::new());
        lines.push(format!(
            "{:<46}{:<8}{:>16}{:>16}{:>12}{:>11}  ",
            "",
            "unit",
            short(&base.name),
            short(&other.name),
            "difference",
            "95 %"
        ));
        for row in &comparison.rows {
            let [by, half] = difference(row);
            let why = reason(&row.verdict).map_or_else(String::new, |why| format!(": {why}"));
            lines.push(format!(
                "{:<46}{:<8}{:>16}{:>16}{by:>12}{half:>11}  {}{why}",
                row.base.name,
                row.base.unit,
                short(&value(&row.base)),
                short(&value(&row.other)),
                word(&row.verdict),
            ));
        }
        lines.push(String::new());
        lines.push(legend(comparison));
    }
    lines.join("\n")
}

/// No wider than a column.
fn short(words: &str) -> String {
    if words.chars().count() <= 15 {
        return words.to_owned();
    }
    words.chars().take(14).chain(['…']).collect()
}
