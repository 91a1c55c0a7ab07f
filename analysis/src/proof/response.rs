//! Which cam answers to which command, for commands that look alike. A phaser integrates: a duty hardly off its hold moves
//! it as well as a step does, and a cam that stands may be stuck. So neither a still command nor a still cam tells
//! anything. What tells is a cam that moves against its own command and as the other's bids: out while its own commands
//! rest, or home while its own drives it out. The commands (or the two cam leads; the signals do not tell which) are taken
//! for exchanged when both cams do so, each several times, and for right again at the first move that the other's command
//! forbids. Where both commands bid the same nothing can be told.

use super::Scene;
use crate::engine::PhaserSheet;
use crate::lead::{CamId, Role};
use crate::units::Seconds;
use std::collections::VecDeque;

/// Looks, ten a second, for which the commands must have bidden so before a cam's move, and in which it moves. Fewer
/// before it take the end of the last move for an answer (a valve's dead time and a tooth or two of the cam); more in it
/// miss the short times in which the commands differ.
const BEFORE: usize = 3;
const AFTER: usize = 4;
/// Crank degrees that are a move: flutter and jitter stay below 1.2. More misses slow phasers, less takes noise.
const MOVE: f64 = 3.0;
/// Moves of each cam against its own command before they are taken for exchanged. One may be a lost oil pressure that lets
/// a cam go where its springs pull it; more wait longer.
const SEVERAL: u32 = 2;

/// What one cam shows, and what its sheet says of its command, percent.
#[derive(Debug, Clone, Copy)]
struct Look {
    duty: f64,
    /// Phase away from rest in crank degrees.
    phase: f64,
    /// Below this the command bids rest, above that it drives out.
    bounds: [f64; 2],
}

impl Look {
    /// Whether the command allows the cam to move out (or home).
    fn allows(&self, out: bool) -> bool {
        let [rest, drives] = self.bounds;
        if out {
            self.duty >= rest
        } else {
            self.duty <= drives
        }
    }
}

/// What one pair of cams has shown.
#[derive(Debug, Clone)]
struct Pair {
    cams: [usize; 2],
    looks: VecDeque<[Look; 2]>,
    /// Moves of each against its own command and as the other's bids, without one that the other's forbids.
    moves: [u32; 2],
}

/// All pairs of cams with phasers.
#[derive(Debug, Clone)]
pub(super) struct Response {
    pairs: Vec<Pair>,
}

impl Response {
    pub fn new(cams: usize) -> Self {
        let pairs = (0..cams).flat_map(|b| (0..b).map(move |a| [a, b]));
        Self {
            pairs: pairs.map(Pair::new).collect(),
        }
    }

    pub fn gap(&mut self) {
        self.pairs.iter_mut().for_each(|p| p.looks.clear());
    }

    /// Looks, and tells of each command lead to which cam's actuator it seems to belong instead.
    pub fn look(&mut self, scene: &Scene<'_>) -> Vec<(CamId, CamId)> {
        let mut found = Vec::new();
        for pair in &mut self.pairs {
            let [a, b] = pair.cams;
            match (look(scene, a), look(scene, b)) {
                (Some(x), Some(y)) => pair.push([x, y]),
                _ => pair.looks.clear(),
            }
            if pair.is_crossed() {
                let [a, b] = pair.cams.map(|k| scene.sheet.cams[k].cam);
                found.extend([(a, b), (b, a)]);
            }
        }
        found
    }
}

fn look(scene: &Scene<'_>, k: usize) -> Option<Look> {
    let cam = scene.sheet.cams.get(k)?;
    let phaser: &PhaserSheet = cam.phaser.as_ref()?;
    let meter = scene.channel(Role::Command(cam.cam))?.meter()?;
    let duty = meter.duty(scene.at, Seconds(0.1))?.duty.0;
    let phase = scene.rotation.phase(k).valid()?.0;
    Some(Look {
        duty,
        phase: phase * phaser.rest.drive_sign(),
        bounds: [phaser.rest_below.0, phaser.hold.high.0],
    })
}

impl Pair {
    fn new(cams: [usize; 2]) -> Self {
        Self {
            cams,
            looks: VecDeque::new(),
            moves: [0; 2],
        }
    }

    fn is_crossed(&self) -> bool {
        self.moves.iter().all(|&n| n >= SEVERAL)
    }

    fn push(&mut self, look: [Look; 2]) {
        self.looks.push_back(look);
        if self.looks.len() > BEFORE + AFTER {
            let _ = self.looks.pop_front();
        }
        if self.looks.len() < BEFORE + AFTER {
            return;
        }
        let moved = [0, 1].map(|cam| self.moved(cam));
        let mut used = false;
        for (cam, other) in [(0, 1), (1, 0)] {
            let Some(out) = moved[cam] else {
                continue;
            };
            match [cam, other].map(|k| self.looks.iter().any(|l| l[k].allows(out))) {
                [_, false] => {
                    self.moves = [0; 2];
                    used = true;
                }
                [false, true] => {
                    self.moves[cam] += 1;
                    used = true;
                }
                [true, true] => {}
            }
        }
        // One move counts once.
        if used {
            self.looks.clear();
        }
    }

    /// Whether the cam has moved, and if so, whether out. Beyond its rest no phaser goes: there the sheet has its rest on
    /// the wrong side, or the timing has moved.
    fn moved(&self, cam: usize) -> Option<bool> {
        let mut at = self.looks.iter().skip(BEFORE - 1).map(|l| l[cam].phase);
        let from = at.next()?;
        let to = at.next_back()?;
        let is_move = (to - from).abs() >= MOVE && from.min(to) > -MOVE;
        is_move.then_some(to > from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Looks for a minute at two cams: every 4 s the one command drives for 2 s, then rests, the other 2 s later; `who`
    /// gives the command that each cam obeys, none of one that is stuck.
    fn pair(who: [Option<usize>; 2]) -> Pair {
        let mut pair = Pair::new([0, 1]);
        let mut at = [10.0f64; 2];
        for i in 0..600 {
            let first = i / 20 % 2 == 0;
            let duty = if first { [80.0, 8.0] } else { [8.0, 80.0] };
            for (at, who) in at.iter_mut().zip(who) {
                let rate = who.map_or(0.0, |k| if duty[k] > 50.0 { 2.0 } else { -2.0 });
                *at = (*at + rate).clamp(0.0, 30.0);
            }
            pair.push([0, 1].map(|k| Look {
                duty: duty[k],
                phase: at[k],
                bounds: [20.0, 70.0],
            }));
        }
        pair
    }

    #[test]
    fn only_two_cams_that_obey_the_other_command_tell_of_exchanged_leads() {
        assert!(!pair([Some(0), Some(1)]).is_crossed());
        assert!(pair([Some(1), Some(0)]).is_crossed());
        assert!(!pair([Some(0), None]).is_crossed());
        assert!(!pair([None, Some(1)]).is_crossed());
        assert!(!pair([Some(1), None]).is_crossed());
        assert!(!pair([None, None]).is_crossed());
    }
}
