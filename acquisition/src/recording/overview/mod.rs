//! The overview beside a recording: least and greatest values of its samples, so that any stretch of
//! it can be shown without reading all of them. The bytes are described in `acquisition/README.md`.
//!
//! It is only a cache. It grows with the recording, is made again where it is absent, and what is
//! damaged in it is read from the samples; nothing is lost with it.

pub(crate) mod builder;
mod companion;
mod fields;
pub(crate) mod page;
pub(crate) mod pages;
pub(crate) mod rebuild;

pub use rebuild::{RebuildError, Watch, rebuild, rebuild_as};

pub(crate) use companion::Companion;

use super::header::RecordingHeader;
use sha2::{Digest, Sha256};
use std::ffi::OsString;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Version of the overview's bytes this program writes; it uses no other.
const VERSION: u32 = 1;
/// First bytes of an overview.
const MAGIC: [u8; 8] = *b"KEYWAYOV";
/// Bytes before the first page.
const HEAD: usize = 48;

/// The overview of a recording: beside it, under the same name.
pub fn path_of(recording: &Path) -> PathBuf {
    recording.with_extension("overview")
}

/// Removes the overview of a recording that is gone, if there is one.
pub fn remove(recording: &Path) {
    let path = path_of(recording);
    if is_overview(&path).unwrap_or(false)
        && let Err(e) = std::fs::remove_file(&path)
    {
        tracing::warn!("cannot remove {}: {e}", path.display());
    }
}

/// Whether the file is an overview, of whatever recording and version.
fn is_overview(path: &Path) -> io::Result<bool> {
    let mut magic = [0; MAGIC.len()];
    let read = File::open(path)?.read_exact(&mut magic);
    Ok(read.is_ok() && magic == MAGIC)
}

/// Where an overview is made before it takes its name.
pub(crate) fn part_of(overview: &Path) -> PathBuf {
    let mut name = OsString::from(overview);
    name.push(".part");
    PathBuf::from(name)
}

/// The bytes before the first page, which name the recording they belong to.
fn head(header: &RecordingHeader) -> [u8; HEAD] {
    let mut digest = Sha256::new();
    digest.update(header.started_ns.to_le_bytes());
    for text in [&header.software, &header.operator, &header.note] {
        digest.update((text.len() as u64).to_le_bytes());
        digest.update(text.as_bytes());
    }
    let mut head = [0; HEAD];
    let (magic, rest) = head.split_at_mut(MAGIC.len());
    magic.copy_from_slice(&MAGIC);
    let (version, rest) = rest.split_at_mut(8);
    version[..4].copy_from_slice(&VERSION.to_le_bytes());
    rest.copy_from_slice(&digest.finalize());
    head
}
