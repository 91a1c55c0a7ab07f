//! Where the analysis puts its newest results and the screen fetches them: latest wins, nobody waits.

use super::analyser::Analyser;
use crate::fault::Fault;
use crate::screen::live::TraceWish;
use arc_swap::{ArcSwap, ArcSwapOption};
use keyway_acquisition::block::StreamInfo;
use keyway_analysis::snapshot::{Snapshot, Traces};
use std::sync::Arc;
use std::time::Duration;

/// Time between two publications: a little faster than the screen asks, so that what it finds is
/// never older than this plus its own tick.
pub const PUBLISH_EVERY: Duration = Duration::from_millis(20);

/// The newest results of one analysis.
#[derive(Debug)]
pub struct Stage {
    snapshot: ArcSwapOption<Snapshot>,
    traces: ArcSwap<Traces>,
    wish: ArcSwapOption<TraceWish>,
    stream: ArcSwapOption<StreamInfo>,
    fault: ArcSwapOption<Fault>,
}

impl Default for Stage {
    fn default() -> Self {
        Self {
            snapshot: ArcSwapOption::empty(),
            traces: ArcSwap::from_pointee(Traces::default()),
            wish: ArcSwapOption::empty(),
            stream: ArcSwapOption::empty(),
            fault: ArcSwapOption::empty(),
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

    /// Why nothing can be analysed, if so.
    pub fn fault(&self) -> Option<Arc<Fault>> {
        self.fault.load_full()
    }

    /// Says which traces the screen wants.
    pub fn want(&self, wish: Option<TraceWish>) {
        if self.wish.load().as_deref().copied() != wish {
            self.wish.store(wish.map(Arc::new));
        }
    }

    /// A stream begins; what was shown of another one no longer holds. The same one begins again
    /// when a recording is scrubbed: then the old picture stays until the new one is there.
    pub(super) fn begin(&self, analyser: &mut Analyser, stream: Arc<StreamInfo>) {
        let before = self.stream.load();
        if before
            .as_ref()
            .is_none_or(|s| s.generation != stream.generation)
        {
            self.snapshot.store(None);
            self.traces.store(Arc::new(Traces::default()));
        }
        self.fault
            .store(analyser.begin(&stream).err().map(Arc::new));
        self.stream.store(Some(stream));
    }

    /// Publishes what the analysis has now.
    pub(super) fn publish(&self, analyser: &Analyser) {
        if let Some(snapshot) = analyser.snapshot() {
            self.snapshot.store(Some(Arc::new(snapshot)));
        }
        if let Some(wish) = self.wish.load().as_deref()
            && let Some(traces) = analyser.traces(*wish)
        {
            self.traces.store(Arc::new(traces));
        }
    }
}
