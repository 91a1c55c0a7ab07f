//! What an export says of itself beside the samples, as JSON.

use super::clock::Clock;
use super::layout::Layout;
use super::{Form, Wish};
use crate::recording::reader::Recording;
use serde::Serialize;

/// What a file says of itself beside the samples.
#[derive(Serialize)]
struct Description<'a> {
    /// Number of this description: it changes when a field goes away or changes its meaning.
    form: u32,
    recording: String,
    started_ns: u64,
    software: &'a str,
    values: &'static str,
    streams: Vec<Described<'a>>,
}

#[derive(Serialize)]
struct Described<'a> {
    stream: usize,
    generation: u64,
    rate_hz: f64,
    first_sample: u64,
    first_s: f64,
    leads: Vec<Column<'a>>,
}

#[derive(Serialize)]
struct Column<'a> {
    column: &'a str,
    role: &'a str,
    input: usize,
    unit: &'a str,
    /// Value at the probe's tip = count × scale + offset; the factor is in both.
    scale: f64,
    offset: f64,
    factor: f64,
}

/// The description of an export as JSON, with the streams that are in it.
pub(crate) fn described(
    recording: &Recording,
    layout: &Layout,
    wish: &Wish,
    streams: &[(usize, Clock, u64)],
) -> String {
    let name = recording.path().file_name().unwrap_or_default();
    let description = Description {
        form: 1,
        recording: name.to_string_lossy().into_owned(),
        started_ns: recording.header().started_ns,
        software: &wish.software,
        values: if wish.counts || wish.form == Form::Wav {
            "counts"
        } else {
            "at the tip"
        },
        streams: streams
            .iter()
            .map(|(stream, clock, first)| Described {
                stream: stream + 1,
                generation: layout.streams[*stream].generation,
                rate_hz: clock.rate,
                first_sample: *first,
                first_s: clock.seconds(*first),
                leads: layout
                    .columns
                    .iter()
                    .zip(&layout.streams[*stream].columns)
                    .filter_map(|(column, place)| {
                        let (_, line) = place.as_ref()?;
                        Some(Column {
                            column: &column.name,
                            role: &column.lead.role,
                            input: column.lead.input,
                            unit: &column.unit,
                            scale: line.scale,
                            offset: line.offset,
                            factor: column.lead.factor,
                        })
                    })
                    .collect(),
            })
            .collect(),
    };
    // Only maps with odd keys cannot be written, and there are none.
    serde_json::to_string(&description).unwrap_or_default()
}
