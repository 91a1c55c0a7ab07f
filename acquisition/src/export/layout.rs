//! Which channel of which stream goes into which column, and by which line its counts become values.

use super::error::ExportError;
use super::{Lead, Wish};
use crate::recording::reader::Recording;
use serde::Serialize;

/// The straight line from counts to the value at the probe's tip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct Line {
    pub scale: f64,
    pub offset: f64,
}

impl Line {
    /// The value; written as the analysis writes it, so that both give the same bits.
    pub fn value(self, count: i16) -> f64 {
        f64::from(count) * self.scale + self.offset
    }
}

/// A column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Column {
    /// "cam_intake_v".
    pub name: String,
    pub lead: Lead,
    /// At the probe's tip.
    pub unit: String,
    /// Whether every stream that is exported has it.
    pub always: bool,
}

/// One stream.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StreamLayout {
    pub generation: u64,
    pub rate: f64,
    /// Whether it is exported.
    pub wanted: bool,
    /// Per column the place in a block and the line; none where the stream does not carry the lead.
    pub columns: Vec<Option<(usize, Line)>>,
}

/// All of it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub columns: Vec<Column>,
    pub streams: Vec<StreamLayout>,
}

impl Layout {
    pub fn of(recording: &Recording, wish: &Wish) -> Result<Self, ExportError> {
        let have = recording.streams().count();
        if wish.leads.is_empty() {
            return Err(ExportError::NoLead);
        }
        if let Some(wanted) = wish.stream
            && !(1..=have).contains(&wanted)
        {
            return Err(ExportError::NoStream { wanted, have });
        }
        let mut columns: Vec<Column> = Vec::new();
        for lead in &wish.leads {
            let column = column(recording, wish, lead)?;
            columns.push(column);
        }
        let streams: Vec<StreamLayout> = recording
            .streams()
            .enumerate()
            .map(|(i, stream)| StreamLayout {
                generation: stream.generation,
                rate: stream.rate_hz,
                wanted: is_wanted(wish, i),
                columns: wish
                    .leads
                    .iter()
                    .map(|lead| {
                        let place = stream.enabled.iter().position(|&n| n + 1 == lead.input)?;
                        let channel = stream.device.channels.get(lead.input - 1)?;
                        let line = Line {
                            scale: channel.scale * lead.factor,
                            offset: channel.offset * lead.factor,
                        };
                        Some((place, line))
                    })
                    .collect(),
            })
            .collect();
        for (i, column) in columns.iter_mut().enumerate() {
            let mut wanted = streams.iter().filter(|s| s.wanted);
            column.always = wanted.all(|s| s.columns[i].is_some());
        }
        Ok(Self { columns, streams })
    }

    /// Place of a stream, from 0.
    pub fn stream(&self, generation: u64) -> Option<usize> {
        self.streams.iter().position(|s| s.generation == generation)
    }

    /// Names of the columns.
    pub fn names(&self) -> Vec<String> {
        self.columns.iter().map(|c| c.name.clone()).collect()
    }
}

fn is_wanted(wish: &Wish, stream: usize) -> bool {
    wish.stream.is_none_or(|wanted| wanted == stream + 1)
}

fn column(recording: &Recording, wish: &Wish, lead: &Lead) -> Result<Column, ExportError> {
    let mut unit: Option<&str> = None;
    for (i, stream) in recording.streams().enumerate() {
        let carries = stream.enabled.iter().any(|n| n + 1 == lead.input);
        let channel = lead
            .input
            .checked_sub(1)
            .and_then(|n| stream.device.channels.get(n));
        let (true, true, Some(channel)) = (is_wanted(wish, i), carries, channel) else {
            continue;
        };
        match unit {
            Some(first) if first != channel.unit && !wish.counts => {
                return Err(ExportError::Units {
                    input: lead.input,
                    first: first.to_owned(),
                    other: channel.unit.clone(),
                });
            }
            _ => unit = Some(&channel.unit),
        }
    }
    let at_input = unit.ok_or(ExportError::NotRecorded(lead.input))?;
    let unit = lead.unit.clone().unwrap_or_else(|| at_input.to_owned());
    Ok(Column {
        name: name(lead, if wish.counts { "counts" } else { &unit }),
        lead: lead.clone(),
        unit,
        always: true,
    })
}

/// Small letters, digits and underscores, the unit at the end: a name in any language that reads tables.
fn name(lead: &Lead, unit: &str) -> String {
    let what = if lead.role.is_empty() || lead.role == "spare" {
        format!("input {}", lead.input)
    } else {
        lead.role.clone()
    };
    let mut name = String::new();
    for c in what.chars().chain([' ']).chain(unit.chars()) {
        if c.is_alphanumeric() {
            name.extend(c.to_lowercase());
        } else if !name.ends_with('_') {
            name.push('_');
        }
    }
    name.trim_matches('_').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_hold_in_any_language() {
        let named = |role: &str, unit| {
            let lead = Lead {
                input: 7,
                role: role.to_owned(),
                factor: 1.0,
                unit: None,
            };
            name(&lead, unit)
        };
        assert_eq!(named("cam exhaust-2", "V"), "cam_exhaust_2_v");
        assert_eq!(named("spare", "kPa"), "input_7_kpa");
        assert_eq!(named("", "°C"), "input_7_c");
    }
}
