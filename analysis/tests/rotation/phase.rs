//! Cam phase and the cycle.

use crate::motion::{From, Motion, RATE, TrueEdge, edges, feed, rotation, van, van_36_1};
use keyway_analysis::edge::Edge;
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::Sync;
use keyway_analysis::units::SampleTime;
use proptest::prelude::*;

fn check(sheet: &EngineSheet, motion: Motion, start: f64, phases: [f64; 2]) {
    let list = edges(sheet, motion, [start, start + 24.0 * 360.0], |cam, _| {
        phases[cam]
    });
    let mut r = rotation(sheet);
    feed(&mut r, &list, |_, _| {});
    let label = format!(
        "{} {} rpm from {start}, {phases:?}",
        sheet.crank.wheel, motion.rpm
    );
    assert_eq!(r.sync(), Sync::Cycle, "{label}");
    for (cam, due) in phases.iter().enumerate() {
        let got = r
            .phase(cam)
            .valid()
            .unwrap_or_else(|| panic!("{label}: {:?}", r.phase(cam)))
            .0;
        assert!((got - due).abs() < 0.02, "{label}: {got}");
        assert!(r.spread(cam).is_some_and(|s| s.0 < 0.05), "{label}");
        let windows = r.windows(cam);
        assert_eq!(windows.len(), 4, "{label}");
        for [rising, falling] in windows {
            assert!(
                sheet.cams[cam].windows.iter().any(|w| {
                    let off = |a: f64, b: f64| {
                        ((a - b - due + 360.0).rem_euclid(720.0) - 360.0).abs() < 0.1
                    };
                    off(w[0], rising.degrees()) && off(w[1], falling.degrees())
                }),
                "{label}"
            );
        }
    }
    assert_eq!(r.stray_cam_edges(), 0, "{label}");
    let mut n = 0;
    for s in r.drain_phase_samples() {
        assert!((s.phase.0 - phases[s.cam]).abs() < 0.05, "{label}: {s:?}");
        n += 1;
    }
    // 24 revolutions less the search: at least 8 cycles of 16 edges.
    assert!(n >= 128, "{label}: {n}");
}

/// The edge of one revolution ago is never exactly 720 degrees back; no window may count twice for it.
#[test]
fn windows_are_counted_once_on_a_moving_cam() {
    let sheet = van();
    for drift in [0.002, -0.002] {
        let list = edges(&sheet, Motion::steady(1500.0), [0.0, 9000.0], |_, angle| {
            drift * (angle - 4500.0).clamp(0.0, 4000.0)
        });
        let mut r = rotation(&sheet);
        let mut looks = 0;
        feed(&mut r, &list, |r, _| {
            if r.sync() == Sync::Cycle && r.phase(0).valid().is_some() {
                for cam in 0..2 {
                    let n = r.windows(cam).len();
                    assert!(n <= 4, "{n} windows, drift {drift}");
                    assert_eq!(r.note(Role::Cam(sheet.cams[cam].cam)), "4 windows");
                }
                looks += 1;
            }
        });
        assert!(looks > 20, "{looks}");
    }
}

#[test]
fn phase_at_rest_and_driven_from_700_to_6500_rpm() {
    for sheet in [van(), van_36_1()] {
        for rpm in [700.0, 3000.0, 6500.0] {
            for start in [0.0, 200.0, 360.0, 500.0] {
                for phases in [[0.0, 0.0], [50.0, -45.0], [20.0, 0.0]] {
                    check(
                        &sheet,
                        Motion {
                            ripple: 0.03,
                            ..Motion::steady(rpm)
                        },
                        start,
                        phases,
                    );
                }
            }
        }
    }
}

#[test]
fn phase_while_cranking() {
    for start in [0.0, 360.0] {
        check(
            &van(),
            Motion {
                ripple: 0.35,
                ..Motion::steady(150.0)
            },
            start,
            [0.0, 0.0],
        );
    }
}

#[test]
fn teeth_out_either_way_on_either_cam() {
    for teeth in [-2.0, -1.0, 1.0, 2.0] {
        let out = teeth * 720.0 / 42.0;
        for start in [0.0, 360.0] {
            check(&van(), Motion::steady(800.0), start, [out, 0.0]);
            check(&van(), Motion::steady(800.0), start, [0.0, out]);
            check(&van(), Motion::steady(800.0), start, [out, out]);
        }
    }
}

#[test]
fn a_moving_phase_is_followed() {
    let sheet = van();
    // 800 rpm is 4800 degrees a second: 120 degrees of phase a second is one in 40.
    let sweep = |cam: usize, a: f64| {
        let way = ((a - 12.0 * 360.0).max(0.0) / 40.0).min(48.0);
        if cam == 0 { way } else { -0.9 * way }
    };
    let list = edges(
        &sheet,
        Motion {
            ripple: 0.03,
            ..Motion::steady(800.0)
        },
        [0.0, 30.0 * 360.0],
        sweep,
    );
    let mut r = rotation(&sheet);
    feed(&mut r, &list, |r, t| {
        if t.0 > 12.0 * 360.0 / 4800.0 * RATE {
            assert!(
                r.phase(0).valid().is_some() && r.phase(1).valid().is_some(),
                "{:?}",
                r.phase(0)
            );
        }
    });
    assert_eq!((r.sync(), r.stray_cam_edges()), (Sync::Cycle, 0));
    for s in r.drain_phase_samples() {
        let e = list
            .iter()
            .find(|e| e.edge.at == s.at && e.from == From::Cam(s.cam))
            .expect("the edge itself");
        let [rising, falling] = sheet.cams[s.cam].windows[s.edge / 2];
        let due = if s.edge % 2 == 0 { rising } else { falling } - e.angle;
        let off = (s.phase.0 - due + 360.0).rem_euclid(720.0) - 360.0;
        assert!(off.abs() < 0.05, "{s:?} {due}");
    }
}

#[test]
fn one_cam_resolves_for_the_other() {
    let mut sheet = van();
    // Alike in both revolutions, this cam alone cannot tell.
    sheet.cams[0].windows = vec![
        [40.0, 130.0],
        [220.0, 270.0],
        [400.0, 490.0],
        [580.0, 630.0],
    ];
    let both = edges(
        &sheet,
        Motion::steady(900.0),
        [0.0, 20.0 * 360.0],
        |_, _| 0.0,
    );
    let alone: Vec<TrueEdge> = both
        .iter()
        .filter(|e| e.from != From::Cam(1))
        .copied()
        .collect();
    let mut r = rotation(&sheet);
    feed(&mut r, &both, |_, _| {});
    assert_eq!(r.sync(), Sync::Cycle);
    assert!(r.phase(0).valid().is_some_and(|p| p.0.abs() < 0.01));
    let mut r = rotation(&sheet);
    feed(&mut r, &alone, |_, _| {});
    assert_eq!(r.sync(), Sync::Revolution);
    assert_eq!(r.phase(0), Reading::Missing(Why::CycleUnresolved));
    assert_eq!(r.phase(1), Reading::Missing(Why::NoEdges));
    assert!(r.windows(0).is_empty());
}

#[test]
fn missing_and_stray_edges() {
    let sheet = van();
    let clean = edges(
        &sheet,
        Motion::steady(1200.0),
        [0.0, 40.0 * 360.0],
        |_, _| 10.0,
    );
    let mut list = Vec::new();
    for (i, e) in clean.iter().enumerate() {
        let drop = e.from == From::Cam(0) && i % 7 == 0;
        if !drop {
            list.push(*e);
        }
        if e.from == From::Cam(0) && i % 11 == 0 && e.edge.kind == EdgeKind::Falling {
            let mut extra = *e;
            extra.edge.at.0 += 0.3 * RATE * 60.0 / 1200.0 * 60.0 / 360.0;
            extra.edge.kind = EdgeKind::Rising;
            list.push(extra);
        }
    }
    list.sort_by(|a, b| a.edge.at.0.total_cmp(&b.edge.at.0));
    let mut r = rotation(&sheet);
    feed(&mut r, &list, |_, _| {});
    assert_eq!(r.sync(), Sync::Cycle);
    assert!(
        r.phase(0).any().is_some_and(|p| (p.0 - 10.0).abs() < 0.5),
        "{:?}",
        r.phase(0)
    );
    assert!(
        r.phase(1)
            .valid()
            .is_some_and(|p| (p.0 - 10.0).abs() < 0.01)
    );
    assert!(r.stray_cam_edges() > 0);
}

#[test]
fn a_cam_that_falls_silent_turns_stale_and_then_missing() {
    let sheet = van();
    let mut list = edges(
        &sheet,
        Motion::steady(800.0),
        [0.0, 40.0 * 360.0],
        |_, _| 5.0,
    );
    let silent = 20.0 * 360.0;
    list.retain(|e| !(e.from == From::Cam(1) && e.angle > silent));
    let mut r = rotation(&sheet);
    let mut log = Vec::new();
    feed(&mut r, &list, |r, t| log.push((t.0, r.phase(1))));
    let after = |turns: f64| {
        let t = (20.0 + turns) * 60.0 / 800.0 * RATE + 1000.0;
        log.iter().find(|l| l.0 > t).expect("a block").1
    };
    assert!(after(2.0).valid().is_some(), "{:?}", after(2.0));
    assert!(
        matches!(after(4.5), Reading::Stale(p, age) if (p.0 - 5.0).abs() < 0.01 && age.0 > 0.2),
        "{:?}",
        after(4.5)
    );
    assert_eq!(after(8.0), Reading::Missing(Why::NoEdges));
    assert!(r.phase(0).valid().is_some());
    assert_eq!(r.note(Role::Crank), "60-2, locked");
    assert_eq!(r.note(Role::Cam(CamId::INTAKE)), "4 windows");
}

#[test]
fn a_pattern_that_is_not_the_sheets_is_called_so() {
    let sheet = van();
    let mut other = van();
    other.cams[0].windows = vec![[10.0, 30.0], [100.0, 300.0], [333.0, 700.0]];
    let list = edges(
        &other,
        Motion::steady(800.0),
        [0.0, 20.0 * 360.0],
        |_, _| 0.0,
    );
    let mut r = rotation(&sheet);
    feed(&mut r, &list, |_, _| {});
    assert_eq!(r.sync(), Sync::Cycle);
    assert_eq!(r.phase(0), Reading::Missing(Why::PatternMismatch));
    assert!(r.phase(1).valid().is_some());
}

#[test]
fn a_sheet_with_a_mistake_is_refused() {
    use keyway_analysis::rotation::Rotation;
    use keyway_analysis::units::{CrankDegrees, Hertz};
    let refused = |change: fn(&mut EngineSheet)| {
        let mut sheet = van();
        change(&mut sheet);
        Rotation::new(&sheet, Hertz(RATE))
            .err()
            .map(|e| e.to_string())
            .unwrap_or_default()
    };
    assert!(refused(|s| s.crank.wheel = "sixty".into()).contains("60-2"));
    assert!(refused(|s| s.crank.gap_to_tdc = CrankDegrees(f64::NAN)).contains("gap_to_tdc"));
    assert!(refused(|s| s.cams[1].windows[0] = [700.0, 600.0]).contains("exhaust"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_edges_never_panic(
        moves in prop::collection::vec((0_u8..8, -50.0_f64..3000.0, any::<bool>()), 0..800),
        regular in 1.0_f64..2000.0,
    ) {
        let mut r = rotation(&van());
        let mut t = 0.0;
        for (what, step, rising) in moves {
            t += if rising { regular } else { step };
            let at = SampleTime(if what == 7 { f64::NAN } else { t });
            let kind = if rising { EdgeKind::Rising } else { EdgeKind::Falling };
            match what {
                0..=3 => r.push_crank(Edge { at, kind: EdgeKind::Falling }),
                4 => r.push_cam(0, Edge { at, kind }),
                5 => r.push_cam(1, Edge { at, kind }),
                6 if step > 2900.0 => r.gap(SampleTime(t)),
                _ => r.settle(SampleTime(t)),
            }
            let _ = (r.phase(0), r.phase(9), r.spread(1), r.windows(0), r.cycle_starts(), r.angle_at(at));
            let _ = (r.speed(keyway_analysis::units::Seconds(0.2)), r.tooth_speed(), r.cycle_speed());
        }
    }

    #[test]
    fn a_good_stream_with_arbitrary_spoiled_edges_recovers(
        spoiled in prop::collection::vec((0_usize..2000, -200.0_f64..200.0, any::<bool>()), 0..20),
    ) {
        let sheet = van();
        let mut list = edges(&sheet, Motion::steady(1000.0), [0.0, 26.0 * 360.0], |_, _| 7.0);
        for (i, by, twice) in spoiled {
            if twice {
                let e = list[i];
                list.push(e);
            }
            list[i].edge.at.0 += by;
        }
        list.sort_by(|a, b| a.edge.at.0.total_cmp(&b.edge.at.0));
        let mut r = rotation(&sheet);
        feed(&mut r, &list, |_, _| {});
        prop_assert_eq!(r.sync(), Sync::Cycle);
        for cam in [0, 1] {
            prop_assert!(r.phase(cam).valid().is_some_and(|p| (p.0 - 7.0).abs() < 0.05), "{:?}", r.phase(cam));
        }
    }
}
