//! The two banks of one engine in one recording: each cam of the second beside the one of its kind on
//! the first.

use super::side::Side;
use super::{Comparison, says_something};
use crate::fault::Fault;
use crate::screen::live::words;
use keyway_analysis::comparison::{self, Conditions, Measure, Relation};
use keyway_analysis::lead::CamId;
use std::sync::Arc;

/// What the banks have in common: neither wheels nor sensors, nor the inputs and probes.
const RELATION: Relation = Relation {
    same_engine: false,
    same_scope: false,
};

/// Two sides from one recording.
pub fn sides(whole: &Side) -> Result<[Side; 2], Fault> {
    let bank = |bank: u8| Side {
        name: format!("bank {bank}"),
        measures: whole
            .measures
            .iter()
            .filter_map(|m| of_bank(m, bank))
            .collect(),
        ..whole.clone()
    };
    let [one, two] = [bank(1), bank(2)];
    if two.measures.is_empty() {
        return Err(Fault::Compare(Arc::from(format!(
            "{}: the engine sheet in it has cams on one bank only; banks are compared where it names \
             intake-2 or exhaust-2",
            whole.file.display()
        ))));
    }
    Ok([one, two])
}

/// Bank 2 beside bank 1.
pub fn compare(sides: &[Side; 2]) -> Comparison {
    let names = [sides[0].name.as_str(), sides[1].name.as_str()];
    let mut rows = comparison::compare(&sides[0].measures, &sides[1].measures, RELATION, names);
    rows.retain(says_something);
    Comparison {
        other: 1,
        relation: RELATION,
        rows,
    }
}

/// A measure of a cam of this bank, called by the cam's kind alone.
fn of_bank(measure: &Measure, bank: u8) -> Option<Measure> {
    let (cam, key) = measure.key.split_once('.')?;
    let cam: CamId = cam.parse().ok()?;
    let plain = CamId { bank: 1, ..cam };
    let name = measure.name.strip_prefix(&words::cam(cam))?;
    (cam.bank == bank).then(|| Measure {
        key: format!("{plain}.{key}"),
        name: format!("{}{name}", words::cam(plain)),
        conditions: Conditions {
            // Each against its own reference, which is what is compared.
            against: String::new(),
            ..measure.conditions.clone()
        },
        ..measure.clone()
    })
}
