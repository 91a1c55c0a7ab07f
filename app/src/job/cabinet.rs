//! The jobs there are: every folder below the root that holds a `job.toml`, read anew each time, so
//! that nothing has to be kept in step with what people do to folders.

use super::card::CardFile;
use super::folder::JobFolder;
use crate::fault::Fault;
use crate::work::Progress;
use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

/// Most that is read of the notes for the search, bytes; a page holds some 3000.
const NOTES: u64 = 256 * 1024;

/// One job as the list has it.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its folder.
    pub folder: JobFolder,
    /// Its card, or why that cannot be read.
    pub card: Result<CardFile, Fault>,
    /// Its notes, as far as they are searched.
    notes: String,
    /// The same in small letters: made once, since every letter typed into the search looks through it.
    small_notes: String,
}

impl Entry {
    /// Reads one job.
    pub fn read(folder: JobFolder) -> Self {
        let notes = notes(&folder.notes());
        Self::new(CardFile::read(&folder), notes, folder)
    }

    /// A job that was read elsewhere.
    pub fn new(card: Result<CardFile, Fault>, notes: String, folder: JobFolder) -> Self {
        Self {
            folder,
            card,
            small_notes: notes.to_lowercase(),
            notes,
        }
    }

    /// The notes, if they hold this word, which is in small letters.
    pub fn notes_with(&self, word: &str) -> Option<&str> {
        self.small_notes.contains(word).then_some(&self.notes)
    }

    /// What it is called: plate or title, else the name of its folder.
    pub fn name(&self) -> String {
        let name = self.card.as_ref().map_or("", |file| file.card().name());
        if !name.is_empty() {
            return name.to_owned();
        }
        self.folder.name()
    }

    /// What it is sorted by: when it was opened, else the folder's name.
    fn order(&self) -> String {
        let opened = self.card.as_ref().ok().and_then(|f| f.card().opened);
        opened.map_or_else(|| self.folder.name(), |o| o.to_string())
    }
}

/// What can be read of the notes; they are only searched here, and the job shows what is wrong.
fn notes(path: &Path) -> String {
    let mut bytes = Vec::new();
    let Ok(file) = File::open(path) else {
        return String::new();
    };
    if let Err(e) = file.take(NOTES).read_to_end(&mut bytes) {
        tracing::debug!("{} is not searched: {e}", path.display());
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// The folders of all jobs below the root, those with the latest names first. A root that does not
/// exist holds none.
pub fn folders(root: &Path) -> Result<Vec<JobFolder>, Fault> {
    let found = match fs::read_dir(root) {
        Ok(found) => found,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(Fault::unreadable(root, &e)),
    };
    let mut folders: Vec<PathBuf> = Vec::new();
    for one in found {
        let one = one.map_err(|e| Fault::unreadable(root, &e))?;
        // The kind comes with the listing where the system gives it; a share is not asked again.
        if one.file_type().is_ok_and(|kind| !kind.is_file()) {
            folders.push(one.path());
        }
    }
    folders.sort_by(|a, b| b.cmp(a));
    Ok(folders.into_iter().map(JobFolder::new).collect())
}

/// Reads all jobs below the root, and gives each as soon as it is read. A folder without a card is no
/// job.
pub fn read(root: &Path, progress: &Progress, mut found: impl FnMut(Entry)) -> Result<(), Fault> {
    let folders = folders(root)?;
    let all = folders.len().max(1) as f64;
    for (n, folder) in folders.into_iter().enumerate() {
        progress.check()?;
        let entry = Entry::read(folder);
        let has_card = match &entry.card {
            Ok(file) => !file.is_new(),
            Err(_) => true,
        };
        if has_card {
            found(entry);
        }
        progress.set((n + 1) as f64 / all);
    }
    Ok(())
}

/// The latest opened first.
pub fn sort(entries: &mut [Entry]) {
    entries.sort_by_cached_key(|e| std::cmp::Reverse((e.order(), e.folder.name())));
}

/// All jobs below the root, the latest first.
pub fn all(root: &Path) -> Result<Vec<Entry>, Fault> {
    let mut entries = Vec::new();
    read(root, &Progress::default(), |entry| entries.push(entry))?;
    sort(&mut entries);
    Ok(entries)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::workbench::Bench;

    #[test]
    fn the_latest_job_stands_first_and_a_folder_may_have_any_name() {
        let bench = Bench::new("cabinet");
        let first = bench.job("AA 1");
        let later = bench.root().join("any name at all");
        fs::rename(bench.job("BB 2").path(), &later).unwrap();
        fs::write(
            later.join("job.toml"),
            "plate = \"BB 2\"\nopened = 2026-11-26\n",
        )
        .unwrap();
        fs::create_dir(bench.root().join("no job")).unwrap();
        fs::write(bench.root().join("loose.mcap"), "").unwrap();
        fs::write(first.card(), "plate = ").unwrap();
        let names: Vec<String> = all(bench.root()).unwrap().iter().map(Entry::name).collect();
        assert_eq!(names, ["BB 2", "2026-11-25-AA-1"]);
        assert_eq!(all(&bench.root().join("gone")).unwrap(), []);
    }
}
