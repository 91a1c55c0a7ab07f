//! A list of edges from another instrument, from the file to its figures.

use serde_json::Value;
use std::fmt::Write;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

/// A folder that is gone after the test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        let path = std::env::temp_dir().join(format!("keyway-edges-{}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().to_owned()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn keyway(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_keyway"))
        .args(arguments)
        .output()
        .unwrap()
}

/// Two seconds of a 60-2 wheel at 1,200 rpm as a list of edges with decimal commas: 50 ms a
/// revolution, a tooth each 833.3 µs.
fn edges() -> String {
    let mut text = String::from("Zeit (ms);crank\r\n");
    for revolution in 0..40 {
        for tooth in 0..58 {
            for (level, half) in [(1, 0.0), (0, 0.5)] {
                let at = 50.0 * (f64::from(revolution) + (f64::from(tooth) + half) / 60.0);
                let at = format!("{at:.5}").replace('.', ",");
                write!(text, "{at};{level}\r\n").unwrap();
            }
        }
    }
    text
}

#[test]
fn a_list_of_edges_becomes_figures() {
    let folder = Folder::new();
    let (capture, plan, sheet, recording) = (
        folder.path("capture.csv"),
        folder.path("plan.toml"),
        folder.path("engine.toml"),
        folder.path("session.mcap"),
    );
    fs::write(&capture, edges()).unwrap();
    // What is shown is a plan that can be used as it is.
    let output = keyway(&["import", &capture, "--show"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    fs::write(&plan, &output.stdout).unwrap();
    // Levels say nothing of zero crossings, which the built-in sheet asks for.
    let arguments = ["import", &capture, "--columns", &plan, "-o", &recording];
    let output = keyway(&arguments);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("sensor = \"hall\""), "{said}");
    assert!(!fs::exists(&recording).unwrap());
    let van = fs::read_to_string("assets/sheets/light-van.toml").unwrap();
    let hall = van
        .replace("sensor = \"vr\"", "sensor = \"hall\"")
        .replace("active_edge = \"falling\"", "active_edge = \"rising\"");
    fs::write(&sheet, hall).unwrap();
    let arguments = [&arguments[..], &["--sheet", &sheet]].concat();
    let output = keyway(&arguments);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let output = keyway(&["analyse", &recording, "--json"]);
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    let crank = &report["streams"][0]["crank"];
    let speed = &crank["revolution_speed_rpm"]["value"]["mean"];
    let speed = speed.as_f64().unwrap();
    assert!((speed - 1200.0).abs() < 0.1, "{speed}");
    // What is there is never overwritten.
    let output = keyway(&arguments);
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stderr).contains("exists already"));
    // A slip is told with its place.
    let slip = edges().replacen("0,83333;1", "0,83.33;1", 1);
    fs::write(&capture, slip).unwrap();
    let output = keyway(&[
        "import",
        &capture,
        "--sheet",
        &sheet,
        "-o",
        &folder.path("b.mcap"),
    ]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("line 4, column 1"), "{said}");
    assert!(said.contains("decimal comma"), "{said}");
}
