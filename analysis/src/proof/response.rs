//! Which cam answers to which command, for commands that look alike: a step of one command while the other keeps still, or
//! steps the other way, is answered by its own cam. If it is the other cam that answers, the two commands are exchanged,
//! or the two cam leads; the signals alone do not tell which of the two. Where both commands step the same way at once,
//! nothing can be told.

use super::Scene;
use crate::engine::PhaserSheet;
use crate::lead::{CamId, Role};
use crate::units::Seconds;
use std::collections::VecDeque;

/// Looks, ten a second, before a step and from it on. Fewer leave a slow phaser no time to answer; more tell it later than
/// the judgement blames the cam.
const BEFORE: usize = 3;
const AFTER: usize = 6;
/// Points of duty that make a step, in the mean after it, and within which a command keeps still: a controller that holds
/// trims by less (from memory).
const STEP: f64 = 15.0;
const STILL: f64 = 5.0;
/// Crank degrees that are an answer, and within which a cam keeps still: 3 is what a slow phaser moves in half a second at
/// 6 degrees a second; flutter and jitter stay below 1.2.
const ANSWER: f64 = 3.0;
const RESTS: f64 = 1.2;

/// Duty in percent, and phase away from rest in crank degrees.
type Look = [f64; 2];

/// What one pair of cams has shown.
#[derive(Debug, Clone)]
struct Pair {
    cams: [usize; 2],
    looks: VecDeque<[Look; 2]>,
    crossed: bool,
}

/// All pairs of cams with phasers.
#[derive(Debug, Clone)]
pub(super) struct Response {
    pairs: Vec<Pair>,
}

impl Response {
    pub fn new(cams: usize) -> Self {
        let pair = |a: usize, b: usize| Pair {
            cams: [a, b],
            looks: VecDeque::new(),
            crossed: false,
        };
        let pairs = (0..cams).flat_map(|b| (0..b).map(move |a| (a, b)));
        Self {
            pairs: pairs.map(|(a, b)| pair(a, b)).collect(),
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
            if pair.crossed {
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
    Some([duty, phase * phaser.rest.drive_sign()])
}

impl Pair {
    fn push(&mut self, look: [Look; 2]) {
        self.looks.push_back(look);
        if self.looks.len() > BEFORE + AFTER {
            let _ = self.looks.pop_front();
        }
        if self.looks.len() < BEFORE + AFTER {
            return;
        }
        let steps = [0, 1].map(|i| self.step(i));
        let moves = [0, 1].map(|i| self.moved(i));
        let ([Some(a), Some(b)], [Some(x), Some(y)]) = (steps, moves) else {
            return;
        };
        if a == b {
            return;
        }
        if (x, y) == (b, a) {
            self.crossed = true;
        } else if (x, y) == (a, b) {
            self.crossed = false;
        }
    }

    fn values(&self, cam: usize, what: usize) -> impl Iterator<Item = f64> {
        self.looks.iter().map(move |l| l[cam][what])
    }

    /// Sign of the command's step, 0 if it keeps still, `None` if neither can be said.
    fn step(&self, cam: usize) -> Option<i8> {
        let mean =
            |from: usize, n: usize| self.values(cam, 0).skip(from).take(n).sum::<f64>() / n as f64;
        let by = mean(BEFORE, AFTER) - mean(0, BEFORE);
        sign(by, STEP, range(self.values(cam, 0)) < STILL)
    }

    /// The same of the cam's answer.
    fn moved(&self, cam: usize) -> Option<i8> {
        let last = self.values(cam, 1).last()?;
        let by = last - self.values(cam, 1).nth(BEFORE)?;
        sign(by, ANSWER, range(self.values(cam, 1)) < RESTS)
    }
}

fn sign(by: f64, least: f64, is_still: bool) -> Option<i8> {
    if by >= least {
        Some(1)
    } else if by <= -least {
        Some(-1)
    } else {
        is_still.then_some(0)
    }
}

fn range(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
        (a.min(v), b.max(v))
    });
    high - low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two cams, ten looks a second; `who` gives the cam that each command drives. The first command steps from 40 to 80 %
    /// after half a second, the other keeps still; a driven cam moves at 20 degrees a second.
    fn crossed(who: [usize; 2], is_stuck: bool) -> bool {
        let mut pair = Pair {
            cams: [0, 1],
            looks: VecDeque::new(),
            crossed: false,
        };
        let mut at = [10.0; 2];
        for i in 0..20 {
            let duty = [if i < 5 { 40.0 } else { 80.0 }, 42.0];
            if i >= 5 && !is_stuck {
                at[who[0]] += 2.0;
            }
            pair.push([0, 1].map(|k| [duty[k], at[k]]));
        }
        pair.crossed
    }

    #[test]
    fn the_cam_that_answers_tells_whose_command_it_is() {
        assert!(!crossed([0, 1], false));
        assert!(crossed([1, 0], false));
        assert!(!crossed([0, 1], true));
    }
}
