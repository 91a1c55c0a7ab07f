//! The rolling history behind the agreement strip, and the list of events.

use crate::snapshot::{AgreementState, Event, HistoryPoint};
use crate::units::{Hertz, SampleTime};
use std::collections::VecDeque;
use std::sync::Arc;

/// Points kept: 60 s at 20 a second.
const POINTS: usize = 1200;
/// Events kept. A lead that chatters for hours must not eat memory; the oldest go first.
const EVENTS: usize = 2000;

/// History and events.
#[derive(Debug, Clone, Default)]
pub struct History {
    points: VecDeque<HistoryPoint>,
    events: Vec<Event>,
    /// The events as last given out; rebuilt only when one is added.
    shared: Option<Arc<[Event]>>,
}

impl History {
    /// Appends a point.
    pub fn record(&mut self, point: HistoryPoint) {
        if self.points.len() >= POINTS {
            let _ = self.points.pop_front();
        }
        self.points.push_back(point);
    }

    /// Writes an onset found later back into the points it covers.
    pub fn write_back(&mut self, cam: usize, since: SampleTime, state: AgreementState) {
        for point in self.points.iter_mut().rev() {
            if point.at < since {
                break;
            }
            if let Some(cam) = point.cams.get_mut(cam) {
                cam.state = state;
            }
        }
    }

    /// Appends an event.
    pub fn note(&mut self, event: Event) {
        if self.events.len() >= EVENTS {
            let _ = self.events.remove(0);
        }
        self.events.push(event);
        self.shared = Some(Arc::from(self.events.as_slice()));
    }

    /// The points, oldest first.
    pub fn points(&self) -> Arc<[HistoryPoint]> {
        self.points.iter().cloned().collect()
    }

    /// The events, oldest first.
    pub fn events(&self) -> Arc<[Event]> {
        self.shared.clone().unwrap_or_else(|| Arc::from([]))
    }
}

/// Whether slice number `slice` of `per_second` a second closes one of the points, `every` slices apart.
pub fn closes(slice: u64, every: u64) -> bool {
    slice.is_multiple_of(every)
}

/// Middle of the interval of `seconds` that ends at `end`.
pub fn middle(end: SampleTime, seconds: f64, rate: Hertz) -> SampleTime {
    SampleTime(end.0 - 0.5 * seconds * rate.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::CamPoint;

    #[test]
    fn an_onset_is_written_back_and_the_ring_is_bounded() {
        let mut h = History::default();
        for i in 0..1500 {
            h.record(HistoryPoint {
                at: SampleTime(f64::from(i)),
                speed: None,
                cams: vec![CamPoint {
                    duty: None,
                    phase: None,
                    due: None,
                    state: AgreementState::Following,
                }],
            });
        }
        h.write_back(0, SampleTime(1490.0), AgreementState::NotFollowing);
        let points = h.points();
        assert_eq!(points.len(), 1200);
        let flagged = points
            .iter()
            .filter(|p| p.cams[0].state == AgreementState::NotFollowing)
            .count();
        assert_eq!(flagged, 10);
    }
}
