//! Scenarios as files, right and wrong.

use super::super::blueprint::Cam;
use super::super::fault::{CircuitFault, When};
use super::*;

#[test]
fn every_embedded_scenario_reads() {
    let all = Scenario::all().unwrap();
    assert_eq!(all.len(), SCENARIOS.len());
    assert!(
        all.iter()
            .all(|s| !s.title.is_empty() && !s.story.complaint.is_empty())
    );
}

#[test]
fn a_mistake_is_reported_with_its_line() {
    let good = SCENARIOS[0].1;
    let at = good.lines().position(|l| l.starts_with("oil")).unwrap() + 1;
    let bad = good.replacen("time_constant = ", "time_constant = -", 1);
    let error = Scenario::from_toml("x.toml", &bad).unwrap_err().to_string();
    assert_eq!(
        error,
        format!("x.toml, line {at}: -18 is out of range, expected a number above 0")
    );
    let unknown = good.replacen("title", "titel", 1);
    let error = Scenario::from_toml("x.toml", &unknown).unwrap_err();
    assert!(matches!(error, ScenarioError::Line { .. }), "{error}");
    assert!(error.to_string().contains("titel"), "{error}");
}

#[test]
fn figures_that_do_not_go_together_are_reported_with_their_line() {
    let good = SCENARIOS[0].1;
    for (have, wrong, why) in [
        (
            "repeat_from = 1",
            "repeat_from = 9",
            "no such segment; they are counted from 1 to 4",
        ),
        (
            "moved = [2, 7]",
            "moved = [7, 2]",
            "moved [7, 2] must hold the lower figure first",
        ),
        (
            "engine = \"light-van\"",
            "engine = \"cart\"",
            "there is no engine called 'cart'",
        ),
    ] {
        let bad = good.replacen(have, wrong, 1);
        let error = Scenario::from_toml("x.toml", &bad).unwrap_err().to_string();
        assert!(
            error.starts_with("x.toml, line ") && error.contains(why),
            "{error}"
        );
    }
    let engine = ENGINES[0].1.replacen("[1, 3, 4, 2]", "[1, 3, 3, 2]", 1);
    let at = engine.lines().position(|l| l == "[block]").unwrap() + 1;
    let error = read_toml::<Blueprint>("e.toml", &engine)
        .unwrap_err()
        .to_string();
    assert!(
        error.starts_with(&format!("e.toml, line {at}: firing_order")),
        "{error}"
    );
}

#[test]
fn every_kind_of_harm_to_wheel_and_signal_reads() {
    let good = SCENARIOS[0].1;
    let harm = |text: &str| {
        let text = format!("{good}\n[[faults]]\n{text}\n");
        Scenario::from_toml("x.toml", &text).map_err(|e| e.to_string())
    };
    let example = |line: &&str| line.trim_start_matches('#').trim().starts_with("how = ");
    let mut read = 0;
    // The examples in the scenario that explains every entry.
    for line in good.lines().filter(example) {
        let how = line
            .trim_start_matches('#')
            .split('(')
            .next()
            .unwrap_or_default();
        let text = format!(
            "kind = \"signal\"\nwheel = \"crank\"\nafter = 3\n{}",
            how.trim()
        );
        assert!(harm(&text).is_ok(), "{text}: {:?}", harm(&text));
        read += 1;
    }
    assert_eq!(read, 6);
    for text in [
        "kind = \"tooth-damaged\"\ntooth = 12\nheight = 0.4\nshift = 0.8",
        "kind = \"tooth-missing\"\ntooth = 58",
        "kind = \"tooth-extra\"\nat = 351\nheight = 0.7",
    ] {
        assert!(harm(text).is_ok(), "{text}: {:?}", harm(text));
    }
    let error = harm("kind = \"tooth-missing\"\ntooth = 59").unwrap_err();
    assert!(
        error.ends_with("the crank's wheel has teeth 1 to 58, not 59"),
        "{error}"
    );
}

#[test]
fn wheels_of_every_kind_read_and_wrong_ones_do_not() {
    let plain = "teeth = 60\nmissing = 2\n";
    let read = |wheel: &str| {
        let text = ENGINES[0].1.replacen(plain, wheel, 1);
        read_toml::<Blueprint>("e.toml", &text).map_err(|e| e.to_string())
    };
    for (wheel, marks, period) in [
        (plain, 58, 360.0),
        (
            "teeth = 36\nwithout = [14, 15, 32, 33, 35, 36]\n",
            30,
            360.0,
        ),
        ("teeth = 12\nadded = true\n", 13, 360.0),
        ("teeth = 24\non_cam = true\n", 24, 720.0),
        ("marks = [0, 70, 180, 250]\nreach = 14\n", 4, 360.0),
    ] {
        let engine = read(wheel).unwrap();
        assert_eq!(engine.crank.all_marks().len(), marks, "{wheel}");
        assert!((engine.crank.period() - period).abs() < 1e-9, "{wheel}");
    }
    for (wheel, why) in [
        ("teeth = 1\n", "2 to 255 teeth"),
        ("teeth = 36\nwithout = [1]\n", "tooth 1 stays"),
        ("teeth = 12\nmarks = [0, 90]\n", "marks say it all"),
        ("marks = [0, 90, 80]\n", "marks must rise"),
        ("teeth = 4\ncoded = \"nwwn\"\n", "need a Hall sensor"),
        ("teeth = 4\ncoded = \"nww\"\n", "coded must hold 4 letters"),
        ("teeth = 60\nwobble = 4\n", "wobble must be below"),
    ] {
        let error = read(wheel).unwrap_err();
        assert!(error.contains(why), "{wheel}: {error}");
    }
}

#[test]
fn a_file_may_bring_its_own_engine() {
    let dir = std::env::temp_dir().join(format!("keyway-scenario-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let scenario = SCENARIOS[0]
        .1
        .replacen("engine = \"light-van\"", "engine = \"own.toml\"", 1);
    std::fs::write(dir.join("mine.toml"), scenario).unwrap();
    std::fs::write(dir.join("own.toml"), ENGINES[1].1).unwrap();
    let read = Scenario::load(&dir.join("mine.toml"));
    std::fs::remove_dir_all(&dir).unwrap();
    let read = read.unwrap();
    assert_eq!((read.name.as_str(), read.engine.crank.teeth), ("mine", 36));
}

#[test]
fn an_unknown_name_is_answered_with_the_names_there_are() {
    let error = Scenario::named("perfect").unwrap_err().to_string();
    assert!(
        error.contains("'perfect'") && error.contains("healthy"),
        "{error}"
    );
}

/// The examples of the scenario that explains every entry, kind by kind.
#[test]
fn every_example_of_what_can_be_wrong_reads() {
    let good = SCENARIOS[0].1;
    let mut head = "";
    let mut read = 0;
    for line in good.lines().map(|l| l.trim_start_matches('#').trim()) {
        for (says, kind) in [
            (
                "Of a valve's circuit",
                "kind = \"circuit\"\ncam = \"intake\"",
            ),
            ("Of a phaser", "kind = \"hydraulic\"\ncam = \"exhaust\""),
            ("Of one lead", "kind = \"hookup\"\ninput = 4"),
        ] {
            if line.starts_with(says) {
                head = kind;
            }
        }
        let Some(example) = line.strip_prefix("what = ") else {
            continue;
        };
        let what = example.split('(').next().unwrap_or_default();
        let text = format!("{good}\n[[faults]]\n{head}\nwhat = {what}\n");
        let with = Scenario::from_toml("x.toml", &text);
        assert!(with.is_ok(), "{text}: {with:?}");
        read += 1;
    }
    assert_eq!(read, 16);
    let when = good
        .lines()
        .find_map(|l| l.trim_start_matches('#').trim().strip_prefix("when = "));
    let whole = format!(
        "{good}\n[[faults]]\nkind = \"oil-pressure-low\"\nfactor = 0.2\nwhen = {}\n",
        when.unwrap()
    );
    let with = Scenario::from_toml("x.toml", &whole);
    assert!(with.is_ok(), "{with:?}");
}

#[test]
fn a_fault_that_cannot_be_is_reported() {
    let good = SCENARIOS[0].1;
    for (fault, why) in [
        (
            "kind = \"circuit\"\ncam = \"intake\"\nwhat = { kind = \"shorted-turns\", lost = 1 }",
            "some turns must be left",
        ),
        (
            "kind = \"oil-pressure-low\"\nfactor = 0.5\nwhen = { after = 5, until = 4 }",
            "until 4 must come after 5",
        ),
        (
            "kind = \"hookup\"\ninput = 9\nwhat = { kind = \"off\" }",
            "the scope has inputs 1 to 8, not 9",
        ),
        (
            "kind = \"hookup\"\ninput = 4\nwhat = { kind = \"on\", point = \"moon\" }",
            "unknown variant `moon`",
        ),
    ] {
        let text = format!("{good}\n[[faults]]\n{fault}\n");
        let error = Scenario::from_toml("x.toml", &text)
            .unwrap_err()
            .to_string();
        assert!(error.contains(why), "{error}");
    }
}

/// Engines drawn at random are changed in memory, where no reader looks at each figure.
#[test]
fn a_scenario_changed_in_memory_is_checked_as_a_file_is() {
    let whole = Scenario::named("default").unwrap();
    assert_eq!(whole.check(), Ok(()));
    type Change = fn(&mut Scenario);
    let wrong: [(Change, &str); 7] = [
        (|s| s.engine.block.bore = f64::NAN, "block.bore is NaN"),
        (|s| s.engine.supply.ripple = -0.1, "supply.ripple is -0.1"),
        (|s| s.engine.intake.sprocket_teeth = 0, "sprocket_teeth"),
        (
            |s| s.engine.exhaust.phaser.as_mut().unwrap().hold_duty = 140.0,
            "exhaust.phaser.hold_duty is 140, expected 0 to 100",
        ),
        (
            |s| s.engine.exhaust.phaser.as_mut().unwrap().valve.inductance = 0.0,
            "exhaust.valve.inductance is 0",
        ),
        (|s| s.driver.clear(), "at least one segment"),
        (
            |s| {
                s.engine.intake.phaser = None;
                s.faults = vec![Fault::Circuit {
                    cam: Cam::Intake,
                    what: CircuitFault::OpenCoil,
                    when: When::default(),
                }];
            },
            "no phaser",
        ),
    ];
    for (change, why) in wrong {
        let mut changed = whole.clone();
        change(&mut changed);
        let error = changed.check().unwrap_err();
        assert!(error.contains(why), "{error}");
    }
}
