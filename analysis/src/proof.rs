//! The lead proof: does each lead show what its role should show, and if not, what to try.
//!
//! Each role is looked at by itself (`crank`, `cam`, `command`, `supply`, `current`); leads that show each
//! other's signal are found by comparing them (`exchange`), and a missing ground by what they have in common
//! (`ground`). What one look sees becomes a state only when it lasts or cannot pass (`standing`).

use crate::channel::Channel;
use crate::edge::Edge;
use crate::engine::EngineSheet;
use crate::lead::{CamId, Role};
use crate::pattern::Pattern;
use crate::reading::Reading;
use crate::readings;
use crate::recognise::Recognition;
use crate::rotation::Rotation;
use crate::snapshot::Sync;
use crate::units::{Hertz, SampleTime};
use crate::wheel::Wheel;
use std::sync::Arc;

mod cam;
mod command;
mod crank;
mod current;
mod ear;
mod exchange;
mod ground;
mod lead_proof;
mod levels;
mod mains;
mod response;
mod standing;
mod supply;
mod touch;
mod twins;

pub use lead_proof::{LeadProof, Mistake, ProofState, Touch, bears};

use ear::Ear;
use exchange::{Exchange, Found};
use mains::Hum;
use response::Response;
use standing::{Seen, Standing};
use touch::TouchTest;
use twins::Twins;

/// A lead within this of zero volts on average, and ...
const SILENT_MEAN: f64 = 0.15;
/// ... moving by no more than this shows nothing but hum and noise (common practice, from memory).
const SILENT_SWING: f64 = 0.6;
/// A lead that moves by more is silent, too, when mains hum makes up this share of it and it swings about zero: what
/// touches nothing picks up a volt or two (from memory), more beside a fluorescent lamp.
const HUM_SHARE: f64 = 0.85;
/// Hum about zero may be off it by this part of its amplitude: half a period more on one side of the window.
const HUM_MEAN: f64 = 0.1;
/// A switched pin's low level lies below this: driver and wire drop under a volt at 2 A (TLE8104E data sheet), plus margin.
pub const GROUND: f64 = 1.5;
/// Supply of a 12 V system, cranking to overcharged.
const SUPPLY: [f64; 2] = [9.0, 16.0];

/// A lead that shows nothing but hum.
pub fn is_silent(channel: &Channel, slices: usize) -> bool {
    let (Some(mean), Some([low, high])) = (channel.mean(slices), channel.range(slices)) else {
        return false;
    };
    if mean.abs() < SILENT_MEAN && high - low < SILENT_SWING {
        return true;
    }
    is_hum(channel, slices)
}

/// A lead that swings about zero as the mains does.
fn is_hum(channel: &Channel, slices: usize) -> bool {
    let (Some(mean), Some([low, high])) = (channel.mean(slices), channel.range(slices)) else {
        return false;
    };
    // No hum is larger than all that moves.
    if mean.abs() > SILENT_MEAN + HUM_MEAN * (high - low) {
        return false;
    }
    Hum::of(&channel.means(slices)).is_some_and(|hum| {
        hum.share > HUM_SHARE && hum.volts > 0.03 && mean.abs() < SILENT_MEAN + HUM_MEAN * hum.volts
    })
}

/// What is known beside the leads themselves.
pub(crate) struct Scene<'a> {
    /// Now.
    pub at: SampleTime,
    /// Samples per second.
    pub rate: Hertz,
    /// Crank and cams.
    pub rotation: &'a Rotation,
    /// The engine.
    pub sheet: &'a EngineSheet,
    /// All channels.
    pub channels: &'a [Channel],
    /// What each was heard to be.
    pub heard: Vec<Option<Arc<Recognition>>>,
    /// Whether the crank has been followed long enough for a fitting cam to have told the cycle.
    pub settled: bool,
    /// Seconds for which the crank has been followed without a break.
    pub followed: f64,
    /// Patterns of the sheet's cams, its wheel, and the last edges of each channel.
    patterns: &'a [Pattern],
    wheel: Option<&'a Wheel>,
    ears: &'a [Ear],
    /// Whole crank revolutions since then.
    turns: u64,
    /// Supply, from a lead that is proven.
    supply: Option<f64>,
    /// Whether cam edges come.
    cams_move: bool,
}

impl Scene<'_> {
    fn channel(&self, role: Role) -> Option<&Channel> {
        self.channels.iter().find(|c| c.role == role)
    }

    fn cam(&self, id: CamId) -> Option<usize> {
        self.sheet.cams.iter().position(|c| c.cam == id)
    }

    /// Engine speed, as well as it is known.
    fn rpm(&self) -> Option<f64> {
        self.rotation.speed(readings::WINDOW).any().map(|v| v.0)
    }
}

/// One channel as its role looks at it.
struct Site<'a> {
    channel: &'a Channel,
    ear: &'a Ear,
    heard: Option<&'a Recognition>,
    /// Role whose signal it shows instead of its own.
    shows: Option<Role>,
    /// Whether cam edges fit their own pattern.
    fits: bool,
    /// Whole crank revolutions for which they have.
    turns: u64,
    /// Whether it was touched to ground and supply, and not been silent for long since.
    is_touched: bool,
}

impl Site<'_> {
    fn is_hum(&self) -> bool {
        is_hum(self.channel, 100)
    }
}

/// What is kept of one channel from look to look.
#[derive(Debug, Clone)]
struct Known {
    standing: Standing,
    touched: bool,
    /// Crank revolutions when its edges began to fit.
    fits_since: Option<u64>,
    sag: supply::Sag,
    pace: command::Pace,
}

/// Proves all leads, ten times a second.
#[derive(Debug, Clone)]
pub(crate) struct Prover {
    patterns: Vec<Pattern>,
    wheel: Option<Wheel>,
    ears: Vec<Ear>,
    known: Vec<Known>,
    /// Crank revolutions when it began to be followed.
    followed_since: Option<u64>,
    response: Response,
    twins: Twins,
    /// How the edges of each channel fitted the cams.
    found: Vec<Found>,
    test: Option<(Role, TouchTest)>,
}

impl Prover {
    pub fn new(sheet: &EngineSheet, channels: usize) -> Self {
        let known = Known {
            standing: Standing::new(LeadProof::silent("no samples yet", "")),
            touched: false,
            fits_since: None,
            sag: supply::Sag::default(),
            pace: command::Pace::default(),
        };
        Self {
            patterns: sheet.cams.iter().map(Pattern::new).collect(),
            wheel: Wheel::parse(&sheet.crank.wheel).ok(),
            ears: vec![Ear::default(); channels],
            known: vec![known; channels],
            followed_since: None,
            response: Response::new(sheet.cams.len()),
            twins: Twins::default(),
            found: Vec::new(),
            test: None,
        }
    }

    /// Edges of a channel.
    pub fn hear(&mut self, channel: usize, edges: &[Edge]) {
        self.ears[channel].push(edges);
    }

    /// Samples were lost.
    pub fn gap(&mut self) {
        self.ears.iter_mut().for_each(Ear::gap);
        self.response.gap();
    }

    /// Asks for the touch test of one lead; another under way ends.
    pub fn ask_touch(&mut self, role: Role) {
        self.test = Some((role, TouchTest::default()));
    }

    /// Ends the touch test; one that was not done proves nothing.
    pub fn end_touch(&mut self) {
        self.test = None;
    }

    /// Seconds without an edge after which a cam of the sheet is silent at this engine speed.
    pub fn patience(&self, k: usize, rpm: Option<f64>) -> f64 {
        cam::patience(&self.patterns[k], rpm)
    }

    /// Whether the lead's own signal, or a touch, has shown what it carries, and it has not been silent for long since.
    pub fn is_known(&self, channel: usize) -> bool {
        let known = &self.known[channel];
        known.standing.is_known() || known.touched
    }

    /// Looks at every channel.
    pub fn look(&mut self, mut view: View<'_>) -> Vec<LeadProof> {
        let heard = std::mem::take(&mut view.heard);
        let (patterns, ears) = (
            std::mem::take(&mut self.patterns),
            std::mem::take(&mut self.ears),
        );
        let wheel = self.wheel.take();
        let scene = self.scene(&view, heard, &patterns, wheel.as_ref(), &ears);
        let proofs = self.judge(&scene);
        (self.patterns, self.ears, self.wheel) = (patterns, ears, wheel);
        proofs
    }

    fn scene<'a>(
        &mut self,
        view: &View<'a>,
        heard: Vec<Option<Arc<Recognition>>>,
        patterns: &'a [Pattern],
        wheel: Option<&'a Wheel>,
        ears: &'a [Ear],
    ) -> Scene<'a> {
        let turned = view.rotation.revolutions();
        let is_followed = matches!(view.rotation.sync(), Sync::Revolution | Sync::Cycle);
        let since = *self.followed_since.get_or_insert(turned);
        if !is_followed {
            self.followed_since = None;
        }
        let proven = |(c, k): (&Channel, &Known)| {
            c.role == Role::Supply && k.standing.state() == ProofState::Proven
        };
        let supply = (view.channels.iter().zip(&self.known))
            .find(|pair| proven(*pair))
            .and_then(|(c, _)| readings::supply(Some(c)).valid());
        // Two edges within the time that a slow starter takes for a turn of the cam, and none of them before the crank's
        // last: an engine that runs out turned its cams until then.
        let crank = view.channels.iter().find(|c| c.role == Role::Crank);
        let last = crank.and_then(|c| c.last_edge).map_or(0.0, |at| at.0);
        let from = (view.at.0 - 0.5 * view.rate.0).max(last);
        let cams_move = (view.channels.iter().zip(ears))
            .any(|(c, ear)| matches!(c.role, Role::Cam(_)) && ear.since(from) >= 2);
        Scene {
            at: view.at,
            rate: view.rate,
            rotation: view.rotation,
            sheet: view.sheet,
            channels: view.channels,
            heard,
            settled: view.settled,
            followed: view.followed,
            patterns,
            wheel,
            ears,
            turns: turned - since,
            supply: supply.map(|v| v.0),
            cams_move,
        }
    }

    fn judge(&mut self, scene: &Scene<'_>) -> Vec<LeadProof> {
        let now = scene.at.seconds(scene.rate).0;
        let mut exchange = Exchange::look(scene, &mut self.found);
        for (own, other) in self.response.look(scene) {
            exchange.answers(scene, own, other);
        }
        for pair in self.twins.look(scene) {
            exchange.one_pin(scene, pair);
        }
        let floats = ground::floats(scene);
        (0..scene.channels.len())
            .map(|i| {
                let channel = &scene.channels[i];
                let stage = self.touch(channel, scene.supply);
                let known = &mut self.known[i];
                if stage == Some(Touch::Done) {
                    known.touched = true;
                }
                if channel.slices.is_empty() {
                    return LeadProof::silent("no samples yet", "");
                }
                let site = known.site(i, scene, &exchange);
                let mut seen = known.see(&site, scene);
                let alone = || ground::hums(channel);
                let all = floats.clone().filter(|_| is_grounded(channel.role));
                if let Some(what) = all.or_else(alone) {
                    let proof = LeadProof::doubtful(
                        what,
                        "Clip the scope's ground to the engine's; keep it on.",
                    );
                    seen = Seen::firm(proof.by(Mistake::NoGround));
                }
                // In the hand a lead shows neither its pin nor that it has slipped off.
                if matches!(stage, Some(Touch::ToGround | Touch::ToSupply)) {
                    seen = Seen::firm(in_hand(stage));
                }
                known.standing.settle(seen, now);
                known.touched &= stage.is_some() || !known.standing.was_silent_long();
                LeadProof {
                    touch: stage,
                    ..known.standing.shown().clone()
                }
            })
            .collect()
    }

    fn touch(&mut self, channel: &Channel, supply: Option<f64>) -> Option<Touch> {
        let (_, test) = self
            .test
            .as_mut()
            .filter(|(role, _)| *role == channel.role)?;
        Some(test.look(channel, supply))
    }
}

/// What the pipeline shows the prover.
pub(crate) struct View<'a> {
    pub at: SampleTime,
    pub rate: Hertz,
    pub rotation: &'a Rotation,
    pub sheet: &'a EngineSheet,
    pub channels: &'a [Channel],
    pub heard: Vec<Option<Arc<Recognition>>>,
    pub settled: bool,
    pub followed: f64,
}

/// Roles whose signal is a voltage against the scope's ground.
fn is_grounded(role: Role) -> bool {
    matches!(
        role,
        Role::Crank | Role::Cam(_) | Role::Command(_) | Role::Supply
    )
}

fn in_hand(stage: Option<Touch>) -> LeadProof {
    match stage {
        Some(Touch::ToSupply) => {
            LeadProof::doubtful("ground seen", "Touch it to the supply and hold it still.")
        }
        _ => LeadProof::doubtful(
            "to be touched to ground",
            "Touch it to ground and hold it still.",
        ),
    }
}

impl Known {
    fn site<'a>(&mut self, i: usize, scene: &'a Scene<'_>, exchange: &Exchange) -> Site<'a> {
        let channel = &scene.channels[i];
        let fits = exchange.fits[i];
        let turned = scene.rotation.revolutions();
        let has_phase = match channel.role {
            Role::Cam(id) => scene.cam(id).is_some_and(|k| {
                matches!(
                    scene.rotation.phase(k),
                    Reading::Valid(_) | Reading::Stale(..)
                )
            }),
            _ => false,
        };
        if !(fits || has_phase) {
            self.fits_since = None;
        }
        let since = *self.fits_since.get_or_insert(turned);
        Site {
            channel,
            ear: &scene.ears[i],
            heard: scene.heard[i].as_deref(),
            shows: exchange.shows[i],
            fits,
            turns: turned - since,
            is_touched: self.touched,
        }
    }

    fn see(&mut self, site: &Site<'_>, scene: &Scene<'_>) -> Seen {
        let standing = &self.standing;
        match site.channel.role {
            Role::Crank => crank::look(site, scene, standing),
            Role::Cam(id) => cam::look(site, scene, standing, id),
            Role::Command(id) => command::look(site, scene, standing, id, &mut self.pace),
            Role::Current(id) => current::look(site, scene, standing, id),
            Role::StarterCurrent => current::starter(site, standing),
            Role::Supply => supply::look(site, scene, standing, &mut self.sag),
            Role::Pressure => current::pressure(site, standing),
            Role::Spare => Seen::idle(LeadProof::plain(ProofState::Spare, String::new())),
        }
    }
}
