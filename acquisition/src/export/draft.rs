//! A file that appears under its name only when it is whole.

use super::error::ExportError;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

/// A file being written beside its place. Dropping it removes what there is.
#[derive(Debug)]
pub struct Draft {
    place: PathBuf,
    beside: PathBuf,
    replace: bool,
    kept: bool,
}

impl Draft {
    /// Begins, and gives the file to write to. A file that is at the place already is an error unless
    /// it is to be replaced.
    pub fn begin(place: &Path, replace: bool) -> Result<(Self, File), ExportError> {
        if !replace && place.exists() {
            return Err(ExportError::Exists(place.to_owned()));
        }
        let name = place.file_name().unwrap_or_default().to_string_lossy();
        let beside = place.with_file_name(format!(".{name}.{}.part", std::process::id()));
        let file = File::options()
            .write(true)
            .create(true)
            .truncate(true)
            .open(&beside)
            .map_err(|e| ExportError::writing(place, e))?;
        let draft = Self {
            place: place.to_owned(),
            beside,
            replace,
            kept: false,
        };
        Ok((draft, file))
    }

    /// Where it is being written.
    pub fn beside(&self) -> &Path {
        &self.beside
    }

    /// The file is whole and closed: it takes its place. Gives its size.
    pub fn keep(mut self) -> Result<u64, ExportError> {
        let wrong = |e| ExportError::writing(&self.place, e);
        let file = File::open(&self.beside).map_err(wrong)?;
        file.sync_all().map_err(wrong)?;
        let bytes = file.metadata().map_err(wrong)?.len();
        drop(file);
        if !self.replace && self.place.exists() {
            // Somebody else made one meanwhile.
            return Err(ExportError::Exists(self.place.clone()));
        }
        fs::rename(&self.beside, &self.place).map_err(wrong)?;
        self.kept = true;
        Ok(bytes)
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        if !self.kept
            && let Err(e) = fs::remove_file(&self.beside)
        {
            tracing::warn!("cannot remove {}: {e}", self.beside.display());
        }
    }
}
