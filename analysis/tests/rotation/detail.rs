//! What single cam edges say: kinds apart, age, what is learnt at rest, the phase now, drift.

use crate::motion::{From, Motion, RATE, TrueEdge, edges, feed, rotation, van};
use keyway_analysis::drift::Drift;
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::phase::Extrapolation;
use keyway_analysis::reading::Reading;
use keyway_analysis::rotation::Rotation;
use keyway_analysis::units::{CrankDegrees, Hertz, SampleTime, Seconds};

/// Runout and teeth of the intake cam: crank degrees by which each reference edge comes early.
const OFF: [f64; 8] = [0.6, -0.2, -0.5, 0.3, 0.4, -0.4, -0.5, 0.3];

/// Which reference edge of the intake cam an edge at rest is.
fn reference(windows: &[[f64; 2]], at: f64, kind: EdgeKind) -> usize {
    let near = |r: f64| ((at - r + 360.0).rem_euclid(720.0) - 360.0).abs();
    let side = usize::from(kind == EdgeKind::Falling);
    (0..windows.len())
        .min_by(|&a, &b| near(windows[a][side]).total_cmp(&near(windows[b][side])))
        .expect("a window")
        * 2
        + side
}

/// The intake cam of the van with its own runout, rising edges `between` more advanced than falling ones.
fn runout(turns: f64, between: f64, base: impl Fn(f64) -> f64) -> Vec<TrueEdge> {
    let sheet = van();
    let windows = sheet.cams[0].windows.clone();
    let mut list = edges(
        &sheet,
        Motion::steady(800.0),
        [0.0, turns * 360.0],
        |cam, rest| {
            if cam == 0 { base(rest) } else { 0.0 }
        },
    );
    for e in list.iter_mut().filter(|e| e.from == From::Cam(0)) {
        let which = reference(&windows, e.angle + base(e.angle), e.edge.kind);
        let side = if e.edge.kind == EdgeKind::Rising {
            0.5
        } else {
            -0.5
        };
        // 800 rpm are 4800 degrees a second.
        e.edge.at.0 -= (OFF[which] + side * between) / 4800.0 * RATE;
    }
    list.sort_by(|a, b| a.edge.at.0.total_cmp(&b.edge.at.0));
    list
}

fn resting() -> Rotation {
    let mut r = rotation(&van());
    r.set_at_rest(0, true);
    r
}

#[test]
fn rising_and_falling_edges_are_kept_apart() {
    let mut r = resting();
    feed(&mut r, &runout(12.0, 2.0, |_| 3.0), |_, _| {});
    let d = r.phase_detail(0);
    let (rising, falling) = (d.rising.expect("rising"), d.falling.expect("falling"));
    assert_eq!((rising.edges, falling.edges), (4, 4));
    assert!((rising.phase.0 - 4.0).abs() < 0.02, "{rising:?}");
    assert!((falling.phase.0 - 2.0).abs() < 0.02, "{falling:?}");
    assert!(d.difference.is_some_and(|x| (x.0 - 2.0).abs() < 0.02));
    // Standard deviation of 0.6, -0.5, 0.4, -0.5.
    assert!(
        rising.spread.is_some_and(|s| (s.0 - 0.583).abs() < 0.02),
        "{rising:?}"
    );
    assert!(r.phase(0).valid().is_some_and(|p| (p.0 - 3.0).abs() < 0.02));
    // What is new: nothing learnt in so short a time.
    assert_eq!((d.cleaned, d.learnt), (None, None));
    assert_eq!(d.drift, Drift::Unknown);
}

#[test]
fn the_age_is_that_of_the_newest_edge() {
    let mut r = resting();
    let list = runout(12.0, 0.0, |_| 0.0);
    let mut looks = 0;
    feed(&mut r, &list, |r, t| {
        let Some(age) = r.phase_detail(0).age else {
            return;
        };
        let newest = list
            .iter()
            .filter(|e| e.from == From::Cam(0) && e.edge.at.0 < t.0)
            .map(|e| (t.0 - e.edge.at.0) / RATE)
            .fold(f64::INFINITY, f64::min);
        // An edge waits for two teeth and up to the end of the block.
        let wait = 24.0 / 4800.0 + 512.0 / RATE;
        assert!(age.age.0 >= newest - 1e-9 && age.age.0 <= newest + 120.0 / 4800.0 + wait);
        assert!(age.speed.is_some_and(|s| (s.0 - 800.0).abs() < 1.0));
        looks += 1;
    });
    assert!(looks > 100, "{looks}");
}

#[test]
fn runout_is_learnt_at_rest_and_taken_off_and_the_base_timing_is_not() {
    let list = runout(60.0, 2.0, |_| -5.0);
    let mut r = resting();
    feed(&mut r, &list, |_, _| {});
    let d = r.phase_detail(0);
    let learnt = d.learnt.expect("learnt");
    assert!(learnt.revolutions >= 15, "{}", learnt.revolutions);
    for (got, due) in learnt.offsets.iter().zip(OFF) {
        assert!((got.offset.0 - due).abs() < 0.02, "{got:?} {due}");
        assert!(got.spread.0 < 0.02, "{got:?}");
    }
    let cleaned = d.cleaned.expect("cleaned");
    assert!((cleaned.phase.0 + 5.0).abs() < 0.02, "{cleaned:?}");
    // The difference of the kinds is no runout and stays: ±1 in eight edges.
    assert!(cleaned.spread.is_some_and(|s| (s.0 - 1.069).abs() < 0.02));
    let (mut before, mut after) = (0.0_f64, 0.0_f64);
    for s in r.drain_phase_samples().filter(|s| s.cam == 0) {
        if let Some(learnt) = s.learnt {
            let side = if s.edge % 2 == 0 { 1.0 } else { -1.0 };
            before = before.max((s.phase.0 + 5.0 - side).abs());
            after = after.max((s.phase.0 - learnt.0 + 5.0 - side).abs());
        }
    }
    assert!(before > 0.55 && after < 0.03, "{before} {after}");
}

#[test]
fn nothing_is_learnt_while_the_phaser_is_not_known_to_rest_or_moves() {
    for (at_rest, rate) in [(false, 0.0), (true, 2.0)] {
        let mut r = rotation(&van());
        r.set_at_rest(0, at_rest);
        // Degrees a second, up and down again.
        let sway = move |a: f64| rate * ((a / 4800.0).rem_euclid(4.0) - 2.0).abs();
        feed(&mut r, &runout(60.0, 0.0, sway), |_, _| {});
        assert!(r.phase(0).valid().is_some());
        assert_eq!(r.phase_detail(0).learnt, None, "{at_rest} {rate}");
    }
}

/// What is learnt depends on the edges, not on the blocks in which they come.
#[test]
fn learning_does_not_depend_on_the_blocks() {
    let list = runout(60.0, 1.0, |_| 2.0);
    let mut whole = resting();
    feed(&mut whole, &list, |_, _| {});
    let mut single = resting();
    for e in &list {
        match e.from {
            From::Crank => single.push_crank(e.edge),
            From::Cam(cam) => single.push_cam(cam, e.edge),
        }
        single.settle(e.edge.at);
    }
    single.settle(SampleTime(list[list.len() - 1].edge.at.0 + 1024.0));
    let (a, b) = (whole.phase_detail(0), single.phase_detail(0));
    assert!(a.learnt.is_some());
    assert_eq!(a.learnt, b.learnt);
    assert_eq!(a.current, b.current);
}

#[test]
fn the_phase_now_does_not_lag_behind_a_fast_phaser() {
    // 60 degrees a second from turn 12 on: the rolling mean lags by half a cam revolution, 4.5 degrees.
    let way = |a: f64| ((a - 12.0 * 360.0).max(0.0) / 80.0).min(45.0);
    let sheet = van();
    let list = edges(
        &sheet,
        Motion::steady(800.0),
        [0.0, 20.0 * 360.0],
        |cam, a| {
            if cam == 0 { way(a) } else { 0.0 }
        },
    );
    let mut r = rotation(&sheet);
    let (mut rolling, mut current, mut carried, mut looks) = (0.0_f64, 0.0_f64, 0.0_f64, 0);
    feed(&mut r, &list, |r, t| {
        let angle = (t.0 - 1000.0) / RATE * 4800.0;
        if !(15.0 * 360.0..20.0 * 360.0).contains(&angle) {
            return;
        }
        let c = r.phase_detail(0).current.expect("a line");
        // The edge that belongs to angle a at rest comes earlier by its phase.
        let truth = |t: f64| {
            let a = (t - 1000.0) / RATE * 4800.0;
            let moved = (a - 12.0 * 360.0) / 79.0;
            moved.min(45.0)
        };
        let mean = r.phase(0).valid().expect("valid").0;
        rolling = rolling.max((mean - truth(t.0)).abs());
        current = current.max((c.phase.0 - truth(c.at.0)).abs());
        assert!((c.rate.0 - 60.0).abs() < 2.0, "{c:?}");
        let e = r
            .phase_extrapolated(0, Extrapolation::Rate)
            .expect("carried on");
        carried = carried.max((e.phase.0 - truth(t.0)).abs());
        assert!((e.from.0 - c.phase.0).abs() < 1e-9 && e.age.0 < 0.05 && e.age.0 > 0.0);
        looks += 1;
    });
    eprintln!(
        "phase  60°/s at 800 rpm: rolling mean off by up to {rolling:.2}°, line {current:.2}°, carried on {carried:.2}°"
    );
    assert!(looks > 100 && rolling > 4.0 && current < 0.1 && carried < 0.1);
}

#[test]
fn carrying_on_stops_where_the_travel_ends_and_needs_a_valid_phase() {
    let sheet = van();
    let list = edges(
        &sheet,
        Motion::steady(800.0),
        [0.0, 20.0 * 360.0],
        |_, _| 0.0,
    );
    let mut r = rotation(&sheet);
    assert_eq!(r.phase_extrapolated(0, Extrapolation::Rate), None);
    feed(&mut r, &list, |_, _| {});
    let toward = |target| Extrapolation::FirstOrder {
        target: CrankDegrees(target),
        time_constant: Seconds(1e-6),
    };
    let at = |target| {
        r.phase_extrapolated(0, toward(target))
            .expect("carried on")
            .phase
            .0
    };
    assert!((at(20.0) - 20.0).abs() < 0.01);
    assert!((at(99.0) - 50.0).abs() < 0.01 && at(-99.0).abs() < 0.01);
    assert!(matches!(r.phase(0), Reading::Valid(p) if p.0.abs() < 0.01));
    assert_eq!(r.phase_extrapolated(7, Extrapolation::Rate), None);
}

/// A tooth jumped in the middle of a session at rest, through all of the decoder.
#[test]
fn a_jumped_tooth_is_seen_as_a_step() {
    let tooth = 720.0 / 42.0;
    let mut sheet = van();
    sheet.cams.truncate(1);
    let list = edges(
        &sheet,
        Motion::steady(800.0),
        [0.0, 300.0 * 360.0],
        |_, a| {
            if a < 160.0 * 360.0 { 0.0 } else { -tooth }
        },
    );
    let mut r = Rotation::new(&sheet, Hertz(RATE)).expect("a rotation");
    r.set_at_rest(0, true);
    feed(&mut r, &list, |_, _| {});
    let Drift::Stepped { at, by, teeth, .. } = r.phase_detail(0).drift else {
        panic!("{:?}", r.phase_detail(0).drift);
    };
    assert!((by.0 + tooth).abs() < 0.02, "{by:?}");
    assert!(teeth.is_some_and(|t| (t.count + 1.0).abs() < 0.001));
    // 160 turns at 800 rpm are 12 s; the phase must be steady for a second before it counts again.
    assert!((at.0 / RATE - 12.0).abs() < 2.0, "{at:?}");
    assert!(
        r.phase(0)
            .valid()
            .is_some_and(|p| (p.0 + tooth).abs() < 0.02)
    );
}
