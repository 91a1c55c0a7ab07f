//! What the Findings screen shows, as data: the causes with how they stand, and the evidence of each.

use super::{Findings, verdict};
use crate::exhibit::scene::{Scene, Value};
use crate::screen::live::words;
use keyway_analysis::findings::{Bearing, CauseRow, Standing};

impl Findings {
    /// What is on the screen as data, to be kept as an exhibit; none before anything was measured.
    pub fn scene(&self) -> Option<Scene> {
        let snapshot = self.snapshot.as_ref()?;
        let rows = self.rows();
        let subject = self.subject()?;
        let (title, mut sentence) = verdict::summary(&rows);
        let next = snapshot.findings.next_check.as_ref();
        if let Some(next) = next.filter(|n| n.cam == subject || n.cam.is_none()) {
            sentence = format!("{sentence} Next check: {}", next.action);
        }
        if self.share.is_some_and(|share| share < 1.0) {
            sentence = format!("{sentence} The recording was not measured to its end yet.");
        }
        let about = verdict::subject(subject);
        let mut values: Vec<Value> = rows.into_iter().map(cause).collect();
        values.extend(snapshot.findings.codes.iter().map(|code| Value {
            name: format!("{}: {}", code.code, code.meaning),
            figure: verdict::bearing_short(code.bearing).to_owned(),
            quality: code.measured.clone(),
        }));
        Some(Scene {
            title: format!("{about}: {title}"),
            screen: self.title().to_owned(),
            sentence,
            values,
            ..Scene::default()
        })
    }
}

/// A cause with what bears on it.
fn cause(row: &CauseRow) -> Value {
    let told = |bearing, how: &str| {
        let mut found: Vec<(Vec<&str>, &str)> = Vec::new();
        for piece in row.evidence.iter().filter(|e| e.bearing == bearing) {
            let text = piece.text.trim_end_matches('.');
            // The same finding under several headings is told once.
            match found.iter_mut().find(|(_, told)| *told == text) {
                Some((whats, _)) => whats.push(piece.what),
                None => found.push((vec![piece.what], text)),
            }
        }
        let found: Vec<_> = found
            .into_iter()
            .map(|(whats, text)| format!("{text} ({})", whats.join(", ")))
            .collect();
        (!found.is_empty()).then(|| format!("{how}: {}.", found.join("; ")))
    };
    let (first, second) = (
        told(Bearing::Supports, "For it"),
        told(Bearing::Contradicts, "Against it"),
    );
    // What decides how it stands comes first.
    let told: Vec<_> = match row.standing {
        Standing::Contradicted => [second, first],
        Standing::Supported | Standing::Open => [first, second],
    }
    .into_iter()
    .flatten()
    .collect();
    Value {
        name: words::capital(row.cause.words()),
        figure: verdict::standing(row.standing).to_owned(),
        quality: if told.is_empty() {
            "nothing shown".to_owned()
        } else {
            told.join(" ")
        },
    }
}
