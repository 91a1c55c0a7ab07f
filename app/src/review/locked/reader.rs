//! The second pass: the samples of the chosen cycles, as means over columns.

use super::thinning::Found;
use super::{ANALYSIS_SHARE, Cycle, Locked, LockedLead, column, unreadable};
use crate::fault::Fault;
use crate::session::analyser::{Analyser, inputs};
use crate::setup::Setup;
use crate::work::Progress;
use keyway_acquisition::block::{SampleBlock, StreamInfo};
use keyway_acquisition::recording::cursor::Blocks;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::calibration::Calibration;
use keyway_analysis::lead::Role;
use std::time::Duration;

/// A way ahead that is rather jumped over than read.
const JUMP: f64 = 1.0;
/// How far before a cycle reading begins after a jump.
const BEFORE: f64 = 0.05;

/// Fills `locked` with the cycles.
pub(super) fn read(
    recording: &Recording,
    setup: &Setup,
    cycles: &[Found],
    locked: &mut Locked,
    progress: &Progress,
) -> Result<(), Fault> {
    let streams: Vec<&StreamInfo> = recording
        .streams()
        .filter(|s| cycles.iter().any(|c| c.generation == s.generation))
        .collect();
    locked.leads = leads(&streams, setup)?;
    let roles: Vec<Role> = locked.leads.iter().map(|l| l.role).collect();
    let mut source = Source {
        blocks: recording.blocks().map_err(|e| unreadable(&e))?,
        current: None,
    };
    let mut torn = 0;
    for (done, cycle) in cycles.iter().enumerate() {
        let share = done as f64 / cycles.len() as f64;
        progress.set(ANALYSIS_SHARE + (1.0 - ANALYSIS_SHARE) * share);
        let Some(stream) = streams.iter().find(|s| s.generation == cycle.generation) else {
            continue;
        };
        let inputs = wired(stream, setup, &roles);
        let Some((first, samples)) = source.samples(cycle, &inputs, progress)? else {
            torn += 1;
            continue;
        };
        let columns = cycle.times.len().saturating_sub(1);
        for (lead, (input, samples)) in locked.leads.iter_mut().zip(inputs.iter().zip(&samples)) {
            let values = match input {
                Some((_, calibration)) => column::means(samples, first, &cycle.times)
                    .into_iter()
                    .map(|raw| single(calibration.value(raw)))
                    .collect(),
                None => vec![f32::NAN; columns],
            };
            lead.cycles.push(values);
        }
        locked.cycles.push(Cycle {
            begin: cycle.begin,
            end: cycle.end,
            is_known: cycle.is_known,
        });
    }
    if torn > 0 {
        let text = format!("The samples of {torn} of the cycles cannot be read.");
        let before = locked.hindrance.take();
        locked.hindrance = Some(before.map_or_else(|| text.clone(), |b| format!("{b} {text}")));
    }
    Ok(())
}

/// A lead for every role that any of the streams carries, in the order of the plan.
fn leads(streams: &[&StreamInfo], setup: &Setup) -> Result<Vec<LockedLead>, Fault> {
    let mut leads = Vec::new();
    let mut analyser = Analyser::new(setup.clone());
    for lead in setup.plan.leads.iter().filter(|l| l.role != Role::Spare) {
        let carrying = (streams.iter()).find(|s| s.enabled.iter().any(|n| n + 1 == lead.input));
        if let Some(stream) = carrying {
            // The analysis knows what a clamp or a transducer measures.
            analyser.begin(stream)?;
            let shown = analyser.snapshot();
            let known = shown.iter().flat_map(|s| s.leads.iter());
            let unit = known
                .filter(|l| l.role == lead.role)
                .map(|l| l.unit.clone())
                .next();
            leads.push(LockedLead {
                role: lead.role,
                unit: unit.unwrap_or_default(),
                cycles: Vec::new(),
            });
        }
    }
    Ok(leads)
}

/// Where each role is in the blocks of a stream, and what its counts mean.
fn wired(stream: &StreamInfo, setup: &Setup, roles: &[Role]) -> Vec<Option<(usize, Calibration)>> {
    let inputs = inputs(stream);
    let wire = |role: &Role| {
        let lead = setup.plan.leads.iter().find(|l| l.role == *role)?;
        let place = inputs.iter().position(|i| i.number == lead.input)?;
        Some((place, Calibration::new(&inputs[place], lead)?))
    };
    roles.iter().map(wire).collect()
}

/// Raw samples of one cycle from the index of the first, per lead.
type Raw = (u64, Vec<Vec<i16>>);

struct Source {
    blocks: Blocks,
    /// The block in which the last cycle ended; the next may begin in it.
    current: Option<SampleBlock>,
}

impl Source {
    /// The samples of a cycle and one more at either end; none when some of them are missing.
    fn samples(
        &mut self,
        cycle: &Found,
        inputs: &[Option<(usize, Calibration)>],
        progress: &Progress,
    ) -> Result<Option<Raw>, Fault> {
        let (Some(begin), Some(end)) = (cycle.times.first(), cycle.times.last()) else {
            return Ok(None);
        };
        let (from, to) = (index(begin.floor()), index(end.ceil()) + 1);
        if cycle.begin - self.blocks.position().as_secs_f64() > JUMP {
            self.current = None;
            let near = Duration::from_secs_f64((cycle.begin - BEFORE).max(0.0));
            // What is damaged on the way to it is not needed.
            let _damaged = self.blocks.seek(near);
        }
        let mut samples = vec![Vec::new(); inputs.len()];
        let mut next = from;
        while next < to {
            progress.check()?;
            let block = match self.current.take() {
                Some(block) => block,
                None => match self.blocks.next() {
                    Some(Ok(block)) => block,
                    Some(Err(_)) => continue,
                    None => return Ok(None),
                },
            };
            let is_before = block.generation < cycle.generation
                || (block.generation == cycle.generation && block.end_index() <= next);
            if is_before {
                continue;
            }
            if block.generation != cycle.generation || block.first_index > next {
                self.current = Some(block);
                return Ok(None);
            }
            let until = block.end_index().min(to);
            let part = place(next - block.first_index)..place(until - block.first_index);
            for (samples, input) in samples.iter_mut().zip(inputs) {
                let channel = input.and_then(|(place, _)| block.channels.get(place));
                let carried = channel.and_then(|c| c.get(part.clone()));
                samples.extend_from_slice(carried.unwrap_or_default());
            }
            next = until;
            if next == to {
                self.current = Some(block);
            }
        }
        Ok(Some((from, samples)))
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a sample index: not negative, far below 2^53"
)]
fn index(x: f64) -> u64 {
    x.max(0.0) as u64
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "an offset into a block in memory"
)]
fn place(x: u64) -> usize {
    x as usize
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a value of 16 bits needs no more digits"
)]
fn single(x: f64) -> f32 {
    x as f32
}
