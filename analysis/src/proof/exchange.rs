//! Which leads show another lead's signal: crank wheel, cam pattern, switched command, supply.

use super::{SUPPLY, Scene};
use crate::lead::{CamId, Role};
use crate::pattern::{Belief, Fit, Pattern, PatternEdge, wrap};
use crate::snapshot::Sync;
use crate::units::Seconds;

/// By how much, in degrees squared, two cam leads must fit better crosswise than as planned: what one edge of eight out
/// of its place by 15 degrees adds on either; noise of a sensor adds less than 6.
const MARGIN: f64 = 30.0;
/// A pin that is off stands at least so high, volts; a 5 V sensor's line does not.
const OFF: f64 = 8.0;
/// A measured frequency is the sheet's within this part; two of the sheet that differ by less are alike.
const SAME: f64 = 0.04;

/// A lead that shows its own signal is compared with the others' again after this long, seconds: comparing takes a third of
/// what all else of the pipeline takes when it is done ten times a second. More would tell a swap later.
const KEPT: f64 = 0.5;

/// What a lead's signal looks like.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Look {
    Crank,
    Cam(CamId),
    /// Switched between ground and supply at this frequency.
    Switched(f64),
    Supply,
    Other,
}

/// Per channel: the role whose signal it shows instead of its own, and of a cam whether its edges fit its own pattern.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Exchange {
    pub shows: Vec<Option<Role>>,
    pub fits: Vec<bool>,
}

/// What was last found of one channel, and when, in seconds: how its edges fit each cam's pattern.
#[derive(Debug, Clone, Default)]
pub(super) struct Found {
    at: f64,
    costs: Vec<Option<f64>>,
}

impl Found {
    /// How the edges fit now. Where nothing is amiss it is asked again only after a while.
    fn costs(&mut self, scene: &Scene<'_>, i: usize) -> Vec<Option<f64>> {
        let nothing = vec![None; scene.patterns.len()];
        let Some(turn) = turn(scene, i) else {
            self.costs.clear();
            return nothing;
        };
        let now = scene.at.seconds(scene.rate).0;
        let is_well = match scene.channels[i].role {
            Role::Cam(id) => scene
                .cam(id)
                .is_some_and(|k| self.costs.get(k).is_some_and(Option::is_some)),
            _ => !self.costs.is_empty() && self.costs.iter().all(Option::is_none),
        };
        if !is_well || now - self.at > KEPT {
            *self = Self {
                at: now,
                costs: costs(scene, Some(&turn)),
            };
        }
        self.costs.clone()
    }
}

impl Exchange {
    /// Compares all channels; `found` holds one entry per channel from look to look.
    pub fn look(scene: &Scene<'_>, found: &mut Vec<Found>) -> Self {
        found.resize_with(scene.channels.len(), Found::default);
        let costs: Vec<Vec<Option<f64>>> = (found.iter_mut().enumerate())
            .map(|(i, found)| found.costs(scene, i))
            .collect();
        let looks: Vec<Look> = (0..scene.channels.len())
            .map(|i| look(scene, i, &costs[i]))
            .collect();
        let mut shows: Vec<Option<Role>> =
            (0..looks.len()).map(|i| other(scene, &looks, i)).collect();
        crosswise(scene, &costs, &mut shows);
        commands(scene, &looks, &mut shows);
        partner(scene, &mut shows);
        let fits = (scene.channels.iter().zip(&costs))
            .map(|(c, costs)| match c.role {
                Role::Cam(id) => scene.cam(id).is_some_and(|k| costs[k].is_some()),
                _ => false,
            })
            .collect();
        Self { shows, fits }
    }

    /// Two leads are on one pin: it is the one whose pattern or frequency is the other's, or both are in doubt.
    pub fn one_pin(&mut self, scene: &Scene<'_>, [i, j]: [usize; 2]) {
        let suits = |k: usize| match scene.channels[k].role {
            Role::Cam(_) => self.fits[k],
            Role::Command(id) => {
                let due = scene
                    .sheet
                    .cam(id)
                    .and_then(|c| c.phaser.as_ref()?.frequency);
                let seen = (scene.channels[k].meter()).and_then(|m| m.duty(scene.at, Seconds(0.2)));
                due.zip(seen)
                    .is_some_and(|(due, seen)| (seen.frequency.0 / due.0 - 1.0).abs() < SAME)
            }
            _ => false,
        };
        let (a, b) = (suits(i), suits(j));
        let roles = [i, j].map(|k| scene.channels[k].role);
        if !a || b {
            let _ = self.shows[i].get_or_insert(roles[1]);
        }
        if !b || a {
            let _ = self.shows[j].get_or_insert(roles[0]);
        }
    }

    /// The command lead of `own` was answered by the cam `other`.
    pub fn answers(&mut self, scene: &Scene<'_>, own: CamId, other: CamId) {
        let lead = scene
            .channels
            .iter()
            .position(|c| c.role == Role::Command(own));
        if let Some(i) = lead {
            let _ = self.shows[i].get_or_insert(Role::Command(other));
        }
    }
}

/// Edges of the last cam revolution, of leads that may carry a cam's signal; none when far too many.
fn turn(scene: &Scene<'_>, i: usize) -> Option<Vec<PatternEdge>> {
    if !matches!(scene.channels[i].role, Role::Cam(_) | Role::Command(_)) {
        return None;
    }
    let most = scene.patterns.iter().map(|p| p.edges.len()).max()?;
    let turn = scene.ears[i].turn(scene.rotation)?;
    // A pattern needs an edge of its own on each side of a window.
    (turn.len() >= 2 && turn.len() <= 2 * most + 4).then_some(turn)
}

/// How well these edges fit each cam's pattern at a phase that can be believed: mean squared distance in degrees squared,
/// `None` where they do not fit.
fn costs(scene: &Scene<'_>, turn: Option<&[PatternEdge]>) -> Vec<Option<f64>> {
    let step = scene.rotation.crank_step().0;
    let cost = |pattern: &Pattern| {
        let believed = |fit: &Fit| {
            let mut shift = fit.shift;
            let mut turned = 0.0;
            while turned < 720.0 - 0.5 * step {
                if pattern.believes(wrap(shift), Belief::TeethOut) {
                    return true;
                }
                shift += step;
                turned += step;
            }
            false
        };
        pattern
            .fits(turn?)
            .into_iter()
            .filter(|fit| fit.is_good() && believed(fit))
            .map(|fit| fit.cost)
            .min_by(f64::total_cmp)
    };
    scene.patterns.iter().map(cost).collect()
}

fn look(scene: &Scene<'_>, i: usize, costs: &[Option<f64>]) -> Look {
    let channel = &scene.channels[i];
    let is_followed = matches!(scene.rotation.sync(), Sync::Revolution | Sync::Cycle);
    if channel.role == Role::Crank && is_followed {
        return Look::Crank;
    }
    let is_recent = (channel.last_edge).is_some_and(|at| scene.at.since(at, scene.rate).0 < 0.3);
    let shows_wheel =
        |k: usize| (scene.heard[k].as_ref().zip(scene.wheel)).is_some_and(|(h, w)| h.shows(w));
    // Any train of like pulses shows a wheel of like teeth: it is the cam lead's only where the crank lead shows none.
    let crank = scene.channels.iter().position(|c| c.role == Role::Crank);
    let is_crank = || shows_wheel(i) && !crank.is_some_and(shows_wheel);
    if matches!(channel.role, Role::Cam(_)) && is_crank() {
        return Look::Crank;
    }
    if is_recent && let Some(hertz) = switched(scene, i) {
        return Look::Switched(hertz);
    }
    if is_recent && matches!(channel.role, Role::Cam(_) | Role::Command(_)) {
        let best = (costs.iter().enumerate())
            .filter_map(|(k, c)| c.map(|c| (k, c)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((k, _)) = best {
            return Look::Cam(scene.sheet.cams[k].cam);
        }
    }
    if channel.role == Role::Supply {
        let both = channel
            .spans(200)
            .filter(|[a, b]| *a < 1.5 && *b > OFF)
            .count();
        if 2 * both > channel.spans(200).count() {
            return Look::Switched(f64::NAN);
        }
    }
    let still = channel.range(100).is_some_and(|[a, b]| b - a < 4.0);
    let level = channel.mean(100).unwrap_or(0.0);
    if still && !is_recent && (SUPPLY[0]..=2.0 * SUPPLY[1]).contains(&level) {
        return Look::Supply;
    }
    Look::Other
}

/// Frequency of a signal that a clock switches between ground and a supply.
fn switched(scene: &Scene<'_>, i: usize) -> Option<f64> {
    let channel = &scene.channels[i];
    let hertz = match (channel.role, channel.meter()) {
        (Role::Command(_), Some(meter)) => meter.duty(scene.at, Seconds(0.2))?.frequency.0,
        (Role::Crank | Role::Cam(_), _) => scene.rate.0 / scene.ears[i].beat()?,
        _ => return None,
    };
    let [low, high] = channel.states().or_else(|| channel.range(40))?;
    (low.abs() < 2.0 && high > OFF && (20.0..=1000.0).contains(&hertz)).then_some(hertz)
}

/// The role whose signal channel `i` shows, if it is not its own.
fn other(scene: &Scene<'_>, looks: &[Look], i: usize) -> Option<Role> {
    let own = scene.channels[i].role;
    match (looks[i], own) {
        (Look::Crank, Role::Cam(_)) => Some(Role::Crank),
        // Which cam's pattern fits a cam lead better is settled by comparing.
        (Look::Cam(id), Role::Command(_)) => Some(Role::Cam(id)),
        (Look::Switched(_), Role::Crank | Role::Cam(_) | Role::Supply) => {
            let lacking: Vec<usize> = (0..looks.len())
                .filter(|&j| {
                    matches!(scene.channels[j].role, Role::Command(_))
                        && !matches!(looks[j], Look::Switched(_))
                })
                .collect();
            // With two commands that do not switch it is the one that shows this lead's signal.
            let mine = lacking.iter().find(|&&j| match (looks[j], own) {
                (Look::Cam(id), Role::Cam(own)) => id == own,
                (Look::Supply, Role::Supply) => true,
                _ => false,
            });
            let one = if lacking.len() == 1 {
                lacking.first()
            } else {
                None
            };
            let j = mine.or(one)?;
            Some(scene.channels[*j].role)
        }
        (Look::Supply, Role::Command(_) | Role::Cam(_)) => {
            let supply = scene.channels.iter().position(|c| c.role == Role::Supply)?;
            matches!(looks[supply], Look::Switched(_)).then_some(Role::Supply)
        }
        _ => None,
    }
}

/// Cam leads that fit another cam's pattern and not their own, or two that fit better crosswise.
fn crosswise(scene: &Scene<'_>, costs: &[Vec<Option<f64>>], shows: &mut [Option<Role>]) {
    let leads: Vec<(usize, usize)> = (scene.channels.iter().enumerate())
        .filter_map(|(i, c)| match c.role {
            Role::Cam(id) => Some((i, scene.cam(id)?)),
            _ => None,
        })
        .collect();
    let worst = crate::pattern::CAP * crate::pattern::CAP;
    for &(i, a) in &leads {
        if costs[i][a].is_none() && shows[i].is_none() {
            let best = (0..scene.patterns.len())
                .filter_map(|k| costs[i][k].map(|c| (k, c)))
                .min_by(|x, y| x.1.total_cmp(&y.1));
            shows[i] = best.map(|(k, _)| Role::Cam(scene.sheet.cams[k].cam));
        }
        for &(j, b) in &leads {
            if let (true, Some(crossed), Some(back)) = (i < j, costs[i][b], costs[j][a]) {
                let own = costs[i][a].unwrap_or(worst) + costs[j][b].unwrap_or(worst);
                if own > crossed + back + MARGIN {
                    shows[i] = Some(Role::Cam(scene.sheet.cams[b].cam));
                    shows[j] = Some(Role::Cam(scene.sheet.cams[a].cam));
                }
            }
        }
    }
}

/// Commands that switch at the frequency which the sheet gives the other.
fn commands(scene: &Scene<'_>, looks: &[Look], shows: &mut [Option<Role>]) {
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < SAME;
    let all: Vec<(usize, CamId, f64, f64)> = (scene.channels.iter().enumerate())
        .filter_map(|(i, c)| {
            let (Role::Command(id), Look::Switched(hertz)) = (c.role, looks[i]) else {
                return None;
            };
            let due = scene.sheet.cam(id)?.phaser.as_ref()?.frequency?.0;
            Some((i, id, hertz, due))
        })
        .collect();
    for &(i, a, seen_a, due_a) in &all {
        for &(j, b, seen_b, due_b) in &all {
            if i < j && !near(due_a, due_b) && near(seen_a, due_b) && near(seen_b, due_a) {
                shows[i] = Some(Role::Command(b));
                shows[j] = Some(Role::Command(a));
            }
        }
    }
}

/// A crank lead without teeth shows what the lead that shows the crank's should.
fn partner(scene: &Scene<'_>, shows: &mut [Option<Role>]) {
    let crank = scene.channels.iter().position(|c| c.role == Role::Crank);
    let other = shows.iter().position(|s| *s == Some(Role::Crank));
    if let (Some(crank), Some(other)) = (crank, other)
        && shows[crank].is_none()
        && !matches!(scene.rotation.sync(), Sync::Revolution | Sync::Cycle)
    {
        shows[crank] = Some(scene.channels[other].role);
    }
}
