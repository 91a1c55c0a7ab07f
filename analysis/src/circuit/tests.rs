//! The checks against circuits in closed form, made here sample by sample.
//!
//! i(t) = (V/R)(1 − e^(−tR/L)) while the driver conducts; opened into a clamp the current is gone after
//! (L/R)·ln(1 + I0·R/(Vcl − Vb)). Worked values: 8 Ω, 20 mH, 14 V give 0.57694 A after 1 ms; from 0.875 A it lasts
//! 0.5090 ms into 45 V and 0.4127 ms into 53 V.

use super::*;
use bench::{BENCH, Bench, Made, VECTOR, switched, watch};

mod bench;

#[test]
fn the_form_is_that_of_the_worked_values() {
    let i = |t: f64| VECTOR.at(t)[0];
    assert!((i(0.001) - 0.576_94).abs() < 1e-5);
    let on = VECTOR.duty / VECTOR.hertz;
    assert!((i(on) - 0.875).abs() < 1e-5);
    // In the worked value the whole 8 ohms take part in the decay.
    for (clamp, lasts) in [(45.0, 0.5090e-3), (53.0, 0.4127e-3)] {
        let made = Made {
            clamp: Some(clamp),
            driver: 1e-9,
            coil: 8.0,
            ..VECTOR
        };
        assert!(made.at(on + 0.995 * lasts)[1] > clamp - 0.1);
        assert!(made.at(on + 1.005 * lasts)[0] <= 0.0);
    }
}

#[test]
fn a_sound_circuit_is_in_order_with_its_figures() {
    let view = switched(&BENCH, VECTOR, 3.0);
    assert_eq!(view.condition, Condition::Sound, "{}", view.sentence);
    assert_eq!(
        view.sentence,
        "Switches at 250 Hz, 43 %, low level 0.22 V, flyback clamped at 53 V, current 0.26 A, coil and driver 8.0 Ω and 20 mH: in order."
    );
    assert!(view.possible.is_empty() && view.separated_by.is_none());
}

/// Resistance and inductance over coils, duties, frequencies, both kinds of flyback, with and without a supply lead.
#[test]
fn resistance_and_inductance_come_out() {
    let mut worst = [0.0_f64; 2];
    for (coil, henries, hertz, duty) in [
        (7.68, 0.020, 250.0, 0.433),
        (5.0, 0.008, 300.0, 0.5),
        (12.0, 0.040, 150.0, 0.35),
        (9.0, 0.015, 200.0, 0.85),
        (7.0, 0.012, 100.0, 0.25),
    ] {
        for clamp in [Some(45.0), Some(60.0), None] {
            for supply in [true, false] {
                let made = Made {
                    coil,
                    henries,
                    hertz,
                    duty,
                    clamp,
                    ..VECTOR
                };
                let view = switched(&Bench { supply, ..BENCH }, made, 2.5);
                // A diode that conducts to the end of the period holds the pin above the supply, and without a lead there
                // that is taken for it: 0.7 V of 14.
                let bound = if clamp.is_none() && !supply {
                    0.07
                } else {
                    0.02
                };
                let suspect = matches!(view.resistance, Reading::Suspect(_, Why::NoLead));
                assert_eq!(suspect, clamp.is_none() && !supply, "{:?}", view.resistance);
                let (r, l) = (view.resistance.any(), view.inductance.any());
                let off = [
                    r.map(|r| r.0 / made.ohms() - 1.0),
                    l.map(|l| l.0 / henries - 1.0),
                ];
                let [Some(r), Some(l)] = off else {
                    panic!(
                        "{made:?} {supply}: {:?} {:?}",
                        view.resistance, view.inductance
                    );
                };
                assert!(
                    r.abs() < bound && l.abs() < 0.03 + bound,
                    "{made:?} supply {supply}: {r} {l}"
                );
                if bound < 0.05 {
                    worst = [worst[0].max(r.abs()), worst[1].max(l.abs())];
                }
            }
        }
    }
    assert!(worst[0] > 0.0);
}

#[test]
fn the_flyback_is_told_apart() {
    let seen = |made, bench: &Bench| switched(bench, made, 1.5).flyback;
    for volts in [40.0, 45.0, 53.0, 60.0] {
        let made = Made {
            clamp: Some(volts),
            ..VECTOR
        };
        assert!(matches!(seen(made, &BENCH), Flyback::Clamped(v) if (v.0 - volts).abs() < 0.5));
    }
    let diode = Made {
        clamp: None,
        ..VECTOR
    };
    assert!(matches!(seen(diode, &BENCH), Flyback::Diode(v) if (v.0 - 14.7).abs() < 0.2));
    // The diode conducts to the end of the period: without a supply lead nothing shows that it does.
    let alone = Bench {
        supply: false,
        clamp: false,
        ..BENCH
    };
    assert_eq!(
        seen(
            Made {
                henries: 0.06,
                ..diode
            },
            &alone
        ),
        Flyback::Unknown(Why::NoLead)
    );
    // A range of 20 V cuts the clamp off, and that is said.
    let narrow = Bench {
        range: 20.0,
        ..BENCH
    };
    assert_eq!(seen(VECTOR, &narrow), Flyback::Unknown(Why::Clipped));
    assert_eq!(switched(&narrow, VECTOR, 1.5).condition, Condition::Sound);
    // 5 kS/s see two samples of it.
    let slow = Bench {
        rate: 5_000.0,
        ..BENCH
    };
    assert_eq!(seen(VECTOR, &slow), Flyback::Unknown(Why::TooFewSamples));
}

/// A pin that switches with nothing on it but a pull-up: no flyback, no current.
#[test]
fn without_a_load_nothing_answers() {
    let bench = Bench {
        clamp: false,
        ..BENCH
    };
    let views = watch(&bench, 2.5, |t| {
        let on = (t * 250.0).fract() < 0.46;
        [0.0, if on { 0.02 } else { 14.0 }, 14.0]
    });
    let view = views.last().expect("looks");
    assert_eq!(
        (view.condition, view.flyback),
        (Condition::NoLoad, Flyback::Absent)
    );
    assert!(view.possible.contains(&CircuitCause::CoilOpen) && view.separated_by.is_some());
}

/// 0.32 and 0.65 ohms: TLE8104E, typical and most, 1 A. 0.18 and 0.36: TLE8102SG, 2 A.
#[test]
fn low_levels_within_the_data_sheets_are_borne() {
    for driver in [0.18, 0.32, 0.36, 0.65] {
        for clamp in [true, false] {
            let made = Made {
                driver,
                duty: 0.9,
                ..VECTOR
            };
            let view = switched(&Bench { clamp, ..BENCH }, made, 2.5);
            if driver * 14.0 / made.ohms() < 0.9 || clamp {
                assert_eq!(
                    view.condition,
                    Condition::Sound,
                    "{driver} {clamp}: {}",
                    view.sentence
                );
            }
        }
    }
    for driver in [1.0, 1.3] {
        let made = Made {
            driver,
            duty: 0.8,
            ..VECTOR
        };
        let view = switched(&BENCH, made, 2.5);
        assert_eq!(view.condition, Condition::LowLevelHigh, "{}", view.sentence);
        assert_eq!(view.possible, [CircuitCause::GroundResistance]);
    }
}

#[test]
fn a_feed_with_resistance_sags_in_step_with_the_command() {
    let made = Made {
        feed: 1.2,
        duty: 0.6,
        ..VECTOR
    };
    let view = switched(&BENCH, made, 4.0);
    let expected = made.feed * made.at(0.95 * made.duty / made.hertz)[0];
    let sag = view.sag.valid().expect("a supply lead").0;
    assert!((sag - expected).abs() < 0.12, "{sag} for {expected}");
    assert_eq!(view.condition, Condition::SupplyLow, "{}", view.sentence);
    assert_eq!(view.possible, [CircuitCause::FeedResistance]);
    let seen = switched(
        &Bench {
            supply: false,
            ..BENCH
        },
        made,
        4.0,
    );
    assert_eq!(seen.condition, Condition::Sound);
    assert_eq!(seen.sag, Reading::Missing(Why::NoLead));
}

/// The pin switches for a second and a half, then stands at a level with a current.
fn then_stands(bench: &Bench, pin: f64, amperes: f64) -> Arc<CircuitView> {
    let views = watch(bench, 6.0, |t| {
        if t < 1.5 {
            VECTOR.at(t.rem_euclid(0.004))
        } else {
            [amperes, pin, 14.0]
        }
    });
    Arc::clone(views.last().expect("looks"))
}

#[test]
fn a_clamp_makes_what_is_possible_fewer() {
    use CircuitCause::{CoilOpen, DriverAlwaysOn, FeedOpen, ShortToGround, WireTowardsValve};
    let alone = Bench {
        clamp: false,
        ..BENCH
    };
    let open = [WireTowardsValve, CoilOpen, FeedOpen];
    // At ground, with 1.75 A and without.
    let low = then_stands(&alone, 0.3, 0.0);
    assert_eq!(low.condition, Condition::StandsLow, "{}", low.sentence);
    assert_eq!(low.possible.len(), 5);
    assert_eq!(
        then_stands(&BENCH, 0.3, 1.7).possible,
        [DriverAlwaysOn, ShortToGround]
    );
    assert_eq!(then_stands(&BENCH, 0.3, 0.0).possible, open);
    // In between: the driver's diagnosis holds an open pin at 2 to 3 V (TLE8102SG data sheet), or a bad contact to ground.
    let floats = then_stands(&alone, 2.5, 0.0);
    assert_eq!(floats.condition, Condition::StandsBetween);
    assert_eq!(
        floats.possible,
        [WireTowardsValve, CoilOpen, FeedOpen, ShortToGround]
    );
    assert_eq!(then_stands(&BENCH, 2.5, 0.0).possible, open);
    assert_eq!(then_stands(&BENCH, 2.5, 1.4).possible, [ShortToGround]);
}

#[test]
fn a_pin_at_the_supply_is_told_with_what_would_separate() {
    let view = then_stands(&BENCH, 14.0, 0.0);
    assert_eq!(view.condition, Condition::StandsHigh);
    assert!(
        (view.since.0 / 200_000.0 - 1.5).abs() < 0.01,
        "{:?}",
        view.since
    );
    assert_eq!(view.possible.len(), 3);
    assert!(
        view.separated_by
            .as_deref()
            .is_some_and(|s| s.contains("ignition off"))
    );
    assert_eq!(view.losses.len(), 1);
    assert_eq!(view.losses[0].to, None);
    // A driver that shuts off pulls it down for 60 µs each period: then it is known.
    let views = watch(&BENCH, 4.0, |t| {
        let dip = (t * 250.0).fract() < 0.015;
        match t < 1.5 {
            true => VECTOR.at(t.rem_euclid(0.004)),
            false => [0.0, if dip { 13.35 } else { 14.0 }, 14.0],
        }
    });
    let view = views.last().expect("looks");
    assert_eq!(view.condition, Condition::StandsHigh, "{}", view.sentence);
    assert_eq!(view.possible, [CircuitCause::ShortToSupply]);
}

#[test]
fn nothing_is_said_through_a_lead_that_is_not_proven_or_without_a_running_engine() {
    for proof in [ProofState::Doubtful, ProofState::Silent] {
        let view = then_stands(&Bench { proof, ..BENCH }, 14.0, 0.0);
        assert_eq!(view.condition, Condition::NotShown);
        assert!(view.sentence.contains("touch test"), "{}", view.sentence);
        assert!(view.possible.is_empty());
    }
    for rpm in [None, Some(0.0), Some(220.0)] {
        for pin in [0.0, 2.5, 14.0] {
            let view = then_stands(&Bench { rpm, ..BENCH }, pin, 0.0);
            assert_eq!(view.condition, Condition::NotShown, "{}", view.sentence);
        }
    }
}

/// Pulses missing for 20 to 300 ms, as in vibration; each with its time, its speed and its turns.
#[test]
fn each_loss_is_listed() {
    let gaps = [(1.6, 0.020), (1.9, 0.050), (2.4, 0.300)];
    let lost = |t: f64| {
        gaps.iter()
            .any(|(from, lasts)| t >= *from && t < from + lasts)
    };
    let views = watch(&BENCH, 4.0, |t| {
        if lost(t) {
            [0.0, 14.0, 14.0]
        } else {
            VECTOR.at(t.rem_euclid(0.004))
        }
    });
    let view = views.last().expect("looks");
    assert_eq!(view.condition, Condition::LostAtTimes, "{}", view.sentence);
    assert_eq!(view.losses.len(), gaps.len(), "{:?}", view.losses);
    for (loss, (from, lasts)) in view.losses.iter().zip(gaps) {
        let seconds = (loss.to.expect("it came back").0 - loss.from.0) / 200_000.0;
        assert!((loss.from.0 / 200_000.0 - from).abs() < 0.005, "{loss:?}");
        assert!((seconds - lasts).abs() < 0.005, "{loss:?}");
        assert!((loss.turns.expect("speed known") - 25.0 * lasts).abs() < 0.2);
        assert_eq!(loss.speed, Some(Rpm(1500.0)));
        assert!(
            (loss.duty.expect("known").0 - 43.3).abs() < 1.0 && (loss.level.0 - 14.0).abs() < 0.1
        );
    }
    assert!((view.since.0 / 200_000.0 - 1.6).abs() < 0.01);
    // No change told twice: sound, lost for a time, told as lost.
    let mut course: Vec<Condition> = views.iter().map(|v| v.condition).collect();
    course.dedup();
    assert!(course.len() <= 5, "{course:?}");
}

/// A change of frequency, or of duty from end to end, is no loss.
#[test]
fn what_a_controller_may_do_is_no_loss() {
    let views = watch(&BENCH, 5.0, |t| {
        let made = match t {
            _ if t < 1.5 => VECTOR,
            _ if t < 2.5 => Made {
                hertz: 90.0,
                ..VECTOR
            },
            _ if t < 3.5 => Made {
                hertz: 300.0,
                duty: 0.04,
                ..VECTOR
            },
            _ => Made {
                duty: 0.96,
                ..VECTOR
            },
        };
        made.at(t.rem_euclid(1.0 / made.hertz))
    });
    let view = views.last().expect("looks");
    assert!(view.losses.is_empty(), "{:?}", view.losses);
    assert!(
        views
            .iter()
            .all(|v| matches!(v.condition, Condition::Sound | Condition::NotShown))
    );
}

#[test]
fn turns_that_short_while_it_runs_are_seen_by_the_coil_against_itself() {
    let short = Made {
        coil: VECTOR.coil * 0.65,
        henries: VECTOR.henries * 0.4225,
        ..VECTOR
    };
    let views = watch(&BENCH, 7.0, |t| {
        let made = if t < 3.0 { VECTOR } else { short };
        made.at(t.rem_euclid(1.0 / made.hertz))
    });
    let view = views.last().expect("looks");
    assert_eq!(view.condition, Condition::CurrentWrong, "{}", view.sentence);
    assert_eq!(view.possible, [CircuitCause::CoilShorted]);
}
