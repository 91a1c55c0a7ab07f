//! The virtual scope behind a pseudo-terminal, which a program opens by its path like any port.

use std::time::Duration;

use super::device::Profile;
use super::sampler::Pacing;
use super::scope::VirtualScope;
use super::source::SampleSource;
use crate::error::LinkError;
use crate::port::PseudoTerminal;

/// While nobody has the other end open every read fails at once: this is how often it is tried.
const AWAIT_HOST: Duration = Duration::from_millis(20);

/// A virtual scope waiting at a path.
pub struct PtyScope {
    line: PseudoTerminal,
    scope: VirtualScope,
}

impl PtyScope {
    /// Opens a new pseudo-terminal for a scope that samples `source`.
    ///
    /// # Errors
    /// `Open` if the system has no pseudo-terminal or thread to give.
    pub fn open(
        source: Box<dyn SampleSource>,
        profile: &Profile,
        pacing: Pacing,
    ) -> Result<Self, LinkError> {
        let line = PseudoTerminal::open()?;
        let scope =
            VirtualScope::new(source, profile, pacing).map_err(|error| LinkError::Open {
                path: line.path().to_owned(),
                reason: error.to_string(),
            })?;
        Ok(Self { line, scope })
    }

    /// What a host opens.
    #[must_use]
    pub fn path(&self) -> &str {
        self.line.path()
    }

    /// Serves one host after another, for ever. Needs a tokio runtime.
    pub async fn serve(mut self) {
        let mut greeting = [0; 256];
        loop {
            if let Some(count) = self.greeted(&mut greeting)
                && let Ok(line) = self.line.device_end()
            {
                // A host that closes its end shows as a failed read; the terminal stays good.
                let _ended = self.scope.serve(&greeting[..count], line).await;
            }
            tokio::time::sleep(AWAIT_HOST).await;
        }
    }

    /// What a host that has opened its end has said so far; none while nobody has.
    fn greeted(&self, greeting: &mut [u8]) -> Option<usize> {
        match self.line.device_end().ok()?.try_read(greeting) {
            Ok(count) => Some(count),
            Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => Some(0),
            Err(_) => None,
        }
    }
}
