//! What is found, on a course whose every point is written down here.

use super::*;
use crate::review::course::{CamCourse, Course};

/// One second each of: duty 30 % and phase 10°, duty 70 % and phase 2°, duty 70 % and phase unknown,
/// duty 70 % and phase 12°; the exhaust cam stands at duty 10 % and phase 0° and is off rest in the
/// last second. Supply is known in the first two seconds only.
fn course() -> Course {
    let mut course = Course::new([CamId::INTAKE, CamId::EXHAUST].into_iter());
    for i in 0..80_u32 {
        let second = i / 20;
        course
            .at
            .push(f64::from(i).mul_add(INTERVAL, INTERVAL / 2.0));
        course
            .speed
            .push(Some([800.0, 900.0, 2000.0, 2000.0][second as usize]));
        course.supply.push((second < 2).then_some(13.8));
        let intake = (
            [30.0, 70.0, 70.0, 70.0][second as usize],
            [Some(10.0), Some(2.0), None, Some(12.0)][second as usize],
        );
        let push = |cam: &mut CamCourse, duty, phase, state| {
            cam.duty.push(Some(duty));
            cam.phase.push(phase);
            cam.due.push(None);
            cam.state.push(state);
        };
        let state = match second {
            0 => AgreementState::Following,
            1 => AgreementState::NotFollowing,
            2 => AgreementState::NotJudged,
            _ => AgreementState::Lagging,
        };
        push(&mut course.cams[0], intake.0, intake.1, state);
        let state = if second == 3 {
            AgreementState::OffRest
        } else {
            AgreementState::Following
        };
        push(&mut course.cams[1], 10.0, Some(0.0), state);
    }
    course
}

/// Stretches as whole tenths of a second, with their cams.
fn found(text: &str) -> Vec<(f64, f64, String)> {
    let wish = Wish::of(text).unwrap_or_else(|e| panic!("{text}: {e}"));
    let tenth = |t: f64| (t * 10.0).round() / 10.0;
    let cams = |h: &Hit| h.cams.iter().map(ToString::to_string).collect::<Vec<_>>();
    wish.hits(&course())
        .iter()
        .map(|h| (tenth(h.from), tenth(h.to), cams(h).join(" ")))
        .collect()
}

fn check(text: &str, want: &[(f64, f64, &str)]) {
    let got = found(text);
    let got: Vec<_> = got.iter().map(|(a, b, c)| (*a, *b, c.as_str())).collect();
    assert_eq!(got, want, "{text}");
}

#[test]
fn both_are_wanted_of_the_same_cam() {
    check("duty > 60 and phase < 5", &[(1.0, 2.0, "intake")]);
    check("duty exhaust > 60 and phase < 5", &[]);
    check("duty intake > 60 and phase exhaust < 5", &[(1.0, 4.0, "")]);
    check("duty > 20 % and duty < 80 %", &[(0.0, 4.0, "intake")]);
    check("duty > 5", &[(0.0, 4.0, "intake exhaust")]);
}

#[test]
fn what_is_not_known_is_never_found() {
    check("phase intake > 0", &[(0.0, 2.0, ""), (3.0, 4.0, "")]);
    check("not phase intake > 0", &[]);
    check("supply < 14 V", &[(0.0, 2.0, "")]);
    check("not (supply > 14)", &[(0.0, 2.0, "")]);
    check("supply > 14 or speed >= 2000", &[(2.0, 4.0, "")]);
    check("supply > 14 and speed > 1000", &[]);
}

#[test]
fn states_are_found_by_their_words() {
    check("not following", &[(1.0, 2.0, "intake")]);
    check("intake not following", &[(1.0, 2.0, "")]);
    check("not (intake following)", &[(1.0, 2.0, ""), (3.0, 4.0, "")]);
    check("exhaust off rest", &[(3.0, 4.0, "")]);
    check(
        "disagreeing",
        &[(1.0, 2.0, "intake"), (3.0, 4.0, "intake exhaust")],
    );
    check("intake not judged", &[(2.0, 3.0, "")]);
    check(
        "lagging or exhaust off rest",
        &[(3.0, 4.0, "intake exhaust")],
    );
}

#[test]
fn a_length_may_be_wanted() {
    check("speed < 950 for 2 s", &[(0.0, 2.0, "")]);
    check("speed < 950 for 2.1 s", &[]);
    check("speed = 900 for 1000 ms", &[(1.0, 2.0, "")]);
    check("phase intake < −2.5", &[]);
    check("speed != 800", &[(1.0, 4.0, "")]);
    check("SPEED>=2000rpm for 0.03 min", &[(2.0, 4.0, "")]);
}

#[test]
fn a_pause_ends_a_stretch() {
    let mut course = course();
    for at in &mut course.at[40..] {
        *at += 10.0;
    }
    let hits = Wish::of("duty intake > 60").unwrap().hits(&course);
    assert_eq!(hits.len(), 2, "{hits:?}");
}

#[test]
fn mistakes_say_what_is_expected() {
    for (text, want) in [
        (
            "",
            "nothing at the begin: expected a field (speed, supply, duty, phase), a state such as 'not following', 'not' or '('",
        ),
        (
            "duty",
            "nothing after 'duty': expected one of > >= < <= = !=",
        ),
        (
            "duty > lots",
            "'lots' after '>': expected a number such as 60 or −2.5",
        ),
        (
            "duty > 60 phase < 5",
            "'phase' after '60': expected 'and', 'or', 'for' with a length, or the end",
        ),
        (
            "(duty > 60",
            "nothing after '60': expected 'and', 'or' or ')'",
        ),
        (
            "duty > 60 for 2",
            "nothing after '2': expected a unit: ms, s or min",
        ),
        (
            "duty > 60 for 2 h",
            "'h' after '2': expected a unit: ms, s or min",
        ),
        (
            "intake broken",
            "'broken' after 'intake': expected a state such as 'not following' or 'off rest'",
        ),
        (
            "duty > 60 & phase",
            "'&' after '60': expected words, numbers, brackets and > >= < <= = !=",
        ),
        (
            "speed > 1e3",
            "'e3' after '1': expected 'and', 'or', 'for' with a length, or the end",
        ),
    ] {
        let error = Wish::of(text).unwrap_err();
        assert_eq!(error.to_string(), want, "{text}");
    }
    let deep = "(".repeat(5000);
    assert!(Wish::of(&deep).is_err());
    let wish = Wish::of("duty intake-2 > 1").unwrap();
    assert_eq!(
        wish.stranger(&course()).map(|c| c.to_string()),
        Some("intake-2".to_owned())
    );
}
