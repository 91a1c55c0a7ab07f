//! A solenoid valve switched to ground: exact exponentials between exact switching instants.
//!
//! Conducting, i(t) = (V/R)(1 − e^(−tR/L)); opened into a clamp the current is gone after
//! (L/R)·ln(1 + I0·R/(Vclamp − Vb)). Each stretch of time with one circuit is a [`Stretch`].

use super::blueprint::{Flyback, ValvePlan};
use super::fault::DriverState;
use super::phaser::COPPER;

/// Time constant with which the pin's voltage changes, seconds (a driver's slew of a few µs; assumed).
const SLEW: f64 = 1.5e-6;

/// The circuit in force.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Circuit {
    Conducting,
    Freewheeling,
    Idle,
}

/// A stretch of time with one circuit and constant supply.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    start: f64,
    circuit: Circuit,
    /// Current at the start and that it tends to, amperes.
    from: f64,
    towards: f64,
    /// R/L of the circuit, 1/s.
    decay: f64,
    /// Instant of the last switching and the pin's distance then from where it belongs, volts.
    switched: f64,
    jump: f64,
}

impl Stretch {
    fn current(&self, time: f64) -> f64 {
        match self.circuit {
            Circuit::Idle => 0.0,
            Circuit::Conducting | Circuit::Freewheeling => {
                let left = (-(time - self.start) * self.decay).exp();
                (self.towards + (self.from - self.towards) * left).max(0.0)
            }
        }
    }
}

/// Voltages and current of a valve at an instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct ValveReading {
    /// Control-side pin against ground, volts.
    pub pin: f64,
    /// Current through the coil, amperes.
    pub current: f64,
    /// Current taken from the feed, amperes.
    pub drawn: f64,
}

/// A valve with its driver.
#[derive(Debug, Clone)]
pub(super) struct Valve {
    plan: ValvePlan,
    resistance: f64,
    feed: f64,
    supply: f64,
    next_period: f64,
    off_at: f64,
    /// Duty delivered at the pin in the present period, percent.
    pub delivered: f64,
    /// Duty the controller asked for in the present period, percent.
    pub wanted: f64,
    now: Stretch,
    stretches: Vec<Stretch>,
    cursor: usize,
}

impl Valve {
    pub fn new(plan: &ValvePlan, start: f64, supply: f64) -> Self {
        let now = Stretch {
            start,
            circuit: Circuit::Idle,
            from: 0.0,
            towards: 0.0,
            decay: 1.0,
            switched: start - 1.0,
            jump: 0.0,
        };
        Self {
            plan: plan.clone(),
            resistance: plan.resistance,
            feed: 0.0,
            supply,
            next_period: start,
            off_at: f64::INFINITY,
            delivered: 0.0,
            wanted: 0.0,
            now,
            stretches: Vec::new(),
            cursor: 0,
        }
    }

    /// Prepares the stretches from `start` to `end` (one engine step). `ask` gives the controller's
    /// duty; it is taken at the start of each PWM period.
    pub fn step(
        &mut self,
        start: f64,
        end: f64,
        around: Feed,
        driver: DriverState,
        ask: impl Fn() -> f64,
    ) {
        self.resistance = self.plan.resistance * (1.0 + COPPER * (around.coil - 20.0));
        self.feed = around.feed;
        self.supply = around.supply;
        self.stretches.clear();
        self.cursor = 0;
        self.begin(start, self.now.circuit, self.now.current(start));
        let mut at = start;
        loop {
            let gone = self.current_gone(at);
            let next = self.next_period.min(self.off_at).min(gone);
            if next >= end {
                break;
            }
            at = next.max(at);
            let current = self.now.current(at);
            if self.next_period <= next {
                self.begin_period(at, &ask, driver, current);
            } else if self.off_at <= next {
                self.off_at = f64::INFINITY;
                self.switch(at, Circuit::Freewheeling, current);
            } else {
                self.switch(at, Circuit::Idle, 0.0);
            }
        }
        self.stretches.push(self.now);
    }

    fn begin_period(&mut self, at: f64, ask: &impl Fn() -> f64, driver: DriverState, current: f64) {
        let period = 1.0 / self.plan.frequency;
        self.wanted = ask();
        self.delivered = match driver {
            DriverState::Works => self.wanted,
            DriverState::Dead => 0.0,
            DriverState::AlwaysOn => 100.0,
        };
        self.next_period += period;
        if self.delivered > 0.0 {
            self.off_at = if self.delivered >= 100.0 {
                f64::INFINITY
            } else {
                at + self.delivered / 100.0 * period
            };
            if self.now.circuit != Circuit::Conducting {
                self.switch(at, Circuit::Conducting, current);
            }
        } else {
            self.off_at = f64::INFINITY;
            if self.now.circuit == Circuit::Conducting {
                self.switch(at, Circuit::Freewheeling, current);
            }
        }
    }

    /// When a freewheeling current ends; a diode's never quite does before the forward voltage stops it.
    fn current_gone(&self, at: f64) -> f64 {
        if self.now.circuit != Circuit::Freewheeling {
            return f64::INFINITY;
        }
        let s = &self.now;
        let time = s.start + ((s.from - s.towards) / -s.towards).ln() / s.decay;
        time.max(at)
    }

    fn switch(&mut self, at: f64, circuit: Circuit, current: f64) {
        let before = self.pin(&self.now, at, self.supply, self.now.current(at));
        self.stretches.push(self.now);
        self.begin(at, circuit, current);
        self.now.switched = at;
        self.now.jump = 0.0;
        self.now.jump = before - self.pin(&self.now, at, self.supply, current);
    }

    fn begin(&mut self, start: f64, circuit: Circuit, from: f64) {
        let inductance = self.plan.inductance / 1e3;
        let (volts, ohms) = match circuit {
            Circuit::Conducting => (self.supply, self.resistance + self.plan.driver + self.feed),
            Circuit::Freewheeling => match self.plan.flyback {
                Flyback::Clamp { volts } => (self.supply - volts, self.resistance + self.feed),
                Flyback::Diode => (-DIODE, self.resistance),
            },
            Circuit::Idle => (0.0, self.resistance),
        };
        self.now.start = start;
        self.now.circuit = circuit;
        self.now.from = from;
        self.now.towards = volts / ohms;
        self.now.decay = ohms / inductance;
    }

    fn pin(&self, s: &Stretch, time: f64, supply: f64, current: f64) -> f64 {
        let belongs = match s.circuit {
            Circuit::Conducting => current * self.plan.driver,
            Circuit::Freewheeling => match self.plan.flyback {
                Flyback::Clamp { volts } => volts,
                Flyback::Diode => supply + DIODE,
            },
            Circuit::Idle => supply,
        };
        let since = (time - s.switched) / SLEW;
        if since < 20.0 {
            belongs + s.jump * (-since).exp()
        } else {
            belongs
        }
    }

    /// The valve at an instant of the prepared step, with the supply at its connector then.
    /// Instants must not go back within a step.
    pub fn read(&mut self, time: f64, supply: f64) -> ValveReading {
        while self.cursor + 1 < self.stretches.len()
            && self.stretches[self.cursor + 1].start <= time
        {
            self.cursor += 1;
        }
        let s = self.stretches.get(self.cursor).copied().unwrap_or(self.now);
        let current = s.current(time);
        let local = s.circuit == Circuit::Freewheeling && self.plan.flyback == Flyback::Diode;
        ValveReading {
            pin: self.pin(&s, time, supply, current),
            current,
            drawn: if local { 0.0 } else { current },
        }
    }

    /// Resistance of the coil now, ohms.
    pub fn resistance(&self) -> f64 {
        self.resistance
    }
}

/// Forward voltage of a freewheeling diode (common practice).
const DIODE: f64 = 0.7;

/// What feeds a valve during a step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Feed {
    /// Volts before the feed's resistance.
    pub supply: f64,
    /// Ohms in the feed.
    pub feed: f64,
    /// Coil temperature, °C.
    pub coil: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    const AT_20: Feed = Feed {
        supply: 14.0,
        feed: 0.0,
        coil: 20.0,
    };

    fn valve(flyback: Flyback, driver: f64) -> Valve {
        // The worked vector of the check values: 8 ohms in all, 20 mH, 14 V.
        let plan = ValvePlan {
            frequency: 100.0,
            resistance: 8.0 - driver,
            inductance: 20.0,
            driver,
            flyback,
        };
        Valve::new(&plan, 0.0, 14.0)
    }

    #[test]
    fn current_rises_as_the_closed_form_says() {
        let mut v = valve(Flyback::Clamp { volts: 53.0 }, 0.32);
        v.step(0.0, 0.004, AT_20, DriverState::Works, || 50.0);
        // (V/R)(1 - exp(-tR/L)) at 1 ms with V 14, R 8, L 20 mH.
        assert!((v.read(0.001, 14.0).current - 0.576_94).abs() < 1e-5);
        assert!((v.read(0.001, 14.0).pin - 0.576_94 * 0.32).abs() < 1e-3);
    }

    /// From 0.875 A: 0.5090 ms into 45 V, 0.4127 ms into 53 V, 5.995 ms into a diode.
    #[test]
    fn flyback_lasts_as_long_as_the_closed_form_says() {
        for (flyback, expected, pin) in [
            (Flyback::Clamp { volts: 45.0 }, 0.5090e-3, 45.0),
            (Flyback::Clamp { volts: 53.0 }, 0.4127e-3, 53.0),
            (Flyback::Diode, 5.995e-3, 14.7),
        ] {
            let mut v = valve(flyback, 1e-9);
            let rise = 2.5e-3 * (1.0_f64 / (1.0 - 0.875 / 1.75)).ln();
            v.step(0.0, 0.0099, AT_20, DriverState::Works, || rise * 1e4);
            assert!((v.read(rise, 14.0).current - 0.875).abs() < 1e-6);
            let late = v.read(rise + expected * 0.98, 14.0);
            assert!(
                late.current > 0.0 && (late.pin - pin).abs() < 1e-3,
                "{late:?}"
            );
            let over = v.read(rise + expected * 1.001 + 3e-5, 14.0);
            assert!(
                over.current <= 0.0 && (over.pin - 14.0).abs() < 1e-3,
                "{over:?}"
            );
        }
    }

    #[test]
    fn steps_join_without_a_seam() {
        let mut fine = valve(Flyback::Diode, 0.3);
        let mut coarse = fine.clone();
        coarse.step(0.0, 0.03, AT_20, DriverState::Works, || 30.0);
        for n in 0..300 {
            let start = f64::from(n) * 1e-4;
            fine.step(start, start + 1e-4, AT_20, DriverState::Works, || 30.0);
            let t = start + 0.5e-4;
            let (a, b) = (fine.read(t, 14.0), coarse.read(t, 14.0));
            assert!((a.current - b.current).abs() < 1e-9 && (a.pin - b.pin).abs() < 1e-6);
        }
    }
}
