//! What is covered in names, and that the document knows every column.

use super::columns;
use super::row::hidden;
use crate::exchange::results;
use crate::job::card::Card;
use crate::setup::Setup;

#[test]
fn plates_are_covered_however_they_are_written() {
    let card = Card {
        plate: "KW-77 ab".to_owned(),
        vin: "XKW00000000000001".to_owned(),
        ..Card::default()
    };
    for (words, covered) in [
        ("kw77AB before.mcap", "… before.mcap"),
        ("2026-11-30 KW 77-AB.mcap", "2026-11-30 ….mcap"),
        ("KW77AB and kw 77 ab", "… and …"),
        ("xkw00000000000001", "…"),
        ("before.mcap", "before.mcap"),
    ] {
        assert_eq!(hidden(words, &card, false), covered);
        assert_eq!(hidden(words, &card, true), words);
    }
    // Two signs would cover half of every name.
    let short = Card {
        plate: "a1".to_owned(),
        ..Card::default()
    };
    assert_eq!(hidden("a1.mcap", &short, false), "a1.mcap");
}

#[test]
fn the_document_describes_every_column() {
    let document = include_str!("../../../EXCHANGE.md");
    let tables: Vec<&str> = document.lines().filter(|l| l.starts_with("| `")).collect();
    let is_described = |name: &str| tables.iter().any(|l| l.contains(&format!("`{name}`")));
    for column in columns::all(true) {
        assert!(is_described(&column.name), "{}", column.name);
    }
    let sheet = Setup::built_in().unwrap().sheet;
    for column in results::columns::of(&sheet) {
        // One cam, one edge and one cylinder stand for all of them.
        let name = column.name.replace("exhaust", "intake");
        let of_another = ["edge_", "cylinder_"].iter().any(|what| {
            let number = name.split_once(what).map(|(_, rest)| rest);
            number.is_some_and(|rest| !rest.starts_with("1_"))
        });
        assert!(of_another || is_described(&name), "{name}");
    }
}
