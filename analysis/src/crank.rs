//! Follows the tone wheel: which tooth an edge is, and when that is no longer certain.

use crate::gap_search::GapSearch;
use crate::reading::Why;
use crate::rotation::Revolution;
use crate::teeth::{Teeth, Tooth};
use crate::units::{Hertz, Rpm, SampleTime};
use crate::wheel::Wheel;
use std::collections::VecDeque;

/// A crank without a tooth for this long stands: at 60-2 that is below 20 rpm even in the gap.
const STOPPED_AFTER_SECONDS: f64 = 0.3;
/// A crank so slow that the gap alone takes this part of the time-out gets a longer one.
const STOPPED_AFTER_GAPS: f64 = 3.0;
/// An edge that comes earlier than this part of the expected interval is not a tooth. Adjacent
/// intervals differ by a factor of 1.23 at worst (60-2, 85 to 225 rpm while cranking).
const EARLY: f64 = 0.5;
/// The same for the edge that ends the gap, where noise has more time to come in between:
/// 2.05 / 3 is the least in the same case.
const EARLY_IN_GAP: f64 = 0.6;
/// An interval longer than this part of the expected one hides a tooth.
const LATE: f64 = 1.6;
/// The same for the gap, whose interval is 4.48 / 3 of the expected one at worst.
const LATE_IN_GAP: f64 = 1.8;
/// Bounds of an interval, as a part of the expected one, that is taken for two with a tooth missing between.
const MISSED: [f64; 2] = [0.7, 1.4];
/// The same where the second of the two is the gap: 18 degrees instead of 24 would be 0.75.
const MISSED_BEFORE_GAP: [f64; 2] = [0.85, 1.2];
/// Rejected edges in a row after which the pattern is lost.
const MOST_REJECTED: u8 = 3;
/// Bounds, as a part of the nominal ratio, of gap against the mean of its two neighbours: 2.70 / 3
/// to 3.63 / 3 in the same case, widened.
const GAP_FIT: [f64; 2] = [0.7, 1.3];
/// Revolutions waiting to be drained; whoever does not drain loses the oldest.
const MOST_WAITING: usize = 4096;

/// What is known while the pattern is followed.
#[derive(Debug, Clone)]
struct Track {
    /// The last tooth.
    tooth: usize,
    /// Samples per degree over the last three intervals, newest first.
    pace: [f64; 3],
    /// Edges rejected since the last tooth.
    rejected: u8,
    /// Whether a tooth was missing in this revolution.
    missed: bool,
    /// Tooth 0 of this revolution.
    start: Option<f64>,
    /// Tooth 0 of the revolution before, until the gap between is verified.
    unverified: Option<f64>,
    /// Angle of the last tooth that a verified gap vouches for.
    vouched: f64,
}

enum Outcome {
    Tooth,
    Rejected,
    Lost,
}

/// The decoder of one crank lead.
#[derive(Debug, Clone)]
pub(crate) struct Crank {
    wheel: Wheel,
    rate: Hertz,
    gap_to_tdc: f64,
    search: GapSearch,
    track: Option<Track>,
    teeth: Teeth,
    last_edge: Option<f64>,
    last_interval: f64,
    edges: u32,
    after_gap: bool,
    adoptions: u64,
    losses: u64,
    revolutions: u64,
    waiting: VecDeque<Revolution>,
}

impl Crank {
    pub fn new(wheel: Wheel, gap_to_tdc: f64, rate: Hertz) -> Self {
        Self {
            search: GapSearch::new(wheel.teeth()),
            wheel,
            rate,
            gap_to_tdc,
            track: None,
            teeth: Teeth::default(),
            last_edge: None,
            last_interval: 0.0,
            edges: 0,
            after_gap: false,
            adoptions: 0,
            losses: 0,
            revolutions: 0,
            waiting: VecDeque::new(),
        }
    }

    /// Takes an active edge. Edges that do not come later than the one before are passed over.
    pub fn push(&mut self, at: f64) {
        if !at.is_finite() || self.last_edge.is_some_and(|last| at <= last) {
            return;
        }
        if self.is_over(at) {
            self.stop();
        }
        if let Some(last) = self.last_edge {
            self.last_interval = at - last;
        }
        self.last_edge = Some(at);
        self.edges = self.edges.saturating_add(1);

        let verified = self.search.push(at);
        if matches!(self.follow(at), Some(Outcome::Lost)) {
            self.lose();
        }
        if let Some(edges) = verified {
            // The bare search knows better than a track that has miscounted.
            if self.track.as_ref().is_some_and(|t| t.tooth != 1) {
                self.lose();
            }
            if self.track.is_none() {
                self.adopt(&edges);
            }
        }
    }

    /// Notices that no tooth has come for too long.
    pub fn settle(&mut self, until: f64) {
        if self.is_over(until) {
            self.stop();
        }
        self.teeth.trim();
    }

    /// Samples were lost before `first_good`.
    pub fn gap(&mut self, first_good: f64) {
        self.track = None;
        self.search.reset();
        self.teeth.clear();
        self.last_edge = Some(first_good);
        self.last_interval = 0.0;
        self.after_gap = true;
    }

    pub fn teeth(&self) -> &Teeth {
        &self.teeth
    }

    pub fn is_tracking(&self) -> bool {
        self.track.is_some()
    }

    /// Whether teeth come, recognised or not.
    pub fn is_turning(&self) -> bool {
        self.edges >= 3
    }

    /// How often the pattern was found anew; angles of different counts do not compare.
    pub fn adoptions(&self) -> u64 {
        self.adoptions
    }

    /// Why the angle is not known.
    pub fn why(&self) -> Why {
        if self.after_gap {
            Why::StreamGap
        } else if self.is_turning() {
            Why::NoSync
        } else {
            Why::EngineStopped
        }
    }

    pub fn losses(&self) -> u64 {
        self.losses
    }

    pub fn revolutions(&self) -> u64 {
        self.revolutions
    }

    pub fn drain_revolutions(&mut self) -> impl Iterator<Item = Revolution> + '_ {
        self.waiting.drain(..)
    }

    /// Angle at a time, up to the next tooth that is due.
    pub fn angle_at(&self, at: f64) -> Option<f64> {
        self.teeth.angle_at(at).or_else(|| {
            let track = self.track.as_ref()?;
            let last = self.teeth.last()?;
            let ahead = (at - last.at) / track.pace[0];
            (0.0..=self.wheel.pitch(track.tooth).0 * 1.25)
                .contains(&ahead)
                .then_some(last.angle + ahead)
        })
    }

    /// Whether the last tooth is so recent that the next is not overdue.
    pub fn is_fresh(&self, now: f64) -> bool {
        let (Some(track), Some(last)) = (&self.track, self.teeth.last()) else {
            return false;
        };
        // An edge is known only after the signal has passed on; a twentieth of a second hides that.
        now - last.at < (3.0 * track.pace[0] * self.wheel.widest().0).max(0.05 * self.rate.0)
    }

    /// Time within which the next tooth must come, in samples.
    pub fn patience(&self) -> f64 {
        let gap = match &self.track {
            Some(track) => track.pace[0] * self.wheel.widest().0,
            // Unrecognised, the last interval may have been the gap already.
            None => self.last_interval,
        };
        (STOPPED_AFTER_SECONDS * self.rate.0).max(STOPPED_AFTER_GAPS * gap)
    }

    fn is_over(&self, at: f64) -> bool {
        // A single long interval before the stop must not stretch the time-out without end.
        let longest = 10.0 * STOPPED_AFTER_SECONDS * self.rate.0;
        self.last_edge
            .is_some_and(|last| at - last > self.patience().min(longest))
    }

    fn stop(&mut self) {
        self.track = None;
        self.search.reset();
        self.last_edge = None;
        self.last_interval = 0.0;
        self.edges = 0;
        self.after_gap = false;
    }

    fn lose(&mut self) {
        if let Some(track) = self.track.take() {
            self.teeth.retract(track.vouched + 1e-3);
            self.losses += 1;
        }
    }

    fn adopt(&mut self, edges: &[f64]) {
        let n = self.wheel.teeth();
        self.teeth.clear();
        let mut turn = -self.gap_to_tdc;
        for (i, &at) in edges.iter().enumerate() {
            if i == n {
                turn += 360.0;
            }
            let angle = turn + self.wheel.angle(i % n).0;
            self.teeth.push(Tooth { at, angle });
        }
        let pace = (edges[n + 1] - edges[n]) / self.wheel.pitch(0).0;
        self.track = Some(Track {
            tooth: 1,
            pace: [
                pace,
                (edges[n] - edges[n - 1]) / self.wheel.widest().0,
                pace,
            ],
            rejected: 0,
            missed: false,
            start: Some(edges[n]),
            unverified: None,
            vouched: turn + self.wheel.angle(1).0,
        });
        self.adoptions += 1;
        self.after_gap = false;
        self.complete(edges[0], edges[n]);
    }

    fn complete(&mut self, start: f64, end: f64) {
        self.revolutions += 1;
        if self.waiting.len() == MOST_WAITING {
            let _ = self.waiting.pop_front();
        }
        self.waiting.push_back(Revolution {
            start: SampleTime(start),
            end: SampleTime(end),
            speed: Rpm(60.0 * self.rate.0 / (end - start)),
        });
    }

    fn follow(&mut self, at: f64) -> Option<Outcome> {
        let track = self.track.as_mut()?;
        let last = self.teeth.last()?;
        let pitch = self.wheel.pitch(track.tooth).0;
        let in_gap = track.tooth + 1 == self.wheel.teeth();
        let expected = track.expected_pace();
        let ratio = (at - last.at) / pitch / expected;
        let (early, late) = if in_gap {
            (EARLY_IN_GAP, LATE_IN_GAP)
        } else {
            (EARLY, LATE)
        };

        if ratio < early {
            track.rejected += 1;
            return Some(if track.rejected >= MOST_REJECTED {
                Outcome::Lost
            } else {
                Outcome::Rejected
            });
        }
        let mut step = pitch;
        let mut tooth = if in_gap { 0 } else { track.tooth + 1 };
        if ratio > late {
            // One tooth may be missing in a revolution, as long as the gap then is where it must be.
            // Before the gap, a gap that comes a tooth early must not pass for that.
            let [least, most] = if tooth + 1 == self.wheel.teeth() {
                MISSED_BEFORE_GAP
            } else {
                MISSED
            };
            step += self.wheel.pitch(tooth).0;
            let ratio = (at - last.at) / step / expected;
            if track.missed || in_gap || !(least..=most).contains(&ratio) {
                return Some(Outcome::Lost);
            }
            track.missed = true;
            tooth = if tooth + 1 == self.wheel.teeth() {
                0
            } else {
                tooth + 1
            };
        }
        let pace = (at - last.at) / step;
        let after_gap = track.tooth == 0;
        if after_gap {
            let fit = 2.0 * track.pace[0] / (track.pace[1] + pace);
            if !(GAP_FIT[0]..=GAP_FIT[1]).contains(&fit) {
                return Some(Outcome::Lost);
            }
        }
        track.pace = [pace, track.pace[0], track.pace[1]];
        track.tooth = tooth;
        track.rejected = 0;
        let angle = last.angle + step;
        self.teeth.push(Tooth { at, angle });
        if tooth == 0 {
            track.unverified = track.start.replace(at);
            track.missed = false;
        }
        if after_gap {
            track.vouched = angle;
            if let (Some(start), Some(end)) = (track.unverified.take(), track.start) {
                self.complete(start, end);
            }
        }
        Some(Outcome::Tooth)
    }
}

impl Track {
    /// The last pace, unless it is out of line with the two before it. Across the gap the pace may
    /// truly change by half, so there it is believed.
    fn expected_pace(&self) -> f64 {
        let [a, b, c] = self.pace;
        let median = a.max(b).min(a.min(b).max(c));
        if self.tooth == 0 || (0.6..=1.67).contains(&(a / median)) {
            a
        } else {
            median
        }
    }
}
