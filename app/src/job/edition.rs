//! A text file as it was read, and the way back to the disk without losing anybody's words: it is
//! written beside and then renamed, and never over a file that has changed since it was read.

use crate::fault::Fault;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A text file as it was when it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edition {
    path: PathBuf,
    /// None while there is no such file.
    text: Option<Arc<str>>,
}

/// How writing ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[must_use]
pub enum Written {
    /// It is on the disk.
    Yes,
    /// Another program has changed the file since it was read; nothing was written.
    ChangedElsewhere,
}

impl Edition {
    /// Reads a file; one that does not exist is an empty edition.
    pub fn read(path: impl Into<PathBuf>) -> Result<Self, Fault> {
        let path = path.into();
        match present(&path) {
            Ok(text) => Ok(Self { path, text }),
            Err(e) => Err(Fault::unreadable(path, &e)),
        }
    }

    /// A file that must not exist yet.
    pub fn none_yet(path: impl Into<PathBuf>) -> Self {
        Self {
            path: path.into(),
            text: None,
        }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether there was such a file.
    pub fn is_there(&self) -> bool {
        self.text.is_some()
    }

    /// What it said; nothing if there was no file.
    pub fn text(&self) -> &str {
        self.text.as_deref().unwrap_or_default()
    }

    /// Writes another text in its place, unless the file has changed since it was read. The contents
    /// are compared, not the times: shares and copies do not keep those.
    pub fn write(&mut self, text: &str) -> Result<Written, Fault> {
        let now = present(&self.path).map_err(|e| Fault::unreadable(&self.path, &e))?;
        if now != self.text {
            return Ok(Written::ChangedElsewhere);
        }
        replace(&self.path, text.as_bytes()).map_err(|e| Fault::unwritable(&self.path, &e))?;
        self.text = Some(Arc::from(text));
        Ok(Written::Yes)
    }

    /// Writes a text beside the file under a name that no file has yet: "job-copy.toml",
    /// "job-copy-2.toml"; the file that was made.
    pub fn write_copy(&self, text: &str) -> Result<PathBuf, Fault> {
        let stem = self.path.file_stem().unwrap_or_default().to_string_lossy();
        let ending = self.path.extension().unwrap_or_default().to_string_lossy();
        let (path, mut file) = first_free(|number| {
            let name = match number {
                1 => format!("{stem}-copy.{ending}"),
                _ => format!("{stem}-copy-{number}.{ending}"),
            };
            self.path.with_file_name(name)
        })
        .map_err(|e| Fault::unwritable(&self.path, &e))?;
        file.write_all(text.as_bytes())
            .and_then(|()| file.sync_all())
            .map_err(|e| Fault::unwritable(&path, &e))?;
        Ok(path)
    }
}

/// The text of a file, none if there is no file.
fn present(path: &Path) -> io::Result<Option<Arc<str>>> {
    match fs::read_to_string(path) {
        Ok(text) => Ok(Some(Arc::from(text))),
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e),
    }
}

/// Makes the first file in a row of names that does not exist yet. Two programs never get the same.
pub fn first_free(name: impl Fn(u32) -> PathBuf) -> io::Result<(PathBuf, File)> {
    for number in 1_u32.. {
        let path = name(number);
        match File::options().write(true).create_new(true).open(&path) {
            Ok(file) => return Ok((path, file)),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
            Err(e) => return Err(e),
        }
    }
    Err(io::Error::from(ErrorKind::AlreadyExists))
}

/// Writes beside the file and renames: a power cut leaves the old file or the new one, never half.
fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let (beside, mut file) =
        first_free(|number| path.with_file_name(format!("{name}.new-{number}")))?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    drop(file);
    let renamed = written.and_then(|()| fs::rename(&beside, path));
    if renamed.is_err() {
        // The text is still with the caller; half a file beside it would only puzzle.
        drop(fs::remove_file(&beside));
    }
    renamed
}

/// Why nothing can be written into a folder; none if it can. It is tried with an empty file that is
/// gone again at once: rights and shares say one thing and do another.
pub fn refusal(folder: &Path) -> Option<Fault> {
    match first_free(|number| folder.join(format!("keyway-trial-{number}.tmp"))) {
        Ok((path, file)) => {
            drop(file);
            drop(fs::remove_file(path));
            None
        }
        Err(e) => Some(Fault::unwritable(folder, &e)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::workbench::Bench;

    #[test]
    fn nothing_is_written_over_what_another_program_wrote() {
        let bench = Bench::new("edition");
        let path = bench.root().join("job.toml");
        let mut mine = Edition::read(&path).unwrap();
        let mut theirs = mine.clone();
        assert_eq!(theirs.write("theirs").unwrap(), Written::Yes);
        assert_eq!(mine.write("mine").unwrap(), Written::ChangedElsewhere);
        assert_eq!(fs::read_to_string(&path).unwrap(), "theirs");
        let copy = mine.write_copy("mine").unwrap();
        let next = mine.write_copy("mine again").unwrap();
        assert_eq!(copy.file_name().unwrap(), "job-copy.toml");
        assert_eq!(next.file_name().unwrap(), "job-copy-2.toml");
        assert_eq!(fs::read_to_string(copy).unwrap(), "mine");
        // Also when the other program took the file away.
        fs::remove_file(&path).unwrap();
        assert_eq!(theirs.write("again").unwrap(), Written::ChangedElsewhere);
    }

    #[test]
    fn nothing_is_left_beside_it() {
        let bench = Bench::new("beside");
        let mut file = Edition::read(bench.root().join("notes.md")).unwrap();
        for text in ["one", "two", ""] {
            assert_eq!(file.write(text).unwrap(), Written::Yes);
            assert_eq!(file.text(), text);
        }
        assert_eq!(refusal(bench.root()), None);
        assert_eq!(fs::read_dir(bench.root()).unwrap().count(), 1);
        let gone = bench.root().join("gone");
        assert!(refusal(&gone).is_some());
    }

    #[test]
    fn a_file_that_is_no_text_is_told() {
        let bench = Bench::new("no-text");
        let path = bench.root().join("job.toml");
        fs::write(&path, [0xff, 0xfe, 0x00]).unwrap();
        let fault = Edition::read(&path).unwrap_err().to_string();
        assert!(fault.contains("not text"), "{fault}");
    }
}
