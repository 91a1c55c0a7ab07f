//! What the crank wheel has shown over the session. Times are seconds.

use crate::damage::Flaw;
use crate::engine::{EngineSheet, Sensor};
use crate::snapshot::Sync;
use crate::wheel::Wheel;

/// The crank wheel.
#[derive(Debug, Clone)]
pub(crate) struct WheelLog {
    /// A sensor of two poles on it.
    pub reluctor: bool,
    /// Degrees from tooth to tooth.
    pub pitch: f64,
    /// Teeth found wrong turn after turn, with the first time.
    pub damaged: Vec<(usize, Flaw, f64)>,
    /// Times at which the pattern was lost while the wheel went on turning.
    pub losses: usize,
    pub last_loss: f64,
    /// Seconds with the pattern found.
    pub found: f64,
    /// When the pattern was last found and now is not, although there are teeth.
    gone: Option<f64>,
    locked: bool,
    last: Option<f64>,
}

impl WheelLog {
    pub fn new(engine: &EngineSheet) -> Self {
        let pitch = Wheel::parse(&engine.crank.wheel).map_or(0.0, |w| w.narrowest().0);
        Self {
            reluctor: engine.crank.sensor == Sensor::Vr,
            pitch,
            damaged: Vec::new(),
            losses: 0,
            last_loss: 0.0,
            found: 0.0,
            gone: None,
            locked: false,
            last: None,
        }
    }

    pub fn is_damaged(&self) -> bool {
        !self.damaged.is_empty()
    }

    pub fn look(&mut self, at: f64, sync: Sync, damaged: &[(usize, Flaw)]) {
        let step = self.last.map_or(0.0, |last| (at - last).clamp(0.0, 0.5));
        self.last = Some(at);
        for &(tooth, flaw) in damaged {
            if !self.damaged.iter().any(|d| d.0 == tooth && d.1 == flaw) {
                self.damaged.push((tooth, flaw, at));
            }
        }
        match sync {
            Sync::Cycle | Sync::Revolution => {
                self.found += step;
                // Lost and found again: it went on turning, for one that stops is found anew only after a stop.
                if let Some(gone) = self.gone.take() {
                    self.losses += 1;
                    self.last_loss = gone;
                }
                self.locked = true;
            }
            Sync::Searching if self.locked => {
                let _ = self.gone.get_or_insert(at);
            }
            Sync::Searching => {}
            Sync::Stopped => {
                self.gone = None;
                self.locked = false;
            }
        }
    }
}
