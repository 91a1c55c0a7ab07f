//! References as files in folders.

use super::*;
use crate::setup::Setup;
use library::Library;

const MEASURED: &str = include_str!("../../../analysis/src/reference/examples/measured.toml");
const HANDBOOK: &str = include_str!("../../../analysis/src/reference/examples/handbook.toml");
const COMBINED: &str = include_str!("../../../analysis/src/reference/examples/combined.toml");

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("keyway-{name}-{}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn put(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.join(name);
        fs::write(&path, text).unwrap();
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.0));
    }
}

#[test]
fn an_import_copies_what_is_written_with_what_is_not_known_of_it() {
    let (outside, inside) = (Folder::new("ref-out"), Folder::new("ref-in"));
    let newer = MEASURED.replace("form = 1 ", "form = 2\nmood = \"fine\"  ");
    let from = outside.put("From a colleague.toml", &newer);
    let path = import(&from, &inside.0).unwrap();
    assert_eq!(path.file_name().unwrap(), "from-a-colleague.toml");
    assert_eq!(fs::read_to_string(&path).unwrap(), newer);
    assert!(read(&path).unwrap().reference.is_newer());
    let fault = import(&from, &inside.0).unwrap_err();
    assert!(fault.to_string().contains("there already"), "{fault}");
    // An export is that file, and takes the place of none.
    let to = outside.0.join("out");
    let filed = read(&path).unwrap();
    let out = export(&filed, &to).unwrap();
    assert_eq!(fs::read_to_string(&out).unwrap(), newer);
    let fault = export(&filed, &out).unwrap_err();
    assert!(fault.to_string().contains("exists already"), "{fault}");
    assert_ne!(export(&filed, &inside.0).unwrap(), path);
}

#[test]
fn a_mistake_is_told_with_its_line() {
    let folder = Folder::new("ref-slip");
    let path = folder.put("slip.toml", &MEASURED.replace("tolerance =", "tolerence ="));
    let fault = read(&path).unwrap_err();
    assert!(
        matches!(fault, Fault::Mistake { line, .. } if line > 1),
        "{fault}"
    );
    let path = folder.put(
        "slip2.toml",
        &MEASURED.replace("[conditions]", "[condition]"),
    );
    let line = 1 + MEASURED.lines().position(|l| l == "[conditions]").unwrap();
    match read(&path).unwrap_err() {
        Fault::Mistake {
            line: told, what, ..
        } => {
            assert_eq!(told, line);
            assert!(what.contains("'condition' is not a field"), "{what}");
        }
        other => panic!("{other}"),
    }
}

#[test]
fn the_best_for_the_engine_stands_on_top() {
    let folder = Folder::new("ref-library");
    let _one = folder.put("a.toml", MEASURED);
    let _book = folder.put("b.toml", HANDBOOK);
    let many = folder.put("c.toml", COMBINED);
    let _text = folder.put("d.toml", "colour = \"blue\"");
    let van = Setup::built_in().unwrap();
    let missing = folder.0.join("not there");
    let folders = [folder.0.clone(), folder.0.clone(), missing];
    let mut library = Library::read(&folders, &van.sheet).unwrap();
    assert_eq!(library.entries.len(), 3);
    assert_eq!(library.spoiled.len(), 1);
    assert_eq!(library.proposed().unwrap().filed.path, many);
    let hatch = Setup::load(None, None, "small-hatch").unwrap();
    library.see_from(&hatch.sheet);
    assert!(library.proposed().is_none());
    assert!(library.entries.iter().all(|e| !e.misfits.is_empty()));
}
