//! What the analysis measured over a whole recording, 20 points a second, with its events and with
//! the stretches of which there are no samples. Times are seconds since the start of the recording.

pub mod builder;
pub mod side_file;

use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::AgreementState;
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// Seconds from one point to the next within a stream.
pub const INTERVAL: f64 = 0.05;

/// The course of a recording. An hour has 72,000 points, about 5 MB with two cams.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Course {
    /// Up to where it is measured.
    pub measured: f64,
    /// Whether that is the end.
    pub is_complete: bool,
    /// Middle of each point's interval, rising.
    pub at: Vec<f64>,
    /// Engine speed in rpm, where it is known.
    pub speed: Vec<Option<f32>>,
    /// Supply voltage, where it is known.
    pub supply: Vec<Option<f32>>,
    /// One per cam of the engine sheet, in its order.
    pub cams: Vec<CamCourse>,
    /// What happened, in the order of the onsets.
    pub events: Vec<Event>,
    /// Stretches without samples, in order.
    pub absent: Vec<Absent>,
}

/// One cam; as many entries in each list as the course has points.
#[derive(Debug, Clone, PartialEq)]
pub struct CamCourse {
    /// Which.
    pub id: CamId,
    /// Duty of the command in percent, where it is known.
    pub duty: Vec<Option<f32>>,
    /// Phase in crank degrees, advance positive, where it is known.
    pub phase: Vec<Option<f32>>,
    /// Where the phase was due, crank degrees from and to.
    pub due: Vec<Option<[f32; 2]>>,
    /// Whether command and position agree.
    pub state: Vec<AgreementState>,
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Onset, seconds since the start of the recording.
    pub at: f64,
    /// The cam it concerns.
    pub cam: Option<CamId>,
    /// Whether it is the begin of a disagreement between command and position.
    pub is_disagreement: bool,
    /// In words.
    pub text: String,
}

/// A stretch without samples.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Absent {
    /// Begin.
    pub from: f64,
    /// End.
    pub to: f64,
    /// Why.
    pub why: Why,
}

/// Why there are no samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// Lost on the way from the device: so many per input.
    Lost(u64),
    /// No stream: the device was away.
    NoStream,
    /// They are in the file but cannot be read.
    Damaged,
    /// They are in the file, and nobody has read them yet.
    NotRead,
}

impl Why {
    /// In words.
    pub fn words(self) -> String {
        match self {
            Self::Lost(samples) => {
                format!("{} samples lost", crate::figure::plain(samples as f64, 0))
            }
            Self::NoStream => "no stream".to_owned(),
            Self::Damaged => "damaged in the file".to_owned(),
            Self::NotRead => "not read yet".to_owned(),
        }
    }
}

/// A stretch in which a cam is in one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// Begin.
    pub from: f64,
    /// End.
    pub to: f64,
    /// The state.
    pub state: AgreementState,
}

impl Course {
    /// An empty one with these cams.
    pub fn new(cams: impl Iterator<Item = CamId>) -> Self {
        Self {
            cams: cams
                .map(|id| CamCourse {
                    id,
                    duty: Vec::new(),
                    phase: Vec::new(),
                    due: Vec::new(),
                    state: Vec::new(),
                })
                .collect(),
            ..Self::default()
        }
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.at.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.at.is_empty()
    }

    /// The points in a stretch.
    pub fn within(&self, stretch: &Range<f64>) -> Range<usize> {
        let from = self.at.partition_point(|at| *at < stretch.start);
        let to = self.at.partition_point(|at| *at < stretch.end);
        from..to.max(from)
    }

    /// Whether point `i` follows the one before without a pause: a stretch must not bridge what
    /// nobody measured.
    pub fn follows(&self, i: usize) -> bool {
        i > 0 && self.at[i] - self.at[i - 1] < 1.5 * INTERVAL
    }

    /// Stretches of one state of a cam, in order, reaching half an interval around their points.
    pub fn stays(&self, cam: usize) -> Vec<Stay> {
        let mut stays: Vec<Stay> = Vec::new();
        let Some(cam) = self.cams.get(cam) else {
            return stays;
        };
        for (i, (&at, &state)) in self.at.iter().zip(&cam.state).enumerate() {
            let to = at + INTERVAL / 2.0;
            match stays.last_mut() {
                Some(last) if last.state == state && self.follows(i) => last.to = to,
                _ => stays.push(Stay {
                    from: at - INTERVAL / 2.0,
                    to,
                    state,
                }),
            }
        }
        stays
    }

    /// Forgets the points from index `keep` on.
    fn truncate(&mut self, keep: usize) {
        self.at.truncate(keep);
        self.speed.truncate(keep);
        self.supply.truncate(keep);
        for cam in &mut self.cams {
            cam.duty.truncate(keep);
            cam.phase.truncate(keep);
            cam.due.truncate(keep);
            cam.state.truncate(keep);
        }
    }
}

/// Least and greatest value of a list in each of `columns` equal columns of a stretch; `None` where
/// nothing is known. `at` rises and is as long as `values`.
pub fn reduced(
    at: &[f64],
    values: &[Option<f32>],
    stretch: &Range<f64>,
    columns: usize,
) -> Vec<Option<[f32; 2]>> {
    let mut reduced: Vec<Option<[f32; 2]>> = vec![None; columns];
    let long = stretch.end - stretch.start;
    for (at, value) in at.iter().zip(values) {
        let share = (at - stretch.start) / long;
        let Some(value) = value.filter(|_| (0.0..1.0).contains(&share)) else {
            continue;
        };
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stay_ends_with_its_state_and_does_not_bridge_a_pause() {
        let mut course = Course::new([CamId::INTAKE].into_iter());
        let (good, bad) = (AgreementState::Following, AgreementState::Lagging);
        for (at, state) in [(0.025, good), (0.075, bad), (0.125, bad), (5.025, bad)] {
            course.at.push(at);
            course.cams[0].state.push(state);
        }
        let stays: Vec<_> = (course.stays(0).iter())
            .map(|s| ((s.from * 1000.0).round(), (s.to * 1000.0).round(), s.state))
            .collect();
        assert_eq!(
            stays,
            [(0.0, 50.0, good), (50.0, 150.0, bad), (5000.0, 5050.0, bad)]
        );
        assert_eq!(course.within(&(0.05..1.0)), 1..3);
    }

    #[test]
    fn no_peak_is_lost_between_columns() {
        let at: Vec<f64> = (0..1000).map(|i| f64::from(i) * 0.05 + 0.025).collect();
        let mut values = vec![Some(1.0_f32); 1000];
        values[333] = Some(9.0);
        values[700] = None;
        let columns = reduced(&at, &values, &(0.0..50.0), 10);
        assert_eq!(columns[3], Some([1.0, 9.0]));
        assert_eq!(
            columns[7],
            Some([1.0, 1.0]),
            "one unknown point hides no known one"
        );
        assert_eq!(reduced(&at, &values, &(60.0..70.0), 2), [None, None]);
    }
}
