//! References as files, on an engine, and together.

use super::combine::{Candidate, combine};
use super::fit::Misfit;
use super::handbook::{Datum, Printed, Shaft, Side, Told, TypedCam, reference as typed};
use super::*;
use crate::base_timing::{CamAtRest, EdgeAtRest, Hindrance};
use crate::engine::EngineSheet;
use crate::lead::Role;
use crate::units::CrankAngle;

pub(crate) const MEASURED: &str = include_str!("examples/measured.toml");
const HANDBOOK: &str = include_str!("examples/handbook.toml");
const COMBINED: &str = include_str!("examples/combined.toml");

pub(crate) fn sheet() -> EngineSheet {
    let text = include_str!("../../../app/assets/sheets/light-van.toml");
    EngineSheet::from_toml(text).expect("a sheet")
}

fn read(text: &str) -> Reference {
    Reference::read(text).unwrap_or_else(|e| panic!("{e}"))
}

fn told(name: &str) -> Told {
    Told {
        name: name.to_owned(),
        made: "2026-11-30".to_owned(),
        ..Told::default()
    }
}

#[test]
fn what_is_written_is_read_again_and_stays_the_same_text() {
    for text in [MEASURED, HANDBOOK, COMBINED] {
        assert_eq!(read(text).text(), text);
    }
    let reference = Reference {
        note: "a \"quoted\" word\nand a second line".to_owned(),
        ..read(MEASURED)
    };
    assert_eq!(read(&reference.text()), reference);
}

#[test]
fn mistakes_are_told_with_their_line() {
    let line_of = |words: &str| {
        1 + MEASURED
            .lines()
            .position(|l| l.contains(words))
            .expect("there")
    };
    for (from, to, line, words) in [
        ("wheel = \"60-2\"", "weel = \"60-2\"", None, "wheel"),
        (
            "tolerance = 2.5",
            "tolerance = \"2.5\"",
            Some(line_of("tolerance")),
            "invalid type",
        ),
        (
            "[conditions]",
            "[weather]",
            Some(line_of("[conditions]")),
            "'weather' is not a field",
        ),
        (
            "mark = \"rising\", window = 1",
            "mark = \"raising\", window = 1",
            None,
            "unknown variant",
        ),
        (
            "mark = \"rising\", window = 1",
            "mark = \"rising\", window = 9",
            None,
            "counted from 1 to 4",
        ),
        (
            "made = \"2026-11-25\"",
            "made = \"25.11.2026\"",
            None,
            "year-month-day",
        ),
        ("angle = 40.46", "angle = 760", None, "between 0 and 720"),
        ("form = 1 ", "form = 0 ", None, "counts from 1"),
    ] {
        let text = MEASURED.replacen(from, to, 1);
        assert_ne!(text, MEASURED, "{from}");
        let mistake = Reference::read(&text).expect_err(to);
        assert!(mistake.what.contains(words), "{to}: {mistake}");
        if line.is_some() {
            assert_eq!(mistake.line, line, "{to}: {mistake}");
        }
    }
}

#[test]
fn a_newer_form_is_read_as_far_as_it_is_known() {
    let text = MEASURED.replacen("form = 1 ", "form = 7\nmood = \"fine\" ", 1);
    let newer = read(&text);
    assert!(newer.is_newer());
    assert_eq!(newer.cams, read(MEASURED).cams);
    assert!(
        newer
            .shortcomings(&sheet())
            .iter()
            .any(|s| s.contains("newer"))
    );
}

#[test]
fn a_wrong_one_is_refused_with_why() {
    let mut van = sheet();
    let own = read(MEASURED);
    assert_eq!(own.misfits(&van), []);
    van.name = "light van 2.0,  two Phasers".to_owned();
    assert_eq!(own.misfits(&van), [], "spaces and capitals do not matter");
    let check = |change: fn(&mut EngineSheet), due: fn(&Misfit) -> bool| {
        let mut sheet = sheet();
        change(&mut sheet);
        let misfits = own.misfits(&sheet);
        assert!(misfits.iter().any(due), "{misfits:?}");
        assert!(own.onto(&sheet).is_err());
    };
    check(|s| s.name.push('x'), |m| matches!(m, Misfit::Name { .. }));
    check(
        |s| s.crank.wheel = "36-1".into(),
        |m| matches!(m, Misfit::Wheel { .. }),
    );
    check(
        |s| s.crank.gap_to_tdc.0 += 6.0,
        |m| matches!(m, Misfit::Tdc { .. }),
    );
    check(
        |s| s.cams.truncate(1),
        |m| matches!(m, Misfit::NoCam(CamId::EXHAUST)),
    );
    check(
        |s| s.cams[0].phaser = None,
        |m| matches!(m, Misfit::Phaser(_)),
    );
    check(
        |s| {
            let _last = s.cams[0].windows.pop();
        },
        |m| {
            matches!(
                m,
                Misfit::Windows {
                    own: 4,
                    sheet: 3,
                    ..
                }
            )
        },
    );
    check(
        |s| s.cams[1].windows[2][0] -= 20.0,
        |m| matches!(m, Misfit::Pattern { .. }),
    );
    check(
        |s| {
            s.cams[0]
                .windows
                .iter_mut()
                .flatten()
                .for_each(|a| *a += 40.0)
        },
        |m| matches!(m, Misfit::Far { .. }),
    );
    // A handbook counts from TDC, wherever the gap is.
    van.crank.gap_to_tdc.0 += 6.0;
    assert_eq!(read(HANDBOOK).misfits(&van), []);
}

#[test]
fn a_sheet_of_a_late_engine_gets_the_angles_of_the_good_one() {
    let mut late = sheet();
    for cam in &mut late.cams {
        cam.known_good = false;
        cam.windows.iter_mut().flatten().for_each(|a| *a += 17.1);
    }
    let applied = read(MEASURED).onto(&late).expect("it fits");
    assert_eq!(
        applied[0].windows[0].map(CrankDegrees),
        [40.46, 130.41].map(CrankDegrees)
    );
    assert!(
        applied
            .iter()
            .all(|a| a.known_good && a.reference.edges.is_none())
    );
    // A window that wraps stays one: falling behind rising.
    assert!(applied.iter().flat_map(|a| &a.windows).all(|w| w[1] > w[0]));
}

#[test]
fn a_single_angle_places_the_pattern_and_judges_by_its_edges_only() {
    let mut unknown = sheet();
    unknown.cams[0].known_good = false;
    let applied = read(HANDBOOK).onto(&unknown).expect("it fits");
    assert_eq!(
        applied[0].windows[0].map(CrankDegrees),
        [40.5, 130.5].map(CrankDegrees)
    );
    assert_eq!(applied[0].reference.edges, Some(vec![2]));
    assert!(!applied[0].known_good && applied[1].known_good);
    // The middle of 430 to 490 is 460; 460.25 moves the cam by a quarter of a degree.
    assert_eq!(
        applied[1].windows[2].map(CrankDegrees),
        [430.25, 490.25].map(CrankDegrees)
    );
    assert_eq!(applied[1].reference.edges, Some(vec![5, 6]));
    assert_eq!(
        applied[1].reference.quality,
        "handbook, ±2.0°, 1 angle for 8 edges"
    );
}

#[test]
fn printed_angles_mean_one_place_in_the_cycle() {
    let printed = |degrees, shaft, side, datum| {
        let p = Printed {
            degrees,
            shaft,
            side,
            datum,
        };
        p.angle().degrees()
    };
    use {Datum::Exchange, Datum::Firing, Shaft::Cam, Shaft::Crank, Side::After, Side::Before};
    for (got, due) in [
        (printed(54.0, Crank, After, Firing), 54.0),
        (printed(54.0, Crank, Before, Firing), 666.0),
        (printed(27.0, Cam, Before, Firing), 666.0),
        (printed(10.0, Crank, Before, Exchange), 350.0),
        (printed(5.0, Cam, After, Exchange), 370.0),
        (printed(0.0, Crank, Before, Firing), 0.0),
    ] {
        assert!((got - due).abs() < 1e-12, "{got}, due {due}");
    }
}

#[test]
fn a_handbook_angle_that_cannot_be_is_refused() {
    let edge = |angle| EdgeEntry {
        mark: EdgeMark::Rising,
        window: 1,
        angle: CrankDegrees(angle),
        spread: None,
        count: None,
    };
    let cam = |angle| TypedCam {
        cam: 0,
        tolerance: CrankDegrees(2.0),
        edges: vec![edge(angle)],
    };
    let made = typed(&sheet(), &told("book"), &[cam(41.0)]).expect("fits");
    assert_eq!(made.cams.len(), 1);
    assert_eq!(read(&made.text()), made);
    // Meant as degrees of the cam and not said so.
    let why = typed(&sheet(), &told("book"), &[cam(82.0)]).expect_err("too far");
    assert!(why.contains("crank or of the cam"), "{why}");
    assert!(typed(&sheet(), &told(" "), &[cam(41.0)]).is_err());
    assert!(typed(&sheet(), &told("book"), &[]).is_err());
}

fn at_rest(cycles: usize, hindrance: Option<Hindrance>) -> CamAtRest {
    CamAtRest {
        cam: CamId::INTAKE,
        edges: (sheet().cams[0].windows.iter().flatten().enumerate())
            .map(|(i, &angle)| EdgeAtRest {
                kind: if i % 2 == 0 {
                    EdgeKind::Rising
                } else {
                    EdgeKind::Falling
                },
                angle: CrankAngle::wrapped(angle + 0.251),
                spread: CrankDegrees(0.08),
                cycles,
            })
            .collect(),
        speed: None,
        range: Some(CrankDegrees(0.1)),
        looks: 1,
        elsewhere: None,
        hindrance,
    }
}

#[test]
fn a_recording_that_does_not_show_the_rest_is_refused_with_why() {
    let mut one = sheet();
    one.cams.truncate(1);
    let take = |rest: CamAtRest| measured::reference(&one, &[rest], &told("van"));
    let (reference, refusals) = take(at_rest(40, None)).expect("good");
    assert_eq!(refusals, []);
    assert_eq!(reference.cams[0].edges[0].angle, CrankDegrees(40.25));
    assert_eq!(reference.cams[0].engines, 1);
    for (rest, words) in [
        (
            at_rest(0, Some(Hindrance::Unproven(Role::Crank))),
            "'crank' is not proven",
        ),
        (at_rest(0, Some(Hindrance::Driven)), "does not let it rest"),
        (at_rest(0, Some(Hindrance::Moving)), "still moved"),
        (at_rest(0, Some(Hindrance::Speed)), "outside its idle zone"),
        (
            at_rest(12, Some(Hindrance::Moving)),
            "12 cycles, 30 are needed",
        ),
        (
            CamAtRest {
                elsewhere: Some([CrankDegrees(0.0), CrankDegrees(4.0)]),
                ..at_rest(40, None)
            },
            "several places",
        ),
        (
            CamAtRest {
                range: None,
                ..at_rest(40, None)
            },
            "not at rest long enough",
        ),
    ] {
        let refusals = take(rest).expect_err(words);
        assert!(refusals[0].why.contains(words), "{refusals:?}");
    }
    // One cam that is not seen does not cost the other.
    let both = measured::reference(&sheet(), &[at_rest(40, None)], &told("van"));
    let (reference, refusals) = both.expect("the intake");
    assert_eq!(reference.cams.len(), 1);
    assert_eq!(refusals[0].cam, CamId::EXHAUST);
}

/// The bench engine moved by so many degrees, in another vehicle.
fn moved(by: f64, vehicle: &str) -> Reference {
    let mut reference = read(MEASURED);
    reference.vehicle = vehicle.to_owned();
    for edge in reference.cams.iter_mut().flat_map(|c| &mut c.edges) {
        edge.angle = CrankDegrees((edge.angle.0 + by).rem_euclid(720.0));
    }
    reference
}

fn together(references: &[Reference], left_out: &[usize]) -> Result<Reference, String> {
    let candidates: Vec<Candidate<'_>> = (references.iter().enumerate())
        .map(|(i, reference)| Candidate {
            reference,
            left_out: left_out.contains(&i),
        })
        .collect();
    combine(&candidates, &told("van"))
}

#[test]
fn a_vehicle_counts_once_and_an_outlier_is_shown() {
    let twice = [moved(0.0, "KW 1"), moved(0.4, "kw-1")];
    let why = together(&twice, &[]).expect_err("one engine");
    assert!(why.contains("counts once"), "{why}");
    let nameless = [moved(0.0, ""), moved(0.4, " ")];
    let why = together(&nameless, &[]).expect_err("nobody knows");
    assert!(why.contains("tell them apart"), "{why}");
    let all = [
        moved(0.0, "KW 1"),
        moved(0.4, "KW 1"),
        moved(0.0, "KW 2"),
        moved(-0.2, "KW 3"),
        moved(6.0, "KW 4"),
    ];
    let made = together(&all, &[]).expect("four engines");
    assert_eq!(made.parts.len(), 4);
    assert_eq!(made.cams[0].engines, 4);
    let marked: Vec<bool> = made.parts.iter().map(|p| p.outlier).collect();
    assert_eq!(marked, [false, false, false, true]);
    assert!(!made.parts[3].left_out, "shown, and still in the mean");
    let without = together(&all, &[4]).expect("three engines");
    assert!(without.parts[3].left_out && without.parts[3].outlier);
    assert_eq!(without.cams[0].engines, 3);
    // The mean of 0.2 (twice the first), 0 and -0.2.
    let angle = without.cams[0].edges[0].angle.0;
    assert!((angle - 40.46).abs() < 0.011, "{angle}");
    // Three with a deviation of 0.2 tell little: 9.79 times that.
    assert!((without.cams[0].tolerance.0 - 1.96).abs() < 0.02);
    let said = made.shortcomings(&sheet()).join(" ");
    assert!(said.contains("half a sprocket tooth"), "{said}");
}

#[test]
fn what_does_not_belong_together_is_not_combined() {
    let mut other = moved(0.1, "KW 2");
    other.engine.wheel = "36-1".to_owned();
    let why = together(&[moved(0.0, "KW 1"), other], &[]).expect_err("another wheel");
    assert!(why.contains("another engine"), "{why}");
    let why = together(&[moved(0.0, "KW 1"), read(HANDBOOK)], &[]).expect_err("a book");
    assert!(why.contains("not measured"), "{why}");
    // Engines that agree by chance are known no better than each was measured.
    let alike = [moved(0.0, "KW 1"), moved(0.0, "KW 2")];
    let made = together(&alike, &[]).expect("two");
    assert_eq!(made.cams[0].tolerance, CrankDegrees(0.12));
}

#[test]
fn the_better_one_is_proposed_first() {
    use std::cmp::Ordering::Less;
    let (one, book, five) = (read(MEASURED), read(HANDBOOK), read(COMBINED));
    let van = sheet();
    assert_eq!(five.better(&one, &van), Less);
    assert_eq!(one.better(&book, &van), Less);
    assert_eq!(five.words(), "5 engines, ±1.6°");
    // Two engines that tell nothing of a tooth stand behind one with a tolerance that does.
    let wide = together(&[moved(0.0, "KW 1"), moved(0.6, "KW 2")], &[]).expect("two");
    assert_eq!(one.better(&wide, &van), Less);
}
