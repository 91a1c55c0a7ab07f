//! The house rules, kept by a test. Each says in its name what holds.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Hard stop for one file, all lines counted.
const LONGEST_FILE: usize = 600;
/// Budget for code lines: half of all files, and nine of ten.
const MEDIAN_CODE: usize = 150;
const TENTH_CODE: usize = 400;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the package stands in the workspace")
        .to_owned()
}

/// All files under `folder`, relative to the root, built things left out.
fn files(folder: &str, extension: &str) -> Vec<(String, String)> {
    fn walk(folder: &Path, extension: &str, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let name = entry.file_name();
            let name = name.to_string_lossy();
            if name == "target" || name.starts_with('.') {
                continue;
            }
            if path.is_dir() {
                walk(&path, extension, found);
            } else if path.extension().is_some_and(|e| e == extension) {
                found.push(path);
            }
        }
    }
    let root = root();
    let mut found = Vec::new();
    walk(&root.join(folder), extension, &mut found);
    found.sort();
    found
        .into_iter()
        .map(|path| {
            let text = fs::read_to_string(&path).expect("sources are text");
            let name = path.strip_prefix(&root).expect("below the root");
            (name.to_string_lossy().replace('\\', "/"), text)
        })
        .collect()
}

fn sources() -> Vec<(String, String)> {
    let all = files("", "rs");
    assert!(all.len() > 30, "the sources were not found");
    all
}

/// Lines of code with their numbers; whole-line comments and blank lines left out.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .map(|(n, line)| (n + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty() && !line.starts_with("//"))
}

/// Fails with all offending lines if any file that `applies` has one of `words` in its code.
fn absent(rule: &str, applies: impl Fn(&str) -> bool, words: &[&str]) {
    let mut offences = Vec::new();
    let mut seen = 0;
    for (name, text) in sources().iter().filter(|(name, _)| applies(name)) {
        seen += 1;
        for (n, line) in code(text) {
            if words.iter().any(|word| line.contains(word)) {
                offences.push(format!("{name}:{n}: {line}"));
            }
        }
    }
    assert!(seen > 0, "the rule '{rule}' applies to no file");
    assert!(offences.is_empty(), "{rule}:\n{}", offences.join("\n"));
}

fn manifest(package: &str) -> toml::Table {
    let text = fs::read_to_string(root().join(package).join("Cargo.toml")).expect("a manifest");
    text.parse().expect("valid TOML")
}

fn depends(package: &str, on: &str) -> bool {
    let manifest = manifest(package);
    ["dependencies", "dev-dependencies", "build-dependencies"]
        .iter()
        .any(|kind| {
            manifest
                .get(*kind)
                .and_then(toml::Value::as_table)
                .is_some_and(|table| table.contains_key(on))
        })
}

#[test]
fn no_file_is_too_long_and_most_are_short() {
    let sources = sources();
    let long: Vec<_> = sources
        .iter()
        .filter(|(_, text)| text.lines().count() > LONGEST_FILE)
        .map(|(name, _)| name)
        .collect();
    assert!(long.is_empty(), "divide by what it is about: {long:?}");
    let mut lines: Vec<_> = sources.iter().map(|(_, t)| code(t).count()).collect();
    lines.sort_unstable();
    let (median, tenth) = (lines[lines.len() / 2], lines[lines.len() * 9 / 10]);
    assert!(median <= MEDIAN_CODE, "median {median} code lines");
    assert!(tenth <= TENTH_CODE, "90th percentile {tenth} code lines");
}

#[test]
fn files_are_named_by_a_noun_of_the_trade() {
    let vague = [
        "util", "utils", "common", "helper", "helpers", "manager", "misc", "core",
    ];
    for (name, _) in sources() {
        let parts: Vec<_> = name.trim_end_matches(".rs").split(['/', '_']).collect();
        let found = parts.iter().find(|part| vague.contains(part));
        assert!(found.is_none(), "{name} does not say what it holds");
    }
}

#[test]
fn only_the_port_names_the_serial_library() {
    absent(
        "only acquisition/src/port.rs opens serial ports",
        |name| name != "acquisition/src/port.rs",
        &[concat!("tokio_", "serial"), concat!("serial", "port::")],
    );
    let port = fs::read_to_string(root().join("acquisition/src/port.rs")).expect("the port");
    assert!(port.contains(concat!("tokio_", "serial")));
}

#[test]
fn only_the_app_knows_the_screen() {
    absent(
        "only app draws",
        |name| !name.starts_with("app/"),
        &[concat!("ice", "d::"), concat!("plot", "ters::")],
    );
    for package in ["protocol", "acquisition", "analysis", "tests"] {
        assert!(!depends(package, concat!("ice", "d")), "{package} draws");
    }
    assert!(depends("app", concat!("ice", "d")));
}

#[test]
fn acquisition_and_analysis_do_not_know_each_other() {
    assert!(!depends("analysis", "keyway-acquisition"));
    assert!(!depends("acquisition", "keyway-analysis"));
    assert!(!depends("analysis", "keyway-protocol"));
    for (package, other) in [
        ("protocol", "keyway-acquisition"),
        ("protocol", "keyway-analysis"),
    ] {
        assert!(!depends(package, other));
    }
    assert!(depends("app", "keyway-acquisition") && depends("app", "keyway-analysis"));
}

#[test]
fn the_analysis_is_pure() {
    let words = [
        "std::fs",
        "std::time",
        "std::net",
        "std::thread",
        "std::io",
        "std::env",
        "tokio::",
        "tracing::",
        "println!",
        "async fn",
        "Instant::now",
    ];
    absent(
        "no I/O, clock, async or logging in analysis",
        |n| n.starts_with("analysis/src"),
        &words,
    );
    for name in ["tokio", "tracing", "crossbeam-channel", "rand"] {
        assert!(!depends("analysis", name), "analysis depends on {name}");
    }
}

#[test]
fn the_protocol_needs_neither_std_nor_memory() {
    let text = fs::read_to_string(root().join("protocol/src/lib.rs")).expect("the protocol");
    assert!(text.contains("#![no_std]"));
    for (name, text) in files("protocol/src", "rs") {
        if name.contains("/tests") {
            continue;
        }
        // Tests, which have std, stand at the end of a file.
        let plain = text.split("#[cfg(test)]").next().unwrap_or_default();
        for (n, line) in code(plain) {
            let found = ["std::", "alloc::", "extern crate", "Vec<", "String"]
                .iter()
                .find(|word| line.contains(**word));
            assert!(found.is_none(), "{name}:{n}: {line}");
        }
    }
}

#[test]
fn nothing_is_left_for_later() {
    absent(
        "unfinished or empty checks",
        |name| name != "tests/it/tidy.rs",
        &[
            concat!("to", "do!("),
            concat!("un", "implemented!("),
            "#[ignore",
            "assert!(true",
            "TODO",
            "FIXME",
            "XXX",
        ],
    );
    for (name, text) in sources() {
        if name != "tests/it/tidy.rs" {
            let found = ["TODO", "FIXME"].iter().find(|word| text.contains(**word));
            assert!(found.is_none(), "{name} has a {found:?}");
        }
    }
}

#[test]
fn the_top_level_holds_what_it_should() {
    let allowed: BTreeSet<_> = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "protocol",
        "acquisition",
        "analysis",
        "app",
        "tests",
        "target",
    ]
    .into();
    for entry in fs::read_dir(root()).expect("the root").flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let known = name.starts_with('.') || name.ends_with(".mcap") || allowed.contains(&*name);
        assert!(known, "{name} does not belong on the top level");
    }
}

/// The code map: under a heading with a folder in backticks, rows that begin with a module in backticks.
fn code_map(text: &str) -> BTreeSet<String> {
    let mut folder = None;
    let mut modules = BTreeSet::new();
    for line in text.lines() {
        let word = line.split('`').nth(1);
        if line.starts_with('#') {
            folder = word
                .filter(|w| w.contains('/'))
                .map(|w| w.trim_end_matches('/'));
        } else if let (Some(folder), Some(word), true) = (folder, word, line.starts_with("| `")) {
            let _ = modules.insert(format!("{folder}/{word}.rs"));
        }
    }
    modules
}

#[test]
fn the_developers_page_names_every_module_and_no_other() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).expect("DEVELOPERS.md");
    let named = code_map(&text);
    let there: BTreeSet<_> = sources()
        .into_iter()
        .map(|(name, _)| name)
        .filter(|name| !name.ends_with("/mod.rs"))
        .collect();
    let unnamed: Vec<_> = there.difference(&named).collect();
    let stale: Vec<_> = named.difference(&there).collect();
    assert!(
        unnamed.is_empty(),
        "DEVELOPERS.md does not name {unnamed:#?}"
    );
    assert!(
        stale.is_empty(),
        "DEVELOPERS.md names what is not there: {stale:#?}"
    );
}

#[test]
fn links_in_the_documents_lead_somewhere() {
    let mut checked = 0;
    for (name, text) in files("", "md") {
        let folder = root().join(&name).parent().expect("a folder").to_owned();
        for link in text
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split(')').next())
        {
            let path = link.split('#').next().unwrap_or_default();
            if path.is_empty() || path.contains("://") {
                continue;
            }
            checked += 1;
            assert!(folder.join(path).exists(), "{name}: no {path}");
        }
    }
    assert!(checked > 3, "{checked} links");
}

#[test]
fn the_readme_gives_the_commands_that_are_checked() {
    let readme = fs::read_to_string(root().join("README.md")).expect("README.md");
    let check = fs::read_to_string(root().join(".ci/run")).expect(".ci/run");
    assert!(readme.contains("cargo run --release"));
    let test = "cargo test --release --workspace";
    assert!(readme.contains(test) && check.contains(test));
}
