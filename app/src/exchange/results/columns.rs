//! The columns of a table of engine cycles, which follow from the engine sheet.

use super::described;
use crate::exchange::table::{Column, Kind};
use crate::setup::Setup;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::engine::{CamSheet, EngineSheet};
use serde::Serialize;

/// All of them, in the order of [`super::row`].
pub fn of(sheet: &EngineSheet) -> Vec<Column> {
    let mut columns = vec![
        Column::new("stream", Kind::Whole),
        Column::new("cycle", Kind::Whole),
        Column::new("begin_s", Kind::Number),
        Column::new("end_s", Kind::Number),
        Column::new("begins_at_firing_tdc_1", Kind::Flag),
        Column::new("speed_rpm", Kind::Number),
        Column::new("supply_v", Kind::Number),
        Column::new("supply_reason", Kind::Words),
    ];
    for cam in &sheet.cams {
        let id = word(cam);
        let mut add = |what: &str, kind| columns.push(Column::new(format!("{id}_{what}"), kind));
        add("phase_deg", Kind::Number);
        add("edges", Kind::Whole);
        for edge in 1..=edges(cam) {
            add(&format!("edge_{edge}_phase_deg"), Kind::Number);
        }
        add("phase_reason", Kind::Words);
        add("duty_pct", Kind::Number);
        add("frequency_hz", Kind::Number);
        add("periods", Kind::Whole);
        add("duty_reason", Kind::Words);
        add("low_v", Kind::Number);
        add("low_reason", Kind::Words);
        add("current_a", Kind::Number);
        add("current_reason", Kind::Words);
        add("agreement", Kind::Words);
    }
    for cylinder in 1..=sheet.cylinders {
        let name = format!("cylinder_{cylinder}_contribution_pct");
        columns.push(Column::new(name, Kind::Number));
        let name = format!("cylinder_{cylinder}_error_pct");
        columns.push(Column::new(name, Kind::Number));
    }
    columns.push(Column::new("contribution_cycles", Kind::Whole));
    columns.push(Column::new("contribution_reason", Kind::Words));
    columns
}

/// Edges in a cycle.
pub fn edges(cam: &CamSheet) -> usize {
    2 * cam.windows.len()
}

fn word(cam: &CamSheet) -> String {
    cam.cam.to_string().replace('-', "_")
}

#[derive(Serialize)]
struct About<'a> {
    form: u32,
    recording: String,
    started_ns: u64,
    software: &'a str,
    engine: &'a str,
    firing_order: &'a [u8],
    cams: Vec<Cam>,
}

#[derive(Serialize)]
struct Cam {
    cam: String,
    /// Reference angles of edge 1, 2, ... at rest, crank degrees after firing TDC of cylinder 1.
    edges_deg: Vec<f64>,
}

/// What holds for the whole table, as JSON.
pub fn about(recording: &Recording, setup: &Setup) -> String {
    let (recording, started_ns, software) = described(recording);
    let about = About {
        form: 1,
        recording,
        started_ns,
        software,
        engine: &setup.sheet.name,
        firing_order: &setup.sheet.firing_order,
        cams: setup
            .sheet
            .cams
            .iter()
            .map(|cam| Cam {
                cam: cam.cam.to_string(),
                edges_deg: cam.windows.iter().flatten().copied().collect(),
            })
            .collect(),
    };
    // Only maps with odd keys cannot be written, and there are none.
    serde_json::to_string(&about).unwrap_or_default()
}
