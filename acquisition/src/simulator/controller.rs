//! The engine controller's cam loop: it knows only what its own sensor showed at the last edge.

use super::blueprint::PhaserPlan;

/// Speed from which the valves are driven, rpm.
const DRIVEN_FROM: f64 = 450.0;
/// Highest rate at which the target moves, crank degrees per second (assumed).
const TARGET_RATE: f64 = 250.0;
/// Error below which the loop leaves well alone, crank degrees.
const QUIET: f64 = 0.8;
/// Rate towards the target from which the cam counts as on its way, crank degrees per second.
const ON_ITS_WAY: f64 = 5.0;
/// Time over which the controller smooths the measured rate, seconds.
const RATE_SMOOTHING: f64 = 0.06;
/// Limit of the integral, points of duty.
const INTEGRAL_LIMIT: f64 = 35.0;
/// Engine cycles without an edge after which the position counts as lost.
const LOST_CYCLES: f64 = 3.0;

/// The loop of one cam. Travel is counted from rest, always positive.
#[derive(Debug, Clone)]
pub(super) struct Controller {
    plan: PhaserPlan,
    measured: f64,
    measured_at: f64,
    /// Rate between the last edges, smoothed over a few of them, crank degrees per second.
    rate: f64,
    /// Wanted travel now, crank degrees.
    pub target: f64,
    integral: f64,
    /// Duty asked for, percent.
    pub duty: f64,
}

impl Controller {
    pub fn new(plan: &PhaserPlan) -> Self {
        Self {
            plan: plan.clone(),
            measured: 0.0,
            measured_at: f64::NEG_INFINITY,
            rate: 0.0,
            target: 0.0,
            integral: 0.0,
            duty: 0.0,
        }
    }

    /// A cam edge was seen; `advance` is how early it came, crank degrees.
    pub fn edge(&mut self, time: f64, advance: f64) {
        let travel = advance * self.plan.rest.sign();
        let passed = time - self.measured_at;
        if passed > 0.0 && passed.is_finite() {
            let rate = (travel - self.measured) / passed;
            self.rate += (rate - self.rate) * (passed / RATE_SMOOTHING).min(1.0);
        }
        self.measured = travel;
        self.measured_at = time;
    }

    pub fn step(&mut self, dt: f64, time: f64, rpm: f64, supply: f64) {
        if rpm < DRIVEN_FROM {
            self.target = 0.0;
            self.integral = 0.0;
            self.duty = 0.0;
            return;
        }
        let lost = time - self.measured_at > LOST_CYCLES * 120.0 / rpm;
        let wish = if lost { 0.0 } else { self.wish(rpm) };
        let most = TARGET_RATE * dt;
        self.target += (wish - self.target).clamp(-most, most);
        if self.target < 0.5 {
            // At rest the spring and the pin hold it; a small duty keeps the valve's circuit watched.
            self.integral = 0.0;
            self.duty = self.plan.control.keep_alive;
            return;
        }
        let control = &self.plan.control;
        let error = self.target - self.measured;
        let hold = control.learned_hold * 13.5 / supply.max(9.0);
        let effort = if error.abs() < QUIET { 0.0 } else { error };
        let duty = hold + control.proportional * effort + self.integral;
        // While the cam is on its way the integral waits, or slow oil would wind it up.
        let on_its_way = self.rate * effort.signum() > ON_ITS_WAY;
        if (control.keep_alive..control.highest).contains(&duty) && !on_its_way {
            self.integral = (self.integral + control.integral * effort * dt)
                .clamp(-INTEGRAL_LIMIT, INTEGRAL_LIMIT);
        }
        // Never off altogether: the circuit is watched here too.
        self.duty = duty.clamp(control.keep_alive, control.highest);
    }

    fn wish(&self, rpm: f64) -> f64 {
        let points = &self.plan.control.targets;
        let Some(after) = points.iter().position(|p| p[0] >= rpm) else {
            return points.last().map_or(0.0, |p| p[1]);
        };
        if after == 0 {
            return points[0][1];
        }
        let ([x0, y0], [x1, y1]) = (points[after - 1], points[after]);
        y0 + (y1 - y0) * (rpm - x0) / (x1 - x0)
    }
}
