//! The overview that grows with a recording. Whatever fails here never disturbs the recording: the
//! overview ends there, and what it does not tell is made again later.

use super::builder::{Builder, Built};
use super::{head, is_overview, page, path_of};
use crate::block::SampleBlock;
use crate::recording::header::RecordingHeader;
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Writes pages when the samples in them are safe.
#[derive(Debug)]
pub(crate) struct Companion {
    path: PathBuf,
    file: File,
    builder: Builder,
    /// Pages whose chunks are written, but not on the medium yet.
    waiting: Vec<u8>,
}

impl Companion {
    /// Beside a recording that is begun. `None` where it cannot be made, which is logged.
    pub fn beside(recording: &Path, header: &RecordingHeader) -> Option<Self> {
        let path = path_of(recording);
        let made = make(&path).and_then(|mut file| {
            file.write_all(&head(header))?;
            Ok(file)
        });
        match made {
            Ok(file) => Some(Self {
                path,
                file,
                builder: Builder::new(0),
                waiting: Vec::new(),
            }),
            Err(e) => {
                tracing::info!("no overview grows at {}: {e}", path.display());
                None
            }
        }
    }

    /// A block was written.
    pub fn block(&mut self, at_ns: u64, rate_hz: f64, block: &SampleBlock) {
        self.builder.block(at_ns, rate_hz, block);
    }

    /// The chunk ends at this byte of the recording.
    pub fn chunk(&mut self, end: u64) {
        let built = self.builder.chunk(end);
        self.queue(built);
    }

    /// Everything up to here is on the medium. `None` if the overview cannot go on.
    pub fn synced(mut self) -> Option<Self> {
        let written = self.file.write_all(&self.waiting);
        self.waiting.clear();
        match written {
            Ok(()) => Some(self),
            Err(e) => {
                tracing::warn!("the overview {} ends here: {e}", self.path.display());
                None
            }
        }
    }

    /// The recording ended, its last chunk at this byte.
    pub fn finish(mut self, end: u64) {
        let built = self.builder.rest(end);
        self.queue(built);
        let _ = self.synced();
    }

    fn queue(&mut self, built: Option<Built>) {
        if let Some(Built { page, bins }) = built {
            let bytes = page::to_bytes(&page, &bins, self.builder.origin());
            self.waiting.extend(bytes);
        }
    }
}

/// Makes the file. An overview of that name is of a recording that is gone; anything else is not
/// ours, and stays.
fn make(path: &Path) -> io::Result<File> {
    match is_overview(path) {
        // Not written over: whoever still reads the old one keeps it.
        Ok(true) => std::fs::remove_file(path)?,
        Ok(false) => {
            return Err(io::Error::new(
                io::ErrorKind::AlreadyExists,
                "there is another file of that name",
            ));
        }
        Err(e) if e.kind() == io::ErrorKind::NotFound => {}
        Err(e) => return Err(e),
    }
    File::options().write(true).create_new(true).open(path)
}
