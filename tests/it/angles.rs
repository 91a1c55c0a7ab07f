//! No angle marked valid is more than one tooth wrong, over the whole matrix and every scenario.

use crate::matrix::{LOST, MESS, Row, WHEELS};
use crate::open_rows::OPEN;
use crate::tally::{Tally, tally};
use keyway_acquisition::simulator::scenario::Scenario;

/// Seconds a row runs.
const LASTS: f64 = 4.0;
/// Part of the time a wheel's angle must be valid, all mess and losses counted. Less would let a decoder
/// pass by saying nothing; a third to a half of a row goes by before the cycle is found, at 155 rpm.
const LEAST_VALID: f64 = 0.4;

fn check(title: &str, seed: u64) {
    let mut all = Tally::default();
    let mut per_wheel: Vec<Tally> = vec![Tally::default(); WHEELS.len()];
    let mut per_mess: Vec<Tally> = vec![Tally::default(); MESS.len()];
    let (mut failed, mut held) = (Vec::new(), 0);
    for row in Row::all(seed) {
        let seen = tally(&row.scenario(), row.seed, LASTS, LOST[row.lost]);
        let words = row.words();
        if OPEN.contains(&words.as_str()) {
            eprintln!("{title}  not held yet: {words}: {seen}");
            continue;
        }
        held += 1;
        if seen.wrong > 0 {
            failed.push(format!("{words}: {seen}"));
        }
        per_wheel[row.wheel].add(&seen);
        per_mess[row.mess].add(&seen);
        all.add(&seen);
    }
    for ((name, _), seen) in WHEELS.iter().zip(&per_wheel) {
        eprintln!("{title}  {name:14} {seen}");
    }
    for (name, seen) in MESS.iter().zip(&per_mess) {
        eprintln!("{title}  {name:14} {seen}");
    }
    eprintln!("{title}  {:14} {all}  in {held} rows", "all");
    assert!(
        failed.is_empty(),
        "{} rows:\n{}",
        failed.len(),
        failed.join("\n")
    );
    for ((name, _), seen) in WHEELS.iter().zip(&per_wheel) {
        assert!(seen.share() > LEAST_VALID, "{name}: {seen}");
    }
}

#[test]
fn no_valid_angle_is_a_tooth_wrong_on_any_wheel() {
    check("matrix 1", 1);
}

#[test]
fn no_valid_angle_is_a_tooth_wrong_on_any_wheel_driven_otherwise() {
    check("matrix 2", 2);
}

#[test]
fn no_valid_angle_is_a_tooth_wrong_in_any_scenario() {
    let mut all = Tally::default();
    for scenario in Scenario::all().expect("the embedded scenarios") {
        // No look at a wheel that has turned on its hub can tell by how much.
        if scenario.name == "crank-wheel-moved" {
            continue;
        }
        let seen = tally(&scenario, 5, 20.0, &[]);
        eprintln!("{:26} {seen}", scenario.name);
        assert_eq!(seen.wrong, 0, "{}: {seen}", scenario.name);
        // With the cams' leads exchanged the wheel alone claims an angle; with the crank's wires exchanged, or
        // without a ground, it may be that nothing does.
        let blind = ["leads-swapped", "inverted-crank-lead", "ground-missing"];
        if !blind.contains(&scenario.name.as_str()) {
            assert!(seen.share() > 0.9, "{}: {seen}", scenario.name);
        }
        all.add(&seen);
    }
    eprintln!("{:26} {all}", "all");
}
