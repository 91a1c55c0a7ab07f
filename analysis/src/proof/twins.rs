//! Two leads of one kind on one pin: every edge of the one comes at the instant of an edge of the other. Two valves of one
//! controller may share a clock, and rest at the same small duty; only when both change alike are they one.

use super::Scene;
use super::ear::Ear;
use crate::lead::Role;
use crate::units::Seconds;

/// Looks, ten a second, for which it must be so.
const LOOKS: u32 = 4;
/// Points by which the duty must have moved meanwhile ...
const MOVED: f64 = 8.0;
/// ... while the two agreed within this.
const ALIKE: f64 = 0.4;

/// One pair of leads that may be on one pin.
#[derive(Debug, Clone)]
struct Pair {
    leads: [usize; 2],
    looks: u32,
    /// Least and greatest duty meanwhile.
    duty: [f64; 2],
}

/// All pairs of leads of one kind.
#[derive(Debug, Clone, Default)]
pub(super) struct Twins {
    pairs: Vec<Pair>,
}

impl Twins {
    /// The pairs of channels that are on one pin now.
    pub fn look(&mut self, scene: &Scene<'_>) -> Vec<[usize; 2]> {
        if self.pairs.is_empty() {
            self.pairs = pairs(scene);
        }
        let mut found = Vec::new();
        for pair in &mut self.pairs {
            let [i, j] = pair.leads;
            if pair.alike(scene) {
                pair.looks = pair.looks.saturating_add(1);
            } else {
                pair.looks = 0;
                pair.duty = [f64::INFINITY, f64::NEG_INFINITY];
            }
            let moved = matches!(scene.channels[i].role, Role::Cam(_))
                || pair.duty[1] - pair.duty[0] > MOVED;
            if pair.looks >= LOOKS && moved {
                found.push([i, j]);
            }
        }
        found
    }
}

fn pairs(scene: &Scene<'_>) -> Vec<Pair> {
    let kind = |i: usize| match scene.channels[i].role {
        Role::Cam(_) => 1,
        Role::Command(_) => 2,
        _ => 0,
    };
    (0..scene.channels.len())
        .flat_map(|j| (0..j).map(move |i| [i, j]))
        .filter(|[i, j]| kind(*i) > 0 && kind(*i) == kind(*j))
        .map(|leads| Pair {
            leads,
            looks: 0,
            duty: [f64::INFINITY, f64::NEG_INFINITY],
        })
        .collect()
}

impl Pair {
    fn alike(&mut self, scene: &Scene<'_>) -> bool {
        let [i, j] = self.leads;
        if !Ear::coincide(&scene.ears[i], &scene.ears[j]) {
            return false;
        }
        let duty = |k: usize| {
            let duty = scene.channels[k].meter()?.duty(scene.at, Seconds(0.1))?;
            Some(duty.duty.0)
        };
        match (duty(i), duty(j)) {
            (Some(a), Some(b)) => {
                self.duty = [self.duty[0].min(a), self.duty[1].max(a)];
                (a - b).abs() < ALIKE
            }
            (None, None) => matches!(scene.channels[i].role, Role::Cam(_)),
            _ => false,
        }
    }
}
