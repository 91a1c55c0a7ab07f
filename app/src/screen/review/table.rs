//! What the cursors say, as lines: times, the turn of the crank, and a line for each lead.

use super::Opened;
use super::axis;
use super::picture::NAMES;
use crate::figure;
use crate::review::between::{Between, LeadBetween, Turned};
use crate::screen::live::words;
use keyway_analysis::lead::Role;

/// A line with a name and a figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// What it is.
    pub name: String,
    /// The figure, or a dash.
    pub figure: String,
    /// Why it is not known; empty when it is.
    pub why: String,
}

/// A lead at the cursors.
#[derive(Debug, Clone, PartialEq)]
pub struct LeadLine {
    /// What it is connected to.
    pub role: Role,
    /// Its name.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// Values at A and B, and B less A.
    pub at: [String; 3],
    /// Mean, least and greatest between.
    pub between: [String; 3],
}

fn known(name: &str, figure: String) -> Line {
    Line {
        name: name.to_owned(),
        figure,
        why: String::new(),
    }
}

fn unknown(name: &str, why: &str) -> Line {
    Line {
        name: name.to_owned(),
        figure: figure::NONE.to_owned(),
        why: why.to_owned(),
    }
}

/// Times and angles.
pub fn lines(opened: &Opened) -> Vec<Line> {
    let mut lines = Vec::new();
    // As many digits as a sample needs.
    let digits = if opened.rate > 100_000.0 { 6 } else { 5 };
    for (name, at) in NAMES.iter().zip(opened.cursors) {
        if let Some(at) = at {
            lines.push(known(name, axis::clock(at, digits)));
        }
    }
    let [Some(a), Some(b)] = opened.cursors else {
        return lines;
    };
    let apart = b - a;
    lines.push(known("Δt", axis::duration(apart)));
    lines.push(if apart.abs() > 1e-9 {
        known("1/Δt", axis::frequency(1.0 / apart.abs()))
    } else {
        unknown("1/Δt", "cursors on each other")
    });
    let (crank, cam) = ("Δ crank", "Δ cam");
    match opened.between.as_deref().map(|b| &b.turned) {
        None | Some(Turned::Working) => {
            lines.push(unknown(crank, "measuring…"));
            lines.push(unknown(cam, "measuring…"));
        }
        Some(Turned::Unknown(why)) => {
            lines.push(unknown(crank, why));
            lines.push(unknown(cam, why));
        }
        Some(Turned::By(by, at)) => {
            lines.push(known(crank, format!("{}°", figure::signed(by.0, 1))));
            lines.push(known(cam, format!("{}°", figure::signed(by.0 / 2.0, 2))));
            for (name, angle) in NAMES.iter().zip(at) {
                let name = format!("{name} in the cycle");
                lines.push(match angle {
                    Some(angle) => known(&name, format!("{}°", figure::plain(angle.degrees(), 1))),
                    None => unknown(&name, "cycle not known there"),
                });
            }
        }
    }
    lines
}

/// The leads.
pub fn leads(between: &Between) -> Vec<LeadLine> {
    between.leads.iter().map(lead).collect()
}

fn lead(lead: &LeadBetween) -> LeadLine {
    let [a, b] = lead.at;
    let size = [a, b]
        .into_iter()
        .flatten()
        .chain(lead.ends.into_iter().flatten())
        .fold(0.0, |m: f64, v| m.max(v.abs()));
    let decimals = if size < 10.0 {
        3
    } else if size < 100.0 {
        2
    } else {
        1
    };
    let plain = |v: Option<f64>| v.map_or(figure::NONE.to_owned(), |v| figure::plain(v, decimals));
    let difference = a.zip(b).map(|(a, b)| b - a);
    let ends = lead.ends;
    LeadLine {
        role: lead.role,
        name: words::lead(lead.role),
        unit: lead.unit.clone(),
        at: [
            plain(a),
            plain(b),
            difference.map_or(figure::NONE.to_owned(), |d| figure::signed(d, decimals)),
        ],
        between: [
            plain(lead.mean),
            plain(ends.map(|e| e[0])),
            plain(ends.map(|e| e[1])),
        ],
    }
}
