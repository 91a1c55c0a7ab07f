//! The judge against phasers drawn at random, of another form than what it assumes: a spool of second order, a flow
//! that saturates softly, stick-slip, leakage towards rest, a lock pin, pressure that depends on speed, a phase that is
//! known only at the edges of a coarse wheel, a controller with dither and limits.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a bench of small numbers"
)]

use super::*;
use crate::units::{DegreesPerSecond, Percent, Volts};
use std::collections::BTreeMap;

const DT: f64 = 0.001;
/// Engines drawn per kind.
const DRAWS: u64 = 40;
/// Seconds each healthy engine runs.
const HEALTHY: f64 = 60.0;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Wrong {
    Nothing,
    StuckAtRest,
    StuckWhereItIs,
    StuckOffRest,
    Crawls,
    TurnsRound,
    Jumped,
    SheetOtherWay,
}

struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let x = self.0 ^ (self.0 >> 33);
        (x >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// About normal: twelve uniforms.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

struct Engine {
    chance: Chance,
    judge: Judge,
    wrong: Wrong,
    onset: f64,
    broken: bool,
    sign: f64,
    authority: f64,
    hold: f64,
    band: f64,
    gain: f64,
    hottest: f64,
    back: f64,
    dead: usize,
    spool: [f64; 2],
    stiffness: f64,
    damping: f64,
    friction: f64,
    leak: f64,
    unlock: f64,
    locked: bool,
    x: f64,
    flowing: bool,
    base: f64,
    kp: f64,
    ki: f64,
    learned: f64,
    dither: f64,
    keep_alive: f64,
    highest: f64,
    integral: f64,
    duty: f64,
    measured: f64,
    target: f64,
    wish: f64,
    next_wish: f64,
    rpm: f64,
    rough: f64,
    supply: f64,
    supply_known: bool,
    temperature: f64,
    commands: VecDeque<f64>,
    edges: f64,
    offsets: Vec<f64>,
    jitter: f64,
    cam: f64,
    phases: VecDeque<f64>,
    t: f64,
    changes: Vec<(f64, AgreementState)>,
    judged: [u32; 2],
    outside: [u32; 2],
    /// Since when it is driven without moving, and where it was then.
    stands: Option<(f64, f64, f64)>,
    due_since: Option<f64>,
}

impl Engine {
    fn drawn(seed: u64, wrong: Wrong) -> Self {
        let mut c = Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D);
        for _ in 0..8 {
            let _ = c.unit();
        }
        let sheet = EngineSheet::from_toml(SHEET).expect("sheet");
        let mut cam = sheet.cams[usize::from(c.unit() < 0.5)].clone();
        let stated = c.within(35.0, 65.0);
        let mut sign = 1.0;
        if let Some(phaser) = &mut cam.phaser {
            phaser.authority = CrankDegrees(stated);
            phaser.slowest = DegreesPerSecond(8.0);
            sign = phaser.rest.drive_sign();
        }
        let cold = c.unit() < 0.35;
        let hottest = if cold {
            c.within(10.0, 30.0)
        } else {
            c.within(40.0, 220.0)
        };
        // A whole number of edges per cam turn.
        let edges = [2.0, 4.0, 6.0, 8.0][(c.unit() * 4.0).floor().min(3.0) as usize];
        // The sheet's zone holds with the coil hot as well.
        let temperature = c.within(-0.1, 0.3);
        let hold = c.within(35.0, 63.0) / (1.0 + temperature);
        let judge = Judge::new(&cam, Rpm(700.0), Hertz(RATE));
        let gain = c.within(1.5, 6.0) * if cold { 0.5 } else { 1.0 };
        let dead = c.within(0.010, if cold { 0.3 } else { 0.12 });
        // A loop that is stable on this engine: gain times delay below 0.8, the edge's own delay included.
        let most = 0.8 / (gain * (dead + 0.02 + 120.0 / 750.0 / edges));
        let offsets = (0..8).map(|_| 0.6 * c.normal()).collect();
        Self {
            judge,
            wrong,
            onset: c.within(8.0, 16.0),
            broken: false,
            sign: if wrong == Wrong::SheetOtherWay {
                -sign
            } else {
                sign
            },
            authority: stated * c.within(0.8, 1.05),
            hold,
            band: c.within(1.0, 5.0),
            gain,
            hottest,
            back: c.within(0.7, 1.3),
            dead: (1000.0 * dead) as usize,
            spool: [0.0; 2],
            stiffness: c.within(60.0, 200.0),
            damping: c.within(0.5, 1.2),
            friction: c.within(0.0, 3.0),
            leak: c.within(0.0, 1.5),
            unlock: (hold + c.within(-5.0, 10.0)).min(68.0 / (1.0 + temperature)),
            locked: true,
            x: 0.0,
            flowing: false,
            base: c.within(-1.2, 1.2),
            kp: c.within(0.5, 1.0) * most,
            ki: c.within(0.3, 1.0) * most,
            learned: hold * (1.0 + temperature) * c.within(0.92, 1.08),
            dither: c.within(0.0, 3.0),
            keep_alive: c.within(3.0, 15.0),
            highest: c.within(88.0, 97.0),
            integral: 0.0,
            duty: 5.0,
            measured: 0.0,
            target: 0.0,
            wish: 0.0,
            next_wish: 5.0,
            rpm: 800.0,
            rough: c.within(0.0, 0.06),
            supply: c.within(12.2, 14.6),
            supply_known: c.unit() < 0.8,
            temperature,
            commands: VecDeque::from(vec![5.0; 400]),
            edges,
            offsets,
            jitter: c.within(0.05, 0.5),
            cam: 0.0,
            phases: VecDeque::new(),
            t: 0.0,
            changes: Vec::new(),
            judged: [0; 2],
            outside: [0; 2],
            stands: None,
            due_since: None,
            chance: c,
        }
    }

    fn ask(&mut self) {
        if self.t >= self.next_wish {
            let c = &mut self.chance;
            self.wish = match c.unit() {
                u if u < 0.3 => 0.0,
                u if u < 0.4 => self.authority - 1.0,
                _ => c.within(4.0, self.authority - 1.0),
            };
            let lasts = if c.unit() < 0.3 {
                c.within(0.1, 0.6)
            } else {
                c.within(0.8, 5.0)
            };
            self.next_wish = self.t + lasts;
            let supply = self.chance.within(-0.4, 0.4);
            self.supply = (self.supply + supply).clamp(11.5, 14.8);
        }
        self.target += (self.wish - self.target).clamp(-0.3, 0.3);
        let steady = 800.0 + 40.0 * self.target;
        self.rpm += (steady - self.rpm) * DT / 0.3;
        let e = self.target - self.measured;
        self.duty = if self.target < 0.5 {
            self.integral = 0.0;
            self.keep_alive
        } else {
            let duty = self.learned + self.kp * e + self.integral;
            if (5.0..self.highest).contains(&duty) {
                self.integral = (self.integral + self.ki * e * DT).clamp(-40.0, 40.0);
            }
            let dither = self.dither * (self.t * 150.0).sin();
            (duty + dither).clamp(5.0, self.highest)
        };
    }

    fn move_it(&mut self) {
        self.commands.push_back(self.duty);
        let _ = self.commands.pop_front();
        let felt = self.commands[self.commands.len() - 1 - self.dead];
        let current = felt * self.supply / 13.5 / (1.0 + self.temperature);
        let w = self.stiffness;
        let [at, speed] = self.spool;
        let push = w * w * (current - at) - 2.0 * self.damping * w * speed;
        self.spool = [at + speed * DT, speed + push * DT];
        let e = self.spool[0] - self.hold;
        let reach = self.band + if self.flowing { 0.0 } else { self.friction };
        self.flowing = e.abs() > reach;
        let pressure = (0.55 + 0.45 * (self.rpm - 700.0) / 1300.0).clamp(0.5, 1.0);
        let most = self.hottest
            * if e < 0.0 { self.back } else { 1.0 }
            * pressure.max(10.0 / self.hottest);
        let excess = (e.abs() - self.band).max(0.0);
        let mut rate = if self.flowing {
            most * (self.gain * excess / most).tanh() * e.signum()
        } else {
            -self.leak
        };
        self.locked &= current < self.unlock;
        if self.broken {
            rate = match self.wrong {
                Wrong::StuckAtRest | Wrong::StuckWhereItIs | Wrong::StuckOffRest => 0.0,
                Wrong::Crawls => rate.clamp(-1.5, 1.5),
                Wrong::TurnsRound => -rate,
                Wrong::Nothing | Wrong::Jumped | Wrong::SheetOtherWay => rate,
            };
        }
        if self.locked {
            rate = 0.0;
        }
        self.x = (self.x + rate * DT).clamp(0.0, self.authority);
        if self.x <= 0.0 && e < -self.band {
            self.locked = true;
        }
        self.watch(e, rate);
    }

    /// When it began to be driven hard, by the sheet too, without moving.
    fn watch(&mut self, e: f64, _rate: f64) {
        // Inside the zone of the sheet nobody who does not know the hold duty can tell.
        let zone = 13.5 / self.supply;
        let told = self.duty > 70.0 * zone.max(1.0) || self.duty < 30.0 * zone.min(1.0);
        let side = if e.abs() < 12.0 || !told {
            0.0
        } else {
            e.signum()
        };
        let at_stop = if side > 0.0 {
            self.x > self.authority - 0.5
        } else {
            self.x < 0.5
        };
        match self.stands {
            Some((since, x, was))
                if side.abs() > 0.0
                    && (was - side).abs() < 0.5
                    && !at_stop
                    && (self.x - x) * side < 1.0 =>
            {
                if self.t - since > 0.25 + self.dead as f64 * DT
                    && self.due_since.is_none()
                    && self.broken
                {
                    self.due_since = Some(since);
                }
            }
            _ => self.stands = Some((self.t, self.x, side)),
        }
    }

    fn measure(&mut self) {
        let before = (self.cam * self.edges).floor();
        self.cam += self.rpm / 120.0 * DT * (1.0 + self.rough * self.chance.normal());
        let now = (self.cam * self.edges).floor();
        if now > before {
            let k = now.rem_euclid(self.edges) as usize;
            let phase = self.x + self.base + self.offsets[k] + self.jitter * self.chance.normal();
            self.measured = phase;
            self.phases.push_back(phase);
            while self.phases.len() as f64 > self.edges {
                let _ = self.phases.pop_front();
            }
        }
    }

    fn run(&mut self, seconds: f64) {
        let end = self.t + seconds;
        let mut n = 0_u32;
        let mut mean = VecDeque::from(vec![5.0; 100]);
        while self.t < end {
            self.t += DT;
            let ready = match self.wrong {
                Wrong::StuckAtRest => self.x <= 0.0,
                Wrong::StuckOffRest => (5.0..self.authority - 5.0).contains(&self.x),
                Wrong::TurnsRound => (8.0..self.authority - 8.0).contains(&self.x),
                Wrong::StuckWhereItIs => (2.0..self.authority - 4.0).contains(&self.x),
                _ => true,
            };
            if !self.broken && self.t >= self.onset && ready && self.wrong != Wrong::Nothing {
                self.broken = true;
                if self.wrong == Wrong::Jumped {
                    self.base -= 17.1;
                }
                if self.wrong == Wrong::StuckOffRest {
                    (self.wish, self.next_wish) = (0.0, self.t + 6.0);
                }
            }
            self.ask();
            self.move_it();
            self.measure();
            mean.push_back(self.duty);
            let _ = mean.pop_front();
            n += 1;
            if n.is_multiple_of(20) && !self.phases.is_empty() {
                self.look(mean.iter().sum::<f64>() / 100.0);
            }
        }
    }

    fn look(&mut self, duty: f64) {
        let phase = self.phases.iter().sum::<f64>() / self.phases.len() as f64;
        let seen = Observation {
            at: SampleTime(self.t * RATE),
            engine: EngineView::Cycle(Rpm(self.rpm)),
            command: CommandView::Duty(Percent(duty)),
            position: PositionView::Phase(CrankDegrees(self.sign * phase)),
            supply: self.supply_known.then_some(Volts(self.supply)),
        };
        if let Some(change) = self.judge.observe(&seen) {
            self.changes.push((self.t, change.state));
        }
        if self.t > 3.0 {
            self.judged[0] += 1;
            self.judged[1] += u32::from(self.judge.agreement().state != AgreementState::NotJudged);
        }
        if let Some(due) = self.judge.due() {
            let p = self.sign * phase;
            self.outside[0] += 1;
            self.outside[1] += u32::from(p < due.low.0 || p > due.high.0);
        }
    }

    fn flags(&self) -> Vec<(f64, AgreementState)> {
        let mut all = self.changes.clone();
        all.retain(|(_, s)| s.is_disagreement());
        all
    }
}

#[test]
fn healthy_phasers_are_never_flagged_and_stay_within_their_band() {
    let mut bad = Vec::new();
    let (mut looks, mut judged, mut drawn, mut outside) = (0, 0, 0, 0);
    for seed in 0..DRAWS {
        let mut e = Engine::drawn(seed, Wrong::Nothing);
        e.run(HEALTHY);
        looks += e.judged[0];
        judged += e.judged[1];
        drawn += e.outside[0];
        outside += e.outside[1];
        for (t, state) in e.flags() {
            bad.push(format!(
                "{seed}: {state:?} at {t:.2}, fastest {:.0}, dead {}, edges {}, gain {:.1}, hold {:.0}, kp {:.1}, V {}",
                e.hottest, e.dead, e.edges, e.gain, e.hold, e.kp, e.supply_known
            ));
        }
    }
    let share = f64::from(judged) / f64::from(looks);
    let left = f64::from(outside) / f64::from(drawn);
    assert!(bad.is_empty(), "{} flags\n{}", bad.len(), bad.join("\n"));
    assert!(share > 0.98, "judged only {share}");
    assert!(left < 0.01, "out of its band {left}");
}

#[test]
fn faults_are_flagged_soon_after_their_onset_and_as_what_they_are() {
    let mut bad = Vec::new();
    for (wrong, right) in [
        (Wrong::StuckAtRest, &[AgreementState::NotFollowing][..]),
        (
            Wrong::StuckWhereItIs,
            &[AgreementState::NotFollowing, AgreementState::OffRest],
        ),
        (Wrong::StuckOffRest, &[AgreementState::OffRest]),
        (
            Wrong::Crawls,
            &[
                AgreementState::NotFollowing,
                AgreementState::Lagging,
                AgreementState::OffRest,
            ],
        ),
        (
            Wrong::TurnsRound,
            &[
                AgreementState::AgainstCommand,
                AgreementState::NotFollowing,
                AgreementState::OffRest,
            ],
        ),
    ] {
        let mut delays = Vec::new();
        let mut missed = 0;
        let mut told: BTreeMap<AgreementState, u32> = BTreeMap::new();
        for seed in 0..DRAWS {
            let mut e = Engine::drawn(seed, wrong);
            e.run(40.0);
            let Some(onset) = e.due_since else {
                continue;
            };
            match e.flags().iter().find(|(t, _)| *t >= e.onset) {
                Some(&(t, state)) => {
                    *told.entry(state).or_default() += 1;
                    delays.push((t - onset).max(0.0));
                }
                None => missed += 1,
            }
        }
        delays.sort_by(f64::total_cmp);
        let at = |share: f64| delays[((delays.len() - 1) as f64 * share) as usize];
        let figures = format!(
            "{wrong:?}: {} of {}, median {:.2}, 90 % {:.2}, most {:.2}, {told:?}",
            delays.len(),
            delays.len() + missed,
            at(0.5),
            at(0.9),
            at(1.0)
        );
        // Whoever turns round before he was ever seen to be right may have a wrong sheet, and a timid controller
        // stays within the zone of the sheet for long: the last tenth is not promised.
        let turns = wrong == Wrong::TurnsRound;
        let most = if turns { 4 } else { 0 };
        let late = at(0.5) > 1.0 || (at(0.9) > 2.0 && !turns);
        if missed > most || (delays.len() as u64) * 2 < DRAWS || late {
            bad.push(format!("too late: {figures}"));
        }
        let other: u32 = told
            .iter()
            .filter(|(s, _)| !right.contains(s))
            .map(|(_, n)| n)
            .sum();
        if f64::from(other) > 0.05 * delays.len() as f64 {
            bad.push(format!("wrongly told: {figures}"));
        }
    }
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

#[test]
fn a_sheet_that_has_it_the_other_way_round_blames_no_phaser() {
    let mut bad = Vec::new();
    for seed in 0..DRAWS {
        let mut e = Engine::drawn(seed, Wrong::SheetOtherWay);
        e.run(40.0);
        for (t, state) in e.flags() {
            bad.push(format!("{seed}: {state:?} at {t:.2}"));
        }
        if e.judge.observer.sense() != Sense::Opposite {
            bad.push(format!("{seed}: sense {:?}", e.judge.observer.sense()));
        }
    }
    assert!(bad.is_empty(), "{}\n{}", bad.len(), bad.join("\n"));
}

/// While it is driven hard a jump cannot be told from a stop that is met early; before it is seen at rest again, the
/// phaser of one in four may be taken for stuck, and no more.
#[test]
fn a_jump_of_the_timing_is_off_rest_and_seldom_anything_else() {
    let (mut blamed, mut told) = (0, 0);
    for seed in 0..DRAWS {
        let mut e = Engine::drawn(seed, Wrong::Jumped);
        e.run(40.0);
        let off = |s: &AgreementState| *s == AgreementState::OffRest;
        told += u64::from(e.flags().iter().any(|(_, s)| off(s)));
        blamed += u64::from(e.flags().iter().any(|(_, s)| !off(s)));
    }
    assert!(told * 10 >= DRAWS * 8, "{told}");
    assert!(blamed * 4 <= DRAWS, "{blamed}");
}
