//! Makes an overview from the samples, where it is absent or damaged.

use super::builder::{Builder, Built};
use super::{head, is_overview, page, part_of, path_of};
use crate::recording::cursor::Item;
use crate::recording::error::ReadError;
use crate::recording::reader::Recording;
use std::fs::{File, TryLockError};
use std::io::{self, BufWriter, Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Pages come out in writes of this size, so that they can be looked at while the rest is made.
const BUFFER: usize = 1 << 18;

/// Who is told how far it is, and who may stop it.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Called with the share that is done, 0 to 1, many times a second, on the thread that works.
    pub progress: &'a dyn Fn(f64),
    /// Raised by whoever wants it to stop.
    pub stop: &'a AtomicBool,
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watch")
            .field("stop", self.stop)
            .finish_non_exhaustive()
    }
}

/// Why an overview could not be made. The recording reads without one, only slower.
#[derive(Debug, Clone, thiserror::Error)]
pub enum RebuildError {
    /// The samples cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It cannot be written there.
    #[error("cannot write the overview {}: {}; the recording reads without it, only slower", .0.display(), .1)]
    Write(PathBuf, Arc<io::Error>),
    /// Another program is at it.
    #[error("the overview {} is being made by another program; it is used as soon as it is there", .0.display())]
    Busy(PathBuf),
    /// It was asked to stop.
    #[error("stopped before the overview was complete; nothing is left of it")]
    Stopped,
}

/// Makes the overview beside the recording. It takes its name when it is complete; until then a new
/// [`super::super::lens::Lens`] sees what is made of it. When this fails or is stopped nothing is left.
///
/// # Errors
/// As in [`RebuildError`].
pub fn rebuild(recording: &Recording, watch: Watch<'_>) -> Result<PathBuf, RebuildError> {
    let path = path_of(recording.path());
    rebuild_as(recording, &path, watch)?;
    Ok(path)
}

/// The same in another place, for a recording in a folder that cannot be written to:
/// [`super::super::lens::Lens::open_with`] takes it from there.
///
/// # Errors
/// As in [`RebuildError`].
pub fn rebuild_as(
    recording: &Recording,
    path: &Path,
    watch: Watch<'_>,
) -> Result<(), RebuildError> {
    let part = part_of(path);
    let failed = |e: io::Error| RebuildError::Write(path.to_owned(), Arc::new(e));
    if path.exists() && !is_overview(path).map_err(failed)? {
        return Err(failed(io::Error::new(
            io::ErrorKind::AlreadyExists,
            "there is another file of that name",
        )));
    }
    let file = File::options()
        .write(true)
        .create(true)
        .truncate(false)
        .open(&part)
        .map_err(failed)?;
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => return Err(RebuildError::Busy(path.to_owned())),
        // Not every file system knows locks. Two at it at once would spoil each other's pages,
        // which their checksums tell.
        Err(TryLockError::Error(_)) | Ok(()) => {}
    }
    let made = write(recording, &file, path, watch)
        .and_then(|()| std::fs::rename(&part, path).map_err(failed));
    if made.is_err()
        && let Err(e) = std::fs::remove_file(&part)
    {
        tracing::warn!("cannot remove {}: {e}", part.display());
    }
    made
}

fn write(
    recording: &Recording,
    file: &File,
    path: &Path,
    watch: Watch<'_>,
) -> Result<(), RebuildError> {
    let failed = |e: io::Error| RebuildError::Write(path.to_owned(), Arc::new(e));
    file.set_len(0).map_err(failed)?;
    let mut out = BufWriter::with_capacity(BUFFER, file);
    out.rewind().map_err(failed)?;
    out.write_all(&head(recording.header())).map_err(failed)?;
    let mut builder = Builder::new(0);
    let chunks = recording.chunks();
    let mut entries = recording.entries()?;
    let bytes = |builder: &Builder, built: Built| {
        page::to_bytes(&built.page, &built.bins, builder.origin())
    };
    let mut end = 0;
    for (position, chunk) in chunks.iter().enumerate() {
        if watch.stop.load(Ordering::Relaxed) {
            return Err(RebuildError::Stopped);
        }
        (watch.progress)(position as f64 / chunks.len() as f64);
        read_chunk(recording, &mut entries, position, &mut builder)?;
        end = chunk.offset + chunk.length;
        if let Some(built) = builder.chunk(end) {
            out.write_all(&bytes(&builder, built)).map_err(failed)?;
        }
    }
    if let Some(built) = builder.rest(end) {
        out.write_all(&bytes(&builder, built)).map_err(failed)?;
    }
    out.flush().map_err(failed)?;
    file.sync_data().map_err(failed)?;
    (watch.progress)(1.0);
    Ok(())
}

/// Tells a builder what one chunk holds, or that it cannot be read.
pub(crate) fn read_chunk(
    recording: &Recording,
    entries: &mut crate::recording::cursor::Entries,
    position: usize,
    builder: &mut Builder,
) -> Result<(), ReadError> {
    match entries.chunk(position) {
        Ok(found) => {
            for entry in found {
                if let Item::Block(block) = &entry.item
                    && let Some(stream) = recording.stream(block.generation)
                {
                    let at_ns = u64::try_from(entry.at.as_nanos()).unwrap_or(u64::MAX);
                    builder.block(at_ns, stream.rate_hz, block);
                }
            }
            Ok(())
        }
        Err(ReadError::Damaged { .. }) => {
            let started = recording.header().started_ns;
            if let Some(chunk) = recording.chunks().get(position) {
                builder.damage(
                    chunk.start_ns.saturating_sub(started),
                    chunk.end_ns.saturating_sub(started),
                );
            }
            Ok(())
        }
        Err(e) => Err(e),
    }
}
