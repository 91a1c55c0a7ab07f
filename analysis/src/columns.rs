//! Lowest and highest value per column of a lead's trace, kept from one look to the next: samples do not change, so that
//! only the columns that are new since the last look are made.

use crate::calibration::Calibration;
use crate::ring::SampleRing;
use std::sync::{Mutex, PoisonError};

/// Lowest and highest value at the tip; `None` where nothing is stored.
pub type Column = Option<[f32; 2]>;

#[derive(Debug, Clone, Default)]
struct Kept {
    /// Samples per column, and number of the first column: it begins at that multiple of the width.
    width: u64,
    first: u64,
    columns: Vec<Column>,
}

/// The columns last looked at.
#[derive(Debug, Default)]
pub struct Columns {
    kept: Mutex<Kept>,
}

impl Clone for Columns {
    /// A copy begins with nothing kept: it is only a saving.
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl Columns {
    /// Columns number `first` up to `last` of `width` samples each, all of them complete.
    pub fn look(
        &self,
        ring: &SampleRing,
        calibration: Calibration,
        width: u64,
        first: u64,
        last: u64,
    ) -> Vec<Column> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let known = kept.first + kept.columns.len() as u64;
        let mut from = first;
        if kept.width == width && kept.first <= first && (first..=last).contains(&known) {
            let gone = kept.columns.len() - usize::try_from(known - first).unwrap_or(0);
            let _ = kept.columns.drain(..gone);
            from = known;
        } else {
            kept.columns.clear();
            kept.width = width;
        }
        kept.first = first;
        let bounds: Vec<u64> = (from..=last).map(|k| k * width).collect();
        kept.columns.extend(columns(ring, calibration, &bounds));
        kept.columns.clone()
    }
}

/// Columns from one of the ascending `bounds` to the next.
pub fn columns<'a>(
    ring: &'a SampleRing,
    calibration: Calibration,
    bounds: &'a [u64],
) -> impl Iterator<Item = Column> + 'a {
    let raw = ring.columns(bounds).into_iter().zip(bounds.windows(2));
    raw.map(move |(raw, w)| {
        // At high speed a column can be narrower than a sample: it then shows the sample before.
        let narrow = || ring.columns(&[w[1].saturating_sub(1), w[1]])[0];
        let raw = if w[0] == w[1] { narrow() } else { raw };
        raw.map(|[low, high]| {
            let a = calibration.value(f64::from(low));
            let b = calibration.value(f64::from(high));
            [single(a.min(b)), single(a.max(b))]
        })
    })
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "drawn to a pixel; f32 has seven digits"
)]
fn single(x: f64) -> f32 {
    x as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Input;
    use crate::lead::{Lead, Role};

    #[test]
    fn kept_columns_are_those_made_anew() {
        let input = Input {
            number: 1,
            scale: -0.5,
            offset: 0.0,
            low: -100.0,
            high: 100.0,
            unit: "V".to_owned(),
        };
        let lead = Lead {
            input: 1,
            role: Role::Supply,
            place: String::new(),
            factor: 1.0,
        };
        let line = Calibration::new(&input, &lead).expect("usable");
        let (mut ring, kept) = (SampleRing::new(500), Columns::default());
        let mut end = 0;
        for (step, k) in (0..60_u64).zip(0_i16..) {
            // A gap now and then.
            let first = end + if step % 7 == 3 { 25 } else { 0 };
            let samples: Vec<i16> = (0..40).map(|i| ((i * 31 + k * 17) % 90) - 45).collect();
            ring.push(first, &samples);
            end = first + 40;
            for (width, columns) in [(7, 20), (7, 30), (10, 20)] {
                let last = end / width;
                let from = last.saturating_sub(columns);
                let again = kept.look(&ring, line, width, from, last);
                let anew = Columns::default().look(&ring, line, width, from, last);
                assert_eq!(again, anew, "{step} {width}");
            }
        }
    }
}
