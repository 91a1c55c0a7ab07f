//! All references in the folders, the best for an engine first.

use super::{Filed, read};
use crate::fault::Fault;
use keyway_analysis::engine::EngineSheet;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What there is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Library {
    /// Those that are sound, those of this engine first and the best of these on top.
    pub entries: Vec<Entry>,
    /// Files that are no sound references, with why.
    pub spoiled: Vec<(PathBuf, Arc<str>)>,
}

/// A reference, seen from one engine.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The file.
    pub filed: Filed,
    /// Why it is not for this engine; empty when it is.
    pub misfits: Vec<String>,
    /// What it cannot do on this engine.
    pub shortcomings: Vec<String>,
}

impl Entry {
    /// Whether it is for the engine.
    pub fn fits(&self) -> bool {
        self.misfits.is_empty()
    }
}

impl Library {
    /// Reads the folders; one that is not there is empty.
    pub fn read(folders: &[PathBuf], sheet: &EngineSheet) -> Result<Self, Fault> {
        let mut library = Self::default();
        let mut seen: Vec<PathBuf> = Vec::new();
        for folder in folders {
            for path in files(folder)? {
                let own = fs::canonicalize(&path).unwrap_or_else(|_| path.clone());
                if seen.contains(&own) {
                    continue;
                }
                seen.push(own);
                match read(&path) {
                    Ok(filed) => library.entries.push(Entry {
                        filed,
                        misfits: Vec::new(),
                        shortcomings: Vec::new(),
                    }),
                    Err(fault) => library.spoiled.push((path, Arc::from(fault.to_string()))),
                }
            }
        }
        library.see_from(sheet);
        Ok(library)
    }

    /// Looks at them from another engine.
    pub fn see_from(&mut self, sheet: &EngineSheet) {
        for entry in &mut self.entries {
            let reference = &entry.filed.reference;
            let misfits = reference.misfits(sheet);
            entry.misfits = misfits.iter().map(ToString::to_string).collect();
            entry.shortcomings = if entry.misfits.is_empty() {
                reference.shortcomings(sheet)
            } else {
                Vec::new()
            };
        }
        self.entries.sort_by(|a, b| {
            let (own, other) = (&a.filed.reference, &b.filed.reference);
            (b.fits().cmp(&a.fits()))
                .then_with(|| {
                    if a.fits() {
                        own.better(other, sheet)
                    } else {
                        own.name.cmp(&other.name)
                    }
                })
                .then_with(|| a.filed.path.cmp(&b.filed.path))
        });
    }

    /// The one to propose: the best that fits.
    pub fn proposed(&self) -> Option<&Entry> {
        self.entries.first().filter(|e| e.fits())
    }

    /// The one in this file.
    pub fn find(&self, path: &Path) -> Option<&Entry> {
        self.entries.iter().find(|e| e.filed.path == path)
    }
}

/// The files of a folder, by name.
fn files(folder: &Path) -> Result<Vec<PathBuf>, Fault> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(Fault::unreadable(folder, &e)),
    };
    let mut files: Vec<PathBuf> = (entries.filter_map(Result::ok).map(|f| f.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    Ok(files)
}
