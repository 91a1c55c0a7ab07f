//! A solenoid valve switched to ground: exact exponentials between exact switching instants.
//!
//! Conducting, i(t) = (V/R)(1 − e^(−tR/L)); opened into a clamp the current is gone after
//! (L/R)·ln(1 + I0·R/(Vclamp − Vb)). Each stretch of time with one path of the current is a [`Stretch`].
//! A pin with nothing on it is a capacitor that the driver's diagnostic currents charge against the probe:
//! v(t) = I/G + (v0 − I/G)·e^(−tG/C), until it has reached their bias.

use super::blueprint::{Flyback, ValvePlan};
use super::fault::{CircuitEffect, DriverState};
use super::phaser::COPPER;

/// Time constant with which the pin's voltage changes, seconds (a driver's slew of a few µs; assumed).
const SLEW: f64 = 1.5e-6;
/// Forward voltage of a freewheeling diode (common practice).
const DIODE: f64 = 0.7;
/// Voltage at a contact that opens under current, volts: about the least at which air breaks through (Paschen,
/// 327 V).
const ARC: f64 = 327.0;
/// Resistance of the probe at the pin, ohms (a usual scope input).
const PROBE: f64 = 1e6;

/// The path of the current in force.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Path {
    /// Through the driver.
    Conducting,
    /// After switch-off, through whatever takes it on.
    Freewheeling,
    /// No current, the pin at the supply.
    Idle,
    /// Through a short to ground, whatever the driver does.
    Grounded,
    /// The driver pulls against a short to the supply.
    Strained,
    /// The pin is held at the supply by a short.
    Shorted,
    /// Nothing on the pin but the driver, which conducts, or which does not.
    Held,
    Floating,
}

/// A stretch of time with one path and constant supply.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    start: f64,
    path: Path,
    /// Current at the start and that it tends to, amperes.
    from: f64,
    towards: f64,
    /// R/L of the circuit, 1/s.
    decay: f64,
    /// Instant of the last switching and the pin's distance then from where it belongs, volts; of a floating
    /// pin the voltage itself.
    switched: f64,
    jump: f64,
}

impl Stretch {
    fn current(&self, time: f64) -> f64 {
        // What tends to nothing and is nothing stays nothing.
        if self.from <= 0.0 && self.towards <= 0.0 {
            return 0.0;
        }
        let left = (-(time - self.start) * self.decay).exp();
        (self.towards + (self.from - self.towards) * left).max(0.0)
    }
}

/// Currents of a valve at an instant.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Currents {
    /// Through the coil, amperes.
    pub coil: f64,
    /// Taken from the feed, amperes.
    pub drawn: f64,
    /// Through the controller's ground, amperes.
    pub ground: f64,
}

/// What surrounds a valve during a step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Feed {
    /// Volts before the feed's resistance.
    pub supply: f64,
    /// Ohms in the feed.
    pub feed: f64,
    /// Ohms between the controller and ground, and volts there from what else flows through them.
    pub ground: f64,
    pub lift: f64,
    /// Coil temperature, °C.
    pub coil: f64,
    pub circuit: CircuitEffect,
}

/// A valve with its driver.
#[derive(Debug, Clone)]
pub(super) struct Valve {
    plan: ValvePlan,
    around: Feed,
    /// Coil and driver with their faults, ohms.
    resistance: f64,
    driver: f64,
    flyback: Flyback,
    next_period: f64,
    off_at: f64,
    /// When a driver that limits shuts off, and whether it has.
    trips_at: f64,
    tripped: bool,
    on: bool,
    /// Duty of the driver in the present period, percent.
    commanded: f64,
    /// Duty delivered at the pin (t_low / T) in the present period, percent.
    pub delivered: f64,
    /// Duty that the coil feels in the present period, percent.
    pub driving: f64,
    /// Duty the controller asked for in the present period, percent.
    pub wanted: f64,
    /// Conductance of the probe at the pin, siemens.
    probe: f64,
    now: Stretch,
    stretches: Vec<Stretch>,
    cursor: usize,
}

impl Valve {
    pub fn new(plan: &ValvePlan, start: f64, supply: f64) -> Self {
        let now = Stretch {
            start,
            path: Path::Idle,
            from: 0.0,
            towards: 0.0,
            decay: 1.0,
            switched: start - 1.0,
            jump: 0.0,
        };
        Self {
            around: Feed {
                supply,
                feed: 0.0,
                ground: 0.0,
                lift: 0.0,
                coil: 20.0,
                circuit: CircuitEffect::NONE,
            },
            resistance: plan.resistance,
            driver: plan.driver,
            flyback: plan.flyback,
            next_period: start,
            off_at: f64::INFINITY,
            trips_at: f64::INFINITY,
            tripped: false,
            on: false,
            commanded: 0.0,
            delivered: 0.0,
            driving: 0.0,
            wanted: 0.0,
            probe: 1.0 / PROBE,
            now,
            stretches: Vec::new(),
            cursor: 0,
            plan: plan.clone(),
        }
    }

    /// The probe at the pin divides by `factor` with so much more resistance.
    pub fn probe_with(&mut self, factor: f64) {
        self.probe = factor.min(1.0) / PROBE;
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
        self.stretches.clear();
        self.cursor = 0;
        let current = self.now.current(start);
        let pin = self.pin_of(&self.now, start, self.supply_side(current), current);
        let rewired = around.circuit != self.around.circuit;
        self.around = around;
        let circuit = &around.circuit;
        self.resistance =
            self.plan.resistance * (1.0 + COPPER * (around.coil - 20.0)) * circuit.turns;
        self.driver = self.plan.driver + circuit.driver;
        self.flyback = circuit.flyback.unwrap_or(self.plan.flyback);
        if rewired {
            self.trips_at = f64::INFINITY;
            self.tripped = false;
            self.enter(start, current, pin);
        } else {
            self.begin(start, self.now.path, current);
        }
        let mut at = start;
        loop {
            let gone = self.current_gone(at);
            let next = (self.next_period.min(self.off_at)).min(gone.min(self.trips_at));
            if next >= end {
                break;
            }
            at = next.max(at);
            if self.next_period <= next {
                self.begin_period(at, &ask, driver);
            } else if self.off_at <= next {
                self.off_at = f64::INFINITY;
                self.on = false;
                self.switch(at);
            } else if self.trips_at <= next {
                self.trips_at = f64::INFINITY;
                self.tripped = true;
                self.switch(at);
            } else {
                self.switch(at);
            }
        }
        self.stretches.push(self.now);
        self.deliver();
    }

    fn begin_period(&mut self, at: f64, ask: &impl Fn() -> f64, driver: DriverState) {
        let period = 1.0 / self.plan.frequency;
        self.wanted = ask();
        self.commanded = match driver {
            DriverState::Works => self.wanted,
            DriverState::Dead => 0.0,
            DriverState::AlwaysOn => 100.0,
        };
        self.next_period += period;
        let on = self.commanded > 0.0;
        self.off_at = if on && self.commanded < 100.0 {
            at + self.commanded / 100.0 * period
        } else {
            f64::INFINITY
        };
        if on != self.on || self.tripped {
            self.on = on;
            self.tripped = false;
            self.switch(at);
        }
    }

    /// What of the driver's duty arrives at the pin and at the coil.
    fn deliver(&mut self) {
        let c = &self.around.circuit;
        let held_up = c.to_supply.is_some() && self.strain().1;
        self.delivered = if held_up || (c.driver_open && c.to_ground.is_none()) {
            0.0
        } else if c.to_ground.is_some() {
            100.0
        } else {
            self.commanded
        };
        self.driving = if c.coil_open { 0.0 } else { self.delivered };
    }

    /// Current of the driver into a short to the supply, and whether it is the limit.
    fn strain(&self) -> (f64, bool) {
        let ohms = self.around.circuit.to_supply.unwrap_or(f64::INFINITY);
        let free = self.around.supply / (ohms + self.driver + self.around.ground);
        (
            free.min(self.plan.stage.limit),
            free > self.plan.stage.limit,
        )
    }

    /// Ohms from the pin to ground with a short there.
    fn ground_path(&self) -> f64 {
        let short = self.around.circuit.to_ground.unwrap_or(f64::INFINITY);
        if self.conducts() {
            short * self.driver / (short + self.driver)
        } else {
            short
        }
    }

    /// Whether the driver pulls at the pin.
    fn conducts(&self) -> bool {
        self.on && !self.tripped && !self.around.circuit.driver_open
    }

    fn path(&self, current: f64) -> Path {
        let c = &self.around.circuit;
        match self.conducts() {
            true if c.to_supply.is_some() => Path::Strained,
            false if c.to_supply.is_some() => Path::Shorted,
            _ if c.to_ground.is_some() => Path::Grounded,
            true if c.coil_open => Path::Held,
            false if c.coil_open => Path::Floating,
            true => Path::Conducting,
            false if current > 0.0 => Path::Freewheeling,
            false => Path::Idle,
        }
    }

    /// What takes on the current after switch-off: at a contact that opens, the air.
    fn level(&self) -> Option<f64> {
        if self.around.circuit.driver_open {
            Some(ARC)
        } else {
            self.flyback.level().map(|v| v + self.around.lift)
        }
    }

    /// When a freewheeling current ends; a diode's never quite does before the forward voltage stops it.
    fn current_gone(&self, at: f64) -> f64 {
        if self.now.path != Path::Freewheeling {
            return f64::INFINITY;
        }
        let s = &self.now;
        let time = s.start + ((s.from - s.towards) / -s.towards).ln() / s.decay;
        time.max(at)
    }

    fn switch(&mut self, at: f64) {
        let gone = self.now.path == Path::Freewheeling && self.current_gone(at) <= at;
        let current = if gone { 0.0 } else { self.now.current(at) };
        let pin = self.pin_of(&self.now, at, self.supply_side(current), current);
        self.stretches.push(self.now);
        self.enter(at, current, pin);
    }

    /// Begins the path that is now right, with the pin where it was.
    fn enter(&mut self, at: f64, current: f64, pin: f64) {
        let current = if self.around.circuit.coil_open {
            0.0
        } else {
            current
        };
        let path = self.path(current);
        self.begin(at, path, current);
        self.now.switched = at;
        self.now.jump = pin;
        if path != Path::Floating {
            self.now.jump = 0.0;
            self.now.jump = pin - self.pin_of(&self.now, at, self.supply_side(current), current);
        }
        let stage = &self.plan.stage;
        let shut_off = stage.shut_off * 1e-6;
        self.trips_at = match path {
            Path::Strained if self.strain().1 => at + shut_off,
            Path::Conducting if self.now.towards > stage.limit => {
                let left = (self.now.towards - stage.limit) / (self.now.towards - current);
                at - left.min(1.0).ln() / self.now.decay + shut_off
            }
            _ => f64::INFINITY,
        };
    }

    fn begin(&mut self, start: f64, path: Path, from: f64) {
        let inductance = self.plan.inductance / 1e3 * self.around.circuit.turns.powi(2);
        let a = &self.around;
        let fed = self.resistance + a.feed + a.circuit.feed;
        let (volts, ohms) = match path {
            Path::Conducting => (a.supply - a.lift, fed + self.driver + a.ground),
            Path::Freewheeling => match self.level() {
                Some(volts) => (a.supply - volts, fed),
                None => (-DIODE, self.resistance),
            },
            Path::Grounded if !a.circuit.coil_open => (a.supply, fed + self.ground_path()),
            Path::Strained if !a.circuit.coil_open => {
                let ohms = a.circuit.to_supply.unwrap_or(0.0);
                (self.strain().0 * ohms, fed + ohms)
            }
            Path::Shorted => (0.0, fed + a.circuit.to_supply.unwrap_or(0.0)),
            Path::Idle | Path::Held | Path::Floating | Path::Grounded | Path::Strained => {
                (0.0, fed)
            }
        };
        self.now.start = start;
        self.now.path = path;
        self.now.from = from;
        self.now.towards = volts / ohms;
        self.now.decay = ohms / inductance;
    }

    /// Volts at the supply-side pin with this current from the feed.
    fn supply_side(&self, current: f64) -> f64 {
        self.around.supply - (self.around.feed + self.around.circuit.feed) * current
    }

    fn pin_of(&self, s: &Stretch, time: f64, supply: f64, current: f64) -> f64 {
        let a = &self.around;
        let belongs = match s.path {
            Path::Conducting => a.lift + current * (self.driver + a.ground),
            Path::Freewheeling => self.level().unwrap_or(supply + DIODE),
            Path::Idle | Path::Shorted => supply,
            Path::Grounded => current * self.ground_path(),
            Path::Strained => supply - self.strain().0 * a.circuit.to_supply.unwrap_or(0.0),
            Path::Held => a.lift,
            Path::Floating => return self.floating(s.jump, time - s.switched),
        };
        let since = (time - s.switched) / SLEW;
        if since < 20.0 {
            belongs + s.jump * (-since).exp()
        } else {
            belongs
        }
    }

    /// A floating pin `since` seconds after it stood at `from` volts.
    fn floating(&self, from: f64, since: f64) -> f64 {
        let stage = &self.plan.stage;
        let there = if self.around.circuit.driver_open {
            0.0
        } else {
            1e-6
        };
        let towards = |microamperes: f64| {
            let end = microamperes * there / self.probe;
            end + (from - end) * (-since * self.probe / (stage.capacitance * 1e-9)).exp()
        };
        // Up to the bias, or as far as the current holds it against the probe.
        let rest = stage.bias.min(stage.pull_up * there / self.probe);
        if from < rest {
            towards(stage.pull_up).min(rest)
        } else {
            towards(-stage.pull_down).max(rest)
        }
    }

    fn currents_of(&self, s: &Stretch, time: f64) -> Currents {
        let coil = s.current(time);
        let local = matches!(s.path, Path::Shorted | Path::Strained)
            || (s.path == Path::Freewheeling && self.level().is_none());
        Currents {
            coil,
            drawn: if local { 0.0 } else { coil },
            ground: match s.path {
                Path::Conducting => coil,
                Path::Freewheeling if !local => coil,
                Path::Strained => self.strain().0,
                _ => 0.0,
            },
        }
    }

    /// The currents at an instant of the prepared step. Instants must not go back within a step.
    pub fn currents(&mut self, time: f64) -> Currents {
        while self.cursor + 1 < self.stretches.len()
            && self.stretches[self.cursor + 1].start <= time
        {
            self.cursor += 1;
        }
        self.currents_of(self.stretches.get(self.cursor).unwrap_or(&self.now), time)
    }

    /// Control-side pin against ground at the instant that [`Valve::currents`] was asked for, volts, with the
    /// voltage at the supply-side pin and the coil's current then.
    pub fn pin(&self, time: f64, supply: f64, current: f64) -> f64 {
        let s = self.stretches.get(self.cursor).unwrap_or(&self.now);
        self.pin_of(s, time, supply, current)
    }

    /// Currents at the end of the step.
    pub fn currents_at_end(&self, end: f64) -> Currents {
        self.currents_of(&self.now, end)
    }

    /// Whether the coil feels what the controller asks for.
    pub fn reaches(&self) -> bool {
        (self.driving - self.wanted).abs() < 1e-9
    }

    /// Resistance of the coil now, ohms.
    pub fn resistance(&self) -> f64 {
        self.resistance
    }

    /// Ohms in the circuit besides the coil's and a good driver's.
    pub fn added(&self) -> f64 {
        let a = &self.around;
        a.feed + a.circuit.feed + a.circuit.driver + a.ground
    }
}

#[cfg(test)]
mod tests;
