//! Exhibits in a folder: `NAME.exhibit.json` with its pictures `NAME.png` and `NAME.svg` beside it, and
//! `NAME.exhibit.draft.json` while there are changes that were not saved. Every file is written beside its
//! place and then put there, so that a power cut never leaves half of one.

use super::document::{self, Document, Draft, LARGEST};
use super::picture;
use crate::chart::Format;
use crate::fault::Fault;
use serde::Deserialize;
use std::fs::{self, File, OpenOptions};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// End of a document's name.
pub const DOCUMENT: &str = ".exhibit.json";

/// End of a draft's name.
const DRAFT: &str = ".exhibit.draft.json";

/// End of the name of a file that is being written.
const UNFINISHED: &str = ".unfinished";

/// Most exhibits of one second.
const MOST_OF_A_NAME: u32 = 1000;

/// An exhibit in the list.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The document.
    pub path: PathBuf,
    /// Its name without folder and ending.
    pub name: String,
    /// What it says of itself, or why it cannot be read.
    pub about: Result<About, Arc<str>>,
    /// Whether there are changes that were not saved.
    pub has_draft: bool,
}

/// What an exhibit says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// Title.
    pub title: String,
    /// When it was kept.
    pub taken: String,
    /// "Live", or the recordings.
    pub source: String,
    /// How many marks are on it.
    pub marks: usize,
}

/// An exhibit that was opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Opened {
    /// Where it is.
    pub path: PathBuf,
    /// The exhibit as it was saved.
    pub document: Document,
    /// Changes that were not saved.
    pub draft: Option<Draft>,
    /// Tells whether the file is still the one that was read.
    pub digest: u64,
}

/// What became of keeping or saving.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// The document.
    pub path: PathBuf,
    /// Of the document as it is now.
    pub digest: u64,
    /// Whether it went to a new name, because another program had changed the file meanwhile.
    pub is_beside: bool,
    /// Why the pictures are not there; the document is.
    pub without_pictures: Option<Fault>,
}

/// The name of a document without its folder and ending.
pub fn name(path: &Path) -> String {
    let file = path.file_name().unwrap_or_default().to_string_lossy();
    file.strip_suffix(DOCUMENT).unwrap_or(&file).to_owned()
}

/// A file that belongs to a document: its name with another ending.
fn beside(document: &Path, ending: &str) -> PathBuf {
    document.with_file_name(format!("{}{ending}", name(document)))
}

/// The picture of a document.
pub fn picture_of(document: &Path, format: Format) -> PathBuf {
    beside(
        document,
        match format {
            Format::Png => ".png",
            Format::Svg => ".svg",
        },
    )
}

/// Keeps a new exhibit in a folder under a name that nothing there has.
pub fn keep(folder: &Path, stamp: &str, document: &Document) -> Result<Kept, Fault> {
    fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
    let text = document.text()?;
    let path = reserve(folder, stamp)?;
    if let Err(fault) = replace(&path, text.as_bytes()) {
        // The empty file that held the name.
        drop(fs::remove_file(&path));
        return Err(fault);
    }
    Ok(Kept {
        digest: digest(&text),
        is_beside: false,
        without_pictures: pictures(&path, document).err(),
        path,
    })
}

/// Saves an exhibit that was opened, with its pictures. If another program has changed the file since,
/// both stay: this one goes to a new name beside it.
pub fn save(path: &Path, was: u64, document: &Document) -> Result<Kept, Fault> {
    let text = document.text()?;
    let is_ours = match fs::read(path) {
        Ok(bytes) => digest(&String::from_utf8_lossy(&bytes)) == was,
        // Gone: nothing can be lost by putting it back.
        Err(e) => e.kind() == ErrorKind::NotFound,
    };
    if !is_ours {
        let folder = path.parent().unwrap_or(Path::new("."));
        let kept = keep(folder, &name(path), document)?;
        forget_draft(path)?;
        return Ok(Kept {
            is_beside: true,
            ..kept
        });
    }
    replace(path, text.as_bytes())?;
    forget_draft(path)?;
    Ok(Kept {
        path: path.to_owned(),
        digest: digest(&text),
        is_beside: false,
        without_pictures: pictures(path, document).err(),
    })
}

/// Reads an exhibit, and changes to it that were not saved.
pub fn open(path: &Path) -> Result<Opened, Fault> {
    let text = read(path)?;
    let document = Document::from_text(&path.display().to_string(), &text)?;
    let draft = beside(path, DRAFT);
    let draft = match read(&draft) {
        Ok(text) => match Draft::from_text(&draft.display().to_string(), &text) {
            Ok(draft) => Some(draft),
            // It stays where it is for whoever can read it; the exhibit itself is sound.
            Err(fault) => {
                tracing::warn!("{fault}");
                None
            }
        },
        Err(_) => None,
    };
    Ok(Opened {
        path: path.to_owned(),
        document,
        draft,
        digest: digest(&text),
    })
}

/// Writes changes that were not saved beside the document they are of.
pub fn write_draft(document: &Path, draft: &Draft) -> Result<(), Fault> {
    replace(&beside(document, DRAFT), draft.text()?.as_bytes())
}

/// Removes the changes that were not saved.
pub fn forget_draft(document: &Path) -> Result<(), Fault> {
    let draft = beside(document, DRAFT);
    match fs::remove_file(&draft) {
        Ok(()) => Ok(()),
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(()),
        Err(e) => Err(Fault::unwritable(draft, &e)),
    }
}

/// The exhibits of a folder, newest name first; a folder that is not there has none.
pub fn list(folder: &Path) -> Result<Vec<Entry>, Fault> {
    let found = match fs::read_dir(folder) {
        Ok(found) => found,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(Fault::unreadable(folder, &e)),
    };
    let mut entries: Vec<Entry> = found
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.to_string_lossy().ends_with(DOCUMENT))
        .map(|path| Entry {
            name: name(&path),
            about: about(&path).map_err(|f| Arc::from(f.to_string())),
            has_draft: beside(&path, DRAFT).exists(),
            path,
        })
        .collect();
    entries.sort_by(|a, b| b.name.cmp(&a.name));
    Ok(entries)
}

/// Draws an exhibit into a file of the user's choice; `is_replacing` says that what is there may go.
pub fn export(document: &Document, to: &Path, is_replacing: bool) -> Result<(), Fault> {
    let bytes = drawn(document, Format::of(to)?)?;
    if is_replacing {
        return replace(to, &bytes);
    }
    let holder = OpenOptions::new().write(true).create_new(true).open(to);
    match holder {
        Ok(_) => replace(to, &bytes).inspect_err(|_| drop(fs::remove_file(to))),
        Err(e) if e.kind() == ErrorKind::AlreadyExists => Err(Fault::Exhibit(Arc::from(format!(
            "{} is there already and was left as it is; choose another name",
            to.display()
        )))),
        Err(e) => Err(Fault::unwritable(to, &e)),
    }
}

fn drawn(document: &Document, format: Format) -> Result<Vec<u8>, Fault> {
    match format {
        Format::Svg => picture::svg(document).map(String::into_bytes),
        Format::Png => picture::png(document),
    }
}

/// Draws both pictures beside the document.
fn pictures(path: &Path, document: &Document) -> Result<(), Fault> {
    for format in [Format::Png, Format::Svg] {
        replace(&picture_of(path, format), &drawn(document, format)?)?;
    }
    Ok(())
}

/// Takes a name that neither a document nor a picture has, by an empty file.
fn reserve(folder: &Path, stamp: &str) -> Result<PathBuf, Fault> {
    for number in 1..MOST_OF_A_NAME {
        let name = if number == 1 {
            stamp.to_owned()
        } else {
            format!("{stamp}-{number}")
        };
        let path = folder.join(format!("{name}{DOCUMENT}"));
        let is_taken = [Format::Png, Format::Svg]
            .into_iter()
            .any(|format| picture_of(&path, format).exists());
        if is_taken {
            continue;
        }
        match OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(_) => return Ok(path),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
            Err(e) => return Err(Fault::unwritable(path, &e)),
        }
    }
    Err(Fault::Exhibit(Arc::from(format!(
        "{} holds too many exhibits named {stamp}; move some of them elsewhere",
        folder.display()
    ))))
}

/// Writes beside the place, then puts it there.
fn replace(path: &Path, bytes: &[u8]) -> Result<(), Fault> {
    let file = path.file_name().unwrap_or_default().to_string_lossy();
    let unfinished = path.with_file_name(format!("{file}{UNFINISHED}"));
    let written = File::create(&unfinished).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()
    });
    written
        .and_then(|()| fs::rename(&unfinished, path))
        .map_err(|e| {
            drop(fs::remove_file(&unfinished));
            Fault::unwritable(path, &e)
        })
}

fn read(path: &Path) -> Result<String, Fault> {
    let failed = |e: &std::io::Error| Fault::unreadable(path, e);
    let file = File::open(path).map_err(|e| failed(&e))?;
    let mut text = String::new();
    let length = file
        .take(LARGEST + 1)
        .read_to_string(&mut text)
        .map_err(|e| failed(&e))?;
    if length as u64 > LARGEST {
        return Err(Fault::Exhibit(Arc::from(format!(
            "{} is larger than any exhibit: more than {}",
            path.display(),
            crate::figure::size(LARGEST)
        ))));
    }
    Ok(text)
}

fn digest(text: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    hasher.finish()
}

/// The head of a document; the curves are passed over.
fn about(path: &Path) -> Result<About, Fault> {
    #[derive(Deserialize)]
    struct Head {
        title: String,
        taken: String,
        #[serde(default)]
        marks: Vec<serde::de::IgnoredAny>,
        scene: Origin,
    }
    #[derive(Deserialize)]
    struct Origin {
        screen: String,
        #[serde(default)]
        recordings: Vec<String>,
    }
    let text = read(path)?;
    if text.is_empty() {
        return Err(Fault::Exhibit(Arc::from(
            "it is empty: keeping it was interrupted",
        )));
    }
    let head: Head = document::read(&name(path), &text)?;
    let source = if head.scene.recordings.is_empty() {
        head.scene.screen
    } else {
        format!(
            "{} · {}",
            head.scene.screen,
            head.scene.recordings.join(", ")
        )
    };
    Ok(About {
        title: head.title,
        taken: head.taken,
        source,
        marks: head.marks.len(),
    })
}
