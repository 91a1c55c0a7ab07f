//! Assignment on the circle against patterns made at random.

use super::*;
use crate::cycle::{Cycle, Verdict};
use EdgeKind::{Falling, Rising};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn edges(list: &[(f64, EdgeKind)]) -> Vec<PatternEdge> {
    let edge = |&(angle, kind)| PatternEdge { angle, kind };
    list.iter().map(edge).collect()
}

fn seen(p: &Pattern, shift: f64) -> Vec<PatternEdge> {
    let back = |e: &PatternEdge| PatternEdge {
        angle: e.angle - shift,
        ..*e
    };
    p.edges.iter().map(back).collect()
}

fn best(fits: &[Fit]) -> Fit {
    let least = fits.iter().min_by(|a, b| a.cost.total_cmp(&b.cost));
    *least.expect("a fit")
}

fn four() -> Pattern {
    let list = [
        (40.0, Rising),
        (130.0, Falling),
        (400.0, Rising),
        (520.0, Falling),
    ];
    Pattern::of(edges(&list), [0.0, 50.0], 3.0, 51.4)
}

#[test]
fn one_missing_and_one_extra_edge_are_borne() {
    let p = four();
    let mut measured = seen(&p, 20.0);
    let _ = measured.remove(1);
    measured.push(PatternEdge {
        angle: 300.0,
        kind: Rising,
    });
    assert!((best(&p.fits(&measured)).shift - 20.0).abs() < 1e-9);
}

/// An odd edge near a good one must not pull the phase: the nearer of the two is taken.
#[test]
fn an_edge_too_many_beside_a_good_one_does_not_pull() {
    let p = four();
    let mut measured = seen(&p, 20.0);
    measured.push(PatternEdge {
        angle: measured[0].angle + 8.0,
        kind: Rising,
    });
    assert!((best(&p.fits(&measured)).shift - 20.0).abs() < 1e-9);
}

#[test]
fn nothing_fits_without_edges_of_a_kind() {
    let p = four();
    assert!(p.fits(&[]).is_empty());
    assert!(!best(&p.fits(&seen(&p, 0.0)[..1])).is_good());
}

/// Windows from cuts of the circle at least 14 degrees apart, so that edges of a kind are 28 apart.
fn windows(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<PatternEdge>> {
    (
        0.0_f64..720.0,
        prop::collection::vec((0.05_f64..1.0, 0.05_f64..1.0), count),
    )
        .prop_map(|(start, parts)| {
            let total: f64 = parts.iter().map(|(a, b)| a + b).sum();
            let free = 720.0 - 28.0 * parts.iter().map(|_| 1.0).sum::<f64>();
            let mut at = start;
            let mut list = Vec::new();
            for (gap, window) in parts {
                for (part, kind) in [(gap, Rising), (window, Falling)] {
                    at += 14.0 + free * part / total;
                    list.push((at.rem_euclid(720.0), kind));
                }
            }
            edges(&list)
        })
}

/// What the sensor makes of the edges: each off by up to 2.4 degrees, one in `loss` gone, some more.
fn spoil(
    mut list: Vec<PatternEdge>,
    jitter: &[f64],
    gone: &[usize],
    more: &[(f64, bool)],
) -> Vec<PatternEdge> {
    for (e, j) in list.iter_mut().zip(jitter.iter().cycle()) {
        e.angle += j;
    }
    for &g in gone {
        let _ = list.remove(g % list.len());
    }
    list.extend(more.iter().map(|&(angle, rising)| PatternEdge {
        angle,
        kind: if rising { Rising } else { Falling },
    }));
    list
}

const STEPS: [f64; 9] = [720.0, 360.0, 180.0, 90.0, 60.0, 30.0, 15.0, 10.0, 3.0];

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, rng_seed: RngSeed::Fixed(3), failure_persistence: None, ..ProptestConfig::default() })]

    /// The true shift is always among the fits, within what the edges are off.
    #[test]
    fn the_true_shift_is_found_with_a_quarter_of_the_edges_missing_and_as_many_too_many(
        reference in windows(2..9),
        shift in -360.0_f64..360.0,
        jitter in prop::collection::vec(-2.4_f64..2.4, 16),
        gone in prop::collection::vec(0_usize..64, 0..5),
        more in prop::collection::vec((0.0_f64..720.0, any::<bool>()), 0..5),
    ) {
        let p = Pattern::of(reference, [0.0, 50.0], 3.0, 54.0);
        let most = p.edges.len() / 4;
        let measured = spoil(
            seen(&p, shift),
            &jitter,
            &gone[..gone.len().min(most)],
            &more[..more.len().min(most)],
        );
        let fits = p.fits(&measured);
        // Each edge is off by up to 2.4 degrees, and one too many that stands where one is missing by 10 more.
        let fit = fits.iter().find(|f| wrap(f.shift - shift).abs() < 5.0);
        prop_assert!(fit.is_some(), "{shift}: {fits:?}");
        if p.edges.len() >= 8 && gone.len() + more.len() <= 1 {
            prop_assert!(fit.is_some_and(|f| f.is_good()), "{fit:?}");
        }
    }

    /// Whatever the pattern, the wheel, the travel and the phase: what is taken is true.
    /// Alike patterns and wheels of many teeth mean that often nothing is taken.
    #[test]
    fn no_position_is_taken_but_the_true_one(
        reference in windows(1..7),
        alike in 1_u32..4,
        travel in 0.0_f64..60.0,
        part in 0.0_f64..1.0,
        step in prop::sample::select(&STEPS[..]),
        place in 0_u32..240,
        jitter in prop::collection::vec(-0.5_f64..0.5, 16),
        at_rest in any::<bool>(),
    ) {
        // Some patterns repeat two or three times in the cycle.
        let count = f64::from(alike);
        let list: Vec<(f64, EdgeKind)> = (0..alike)
            .flat_map(|k| reference.iter().map(move |e| (e.angle / count + f64::from(k) * 720.0 / count, e.kind)))
            .collect();
        let p = Pattern::of(edges(&list), [0.0, travel], 3.0, 54.0);
        let phase = if at_rest { 0.0 } else { part * travel };
        let offset = (f64::from(place) * step).rem_euclid(720.0);
        let measured = spoil(seen(&p, phase + offset), &jitter, &[], &[]);
        let mut c = Cycle::new(1, step);
        let _ = c.hear(0, &Verdict::new(&p, &p.fits(&measured), step, at_rest));
        if let Some(told) = c.offset().filter(|_| step < 720.0) {
            prop_assert!(wrap(told - offset).abs() < 1e-6, "{told} {offset}");
        }
    }

    /// A pattern that fits in one of the two revolutions only does tell it.
    #[test]
    fn an_unlike_pattern_tells_the_revolution(reference in windows(2..7), phase in 0.0_f64..50.0, turned in any::<bool>()) {
        let p = Pattern::of(reference, [0.0, 50.0], 3.0, 54.0);
        let believed = |f: &Fit| p.believes(f.shift, Belief::TeethOut);
        let rivals = p.fits(&seen(&p, phase + 360.0));
        prop_assume!(rivals.iter().filter(|f| believed(f)).all(|f| f.cost > 30.0));
        let offset = if turned { 360.0 } else { 0.0 };
        let mut c = Cycle::new(1, 360.0);
        let fits = p.fits(&seen(&p, phase + offset));
        prop_assert!(c.hear(0, &Verdict::new(&p, &fits, 360.0, false)));
        prop_assert_eq!(c.offset(), Some(offset));
    }

    /// One edge missing or one too many among eight and more does not lead to a wrong position.
    #[test]
    fn one_spoiled_edge_does_not_mislead(
        reference in windows(4..8),
        phase in 0.0_f64..50.0,
        turned in any::<bool>(),
        jitter in prop::collection::vec(-2.4_f64..2.4, 16),
        gone in 0_usize..64,
        more in (0.0_f64..720.0, any::<bool>()),
        lost in any::<bool>(),
    ) {
        let p = Pattern::of(reference, [0.0, 50.0], 3.0, 54.0);
        let offset = if turned { 360.0 } else { 0.0 };
        let (gone, more) = if lost { (vec![gone], vec![]) } else { (vec![], vec![more]) };
        let measured = spoil(seen(&p, phase + offset), &jitter, &gone, &more);
        let mut c = Cycle::new(1, 360.0);
        let _ = c.hear(0, &Verdict::new(&p, &p.fits(&measured), 360.0, false));
        prop_assert!(c.offset().is_none_or(|o| wrap(o - offset).abs() < 1e-6));
    }
}
