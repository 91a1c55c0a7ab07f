//! What the leads looked like: lowest and highest value per column, against time or locked to the crank.

use crate::channel::Channel;
use crate::columns::{self, Column};
use crate::rotation::Rotation;
use crate::snapshot::{Trace, Traces};
use crate::units::{CrankAngle, Hertz, SampleTime, Seconds};

/// Columns beyond this are finer than any screen.
const MOST_COLUMNS: usize = 8192;

/// The last `span` before `end`, or as much of it as is kept.
/// Columns begin at multiples of their width, so that they do not shimmer as time goes on.
pub fn against_time(
    channels: &[Channel],
    end: u64,
    span: Seconds,
    columns: usize,
    rate: Hertz,
) -> Traces {
    let columns = columns.clamp(1, MOST_COLUMNS) as u64;
    let wanted = whole(span.0.max(0.0) * rate.0).max(columns);
    let width = wanted.div_ceil(columns);
    let last = end / width;
    let first = last.saturating_sub(columns);
    let look = |c: &Channel| c.columns.look(&c.ring, c.calibration, width, first, last);
    Traces {
        span: Seconds((width * columns) as f64 / rate.0),
        leads: channels.iter().map(|c| trace(c, look(c))).collect(),
    }
}

/// The last complete cycle, columns of equal crank angle over 720 degrees; `None` without one.
pub fn crank_locked(
    channels: &[Channel],
    rotation: &Rotation,
    columns: usize,
    rate: Hertz,
) -> Option<Traces> {
    let columns = columns.clamp(1, MOST_COLUMNS);
    let starts = rotation.cycle_starts();
    let [.., start, end] = starts.as_slice() else {
        return None;
    };
    let bounds: Option<Vec<u64>> = (0..=columns)
        .map(|k| {
            if k == columns {
                return Some(whole(end.0.ceil()));
            }
            let angle = CrankAngle::wrapped(720.0 * k as f64 / columns as f64);
            let at: SampleTime = rotation.time_at(*start, angle)?;
            Some(whole(at.0.ceil()))
        })
        .collect();
    let bounds = bounds?;
    let look = |c: &Channel| columns::columns(&c.ring, c.calibration, &bounds).collect();
    Some(Traces {
        span: end.since(*start, rate),
        leads: channels.iter().map(|c| trace(c, look(c))).collect(),
    })
}

fn trace(channel: &Channel, columns: Vec<Column>) -> Trace {
    Trace {
        role: channel.role,
        unit: channel.unit.clone(),
        columns,
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a sample index: not negative, far below 2^53"
)]
fn whole(x: f64) -> u64 {
    x as u64
}
