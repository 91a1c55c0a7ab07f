//! An engine sheet with another tone wheel: what was recognised in place of what was written. The
//! sheet's file is never touched; the amended text is used for a session or saved under a new name.

use crate::fault::Fault;
use crate::setup::Setup;
use keyway_analysis::engine::{EdgeKind, EngineSheet, Sensor};
use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml_edit::{DocumentMut, Item, TableLike, Value, value};

/// The crank part of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Amendment {
    /// Wheel, in the notation of engine sheets.
    pub wheel: String,
    /// Kind of sensor.
    pub sensor: Sensor,
    /// The edge that marks the tooth.
    pub active_edge: EdgeKind,
}

/// What a sheet calls a kind of sensor.
pub fn sensor_word(sensor: Sensor) -> &'static str {
    match sensor {
        Sensor::Vr => "vr",
        Sensor::Hall => "hall",
    }
}

/// What a sheet calls an edge.
pub fn edge_word(edge: EdgeKind) -> &'static str {
    match edge {
        EdgeKind::Rising => "rising",
        EdgeKind::Falling => "falling",
    }
}

impl Amendment {
    /// What a sheet has now.
    pub fn of(sheet: &EngineSheet) -> Self {
        let crank = &sheet.crank;
        Self {
            wheel: crank.wheel.clone(),
            sensor: crank.sensor,
            active_edge: crank.active_edge,
        }
    }

    /// The lines to copy into a sheet.
    pub fn lines(&self) -> String {
        format!(
            "[crank]\nwheel = \"{}\"\nsensor = \"{}\"\nactive_edge = \"{}\"",
            self.wheel,
            sensor_word(self.sensor),
            edge_word(self.active_edge)
        )
    }

    /// The setup with this crank. Comments and all else of the sheet's text stay; but the wheel does
    /// not tell where TDC is, so that the cam windows are no longer known-good.
    pub fn applied(&self, setup: &Setup) -> Result<Setup, Fault> {
        let mistake = |why: String| Fault::Setup(Arc::from(why));
        let mut sheet: DocumentMut = setup
            .sheet_text
            .parse()
            .map_err(|e: toml_edit::TomlError| mistake(e.message().to_owned()))?;
        let name = format!("{}, crank as recognised", setup.sheet.name);
        if !setup.sheet.name.ends_with("crank as recognised") {
            sheet["name"] = value(name);
        }
        let crank = sheet["crank"]
            .as_table_like_mut()
            .ok_or_else(|| mistake("the sheet has no table [crank]".to_owned()))?;
        for (key, word) in [
            ("wheel", self.wheel.as_str()),
            ("sensor", sensor_word(self.sensor)),
            ("active_edge", edge_word(self.active_edge)),
        ] {
            put(crank, key, value(word));
        }
        // The cams are written as tables of their own or in one line.
        match sheet.get_mut("cams") {
            Some(Item::ArrayOfTables(cams)) => {
                for cam in cams.iter_mut() {
                    put(cam, "known_good", value(false));
                    let _reference = cam.remove("reference");
                }
            }
            Some(Item::Value(Value::Array(cams))) => {
                for cam in cams.iter_mut().filter_map(Value::as_inline_table_mut) {
                    put(cam, "known_good", value(false));
                    let _reference = cam.remove("reference");
                }
            }
            _ => {}
        }
        Setup::read(
            "the amended sheet",
            &sheet.to_string(),
            "lead plan",
            &setup.plan_text,
        )
    }
}

/// Puts a value in the place of another and keeps the comment behind it.
pub(crate) fn put(table: &mut dyn TableLike, key: &str, mut item: Item) {
    if let (Some(new), Some(old)) = (item.as_value_mut(), table.get(key).and_then(Item::as_value)) {
        *new.decor_mut() = old.decor().clone();
    }
    // In its place, because inserting anew would drop the comment above it.
    match table.get_mut(key) {
        Some(own) => *own = item,
        None => drop(table.insert(key, item)),
    }
}

/// Saves a sheet's text in a folder under a name that no file has yet; the file.
pub fn save_new(folder: &Path, engine: &str, text: &str) -> Result<PathBuf, Fault> {
    fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
    let stem: String = engine
        .chars()
        .map(|c| {
            if c.is_alphanumeric() {
                c.to_ascii_lowercase()
            } else {
                '-'
            }
        })
        .collect();
    let stem: Vec<&str> = stem.split('-').filter(|part| !part.is_empty()).collect();
    let stem = stem.join("-");
    for number in 1_u32.. {
        let name = match number {
            1 => format!("{stem}.toml"),
            _ => format!("{stem}-{number}.toml"),
        };
        let path = folder.join(name);
        match File::options().write(true).create_new(true).open(&path) {
            Ok(mut file) => {
                return file
                    .write_all(text.as_bytes())
                    .map(|()| path.clone())
                    .map_err(|e| Fault::unwritable(path, &e));
            }
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
            Err(e) => return Err(Fault::unwritable(path, &e)),
        }
    }
    Err(Fault::Setup(Arc::from("no free name for the sheet")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn amendment() -> Amendment {
        Amendment {
            wheel: "36-1".to_owned(),
            sensor: Sensor::Hall,
            active_edge: EdgeKind::Rising,
        }
    }

    #[test]
    fn an_amended_sheet_keeps_its_comments_and_loses_its_reference() {
        let setup = Setup::built_in().unwrap();
        let amended = amendment().applied(&setup).unwrap();
        assert_eq!(Amendment::of(&amended.sheet), amendment());
        assert!(amended.sheet.cams.iter().all(|c| !c.known_good));
        assert_eq!(amended.sheet.cams[0].windows, setup.sheet.cams[0].windows);
        assert_eq!(amended.plan, setup.plan);
        let comments = |text: &str| text.matches('#').count();
        assert_eq!(comments(&amended.sheet_text), comments(&setup.sheet_text));
        let again = amendment().applied(&amended).unwrap();
        assert_eq!(again.sheet.name, amended.sheet.name);
    }

    #[test]
    fn a_sheet_written_in_single_lines_is_amended_as_well() {
        let setup = Setup::built_in().unwrap();
        let mut sheet: DocumentMut = setup.sheet_text.parse().unwrap();
        let crank = sheet.remove("crank").unwrap().into_table().unwrap();
        let cams = sheet.remove("cams").unwrap();
        let cams = cams.into_array_of_tables().unwrap().into_array();
        sheet["crank"] = value(crank.into_inline_table());
        sheet["cams"] = value(cams);
        let text = sheet.to_string();
        assert!(text.contains("cams = ["), "{text}");
        let setup = Setup::read("single lines", &text, "plan", &setup.plan_text).unwrap();
        assert!(setup.sheet.cams.iter().all(|c| c.known_good));
        let amended = amendment().applied(&setup).unwrap();
        assert_eq!(Amendment::of(&amended.sheet), amendment());
        assert!(amended.sheet.cams.iter().all(|c| !c.known_good));
    }

    #[test]
    fn the_lines_to_copy_are_what_is_applied() {
        let lines: toml::Table = amendment().lines().parse().unwrap();
        let amended = amendment().applied(&Setup::built_in().unwrap()).unwrap();
        let whole: toml::Table = amended.sheet_text.parse().unwrap();
        for (key, value) in lines["crank"].as_table().unwrap() {
            assert_eq!(&whole["crank"][key], value);
        }
    }

    #[test]
    fn a_saved_sheet_never_takes_the_place_of_another() {
        let folder = std::env::temp_dir().join(format!("keyway-sheets-{}", std::process::id()));
        let first = save_new(&folder, "Light van 2.0, two phasers", "a").unwrap();
        let second = save_new(&folder, "Light van 2.0, two phasers", "b").unwrap();
        assert_eq!(first.file_name().unwrap(), "light-van-2-0-two-phasers.toml");
        assert_eq!(
            second.file_name().unwrap(),
            "light-van-2-0-two-phasers-2.toml"
        );
        assert_eq!(fs::read_to_string(&first).unwrap(), "a");
        fs::remove_dir_all(folder).unwrap();
    }
}
