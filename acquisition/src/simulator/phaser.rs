//! A hydraulic vane phaser: its rate depends on how far the duty lies beyond a band in which it holds.
//!
//! dφ/dt = sgn(e) · min(vmax(oil), k · max(0, |e| − band)), e = duty − hold(supply, coil), between two
//! end stops, with a lock pin at rest. The form follows the patents on hold learning (US 8,019,526,
//! US 8,336,511); the figures are common practice.

use super::blueprint::PhaserPlan;
use super::fault::CamEffect;
use super::truth::Stop;
use std::collections::VecDeque;

/// Change of copper resistance per kelvin, relative to 20 °C.
pub(super) const COPPER: f64 = 0.00393;
/// Time constant of the spool, seconds (assumed).
const SPOOL: f64 = 0.006;
/// Travel below which the pin can fall into its hole, crank degrees.
const LOCK_ZONE: f64 = 0.2;
/// Distance from a stop within which it counts as standing there, crank degrees.
const STOP: f64 = 0.5;
/// Speed below which there is no oil pressure to move anything, rpm.
const NO_PRESSURE: f64 = 150.0;

/// The surroundings of a phaser at an instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surroundings {
    pub time: f64,
    pub rpm: f64,
    /// °C.
    pub oil: f64,
    /// °C.
    pub coil: f64,
    /// Volts across coil and driver.
    pub supply: f64,
    /// Resistance in the feed as a share of the coil's.
    pub feed_share: f64,
}

/// State of one phaser.
#[derive(Debug, Clone)]
pub(super) struct Phaser {
    plan: PhaserPlan,
    /// Travel from rest, crank degrees.
    pub travel: f64,
    /// Crank degrees per second, away from rest positive.
    pub rate: f64,
    /// Whether the pin holds it at rest.
    pub locked: bool,
    /// Duty that would hold it now, percent.
    pub hold: f64,
    /// Largest rate it can move at now, crank degrees per second.
    pub limit: f64,
    /// Travel at which it rests now.
    rest: f64,
    spool: f64,
    arriving: VecDeque<(f64, f64)>,
    felt: f64,
    last: f64,
}

impl Phaser {
    pub fn new(plan: &PhaserPlan) -> Self {
        Self {
            plan: plan.clone(),
            travel: 0.0,
            rate: 0.0,
            locked: true,
            hold: plan.hold_duty,
            limit: 0.0,
            rest: 0.0,
            spool: 0.0,
            arriving: VecDeque::new(),
            felt: 0.0,
            last: 0.0,
        }
    }

    /// Amplitude of flutter now: a locked or seized phaser has none.
    pub fn flutter(&self, effect: &CamEffect) -> f64 {
        if self.locked || effect.stuck {
            0.0
        } else {
            self.plan.flutter
        }
    }

    pub fn step(&mut self, dt: f64, duty: f64, around: Surroundings, effect: &CamEffect) {
        // Exact comparison is meant: any change of the delivered duty is a new command.
        #[allow(
            clippy::float_cmp,
            reason = "a stored copy is compared with its source"
        )]
        if duty != self.last {
            self.last = duty;
            self.arriving.push_back((
                around.time + self.plan.dead_time / 1e3 + effect.dead_time,
                duty,
            ));
        }
        while let Some(&(when, duty)) = self.arriving.front()
            && when <= around.time
        {
            self.felt = duty;
            let _ = self.arriving.pop_front();
        }
        self.spool += (self.felt - self.spool) * dt / SPOOL;
        // The force follows the current: duty times supply over resistance.
        let resistance = 1.0 + COPPER * (around.coil - 20.0) + around.feed_share;
        self.hold = self.plan.hold_duty * resistance * 13.5 / around.supply.max(6.0);
        let beyond = match effect.spool {
            // A spool that is stuck stands where it stands, whatever the coil's current.
            Some(at) => {
                self.spool = at;
                at - self.plan.hold_duty
            }
            None => self.spool - self.hold,
        };
        self.limit = self.limit(around, effect);
        let wish = self.wish(beyond, effect) - effect.leak;
        self.rest = effect.rest;
        if effect.lock_fails || effect.rest > 0.0 {
            self.locked = false;
        } else if self.locked {
            self.locked = self.spool < self.plan.unlock_duty.max(self.hold);
        } else if self.travel < LOCK_ZONE && beyond < -self.plan.hold_band {
            self.locked = true;
            self.travel = 0.0;
        }
        self.rate = if self.locked || effect.stuck {
            0.0
        } else {
            wish
        };
        let rest = self.rest.min(self.plan.authority);
        let next = (self.travel + self.rate * dt).clamp(rest, self.plan.authority);
        self.rate = (next - self.travel) / dt;
        self.travel = next;
    }

    /// Whether it stands at the stop towards which `duty` drives it.
    pub fn at_stop(&self, duty: f64) -> bool {
        if duty > self.hold {
            self.travel > self.plan.authority - STOP
        } else {
            self.travel < self.rest + STOP
        }
    }

    /// The stop at which it stands.
    pub fn stop(&self) -> Stop {
        if self.travel < self.rest + STOP {
            Stop::Rest
        } else if self.travel > self.plan.authority - STOP {
            Stop::Full
        } else {
            Stop::Between
        }
    }

    /// Half width of the band of duty in which it stands still, percentage points.
    pub fn hold_band(&self) -> f64 {
        self.plan.hold_band
    }

    fn limit(&self, around: Surroundings, effect: &CamEffect) -> f64 {
        let warm = (around.oil / 90.0).clamp(-0.3, 1.2);
        let hottest = self.plan.cold_rate + (self.plan.hot_rate - self.plan.cold_rate) * warm;
        // At idle the pump gives part of the pressure it has from about 2000 rpm on (assumed).
        let pressure = if around.rpm < NO_PRESSURE {
            0.0
        } else {
            (0.5 + 0.5 * (around.rpm - 600.0) / 1400.0).clamp(0.3, 1.0)
        };
        hottest.max(self.plan.cold_rate * 0.5) * pressure * effect.rate_factor
    }

    fn wish(&self, beyond: f64, effect: &CamEffect) -> f64 {
        let push = self.plan.gain
            * effect.gain_factor
            * effect.rate_factor
            * (beyond.abs() - self.plan.hold_band).max(0.0);
        push.min(self.limit).copysign(beyond)
    }
}

#[cfg(test)]
mod tests {
    use super::super::fault::Effects;
    use super::*;

    fn run(phaser: &mut Phaser, start: f64, seconds: f64, duty: f64, coil: f64) {
        let dt = 50e-6;
        let mut time = start;
        while time < start + seconds {
            let around = Surroundings {
                time,
                rpm: 2500.0,
                oil: 90.0,
                coil,
                supply: 13.5,
                feed_share: 0.0,
            };
            phaser.step(dt, duty, around, &Effects::NONE.cams[0]);
            time += dt;
        }
    }

    fn phaser() -> Phaser {
        let engine = super::super::scenario::Scenario::named("healthy")
            .unwrap()
            .engine;
        Phaser::new(engine.intake.phaser.as_ref().unwrap())
    }

    #[test]
    fn it_leaves_its_lock_moves_to_the_stop_and_locks_again() {
        let mut p = phaser();
        run(&mut p, 0.0, 0.5, 20.0, 20.0);
        assert!(p.locked && p.travel <= 0.0);
        run(&mut p, 0.5, 2.0, 95.0, 20.0);
        assert!(!p.locked && (p.travel - 50.0).abs() < 1e-9);
        run(&mut p, 2.5, 2.0, 8.0, 20.0);
        assert!(p.locked && p.travel <= 0.0);
    }

    /// Copper: 50 % at 20 °C becomes 69.7 % at 120 °C (+0.393 % per kelvin).
    #[test]
    fn the_hold_duty_follows_the_coil_and_within_its_band_nothing_moves() {
        let mut p = phaser();
        run(&mut p, 0.0, 0.2, 60.0, 120.0);
        assert!((p.hold / 39.0 - 69.65 / 50.0).abs() < 1e-3);
        let before = p.travel;
        let hold = p.hold;
        run(&mut p, 0.2, 0.1, hold, 120.0);
        let settled = p.travel;
        run(&mut p, 0.3, 1.0, hold + 1.0, 120.0);
        assert!(before > 0.0 && (p.travel - settled).abs() < 1e-9);
    }
}
