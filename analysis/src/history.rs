//! The rolling history behind the agreement strip, and the list of events.

use crate::snapshot::{AgreementState, Event, HistoryPoint};
use crate::units::{Hertz, SampleTime};
use std::collections::VecDeque;
use std::sync::{Arc, OnceLock};

/// Points kept: 60 s at 20 a second.
const POINTS: usize = 1200;
/// Events kept. A lead that chatters for hours must not eat memory: the oldest go first and are counted.
/// 10,000 lines take under 2 MB and are more than anyone reads; a recording can always be analysed in parts.
const EVENTS: usize = 10_000;

/// History and events.
#[derive(Debug, Clone, Default)]
pub struct History {
    points: VecDeque<HistoryPoint>,
    events: VecDeque<Event>,
    dropped: u64,
    /// Both as last given out: made when somebody asks, kept until they change.
    shared_points: OnceLock<Arc<[HistoryPoint]>>,
    shared_events: OnceLock<Arc<[Event]>>,
}

impl History {
    /// Appends a point.
    pub fn record(&mut self, point: HistoryPoint) {
        if self.points.len() >= POINTS {
            let _ = self.points.pop_front();
        }
        self.points.push_back(point);
        let _ = self.shared_points.take();
    }

    /// Writes an onset found later back into the points it covers. What was told as another disagreement meanwhile stays:
    /// a cam that did not follow on its way to being off rest did not follow.
    pub fn write_back(&mut self, cam: usize, since: SampleTime, state: AgreementState) {
        for point in self.points.iter_mut().rev() {
            if point.at < since {
                break;
            }
            // A point that a screen still holds is copied first: what was given out does not change.
            if let Some(cam) = Arc::make_mut(&mut point.cams).get_mut(cam)
                && !(state.is_disagreement() && cam.state.is_disagreement())
            {
                cam.state = state;
            }
        }
        let _ = self.shared_points.take();
    }

    /// Appends an event.
    pub fn note(&mut self, event: Event) {
        if self.events.len() >= EVENTS {
            let _ = self.events.pop_front();
            self.dropped += 1;
        }
        self.events.push_back(event);
        let _ = self.shared_events.take();
    }

    /// The points, oldest first.
    pub fn points(&self) -> Arc<[HistoryPoint]> {
        let shared = &self.shared_points;
        Arc::clone(shared.get_or_init(|| self.points.iter().cloned().collect()))
    }

    /// The events, oldest first.
    pub fn events(&self) -> Arc<[Event]> {
        let shared = &self.shared_events;
        Arc::clone(shared.get_or_init(|| self.events.iter().cloned().collect()))
    }

    /// Events that are no longer among them.
    pub fn dropped(&self) -> u64 {
        self.dropped
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
                supply: None,
                cams: Arc::from([CamPoint {
                    duty: None,
                    phase: None,
                    due: None,
                    state: AgreementState::Following,
                }]),
            });
        }
        let before = h.points();
        assert!(Arc::ptr_eq(&before, &h.points()), "made once");
        h.write_back(0, SampleTime(1490.0), AgreementState::NotFollowing);
        let points = h.points();
        assert_eq!(points.len(), 1200);
        let flagged = |points: &[HistoryPoint]| {
            let bad = |p: &&HistoryPoint| p.cams[0].state == AgreementState::NotFollowing;
            points.iter().filter(bad).count()
        };
        assert_eq!(flagged(&points), 10);
        assert_eq!(flagged(&before), 0, "what was given out does not change");
        h.write_back(0, SampleTime(1485.0), AgreementState::OffRest);
        assert_eq!(flagged(&h.points()), 10, "what was told stays");
        h.write_back(0, SampleTime(1495.0), AgreementState::Following);
        assert_eq!(flagged(&h.points()), 5, "what is withdrawn goes");
    }

    #[test]
    fn of_very_many_events_the_last_are_kept_and_the_others_counted() {
        let mut h = History::default();
        for i in 0..10_003 {
            h.note(Event {
                at: SampleTime(f64::from(i)),
                decided: SampleTime(f64::from(i)),
                cam: None,
                state: None,
                text: String::new(),
            });
        }
        let events = h.events();
        assert_eq!((events.len(), h.dropped()), (10_000, 3));
        assert!((events[0].at.0 - 3.0).abs() < 1e-9);
    }
}
