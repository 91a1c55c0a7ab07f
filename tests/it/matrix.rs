//! The matrix over which the angle must hold: wheels × sensors × mess × driving × lost samples.

use crate::rig::driven;
use crate::tally::Losses;
use keyway_acquisition::simulator::blueprint::{CrankSensor, CrankWheel};
use keyway_acquisition::simulator::disturbance::Disturbance;
use keyway_acquisition::simulator::fault::{Fault, Wheel};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;

/// A wheel with a name, made for a sensor.
pub type NamedWheel = (&'static str, fn(CrankSensor) -> CrankWheel);

/// Degrees for which a tooth that stands alone is felt (assumed).
const ALONE: f64 = 14.0;

fn row(teeth: u16, missing: u16, sensor: CrankSensor) -> CrankWheel {
    CrankWheel::plain(teeth, missing, 0.0, sensor)
}

/// The wheels. Their place on the crank is nobody's: the gap lies somewhere before TDC.
pub const WHEELS: &[NamedWheel] = &[
    ("60-2", |s| row(60, 2, s)),
    ("60-1", |s| row(60, 1, s)),
    ("36-1", |s| row(36, 1, s)),
    ("36-2", |s| row(36, 2, s)),
    ("36-2-2-2", |s| CrankWheel {
        without: vec![14, 15, 32, 33, 35, 36],
        ..row(36, 0, s)
    }),
    ("36-2-1", |s| CrankWheel {
        without: vec![18, 35, 36],
        ..row(36, 0, s)
    }),
    ("24-1", |s| row(24, 1, s)),
    ("12-1", |s| row(12, 1, s)),
    ("24+1", |s| CrankWheel {
        added: true,
        ..row(24, 0, s)
    }),
    ("12+1", |s| CrankWheel {
        added: true,
        ..row(12, 0, s)
    }),
    ("4 uneven", |s| CrankWheel {
        marks: vec![0.0, 70.0, 180.0, 250.0],
        reach: Some(ALONE),
        ..row(0, 0, s)
    }),
    ("2 uneven", |s| CrankWheel {
        marks: vec![0.0, 150.0],
        reach: Some(ALONE),
        ..row(0, 0, s)
    }),
    ("24 coded", |s| CrankWheel {
        coded: "nnnnnwnnwnwwwwnwwnwnwwnw".into(),
        ..row(24, 0, s)
    }),
    ("24 even", |s| row(24, 0, s)),
    ("cam 12+1", |s| CrankWheel {
        added: true,
        on_cam: true,
        ..row(12, 0, s)
    }),
    ("cam 24+1", |s| CrankWheel {
        added: true,
        on_cam: true,
        ..row(24, 0, s)
    }),
];

/// Degrees after which a wheel looks the same: its period, or less where it is made of like parts.
pub fn part(wheel: &CrankWheel) -> f64 {
    let marks = wheel.all_marks();
    let period = wheel.period();
    let looks_same = |turned: f64| {
        wheel.coded.is_empty()
            && marks.iter().all(|m| {
                let there = (m + turned).rem_euclid(period);
                let apart = |o: &f64| (o - there).abs().min(period - (o - there).abs());
                marks.iter().any(|o| apart(o) < 1e-6)
            })
    };
    let turned = marks.iter().skip(1).copied();
    turned
        .into_iter()
        .find(|t| looks_same(*t))
        .unwrap_or(period)
}

/// Whether a wheel has nothing that tells where it is.
pub fn is_even(wheel: &CrankWheel) -> bool {
    (part(wheel) - wheel.narrowest()).abs() < 1e-6
}

/// The sensors; a Hall sensor's tooth is as wide as the wheel allows.
pub const SENSORS: [&str; 3] = ["weak VR", "strong VR, pins exchanged", "Hall"];

/// The wheel before one of them.
pub fn wheel(named: &NamedWheel, sensor: usize) -> CrankWheel {
    let vr = |volts_per_rpm: f64, inverted: bool| CrankSensor::Vr {
        volts_per_rpm,
        runout: 0.08,
        inverted,
    };
    let hall = |tooth_width: f64| CrankSensor::Hall {
        low: 0.3,
        high: 5.0,
        tooth_width,
    };
    let mut wheel = match sensor {
        // 0.4 V at 150 rpm, and 100 V at 6000.
        0 => (named.1)(vr(0.0027, false)),
        1 => (named.1)(vr(0.017, true)),
        _ => {
            let narrowest = (named.1)(hall(1.0)).narrowest();
            (named.1)(hall((0.45 * narrowest).min(10.0)))
        }
    };
    if !wheel.coded.is_empty() {
        wheel.sensor = hall(0.3 * wheel.narrowest());
    }
    wheel.gap_to_tdc = if is_even(&wheel) { 4.0 } else { 84.0 };
    wheel
}

/// What is the matter with wheel and signal, under a name.
pub const MESS: [&str; 11] = [
    "nothing",
    "spikes",
    "doubled edges",
    "loose contact",
    "ringing",
    "drift",
    "noise",
    "extra tooth",
    "damaged tooth",
    "missing tooth",
    "out of true",
];

fn signal(how: Disturbance) -> Vec<Fault> {
    vec![Fault::Signal {
        wheel: Wheel::Crank,
        how,
        after: 1.0,
    }]
}

/// The faults of that name. Sizes go by the sensor: `strong` is the larger VR sensor.
fn mess(name: &str, wheel: &mut CrankWheel) -> Vec<Fault> {
    let strength = match wheel.sensor {
        CrankSensor::Vr { volts_per_rpm, .. } => volts_per_rpm / 0.005,
        CrankSensor::Hall { .. } => 2.0,
    };
    let teeth = wheel.all_marks().len();
    match name {
        "spikes" => signal(Disturbance::Spikes {
            rate: 100.0,
            height: 4.0 * strength,
            width: 8.0,
        }),
        "doubled edges" => signal(Disturbance::Chatter {
            share: 0.02,
            width: 30.0,
        }),
        "loose contact" => signal(Disturbance::Contact {
            rate: 3.0,
            width: 2000.0,
        }),
        "ringing" => signal(Disturbance::Ringing {
            hertz: 6000.0,
            damping: 0.12,
            height: 0.2,
        }),
        "drift" => signal(Disturbance::Drift {
            volts: 0.3 * strength,
            seconds: 2.5,
        }),
        "noise" => signal(Disturbance::Noise {
            volts: 0.05 * strength,
        }),
        "extra tooth" => {
            let marks = wheel.all_marks();
            let ends = marks.iter().skip(1).copied().chain([wheel.period()]);
            let widest = marks
                .iter()
                .zip(ends)
                .max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
            let at = widest.map_or(0.0, |(a, b)| (a + b) / 2.0);
            vec![Fault::ToothExtra {
                at,
                height: 0.7,
                after: 1.5,
            }]
        }
        "damaged tooth" => vec![Fault::ToothDamaged {
            tooth: teeth / 2 + 1,
            height: 0.55,
            shift: 0.15 * wheel.narrowest().min(12.0),
            after: 0.0,
        }],
        "missing tooth" => vec![Fault::ToothMissing {
            tooth: teeth / 2 + 1,
            after: 1.5,
        }],
        "out of true" => {
            wheel.wobble = (0.06 * wheel.narrowest()).min(0.6);
            if let CrankSensor::Vr { runout, .. } = &mut wheel.sensor {
                *runout = 0.35;
            }
            Vec::new()
        }
        _ => Vec::new(),
    }
}

/// How the crank is turned, under a name.
pub const DRIVING: [&str; 7] = [
    "idle",
    "starter of eight cylinders",
    "starter of one cylinder",
    "5000 rpm/s",
    "stalls and starts again",
    "slow",
    "fast",
];

fn profile(from: f64, to: f64, seconds: f64, ripple: &[[f64; 2]]) -> Segment {
    Segment::Profile {
        from,
        to,
        seconds,
        ripple: ripple.to_vec(),
    }
}

fn driving(name: &str) -> Vec<Segment> {
    match name {
        // 85 to 225 rpm, four compressions a turn.
        "starter of eight cylinders" => vec![profile(155.0, 155.0, 1e6, &[[4.0, 0.903]])],
        // One compression in two turns, with its first overtone (assumed).
        "starter of one cylinder" => vec![profile(240.0, 240.0, 1e6, &[[0.5, 0.4], [1.0, 0.3]])],
        "5000 rpm/s" => vec![
            profile(900.0, 900.0, 1.2, &[[2.0, 0.03]]),
            profile(900.0, 5900.0, 1.0, &[[2.0, 0.02]]),
            profile(5900.0, 900.0, 1.0, &[[2.0, 0.02]]),
        ],
        "stalls and starts again" => vec![
            Segment::Idle { seconds: 1.4 },
            Segment::Stopped { seconds: 1.2 },
            Segment::Start { seconds: 1e6 },
        ],
        "slow" => vec![profile(300.0, 300.0, 1e6, &[[2.0, 0.1]])],
        "fast" => vec![profile(6400.0, 6400.0, 1e6, &[[2.0, 0.01]])],
        _ => vec![Segment::Idle { seconds: 1e6 }],
    }
}

/// Where samples are lost: nowhere, once, or again and again in pieces of half a millisecond to 60.
pub const LOST: [Losses; 3] = [
    &[],
    &[(2.2, 3_000)],
    &[
        (1.31, 50),
        (1.77, 700),
        (2.45, 6_000),
        (2.46, 90),
        (3.05, 1_500),
    ],
];

/// One row of the matrix.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    pub wheel: usize,
    pub sensor: usize,
    pub mess: usize,
    pub driving: usize,
    pub lost: usize,
    pub seed: u64,
}

impl Row {
    /// Every wheel with every sensor it can have and every mess; driving and losses go round, so that
    /// over the seeds each meets each.
    pub fn all(seed: u64) -> Vec<Self> {
        let mut rows = Vec::new();
        for (wheel, (name, _)) in WHEELS.iter().enumerate() {
            for sensor in 0..SENSORS.len() {
                // Coded teeth are read by a Hall sensor alone.
                if name.contains("coded") && sensor < 2 {
                    continue;
                }
                for mess in 0..MESS.len() {
                    let turn = wheel + 2 * sensor + 3 * mess;
                    let shift = usize::try_from(seed).expect("a small seed");
                    rows.push(Self {
                        wheel,
                        sensor,
                        mess,
                        driving: (turn + shift) % DRIVING.len(),
                        lost: (turn / DRIVING.len() + mess + shift) % LOST.len(),
                        seed,
                    });
                }
            }
        }
        rows
    }

    /// The engine of the row, driven and harmed.
    pub fn scenario(&self) -> Scenario {
        let mut scenario = driven("healthy", driving(DRIVING[self.driving]));
        scenario.repeat_from = (scenario.driver.len() == 3 && self.driving == 3).then_some(1);
        let mut wheel = wheel(&WHEELS[self.wheel], self.sensor);
        scenario.faults = mess(MESS[self.mess], &mut wheel);
        if is_even(&wheel) {
            // A cam that moves cannot tell where an even wheel stands; one of the two must not.
            scenario.engine.intake.phaser = None;
        }
        scenario.engine.crank = wheel;
        scenario
    }

    /// In words.
    pub fn words(&self) -> String {
        format!(
            "{}, {}, {}, {}, losses {}, seed {}",
            WHEELS[self.wheel].0,
            SENSORS[self.sensor],
            MESS[self.mess],
            DRIVING[self.driving],
            self.lost,
            self.seed
        )
    }
}
