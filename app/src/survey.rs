//! A whole recording measured with the same pipeline as live: what `analyse` prints and draws.

use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::{AgreementState, CamPoint, Counts, Event, HistoryPoint, Snapshot};
use serde::Serialize;
use std::collections::BTreeMap;

/// The measurements.
#[derive(Debug, Clone)]
pub struct Survey {
    /// Engine, file.
    pub title: String,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Length.
    pub seconds: f64,
    /// 20 points a second over the whole length.
    pub points: Vec<HistoryPoint>,
    /// Changes of state.
    pub events: Vec<Event>,
    /// Counts.
    pub counts: Counts,
    /// Engine speed in rpm; none if never known.
    pub speed: Option<Spread>,
    /// Per cam of the sheet.
    pub cams: Vec<CamSurvey>,
}

/// One cam over the whole recording.
#[derive(Debug, Clone, Serialize)]
pub struct CamSurvey {
    /// Which.
    pub id: CamId,
    /// Phase in crank degrees, advance positive.
    pub phase: Option<Spread>,
    /// Duty in percent.
    pub duty: Option<Spread>,
    /// Seconds in each agreement state, by its words.
    pub states: BTreeMap<&'static str, f64>,
    /// Whether any of them was a disagreement.
    pub disagreed: bool,
}

/// Mean, standard deviation and ends of the points that were valid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// Points it rests on, 20 a second.
    pub points: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub spread: f64,
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

impl Spread {
    /// Over any number of values; none over none. Two passes, so that no digits cancel.
    pub fn of(values: impl Iterator<Item = f64> + Clone) -> Option<Self> {
        let points = values.clone().count();
        if points == 0 {
            return None;
        }
        let n = points as f64;
        let mean = values.clone().sum::<f64>() / n;
        let square = values.clone().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
        Some(Self {
            points,
            mean,
            spread: square.sqrt(),
            low: values.clone().fold(f64::INFINITY, f64::min),
            high: values.fold(f64::NEG_INFINITY, f64::max),
        })
    }
}

/// Gathers the rolling histories of successive snapshots into one.
#[derive(Debug, Default)]
pub struct Gather {
    points: Vec<HistoryPoint>,
}

impl Gather {
    /// Takes in a snapshot. Points it has again replace the earlier ones, because an onset found
    /// late is written back into them.
    pub fn add(&mut self, snapshot: &Snapshot) {
        if let Some(first) = snapshot.history.first() {
            let keep = self.points.partition_point(|p| p.at.0 < first.at.0);
            self.points.truncate(keep);
            self.points.extend(snapshot.history.iter().cloned());
        }
    }

    /// The survey, with the last snapshot for events and counts.
    pub fn finish(mut self, title: String, rate_hz: f64, last: &Snapshot) -> Survey {
        self.add(last);
        let points = self.points;
        let cams = last
            .cams
            .iter()
            .enumerate()
            .map(|(i, cam)| cam_survey(cam.id, i, &points))
            .collect();
        Survey {
            title,
            rate_hz,
            seconds: last.elapsed.0,
            speed: Spread::of(points.iter().filter_map(|p| p.speed).map(|s| s.0)),
            events: last.events.to_vec(),
            counts: last.counts,
            cams,
            points,
        }
    }
}

fn cam_survey(id: CamId, index: usize, points: &[HistoryPoint]) -> CamSurvey {
    let own = points.iter().filter_map(|p| p.cams.get(index));
    let mut counts: BTreeMap<AgreementState, usize> = BTreeMap::new();
    for CamPoint { state, .. } in own.clone() {
        *counts.entry(*state).or_default() += 1;
    }
    CamSurvey {
        id,
        phase: Spread::of(own.clone().filter_map(|c| c.phase).map(|p| p.0)),
        duty: Spread::of(own.filter_map(|c| c.duty).map(|d| d.0)),
        disagreed: counts.keys().any(|state| state.is_disagreement()),
        states: counts
            .into_iter()
            .map(|(state, n)| (state.words(), n as f64 / 20.0))
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_of_known_values() {
        let s = Spread::of([2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0].into_iter()).unwrap();
        assert!((s.mean - 5.0).abs() < 1e-12 && (s.spread - 2.0).abs() < 1e-12);
        assert!((s.low - 2.0).abs() < 1e-12 && (s.high - 9.0).abs() < 1e-12);
        assert_eq!(Spread::of(std::iter::empty()), None);
    }
}
