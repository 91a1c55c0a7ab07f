//! What the command pushes, what of it is felt by now, what that owes, and where the phase is due.

use super::residual::Due;
use super::{Judge, Seen};
use crate::drive::{Drive, Stops, Zone, longest_delay};
use crate::engine::PhaserSheet;
use crate::observer::{Look, Sense};
use crate::snapshot::AgreementState;
use crate::units::{Band, CrankDegrees};

/// Until a pin has left its hole (from memory); added to the delay of a drive from rest.
const UNLOCK: f64 = 0.1;
/// Motion in the drive's direction that refutes a standing still.
const ACQUITS: f64 = 3.0;
/// Motion owed, and seen, that refutes a lag.
const KEEPS_UP: f64 = 4.0;
/// Two teeth of the coarsest sprocket in use (36 teeth).
const MOST_JUMP: f64 = 40.0;
/// The duty is a mean over 0.1 s: when it shows a drive, a quick phaser may have begun to move.
const DUTY_LAG: f64 = 0.1;

impl Judge {
    pub(super) fn stops(&self, phaser: &PhaserSheet) -> Stops {
        self.observer.stops(
            phaser,
            self.shift + self.sprang,
            self.known_good,
            self.tolerance,
        )
    }

    /// What the command pushes, what of it is felt, and what that owes.
    pub(super) fn push(&mut self, s: Seen, dt: f64, phaser: &PhaserSheet, stops: &Stops) {
        let Seen { now, duty, x, .. } = s;
        let sheet = Zone::of_sheet(phaser, s.supply);
        // A pin may want more than the duty that moves the phaser once it is free.
        let near_rest = stops.rest.is_none_or(|r| x <= r + self.tolerance + 1.0);
        let zone = self.observer.zone(now, sheet, s.supply, near_rest);
        let push_in = |zone: Zone| {
            if duty < phaser.rest_below.0 {
                -1.0
            } else {
                zone.push(duty)
            }
        };
        let (by_sheet, push) = (push_in(sheet), push_in(zone));
        self.pushes[0].add(now, by_sheet);
        self.pushes[1].add(now, push);
        self.seen_not_away |= by_sheet <= 0.0;
        if self.drive.as_ref().is_none_or(|d| d.is_over(now, push)) {
            let (x0, rate0) = self.observer.motion.earlier(now, DUTY_LAG);
            self.drive = Drive::begin(now, x0, rate0, push);
        }
        let delay = longest_delay(s.rpm);
        let unlock = if near_rest { UNLOCK } else { 0.0 };
        let felt = self.pushes[1].felt(now, delay + unlock);
        let noise = self.observer.motion.noise();
        let fresh = self.observer.motion.is_fresh();
        let rate = self.observer.motion.rate().unwrap_or(0.0);
        let window = self.observer.motion.window();
        for (test, away) in self.tests.iter_mut().zip([true, false]) {
            let sign = if away { 1.0 } else { -1.0 };
            let least = self.observer.least_rates(s.rpm, away, phaser.slowest.0);
            let due = self
                .drive
                .as_ref()
                .filter(|d| d.is_away() == away)
                .map(|d| Due {
                    strength: (sign * felt).max(0.0),
                    slowest: phaser.slowest.0,
                    still: least.0,
                    slow: least.1,
                    noise,
                    began: (d.began(), sign * d.from()),
                });
            if stops.reached(away, x - noise) {
                test.reset();
            } else {
                test.look(now, sign * x, fresh, due.as_ref());
                test.turn(now, sign * rate, window);
            }
        }
        if let Some(drive) = &mut self.drive {
            drive.go_on(now, push, phaser.slowest.0 * felt.abs() * dt);
        }
        let felt = self.pushes[0].felt(now, delay);
        // Until it is seen at rest nobody knows where the far stop now is.
        // What lands at rest is a phaser that was let go.
        let lands = x.abs() <= self.tolerance + 1.0;
        if let Some(step) = self.observer.sprang_back(now, s.rpm).filter(|_| !lands) {
            self.sprang = self.sprang.min(step).max(-MOST_JUMP);
        }
        let healthy = !self.state.is_disagreement();
        self.observer.look(
            &Look {
                now,
                dt,
                x,
                duty,
                supply: s.supply,
                rpm: s.rpm,
                felt,
                healthy,
            },
            stops,
        );
        self.doubt_sheet(s, by_sheet, noise);
        self.acquitted |= self.refutes(x);
    }

    /// Whether what was seen lets the sheet be wrong: one that has rested at its reference cannot go beyond it, unless
    /// the rest side is exchanged; one that stands at rest with a duty that drives, and has never been seen to be sent
    /// there, may have its levels exchanged.
    fn doubt_sheet(&mut self, s: Seen, by_sheet: f64, noise: f64) {
        if self.observer.sense() == Sense::AsSheet {
            self.doubtful = false;
            return;
        }
        let beyond = self.has_rested && s.x < -(self.tolerance + noise);
        let rests = self.known_good && s.x.abs() <= self.tolerance;
        let driven = rests && by_sheet >= 1.0 && !self.seen_not_away;
        self.doubtful |= beyond || driven;
    }

    /// Whether the present drive refutes the present disagreement.
    pub(super) fn refutes(&self, x: f64) -> bool {
        let Some(drive) = &self.drive else {
            return false;
        };
        let test = &self.tests[usize::from(!drive.is_away())];
        if self.state == AgreementState::Lagging {
            drive.owed() >= KEEPS_UP && test.is_clear()
        } else {
            let sign = if drive.is_away() { 1.0 } else { -1.0 };
            sign * (x - self.true_at) >= ACQUITS
        }
    }

    /// Where the phase is due: on a drive between the slowest and the fastest motion since it began, else about
    /// where it was.
    pub(super) fn predict(
        &self,
        s: Seen,
        phaser: &PhaserSheet,
        stops: &Stops,
    ) -> Option<Band<CrankDegrees>> {
        let Seen { now, x, rpm, .. } = s;
        let drive = self
            .drive
            .as_ref()
            .filter(|d| d.is_away() || self.known_good);
        let (low, high) = if let Some(drive) = drive {
            drive.band(now, rpm, stops)
        } else {
            let ago = self.observer.motion.window();
            let before = self.observer.motion.was(now, ago)?;
            let rate = self.observer.motion.rate().unwrap_or(0.0);
            // What the duty did before the last window may still be on its way.
            let lately = self
                .track
                .iter()
                .rev()
                .take_while(|p| now - p.t <= ago + longest_delay(rpm));
            let (least, most) =
                lately.fold((s.duty, s.duty), |(a, b), p| (a.min(p.duty), b.max(p.duty)));
            let leeway = self.observer.leeway(ago, most - least, rate);
            let floor = stops.rest.unwrap_or(f64::NEG_INFINITY).min(before.min(x));
            let ceiling = stops.far.max(before);
            (
                (before - leeway).max(floor - self.tolerance),
                (before + leeway).min(ceiling + self.tolerance),
            )
        };
        let (low, high) = (low.min(high), high.max(low));
        Some(if phaser.rest.drive_sign() > 0.0 {
            Band {
                low: CrankDegrees(low),
                high: CrankDegrees(high),
            }
        } else {
            Band {
                low: CrankDegrees(-high),
                high: CrankDegrees(-low),
            }
        })
    }
}
