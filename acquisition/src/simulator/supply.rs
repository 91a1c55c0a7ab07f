//! Battery and alternator.

use super::blueprint::SupplyPlan;
use super::turn::sine;

/// Time constant of the starter's windings, seconds (assumed: tenths of a millihenry over tens of milliohms).
const WINDINGS: f64 = 0.003;
/// Ripple of the starter's current from its commutator, fraction of the current, and periods per
/// crank revolution: some 25 segments, geared 12 to 1 (assumed).
const COMMUTATOR: (f64, f64) = (0.03, 300.0);

/// Supply voltage as it changes; the ripple is added where it is sampled.
#[derive(Debug, Clone)]
pub(super) struct Supply {
    plan: SupplyPlan,
    /// Mean voltage now.
    pub mean: f64,
    ripple: f64,
    /// Share of the starter's standstill current that flows now.
    starter: f64,
}

impl Supply {
    pub fn new(plan: &SupplyPlan, running: bool) -> Self {
        let mean = if running {
            plan.alternator
        } else {
            plan.battery
        };
        Self {
            plan: plan.clone(),
            mean,
            ripple: if running { plan.ripple } else { 0.0 },
            starter: 0.0,
        }
    }

    /// `starter` is the share of the starter's standstill current that flows now.
    pub fn step(&mut self, dt: f64, rpm: f64, starter: f64) {
        // An alternator gives nothing below some 500 rpm and all that is asked from idle on (assumed).
        let share = ((rpm - 450.0) / 150.0).clamp(0.0, 1.0);
        let plan = &self.plan;
        let rest = plan.battery - plan.starter_sag * starter;
        let target = rest + (plan.alternator - plan.battery) * share;
        // The starter pulls at once; the alternator's field needs some tens of milliseconds.
        let constant = if target < self.mean { 0.004 } else { 0.06 };
        self.mean += (target - self.mean) * dt / constant;
        self.ripple = plan.ripple * share;
        self.starter += (starter - self.starter) * dt / WINDINGS;
    }

    /// Starter current at a crank angle in degrees, amperes; zero where the plan does not give it.
    pub fn starter(&self, angle: f64) -> f64 {
        let (ripple, per_turn) = COMMUTATOR;
        let mean = self.plan.starter_current.unwrap_or(0.0) * self.starter;
        // A starter that has let go draws less and less; below a microampere, which no clamp sees, it is none.
        if mean < 1e-6 {
            return 0.0;
        }
        mean * (1.0 + ripple * sine(angle * per_turn / 360.0))
    }

    /// Ripple at a crank angle in degrees, volts.
    pub fn ripple(&self, angle: f64) -> f64 {
        if self.ripple > 0.0 {
            self.ripple * sine(angle * self.plan.ripple_per_turn / 360.0)
        } else {
            0.0
        }
    }
}
