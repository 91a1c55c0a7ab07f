//! Which agreement states are right at each instant, from the simulator's truth and the sheet alone. Nothing of the
//! analysis' own judgement is used.
//!
//! Along the drive: `travel` is the truth's phase from rest, `e` the delivered duty less the duty that holds now.
//! The phaser is *driven* when |e| is above 12 points, the simulator's own limit for a gross disagreement. In order:
//!
//! 1. A cam without a phaser is not judged.
//! 2. The engine has run for less than 3 s, or stands: not judged, or what would be right otherwise.
//! 3. The cam's sensor is silent: no position.
//! 4. The controller asks and the pin is never low: no command. The pin is always low though less is asked: the cam
//!    follows its pin, or it is not judged, as a pin that stands proves nothing.
//! 5. The pin is driven and the coil feels nothing: no command or not judged are right beside what follows, for what
//!    such a pin shows depends on its driver.
//! 6. The travel swings to and fro three times or more in 4 s by 10 degrees or more at a steady target: hunting. By 4
//!    degrees or more, whatever the target, or having hunted in the last 4 s: that, or what is right otherwise.
//! 7. Driven, not at the stop, and for longer than 0.3 s
//!    - moving by less than 0.3 of the sheet's slowest rate: not following; at a duty below the sheet's rest duty off
//!      rest too; from 0.1 of that rate on lagging too;
//!    - moving by less than the slowest rate: lagging; from 0.7 of it on following too, below 0.6 not following too;
//!    - moving the other way by the slowest rate or more: against command, not following or off rest.
//!
//!    While the duty lies in the sheet's hold zone (moved by the supply) no motion is owed as far as anyone with that
//!    sheet can know: following is right too. Such instants are counted as unclear.
//! 8. At the rest stop with a duty below the sheet's rest duty, and its marks more than the tolerance and a degree off
//!    their reference: off rest; within a degree of the tolerance either.
//! 9. Anything else: following. With marks off their reference by more than the tolerance, off rest too while driven;
//!    and what was right when it was last shown stays right until the cam has moved as driven by 3 degrees.

use super::car::Car;
use super::rows::Kind;
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::fault::{Drive, Fault, Wheel};
use keyway_acquisition::simulator::truth::Truth;
use keyway_analysis::snapshot::AgreementState::{self, *};

/// Points of duty from which it is driven.
const DRIVEN: f64 = 12.0;
/// Seconds over which motion is looked at, and from which standing still counts.
const LOOK: f64 = 0.2;
const LASTING: f64 = 0.3;
/// Seconds of running during which nothing has to be judged.
const RUN_IN: f64 = 3.0;
/// Seconds in which swings are looked for; reversals of hunting; degrees that certainly are, and that may be.
const SWINGS: f64 = 4.0;
const REVERSALS: usize = 3;
const HUNTS: f64 = 10.0;
const MAY_HUNT: f64 = 4.0;
/// Motion that shows that it follows again, degrees.
const ACQUITS: f64 = 3.0;

/// A set of states.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct States(u16);

impl States {
    /// These states.
    pub fn of(states: &[AgreementState]) -> Self {
        Self(states.iter().fold(0, |bits, s| bits | Self::bit(*s)))
    }

    fn bit(state: AgreementState) -> u16 {
        1 << (state as u16)
    }

    /// Whether this one is in it.
    pub fn has(self, state: AgreementState) -> bool {
        self.0 & Self::bit(state) != 0
    }

    fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    fn without(self, state: AgreementState) -> Self {
        Self(self.0 & !Self::bit(state))
    }

    /// In words.
    pub fn words(self) -> String {
        let all = [
            Following,
            Lagging,
            NotFollowing,
            AgainstCommand,
            OffRest,
            Hunting,
            NoCommand,
            NoPosition,
            NotJudged,
        ];
        let words: Vec<_> = all
            .into_iter()
            .filter(|s| self.has(*s))
            .map(AgreementState::words)
            .collect();
        words.join(" or ")
    }
}

/// What is right at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Right {
    pub states: States,
    /// Nothing has to be judged: run-in, no phaser, a mistake of the hook-up.
    pub excused: bool,
    /// The sheet's hold zone leaves it open whether motion is owed.
    pub unclear: bool,
    /// Seconds at which what is shown now began, for a gross fault: more than a lag.
    pub gross: Option<f64>,
}

/// Follows one cam.
pub struct Oracle {
    cam: usize,
    sign: f64,
    has_phaser: bool,
    healthy: bool,
    authority: f64,
    sheet_authority: f64,
    tolerance: f64,
    rest_below: f64,
    slowest: f64,
    zone: [f64; 2],
    faults: Vec<Fault>,
    per_tooth: f64,
    idle: f64,
    running: Option<f64>,
    /// Seconds, travel and target lately.
    track: Vec<[f64; 3]>,
    side: f64,
    driven_since: f64,
    /// When it last was not what it is now: still, slow, against.
    still_since: f64,
    moved: f64,
    shown: States,
    command_gone: Option<f64>,
    silent: Option<f64>,
    hunted: f64,
}

impl Oracle {
    /// An oracle for a cam of a car.
    pub fn new(car: &Car, kind: Kind, cam: Cam) -> Self {
        let plan = car.scenario.engine.cam(cam);
        let phaser = plan.phaser.as_ref();
        let sheet = &car.sheet.cams[cam.index()];
        let known = sheet.phaser.as_ref();
        Self {
            cam: cam.index(),
            sign: phaser.map_or(1.0, |p| p.rest.sign()),
            has_phaser: phaser.is_some(),
            healthy: kind == Kind::Hookup,
            authority: phaser.map_or(0.0, |p| p.authority),
            sheet_authority: known.map_or(0.0, |p| p.authority.0),
            tolerance: sheet.tolerance.0,
            rest_below: known.map_or(0.0, |p| p.rest_below.0),
            slowest: known.map_or(0.0, |p| p.slowest.0),
            zone: known.map_or([0.0; 2], |p| [p.hold.low.0, p.hold.high.0]),
            faults: car.scenario.faults.clone(),
            per_tooth: 720.0 / f64::from(plan.sprocket_teeth),
            idle: car.scenario.engine.block.idle,
            running: None,
            track: Vec::new(),
            side: 0.0,
            driven_since: 0.0,
            still_since: f64::INFINITY,
            moved: 0.0,
            shown: States::default(),
            command_gone: None,
            silent: None,
            hunted: f64::NEG_INFINITY,
        }
    }

    /// How far the marks stand off their reference with the phaser at rest, advance positive.
    fn offset(&self, time: f64) -> f64 {
        let begun = |after: f64| after <= 0.0 || time >= after;
        let of = |fault: &Fault| match *fault {
            Fault::ChainJump { cam, teeth, after } if begun(after) => {
                let hit = match cam {
                    Drive::Both => true,
                    Drive::Intake => self.cam == 0,
                    Drive::Exhaust => self.cam == 1,
                };
                if hit {
                    f64::from(teeth) * self.per_tooth
                } else {
                    0.0
                }
            }
            Fault::WheelMoved {
                wheel,
                degrees,
                after,
            } if begun(after) => match wheel {
                Wheel::Crank => -degrees,
                Wheel::Intake if self.cam == 0 => degrees,
                Wheel::Exhaust if self.cam == 1 => degrees,
                _ => 0.0,
            },
            Fault::ChainStretch { degrees, after } if begun(after) => -degrees,
            _ => 0.0,
        };
        self.faults.iter().map(of).sum()
    }

    fn is_silent(&self, time: f64) -> bool {
        self.faults.iter().any(|f| match *f {
            Fault::CamSensorDropout {
                cam,
                after,
                every,
                lasts,
            } => cam.index() == self.cam && time >= after && (time - after) % every < lasts,
            _ => false,
        })
    }

    /// What is right at this instant. Instants must come in order.
    pub fn look(&mut self, truth: &Truth) -> Right {
        let now = truth.time;
        if !self.has_phaser {
            return excused(States::of(&[NotJudged]));
        }
        if self.healthy {
            return excused(States::of(&[Following, NotJudged]));
        }
        if truth.rpm < 0.6 * self.idle {
            self.running = None;
            return excused(States::of(&[NotJudged, Following]));
        }
        let running = *self.running.get_or_insert(now);
        let right = self.judge(truth, now);
        if now - running < RUN_IN {
            return Right {
                gross: right.gross,
                ..excused(right.states.and(States::of(&[NotJudged, Following])))
            };
        }
        right
    }

    fn judge(&mut self, truth: &Truth, now: f64) -> Right {
        let cam = truth.cams[self.cam];
        let offset = self.offset(now);
        let travel = self.sign * (cam.shown - offset);
        self.track.push([now, travel, cam.target]);
        self.track.retain(|p| now - p[0] <= SWINGS);
        let kinematic = self.kinematic(truth, now, travel, offset);

        self.silent = self.is_silent(now).then(|| self.silent.unwrap_or(now));
        if let Some(since) = self.silent {
            return gross(States::of(&[NoPosition]), since);
        }
        let gone = cam.delivered_duty <= 0.0 && cam.wanted_duty > 0.0;
        self.command_gone = gone.then(|| self.command_gone.unwrap_or(now));
        if let Some(since) = self.command_gone {
            return gross(States::of(&[NoCommand]), since);
        }
        if cam.delivered_duty >= 100.0 && cam.wanted_duty < 99.0 {
            return Right {
                states: States::of(&[Following, NotJudged]),
                ..Right::default()
            };
        }
        if cam.driving_duty <= 0.0 && cam.delivered_duty > 0.0 {
            // What a pin does whose coil is not there depends on its driver; it need not look like a command.
            let states = kinematic.states.and(States::of(&[NoCommand, NotJudged]));
            return Right {
                states,
                ..kinematic
            };
        }
        let swings = |least: f64| self.reversals(least) >= REVERSALS;
        if swings(HUNTS) && self.is_steady() {
            self.hunted = now;
            return self.plain(States::of(&[Hunting]));
        }
        if swings(MAY_HUNT) || now - self.hunted < SWINGS {
            return Right {
                states: kinematic.states.and(States::of(&[Hunting])),
                gross: None,
                ..kinematic
            };
        }
        kinematic
    }

    fn kinematic(&mut self, truth: &Truth, now: f64, travel: f64, offset: f64) -> Right {
        let cam = truth.cams[self.cam];
        let (duty, beyond) = (cam.delivered_duty, cam.delivered_duty - cam.hold_duty);
        let side = if beyond.abs() > DRIVEN {
            beyond.signum()
        } else {
            0.0
        };
        if side * self.side < 0.5 {
            (self.side, self.driven_since) = (side, now);
            self.still_since = f64::INFINITY;
            self.moved = 0.0;
        }
        let then = self.track.iter().rev().find(|p| now - p[0] >= LOOK);
        let rate = then.map_or(0.0, |p| side * (travel - p[1]) / (now - p[0]));
        let resting = duty < self.rest_below;
        let x = self.sign * cam.shown;
        let off = x.abs();
        let [at_rest, near_rest] = [travel < 0.5, travel < 0.5 || off < self.tolerance + 1.0];
        let at_stop = if side < 0.0 {
            at_rest
        } else {
            travel > self.authority - 0.5
        };
        let near_stop = if side < 0.0 {
            near_rest
        } else {
            at_stop || x > self.sheet_authority - 4.0
        };

        if side == 0.0 || at_stop {
            self.still_since = f64::INFINITY;
            self.driven_since = now;
            if at_rest && resting {
                if offset.abs() > self.tolerance + 1.0 {
                    self.note(States::of(&[OffRest]));
                    return gross(States::of(&[OffRest]), now);
                }
                if offset.abs() > self.tolerance - 1.0 {
                    return self.plain(States::of(&[Following, OffRest]));
                }
            }
            return self.calm(offset);
        }
        if now - self.driven_since < LASTING {
            return self.calm(offset);
        }
        let s = self.slowest;
        let seen = if rate >= s {
            self.moved += rate * 0.01;
            if self.moved >= ACQUITS {
                self.shown = States::default();
            }
            self.still_since = f64::INFINITY;
            return self.calm(offset);
        } else if rate <= -s {
            States::of(&[AgainstCommand, NotFollowing, OffRest])
        } else if rate < 0.3 * s {
            let mut still = States::of(&[NotFollowing]);
            if resting {
                still = still.and(States::of(&[OffRest]));
            }
            if rate > 0.1 * s {
                still = still.and(States::of(&[Lagging]));
            }
            still
        } else {
            let mut slow = States::of(&[Lagging]);
            if rate >= 0.7 * s {
                slow = slow.and(States::of(&[Following]));
            }
            if rate < 0.6 * s {
                slow = slow.and(States::of(&[NotFollowing]));
            }
            slow
        };
        if rate > 0.1 * s {
            self.still_since = f64::INFINITY;
        } else if self.still_since.is_infinite() {
            // Motion is the mean over the look; one that never moved stands since the drive began.
            let began = now - LOOK;
            let never = now - self.driven_since < LASTING + 0.05;
            self.still_since = if never { self.driven_since } else { began };
        }
        let share = 13.5 / truth.supply.clamp(9.0, 18.0);
        let zone = [self.zone[0] * share.min(1.0), self.zone[1] * share.max(1.0)];
        let unclear = near_stop || (zone[0]..=zone[1]).contains(&duty);
        let states = seen.and(self.shown.without(Following));
        if unclear {
            return Right {
                states: states.and(States::of(&[Following])),
                unclear: true,
                ..Right::default()
            };
        }
        self.note(seen);
        if seen.has(Lagging) {
            return self.plain(states);
        }
        gross(states, self.still_since)
    }

    /// Notes what is shown now.
    fn note(&mut self, seen: States) {
        self.shown = self.shown.and(seen.without(Following));
    }

    fn plain(&self, states: States) -> Right {
        Right {
            states,
            ..Right::default()
        }
    }

    /// Nothing is owed, or it moves as it must.
    fn calm(&self, offset: f64) -> Right {
        let mut states = States::of(&[Following]).and(self.shown);
        if offset.abs() > self.tolerance {
            states = states.and(States::of(&[OffRest]));
        }
        self.plain(states)
    }

    /// Whether the target has hardly moved lately, so that swings are not asked for.
    fn is_steady(&self) -> bool {
        let targets = self.track.iter().map(|p| p[2]);
        let (low, high) = targets.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| {
            (a.min(t), b.max(t))
        });
        high - low <= 3.0
    }

    fn reversals(&self, least: f64) -> usize {
        let mut turns = 0;
        let (mut low, mut high, mut up) = (f64::INFINITY, f64::NEG_INFINITY, None);
        for x in self.track.iter().map(|p| p[1]) {
            (low, high) = (low.min(x), high.max(x));
            if up != Some(true) && x - low > least {
                turns += usize::from(up.is_some());
                (up, high) = (Some(true), x);
            } else if up != Some(false) && high - x > least {
                turns += usize::from(up.is_some());
                (up, low) = (Some(false), x);
            }
        }
        turns
    }
}

fn excused(states: States) -> Right {
    Right {
        states,
        excused: true,
        ..Right::default()
    }
}

fn gross(states: States, since: f64) -> Right {
    Right {
        states,
        gross: Some(since),
        ..Right::default()
    }
}
