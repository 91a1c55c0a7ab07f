//! The notation, both ways.

use super::*;

#[track_caller]
fn wheel(text: &str) -> Wheel {
    Wheel::parse(text).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn conventional_wheels() {
    let w = wheel("60-2");
    assert_eq!((w.teeth(), w.symmetry()), (58, 1));
    assert!((w.pitch(0).0 - 6.0).abs() < 1e-12 && (w.pitch(57).0 - 18.0).abs() < 1e-9);
    assert!(w.stands_out(57) && !w.stands_out(56) && !w.stands_out(0));
    let w = wheel(" 36-1 ");
    assert_eq!(w.teeth(), 35);
    assert!((w.widest().0 - 20.0).abs() < 1e-9 && (w.narrowest().0 - 10.0).abs() < 1e-9);
}

#[test]
fn other_wheels() {
    let w = wheel("36-2-2-2");
    assert_eq!((w.teeth(), w.symmetry()), (30, 1));
    let gaps: Vec<usize> = (0..30).filter(|&t| w.pitch(t).0 > 15.0).collect();
    assert_eq!(gaps.len(), 3);
    assert!(gaps.contains(&29), "tooth 0 follows a gap");
    let w = wheel("12+1");
    assert_eq!(w.teeth(), 13);
    assert!((w.pitch(12).0 - 15.0).abs() < 1e-9 && (w.pitch(11).0 - 15.0).abs() < 1e-9);
    assert_eq!(wheel("24").symmetry(), 24);
    assert_eq!(wheel("60-2-2").symmetry(), 2);
    assert_eq!(wheel("at 10 80 190 260").symmetry(), 2);
    let w = wheel("cam 4+1");
    assert!((w.period().0 - 720.0).abs() < 1e-12 && (w.angle(1).0 - 180.0).abs() < 1e-9);
    let w = wheel("4 coded nnww");
    assert_eq!(
        (w.width(1), w.width(2), w.symmetry()),
        (Some(Width::Narrow), Some(Width::Wide), 1)
    );
}

#[test]
fn a_learnt_wheel_reads_its_own_notation() {
    let w = Wheel::from_edges(&[3.0, 93.25, 200.0, 300.5], 360.0).expect("a wheel");
    assert_eq!(w.to_string(), "at 0 90.25 197 297.5");
    assert_eq!(Wheel::parse(&w.to_string()), Ok(w));
    let w = Wheel::from_edges(&[0.0, 100.0, 500.0], 720.0).expect("a wheel");
    assert_eq!(w.to_string(), "cam at 0 50 250");
}

#[test]
fn mistakes_are_named() {
    for text in [
        "",
        "sixty",
        "60/2",
        "a-b",
        "60-2-3",
        "12+2",
        "24 coded nnw",
        "at",
        "at x",
        "12 with 3",
    ] {
        assert!(
            matches!(Wheel::parse(text), Err(WheelError::Form(_))),
            "{text}"
        );
    }
    for text in ["300-2", "0", "2-2", "36 without 40"] {
        assert!(
            matches!(Wheel::parse(text), Err(WheelError::Range(_))),
            "{text}"
        );
    }
    for text in ["at 0 0.5", "at 0 90 80", "at 0 400"] {
        assert!(
            matches!(Wheel::parse(text), Err(WheelError::Edge { .. })),
            "{text}"
        );
    }
}
