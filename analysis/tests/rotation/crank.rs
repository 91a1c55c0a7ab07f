//! The crank alone: gaps, loss and recovery, angle, speed.

use crate::motion::{From, Motion, RATE, TrueEdge, edges, feed, rotation, van, van_36_1, wheel};
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::Sync;
use keyway_analysis::units::{SampleTime, Seconds};

const WINDOW: Seconds = Seconds(0.2);

fn rest(_: usize, _: f64) -> f64 {
    0.0
}

/// V8 while cranking: 85 to 225 rpm, four ripples in a revolution.
fn cranking(from: f64) -> Motion {
    Motion {
        rpm: 155.0,
        ripple: 70.0 / 155.0,
        order: 4.0,
        from,
        ..Motion::steady(0.0)
    }
}

fn teeth(list: &[TrueEdge]) -> Vec<f64> {
    list.iter()
        .filter(|e| e.from == From::Crank && e.edge.kind == EdgeKind::Falling)
        .map(|e| e.edge.at.0)
        .collect()
}

#[test]
fn every_gap_and_no_other_while_cranking_with_ripple() {
    let mut sheet = van();
    sheet.cylinders = 8;
    let (mut least, mut most, mut least_mean, mut most_mean) =
        (f64::MAX, 0.0_f64, f64::MAX, 0.0_f64);
    for step in 0..72 {
        let list = edges(
            &sheet,
            cranking(f64::from(step) * 5.0),
            // A few teeth more than to the last gap, so that it is certain at any phase of the ripple.
            [-90.0, 8.0 * 360.0 - 60.0],
            rest,
        );
        let at = teeth(&list);
        for i in 2..at.len() - 1 {
            // The true gap is the one interval three times as wide as the nominal pitch.
            let (a, b, c) = (at[i - 1] - at[i - 2], at[i] - at[i - 1], at[i + 1] - at[i]);
            if (i - 1) % 58 == 54 {
                least = least.min(b / a);
                most = most.max(b / a);
                least_mean = least_mean.min(2.0 * b / (a + c));
                most_mean = most_mean.max(2.0 * b / (a + c));
            }
        }
        let mut r = rotation(&sheet);
        feed(&mut r, &list, |_, _| {});
        assert_eq!(r.sync_losses(), 0, "ripple from {}", step * 5);
        assert_eq!(r.revolutions(), 7, "ripple from {}", step * 5);
        assert!(matches!(r.sync(), Sync::Cycle), "{:?}", r.sync());
    }
    // Engineering table: gap to previous 2.05 to 4.48, gap to mean of its neighbours 2.70 to 3.63.
    for (got, due) in [
        (least, 2.05),
        (most, 4.48),
        (least_mean, 2.70),
        (most_mean, 3.63),
    ] {
        assert!((got - due).abs() < 0.02, "{got} {due}");
    }
}

#[test]
fn cranking_a_36_1_four_cylinder() {
    let sheet = van_36_1();
    for step in 0..36 {
        let motion = Motion {
            rpm: 150.0,
            ripple: 0.35,
            from: f64::from(step) * 10.0,
            ..Motion::steady(0.0)
        };
        let list = edges(&sheet, motion, [0.0, 8.0 * 360.0], rest);
        let mut r = rotation(&sheet);
        feed(&mut r, &list, |_, _| {});
        assert_eq!(
            (r.sync_losses(), r.revolutions()),
            (0, 7),
            "ripple from {}",
            step * 10
        );
    }
}

fn check_steady(sheet: &EngineSheet, rpm: f64) {
    let list = edges(sheet, Motion::steady(rpm), [-17.0, 20.0 * 360.0], rest);
    let mut r = rotation(sheet);
    feed(&mut r, &list, |_, _| {});
    for reading in [
        r.speed(WINDOW),
        r.tooth_speed(),
        r.revolution_speed(),
        r.cycle_speed(),
    ] {
        let got = reading.valid().expect("a speed").0;
        assert!((got / rpm - 1.0).abs() < 1e-9, "{rpm}: {got}");
    }
    assert!(
        r.drain_revolutions()
            .all(|v| (v.speed.0 / rpm - 1.0).abs() < 1e-9)
    );
    for e in &list[list.len() - 300..list.len() - 3] {
        let angle = r.angle_at(e.edge.at).expect("an angle").degrees();
        let off = (angle - e.angle + 360.0).rem_euclid(720.0) - 360.0;
        assert!(off.abs() < 1e-6, "{rpm}: {off}");
    }
}

#[test]
fn steady_speed_is_exact() {
    for rpm in [150.0, 700.0, 3000.0, 6500.0] {
        check_steady(&van(), rpm);
        check_steady(&van_36_1(), rpm);
    }
}

#[test]
fn angle_between_teeth_and_across_the_gap_with_ripple() {
    let cases = [
        (van(), 800.0, 0.05, 2.0, 0.01),
        (van_36_1(), 800.0, 0.05, 2.0, 0.01),
        (van(), 155.0, 0.45, 4.0, 0.25),
        (van_36_1(), 150.0, 0.35, 2.0, 0.10),
    ];
    for (mut sheet, rpm, ripple, order, limit) in cases {
        if order > 3.0 {
            sheet.cylinders = 8;
        }
        let motion = Motion {
            rpm,
            ripple,
            order,
            ..Motion::steady(0.0)
        };
        // The rising edges lie between the active ones, and cam edges everywhere.
        let list = edges(&sheet, motion, [0.0, 16.0 * 360.0], |cam, a| {
            if cam == 0 { a / 100.0 } else { 0.0 }
        });
        let mut r = rotation(&sheet);
        feed(&mut r, &list, |_, _| {});
        let mut worst = 0.0_f64;
        // While ripple is strong the last teeth may not be certain yet.
        let last = list.len() - if ripple > 0.2 { 60 } else { 10 };
        let since = list
            .iter()
            .position(|e| e.angle > 8.0 * 360.0)
            .expect("an edge");
        for e in &list[since..last] {
            let angle = r.angle_at(e.edge.at).expect("an angle").degrees();
            worst = worst.max(((angle - e.angle + 360.0).rem_euclid(720.0) - 360.0).abs());
        }
        assert!(worst < limit, "{} {rpm} rpm: {worst}", sheet.crank.wheel);
    }
}

#[test]
fn hard_acceleration_keeps_the_pattern() {
    let sheet = van();
    let motion = Motion {
        rpm: 700.0,
        rpm_per_second: 5000.0,
        ripple: 0.02,
        ..Motion::steady(0.0)
    };
    let list = edges(&sheet, motion, [0.0, 70.0 * 360.0], rest);
    let mut r = rotation(&sheet);
    feed(&mut r, &list, |_, _| {});
    assert_eq!(r.sync_losses(), 0);
    let seconds = (list[list.len() - 1].edge.at.0 - 1000.0) / RATE;
    let now = 700.0 + 5000.0 * seconds;
    assert!(now > 6400.0, "{now}");
    let revolution = r.revolution_speed().valid().expect("a speed").0;
    // A mean over a turn lags half a turn behind.
    assert!(
        (revolution - (now - 5000.0 * 30.0 / now)).abs() < 30.0,
        "{revolution} {now}"
    );
}

/// Feeds edges that turn bad at an angle: lost within a turn of it, found again within two.
fn check_recovery(list: &[TrueEdge], bad_from: f64) {
    let mut r = rotation(&van());
    let (mut lost, mut found) = (None, None);
    feed(&mut r, list, |r, t| {
        let locked = matches!(r.sync(), Sync::Revolution | Sync::Cycle);
        if r.sync_losses() > 0 && lost.is_none() {
            lost = Some(t.0);
        }
        if lost.is_some() && found.is_none() && locked {
            found = Some(t.0);
        }
    });
    assert_eq!(r.sync_losses(), 1, "{bad_from}");
    let first = list.iter().find(|e| e.angle > bad_from).expect("an edge");
    let turn = RATE * 60.0 / 800.0;
    let (lost, found) = (lost.expect("lost"), found.expect("found"));
    let (lost, found) = (lost - first.edge.at.0, found - lost);
    assert!(lost < turn + 1024.0, "{bad_from}: {lost}");
    assert!(found < 2.0 * turn + 1024.0, "{bad_from}: {found}");
    let e = list[list.len() - 20];
    let angle = r.angle_at(e.edge.at).expect("an angle").degrees();
    assert!(
        (angle - e.angle.rem_euclid(720.0)).abs() < 0.01,
        "{bad_from}"
    );
}

#[test]
fn vanished_teeth_cost_at_most_three_turns() {
    for cut in [700.0, 1000.0, 1500.0] {
        let mut list = edges(&van(), Motion::steady(800.0), [0.0, 12.0 * 360.0], rest);
        list.retain(|e| !(e.from == From::Crank && e.angle > cut && e.angle < cut + 24.0));
        check_recovery(&list, cut);
    }
}

#[test]
fn two_vanished_teeth_are_borne() {
    for cut in [1000.0, 1500.0, 2000.0] {
        let mut list = edges(&van(), Motion::steady(800.0), [0.0, 12.0 * 360.0], rest);
        list.retain(|e| !(e.from == From::Crank && e.angle > cut && e.angle < cut + 13.0));
        let mut r = rotation(&van());
        feed(&mut r, &list, |_, _| {});
        assert_eq!(r.sync_losses(), 0, "{cut}");
        let e = list[list.len() - 20];
        let angle = r.angle_at(e.edge.at).expect("an angle").degrees();
        assert!((angle - e.angle.rem_euclid(720.0)).abs() < 0.01, "{cut}");
    }
}

#[test]
fn a_wheel_that_slips_is_noticed_within_a_turn() {
    let sheet = van();
    for teeth in [1.0, 2.0, 5.0, 20.0, -1.0, -3.0] {
        // Before the slip the wheel stands elsewhere; after it, where the sheet says.
        let mut before = sheet.clone();
        before.crank.gap_to_tdc.0 += 6.0 * teeth;
        let cut = 5.0 * 360.0 + 3.0;
        let all = |sheet| edges(sheet, Motion::steady(800.0), [0.0, 14.0 * 360.0], rest);
        let is_late = |e: &TrueEdge| e.angle >= cut || e.from != From::Crank;
        let mut slipped: Vec<TrueEdge> = all(&before).into_iter().filter(|e| !is_late(e)).collect();
        slipped.extend(all(&sheet).into_iter().filter(is_late));
        slipped.sort_by(|a, b| a.edge.at.0.total_cmp(&b.edge.at.0));
        check_recovery(&slipped, cut);
    }
}

#[test]
fn doubled_edges_and_one_missing_tooth_are_borne() {
    let sheet = van();
    let clean = edges(&sheet, Motion::steady(1500.0), [0.0, 20.0 * 360.0], rest);
    let mut list = Vec::new();
    for (i, e) in clean.iter().enumerate() {
        if e.from == From::Crank && i % 97 == 3 && i % 2 == 1 {
            let mut twin = *e;
            twin.edge.at.0 += 2.0;
            list.push(*e);
            list.push(twin);
        } else if !(e.from == From::Crank && (3000.0..3006.0).contains(&e.angle)) {
            list.push(*e);
        }
    }
    let mut r = rotation(&sheet);
    feed(&mut r, &list, |_, _| {});
    assert_eq!(r.sync_losses(), 0);
    let e = clean[clean.len() - 20];
    let angle = r.angle_at(e.edge.at).expect("an angle").degrees();
    assert!((angle - e.angle.rem_euclid(720.0)).abs() < 0.01);
}

#[test]
fn stop_and_restart() {
    let sheet = van();
    let mut list = edges(&sheet, Motion::steady(800.0), [0.0, 8.0 * 360.0], rest);
    let stopped = list[list.len() - 1].edge.at.0;
    let again = edges(&sheet, Motion::steady(200.0), [0.0, 8.0 * 360.0], rest);
    let restart = stopped + RATE;
    list.extend(again.iter().map(|e| {
        let mut e = *e;
        e.edge.at.0 += restart;
        e
    }));
    let mut r = rotation(&sheet);
    let mut log = Vec::new();
    feed(&mut r, &list, |r, t| {
        log.push((t.0, r.sync(), r.speed(WINDOW)))
    });
    let at = |t: f64| log.iter().find(|l| l.0 > t).expect("a block");
    assert!(matches!(at(stopped).1, Sync::Cycle));
    assert!(matches!(at(stopped + 0.2 * RATE).2, Reading::Stale(..)));
    assert_eq!(at(stopped + 0.4 * RATE).1, Sync::Stopped);
    assert_eq!(
        at(stopped + 0.4 * RATE).2,
        Reading::Missing(Why::EngineStopped)
    );
    // Nothing is believed before two gaps: one turn takes 0.3 s.
    assert_eq!(at(restart + 0.25 * RATE).1, Sync::Searching);
    assert_eq!(log[log.len() - 1].1, Sync::Cycle);
    assert_eq!(r.sync_losses(), 0);
}

#[test]
fn nothing_is_measured_across_lost_samples() {
    let sheet = van();
    let list = edges(&sheet, Motion::steady(3000.0), [0.0, 40.0 * 360.0], rest);
    let middle = list[list.len() / 2].edge.at.0;
    let hole = middle..middle + 3000.0;
    let (before, after): (Vec<_>, Vec<_>) = list
        .iter()
        .filter(|e| !hole.contains(&e.edge.at.0))
        .partition(|e| e.edge.at.0 < hole.start);
    let mut r = rotation(&sheet);
    feed(&mut r, &before, |_, _| {});
    r.gap(SampleTime(hole.end));
    assert_eq!(r.sync(), Sync::Searching);
    assert!(r.speed(WINDOW).valid().is_none() && r.phase(0).valid().is_none());
    feed(&mut r, &after, |_, _| {});
    assert_eq!((r.sync(), r.sync_losses()), (Sync::Cycle, 0));
    let (n, _) = wheel(&sheet);
    assert_eq!(n, 60);
    for v in r.drain_revolutions() {
        assert!((v.speed.0 - 3000.0).abs() < 1e-6);
    }
}

#[test]
fn cycles_for_locked_views() {
    let sheet = van();
    let motion = Motion {
        rpm: 900.0,
        ripple: 0.04,
        ..Motion::steady(0.0)
    };
    let list = edges(&sheet, motion, [0.0, 20.0 * 360.0], rest);
    let mut r = rotation(&sheet);
    feed(&mut r, &list, |_, _| {});
    let starts = r.cycle_starts();
    assert!(starts.len() >= 5, "{}", starts.len());
    let start = starts[starts.len() - 2];
    assert!(
        r.angle_at(start)
            .expect("an angle")
            .since(Default::default())
            .0
            .abs()
            < 0.01
    );
    for e in list
        .iter()
        .rev()
        .filter(|e| e.from == From::Cam(0))
        .take(12)
    {
        let angle = r.angle_at(e.edge.at).expect("an angle");
        let own = starts
            .iter()
            .rev()
            .find(|s| s.0 <= e.edge.at.0)
            .expect("a start");
        let at = r.time_at(*own, angle).expect("a time");
        assert!(
            (at.0 - e.edge.at.0).abs() < 0.05,
            "{} {}",
            at.0,
            e.edge.at.0
        );
    }
}
