//! Where the analysis puts its newest results and the screen fetches them: latest wins, nobody waits.

use arc_swap::{ArcSwap, ArcSwapOption};
use keyway_acquisition::block::StreamInfo;
use keyway_analysis::snapshot::{Snapshot, Traces};
use keyway_analysis::units::Seconds;
use std::sync::Arc;

/// Which traces the screen wants next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TraceWish {
    /// No traces.
    None,
    /// The last `span` of time in this many columns.
    Time {
        /// Length.
        span: Seconds,
        /// Columns, one per pixel.
        columns: usize,
    },
    /// The last engine cycle, 720 crank degrees, in this many columns.
    CrankLocked {
        /// Columns, one per pixel.
        columns: usize,
    },
}

/// The newest results of one analysis.
#[derive(Debug)]
pub struct Stage {
    snapshot: ArcSwapOption<Snapshot>,
    traces: ArcSwap<Traces>,
    wish: ArcSwap<TraceWish>,
    stream: ArcSwapOption<StreamInfo>,
}

impl Default for Stage {
    fn default() -> Self {
        Self {
            snapshot: ArcSwapOption::empty(),
            traces: ArcSwap::from_pointee(Traces::default()),
            wish: ArcSwap::from_pointee(TraceWish::None),
            stream: ArcSwapOption::empty(),
        }
    }
}

impl Stage {
    /// The newest snapshot; none before the first samples.
    pub fn snapshot(&self) -> Option<Arc<Snapshot>> {
        self.snapshot.load_full()
    }

    /// The newest traces.
    pub fn traces(&self) -> Arc<Traces> {
        self.traces.load_full()
    }

    /// What streams now.
    pub fn stream(&self) -> Option<Arc<StreamInfo>> {
        self.stream.load_full()
    }

    /// What the screen wants.
    pub fn wish(&self) -> TraceWish {
        **self.wish.load()
    }

    /// Says what the screen wants.
    pub fn want(&self, wish: TraceWish) {
        if self.wish() != wish {
            self.wish.store(Arc::new(wish));
        }
    }

    /// Replaces the snapshot.
    pub fn show(&self, snapshot: Snapshot) {
        self.snapshot.store(Some(Arc::new(snapshot)));
    }

    /// Replaces the traces.
    pub fn trace(&self, traces: Traces) {
        self.traces.store(Arc::new(traces));
    }

    /// Says what streams from now on; the old snapshot no longer holds.
    pub fn begin(&self, stream: Arc<StreamInfo>) {
        self.stream.store(Some(stream));
        self.snapshot.store(None);
        self.traces.store(Arc::new(Traces::default()));
    }
}
