//! What cannot be understood is said with its place.

use super::super::error::ImportError;
use super::super::{Watch, run};
use super::*;
use std::sync::atomic::AtomicBool;

fn refused(text: &str, plan: &str, words: &[&str]) {
    let error = import(text.as_bytes(), plan)
        .err()
        .unwrap_or_else(|| panic!("was imported:\n{text}"))
        .to_string();
    for word in words {
        assert!(error.contains(word), "{word:?} is not in: {error}");
    }
    assert!(error.contains("capture.csv"), "{error}");
}

/// A sound capture of forty rows, with one line of it replaced.
fn with(line: usize, other: &str) -> String {
    let mut lines: Vec<String> = vec!["time_ms;crank;supply".to_owned()];
    lines.extend((0..40).map(|i| format!("{i};{},5;13,5", i % 5)));
    lines[line - 1] = other.to_owned();
    lines.join("\n") + "\n"
}

#[test]
fn the_place_and_the_remedy_are_named() {
    refused(
        &with(17, "15;1.2.3;13,5"),
        "",
        &[
            "line 17, column 2 (\"crank\")",
            "expected a number with decimal comma",
            "found \"1.2.3\"",
            "plan",
        ],
    );
    refused(
        &with(17, "15;1,5;13,5;7"),
        "",
        &["line 17", "expected 3 cells, found 4"],
    );
    refused(
        &with(17, "15;1,5"),
        "",
        &["line 17", "expected 3 cells, found 2"],
    );
    refused(
        &with(17, "later;1,5;13,5"),
        "",
        &["line 17, column 1", "expected a time"],
    );
    refused(
        &with(17, "3;1,5;13,5"),
        "",
        &["line 17", "runs backwards, from 14 to 3"],
    );
    refused(
        &with(17, "14;1,5;13,5"),
        "",
        &["line 17", "the time 14 is there twice"],
    );
    refused(
        &with(17, "15;\"1,5;13,5"),
        "",
        &["line 17", "quotation mark"],
    );
}

#[test]
fn plans_that_do_not_fit() {
    let text = with(17, "15;1,5;13,5");
    let columns = |key: &str| format!("[[columns]]\ncolumn = {key}\n");
    refused(
        &text,
        &columns("\"cranc\""),
        &["\"cranc\"", "are called \"time\", \"crank\", \"supply\""],
    );
    refused(&text, &columns("4"), &["column 4", "columns 1 to 3"]);
    refused(&text, &columns("\"time\""), &["is the time"]);
    refused(&text, &columns("2\nfactor = 0"), &["factor"]);
    refused(
        &text,
        "[time]\nrate = 5000",
        &["1000.0 samples per second", "the plan 5000"],
    );
    refused(&text, "[time]\nrate = -1", &["must be above 0"]);
    refused(
        &text,
        &columns("2\nkind = \"edges\""),
        &["line 2", "a level, 0 or 1", "\"0,5\""],
    );
    let error = Plan::from_toml("[text]\ndelimiter = \"ab\"").unwrap_err();
    assert!(error.to_string().contains("a delimiter is"), "{error}");
    let error = Plan::from_toml("[[columns]]\ncolumn = 1\nunit = \"furlong\"").unwrap_err();
    assert!(error.to_string().contains("a unit is"), "{error}");
}

#[test]
fn captures_that_are_none() {
    refused("", "", &["no rows of numbers"]);
    refused(
        "Dear customer,\nplease find enclosed\n",
        "",
        &["no rows of numbers"],
    );
    refused(
        "time,crank\n0,1\n5,0\n10,1\n17,0\n",
        "",
        &["no unit", "[time] unit"],
    );
    refused(
        "time,crank\n0.0,1.5\n1.0,2.5\n5.0,2\n7.0,1\n7.5,3\n20.0,1\n21.0,0.5\n33.0,2\n",
        "",
        &["uneven times"],
    );
    refused(
        "time_ms,crank,supply\n0,1.5,13\n1,2.5,\n2,2.5,\n3,2.5,\n",
        "",
        &["\"supply\"", "hold"],
    );
    let folder = Folder::new();
    let error = run_quietly(
        &folder.0,
        &Plan::default(),
        &folder.0.join("o.mcap"),
        &Card::default(),
    );
    assert!(
        matches!(error, Err(ImportError::NoFile(_) | ImportError::Read(..))),
        "{error:?}"
    );
}

#[test]
fn nothing_is_overwritten_and_nothing_half_done_is_left() {
    let folder = Folder::new();
    let path = folder.capture(with(2, "0;0,5;13,5").as_bytes());
    let out = folder.0.join("out.mcap");
    std::fs::write(&out, "precious").unwrap();
    let error = run_quietly(&path, &Plan::default(), &out, &Card::default()).unwrap_err();
    assert!(error.to_string().contains("exists already"), "{error}");
    assert_eq!(std::fs::read(&out).unwrap(), b"precious");
    std::fs::remove_file(&out).unwrap();
    let mut long = String::from("time_ms,crank\n");
    for i in 0..40_000 {
        long += &format!("{i},{}.5\n", i % 7);
    }
    let path = folder.capture(long.as_bytes());
    // Stopped from its own report, in the second pass.
    let stop = AtomicBool::new(false);
    let watch = Watch {
        progress: &|p| stop.store(p.share() > 0.5, Ordering::Relaxed),
        stop: &stop,
    };
    let result = run(&path, &Plan::default(), &out, &Card::default(), watch);
    assert!(matches!(result, Err(ImportError::Stopped)), "{result:?}");
    assert!(!out.exists());
}
