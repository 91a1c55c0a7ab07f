//! One engine with its fault, its driver, and the sheet that a technician has of it, drawn for a row and a seed.

use super::chance::Chance;
use super::programme::Programme;
use super::rows::Row;
use super::spread::Spread;
use crate::engines;
use keyway_acquisition::simulator::blueprint::{
    Blueprint, Cam, CamPlan, CrankSensor, CrankWheel, Flyback, PhaserPlan, RestStop,
};
use keyway_acquisition::simulator::fault::Fault;
use keyway_acquisition::simulator::scenario::{Scenario, Warming};
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::findings::Cause;
use keyway_analysis::units::CrankDegrees;

/// Enough for sixty teeth at 4000 rpm, 12 samples each, and for a few samples in the shortest pulse.
pub const RATE: f64 = 50_000.0;

/// What was drawn.
pub struct Car {
    pub scenario: Scenario,
    pub sheet: EngineSheet,
    /// The cam that a fault of one cam is on; it has a phaser.
    pub cam: Cam,
    pub programme: Programme,
    pub rate: f64,
    pub seconds: f64,
}

impl Car {
    /// The car of a row and seed.
    pub fn draw(spread: &Spread, row: &Row, seed: u64) -> Self {
        let mut chance = Chance::new(&format!("{} {}", spread.name, row.name), seed);
        let chance = &mut chance;
        let base = ["healthy", "small-hatch-healthy", "estate-six-healthy"];
        let mut scenario = Scenario::named(chance.pick(&base)).expect("an embedded scenario");
        let cam = chance.pick(&Cam::ALL);
        let other = Cam::ALL[1 - cam.index()];
        // A jump of more than a tooth of an even wheel cannot be told from none.
        let even = !row.causes.contains(&Cause::BaseTiming);
        engine(&mut scenario.engine, spread, chance, [cam, other], even);
        let steady = |celsius| Warming {
            start: celsius,
            end: celsius + 4.0,
            time_constant: 120.0,
        };
        scenario.oil = steady(chance.within(spread.oil));
        scenario.coil = steady(chance.within(spread.coil));
        scenario.noise = chance.within(spread.noise);
        scenario.faults = Vec::new();
        scenario.name = format!("{}/{seed}", row.name);
        let programme = chance.pick(row.programmes);
        scenario.driver = programme.segments(chance);
        scenario.repeat_from = Some(1);
        let sheet = sheet(&mut scenario.engine, spread, chance);
        let mut car = Self {
            scenario,
            sheet,
            cam,
            programme,
            rate: RATE,
            seconds: chance.within(spread.seconds),
        };
        (row.make)(&mut car, chance);
        car
    }

    /// Something is wrong, written as in a scenario's file.
    pub fn fault(&mut self, text: &str) {
        let fault: Fault = toml::from_str(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        self.scenario.faults.push(fault);
    }

    /// The same, with the cam that it is on.
    pub fn cam_fault(&mut self, text: &str) {
        let name = name(self.cam);
        self.fault(&format!("cam = '{name}'\n{text}"));
    }

    /// Something is wrong with the circuit of the valve on that cam: what and when, as in a file.
    pub fn circuit(&mut self, what: &str, when: &str) {
        self.cam_fault(&format!(
            "kind = 'circuit'\nwhat = {{ {what} }}\nwhen = {{ {when} }}"
        ));
    }

    /// The same for its hydraulics.
    pub fn hydraulic(&mut self, what: &str, when: &str) {
        self.cam_fault(&format!(
            "kind = 'hydraulic'\nwhat = {{ {what} }}\nwhen = {{ {when} }}"
        ));
    }

    /// The phaser of the cam that faults are on.
    pub fn phaser(&mut self) -> &mut PhaserPlan {
        let plan = match self.cam {
            Cam::Intake => &mut self.scenario.engine.intake,
            Cam::Exhaust => &mut self.scenario.engine.exhaust,
        };
        plan.phaser.as_mut().expect("the cam of a fault has one")
    }

    /// Every phaser there is.
    pub fn phasers(&mut self) -> impl Iterator<Item = &mut PhaserPlan> {
        let engine = &mut self.scenario.engine;
        [&mut engine.intake, &mut engine.exhaust]
            .into_iter()
            .filter_map(|c| c.phaser.as_mut())
    }

    /// Largest target of that phaser, degrees from rest.
    pub fn reach(&mut self) -> f64 {
        let targets = &self.phaser().control.targets;
        targets.iter().map(|t| t[1]).fold(0.0, f64::max)
    }
}

/// How faults name a cam.
pub fn name(cam: Cam) -> &'static str {
    ["intake", "exhaust"][cam.index()]
}

fn engine(
    engine: &mut Blueprint,
    spread: &Spread,
    chance: &mut Chance,
    [cam, other]: [Cam; 2],
    even: bool,
) {
    engine.block.idle = chance.within(spread.idle);
    engine.block.inertia *= chance.within([0.8, 1.25]);
    engine.block.unevenness = chance.within([0.01, 0.04]);
    engine.supply.alternator = chance.within(spread.alternator);
    engine.supply.battery = chance.within([12.2, 12.8]);
    engine.supply.ripple = chance.within([0.05, 0.2]);
    engine.current_on = chance.pick(&Cam::ALL);
    let teeth = chance.within([36.0, 50.0]).floor();
    let valve = (
        chance.within(spread.frequency),
        chance.within(spread.resistance),
    );
    let inductance = chance.within(spread.inductance);
    let driver = chance.within(spread.driver);
    let flyback = if chance.happens(0.3) {
        Flyback::Diode
    } else {
        Flyback::Clamp {
            volts: chance.within(spread.clamp),
        }
    };
    let volts = engine.supply.alternator;
    for (which, plan) in [
        (Cam::Intake, &mut engine.intake),
        (Cam::Exhaust, &mut engine.exhaust),
    ] {
        cam_wheel(plan, spread, chance);
        plan.sprocket_teeth = format!("{teeth}").parse().expect("a whole number");
        let rest = match (which, chance.happens(0.85)) {
            (Cam::Intake, true) | (Cam::Exhaust, false) => RestStop::Retarded,
            _ => RestStop::Advanced,
        };
        let phaser = plan.phaser.as_mut().expect("these engines have two");
        phaser.rest = rest;
        phaser.valve.frequency = valve.0;
        phaser.valve.resistance = valve.1;
        phaser.valve.inductance = inductance;
        phaser.valve.driver = driver;
        phaser.valve.flyback = flyback;
        hydraulics(phaser, plan.windows.len(), volts, spread, chance);
    }
    let wheel = chance.pick(spread.wheels);
    let wheel = if even || !wheel.ends_with("even") {
        wheel
    } else {
        spread.wheels[0]
    };
    engine.crank = crank_wheel(wheel, chance);
    if engine.crank.missing == 0 && engine.crank.without.is_empty() {
        match other {
            Cam::Intake => engine.intake.phaser = None,
            Cam::Exhaust => engine.exhaust.phaser = None,
        }
        engine.current_on = cam;
    }
}

/// A wheel by name, somewhere on the crank, before a VR sensor unless the name says Hall.
fn crank_wheel(name: &str, chance: &mut Chance) -> CrankWheel {
    let hall = name.ends_with("Hall") || name.ends_with("even");
    let (teeth, gone): (u16, &[u16]) = match name.split(' ').next().unwrap_or_default() {
        "60-2" => (60, &[59, 60]),
        "60-1" => (60, &[60]),
        "36-1" => (36, &[36]),
        "36-2" => (36, &[35, 36]),
        "36-2-1" => (36, &[18, 35, 36]),
        "36-2-2-2" => (36, &[14, 15, 32, 33, 35, 36]),
        "24-1" => (24, &[24]),
        "12-1" => (12, &[12]),
        "24" => (24, &[]),
        unknown => panic!("no wheel {unknown}"),
    };
    let pitch = 360.0 / f64::from(teeth);
    let sensor = if hall {
        CrankSensor::Hall {
            low: chance.within([0.1, 0.4]),
            high: chance.within([4.8, 5.1]),
            tooth_width: pitch * chance.within([0.35, 0.6]),
        }
    } else {
        CrankSensor::Vr {
            volts_per_rpm: chance.within([0.003, 0.012]),
            runout: chance.within([0.0, 0.1]),
            inverted: chance.happens(0.2),
        }
    };
    let count = u16::try_from(gone.len()).expect("few");
    let in_a_row = gone.first().is_none_or(|first| first + count == teeth + 1);
    let place = if gone.is_empty() {
        chance.within([0.1 * pitch, 0.9 * pitch])
    } else {
        chance.within([30.0, 330.0])
    };
    let mut wheel = CrankWheel::plain(
        teeth,
        if in_a_row { count } else { 0 },
        place.round(),
        sensor,
    );
    if !in_a_row {
        wheel.without = gone.to_vec();
    }
    wheel
}

/// One to four uneven windows that no half turn of the cam, give or take a phaser, lays on themselves.
fn cam_wheel(plan: &mut CamPlan, spread: &Spread, chance: &mut Chance) {
    let n = chance.pick(&[1usize, 2, 3, 3, 4, 4, 4]);
    plan.windows = loop {
        let parts: Vec<f64> = (0..2 * n).map(|_| chance.within([0.25, 1.0])).collect();
        let whole: f64 = parts.iter().sum();
        let mut at = chance.within([0.0, 60.0]).floor();
        let mut edges = Vec::new();
        for part in &parts {
            edges.push(at.round());
            at += part / whole * 720.0;
        }
        let narrow = parts.iter().any(|p| p / whole * 720.0 < 30.0);
        if !narrow && is_uneven(&edges) {
            break edges.chunks(2).map(|w| [w[0], w[1]]).collect();
        }
    };
    plan.jitter = chance.within(spread.jitter);
    let error = spread.edge_error;
    plan.edge_errors = (0..2 * n).map(|_| chance.within([-error, error])).collect();
    plan.low = chance.within([0.1, 0.4]);
    plan.high = chance.within([4.8, 5.1]);
}

/// Whether some edge lies 15 degrees off at every turn from 290 to 430 degrees.
fn is_uneven(edges: &[f64]) -> bool {
    let apart = |a: f64, b: f64| {
        let d = (a - b).rem_euclid(720.0);
        d.min(720.0 - d)
    };
    (290..=430).step_by(5).all(|turn| {
        edges.iter().enumerate().any(|(i, e)| {
            let there = e + f64::from(turn);
            let same = edges.iter().enumerate().filter(|(k, _)| k % 2 == i % 2);
            same.map(|(_, o)| apart(*o, there)).fold(720.0, f64::min) > 15.0
        })
    })
}

fn hydraulics(
    phaser: &mut PhaserPlan,
    windows: usize,
    volts: f64,
    spread: &Spread,
    chance: &mut Chance,
) {
    // As it runs: the coil at 80 °C has 1 + 0.00393 · 60 of its resistance at 20 °C.
    let warm = 1.236 * 13.5 / volts;
    let hold = chance.within(spread.hold);
    phaser.authority = chance.within(spread.authority).round();
    phaser.hold_duty = hold / warm;
    phaser.hold_band = chance.within(spread.hold_band);
    phaser.gain = chance.within(spread.gain);
    phaser.hot_rate = chance.within(spread.hot_rate);
    phaser.cold_rate = chance.within(spread.cold_rate).min(phaser.hot_rate / 2.0);
    phaser.unlock_duty = chance.within([20.0, 30.0]);
    phaser.dead_time = chance.within(spread.dead_time);
    phaser.flutter = chance.within(spread.flutter);
    let control = &mut phaser.control;
    // A loop that sees its cam twice or four times in a cycle has to be slower.
    let few = if windows < 3 { 0.6 } else { 1.0 };
    control.proportional = few * chance.within(spread.loop_speed) / phaser.gain;
    control.integral = control.proportional * chance.within(spread.integral);
    control.learned_hold = hold * volts / 13.5 + chance.within([-spread.learned, spread.learned]);
    control.keep_alive = chance.within(spread.keep_alive);
    control.highest = chance.within([90.0, 98.0]);
    let most = phaser.authority * chance.within(spread.reach);
    let away = chance.within([1050.0, 1250.0]);
    control.targets = vec![
        [away, 0.0],
        [away + 500.0, 0.7 * most],
        [2500.0, most],
        [4000.0, 0.9 * most],
        [6500.0, 0.3 * most],
    ];
}

/// The technician's sheet: windows in whole degrees, authority out of a book, the rest as the form has it.
fn sheet(engine: &mut Blueprint, spread: &Spread, chance: &mut Chance) -> EngineSheet {
    let mut sheet = engines::sheet(engine);
    for cam in &mut sheet.cams {
        if let Some(phaser) = &mut cam.phaser {
            let share = chance.within(spread.sheet_authority);
            phaser.authority = CrankDegrees((phaser.authority.0 * share).round());
        }
    }
    sheet
}
