//! The crank train: gas torque of every cylinder, friction, load and starter turn one inertia.
//! Manifold filling (a volume between throttle and cylinders) makes torque follow the throttle late.

use super::blueprint::Block;
use super::cylinder::{AMBIENT, Cylinder};
use super::fault::{CYLINDERS, CylinderEffect, Effects};
use super::script::{Asked, Segment};
use super::turn::wrapped;
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};

/// Gas constant of air times a warm intake temperature of 320 K, J/kg.
const AIR: f64 = 287.0 * 320.0;
/// Heat that reaches the gas per kg of air: 43 MJ/kg of petrol over 14.7, less a third lost to the walls.
const HEAT_PER_AIR: f64 = 43.0e6 / 14.7 * 0.65;
/// Speed the starter must have reached before the controller gives fuel, rpm.
const FUEL_FROM: f64 = 120.0;
/// Opening of the throttle that is left at idle with the driver's foot off it (assumed).
const SHUT: f64 = 0.018;
/// Speed above which the starter lets go, rpm.
const RELEASE: f64 = 450.0;

/// Motion and manifold of the engine. Angles in crank degrees, unwrapped, 0 = firing TDC 1.
#[derive(Debug, Clone)]
pub(super) struct Crankshaft {
    block: Block,
    cylinder: Cylinder,
    /// Work of a cycle, see [`Cylinder::work`].
    work: (f64, f64, f64),
    trapped: Vec<f64>,
    heat: Vec<f64>,
    closed: Vec<bool>,
    /// What faults leave of each cylinder, by its number less one.
    weakness: [CylinderEffect; CYLINDERS],
    pub angle: f64,
    /// Crank degrees per second.
    pub speed: f64,
    /// Manifold pressure, kPa.
    pub manifold: f64,
    /// Mean speed over about one firing, rpm.
    pub mean_rpm: f64,
    /// Speed the governor is asked for now, rpm.
    wanted: f64,
    integral: f64,
    throttle: f64,
    starter_on: bool,
    fuel: bool,
    segment: u64,
}

impl Crankshaft {
    /// At rest, or turning at `rpm`.
    pub fn new(block: &Block, rpm: f64, angle: f64) -> Self {
        let n = block.firing_order.len();
        let cylinder = Cylinder::new(block);
        Self {
            work: cylinder.work(),
            cylinder,
            trapped: vec![if rpm > 0.0 { 35.0 } else { AMBIENT }; n],
            heat: vec![0.0; n],
            closed: vec![true; n],
            weakness: Effects::NONE.cylinders,
            angle,
            speed: rpm * 6.0,
            manifold: if rpm > 0.0 { 35.0 } else { AMBIENT },
            mean_rpm: rpm,
            wanted: rpm,
            integral: 0.0,
            throttle: 0.0,
            starter_on: false,
            fuel: rpm > 0.0,
            segment: u64::MAX,
            block: block.clone(),
        }
    }

    pub fn rpm(&self) -> f64 {
        self.speed / 6.0
    }

    /// Whether the starter turns the crank.
    pub fn starter_on(&self) -> bool {
        self.starter_on
    }

    /// Takes on what faults leave of each cylinder; it shows from the next charge on.
    pub fn weaken(&mut self, weakness: [CylinderEffect; CYLINDERS]) {
        self.weakness = weakness;
    }

    /// One step of `dt` seconds: the speed changes linearly within it, so the angle is smooth.
    pub fn step(&mut self, dt: f64, asked: Asked<'_>, rng: &mut impl Rng) {
        let segment = asked.segment;
        if asked.number != self.segment {
            self.enter(segment, asked.number);
        }
        let (target, ramp, load) = match *segment {
            Segment::Speed {
                rpm, ramp, load, ..
            } => (rpm, ramp, load),
            Segment::Fixed { rpm, .. } => (rpm, 4000.0, 0.0),
            Segment::Profile { from, to, .. } => (from.max(to), 4000.0, 0.0),
            Segment::Throttle { load, .. } => (self.block.limit, f64::INFINITY, load),
            Segment::Stopped { .. }
            | Segment::Crank { .. }
            | Segment::Start { .. }
            | Segment::Idle { .. } => (self.block.idle, 2500.0, 0.0),
        };
        self.wanted += (target - self.wanted).clamp(-ramp * dt, ramp * dt);
        self.control(dt, segment, target, load);
        self.breathe(dt);
        let driving = self.gas(rng) + self.starter();
        let next = match segment {
            Segment::Fixed { .. } => self.wanted * 6.0,
            Segment::Profile {
                from,
                to,
                seconds,
                ripple,
            } => {
                let x = ((asked.elapsed + dt) / seconds).min(1.0);
                let line = from + (to - from) * x;
                let angle = self.angle + self.speed * dt;
                let swing =
                    |[order, depth]: &[f64; 2]| depth / 2.0 * (order * angle).to_radians().sin();
                6.0 * line * (1.0 + ripple.iter().map(swing).sum::<f64>())
            }
            _ => self.turned(driving, load, dt),
        };
        self.angle += (self.speed + next) / 2.0 * dt;
        self.speed = next;
        self.mean_rpm += (self.rpm() - self.mean_rpm) * dt / 0.03;
    }

    /// Speed after `dt`. Friction and load brake whichever way the crank turns, and hold it when it stands;
    /// so an engine that stops swings back on what is left in its cylinders.
    fn turned(&self, driving: f64, load: f64, dt: f64) -> f64 {
        let gain = |torque: f64| (torque / self.block.inertia).to_degrees() * dt;
        let free = self.speed + gain(driving);
        let brake = gain(self.friction(self.rpm().abs()) + load);
        free.signum() * (free.abs() - brake).max(0.0)
    }

    fn enter(&mut self, segment: &Segment, number: u64) {
        self.segment = number;
        self.wanted = self.mean_rpm;
        match segment {
            Segment::Stopped { .. } => {
                self.starter_on = false;
                self.fuel = false;
            }
            Segment::Crank { .. } => {
                self.starter_on = true;
                self.fuel = false;
            }
            Segment::Start { .. } => self.starter_on = true,
            Segment::Idle { .. }
            | Segment::Speed { .. }
            | Segment::Throttle { .. }
            | Segment::Profile { .. }
            | Segment::Fixed { .. } => {
                self.starter_on = false;
                self.fuel = true;
            }
        }
    }

    /// The throttle: what the load and the friction need at the wanted speed, and a PI loop on top.
    fn control(&mut self, dt: f64, segment: &Segment, target: f64, load: f64) {
        if let Segment::Start { .. } = segment {
            self.fuel |= self.mean_rpm > FUEL_FROM;
            self.starter_on &= self.mean_rpm < RELEASE;
            self.wanted = self.block.idle;
        }
        if let Segment::Throttle { opening, .. } = *segment {
            self.throttle += (opening - self.throttle) * dt / 0.05;
            return;
        }
        let displacement = self.displacement();
        let accelerate = (target - self.wanted).clamp(-1.0, 1.0) * 2000.0 * 0.10472;
        let torque = self.friction(self.wanted) + load + self.block.inertia * accelerate;
        let cylinders = self.block.firing_order.len() as f64;
        let (fixed, per_kpa, per_joule) = self.work;
        let heat_per_kpa = self.cylinder.trapped_volume * 1e3 / AIR * HEAT_PER_AIR * 0.9;
        let work = torque * 4.0 * std::f64::consts::PI / cylinders;
        let pressure = ((work - fixed) / (per_kpa + per_joule * heat_per_kpa)).clamp(15.0, 95.0);
        let air = pressure * 1e3 * displacement * self.wanted / 120.0 / AIR;
        let opening = air * 1e3 / self.block.throttle / choke(pressure / AMBIENT);
        let error = self.wanted - self.mean_rpm;
        if error.abs() < 400.0 {
            self.integral = (self.integral + error * 2.0e-5 * dt).clamp(-0.05, 0.1);
        }
        // On the overrun a bypass keeps the manifold from being pumped empty.
        let shut = SHUT * (self.mean_rpm / self.block.idle).max(1.0);
        self.throttle = (opening + self.integral + error * 4.0e-5).clamp(shut, 1.0);
    }

    fn breathe(&mut self, dt: f64) {
        let inflow = self.throttle * self.block.throttle / 1e3 * choke(self.manifold / AMBIENT);
        // Backwards nothing is drawn in.
        let outflow = self.manifold * 1e3 * self.displacement() * self.rpm().max(0.0) / 120.0 / AIR;
        let change = AIR / (self.block.manifold / 1e3) * (inflow - outflow) / 1e3;
        self.manifold = (self.manifold + change * dt).clamp(5.0, AMBIENT);
    }

    fn gas(&mut self, rng: &mut impl Rng) -> f64 {
        let cylinders = self.trapped.len();
        let spacing = 720.0 / cylinders as f64;
        let cut = !self.fuel
            || self.mean_rpm > self.block.limit
            || (self.mean_rpm > self.wanted + 300.0 && self.mean_rpm > self.block.idle * 1.5);
        // Ignition timing steadies the idle faster than air can.
        let spark = (0.9 + (self.wanted - self.mean_rpm) * 0.0012).clamp(0.6, 1.0);
        let mut torque = 0.0;
        for n in 0..cylinders {
            let local = wrapped(self.angle - n as f64 * spacing, 720.0).min(719.999_999);
            let closed = Cylinder::is_closed(local);
            if closed && !self.closed[n] && self.speed < 0.0 {
                // Turned back past the opening of the exhaust valve: exhaust gas is shut in, and nothing burns.
                self.trapped[n] = AMBIENT * self.cylinder.share_at_exhaust();
                self.heat[n] = 0.0;
            } else if closed && !self.closed[n] {
                let number = usize::from(self.block.firing_order[n]).wrapping_sub(1);
                let whole = Effects::NONE.cylinders[0];
                let left = self.weakness.get(number).copied().unwrap_or(whole);
                self.trapped[n] = self.manifold * left.compression;
                let spread: f64 = StandardNormal.sample(rng);
                let air = self.trapped[n] * 1e3 * self.cylinder.trapped_volume / AIR;
                let burn = if cut {
                    0.0
                } else {
                    1.0 + self.block.unevenness * spread
                };
                self.heat[n] = (air * HEAT_PER_AIR * spark * burn * left.combustion).max(0.0);
            }
            self.closed[n] = closed;
            let pressure = if closed {
                self.trapped[n]
            } else {
                self.manifold
            };
            torque += self.cylinder.torque(local, pressure, self.heat[n]);
        }
        torque
    }

    fn starter(&self) -> f64 {
        if self.starter_on {
            (self.block.starter_torque * (1.0 - self.rpm() / self.block.starter_speed)).max(0.0)
        } else {
            0.0
        }
    }

    /// Swept volume of all cylinders, m³.
    fn displacement(&self) -> f64 {
        self.cylinder.swept * self.block.firing_order.len() as f64
    }

    /// Friction torque in Nm at a speed in rpm.
    fn friction(&self, rpm: f64) -> f64 {
        let pressure = self.block.friction + self.block.friction_rise * rpm / 1000.0;
        pressure * 1e5 * self.displacement() / (4.0 * std::f64::consts::PI)
    }
}

/// Flow through an orifice against the critical flow, by pressure ratio; an ellipse comes close enough.
fn choke(ratio: f64) -> f64 {
    const CRITICAL: f64 = 0.528;
    if ratio <= CRITICAL {
        1.0
    } else {
        let x = ((ratio - CRITICAL) / (1.0 - CRITICAL)).min(0.999);
        (1.0 - x * x).sqrt()
    }
}
