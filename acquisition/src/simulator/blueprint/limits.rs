//! The limits of every figure of an engine that was not read from a file.

use super::{Blueprint, CamPlan, CrankSensor, OutputStage, PhaserPlan};

/// Where a figure must lie.
#[derive(Clone, Copy)]
enum Limit {
    Positive,
    NotNegative,
    Between(f64, f64),
}
use Limit::{Between, NotNegative, Positive};

const FRACTION: Limit = Between(0.0, 1.0);
const PERCENT: Limit = Between(0.0, 100.0);
const SPEED: Limit = Between(20.0, 9000.0);

type Figure = (&'static str, f64, Limit);

fn judge(part: &str, figures: &[Figure]) -> Result<(), String> {
    for &(name, value, limit) in figures {
        let (good, expected) = match limit {
            Positive => (value > 0.0, "a number above 0".to_owned()),
            NotNegative => (value >= 0.0, "a number not below 0".to_owned()),
            Between(low, high) => ((low..=high).contains(&value), format!("{low} to {high}")),
        };
        if !good || !value.is_finite() {
            return Err(format!("{part}.{name} is {value}, expected {expected}"));
        }
    }
    Ok(())
}

/// The same limits as those with which a file is read. The error is one sentence.
pub(super) fn check(engine: &Blueprint) -> Result<(), String> {
    let b = &engine.block;
    judge(
        "block",
        &[
            ("bore", b.bore, Positive),
            ("stroke", b.stroke, Positive),
            ("rod", b.rod, Positive),
            ("compression_ratio", b.compression_ratio, Positive),
            ("inertia", b.inertia, Positive),
            ("friction", b.friction, NotNegative),
            ("friction_rise", b.friction_rise, NotNegative),
            ("manifold", b.manifold, Positive),
            ("throttle", b.throttle, Positive),
            ("idle", b.idle, SPEED),
            ("limit", b.limit, SPEED),
            ("unevenness", b.unevenness, FRACTION),
            ("starter_torque", b.starter_torque, Positive),
            ("starter_speed", b.starter_speed, SPEED),
        ],
    )?;
    let s = &engine.supply;
    judge(
        "supply",
        &[
            ("battery", s.battery, Positive),
            ("alternator", s.alternator, Positive),
            ("ripple", s.ripple, NotNegative),
            ("ripple_per_turn", s.ripple_per_turn, Positive),
            ("starter_sag", s.starter_sag, NotNegative),
            (
                "starter_current",
                s.starter_current.unwrap_or(1.0),
                Positive,
            ),
        ],
    )?;
    let c = &engine.crank;
    judge(
        "crank",
        &[
            ("gap_to_tdc", c.gap_to_tdc, NotNegative),
            ("wobble", c.wobble, NotNegative),
        ],
    )?;
    match c.sensor {
        CrankSensor::Vr {
            volts_per_rpm,
            runout,
            ..
        } => judge(
            "crank.sensor",
            &[
                ("volts_per_rpm", volts_per_rpm, Positive),
                ("runout", runout, FRACTION),
            ],
        )?,
        CrankSensor::Hall { tooth_width, .. } => {
            judge("crank.sensor", &[("tooth_width", tooth_width, Positive)])?;
        }
    }
    check_cam("intake", &engine.intake)?;
    check_cam("exhaust", &engine.exhaust)
}

fn check_cam(name: &str, cam: &CamPlan) -> Result<(), String> {
    judge(name, &[("jitter", cam.jitter, NotNegative)])?;
    cam.phaser
        .as_ref()
        .map_or(Ok(()), |p| check_phaser(name, p))
}

fn check_phaser(name: &str, p: &PhaserPlan) -> Result<(), String> {
    judge(
        &format!("{name}.phaser"),
        &[
            ("authority", p.authority, Positive),
            ("authority", p.authority, Between(0.0, 140.0)),
            ("hold_duty", p.hold_duty, PERCENT),
            ("hold_band", p.hold_band, NotNegative),
            ("gain", p.gain, Positive),
            ("hot_rate", p.hot_rate, Positive),
            ("cold_rate", p.cold_rate, Positive),
            ("unlock_duty", p.unlock_duty, PERCENT),
            ("dead_time", p.dead_time, NotNegative),
            ("flutter", p.flutter, NotNegative),
        ],
    )?;
    let v = &p.valve;
    let OutputStage {
        limit,
        shut_off,
        bias,
        pull_up,
        pull_down,
        capacitance,
    } = v.stage;
    judge(
        &format!("{name}.valve"),
        &[
            ("frequency", v.frequency, Positive),
            ("resistance", v.resistance, Positive),
            ("inductance", v.inductance, Positive),
            ("driver", v.driver, Positive),
            ("stage.limit", limit, Positive),
            ("stage.shut_off", shut_off, Positive),
            ("stage.bias", bias, NotNegative),
            ("stage.pull_up", pull_up, NotNegative),
            ("stage.pull_down", pull_down, NotNegative),
            ("stage.capacitance", capacitance, Positive),
        ],
    )?;
    let c = &p.control;
    judge(
        &format!("{name}.control"),
        &[
            ("proportional", c.proportional, NotNegative),
            ("integral", c.integral, NotNegative),
            ("learned_hold", c.learned_hold, PERCENT),
            ("keep_alive", c.keep_alive, PERCENT),
            ("highest", c.highest, PERCENT),
        ],
    )
}
