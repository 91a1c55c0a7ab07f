//! Known-good references as files: read, kept, imported, exported. A file that is there is never written over.

pub mod applied;
pub mod library;
pub mod recorded;

use crate::fault::Fault;
use crate::session::calendar;
use keyway_analysis::reference::Reference;
use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

/// Longest file that is read: a reference has some kilobytes, and whatever is longer is something else.
const LONGEST: u64 = 1_000_000;

/// A reference with the file it stands in.
#[derive(Debug, Clone, PartialEq)]
pub struct Filed {
    /// The file.
    pub path: PathBuf,
    /// Its text: with whatever a newer version wrote into it.
    pub text: Arc<str>,
    /// What it says.
    pub reference: Arc<Reference>,
}

/// Reads a reference; a mistake is told with its line.
pub fn read(path: &Path) -> Result<Filed, Fault> {
    let size = fs::metadata(path)
        .map_err(|e| Fault::unreadable(path, &e))?
        .len();
    if size > LONGEST {
        return Err(Fault::Reference(Arc::from(format!(
            "{} is no reference: it is far too long for one",
            path.display()
        ))));
    }
    let text = fs::read_to_string(path).map_err(|e| Fault::unreadable(path, &e))?;
    let reference = Reference::read(&text).map_err(|mistake| {
        let name = path.display();
        match mistake.line {
            Some(line) => Fault::Mistake {
                name: name.to_string(),
                line,
                what: mistake.what,
            },
            None => Fault::Reference(Arc::from(format!("{name}: {}", mistake.what))),
        }
    })?;
    Ok(Filed {
        path: path.to_owned(),
        text: Arc::from(text),
        reference: Arc::new(reference),
    })
}

/// Keeps a new reference in a folder, under a name that no file has yet; the file.
pub fn keep(reference: &Reference, folder: &Path) -> Result<PathBuf, Fault> {
    put(folder, &stem(&reference.name), &reference.text())
}

/// Copies a reference that is sound into a folder, as it is written; the file. One that is there with the same text
/// is not copied again.
pub fn import(from: &Path, folder: &Path) -> Result<PathBuf, Fault> {
    let filed = read(from)?;
    if let Some(twin) = twin(folder, &filed.text) {
        return Err(Fault::Reference(Arc::from(format!(
            "it is there already, as {}",
            twin.display()
        ))));
    }
    let name = from
        .file_stem()
        .map_or_else(String::new, |s| s.to_string_lossy().into_owned());
    put(folder, &stem(&name), &filed.text)
}

/// A file of the folder with the same text.
fn twin(folder: &Path, text: &str) -> Option<PathBuf> {
    let files = fs::read_dir(folder).ok()?;
    (files.filter_map(Result::ok).map(|f| f.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .find(|p| fs::read_to_string(p).is_ok_and(|t| t == text))
}

/// Writes a reference as it is to a place that the technician names: a new file, or a folder for it.
pub fn export(filed: &Filed, to: &Path) -> Result<PathBuf, Fault> {
    if to.is_dir() {
        let name = filed.path.file_stem().unwrap_or_default().to_string_lossy();
        return put(to, &stem(&name), &filed.text);
    }
    let to = if to.extension().is_some() {
        to.to_owned()
    } else {
        to.with_extension("toml")
    };
    write_new(&to, &filed.text)?;
    Ok(to)
}

/// A name for a file: letters and digits with dashes between.
fn stem(name: &str) -> String {
    let plain: String = (name.chars())
        .map(|c| {
            if c.is_alphanumeric() {
                c.to_ascii_lowercase()
            } else {
                '-'
            }
        })
        .collect();
    let words: Vec<&str> = plain.split('-').filter(|w| !w.is_empty()).collect();
    let stem = words.join("-");
    if stem.is_empty() {
        "reference".to_owned()
    } else {
        stem
    }
}

/// Writes a new file of this name, or of this name with a number.
fn put(folder: &Path, stem: &str, text: &str) -> Result<PathBuf, Fault> {
    fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
    for number in 1_u32..10_000 {
        let name = match number {
            1 => format!("{stem}.toml"),
            _ => format!("{stem}-{number}.toml"),
        };
        let path = folder.join(name);
        if path.exists() {
            continue;
        }
        write_new(&path, text)?;
        return Ok(path);
    }
    Err(Fault::Reference(Arc::from(format!(
        "{} has no free name left for {stem}.toml",
        folder.display()
    ))))
}

/// Writes beside and renames, so that a power cut leaves no half file; a file that exists is left as it is.
pub fn write_new(path: &Path, text: &str) -> Result<(), Fault> {
    let wrong = |e: &std::io::Error| Fault::unwritable(path, e);
    if path.exists() {
        return Err(Fault::Reference(Arc::from(format!(
            "{} exists already; choose another name",
            path.display()
        ))));
    }
    let beside = path.with_extension("toml.new");
    let written = (|| {
        let mut file = File::create(&beside)?;
        file.write_all(text.as_bytes())?;
        file.sync_data()?;
        if path.exists() {
            return Err(std::io::Error::from(ErrorKind::AlreadyExists));
        }
        fs::rename(&beside, path)
    })();
    written.map_err(|e| {
        let _gone = fs::remove_file(&beside);
        wrong(&e)
    })
}

/// Today as a reference writes it, in UTC.
pub fn today() -> String {
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default();
    calendar::minute(now.as_secs()).chars().take(10).collect()
}

#[cfg(test)]
mod tests;
