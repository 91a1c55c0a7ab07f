//! The engine controller's cam loop: it knows only what its own sensor showed at the last edge.

use super::blueprint::PhaserPlan;

/// Speed from which the valves are driven, rpm.
const DRIVEN_FROM: f64 = 450.0;
/// Highest rate at which the target moves, crank degrees per second (assumed).
const TARGET_RATE: f64 = 250.0;
/// Error below which the loop leaves well alone, crank degrees.
const QUIET: f64 = 0.8;
/// Limit of the integral, points of duty.
const INTEGRAL_LIMIT: f64 = 35.0;
/// Time without an edge after which the position counts as lost, in seconds at standstill speed.
const LOST_CYCLES: f64 = 3.0;

/// The loop of one cam. Travel is counted from rest, always positive.
#[derive(Debug, Clone)]
pub(super) struct Controller {
    plan: PhaserPlan,
    measured: f64,
    measured_at: f64,
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
            target: 0.0,
            integral: 0.0,
            duty: 0.0,
        }
    }

    /// A cam edge was seen; `advance` is how early it came, crank degrees.
    pub fn edge(&mut self, time: f64, advance: f64) {
        self.measured = advance * self.plan.rest.sign();
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
        if (0.0..control.highest).contains(&duty) {
            self.integral = (self.integral + control.integral * effort * dt)
                .clamp(-INTEGRAL_LIMIT, INTEGRAL_LIMIT);
        }
        self.duty = duty.clamp(0.0, control.highest);
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
