//! Leads made from definitions: a wheel as teeth with a begin and a width, a crank speed, a sensor, and what goes wrong.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "made samples are clamped to the converter's range first; counts are small"
)]

/// Numbers that look random, from PCG's multiplier and a shift (O'Neill 2014), the same for the same seed.
#[derive(Clone)]
pub struct Dice(pub u64);

impl Dice {
    /// In [0, 1).
    pub fn part(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let mixed = (self.0 ^ (self.0 >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        (mixed >> 40) as f64 / (1_u64 << 24) as f64
    }

    pub fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.part()
    }

    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[((self.part() * of.len() as f64) as usize).min(of.len() - 1)]
    }

    /// Bell curve of width 1 by Box and Muller.
    pub fn bell(&mut self) -> f64 {
        let (u, v) = (1.0 - self.part(), self.part());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}

/// Teeth in degrees of the crank: begin and width.
pub type Teeth = Vec<(f64, f64)>;

/// Equal pitches without some teeth, counted from 0; teeth take `share` of the pitch.
pub fn equal(n: usize, gone: &[usize], share: f64) -> Teeth {
    let pitch = 360.0 / n as f64;
    (0..n)
        .filter(|t| !gone.contains(t))
        .map(|t| (t as f64 * pitch, share * pitch))
        .collect()
}

/// Equal teeth and one more half-way between two.
pub fn added(n: usize, share: f64) -> Teeth {
    let pitch = 360.0 / n as f64;
    let width = 0.5 * share * pitch;
    let mut teeth: Teeth = (0..n).map(|t| (t as f64 * pitch, width)).collect();
    teeth.push((360.0 - 0.5 * pitch, width));
    teeth
}

/// Teeth that begin at these degrees.
pub fn listed(at: &[f64], width: f64) -> Teeth {
    at.iter().map(|&a| (a, width)).collect()
}

/// Equal pitches, each with a narrow or a wide tooth.
pub fn coded(letters: &str) -> Teeth {
    let pitch = 360.0 / letters.len() as f64;
    (letters.chars().enumerate())
        .map(|(i, c)| (i as f64 * pitch, pitch * if c == 'n' { 0.3 } else { 0.7 }))
        .collect()
}

/// A crank speed.
#[derive(Debug, Clone, Copy)]
pub struct Motion {
    pub rpm: f64,
    /// Half of peak to peak, as a part of the mean.
    pub ripple: f64,
    pub order: f64,
    pub rpm_per_second: f64,
}

/// The sensor over the wheel.
#[derive(Debug, Clone, Copy)]
pub enum Sensor {
    /// Peak volts at 1000 rpm.
    Vr { strength: f64, inverted: bool },
    /// A tooth pulls low; jitter of the rising and of the falling edge in degrees of the crank.
    Hall { jitter: [f64; 2], inverted: bool },
}

/// What goes wrong.
#[derive(Debug, Clone, Copy, Default)]
pub struct Trouble {
    /// VR: part of the peak. Hall: volts.
    pub noise: f64,
    /// Amplitude of VR as a part, and shift of all teeth in degrees, both once a turn.
    pub runout: [f64; 2],
    /// Spikes or pulses that do not belong there, per turn.
    pub extra: f64,
}

/// A converter: ± this many volts over 16 bits.
pub const RANGE: f64 = 20.0;
pub const COUNTS: f64 = 32_000.0 / RANGE;

pub struct Lead<'a> {
    pub teeth: &'a Teeth,
    pub motion: Motion,
    pub sensor: Sensor,
    pub trouble: Trouble,
    pub rate: f64,
    pub seconds: f64,
}

impl Lead<'_> {
    /// Crank degrees and degrees a second at each sample.
    fn travel(&self, dice: &mut Dice) -> Vec<(f64, f64)> {
        let m = self.motion;
        let (mut angle, from) = (dice.between(0.0, 720.0), dice.between(0.0, 360.0));
        (0..(self.seconds * self.rate) as usize)
            .map(|i| {
                let t = i as f64 / self.rate;
                let swing = m.ripple * (m.order * angle + from).to_radians().sin();
                let speed = 6.0 * (m.rpm + m.rpm_per_second * t) * (1.0 + swing);
                angle += speed / self.rate;
                (angle, speed)
            })
            .collect()
    }

    pub fn samples(&self, dice: &mut Dice) -> Vec<i16> {
        let travel = self.travel(dice);
        let mut volts = match self.sensor {
            Sensor::Vr { strength, inverted } => self.coil(&travel, strength, inverted, dice),
            Sensor::Hall { jitter, inverted } => self.switch(&travel, jitter, inverted, dice),
        };
        self.spoil(&mut volts, dice);
        volts
            .into_iter()
            .map(|v| (v.clamp(-RANGE, RANGE) * COUNTS).round() as i16)
            .collect()
    }

    /// Voltage of a coil: rate of change of a flux that has a hump at each tooth's centre.
    fn coil(
        &self,
        travel: &[(f64, f64)],
        strength: f64,
        inverted: bool,
        dice: &mut Dice,
    ) -> Vec<f64> {
        const STEPS: usize = 36_000;
        let mut slope = vec![0.0; STEPS];
        for (begin, width) in self.teeth {
            let (centre, w) = (begin + 0.5 * width, 0.7 * width);
            for (i, s) in slope.iter_mut().enumerate() {
                let x =
                    (i as f64 * 360.0 / STEPS as f64 - centre + 540.0).rem_euclid(360.0) - 180.0;
                if x.abs() < 5.0 * w {
                    // Humps of equal height: narrow teeth are no weaker.
                    *s += -2.0 * x / w * (-x * x / w / w).exp();
                }
            }
        }
        let unit = 2.0_f64.sqrt() * (-0.5_f64).exp();
        let sign = if inverted { -1.0 } else { 1.0 };
        let runout = self.trouble.runout;
        travel
            .iter()
            .map(|&(angle, speed)| {
                let turn = angle.to_radians();
                let place = (angle + runout[1] * turn.sin()).rem_euclid(360.0) / 360.0;
                let s = slope[((place * STEPS as f64) as usize).min(STEPS - 1)] / unit;
                let peak = strength * speed / 6000.0 * (1.0 + runout[0] * turn.cos());
                sign * s * peak + self.trouble.noise * peak * dice.bell()
            })
            .collect()
    }

    /// Output of an open-collector switch with 5 V: low over a tooth, edges with jitter, a rise time of some microseconds.
    fn switch(
        &self,
        travel: &[(f64, f64)],
        jitter: [f64; 2],
        inverted: bool,
        dice: &mut Dice,
    ) -> Vec<f64> {
        let (Some(first), Some(last)) = (travel.first(), travel.last()) else {
            return Vec::new();
        };
        let mut changes: Vec<(f64, bool)> = Vec::new();
        let mut turn = (first.0 / 360.0).floor() * 360.0 - 360.0;
        while turn < last.0 + 360.0 {
            for (begin, width) in self.teeth {
                for (at, is_tooth) in [(*begin, true), (begin + width, false)] {
                    let is_rising = is_tooth == inverted;
                    let scatter = jitter[usize::from(!is_rising)] * dice.bell();
                    let runout = self.trouble.runout[1] * at.to_radians().sin();
                    changes.push((turn + at + scatter + runout, is_tooth));
                }
            }
            turn += 360.0;
        }
        changes.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut next = changes.iter().peekable();
        let (mut is_tooth, mut v) = (false, 5.0);
        // A pull-up of 2 kΩ on 3 nF.
        let follow = 1.0 - (-1.0 / (6e-6 * self.rate)).exp();
        let mut before = first.0;
        travel
            .iter()
            .map(|&(angle, _)| {
                let mut share = 1.0;
                while let Some((at, to)) = next.next_if(|c| c.0 <= angle) {
                    is_tooth = *to;
                    share = ((angle - at) / (angle - before).max(1e-9)).clamp(0.0, 1.0);
                }
                before = angle;
                let goal = if is_tooth == inverted { 5.0 } else { 0.3 };
                v += (goal - v) * follow * share;
                v + self.trouble.noise * dice.bell()
            })
            .collect()
    }

    /// Pulses that do not belong there: from a fiftieth to a half of a pitch long.
    fn spoil(&self, volts: &mut [f64], dice: &mut Dice) {
        let turns = self.motion.rpm / 60.0 * self.seconds;
        let mut count = self.trouble.extra * turns;
        let pitch = self.rate * 60.0 / self.motion.rpm / self.teeth.len() as f64;
        while count > dice.part() {
            count -= 1.0;
            let from = (dice.part() * volts.len() as f64) as usize;
            let length = (dice.between(0.02, 0.4) * pitch).max(1.0) as usize;
            let level = match self.sensor {
                Sensor::Vr { strength, .. } => {
                    dice.pick(&[-1.5, 1.5]) * strength * self.motion.rpm / 1000.0
                }
                Sensor::Hall { .. } => dice.pick(&[0.3, 5.0]),
            };
            let to = (from + length).min(volts.len());
            volts[from..to].fill(level);
        }
    }
}
