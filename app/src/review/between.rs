//! What is measured at two cursors and between them: values of the leads, and how far the crank
//! turned. Every sample between them counts; nothing is taken from a picture.

use super::latest::{Asker, Latest};
use crate::fault::Fault;
use crate::session::analyser::Analyser;
use crate::setup::Setup;
use keyway_acquisition::block::SampleBlock;
use keyway_acquisition::recording::error::ReadError;
use keyway_acquisition::recording::reader::Recording;

use keyway_analysis::lead::Role;
use keyway_analysis::units::{CrankAngle, CrankDegrees, Hertz, SampleTime};
use std::time::{Duration, Instant};

/// How far before the first cursor the analysis begins: some turns at the starter, after which
/// the crank pattern is found.
const RUN_UP: f64 = 6.0;
/// How far behind a cursor its angle is asked for: between two teeth it is surer than beyond the last.
const BEHIND: f64 = 0.1;
/// Farthest apart, seconds, that the crank is followed from one cursor to the other.
pub const FARTHEST: f64 = 120.0;
/// Time between two reports while there is much to read.
const REPORT_EVERY: Duration = Duration::from_millis(200);

/// The cursors, seconds since the start of the recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Cursor A.
    pub a: Option<f64>,
    /// Cursor B.
    pub b: Option<f64>,
}

/// What was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Between {
    /// Where.
    pub pair: Pair,
    /// One per lead that is fitted and recorded.
    pub leads: Vec<LeadBetween>,
    /// Share of the samples between the cursors that has been read.
    pub share: f64,
    /// How far the crank turned from A to B.
    pub turned: Turned,
}

/// One lead.
#[derive(Debug, Clone, PartialEq)]
pub struct LeadBetween {
    /// What it is connected to.
    pub role: Role,
    /// Unit at the probe tip.
    pub unit: String,
    /// Nearest sample to A and to B; none where there is no sample.
    pub at: [Option<f64>; 2],
    /// Mean of all samples from A to B; none until all are read, or without any.
    pub mean: Option<f64>,
    /// Least and greatest of them.
    pub ends: Option<[f64; 2]>,
}

/// How far the crank turned.
#[derive(Debug, Clone, PartialEq)]
pub enum Turned {
    /// Being measured.
    Working,
    /// So far from A to B; negative when B lies before A.
    By(CrankDegrees, [Option<CrankAngle>; 2]),
    /// Not known, and why.
    Unknown(&'static str),
}

/// A thread that measures.
pub fn start(recording: &Recording, setup: &Setup) -> Result<Latest<Pair, Between>, Fault> {
    let (recording, setup) = (recording.clone(), setup.clone());
    Latest::start("cursors", move |pair: &Pair, asker| {
        measure(&recording, &setup, *pair, asker);
    })
}

fn measure(recording: &Recording, setup: &Setup, pair: Pair, asker: &Asker<'_, Pair, Between>) {
    let mut between = Between {
        pair,
        leads: fitted(recording, setup),
        share: 0.0,
        turned: Turned::Working,
    };
    for (which, at) in [pair.a, pair.b].into_iter().enumerate() {
        if let Some(at) = at {
            read_at(recording, setup, at, which, &mut between.leads);
        }
    }
    let (Some(a), Some(b)) = (pair.a, pair.b) else {
        between.turned = Turned::Unknown("needs both cursors");
        asker.tell(between);
        return;
    };
    asker.tell(between.clone());
    between.turned = match turned(recording, setup, [a.min(b), a.max(b)], &|| asker.is_gone()) {
        Some(Turned::By(by, angles)) if b < a => Turned::By(-by, [angles[1], angles[0]]),
        Some(turned) => turned,
        None => return,
    };
    asker.tell(between.clone());
    fill(recording, setup, [a.min(b), a.max(b)], &mut between, asker);
}

/// The leads without values.
fn fitted(recording: &Recording, setup: &Setup) -> Vec<LeadBetween> {
    let unit = |input: usize| {
        let mut streams = recording.streams();
        streams.find_map(|s| s.device.channels.get(input - 1).map(|c| c.unit.clone()))
    };
    (setup.plan.leads.iter())
        .filter(|l| l.role != Role::Spare && l.input > 0)
        .filter_map(|lead| {
            Some(LeadBetween {
                role: lead.role,
                unit: lead.role.unit_at_tip(&unit(lead.input)?).to_owned(),
                at: [None; 2],
                mean: None,
                ends: None,
            })
        })
        .collect()
}

/// Per lead of the table its samples in a block, and the line from counts to the probe tip.
fn lines<'a>(
    recording: &Recording,
    setup: &Setup,
    block: &'a SampleBlock,
    leads: &[LeadBetween],
) -> Vec<Option<(&'a [i16], f64, f64)>> {
    let Some(stream) = recording.stream(block.generation) else {
        return vec![None; leads.len()];
    };
    (leads.iter())
        .map(|row| {
            let lead = setup.plan.leads.iter().find(|l| l.role == row.role)?;
            let input = lead.input.checked_sub(1)?;
            let place = stream.enabled.iter().position(|e| *e == input)?;
            let channel = stream.device.channels.get(input)?;
            Some((
                block.channels.get(place)?.as_slice(),
                channel.scale * lead.factor,
                channel.offset * lead.factor,
            ))
        })
        .collect()
}

fn read_at(recording: &Recording, setup: &Setup, at: f64, which: usize, leads: &mut [LeadBetween]) {
    let Ok(mut blocks) = recording.blocks() else {
        return;
    };
    let to = Duration::try_from_secs_f64(at).unwrap_or_default();
    if blocks.seek(to).is_err() {
        return;
    }
    let Some(Ok(block)) = blocks.next() else {
        return;
    };
    let Some(rate) = recording.stream(block.generation).map(|s| s.rate_hz) else {
        return;
    };
    let begin = blocks.position().as_secs_f64() - block.len() as f64 / rate;
    // Half a period beside the block is still nearest to its first sample; further there is none.
    let place = (at - begin) * rate;
    if place < -0.51 {
        return;
    }
    let index = whole(place.round().max(0.0)).min(block.len().saturating_sub(1));
    for (row, line) in lines(recording, setup, &block, leads)
        .into_iter()
        .enumerate()
    {
        if let Some((samples, scale, offset)) = line {
            leads[row].at[which] =
                (samples.get(index)).map(|raw| f64::from(*raw).mul_add(scale, offset));
        }
    }
}

/// Mean and ends of all samples in a stretch.
fn fill(
    recording: &Recording,
    setup: &Setup,
    [from, to]: [f64; 2],
    between: &mut Between,
    asker: &Asker<'_, Pair, Between>,
) {
    let Ok(mut blocks) = recording.blocks() else {
        return;
    };
    if (blocks.seek(Duration::try_from_secs_f64(from).unwrap_or_default())).is_err() {
        return;
    }
    // Count, sum of counts times scale, least, greatest.
    let mut sums = vec![(0_u64, 0.0, f64::INFINITY, f64::NEG_INFINITY); between.leads.len()];
    let mut reported = Instant::now();
    while let Some(block) = blocks.next() {
        if asker.is_gone() {
            return;
        }
        let Ok(block) = block else {
            continue;
        };
        let Some(rate) = recording.stream(block.generation).map(|s| s.rate_hz) else {
            continue;
        };
        let end = blocks.position().as_secs_f64();
        let begin = end - block.len() as f64 / rate;
        if begin > to {
            break;
        }
        let first = whole(((from - begin) * rate).ceil().max(0.0)).min(block.len());
        let last = whole((((to - begin) * rate).floor() + 1.0).max(0.0)).min(block.len());
        for (sum, line) in sums
            .iter_mut()
            .zip(lines(recording, setup, &block, &between.leads))
        {
            let Some((samples, scale, offset)) = line else {
                continue;
            };
            let samples = &samples[first..last.max(first)];
            let total: i64 = samples.iter().map(|v| i64::from(*v)).sum();
            let (Some(low), Some(high)) = (samples.iter().min(), samples.iter().max()) else {
                continue;
            };
            let value = |raw: i16| f64::from(raw).mul_add(scale, offset);
            let (low, high) = (value(*low), value(*high));
            sum.0 += samples.len() as u64;
            sum.1 += (total as f64).mul_add(scale, offset * samples.len() as f64);
            sum.2 = sum.2.min(low.min(high));
            sum.3 = sum.3.max(low.max(high));
        }
        if reported.elapsed() >= REPORT_EVERY {
            reported = Instant::now();
            between.share = ((end - from) / (to - from)).clamp(0.0, 0.999);
            asker.tell(between.clone());
        }
    }
    for (lead, (count, sum, low, high)) in between.leads.iter_mut().zip(sums) {
        if count > 0 {
            lead.mean = Some(sum / count as f64);
            lead.ends = Some([low, high]);
        }
    }
    between.share = 1.0;
    asker.tell(between.clone());
}

/// How far the crank turned in a stretch; none when nobody wants to know any more.
fn turned(
    recording: &Recording,
    setup: &Setup,
    [from, to]: [f64; 2],
    is_gone: &dyn Fn() -> bool,
) -> Option<Turned> {
    if to - from > FARTHEST {
        return Some(Turned::Unknown("cursors more than 2 minutes apart"));
    }
    let Ok(mut blocks) = recording.blocks() else {
        return Some(Turned::Unknown("the recording cannot be read"));
    };
    let begin = Duration::try_from_secs_f64(from - RUN_UP).unwrap_or_default();
    if blocks.seek(begin).is_err() {
        return Some(Turned::Unknown("the recording cannot be read"));
    }
    let mut analyser = Analyser::new(setup.clone());
    let mut walk = Walk {
        wanted: [from, to],
        ..Walk::default()
    };
    while let Some(block) = blocks.next() {
        if is_gone() {
            return None;
        }
        let block = match block {
            Ok(block) => block,
            Err(ReadError::Damaged { to_seconds, .. }) if to_seconds < from => continue,
            Err(_) => {
                return Some(Turned::Unknown(
                    "samples between the cursors cannot be read",
                ));
            }
        };
        let end = blocks.position().as_secs_f64();
        if walk.stream.map(|s| s.0) != Some(block.generation) {
            if walk.angles[0].is_some() {
                return Some(Turned::Unknown("the stream ended between the cursors"));
            }
            let Some(info) = recording.stream(block.generation) else {
                continue;
            };
            if analyser.begin(info).is_err() {
                return Some(Turned::Unknown("the engine sheet does not fit"));
            }
            let start = end - block.len() as f64 / info.rate_hz;
            walk.begin(block.generation, block.first_index, start, info.rate_hz);
        }
        analyser.push(&block);
        if let Some(end) = walk.step(&analyser, end, BEHIND) {
            return Some(end);
        }
    }
    let end = recording.duration().as_secs_f64();
    Some(
        walk.step(&analyser, end + BEHIND, BEHIND)
            .unwrap_or(Turned::Unknown("no samples at a cursor")),
    )
}

/// The way from one cursor to the other.
#[derive(Debug, Default)]
struct Walk {
    wanted: [f64; 2],
    /// Stream, first sample, its time, rate.
    stream: Option<(u64, SampleTime, f64, Hertz)>,
    /// Angles at the cursors: counting on, and in the cycle.
    angles: [Option<(CrankDegrees, Option<CrankAngle>)>; 2],
    /// An instant and its angle, which stays the same for as long as the pattern is followed.
    link: Option<(SampleTime, CrankDegrees)>,
}

impl Walk {
    fn begin(&mut self, generation: u64, first: u64, seconds: f64, rate: f64) {
        let first = SampleTime(first as f64);
        self.stream = Some((generation, first, seconds, Hertz(rate)));
        self.link = None;
    }

    fn at(&self, seconds: f64) -> Option<SampleTime> {
        let (_, first, start, rate) = self.stream?;
        (seconds >= start - 1.0 / rate.0)
            .then_some(SampleTime(first.0 + (seconds - start) * rate.0))
    }

    /// The analysis has come to `now`: the end of the walk, if it is reached or cannot be.
    fn step(&mut self, analyser: &Analyser, now: f64, behind: f64) -> Option<Turned> {
        const LOST: Turned = Turned::Unknown("the crank was not followed from A to B");
        if self.angles[0].is_some()
            && let Some((at, angle)) = self.link
            && !(analyser.crank_angle_at(at)).is_some_and(|a| (a - angle).0.abs() < 5.0)
        {
            return Some(LOST);
        }
        for which in 0..2 {
            let wanted = self.wanted[which];
            if self.angles[which].is_none() && now >= wanted + behind {
                let angle = self
                    .at(wanted)
                    .and_then(|at| Some((analyser.crank_angle_at(at)?, analyser.angle_at(at))));
                let Some(angle) = angle else {
                    return Some(Turned::Unknown(if which == 0 {
                        "crank angle not known at the earlier cursor"
                    } else {
                        "crank angle not known at the later cursor"
                    }));
                };
                self.angles[which] = Some(angle);
            }
        }
        if let [Some((a, cycle_a)), Some((b, cycle_b))] = self.angles {
            return Some(Turned::By(b - a, [cycle_a, cycle_b]));
        }
        // A little behind, where the tooth after it has been seen.
        self.link = self
            .at(now - behind / 2.0)
            .and_then(|at| Some((at, analyser.crank_angle_at(at)?)));
        if self.angles[0].is_some() && self.link.is_none() {
            return Some(LOST);
        }
        None
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a place within a block, not negative"
)]
fn whole(x: f64) -> usize {
    x as usize
}
