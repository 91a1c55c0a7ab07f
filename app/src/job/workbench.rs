//! A folder for jobs, for tests.

use super::card::{Card, Stamp};
use super::folder::JobFolder;
use super::name;
use std::fs;
use std::path::{Path, PathBuf};

/// A folder for jobs that is gone after the test.
pub struct Bench(PathBuf);

impl Bench {
    /// A new one.
    pub fn new(name: &str) -> Self {
        let folder = format!("keyway-jobs-{name}-{}", std::process::id());
        let path = std::env::temp_dir().join(folder);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// Where it is.
    pub fn root(&self) -> &Path {
        &self.0
    }

    /// A card with this plate.
    pub fn card(&self, plate: &str) -> Card {
        Card {
            plate: plate.to_owned(),
            opened: Some(Stamp("2026-11-25T16:03:00+01:00".parse().unwrap())),
            ..Card::default()
        }
    }

    /// A job with this plate.
    pub fn job(&self, plate: &str) -> JobFolder {
        name::make(&self.0, &self.card(plate)).unwrap().0
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.0));
    }
}
