//! The virtual scope behind a pseudo-terminal, which a program opens by its path like any port.

use std::time::Duration;

use super::device::Profile;
use super::sampler::Pacing;
use super::scope::VirtualScope;
use super::source::SampleSource;
use crate::error::LinkError;
use crate::line::Line;
use crate::port;

/// While nobody has the other end open every read fails at once: this is how often it is tried.
const AWAIT_HOST: Duration = Duration::from_millis(20);

/// A virtual scope waiting at a path.
pub struct PtyScope {
    line: Line,
    path: String,
    scope: VirtualScope,
}

impl PtyScope {
    /// Opens a new pseudo-terminal for a scope that samples `source`. Needs a tokio runtime.
    ///
    /// # Errors
    /// `Open` if the system has no pseudo-terminal or thread to give.
    pub fn open(
        source: Box<dyn SampleSource>,
        profile: &Profile,
        pacing: Pacing,
    ) -> Result<Self, LinkError> {
        let (port, path) = port::pseudo_terminal()?;
        let scope =
            VirtualScope::new(source, profile, pacing).map_err(|error| LinkError::Open {
                path: path.clone(),
                reason: error.to_string(),
            })?;
        Ok(Self {
            line: Line::new(port),
            path,
            scope,
        })
    }

    /// What a host opens.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Serves one host after another, for ever.
    pub async fn serve(mut self) {
        loop {
            // A host that closes its end shows as a failed read; the line itself stays good.
            let _ended = self.scope.serve(&mut self.line).await;
            tokio::time::sleep(AWAIT_HOST).await;
        }
    }
}
