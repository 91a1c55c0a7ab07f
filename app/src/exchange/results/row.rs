//! One engine cycle as a row.

use super::columns::edges;
use super::gatherer::Cycle;
use crate::exchange::table::Cell;
use keyway_analysis::duty::Period;
use keyway_analysis::engine::{CamSheet, EngineSheet};
use keyway_analysis::lead::CamId;
use keyway_analysis::reading::Reading;
use keyway_analysis::rotation::PhaseSample;
use keyway_analysis::series::{CamLook, Look};
use keyway_analysis::snapshot::HistoryPoint;
use keyway_analysis::units::Hertz;

/// Readings are means over this many seconds.
const WINDOW: f64 = 0.2;

/// A cycle with everything that was measured about it.
pub(super) struct Stretch<'a> {
    pub stream: usize,
    pub number: u64,
    /// Seconds since the start of the recording.
    pub begin: f64,
    pub end: f64,
    pub cycle: Cycle,
    pub rate: Hertz,
    pub sheet: &'a EngineSheet,
    /// In the cycle.
    pub phases: Vec<&'a PhaseSample>,
    pub periods: Vec<&'a (CamId, Period)>,
    /// Around the cycle.
    pub looks: &'a [Look],
    pub points: &'a [HistoryPoint],
}

/// The cells, in the order of [`super::columns::of`].
pub(super) fn row(stretch: &Stretch<'_>) -> Vec<Cell> {
    let cycle = stretch.cycle;
    let samples = cycle.end.0 - cycle.begin.0;
    let middle = cycle.begin.0 + samples / 2.0;
    // The look whose window lies about the middle of the cycle.
    let look = nearest(stretch.looks, middle + WINDOW / 2.0 * stretch.rate.0, |l| {
        l.at.0
    });
    let point = nearest(stretch.points, middle, |p| p.at.0);
    let mut row = vec![
        Cell::from(stretch.stream),
        Cell::from(stretch.number),
        Cell::from(stretch.begin),
        Cell::from(stretch.end),
        Cell::from(cycle.is_known),
        // Two revolutions.
        Cell::from(120.0 * stretch.rate.0 / samples),
    ];
    row.extend(reading(look.map(|l| &l.supply), |v| v.0));
    for (k, cam) in stretch.sheet.cams.iter().enumerate() {
        let look = look.and_then(|l| l.cams.get(k));
        phase(stretch, k, cam, look, &mut row);
        duty(stretch, cam.cam, look, &mut row);
        row.extend(reading(look.map(|l| &l.command.low), |v| v.0));
        row.extend(reading(look.map(|l| &l.command.current), |v| v.0));
        let state = point.and_then(|p| p.cams.get(k)).map(|c| c.state.words());
        row.push(Cell::from(state));
    }
    contribution(stretch, samples, &mut row);
    row
}

/// Mean and single edges.
fn phase(
    stretch: &Stretch<'_>,
    k: usize,
    cam: &CamSheet,
    look: Option<&CamLook>,
    row: &mut Vec<Cell>,
) {
    let mut seen: Vec<Option<f64>> = vec![None; edges(cam)];
    for sample in stretch.phases.iter().filter(|p| p.cam == k) {
        if let Some(place) = seen.get_mut(sample.edge) {
            *place = Some(sample.phase.0);
        }
    }
    let known: Vec<f64> = seen.iter().flatten().copied().collect();
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    // A number that is not one is not known.
    row.push(Cell::from(mean));
    row.push(Cell::from(known.len()));
    row.extend(seen.into_iter().map(Cell::from));
    row.push(if known.is_empty() {
        let why = look.and_then(|l| why(&l.phase));
        Cell::from(why.unwrap_or_else(|| "no edge in this cycle".to_owned()))
    } else {
        Cell::Null
    });
}

/// Over the periods that end in the cycle.
fn duty(stretch: &Stretch<'_>, cam: CamId, look: Option<&CamLook>, row: &mut Vec<Cell>) {
    let (mut low, mut length, mut count) = (0.0, 0.0, 0usize);
    for (_, period) in stretch.periods.iter().filter(|(id, _)| *id == cam) {
        low += period.low;
        length += period.length;
        count += 1;
    }
    row.push(Cell::from(100.0 * low / length));
    row.push(Cell::from(count as f64 * stretch.rate.0 / length));
    row.push(Cell::from(count));
    row.push(if count == 0 {
        let why = look.and_then(|l| why(&l.command.duty));
        Cell::from(why.unwrap_or_else(|| "no period ends in this cycle".to_owned()))
    } else {
        Cell::Null
    });
}

/// The comparison of the cylinders that ends with this cycle.
fn contribution(stretch: &Stretch<'_>, samples: f64, row: &mut Vec<Cell>) {
    let end = stretch.cycle.end.0;
    let after = stretch.looks.partition_point(|l| l.at.0 < end);
    // A look comes 20 times a second; a comparison is replaced by the next cycle's.
    let balance = stretch.looks[after..]
        .iter()
        .take_while(|l| l.at.0 < end + stretch.rate.0)
        .find_map(|l| {
            let balance = l.cylinders.running.as_ref().ok()?;
            ((balance.at.0 - end).abs() < samples / 4.0).then_some(balance)
        });
    let share = |cylinder: u8| {
        let shares = &balance?.cylinders;
        shares.iter().find(|s| s.cylinder == Some(cylinder))
    };
    let mut known = false;
    for cylinder in 1..=stretch.sheet.cylinders {
        let share = share(cylinder);
        known |= share.is_some();
        row.push(Cell::from(share.map(|s| s.value.0)));
        row.push(Cell::from(share.map(|s| s.error.0)));
    }
    row.push(Cell::from(balance.filter(|_| known).map(|b| b.cycles)));
    row.push(if known {
        Cell::Null
    } else if balance.is_some() {
        Cell::from("the cam has not told which revolution of the cycle is which")
    } else {
        let view = stretch.looks.get(after).or_else(|| stretch.looks.last());
        let why = view.and_then(|l| l.cylinders.running.as_ref().err());
        Cell::from(why.map_or_else(
            || "no comparison ended with this cycle".to_owned(),
            ToString::to_string,
        ))
    });
}

/// A number and why there is none.
fn reading<T: Copy>(reading: Option<&Reading<T>>, number: impl Fn(T) -> f64) -> [Cell; 2] {
    match reading {
        None => [Cell::Null, Cell::from("not looked at")],
        Some(reading) => [
            Cell::from(reading.valid().map(number)),
            Cell::from(why(reading)),
        ],
    }
}

/// Why a reading is no number to rely upon.
fn why<T>(reading: &Reading<T>) -> Option<String> {
    match reading {
        Reading::Valid(_) => None,
        Reading::Stale(_, age) => Some(format!("{:.1} s old", age.0)),
        Reading::Suspect(_, why) | Reading::Missing(why) => Some(why.to_string()),
    }
}

/// The entry nearest to an instant in a list in order.
fn nearest<T>(list: &[T], at: f64, of: impl Fn(&T) -> f64) -> Option<&T> {
    let after = list.partition_point(|x| of(x) < at);
    let before = after.checked_sub(1).and_then(|i| list.get(i));
    match (before, list.get(after)) {
        (Some(a), Some(b)) if at - of(a) <= of(b) - at => Some(a),
        (_, Some(b)) => Some(b),
        (a, None) => a,
    }
}
