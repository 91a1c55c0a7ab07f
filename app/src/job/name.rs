//! The name of a new job's folder, from its date and its plate: for people who look through folders.
//! It is never relied upon for meaning, and any other name works as well.

use super::card::{Card, CardFile};
use super::edition::Written;
use super::folder::JobFolder;
use crate::fault::Fault;
use std::fs;
use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;

/// Most letters of plate or title in the name; whole paths have their limits too.
const LETTERS: usize = 40;

/// "2026-11-25-KW-P-14". Only letters, digits and hyphens of ASCII: FAT, Windows shares and old
/// archives take them all, and no name that a system keeps for itself begins with a date.
pub fn stem(date: &str, name: &str) -> String {
    let mut stem = String::new();
    for c in date.chars().chain(['-']).chain(name.chars().take(LETTERS)) {
        match c {
            c if c.is_ascii_alphanumeric() => stem.push(c),
            _ if stem.ends_with('-') => {}
            _ => stem.push('-'),
        }
    }
    stem.trim_matches('-').to_owned()
}

/// Makes the folder of a new job with its card and the folders in it.
pub fn make(root: &Path, card: &Card) -> Result<(JobFolder, CardFile), Fault> {
    let date = card.opened.map(|o| o.date()).unwrap_or_default();
    let stem = stem(&date, card.name());
    fs::create_dir_all(root).map_err(|e| Fault::unwritable(root, &e))?;
    for number in 1_u32.. {
        let path = root.join(match number {
            1 => stem.clone(),
            _ => format!("{stem}-{number}"),
        });
        match fs::create_dir(&path) {
            Ok(()) => return fill(JobFolder::new(path), card),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
            Err(e) => return Err(Fault::unwritable(path, &e)),
        }
    }
    Err(Fault::Job(Arc::from("no free name for the job's folder")))
}

fn fill(folder: JobFolder, card: &Card) -> Result<(JobFolder, CardFile), Fault> {
    let mut file = CardFile::none_yet(&folder);
    let made = file.write(card).and_then(|written| match written {
        Written::Yes => Ok(()),
        Written::ChangedElsewhere => Err(Fault::Job(Arc::from(format!(
            "{} was made by another program at this moment",
            folder.card().display()
        )))),
    });
    let made = made.and_then(|()| {
        for part in [folder.recordings(), folder.exhibits(), folder.findings()] {
            fs::create_dir_all(&part).map_err(|e| Fault::unwritable(part, &e))?;
        }
        Ok(())
    });
    match made {
        Ok(()) => Ok((folder, file)),
        Err(fault) => {
            // Goes only if it is empty; a card that was written is a job.
            drop(fs::remove_dir(folder.path()));
            Err(fault)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::workbench::Bench;

    #[test]
    fn odd_plates_give_names_that_every_file_system_takes() {
        for (plate, name) in [
            ("KW-P 14", "2026-11-25-KW-P-14"),
            ("  kw p  14 ", "2026-11-25-kw-p-14"),
            ("A/B\\C:D*E?\"<>|", "2026-11-25-A-B-C-D-E"),
            ("..", "2026-11-25"),
            ("КУ 14 ЯЯ", "2026-11-25-14"),
            ("京 300", "2026-11-25-300"),
            ("CON", "2026-11-25-CON"),
            ("dot.", "2026-11-25-dot"),
            ("", "2026-11-25"),
        ] {
            assert_eq!(stem("2026-11-25", plate), name, "{plate}");
        }
        assert!(stem("2026-11-25", &"x".repeat(500)).len() < 64);
    }

    #[test]
    fn two_jobs_of_a_plate_on_a_day_have_folders_of_their_own() {
        let bench = Bench::new("unique");
        let card = bench.card("KW-P 14");
        let (first, _) = make(bench.root(), &card).unwrap();
        let (second, file) = make(bench.root(), &card).unwrap();
        assert_ne!(first, second);
        assert_eq!(file.card().plate, "KW-P 14");
        assert!(second.recordings().is_dir() && second.findings().is_dir());
        assert_eq!(CardFile::read(&second).unwrap().card(), &card);
    }

    #[test]
    fn a_job_without_plate_and_title_is_not_made() {
        let bench = Bench::new("nameless");
        let fault = make(bench.root(), &bench.card(" ")).unwrap_err();
        assert!(fault.to_string().contains("plate or a title"), "{fault}");
        assert_eq!(fs::read_dir(bench.root()).unwrap().count(), 0);
    }
}
