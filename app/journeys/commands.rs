//! The commands as another program calls them: arguments, output, exit code.

use serde_json::Value;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};

fn keyway(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_keyway"))
        .args(arguments)
        .output()
        .unwrap()
}

fn json(output: &Output) -> Vec<Value> {
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

/// It fails with this exit code, says this on standard error in one line, and prints nothing.
fn fails(arguments: &[&str], code: i32, words: &str) {
    let output = keyway(arguments);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
    assert!(said.contains(words), "{arguments:?}: {said}");
    assert!(output.stdout.is_empty(), "{arguments:?}");
    if code == 1 {
        assert_eq!(said.lines().count(), 1, "{arguments:?}: {said}");
    }
}

fn file(name: &str) -> PathBuf {
    std::env::temp_dir().join(format!("keyway-{}-{name}", std::process::id()))
}

#[test]
fn lists_are_json_where_asked() {
    let ports = json(&keyway(&["ports", "--json"]));
    assert!(ports[0].is_array());
    let scenarios = json(&keyway(&["scope", "--list", "--json"]));
    let names: Vec<&str> = scenarios[0]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["name"].as_str().unwrap())
        .collect();
    for name in ["default", "healthy", "lead-off", "stuck-at-rest"] {
        assert!(names.contains(&name), "{names:?}");
    }
}

#[test]
fn watch_prints_figures_with_their_quality() {
    let output = keyway(&["watch", "--scenario", "healthy", "--seconds", "2", "--json"]);
    assert_eq!(output.status.code(), Some(0));
    let lines = json(&output);
    assert!(lines.len() >= 3, "{} lines", lines.len());
    let last = lines.last().unwrap();
    assert_eq!(last["speed_rpm"]["quality"], "valid");
    let speed = last["speed_rpm"]["value"].as_f64().unwrap();
    assert!((600.0..1000.0).contains(&speed), "{speed}");
    assert_eq!(last["cams"].as_array().unwrap().len(), 2);
    assert_eq!(last["leads"].as_array().unwrap().len(), 8);
}

#[test]
fn watch_tells_a_disagreement_by_its_exit_code() {
    let output = keyway(&[
        "watch",
        "--scenario",
        "intake-chain-one-tooth",
        "--seconds",
        "6",
        "--json",
    ]);
    let lines = json(&output);
    let disagreed = |line: &Value| {
        let cams = line["cams"].as_array().unwrap();
        cams.iter().any(|c| c["disagrees"] == true)
    };
    assert!(lines.iter().any(disagreed), "{:?}", lines.last());
    assert_eq!(output.status.code(), Some(3));
}

#[test]
fn record_then_analyse() {
    let (mcap, svg, png) = (file("a.mcap"), file("a.svg"), file("a.png"));
    let path = mcap.to_str().unwrap();
    let output = keyway(&[
        "record",
        "-o",
        path,
        "--seconds",
        "3",
        "--note",
        "cold start",
    ]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    fails(
        &["record", "-o", path, "--seconds", "1"],
        1,
        "exists already",
    );
    let output = keyway(&["analyse", path, "--json", "--chart", svg.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let stream = &json(&output)[0]["streams"][0];
    assert!(stream["seconds"].as_f64().unwrap() > 2.5);
    assert!(stream["quality"]["revolutions"].as_u64().unwrap() > 20);
    let phase = &stream["cams"][0]["phase_deg"]["value"];
    assert!(phase["mean"].as_f64().unwrap().abs() < 1.0, "{phase}");
    assert!(std::fs::read_to_string(&svg).unwrap().contains("</svg>"));
    let output = keyway(&["analyse", path, "--chart", png.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    // PNG signature: RFC 2083, 3.1.
    assert!(
        std::fs::read(&png)
            .unwrap()
            .starts_with(b"\x89PNG\r\n\x1a\n")
    );
    fails(&["analyse", path, "--chart", "a.gif"], 2, ".svg or .png");
    for made in [mcap, svg, png] {
        std::fs::remove_file(made).unwrap();
    }
}

#[test]
fn bad_input_gets_one_clear_sentence() {
    let bad = file("bad.toml");
    std::fs::write(&bad, "title = \"x\"\ncolour = 3\n").unwrap();
    let text = file("text.mcap");
    std::fs::write(&text, "not a recording").unwrap();
    let (bad_path, text_path) = (bad.to_str().unwrap(), text.to_str().unwrap());
    fails(
        &["watch", "--port", "/dev/keyway-not-there"],
        1,
        "There is no port",
    );
    fails(
        &["watch", "--scenario", "perfect"],
        1,
        "no scenario called 'perfect'",
    );
    fails(&["watch", "--scenario", bad_path], 1, "line 2");
    fails(&["watch", "--sheet", bad_path], 1, "line ");
    fails(
        &["watch", "--leads", "/keyway-not-there"],
        1,
        "no such file",
    );
    fails(&["analyse", text_path], 1, "is not a recording");
    fails(&["--play", text_path], 1, "is not a recording");
    fails(&["watch", "--seconds", "0"], 2, "above 0");
    fails(
        &["watch", "--port", "a", "--scenario", "b"],
        2,
        "cannot be used with",
    );
    fails(&["fly"], 2, "unrecognized subcommand");
    std::fs::remove_file(bad).unwrap();
    std::fs::remove_file(text).unwrap();
}

#[cfg(unix)]
#[test]
fn a_scope_serves_a_watcher_by_its_path() {
    use std::io::{BufRead, BufReader};
    let mut scope = Command::new(env!("CARGO_BIN_EXE_keyway"))
        .args(["scope", "--scenario", "healthy"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut path = String::new();
    let _bytes = BufReader::new(scope.stdout.take().unwrap())
        .read_line(&mut path)
        .unwrap();
    let output = keyway(&["watch", "--port", path.trim(), "--seconds", "1", "--json"]);
    scope.kill().unwrap();
    let _status = scope.wait().unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(!json(&output).is_empty());
}

#[test]
fn logs_go_to_the_file_and_never_into_the_output() {
    let log = file("log.txt");
    let arguments = ["watch", "--seconds", "1", "--json", "-v", "--log-file"];
    let output = keyway(&[&arguments[..], &[log.to_str().unwrap()]].concat());
    assert!(!json(&output).is_empty());
    assert!(output.stderr.is_empty(), "{output:?}");
    let logged = std::fs::read_to_string(&log).unwrap();
    assert!(logged.contains("virtual scope"), "{logged}");
    std::fs::remove_file(log).unwrap();
}
