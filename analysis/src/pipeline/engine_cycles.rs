//! Complete engine cycles one by one, for whoever cuts a recording into them.

use super::Pipeline;
use crate::rotation::Rotation;
use crate::rotation::whole_cycle::CycleKey;
use crate::series::EngineCycle;

/// Finest division: a twentieth of a degree, less than the interpolation between teeth is good for.
const MOST_PARTS: u16 = 14_400;

/// Takes every complete cycle once, at the end of the slice in which its last tooth was seen.
#[derive(Debug, Clone)]
pub(super) struct EngineCycles {
    parts: u16,
    last: Option<CycleKey>,
    waiting: Vec<EngineCycle>,
}

impl EngineCycles {
    pub(super) fn new(parts: u16) -> Self {
        Self {
            parts: parts.clamp(1, MOST_PARTS),
            last: None,
            waiting: Vec::new(),
        }
    }

    pub(super) fn observe(&mut self, rotation: &Rotation) {
        for cycle in rotation.whole_cycles(self.parts, self.last) {
            self.last = Some(cycle.key);
            // On a wheel of like parts it is not even known where a revolution begins.
            if !cycle.key.is_known && rotation.crank_step().0 < 360.0 {
                continue;
            }
            let mut times = cycle.times;
            // One instant lies before the begin and one after the end.
            let _before = times.remove(0);
            let _after = times.pop();
            self.waiting.push(EngineCycle {
                count: cycle.key.count(),
                is_known: cycle.key.is_known,
                times,
            });
        }
    }
}

impl Pipeline {
    /// Keeps every complete engine cycle from now on, cut into `parts` parts of equal crank angle (1 to 14 400;
    /// anything outside is brought to its end), for [`Self::drain_cycles`]. Off at first: it grows until drained,
    /// by eight bytes per part.
    pub fn collect_cycles(&mut self, parts: u16) {
        self.cycles = Some(EngineCycles::new(parts));
    }

    /// The cycles completed since the last call, in the order in which they became known; none unless
    /// [`Self::collect_cycles`] was called. What is known of the cycle can come later than the teeth: up to six
    /// cycles are then given once more, and of two that overlap the later given is the better.
    pub fn drain_cycles(&mut self) -> Vec<EngineCycle> {
        self.cycles
            .as_mut()
            .map(|cycles| std::mem::take(&mut cycles.waiting))
            .unwrap_or_default()
    }
}
