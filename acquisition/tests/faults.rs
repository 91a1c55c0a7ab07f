//! What each fault shows at the scope's inputs, and what the truth says of it.

use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::fault::{
    CircuitFault, Fault, HookupFault, HydraulicFault, Point, When,
};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_acquisition::simulator::truth::{Stop, Truth};

const RATE: u32 = 50_000;

/// The healthy light van without noise, held at a speed, with these faults.
fn held(rpm: f64, faults: Vec<Fault>) -> Scenario {
    let scenario = Scenario {
        driver: vec![Segment::Fixed { rpm, seconds: 1e6 }],
        repeat_from: None,
        noise: 0.0,
        faults,
        ..Scenario::named("healthy").expect("an embedded scenario")
    };
    assert_eq!(scenario.check(), Ok(()));
    scenario
}

/// The inputs in volts over the given milliseconds, and the engine after them.
fn run(scenario: &Scenario, milliseconds: u32) -> (Vec<Vec<f64>>, Engine) {
    let mut engine = Engine::from_scenario(scenario, 5);
    engine.set_rate(f64::from(RATE));
    let infos = engine.channels();
    let mut out = vec![Vec::new(); 8];
    engine.fill(at(milliseconds), &mut out);
    let volts = (out.iter().zip(&infos))
        .map(|(plane, info)| {
            plane
                .iter()
                .map(|&raw| f64::from(raw) * info.scale)
                .collect()
        })
        .collect();
    (volts, engine)
}

/// Index of the sample at a time.
fn at(milliseconds: u32) -> usize {
    (milliseconds * (RATE / 1000)) as usize
}

fn extremes(values: &[f64]) -> [f64; 2] {
    values
        .iter()
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], &v| {
            [a.min(v), b.max(v)]
        })
}

fn circuit(what: CircuitFault, when: When) -> Fault {
    Fault::Circuit {
        cam: Cam::Exhaust,
        what,
        when,
    }
}

fn hookup(input: usize, what: HookupFault) -> Fault {
    Fault::Hookup {
        input,
        what,
        when: When::default(),
    }
}

/// The truth each 10 ms while the driver does this.
fn watch(driver: Vec<Segment>, faults: Vec<Fault>, seconds: u32) -> (Vec<Truth>, Engine) {
    let scenario = Scenario {
        driver,
        ..held(2000.0, faults)
    };
    let mut engine = Engine::from_scenario(&scenario, 3).with_inputs(3);
    engine.set_rate(1000.0);
    let mut out = vec![Vec::new(); 3];
    let truths = (0..seconds * 100)
        .map(|_| {
            out.iter_mut().for_each(Vec::clear);
            engine.fill(10, &mut out);
            engine.truth()
        })
        .collect();
    (truths, engine)
}

fn speed(rpm: f64, seconds: f64) -> Segment {
    Segment::Speed {
        rpm,
        seconds,
        ramp: 4000.0,
        load: 0.0,
    }
}

/// What each fault of the exhaust valve's circuit shows: extremes of the pin between 1 and 2 s, of the clamp (0.1 V
/// per ampere), and whether the command reaches the coil.
#[test]
fn each_fault_of_the_circuit_shows_at_the_pin_and_at_the_clamp() {
    struct Shows {
        fault: CircuitFault,
        lowest: std::ops::Range<f64>,
        highest: std::ops::Range<f64>,
        amperes: std::ops::Range<f64>,
        reaches: bool,
    }
    // The command stands near its hold: 40 to 50 % of 250 Hz over 22 mH and 8.5 Ω, so some 0.5 A at its highest.
    let table = [
        Shows {
            fault: CircuitFault::WeakDriver { ohms: 1.6 },
            lowest: -0.1..0.05,
            highest: 50.0..55.0,
            amperes: 0.4..1.2,
            reaches: true,
        },
        Shows {
            fault: CircuitFault::OpenCoil,
            lowest: -0.05..0.05,
            // Towards the driver's bias of 2.5 V, 10 V/ms; the loop has wound up to 95 %, which leaves 0.2 ms for it.
            highest: 1.9..2.1,
            amperes: -0.01..0.01,
            reaches: false,
        },
        Shows {
            fault: CircuitFault::OpenFeed,
            lowest: -0.05..0.05,
            highest: 1.9..2.1,
            amperes: -0.01..0.01,
            reaches: false,
        },
        Shows {
            fault: CircuitFault::OpenToDriver,
            lowest: 13.5..14.3,
            highest: 13.5..14.5,
            amperes: -0.01..0.01,
            reaches: false,
        },
        Shows {
            fault: CircuitFault::ShortToGround { ohms: 0.1 },
            lowest: 0.0..0.25,
            highest: 0.0..0.25,
            // 14 V over 8.5 Ω, warm.
            amperes: 1.2..1.7,
            reaches: false,
        },
        Shows {
            fault: CircuitFault::ShortToSupply { ohms: 0.1 },
            // 6.5 A over 0.1 Ω below a supply of 14.1 V that ripples by 0.12 V.
            lowest: 13.3..13.6,
            highest: 13.9..14.5,
            amperes: -0.01..0.02,
            reaches: false,
        },
        Shows {
            fault: CircuitFault::FlybackChanged {
                flyback: keyway_acquisition::simulator::blueprint::Flyback::Diode,
            },
            // The current never ends, so neither does its drop at the driver.
            lowest: 0.05..0.3,
            highest: 14.4..15.2,
            amperes: 0.5..1.5,
            reaches: true,
        },
        Shows {
            fault: CircuitFault::DriverStuckOn,
            lowest: 0.3..0.6,
            highest: 0.3..0.6,
            amperes: 1.2..1.7,
            reaches: false,
        },
    ];
    for row in table {
        let (volts, engine) = run(
            &held(2000.0, vec![circuit(row.fault, When::default())]),
            2000,
        );
        let pin = extremes(&volts[4][at(1000)..]);
        let clamp = extremes(&volts[6][at(1000)..]);
        let what = row.fault;
        assert!(row.lowest.contains(&pin[0]), "{what:?} {pin:?}");
        assert!(row.highest.contains(&pin[1]), "{what:?} {pin:?}");
        assert!(
            row.amperes.contains(&(clamp[1] * 10.0)),
            "{what:?} {clamp:?}"
        );
        let truth = engine.truth();
        assert_eq!(
            truth.cam(Cam::Exhaust).reaches_coil,
            row.reaches,
            "{what:?}"
        );
        assert!(truth.cam(Cam::Intake).reaches_coil && truth.acts(0));
        // A loss has a beginning, and no end while the fault lasts.
        let lost = engine.losses();
        assert_eq!(lost.len(), usize::from(!row.reaches), "{what:?} {lost:?}");
        assert!(lost.iter().all(|l| l.cam == Cam::Exhaust && l.to.is_none()));
    }
}

/// Behind a broken feed the supply lead, which is on that valve, follows the pin.
#[test]
fn the_supply_lead_sees_the_feed_of_its_own_valve() {
    for (cam, shows) in [(Cam::Exhaust, 0.0..2.6), (Cam::Intake, 13.5..14.5)] {
        let open = Fault::Circuit {
            cam,
            what: CircuitFault::OpenFeed,
            when: When::default(),
        };
        let (volts, _) = run(&held(2000.0, vec![open]), 1000);
        let supply = extremes(&volts[5][at(500)..]);
        assert!(
            supply.iter().all(|v| shows.contains(&(v + 0.002))),
            "{cam:?} {supply:?}"
        );
    }
    // Two ohms in the feed take off twice the current.
    let slow = circuit(CircuitFault::FeedResistance { ohms: 2.0 }, When::default());
    let (volts, engine) = run(&held(2000.0, vec![slow]), 1000);
    let truth = engine.truth().supply;
    for n in (at(500)..at(1000)).step_by(7) {
        // A diode would lead the current round the feed; a clamp does not.
        let drop = volts[6][n] * 10.0 * 2.0;
        assert!((volts[5][n] + drop - truth).abs() < 0.14, "{n}");
    }
}

#[test]
fn a_bad_ground_lifts_every_low_level_of_the_controller() {
    let bad = Fault::GroundResistance {
        ohms: 0.5,
        when: When::default(),
    };
    let (volts, _) = run(&held(2000.0, vec![bad]), 1000);
    // 0.8 A of its own over 0.5 Ω, and what the valves add.
    for input in [1, 2] {
        let [low, _] = extremes(&volts[input][at(500)..]);
        assert!((0.6..0.75).contains(&low), "{input} {low}");
    }
    let [low, _] = extremes(&volts[4][at(500)..]);
    assert!((0.38..0.8).contains(&low), "{low}");
}

#[test]
fn losses_in_vibration_are_told_as_the_pin_shows_them() {
    let loose = circuit(
        CircuitFault::OpenToDriver,
        When {
            vibration: 2.0,
            ..When::default()
        },
    );
    let (volts, engine) = run(&held(3000.0, vec![loose]), 6000);
    let lost = engine.losses();
    let ended: Vec<[f64; 2]> = lost.iter().filter_map(|l| Some([l.from, l.to?])).collect();
    assert!((4..24).contains(&ended.len()), "{lost:?}");
    for [from, to] in ended {
        assert!((0.0195..0.51).contains(&(to - from)), "{from} {to}");
        let index = |t: f64| {
            let n = (0..300_000u32).find(|n| f64::from(*n) / f64::from(RATE) >= t);
            n.map_or(0, |n| n as usize)
        };
        // Once the arc is out, the pin stays at the supply; before and after it is pulled low each 4 ms.
        let pin = &volts[4];
        let during = extremes(&pin[index(from + 0.002)..index(to)]);
        assert!(during[0] > 13.0, "{from} {to} {during:?}");
        let before = extremes(&pin[index((from - 0.0045).max(0.0))..index(from)]);
        assert!(before[0] < 1.0 || from < 0.005, "{from} {before:?}");
    }
}

/// What a mistake at a lead shows on it, for a lead that would swing between two levels.
#[test]
fn each_mistake_at_a_lead_shows_on_it() {
    let on = |point: Point| HookupFault::On { point };
    // Input, mistake, lowest and highest voltage between 0.5 and 1 s at 2000 rpm.
    let table = [
        // The crank sensor's 5 mV per rpm.
        (1, HookupFault::Off, -0.13..-0.1, 0.1..0.13),
        (2, on(Point::SensorSupply), 4.9..5.1, 4.9..5.1),
        (3, on(Point::SensorGround), -0.01..0.01, -0.01..0.01),
        (4, on(Point::IntakeSupply), 13.7..14.1, 14.0..14.4),
        (5, on(Point::Ground), -0.01..0.01, -0.01..0.01),
        (5, on(Point::Battery), 13.7..14.1, 14.0..14.4),
        (6, on(Point::ExhaustControl), -0.1..0.1, 19.9..20.1),
        (6, on(Point::Injector), 0.3..0.5, 19.9..20.1),
        (7, on(Point::NoWire), -0.001..0.001, -0.001..0.001),
        (7, HookupFault::Reversed, -0.2..-0.03, -0.001..0.001),
        (
            2,
            HookupFault::GroundMissing { hum: 4.0 },
            -4.0..-3.0,
            8.5..9.1,
        ),
    ];
    for (input, what, lowest, highest) in table {
        let (volts, engine) = run(&held(2000.0, vec![hookup(input, what)]), 1000);
        let [low, high] = extremes(&volts[input - 1][at(500)..]);
        assert!(
            lowest.contains(&low) && highest.contains(&high),
            "{what:?} {low} {high}"
        );
        // The engine does not notice.
        assert!(engine.losses().is_empty() && engine.truth().acts(0));
    }
}

#[test]
fn exchanged_wires_of_the_crank_sensor_mirror_it() {
    let (right, _) = run(&held(2000.0, Vec::new()), 300);
    let (wrong, _) = run(&held(2000.0, vec![hookup(1, HookupFault::Reversed)]), 300);
    let mirrored = right[0]
        .iter()
        .zip(&wrong[0])
        .all(|(a, b)| (a + b).abs() < 0.02);
    assert!(mirrored && right[1..] == wrong[1..]);
}

#[test]
fn a_clamp_on_the_other_valve_shows_the_other_current() {
    let (volts, engine) = run(
        &held(
            2000.0,
            vec![hookup(
                7,
                HookupFault::On {
                    point: Point::IntakeWire,
                },
            )],
        ),
        1000,
    );
    let last = volts[6].last().map_or(0.0, |v| v * 10.0);
    assert!(
        (last - engine.truth().cam(Cam::Intake).coil_current).abs() < 0.02,
        "{last}"
    );
}

/// The touch test: a second at ground, a second at the supply, and the pin again.
#[test]
fn a_lead_touches_ground_and_supply_in_its_time() {
    let (volts, engine) = run(
        &Scenario {
            noise: 0.0,
            ..Scenario::named("touch-test").expect("an embedded scenario")
        },
        15_000,
    );
    let lead = &volts[4];
    let between = |from: u32, to: u32| extremes(&lead[at(from) + 10..at(to) - 10]);
    assert!(between(10_000, 11_000).iter().all(|v| v.abs() < 0.01));
    for (from, to) in [
        (1000, 10_000),
        (11_000, 13_000),
        (13_000, 14_000),
        (14_000, 15_000),
    ] {
        assert!(
            between(from, to).iter().all(|v| (13.5..14.5).contains(v)),
            "{from}"
        );
    }
    let onsets: Vec<_> = engine.onsets().into_iter().map(|(_, t)| t).collect();
    assert!(
        (onsets[1].expect("touched") - 10.0).abs() < 1e-3
            && (onsets[2].expect("touched") - 13.0).abs() < 1e-3
    );
}

/// Every input over 1 MΩ to the scope's own ground: it stands at their mean, and hums.
#[test]
fn without_a_ground_all_voltages_move_together_and_the_clamp_does_not() {
    let floating = Fault::ScopeGroundMissing {
        hum: 2.0,
        when: When::default(),
    };
    let (right, _) = run(&held(2000.0, Vec::new()), 400);
    let scenario = held(2000.0, vec![floating]);
    let (wrong, _) = run(&scenario, 400);
    for n in (0..at(400)).step_by(13) {
        // Where neither clips, the sensors and the supply are moved alike.
        let moved = |input: usize| wrong[input][n] - right[input][n];
        let clips = [1, 2].iter().any(|&i| wrong[i][n].abs() > 9.9);
        if !clips {
            assert!(
                (moved(1) - moved(5)).abs() < 0.01 && (moved(2) - moved(5)).abs() < 0.01,
                "{n}"
            );
        }
        assert!((wrong[6][n] - right[6][n]).abs() < 1e-9);
    }
    // The inputs that are not looked at are connected all the same.
    let mut three = Engine::from_scenario(&scenario, 5).with_inputs(3);
    three.set_rate(f64::from(RATE));
    let mut out = vec![Vec::new(); 3];
    three.fill(at(400), &mut out);
    let scale = three.channels()[1].scale;
    let same = out[1]
        .iter()
        .zip(&wrong[1])
        .all(|(a, b)| (f64::from(*a) * scale - b).abs() < 1e-9);
    assert!(same);
}

/// Ten times the signal clips at the input's range of 10 V and 80 V; a range that is too small clips at its own.
#[test]
fn what_is_too_large_for_a_range_clips_there() {
    let tenfold = |input| Fault::ProbeFactor {
        input,
        factor: 10.0,
    };
    for (fault, input, full) in [
        (tenfold(2), 1, 10.0),
        (tenfold(4), 3, 80.0),
        (
            Fault::InputRange {
                input: 5,
                volts: 8.0,
            },
            4,
            8.0,
        ),
    ] {
        let (volts, engine) = run(&held(2000.0, vec![fault]), 300);
        let [_, high] = extremes(&volts[input]);
        let info = &engine.channels()[input];
        assert!(
            (high - info.high).abs() < 1e-9 && (info.high - full).abs() < 0.01,
            "{high}"
        );
        let clipped = volts[input]
            .iter()
            .filter(|v| (**v - info.high).abs() < 1e-9)
            .count();
        assert!(clipped > volts[input].len() / 20, "{clipped}");
    }
}

#[test]
fn a_fallen_lead_is_put_on_again() {
    let off = Fault::LeadOff {
        input: 3,
        after: 0.3,
        until: 0.6,
    };
    let (volts, _) = run(&held(2000.0, vec![off]), 1000);
    let top = |from: u32, to: u32| extremes(&volts[2][at(from)..at(to)])[1];
    assert!(top(0, 300) > 4.9 && top(301, 599) < 0.2 && top(601, 1000) > 4.9);
}

#[test]
fn a_spool_that_is_stuck_moves_the_phaser_whatever_the_current() {
    let stuck = |at: f64, cam| Fault::Hydraulic {
        cam,
        what: HydraulicFault::SpoolStuck { at },
        when: When::after(2.0),
    };
    // Open: it runs to its other stop at idle, where nothing is asked of it, with hardly any current.
    let idle = vec![Segment::Idle { seconds: 1e6 }];
    let (truths, _) = watch(idle, vec![stuck(100.0, Cam::Intake)], 5);
    let last = truths.last().expect("some").cam(Cam::Intake);
    assert!(truths[150].cam(Cam::Intake).stop == Stop::Rest && last.stop == Stop::Full);
    assert!((last.phase - 50.0).abs() < 0.2 && last.coil_current < 0.3 && last.reaches_coil);
    // Shut: it goes back to rest while it is driven, and that is a disagreement.
    let (truths, engine) = watch(vec![speed(2500.0, 1e6)], vec![stuck(0.0, Cam::Exhaust)], 6);
    assert!(truths[190].cam(Cam::Exhaust).stop == Stop::Between);
    assert!(truths.last().expect("some").cam(Cam::Exhaust).stop == Stop::Rest);
    let first = engine.disagreements()[0];
    assert!(
        first.cam == Cam::Exhaust && (2.0..4.0).contains(&first.from),
        "{first:?}"
    );
}

#[test]
fn a_leak_is_held_against_and_ends_at_rest() {
    let leak = Fault::Hydraulic {
        cam: Cam::Intake,
        what: HydraulicFault::Leak { rate: 30.0 },
        when: When::default(),
    };
    let driver = vec![speed(2500.0, 4.0), Segment::Idle { seconds: 1e6 }];
    let (truths, _) = watch(driver, vec![leak], 8);
    // Its loop drives it against the leak: 30 degrees per second over the gain of 6 is 5 points beyond the band.
    let held = truths[390].cam(Cam::Intake);
    let beyond = held.delivered_duty - held.hold_duty - held.hold_band;
    assert!(
        (held.phase - held.target).abs() < 2.0 && (beyond - 5.0).abs() < 1.5,
        "{held:?}"
    );
    assert!(truths.last().expect("some").cam(Cam::Intake).stop == Stop::Rest);
}

#[test]
fn a_rest_that_is_not_found_is_no_lock() {
    let rest = |what| Fault::Hydraulic {
        cam: Cam::Exhaust,
        what,
        when: When::default(),
    };
    let idle = || vec![speed(2500.0, 3.0), Segment::Idle { seconds: 1e6 }];
    let (truths, _) = watch(
        idle(),
        vec![rest(HydraulicFault::RestShifted { degrees: 6.0 })],
        6,
    );
    let last = truths.last().expect("some").cam(Cam::Exhaust);
    assert!(
        (last.phase + 6.0).abs() < 0.1 && !last.locked && last.stop == Stop::Rest,
        "{last:?}"
    );
    let (truths, _) = watch(idle(), vec![rest(HydraulicFault::LockFails)], 6);
    let last = truths.last().expect("some").cam(Cam::Exhaust);
    assert!(last.phase.abs() < 0.1 && !last.locked, "{last:?}");
}

#[test]
fn low_oil_pressure_at_idle_slows_both_cams_there_only() {
    let low = Fault::OilPressureLow {
        factor: 0.1,
        when: When {
            below_rpm: 1300.0,
            ..When::default()
        },
    };
    let driver = || vec![speed(2500.0, 3.0), Segment::Idle { seconds: 1e6 }];
    let back = |faults: Vec<Fault>| {
        let (truths, _) = watch(driver(), faults, 14);
        Cam::ALL.map(|cam| {
            let rest = |t: &&Truth| t.time > 3.0 && t.cam(cam).phase.abs() < 1.0;
            truths
                .iter()
                .find(rest)
                .map_or(f64::INFINITY, |t| t.time - 3.0)
        })
    };
    let [sound, worn] = [Vec::new(), vec![low]].map(back);
    for (sound, worn) in sound.iter().zip(&worn) {
        assert!(*worn > 1.5 * sound, "{sound} {worn}");
    }
}

#[test]
fn a_stretched_chain_makes_both_cams_late_by_part_of_a_tooth() {
    let stretch = Fault::ChainStretch {
        degrees: 7.0,
        after: 1.0,
    };
    let (truths, _) = watch(vec![Segment::Idle { seconds: 1e6 }], vec![stretch], 2);
    for cam in Cam::ALL {
        assert!(truths[90].cam(cam).phase.abs() < 1e-9);
        assert!((truths[110].cam(cam).shown + 7.0).abs() < 1e-9);
    }
}
