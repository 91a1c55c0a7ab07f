//! A valve against closed forms, sound and with every fault of its circuit.

use super::super::blueprint::OutputStage;
use super::*;

const AT_20: Feed = Feed {
    supply: 14.0,
    feed: 0.0,
    ground: 0.0,
    lift: 0.0,
    coil: 20.0,
    circuit: CircuitEffect::NONE,
};

/// Pin in volts and current of the coil in amperes.
fn read(v: &mut Valve, time: f64, supply: f64) -> (f64, f64) {
    let current = v.currents(time).coil;
    (v.pin(time, supply, current), current)
}

fn with(circuit: CircuitEffect) -> Feed {
    Feed { circuit, ..AT_20 }
}

fn valve(flyback: Flyback, driver: f64) -> Valve {
    // The worked vector of the check values: 8 ohms in all, 20 mH, 14 V.
    let plan = ValvePlan {
        frequency: 100.0,
        resistance: 8.0 - driver,
        inductance: 20.0,
        driver,
        flyback,
        stage: OutputStage::default(),
    };
    Valve::new(&plan, 0.0, 14.0)
}

#[test]
fn current_rises_as_the_closed_form_says() {
    let mut v = valve(Flyback::Clamp { volts: 53.0 }, 0.32);
    v.step(0.0, 0.004, AT_20, DriverState::Works, || 50.0);
    // (V/R)(1 - exp(-tR/L)) at 1 ms with V 14, R 8, L 20 mH.
    let (pin, current) = read(&mut v, 0.001, 14.0);
    assert!((current - 0.576_94).abs() < 1e-5);
    assert!((pin - 0.576_94 * 0.32).abs() < 1e-3);
}

/// From 0.875 A: 0.5090 ms into 45 V, 0.4127 ms into 53 V, 5.995 ms into a diode.
#[test]
fn flyback_lasts_as_long_as_the_closed_form_says() {
    for (flyback, expected, pin) in [
        (Flyback::Clamp { volts: 45.0 }, 0.5090e-3, 45.0),
        (Flyback::Clamp { volts: 53.0 }, 0.4127e-3, 53.0),
        (Flyback::Diode, 5.995e-3, 14.7),
    ] {
        let mut v = valve(flyback, 1e-9);
        let rise = 2.5e-3 * (1.0_f64 / (1.0 - 0.875 / 1.75)).ln();
        v.step(0.0, 0.0099, AT_20, DriverState::Works, || rise * 1e4);
        assert!((read(&mut v, rise, 14.0).1 - 0.875).abs() < 1e-6);
        let late = read(&mut v, rise + expected * 0.98, 14.0);
        assert!(late.1 > 0.0 && (late.0 - pin).abs() < 1e-3, "{late:?}");
        let over = read(&mut v, rise + expected * 1.001 + 3e-5, 14.0);
        assert!(over.1 <= 0.0 && (over.0 - 14.0).abs() < 1e-3, "{over:?}");
    }
}

#[test]
fn steps_join_without_a_seam() {
    let mut fine = valve(Flyback::Diode, 0.3);
    let mut coarse = fine.clone();
    coarse.step(0.0, 0.03, AT_20, DriverState::Works, || 30.0);
    for n in 0..300 {
        let start = f64::from(n) * 1e-4;
        fine.step(start, start + 1e-4, AT_20, DriverState::Works, || 30.0);
        let t = start + 0.5e-4;
        let (a, b) = (read(&mut fine, t, 14.0), read(&mut coarse, t, 14.0));
        assert!((a.1 - b.1).abs() < 1e-9 && (a.0 - b.0).abs() < 1e-6);
    }
}

/// A step of 30 ms at 100 Hz and 40 %: on from 20 to 24 ms.
fn third_period(circuit: CircuitEffect) -> Valve {
    let mut v = valve(Flyback::Clamp { volts: 53.0 }, 0.32);
    v.step(0.0, 0.03, with(circuit), DriverState::Works, || 40.0);
    v
}

/// The coil's far side is gone: held low by the driver, else brought to the 2.5 V of the data sheet's open-load
/// threshold (TLE8102SG, page 18: 2.0 to 3.0 V around it) by 100 µA into 10 nF, 10 V/ms against a probe of 1 MΩ.
#[test]
fn an_open_coil_leaves_the_pin_to_the_drivers_diagnosis() {
    let open = CircuitEffect {
        coil_open: true,
        ..CircuitEffect::NONE
    };
    let mut v = third_period(open);
    assert!(read(&mut v, 0.0235, 14.0).0.abs() < 1e-9);
    // RC is 10 ms, the end of the charge 100 V: 100·(1 − e^(−0.01)) after 0.1 ms.
    let rising = read(&mut v, 0.0241, 14.0);
    assert!(
        (rising.0 - 100.0 * (1.0 - (-0.01_f64).exp())).abs() < 1e-9,
        "{rising:?}"
    );
    assert!((read(&mut v, 0.0299, 14.0).0 - 2.5).abs() < 1e-9);
    assert!(v.driving <= 0.0 && (v.delivered - 40.0).abs() < 1e-9);
    // It comes down from the supply with 50 µA and what the probe takes.
    let mut v = valve(Flyback::Diode, 0.32);
    v.step(0.0, 0.004, AT_20, DriverState::Dead, || 40.0);
    v.step(0.004, 0.02, with(open), DriverState::Dead, || 40.0);
    let falling = read(&mut v, 0.005, 14.0).0;
    assert!(
        (falling - (64.0 * (-0.1_f64).exp() - 50.0)).abs() < 1e-9,
        "{falling}"
    );
    assert!((read(&mut v, 0.012, 14.0).0 - 2.5).abs() < 1e-9);
}

/// A driver without diagnosis leaves the pin to the probe: e^(−t/RC) with 1 MΩ and 10 nF, ten times as slow
/// behind a probe that divides by ten.
#[test]
fn a_pin_that_nothing_holds_is_drained_by_the_probe() {
    for (factor, constant) in [(1.0, 0.01_f64), (0.1, 0.1)] {
        let mut v = valve(Flyback::Diode, 0.32);
        v.plan.stage.pull_up = 0.0;
        v.plan.stage.pull_down = 0.0;
        v.probe_with(factor);
        v.step(0.0, 0.004, AT_20, DriverState::Dead, || 40.0);
        let open = CircuitEffect {
            coil_open: true,
            ..CircuitEffect::NONE
        };
        v.step(0.004, 0.02, with(open), DriverState::Dead, || 40.0);
        let pin = read(&mut v, 0.012, 14.0).0;
        assert!(
            (pin - 14.0 * (-0.008 / constant).exp()).abs() < 1e-9,
            "{pin}"
        );
    }
}

#[test]
fn a_wire_open_to_the_driver_leaves_the_pin_at_the_supply() {
    let mut v = third_period(CircuitEffect {
        driver_open: true,
        ..CircuitEffect::NONE
    });
    for t in [0.0205, 0.022, 0.026, 0.0299] {
        let (pin, current) = read(&mut v, t, 14.0);
        assert!((pin - 14.0).abs() < 1e-9 && current <= 0.0);
    }
    assert!(v.delivered <= 0.0 && v.driving <= 0.0 && !v.reaches());
    // Broken under a current, the contact arcs: from 0.577 A it lasts (L/R)·ln(1 + I·R/(327 − 14)).
    let mut v = valve(Flyback::Diode, 0.32);
    v.step(0.0, 0.001, AT_20, DriverState::Works, || 40.0);
    let broken = CircuitEffect {
        driver_open: true,
        ..CircuitEffect::NONE
    };
    v.step(0.001, 0.009, with(broken), DriverState::Works, || 40.0);
    let ohms: f64 = 7.68;
    let lasts = 0.02 / ohms * (1.0 + 0.576_94 * ohms / 313.0).ln();
    assert!((read(&mut v, 0.001 + 0.9 * lasts, 14.0).0 - 327.0).abs() < 1e-3);
    assert!(read(&mut v, 0.001 + 1.01 * lasts, 14.0).1 <= 0.0);
}

/// 14 V over 7.68 Ω of coil and 0.1 Ω of contact, with the driver's 0.32 Ω beside it while it conducts.
#[test]
fn a_short_to_ground_drives_the_coil_whatever_the_driver_does() {
    let mut v = third_period(CircuitEffect {
        to_ground: Some(0.1),
        ..CircuitEffect::NONE
    });
    // Six time constants of 2.57 ms after the start of the whole.
    let (pin, current) = read(&mut v, 0.0199, 14.0);
    assert!((current - 14.0 / 7.78).abs() < 2e-3 && (pin - current * 0.1).abs() < 1e-6);
    assert!(v.delivered >= 100.0 && v.driving >= 100.0);
}

/// 6.5 A over 0.1 Ω: the pin is pulled down by 0.65 V for the 60 µs until the driver shuts off, once a command.
#[test]
fn a_short_to_the_supply_shows_pulses_of_the_drivers_limit() {
    let mut v = third_period(CircuitEffect {
        to_supply: Some(0.1),
        ..CircuitEffect::NONE
    });
    for (time, volts) in [
        (0.0199, 14.0),
        (0.02005, 13.35),
        (0.02015, 14.0),
        (0.0239, 14.0),
    ] {
        let (pin, current) = read(&mut v, time, 14.0);
        assert!((pin - volts).abs() < 1e-3, "{time} {pin}");
        // What the coil feels of it: 0.65 V over 20 mH for 60 µs.
        assert!(current < 0.65 * 60e-6 / 0.02 + 1e-6, "{time} {current}");
    }
    assert!(v.delivered <= 0.0 && v.driving <= 0.0);
    // Two ohms and more it bears: a divider of 2.68 and 0.32 Ω.
    let mut soft = third_period(CircuitEffect {
        to_supply: Some(2.68),
        ..CircuitEffect::NONE
    });
    let pin = read(&mut soft, 0.0235, 14.0).0;
    assert!((pin - 14.0 * 0.32 / 3.0).abs() < 1e-3, "{pin}");
    assert!((soft.delivered - 40.0).abs() < 1e-9);
}

/// The low level of a driver is i·R(DS)on; with R 8.68 Ω in all, i = 14/8.68·(1 − e^(−4 ms·8.68/20 mH)).
#[test]
fn a_weak_driver_and_a_bad_ground_raise_the_low_level() {
    let i = 14.0 / 9.0 * (1.0 - (-0.0039 * 9.0 / 0.02_f64).exp());
    let weak = with(CircuitEffect {
        driver: 1.0,
        ..CircuitEffect::NONE
    });
    let ground = Feed {
        ground: 1.0,
        lift: 0.0,
        ..AT_20
    };
    for around in [weak, ground] {
        let mut v = valve(Flyback::Clamp { volts: 53.0 }, 0.32);
        v.step(0.0, 0.0045, around, DriverState::Works, || 40.0);
        let (pin, current) = read(&mut v, 0.0039, 14.0);
        assert!(
            (current - i).abs() < 1e-9 && (pin - i * 1.32).abs() < 1e-9,
            "{current} {pin}"
        );
    }
}

/// A fifth of the turns lost: R·0.8, L·0.64, so a time constant of 0.64/0.8 of the sound one.
#[test]
fn shorted_turns_lower_resistance_and_time_constant() {
    let mut v = valve(Flyback::Clamp { volts: 53.0 }, 1e-9);
    let shorted = with(CircuitEffect {
        turns: 0.8,
        ..CircuitEffect::NONE
    });
    v.step(0.0, 0.009, shorted, DriverState::AlwaysOn, || 40.0);
    for t in [0.001, 0.004, 0.008] {
        let due = 14.0 / 6.4 * (1.0 - (-t * 6.4 / 0.0128_f64).exp());
        assert!((read(&mut v, t, 14.0).1 - due).abs() < 1e-9);
    }
    // A tenth left: 0.8 Ω would take 17.5 A; the driver bears its limit for 60 µs and lets go.
    let mut v = valve(Flyback::Clamp { volts: 53.0 }, 1e-9);
    let burnt = with(CircuitEffect {
        turns: 0.1,
        ..CircuitEffect::NONE
    });
    v.step(0.0, 0.009, burnt, DriverState::AlwaysOn, || 40.0);
    let limit = 0.0002 / 0.8 * (17.5_f64 / (17.5 - 6.5)).ln();
    assert!(read(&mut v, limit, 14.0).1 > 6.5 - 1e-6);
    assert!(read(&mut v, limit + 0.0005, 14.0).1 <= 0.0);
}

#[test]
fn a_flyback_that_changes_shows_at_the_next_switch_off() {
    for (flyback, pin) in [
        (Flyback::Diode, 14.7),
        (Flyback::Clamp { volts: 45.0 }, 45.0),
        (Flyback::Absent { volts: 115.0 }, 115.0),
    ] {
        let mut v = third_period(CircuitEffect {
            flyback: Some(flyback),
            ..CircuitEffect::NONE
        });
        let after = read(&mut v, 0.02406, 14.0);
        assert!((after.0 - pin).abs() < 1e-3 && after.1 > 0.0, "{after:?}");
    }
}

/// Whatever comes and goes, the current never jumps where the coil is whole, and the samples do not depend on
/// how the time is cut.
#[test]
fn faults_that_come_and_go_join_without_a_seam() {
    let kinds = [
        CircuitEffect::NONE,
        CircuitEffect {
            to_ground: Some(0.2),
            ..CircuitEffect::NONE
        },
        CircuitEffect {
            driver: 0.7,
            ..CircuitEffect::NONE
        },
        CircuitEffect {
            to_supply: Some(0.1),
            ..CircuitEffect::NONE
        },
        CircuitEffect {
            driver_open: true,
            ..CircuitEffect::NONE
        },
    ];
    let mut v = valve(Flyback::Clamp { volts: 53.0 }, 0.32);
    let mut before = 0.0;
    for n in 0..4000u32 {
        let start = f64::from(n) * 5e-5;
        let kind = kinds[(n / 37) as usize % kinds.len()];
        v.step(start, start + 5e-5, with(kind), DriverState::Works, || 40.0);
        for part in 0..5 {
            let (pin, current) = read(&mut v, start + f64::from(part) * 1e-5, 14.0);
            // Into an arc of 327 V over 20 mH the current falls by 0.16 A in 10 µs.
            assert!((current - before).abs() < 0.17, "{n} {current} {before}");
            assert!((-0.01..330.0).contains(&pin) && current < 14.0 / 7.68);
            before = current;
        }
    }
}
