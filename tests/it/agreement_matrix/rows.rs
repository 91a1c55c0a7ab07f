//! The rows of the matrix as data.

use super::car::{Car, RATE};
use super::chance::Chance;
use super::programme::Programme;
use keyway_acquisition::simulator::blueprint::{Cam, CrankSensor};
use keyway_acquisition::simulator::scenario::Warming;
use keyway_analysis::findings::Cause;

/// What kind of row it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Nothing is wrong, whatever it looks like.
    Healthy,
    /// Something is wrong with the engine.
    Fault,
    /// Something is wrong with the hook-up; the engine is healthy.
    Hookup,
}

/// A row.
pub struct Row {
    pub name: &'static str,
    pub kind: Kind,
    /// The true cause, or those between which nothing that is measured can tell.
    pub causes: &'static [Cause],
    pub programmes: &'static [Programme],
    /// Makes it so.
    pub make: fn(&mut Car, &mut Chance),
}

const fn healthy(
    name: &'static str,
    programmes: &'static [Programme],
    make: fn(&mut Car, &mut Chance),
) -> Row {
    Row {
        name,
        kind: Kind::Healthy,
        causes: &[Cause::AsCommanded],
        programmes,
        make,
    }
}

const fn fault(
    name: &'static str,
    causes: &'static [Cause],
    make: fn(&mut Car, &mut Chance),
) -> Row {
    Row {
        name,
        kind: Kind::Fault,
        causes,
        programmes: &Programme::DRIVING,
        make,
    }
}

const fn hookup(name: &'static str, make: fn(&mut Car, &mut Chance)) -> Row {
    Row {
        name,
        kind: Kind::Hookup,
        causes: &[Cause::LeadFault],
        programmes: &Programme::DRIVING,
        make,
    }
}

const ANY: [Programme; 5] = [
    Programme::Idle,
    Programme::Revs,
    Programme::Ramps,
    Programme::Steady,
    Programme::Levels,
];
const STUCK: &[Cause] = &[Cause::PhaserStuck];
/// The pin of a driver that never conducts looks the same whether it is asked to or not.
const NOT_DRIVEN: &[Cause] = &[Cause::NoCommand, Cause::WiringOrDriver];

/// A coil, or the wire or feed to it, that is open: its pin does not tell which.
const OPEN: &[Cause] = &[Cause::Valve, Cause::WiringOrDriver, Cause::SupplyOrGround];

/// Seconds after which a fault begins: from the start, or on the way.
fn begins(chance: &mut Chance) -> f64 {
    if chance.happens(0.4) {
        0.0
    } else {
        chance.within([5.0, 12.0])
    }
}

/// Whether a supply below its zone is the truth in this row, so that a circuit may say so.
pub fn is_supply_low(row: &Row) -> bool {
    row.name == "weak supply"
}

/// All rows.
pub const ROWS: &[Row] = &[
    healthy("healthy idle", &[Programme::Idle], |_, _| {}),
    healthy("healthy driving", &Programme::DRIVING, |_, _| {}),
    healthy("rough idle", &ANY, |car, chance| {
        car.scenario.engine.block.unevenness = chance.within([0.08, 0.15]);
        let order = &car.scenario.engine.block.firing_order;
        let cylinder = chance.pick(order);
        let left = chance.within([0.3, 0.8]);
        car.fault(&format!(
            "kind = 'weak-cylinder'\ncylinder = {cylinder}\ncombustion = {left}"
        ));
    }),
    healthy("cold oil", &ANY, |car, chance| {
        let celsius = chance.within([0.0, 15.0]);
        car.scenario.oil = warming(celsius, celsius + 20.0);
        car.scenario.coil = warming(celsius, 40.0);
    }),
    healthy("hot oil", &Programme::DRIVING, |car, chance| {
        car.scenario.oil = warming(chance.within([110.0, 125.0]), 130.0);
        car.scenario.coil = warming(chance.within([95.0, 115.0]), 120.0);
    }),
    healthy("weak supply", &Programme::DRIVING, |car, chance| {
        // An alternator that charges badly; the controller knows its own supply.
        car.scenario.engine.supply.alternator = chance.within([11.8, 13.0]);
        car.scenario.engine.supply.battery = 11.8;
    }),
    healthy("aggressive control", &Programme::DRIVING, |car, chance| {
        let more = chance.within([1.3, 1.7]);
        car.phasers().for_each(|p| p.control.proportional *= more);
    }),
    fault("stuck at rest", STUCK, |car, _| {
        car.cam_fault("kind = 'phaser-stuck'");
    }),
    fault("stuck midway", STUCK, |car, chance| {
        let after = chance.within([3.0, 8.0]);
        let most = 0.8 * car.reach();
        car.cam_fault(&format!(
            "kind = 'phaser-stuck'\nafter = {after}\nmoved = [6.0, {most}]"
        ));
    }),
    fault("stuck at full travel", STUCK, |car, chance| {
        let after = chance.within([3.0, 8.0]);
        let phaser = car.phaser();
        let all = phaser.authority;
        // From 1700 rpm on all the travel is wanted.
        phaser.control.targets = vec![[1100.0, 0.0], [1700.0, all], [6500.0, all]];
        let near = all - 1.0;
        car.cam_fault(&format!(
            "kind = 'phaser-stuck'\nafter = {after}\nmoved = [{near}, {all}]"
        ));
    }),
    fault("stuck after a while", STUCK, |car, chance| {
        let after = chance.within([8.0, 14.0]);
        car.cam_fault(&format!("kind = 'phaser-stuck'\nafter = {after}"));
    }),
    fault("slow phaser", &[Cause::OilOrSluggish], |car, chance| {
        let wanted = chance.within([1.5, 5.0]);
        let factor = wanted / car.phaser().hot_rate;
        car.cam_fault(&format!("kind = 'phaser-slow'\nfactor = {factor}"));
    }),
    fault("hunting", &[Cause::OilOrSluggish], |car, chance| {
        let dead = chance.within([90.0, 150.0]);
        let gain = chance.within([1.5, 2.5]);
        let after = chance.within([0.0, 8.0]);
        car.cam_fault(&format!(
            "kind = 'phaser-hunting'\ndead_time = {dead}\ngain = {gain}\nafter = {after}"
        ));
    }),
    fault("no command from the start", NOT_DRIVEN, |car, _| {
        car.cam_fault("kind = 'no-command'");
    }),
    fault("command lost on the way", NOT_DRIVEN, |car, chance| {
        let after = chance.within([6.0, 14.0]);
        car.cam_fault(&format!("kind = 'no-command'\nafter = {after}"));
    }),
    fault("command lost above a speed", NOT_DRIVEN, |car, chance| {
        let rpm = chance.within([1300.0, 1700.0]);
        car.cam_fault(&format!("kind = 'command-lost-above'\nrpm = {rpm}"));
    }),
    fault(
        "command stuck on",
        &[Cause::WiringOrDriver],
        |car, chance| {
            let after = chance.within([0.0, 12.0]);
            car.cam_fault(&format!("kind = 'command-stuck-on'\nafter = {after}"));
        },
    ),
    fault(
        "feed resistance",
        &[Cause::SupplyOrGround],
        |car, chance| {
            let ohms = chance.within([2.0, 6.0]);
            car.fault(&format!("kind = 'feed-resistance'\nohms = {ohms}"));
        },
    ),
    fault("one cam one tooth", &[Cause::BaseTiming], |car, chance| {
        let teeth = chance.sign();
        car.cam_fault(&format!("kind = 'chain-jump'\nteeth = {teeth}"));
    }),
    fault("one cam two teeth", &[Cause::BaseTiming], |car, chance| {
        let teeth = 2.0 * chance.sign();
        car.cam_fault(&format!("kind = 'chain-jump'\nteeth = {teeth}"));
    }),
    fault(
        "both cams one tooth",
        &[Cause::BaseTiming, Cause::WheelOrSensor],
        |car, chance| {
            let teeth = chance.sign();
            car.fault(&format!(
                "kind = 'chain-jump'\ncam = 'both'\nteeth = {teeth}"
            ));
        },
    ),
    fault(
        "cam wheel moved",
        &[Cause::WheelOrSensor, Cause::BaseTiming],
        |car, chance| {
            let degrees = chance.sign() * chance.within([6.0, 25.0]);
            let wheel = super::car::name(car.cam);
            car.fault(&format!(
                "kind = 'wheel-moved'\nwheel = '{wheel}'\ndegrees = {degrees}"
            ));
        },
    ),
    fault(
        "crank wheel moved",
        &[Cause::WheelOrSensor, Cause::BaseTiming],
        |car, chance| {
            let degrees = chance.sign() * chance.within([6.0, 20.0]);
            car.fault(&format!(
                "kind = 'wheel-moved'\nwheel = 'crank'\ndegrees = {degrees}"
            ));
        },
    ),
    fault(
        "cam sensor drops out",
        &[Cause::WheelOrSensor],
        |car, chance| {
            let after = chance.within([3.0, 6.0]);
            let every = chance.within([6.0, 9.0]);
            let lasts = chance.within([2.2, 4.0]);
            car.cam_fault(&format!(
                "kind = 'cam-sensor-dropout'\nafter = {after}\nevery = {every}\nlasts = {lasts}"
            ));
        },
    ),
    fault(
        "command lost in vibration",
        &[Cause::WiringOrDriver],
        |car, chance| {
            let bouts = chance.within([0.6, 1.5]);
            car.circuit("kind = 'open-to-driver'", &format!("vibration = {bouts}"));
        },
    ),
    fault("open coil", OPEN, |car, chance| {
        let after = begins(chance);
        car.circuit("kind = 'open-coil'", &format!("after = {after}"));
    }),
    fault("open feed", OPEN, |car, chance| {
        let after = begins(chance);
        car.circuit("kind = 'open-feed'", &format!("after = {after}"));
    }),
    fault("wire to the driver open", NOT_DRIVEN, |car, chance| {
        let after = begins(chance);
        car.circuit("kind = 'open-to-driver'", &format!("after = {after}"));
    }),
    fault(
        "short to ground",
        &[Cause::WiringOrDriver],
        |car, chance| {
            let after = begins(chance);
            let ohms = chance.within([0.05, 0.5]);
            car.circuit(
                &format!("kind = 'short-to-ground', ohms = {ohms}"),
                &format!("after = {after}"),
            );
        },
    ),
    fault("short to supply", NOT_DRIVEN, |car, chance| {
        let after = begins(chance);
        let ohms = chance.within([0.05, 0.5]);
        car.circuit(
            &format!("kind = 'short-to-supply', ohms = {ohms}"),
            &format!("after = {after}"),
        );
    }),
    fault(
        "weak driver",
        &[Cause::WiringOrDriver, Cause::SupplyOrGround],
        |car, chance| {
            let ohms = chance.within([1.5, 4.0]);
            car.circuit(&format!("kind = 'weak-driver', ohms = {ohms}"), "");
        },
    ),
    fault(
        "spool stuck shut",
        &[Cause::Valve, Cause::PhaserStuck],
        |car, chance| {
            let after = begins(chance);
            car.hydraulic("kind = 'spool-stuck', at = 0", &format!("after = {after}"));
        },
    ),
    fault(
        "spool stuck open",
        &[Cause::Valve, Cause::PhaserStuck],
        |car, chance| {
            let after = begins(chance);
            car.hydraulic(
                "kind = 'spool-stuck', at = 100",
                &format!("after = {after}"),
            );
        },
    ),
    fault(
        "oil-starved idle",
        &[Cause::OilOrSluggish],
        |car, chance| {
            let factor = chance.within([0.03, 0.1]);
            car.fault(&format!(
                "kind = 'oil-pressure-low'\nfactor = {factor}\nwhen = {{ below_rpm = 1300 }}"
            ));
        },
    ),
    fault("leaking phaser", &[Cause::OilOrSluggish], |car, chance| {
        let rate = chance.within([5.0, 20.0]);
        car.hydraulic(&format!("kind = 'leak', rate = {rate}"), "");
    }),
    fault("stretched chain", &[Cause::BaseTiming], |car, chance| {
        let degrees = chance.within([5.0, 9.0]);
        car.fault(&format!("kind = 'chain-stretch'\ndegrees = {degrees}"));
    }),
    hookup("lead off from the start", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6, 7]);
        car.fault(&format!("kind = 'lead-off'\ninput = {input}"));
    }),
    hookup("lead falls off", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6, 7]);
        let after = chance.within([6.0, 14.0]);
        car.fault(&format!(
            "kind = 'lead-off'\ninput = {input}\nafter = {after}"
        ));
    }),
    hookup("leads swapped", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6]);
        let with = chance.pick(&[1, 2, 3, 4, 5, 6, 7][input..]);
        car.fault(&format!(
            "kind = 'leads-swapped'\ninput = {input}\nwith = {with}"
        ));
    }),
    hookup("cam leads swapped", |car, _| {
        car.fault("kind = 'leads-swapped'\ninput = 2\nwith = 3");
    }),
    hookup("command leads swapped", |car, _| {
        car.fault("kind = 'leads-swapped'\ninput = 4\nwith = 5");
    }),
    hookup("probe shows a tenth", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6]);
        car.fault(&format!(
            "kind = 'probe-factor'\ninput = {input}\nfactor = 0.1"
        ));
    }),
    hookup("probe shows ten times", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6]);
        car.fault(&format!(
            "kind = 'probe-factor'\ninput = {input}\nfactor = 10"
        ));
    }),
    hookup("crank sensor inverted", |car, _| {
        // A Hall sensor has no wires to exchange: this engine gets a coil.
        let crank = &mut car.scenario.engine.crank;
        crank.sensor = CrankSensor::Vr {
            volts_per_rpm: 0.006,
            runout: 0.05,
            inverted: false,
        };
        car.sheet.crank = crate::engines::sheet(&car.scenario.engine).crank;
        car.scenario.engine.crank.sensor = CrankSensor::Vr {
            volts_per_rpm: 0.006,
            runout: 0.05,
            inverted: true,
        };
    }),
    hookup("lead's ground missing", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6]);
        car.fault(&format!(
            "kind = 'hookup'\ninput = {input}\nwhat = {{ kind = 'ground-missing' }}"
        ));
    }),
    hookup("scope's ground missing", |car, _| {
        car.fault("kind = 'scope-ground-missing'");
    }),
    hookup("clamp reversed", |car, _| {
        car.fault("kind = 'hookup'\ninput = 7\nwhat = { kind = 'reversed' }");
    }),
    hookup("lead on another point", |car, chance| {
        let input = chance.pick(&[1, 2, 3, 4, 5, 6]);
        let point = chance.pick(&[
            "sensor-supply",
            "sensor-ground",
            "ground",
            "battery",
            "injector",
        ]);
        car.fault(&format!(
            "kind = 'hookup'\ninput = {input}\nwhat = {{ kind = 'on', point = '{point}' }}"
        ));
    }),
    hookup("range too small", |car, chance| {
        // Crank, a command or the supply, at a range that cuts them.
        let (input, volts) = chance.pick(&[(1, 1.0), (4, 10.0), (5, 10.0), (6, 10.0)]);
        car.fault(&format!(
            "kind = 'input-range'\ninput = {input}\nvolts = {volts:.1}"
        ));
    }),
    hookup("rate too low", |car, chance| {
        car.rate = RATE / chance.within([10.0, 25.0]).floor();
    }),
];

fn warming(start: f64, end: f64) -> Warming {
    Warming {
        start,
        end,
        time_constant: 200.0,
    }
}

/// Whether a fault of the row can be told on this cam at all: both where it is not on one cam alone.
pub fn concerns(row: &Row, car: &Car, cam: Cam) -> bool {
    let both = [
        "both cams one tooth",
        "crank wheel moved",
        "feed resistance",
    ];
    cam == car.cam || both.contains(&row.name)
}
