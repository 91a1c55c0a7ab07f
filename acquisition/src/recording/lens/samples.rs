//! What is seen of a recording, from its samples alone: slow, and what the fast way is tested against.

use super::{Absence, InputSight, Missing, Shape, Sight};
use crate::recording::cursor::Item;
use crate::recording::error::ReadError;
use crate::recording::reader::Recording;
use std::collections::BTreeMap;

/// The same as [`super::Lens::look`] from the samples alone. It reads all of them up to the end of the
/// span, and keeps those in the span in memory.
pub fn from_samples(
    recording: &Recording,
    from: f64,
    to: f64,
    columns: usize,
) -> Result<Sight, ReadError> {
    let (from, to) = (from.max(0.0), to.max(from.max(0.0)));
    let columns = columns.max(1);
    let mut missing = Vec::new();
    let mut seen: BTreeMap<(usize, String), Vec<(f64, f32)>> = BTreeMap::new();
    // Generation, end of its samples so far as index and as time.
    let mut before: Option<(u64, u64, f64)> = None;
    let mut damaged: Option<(f64, f64)> = None;
    for entry in recording.entries()? {
        let entry = match entry {
            Ok(entry) => entry,
            Err(ReadError::Damaged {
                from_seconds,
                to_seconds,
                ..
            }) => {
                let end = before.take().map(|(_, _, end)| end);
                let begin = damaged.map_or(end.unwrap_or(from_seconds), |(begin, _)| begin);
                damaged = Some((begin, to_seconds));
                continue;
            }
            Err(e) => return Err(e),
        };
        let begin = entry.at.as_secs_f64();
        let Item::Block(block) = entry.item else {
            continue;
        };
        let Some(stream) = recording.stream(block.generation) else {
            continue;
        };
        let gap = match (damaged.take(), before) {
            (Some((lost_from, _)), _) => Some((lost_from, Absence::Damaged)),
            (None, Some((generation, _, end))) if generation != block.generation => {
                Some((end, Absence::NoStream))
            }
            (None, Some((_, index, end))) if block.first_index > index => {
                Some((end, Absence::Lost(block.first_index - index)))
            }
            (None, _) => None,
        };
        missing.extend(gap.map(|(from, why)| Missing {
            from,
            to: begin,
            why,
        }));
        if begin >= to {
            break;
        }
        let end = begin + block.len() as f64 / stream.rate_hz;
        before = Some((block.generation, block.end_index(), end));
        if end <= from {
            continue;
        }
        for (&input, samples) in stream.enabled.iter().zip(&block.channels) {
            let Some(channel) = stream.device.channels.get(input) else {
                continue;
            };
            let list = seen.entry((input, channel.unit.clone())).or_default();
            for (i, &raw) in samples.iter().enumerate() {
                let at = begin + i as f64 / stream.rate_hz;
                if (from..to).contains(&at) {
                    let value = f64::from(raw).mul_add(channel.scale, channel.offset);
                    #[allow(clippy::cast_possible_truncation, reason = "a value that is drawn")]
                    list.push((at, value as f32));
                }
            }
        }
    }
    missing.extend(damaged.map(|(from, to)| Missing {
        from,
        to,
        why: Absence::Damaged,
    }));
    missing.retain(|m| m.from < to && m.to > from);
    if missing.len() > 2 * columns {
        missing = together(&missing, (to - from) / columns as f64);
    }
    let most = seen.values().map(Vec::len).max().unwrap_or(0);
    let inputs = seen
        .into_iter()
        .map(|((input, unit), samples)| InputSight {
            input,
            unit,
            shape: if most <= 2 * columns {
                Shape::Samples(samples)
            } else {
                Shape::Columns(reduced(&samples, from, to, columns))
            },
        })
        .collect();
    Ok(Sight {
        from,
        to,
        inputs,
        missing,
    })
}

/// Losses closer than a column as one.
fn together(missing: &[Missing], column: f64) -> Vec<Missing> {
    let mut told: Vec<Missing> = Vec::new();
    for &next in missing {
        match (told.last_mut(), next.why) {
            (
                Some(Missing {
                    to,
                    why: Absence::Lost(sum),
                    ..
                }),
                Absence::Lost(lost),
            ) if next.from - *to < column => {
                *sum += lost;
                *to = next.to;
            }
            _ => told.push(next),
        }
    }
    told
}

fn reduced(samples: &[(f64, f32)], from: f64, to: f64, columns: usize) -> Vec<Option<[f32; 2]>> {
    let mut reduced: Vec<Option<[f32; 2]>> = vec![None; columns];
    for &(at, value) in samples {
        let share = (at - from) / (to - from);
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a share of the columns, which is not negative"
        )]
        let column = ((share * columns as f64) as usize).min(columns - 1);
        let [low, high] = reduced[column].get_or_insert([value, value]);
        *low = low.min(value);
        *high = high.max(value);
    }
    reduced
}
