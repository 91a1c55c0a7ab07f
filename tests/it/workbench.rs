//! A place for files that is gone after the test.

use std::path::PathBuf;

/// A folder of its own.
pub struct Folder(PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("keyway-it-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for temporary files");
        Self(path)
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
