//! The virtual scope inside this program: behind a pseudo-terminal where there are any, behind an
//! in-memory pipe elsewhere; the real protocol in both.

use tokio::task::JoinHandle;

use super::device::Profile;
use super::sampler::Pacing;
use super::source::SampleSource;
use crate::error::LinkError;

#[cfg(unix)]
pub(crate) use behind_pty as line;
#[cfg(not(unix))]
pub(crate) use in_memory as line;

/// A scope that runs as long as this is held.
pub(crate) struct EmbeddedScope {
    name: String,
    opener: line::Opener,
    task: JoinHandle<()>,
}

impl EmbeddedScope {
    /// Starts a scope that samples `source` in real time. Needs a tokio runtime.
    pub(crate) fn spawn(source: Box<dyn SampleSource>) -> Result<Self, LinkError> {
        let (name, opener, task) = line::spawn(source, &Profile::default(), Pacing::RealTime)?;
        Ok(Self { name, opener, task })
    }

    /// What the report calls it.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The host's end, newly opened.
    pub(crate) fn open(&mut self, baud: u32) -> Result<line::Endpoint, LinkError> {
        line::open(&mut self.opener, baud)
    }
}

impl Drop for EmbeddedScope {
    fn drop(&mut self) {
        self.task.abort();
    }
}

#[cfg(unix)]
pub(crate) mod behind_pty {
    //! Opened by its path through the ordinary port.

    use super::{JoinHandle, LinkError, Pacing, Profile, SampleSource};
    use crate::port;
    use crate::simulator::pty::PtyScope;

    pub(crate) type Endpoint = port::Port;
    /// The path.
    pub(crate) type Opener = String;

    pub(crate) fn spawn(
        source: Box<dyn SampleSource>,
        profile: &Profile,
        pacing: Pacing,
    ) -> Result<(String, Opener, JoinHandle<()>), LinkError> {
        let scope = PtyScope::open(source, profile, pacing)?;
        let path = scope.path().to_owned();
        Ok((
            format!("virtual scope at {path}"),
            path,
            tokio::spawn(scope.serve()),
        ))
    }

    pub(crate) fn open(path: &mut Opener, baud: u32) -> Result<Endpoint, LinkError> {
        port::open(path, baud)
    }
}

#[cfg(any(test, not(unix)))]
pub(crate) mod in_memory {
    //! A pipe for every host that connects.

    use tokio::io::{DuplexStream, duplex};
    use tokio::sync::mpsc;

    use super::{JoinHandle, LinkError, Pacing, Profile, SampleSource};
    use crate::simulator::scope::VirtualScope;

    /// Bytes the pipe holds each way; a full pipe fills the device's buffer.
    const PIPE: usize = 64 * 1024;

    pub(crate) type Endpoint = DuplexStream;
    /// Takes the device's end of a new pipe to the scope; one may wait while another ends.
    pub(crate) type Opener = mpsc::Sender<DuplexStream>;

    pub(crate) fn spawn(
        source: Box<dyn SampleSource>,
        profile: &Profile,
        pacing: Pacing,
    ) -> Result<(String, Opener, JoinHandle<()>), LinkError> {
        let name = "virtual scope".to_owned();
        let mut scope =
            VirtualScope::new(source, profile, pacing).map_err(|error| LinkError::Open {
                path: name.clone(),
                reason: error.to_string(),
            })?;
        let (opener, mut lines) = mpsc::channel::<DuplexStream>(1);
        let task = tokio::spawn(async move {
            while let Some(line) = lines.recv().await {
                // A host that hangs up ends its pipe, not the scope.
                let _ended = scope.serve(&[], line).await;
            }
        });
        Ok((name, opener, task))
    }

    pub(crate) fn open(opener: &mut Opener, _baud: u32) -> Result<Endpoint, LinkError> {
        let (host, device) = duplex(PIPE);
        opener.try_send(device).map_err(|_| LinkError::Busy {
            path: "virtual scope".to_owned(),
        })?;
        Ok(host)
    }
}
