//! Moves a recording into a job, with the files beside it that belong to it. At every moment each
//! file is whole in one of the two places, and nothing that is there already is written over.

use super::edition::first_free;
use super::folder::JobFolder;
use crate::fault::Fault;
use crate::work::Progress;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What follows the name of a recording in the names of files made from it.
const BESIDE: [&str; 2] = [".overview", ".course.json"];

/// Bytes copied at a time.
const PIECE: usize = 1 << 20;

/// The files beside a recording that belong to it, with the rest of their names: of "a.mcap" both
/// "a.overview" and "a.mcap.overview".
fn beside(recording: &Path) -> Vec<(PathBuf, OsString)> {
    let (Some(stem), Some(name)) = (recording.file_stem(), recording.file_name()) else {
        return Vec::new();
    };
    let full_ending = name.to_string_lossy();
    let full_ending = full_ending.strip_prefix(&*stem.to_string_lossy());
    let full_ending = full_ending.unwrap_or_default();
    let mut found = Vec::new();
    for ending in BESIDE {
        for rest in [ending.to_owned(), format!("{full_ending}{ending}")] {
            let mut name = stem.to_owned();
            name.push(&rest);
            let path = recording.with_file_name(name);
            if path.is_file() {
                found.push((path, OsString::from(rest)));
            }
        }
    }
    found
}

/// Moves a recording into the job; where it is now.
pub fn into_job(recording: &Path, job: &JobFolder, progress: &Progress) -> Result<PathBuf, Fault> {
    into_folder(recording, &job.recordings(), progress, |from, to| {
        fs::rename(from, to)
    })
}

/// The same with the way to rename, so that another disk can be tried without one.
fn into_folder(
    recording: &Path,
    folder: &Path,
    progress: &Progress,
    rename: impl Fn(&Path, &Path) -> io::Result<()>,
) -> Result<PathBuf, Fault> {
    fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
    if recording.parent() == Some(folder) {
        return Ok(recording.to_owned());
    }
    let stem = recording.file_stem().unwrap_or_default().to_string_lossy();
    let ending = recording.extension().unwrap_or_default().to_string_lossy();
    let sides = beside(recording);
    // An empty file holds the name until the recording takes its place.
    let (target, held) = first_free(|number| {
        let name = match number {
            1 => format!("{stem}.{ending}"),
            _ => format!("{stem}-{number}.{ending}"),
        };
        folder.join(name)
    })
    .map_err(|e| Fault::unwritable(folder, &e))?;
    drop(held);
    if let Err(fault) = carry(recording, &target, progress, &rename) {
        drop(fs::remove_file(&target));
        return Err(fault);
    }
    let stem = target.file_stem().unwrap_or_default();
    for (side, rest) in sides {
        let mut name = stem.to_owned();
        name.push(rest);
        let target = folder.join(name);
        let is_free = File::options().write(true).create_new(true).open(&target);
        let moved = match is_free {
            Ok(_held) => carry(&side, &target, progress, &rename)
                .inspect_err(|_| drop(fs::remove_file(&target))),
            Err(e) => Err(Fault::unwritable(&target, &e)),
        };
        if let Err(fault) = moved {
            return Err(Fault::Job(Arc::from(format!(
                "the recording was moved, but {} stays where it is: {fault}",
                side.display()
            ))));
        }
    }
    Ok(target)
}

/// Moves one file over the empty one that holds its name. On another disk it is copied, compared byte
/// by byte, and only then taken away.
fn carry(
    from: &Path,
    to: &Path,
    progress: &Progress,
    rename: &impl Fn(&Path, &Path) -> io::Result<()>,
) -> Result<(), Fault> {
    match rename(from, to) {
        Ok(()) => return Ok(()),
        Err(e) if e.kind() == ErrorKind::CrossesDevices => {}
        Err(e) => return Err(Fault::unwritable(to, &e)),
    }
    let name = to.file_name().unwrap_or_default().to_string_lossy();
    let (part, file) = first_free(|number| to.with_file_name(format!("{name}.part-{number}")))
        .map_err(|e| Fault::unwritable(to, &e))?;
    let copied = copy(from, &part, file, progress).and_then(|()| {
        fs::rename(&part, to).map_err(|e| Fault::unwritable(to, &e))?;
        fs::remove_file(from).map_err(|e| {
            Fault::Job(Arc::from(format!(
                "{} cannot be taken away from its place, so it stays there: {e}",
                from.display()
            )))
        })
    });
    if copied.is_err() {
        drop(fs::remove_file(&part));
    }
    copied
}

fn copy(from: &Path, part: &Path, mut to: File, progress: &Progress) -> Result<(), Fault> {
    let unreadable = |e: &io::Error| Fault::unreadable(from, e);
    let unwritable = |e: &io::Error| Fault::unwritable(part, e);
    let mut source = File::open(from).map_err(|e| unreadable(&e))?;
    let size = source.metadata().map_err(|e| unreadable(&e))?.len().max(1);
    let mut piece = vec![0; PIECE];
    let mut done = 0;
    loop {
        progress.check()?;
        let n = source.read(&mut piece).map_err(|e| unreadable(&e))?;
        if n == 0 {
            break;
        }
        to.write_all(&piece[..n]).map_err(|e| unwritable(&e))?;
        done += n as u64;
        // Half of the work is to compare.
        progress.set(done as f64 / size as f64 / 2.0);
    }
    to.sync_all().map_err(|e| unwritable(&e))?;
    drop(to);
    if !is_same(from, part, size, progress)? {
        return Err(Fault::Job(Arc::from(format!(
            "the copy of {} is not the same as the file; the file stays where it is",
            from.display()
        ))));
    }
    Ok(())
}

fn is_same(a: &Path, b: &Path, size: u64, progress: &Progress) -> Result<bool, Fault> {
    let open = |path: &Path| File::open(path).map_err(|e| Fault::unreadable(path, &e));
    let (mut one, mut other) = (open(a)?, open(b)?);
    let (mut left, mut right) = (Vec::new(), Vec::new());
    let mut done = 0;
    loop {
        progress.check()?;
        for (file, piece, path) in [(&mut one, &mut left, a), (&mut other, &mut right, b)] {
            piece.clear();
            let _bytes = (file.take(PIECE as u64))
                .read_to_end(piece)
                .map_err(|e| Fault::unreadable(path, &e))?;
        }
        if left != right {
            return Ok(false);
        }
        if left.is_empty() {
            return Ok(true);
        }
        done += left.len() as u64;
        progress.set(0.5 + done as f64 / size as f64 / 2.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::workbench::Bench;

    fn names(folder: &Path) -> Vec<String> {
        let found = fs::read_dir(folder).unwrap().flatten();
        let mut names: Vec<String> = found
            .filter(|e| e.path().is_file())
            .map(|e| e.file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// Moves twice a recording of the same name with its side files, and nothing is lost or written over.
    fn check(name: &str, rename: impl Fn(&Path, &Path) -> io::Result<()>) {
        let bench = Bench::new(name);
        let job = bench.job("KW-P 14");
        let root = bench.root();
        let progress = Progress::default();
        for content in ["first", "second"] {
            for file in ["a.mcap", "a.overview", "a.mcap.course.json", "ab.overview"] {
                fs::write(root.join(file), format!("{content} {file}")).unwrap();
            }
            let moved =
                into_folder(&root.join("a.mcap"), &job.recordings(), &progress, &rename).unwrap();
            assert_eq!(
                fs::read_to_string(moved).unwrap(),
                format!("{content} a.mcap")
            );
            assert_eq!(names(root), ["ab.overview"]);
        }
        assert_eq!(
            names(&job.recordings()),
            [
                "a-2.mcap",
                "a-2.mcap.course.json",
                "a-2.overview",
                "a.mcap",
                "a.mcap.course.json",
                "a.overview"
            ]
        );
        let side = job.recordings().join("a-2.overview");
        assert_eq!(fs::read_to_string(side).unwrap(), "second a.overview");
    }

    #[test]
    fn a_recording_moves_with_the_files_beside_it() {
        check("move", |from, to| fs::rename(from, to));
    }

    #[test]
    fn to_another_disk_it_is_copied_and_compared() {
        check("copy", |_, _| {
            Err(io::Error::from(ErrorKind::CrossesDevices))
        });
    }

    #[test]
    fn a_move_that_fails_leaves_everything_where_it_was() {
        let bench = Bench::new("stuck");
        let job = bench.job("KW-P 14");
        let file = bench.root().join("a.mcap");
        fs::write(&file, "all of it").unwrap();
        let full = |_: &Path, _: &Path| Err(io::Error::from(ErrorKind::PermissionDenied));
        let progress = Progress::default();
        let _fault = into_folder(&file, &job.recordings(), &progress, full).unwrap_err();
        progress.cancel();
        let other = |_: &Path, _: &Path| Err(io::Error::from(ErrorKind::CrossesDevices));
        let fault = into_folder(&file, &job.recordings(), &progress, other).unwrap_err();
        assert_eq!(fault, Fault::Cancelled);
        assert_eq!(names(&job.recordings()), [""; 0]);
        assert_eq!(fs::read_to_string(file).unwrap(), "all of it");
    }
}
