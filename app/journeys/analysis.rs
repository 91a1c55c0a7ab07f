//! `analyse --json` keeps the schema that `analyse --schema` prints, whatever the recording.

use crate::workpiece::{Workpiece, recorded};
use jsonschema::Validator;
use serde_json::{Value, json};
use std::process::Command;

fn analyse(arguments: &[&str]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_keyway"))
        .arg("analyse")
        .args(arguments)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn validator() -> Validator {
    let schema = analyse(&["--schema"]);
    assert!(jsonschema::meta::is_valid(&schema), "it is a schema itself");
    jsonschema::validator_for(&schema).unwrap()
}

fn check(validator: &Validator, document: &Value) {
    let slips: Vec<String> = validator
        .iter_errors(document)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(slips.is_empty(), "{slips:#?}");
}

/// Every field of every object in the schema says what it is.
fn undescribed(schema: &Value, place: &str, found: &mut Vec<String>) {
    if let Some(fields) = schema["properties"].as_object() {
        for (name, field) in fields {
            if field["description"].as_str().is_none_or(str::is_empty) {
                found.push(format!("{place}.{name}"));
            }
        }
    }
    for (name, child) in schema["$defs"].as_object().into_iter().flatten() {
        undescribed(child, name, found);
    }
}

#[test]
fn the_schema_describes_every_field() {
    let mut found = Vec::new();
    undescribed(&analyse(&["--schema"]), "", &mut found);
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn what_is_printed_keeps_the_schema() {
    let validator = validator();
    for (scenario, seconds) in [
        ("healthy", 3.0),
        ("lead-off", 3.0),
        ("leads-swapped", 3.0),
        ("small-hatch-healthy", 3.0),
        ("cold-start", 1.0),
        // Too short for any figure: everything is null with a reason.
        ("healthy", 0.02),
    ] {
        let file = recorded(&Workpiece::of(scenario, seconds));
        let document = analyse(&[file.path(), "--json"]);
        check(&validator, &document);
        check(
            &validator,
            &analyse(&[file.path(), "--json", "--no-series"]),
        );
    }
}

#[test]
fn a_gap_and_a_reconnection_are_told_apart() {
    let file = recorded(&Workpiece {
        gap: Some(1.5),
        streams: 2,
        ..Workpiece::of("healthy", 3.0)
    });
    let document = analyse(&[file.path(), "--json"]);
    check(&validator(), &document);
    let streams = document["streams"].as_array().unwrap();
    assert_eq!(streams.len(), 2);
    for stream in streams {
        assert_eq!(stream["quality"]["gaps"], 1, "{}", stream["quality"]);
        assert_eq!(stream["quality"]["lost_samples"], 1000);
        let rpm = &stream["crank"]["revolution_speed_rpm"]["value"];
        assert!(
            (rpm["mean"].as_f64().unwrap() - 800.0).abs() < 20.0,
            "{rpm}"
        );
    }
}

#[test]
fn a_broken_tooth_is_named_and_costs_no_angle() {
    let file = recorded(&Workpiece {
        faults: "[[faults]]\nkind = \"tooth-missing\"\ntooth = 20\n",
        ..Workpiece::of("healthy", 4.0)
    });
    let document = analyse(&[file.path(), "--json"]);
    check(&validator(), &document);
    let stream = &document["streams"][0];
    let flaws = json!([{ "tooth": 20, "flaw": "missing" }]);
    assert_eq!(stream["crank"]["damaged_teeth"], flaws);
    let events = stream["events"].as_array().unwrap();
    let is_told = |e: &Value| e["text"].as_str().unwrap().starts_with("Tooth 20 ");
    assert_eq!(
        events.iter().filter(|e| is_told(e)).count(),
        1,
        "{events:#?}"
    );
    let rpm = &stream["crank"]["revolution_speed_rpm"]["value"];
    assert!(
        (rpm["mean"].as_f64().unwrap() - 800.0).abs() < 20.0,
        "{rpm}"
    );
    assert_eq!(stream["crank"]["sync_losses"], json!([]));
}

#[test]
fn figures_agree_with_each_other() {
    let file = recorded(&Workpiece::of("healthy", 4.0));
    let document = analyse(&[file.path(), "--json"]);
    let stream = &document["streams"][0];
    let count = |columns: &Value, name: &str| columns[name].as_array().unwrap().len();
    // The signal itself says which wheel it is.
    let recognised = &stream["crank"]["recognised"]["value"];
    assert_eq!(recognised["wheel"]["notation"], "60-2");
    assert_eq!(recognised["certainty"], "sure");
    assert_eq!(recognised["sensor"]["value"], "vr");
    // Idling long enough, the cylinders are compared; they are alike.
    let contribution = &stream["cylinders"]["contribution"]["value"];
    let cylinders = contribution["cylinders"].as_array().unwrap();
    let numbers: Vec<u64> = cylinders
        .iter()
        .map(|c| c["cylinder"]["value"].as_u64().unwrap())
        .collect();
    assert_eq!(numbers, [1, 3, 4, 2]);
    assert_eq!(contribution["weak"], json!([]));
    let revolutions = &stream["crank"]["revolutions"]["value"];
    assert!(count(revolutions, "seconds") > 40);
    assert_eq!(
        count(revolutions, "seconds"),
        count(revolutions, "speed_rpm")
    );
    for cam in stream["cams"].as_array().unwrap() {
        let phases = &cam["phases"]["value"];
        let edges = cam["edges"].as_array().unwrap();
        let seen = edges
            .iter()
            .map(|e| e["phase_deg"]["value"]["points"].as_u64().unwrap())
            .sum::<u64>();
        assert_eq!(cam["phase_deg"]["value"]["points"], seen);
        assert_eq!(count(phases, "phase_deg") as u64, seen);
        assert_eq!(count(phases, "seconds"), count(phases, "edge"));
        for edge in edges {
            let number = |name: &str| edge[name].as_f64();
            let measured = edge["measured_deg"]["value"].as_f64().unwrap();
            let phase = edge["phase_deg"]["value"]["mean"].as_f64().unwrap();
            let back = number("reference_deg").unwrap() - measured;
            assert!((back - phase).abs() < 1e-6, "{edge}");
        }
        let noise = cam["phase_noise_deg"]["value"].as_f64().unwrap();
        let spread = cam["phase_deg"]["value"]["spread"].as_f64().unwrap();
        assert!(noise > 0.0 && noise < 1.5 * spread, "{noise} {spread}");
    }
}

/// Changes one thing in a good document; the schema must refuse it.
fn is_refused(validator: &Validator, good: &Value, place: &str, wrong: Value) {
    let mut bad = good.clone();
    let (parent, name) = place.rsplit_once('/').unwrap();
    let parent = bad.pointer_mut(parent).unwrap().as_object_mut().unwrap();
    match wrong {
        Value::String(word) if word == "nothing at all" => {
            assert!(parent.remove(name).is_some(), "{place}");
        }
        wrong => {
            let _before = parent.insert(name.to_owned(), wrong);
        }
    }
    assert!(!validator.is_valid(&bad), "{place} was let through");
}

#[test]
fn a_corrupted_document_is_refused() {
    let validator = validator();
    let file = recorded(&Workpiece::of("healthy", 2.0));
    let good = analyse(&[file.path(), "--json"]);
    check(&validator, &good);
    let gone = || json!("nothing at all");
    for (place, wrong) in [
        ("/form", json!("one")),
        ("/streams/0/seconds", json!(null)),
        ("/streams/0/rate_hz", gone()),
        ("/streams/0/quality/gaps", json!(-1)),
        // A figure that is null must say why.
        ("/streams/0/crank/speed_rpm", json!({ "value": null })),
        ("/streams/0/crank/speed_rpm", json!({ "value": "fast" })),
        ("/streams/0/crank/sync", json!("lost")),
        ("/streams/0/cams/0/edges/0/kind", json!("upwards")),
        ("/streams/0/cams/0/edges/0/reference_deg", json!(721)),
        (
            "/streams/0/cams/0/phases/value/phase_deg",
            json!([0.1, null]),
        ),
        ("/streams/0/cams/0/temperature", json!(90)),
    ] {
        is_refused(&validator, &good, place, wrong);
    }
}
