//! What is left of a recording after a kill or a cut, as a technician meets it.

use serde_json::Value;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// A file that is gone after the test.
struct Temporary(PathBuf);

impl Temporary {
    fn new(name: &str) -> Self {
        Self(std::env::temp_dir().join(format!("keyway-rescue-{}-{name}", std::process::id())))
    }

    fn argument(&self) -> &str {
        self.0.to_str().unwrap()
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.0);
    }
}

fn keyway(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_keyway"));
    let _ = command.args(arguments);
    command
}

/// Seconds measured; the one sentence about what is missing stands on standard error and in the report.
fn rescued(output: &Output) -> f64 {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(said.contains("never finished"), "{said}");
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(report["recording"]["shortfall"].is_string(), "{report}");
    report["streams"][0]["seconds"].as_f64().unwrap()
}

#[test]
fn a_killed_recorder_leaves_all_but_its_last_moment() {
    let file = Temporary::new("killed.mcap");
    let mut child = keyway(&["record", "--scenario", "healthy", "-o", file.argument()])
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let until = Instant::now() + Duration::from_secs(60);
    // Some two seconds of eight channels.
    while fs::metadata(&file.0).map_or(0, |m| m.len()) < 2_000_000 {
        assert!(Instant::now() < until, "nothing was recorded");
        std::thread::sleep(Duration::from_millis(20));
    }
    // SIGKILL on Unix: no chance to write an end.
    child.kill().unwrap();
    let _status = child.wait().unwrap();
    let output = keyway(&["analyse", "--json", file.argument()])
        .output()
        .unwrap();
    let seconds = rescued(&output);
    assert!(seconds > 1.0, "{seconds} s");
}

#[test]
fn half_a_recording_gives_its_half_and_stays_as_it_is() {
    let (whole, half) = (Temporary::new("whole.mcap"), Temporary::new("half.mcap"));
    let arguments = [
        "record",
        "--scenario",
        "healthy",
        "--seconds",
        "3",
        "-o",
        whole.argument(),
    ];
    assert!(keyway(&arguments).output().unwrap().status.success());
    let bytes = fs::read(&whole.0).unwrap();
    fs::write(&half.0, &bytes[..bytes.len() / 2]).unwrap();
    let output = keyway(&["analyse", "--json", half.argument()])
        .output()
        .unwrap();
    let seconds = rescued(&output);
    assert!((0.8..2.2).contains(&seconds), "{seconds} s of half a file");
    assert_eq!(fs::read(&half.0).unwrap(), bytes[..bytes.len() / 2]);
    // Cut within the header there is nothing left, and that is said.
    fs::write(&half.0, &bytes[..100]).unwrap();
    let output = keyway(&["analyse", half.argument()]).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("ends after 100 bytes"), "{said}");
}
