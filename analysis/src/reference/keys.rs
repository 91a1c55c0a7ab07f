//! Fields of a reference's file that are not known, with where they stand.

use toml::de::{DeTable, DeValue};

const TOP: &[&str] = &[
    "form",
    "name",
    "origin",
    "made",
    "by",
    "source",
    "vehicle",
    "note",
    "engine",
    "conditions",
    "cams",
    "parts",
];
const ENGINE: &[&str] = &["name", "wheel", "sensor", "active_edge", "gap_to_tdc"];
const CONDITIONS: &[&str] = &["speed", "oil"];
const SPEED: &[&str] = &["low", "high"];
const CAM: &[&str] = &[
    "cam",
    "tolerance",
    "uncertainty",
    "engines",
    "windows",
    "phaser",
    "rest",
    "edges",
];
const EDGE: &[&str] = &["mark", "window", "angle", "spread", "count"];
const PART: &[&str] = &[
    "name", "vehicle", "source", "made", "offsets", "outlier", "left_out",
];

/// The fields of the table of this name.
fn known(table: &str) -> &'static [&'static str] {
    match table {
        "engine" => ENGINE,
        "conditions" => CONDITIONS,
        "speed" => SPEED,
        "cams" => CAM,
        "edges" => EDGE,
        "parts" => PART,
        _ => TOP,
    }
}

/// The first field that is not known, and where it stands in the text.
pub(super) fn unknown(table: &DeTable<'_>) -> Option<(usize, String)> {
    let mut found = Vec::new();
    look(table, "", &mut found);
    found.into_iter().min()
}

fn look(table: &DeTable<'_>, name: &str, found: &mut Vec<(usize, String)>) {
    for (key, value) in table {
        let word: &str = key.get_ref().as_ref();
        if !known(name).contains(&word) {
            found.push((key.span().start, word.to_owned()));
            continue;
        }
        match value.get_ref() {
            DeValue::Table(inner) => look(inner, word, found),
            DeValue::Array(items) => {
                for item in items.iter() {
                    if let DeValue::Table(inner) = item.get_ref() {
                        look(inner, word, found);
                    }
                }
            }
            DeValue::String(_)
            | DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_) => {}
        }
    }
}
