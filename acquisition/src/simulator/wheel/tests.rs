use super::*;

const VR: CrankSensor = CrankSensor::Vr {
    volts_per_rpm: 0.005,
    runout: 0.0,
    inverted: false,
};

fn hall_sensor(tooth_width: f64) -> CrankSensor {
    CrankSensor::Hall {
        low: 0.2,
        high: 5.0,
        tooth_width,
    }
}

fn wheel(plan: &CrankWheel) -> ToneWheel {
    plan.check().unwrap();
    ToneWheel::new(plan, &[])
}

fn plain(teeth: u16, missing: u16, gap_to_tdc: f64, sensor: CrankSensor) -> CrankWheel {
    CrankWheel::plain(teeth, missing, gap_to_tdc, sensor)
}

/// Angles within a turn of the wheel at which the signal falls through a level, to 1/200 degree.
fn falls(wheel: &mut ToneWheel, level: f64) -> Vec<f64> {
    let mut found = Vec::new();
    let mut before = wheel.volts(-0.0025, 6000.0, 0.0);
    for n in 0..200 * 720 {
        let angle = f64::from(n) / 200.0;
        let now = wheel.volts(angle + 0.0025, 6000.0, 0.0);
        if before > level && now <= level && angle < wheel.period {
            found.push(angle);
        }
        before = now;
    }
    found
}

#[test]
fn the_voltage_falls_through_zero_in_the_middle_of_every_tooth() {
    let mut w = wheel(&plain(60, 2, 108.0, VR));
    for tooth in 0..58 {
        let middle = f64::from(tooth) * 6.0 - 108.0;
        let mut v = |off: f64| w.volts(middle + off, 6000.0, 0.0);
        assert!(v(0.0).abs() < 1e-9, "tooth {tooth}");
        assert!(v(-0.01) > 0.0 && v(0.01) < 0.0, "tooth {tooth}");
        // The zero crossing is equally steep on both sides, in the row and at the gap.
        assert!((v(-0.01) + v(0.01)).abs() < 1e-6, "tooth {tooth}");
    }
}

#[test]
fn the_gap_is_flat_and_amplitude_follows_speed() {
    let mut w = wheel(&plain(60, 2, 108.0, VR));
    assert!(w.volts(57.0 * 6.0 + 9.0 - 108.0, 6000.0, 0.0).abs() < 1e-12);
    let mut peak = |speed: f64| w.volts(10.0 * 6.0 - 1.5 - 108.0, speed, 0.0);
    assert!((peak(6.0 * 6000.0) - 30.0).abs() < 1e-9);
    assert!((peak(6.0 * 200.0) - 1.0).abs() < 1e-9);
    // Backwards the flux changes the other way round.
    assert!((peak(-6.0 * 200.0) + 1.0).abs() < 1e-9);
}

/// 36-1: every mark 10 degrees after the last, one of 20; low for half of each pitch.
#[test]
fn a_hall_output_falls_at_each_mark_and_stays_high_in_the_gap() {
    let mut w = wheel(&plain(36, 1, 84.0, hall_sensor(5.0)));
    for tooth in 0..36 {
        let mark = f64::from(tooth) * 10.0 - 84.0;
        let mut v = |off: f64| w.volts(mark + off, 6000.0, 0.0);
        let inside = if tooth < 35 { 0.2 } else { 5.0 };
        assert!((v(-0.5) - 5.0).abs() < 1e-6, "before {tooth}");
        assert!(
            (v(2.5) - inside).abs() < 1e-6 && (v(7.5) - 5.0).abs() < 1e-6,
            "at {tooth}"
        );
    }
    // One time constant (1 µs, 0.006 degrees at this speed) after the rise 63 % of it is done;
    // backwards the same edge is a fall, past after half a microsecond.
    let rising = w.volts(5.006 - 84.0, 6000.0, 0.0);
    assert!((rising - (0.2 + 4.8 * (1.0 - (-1.0_f64).exp()))).abs() < 1e-6);
    assert!((w.volts(4.987 - 84.0, -6000.0, 0.0) - 0.2).abs() < 1e-6);
    assert!(w.volts(4.9999 - 84.0, -6000.0, 0.0) > 2.0);
}

/// Every kind of wheel, by both sensors: the falls lie at the marks that its description gives.
#[test]
fn falls_lie_at_the_marks_of_any_wheel() {
    let shape = |change: &dyn Fn(&mut CrankWheel), width: f64| {
        [VR, hall_sensor(width)].map(|sensor| {
            let mut plan = plain(0, 0, 0.0, sensor);
            change(&mut plan);
            plan
        })
    };
    let even = |n: u32, pitch: f64| (0..n).map(|i| f64::from(i) * pitch).collect::<Vec<_>>();
    let gaps = [13, 14, 31, 32, 34, 35];
    let with_gaps: Vec<f64> = (0..36)
        .filter(|n| !gaps.contains(n))
        .map(|n| f64::from(n) * 10.0)
        .collect();
    let mut one_more = even(12, 60.0);
    one_more.push(690.0);
    let cases = [
        (
            shape(
                &|p| {
                    p.teeth = 36;
                    p.without = vec![14, 15, 32, 33, 35, 36];
                },
                4.0,
            ),
            with_gaps,
        ),
        (
            shape(
                &|p| {
                    p.teeth = 12;
                    p.added = true;
                    p.on_cam = true;
                },
                9.0,
            ),
            one_more,
        ),
        (
            shape(
                &|p| {
                    p.marks = vec![0.0, 70.0, 180.0, 250.0];
                    p.reach = Some(14.0);
                },
                8.0,
            ),
            vec![0.0, 70.0, 180.0, 250.0],
        ),
        (shape(&|p| p.teeth = 24, 7.0), even(24, 15.0)),
    ];
    for (plans, marks) in cases {
        for plan in plans {
            let (mut w, level) = match plan.sensor {
                CrankSensor::Vr { .. } => (wheel(&plan), 0.0),
                CrankSensor::Hall { .. } => (wheel(&plan), 2.6),
            };
            let found = falls(&mut w, level);
            assert_eq!(found.len(), marks.len(), "{plan:?}: {found:?}");
            let near = found.iter().zip(&marks).all(|(f, m)| (f - m).abs() < 0.011);
            assert!(near, "{plan:?}: {found:?}");
        }
    }
}

#[test]
fn coded_teeth_are_as_wide_as_their_letters() {
    let mut plan = plain(4, 0, 0.0, hall_sensor(30.0));
    plan.coded = "nwwn".into();
    let mut w = wheel(&plan);
    for (mark, width) in [(0.0, 30.0), (90.0, 60.0), (180.0, 60.0), (270.0, 30.0)] {
        assert!(w.volts(mark + width - 0.1, 6000.0, 0.0) < 0.3, "{mark}");
        assert!(w.volts(mark + width + 0.1, 6000.0, 0.0) > 4.9, "{mark}");
    }
}

#[test]
fn a_wheel_out_of_true_shifts_its_marks_by_a_sine() {
    let mut plan = plain(36, 1, 0.0, VR);
    plan.wobble = 1.0;
    for (tooth, at) in falls(&mut wheel(&plan), 0.0).into_iter().enumerate() {
        // The mark is felt where the angle and its error add up to the nominal.
        let nominal = 10.0 * f64::from(u8::try_from(tooth).unwrap());
        assert!((at + at.to_radians().sin() - nominal).abs() < 0.011, "{at}");
    }
}

#[test]
fn teeth_are_harmed_when_their_time_has_come() {
    let faults = [
        Fault::ToothMissing {
            tooth: 4,
            after: 1.0,
        },
        Fault::ToothDamaged {
            tooth: 8,
            height: 0.5,
            shift: 2.0,
            after: 2.0,
        },
        Fault::ToothExtra {
            at: 355.0,
            height: 0.8,
            after: 3.0,
        },
    ];
    let plan = plain(36, 1, 0.0, VR);
    let mut w = ToneWheel::new(&plan, &faults);
    assert_eq!(falls(&mut w, 0.0).len(), 35);
    let whole = w.volts(67.5, 6000.0, 0.0);
    w.settle(1.0);
    let found = falls(&mut w, 0.0);
    assert!(found.len() == 34 && (found[3] - 40.0).abs() < 0.011);
    w.settle(2.5);
    let found = falls(&mut w, 0.0);
    assert!((found[6] - 72.0).abs() < 0.011, "{found:?}");
    assert!((w.volts(69.0, 6000.0, 0.0) / whole - 0.5).abs() < 0.1);
    w.settle(9.0);
    let found = falls(&mut w, 0.0);
    assert!(
        found.len() == 35 && (found[34] - 355.0).abs() < 0.011,
        "{found:?}"
    );
}
