//! What is seen of a recording between two times, in as many columns as a picture is wide: from the
//! whole recording at a glance down to single samples.

use super::cursor::Item;
use super::error::ReadError;
use super::reader::Recording;
use std::collections::BTreeMap;
use std::time::Duration;

/// What is seen between two times. Times are seconds since the start of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// Begin of the first column.
    pub from: f64,
    /// End of the last column.
    pub to: f64,
    /// One per input of the device that is recorded in this stretch, in order.
    pub inputs: Vec<InputSight>,
    /// Stretches without samples, in order.
    pub missing: Vec<Missing>,
}

/// One input.
#[derive(Debug, Clone, PartialEq)]
pub struct InputSight {
    /// Number of the input as the device counts, from 0.
    pub input: usize,
    /// Unit of the values, at the input: the factor of the probe is not in them.
    pub unit: String,
    /// What is seen.
    pub shape: Shape,
}

/// How samples are shown.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Least and greatest value in each column of equal length; `None` where there is no sample.
    Columns(Vec<Option<[f32; 2]>>),
    /// Every sample with its time, where there are no more than two to a column.
    Samples(Vec<(f64, f32)>),
}

/// A stretch without samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Missing {
    /// Begin, seconds since the start of the recording.
    pub from: f64,
    /// End.
    pub to: f64,
    /// Why.
    pub why: Absence,
}

/// Why there are no samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Absence {
    /// Lost on the way from the device: so many per input, which the index tells exactly.
    Lost(u64),
    /// No stream: the device was away, or the computer slept.
    NoStream,
    /// They are in the file but cannot be read.
    Damaged,
}

/// A way to look at a recording.
#[derive(Debug)]
pub struct Lens {
    recording: Recording,
}

impl Lens {
    /// Of this recording.
    pub fn open(recording: &Recording) -> Result<Self, ReadError> {
        Ok(Self {
            recording: recording.clone(),
        })
    }

    /// What lies between `from` and `to`, seconds since the start of the recording, in `columns`
    /// columns. A span that is empty or reaches outside the recording is no error: there is nothing
    /// to see there.
    pub fn look(&mut self, from: f64, to: f64, columns: usize) -> Result<Sight, ReadError> {
        from_samples(&self.recording, from, to, columns)
    }
}

/// The same from the samples alone: slow for long spans, and what the fast way is tested against.
pub fn from_samples(
    recording: &Recording,
    from: f64,
    to: f64,
    columns: usize,
) -> Result<Sight, ReadError> {
    let (from, to) = (from.max(0.0), to.max(from.max(0.0)));
    let columns = columns.max(1);
    let mut sight = Sight {
        from,
        to,
        inputs: Vec::new(),
        missing: Vec::new(),
    };
    let mut seen: BTreeMap<usize, (String, Vec<(f64, f32)>)> = BTreeMap::new();
    let mut entries = recording.entries()?;
    entries.seek(Duration::try_from_secs_f64(from).unwrap_or_default())?;
    // Generation, end of its samples so far as index and as time.
    let mut before: Option<(u64, u64, f64)> = None;
    for entry in entries {
        let entry = match entry {
            Ok(entry) => entry,
            Err(ReadError::Damaged {
                from_seconds,
                to_seconds,
                ..
            }) => {
                sight.missing.push(Missing {
                    from: from_seconds,
                    to: to_seconds,
                    why: Absence::Damaged,
                });
                before = None;
                continue;
            }
            Err(e) => return Err(e),
        };
        let begin = entry.at.as_secs_f64();
        if begin >= to {
            break;
        }
        let Item::Block(block) = entry.item else {
            continue;
        };
        let Some(stream) = recording.stream(block.generation) else {
            continue;
        };
        if let Some((generation, index, end)) = before {
            let why = if generation != block.generation {
                Some(Absence::NoStream)
            } else if block.first_index > index {
                Some(Absence::Lost(block.first_index - index))
            } else {
                None
            };
            if let Some(why) = why {
                sight.missing.push(Missing {
                    from: end,
                    to: begin,
                    why,
                });
            }
        }
        let length = block.len() as f64 / stream.rate_hz;
        before = Some((block.generation, block.end_index(), begin + length));
        for (&input, samples) in stream.enabled.iter().zip(&block.channels) {
            let Some(channel) = stream.device.channels.get(input) else {
                continue;
            };
            let (_, list) = seen
                .entry(input)
                .or_insert_with(|| (channel.unit.clone(), Vec::new()));
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
    for (input, (unit, samples)) in seen {
        let shape = if samples.len() <= 2 * columns {
            Shape::Samples(samples)
        } else {
            Shape::Columns(reduced(&samples, from, to, columns))
        };
        sight.inputs.push(InputSight { input, unit, shape });
    }
    Ok(sight)
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
