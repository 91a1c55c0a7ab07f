//! An engine sheet with the angles of a reference in place of its own. The sheet's file is never touched; the text is
//! what a session works with and what its recordings carry.

use crate::amendment::put;
use crate::fault::Fault;
use crate::setup::Setup;
use keyway_analysis::reference::Reference;
use keyway_analysis::reference::fit::Applied;
use std::sync::Arc;
use toml_edit::{Array, DocumentMut, InlineTable, Item, TableLike, Value, value};

/// The setup with this reference, or why it does not belong to the engine.
pub fn applied(setup: &Setup, reference: &Reference) -> Result<Setup, Fault> {
    let mistake = |why: String| Fault::Reference(Arc::from(why));
    let cams = reference.onto(&setup.sheet).map_err(|misfits| {
        let why: Vec<String> = misfits.iter().map(ToString::to_string).collect();
        mistake(format!(
            "the reference \"{}\" is not for this engine: {}",
            reference.name,
            why.join("; ")
        ))
    })?;
    let mut sheet: DocumentMut = (setup.sheet_text.parse())
        .map_err(|e: toml_edit::TomlError| mistake(e.message().to_owned()))?;
    match sheet.get_mut("cams") {
        Some(Item::ArrayOfTables(tables)) => {
            for table in tables.iter_mut() {
                amend(table, &cams);
            }
        }
        Some(Item::Value(Value::Array(tables))) => {
            for table in tables.iter_mut().filter_map(Value::as_inline_table_mut) {
                amend(table, &cams);
            }
        }
        _ => {}
    }
    let name = format!("the engine sheet with the reference \"{}\"", reference.name);
    Setup::read(&name, &sheet.to_string(), "lead plan", &setup.plan_text)
}

/// Puts what the reference says of it into a cam's table.
fn amend(table: &mut dyn TableLike, cams: &[Applied]) {
    let id = table.get("cam").and_then(Item::as_str).unwrap_or_default();
    let Some(cam) = cams.iter().find(|c| c.cam.to_string() == id) else {
        return;
    };
    let windows: Array = (cam.windows.iter())
        .map(|w| Value::Array(w.iter().copied().collect()))
        .collect();
    put(table, "windows", value(windows));
    put(table, "known_good", value(cam.known_good));
    put(table, "tolerance", value(cam.tolerance.0));
    let mut from = InlineTable::new();
    let own = &cam.reference;
    let _new = from.insert("name", own.name.as_str().into());
    let _new = from.insert("quality", own.quality.as_str().into());
    let _new = from.insert("uncertainty", own.uncertainty.0.into());
    if let Some(edges) = &own.edges {
        let numbers: Array = edges
            .iter()
            .filter_map(|&n| i64::try_from(n).ok())
            .collect();
        let _new = from.insert("edges", Value::Array(numbers));
    }
    put(table, "reference", value(from));
}

#[cfg(test)]
mod tests {
    use super::*;
    use keyway_analysis::lead::CamId;
    use keyway_analysis::units::CrankDegrees;

    fn reference() -> Reference {
        Reference::read(include_str!(
            "../../../analysis/src/reference/examples/measured.toml"
        ))
        .unwrap()
    }

    #[test]
    fn the_sheet_gets_the_angles_and_says_whose_they_are() {
        let setup = Setup::built_in().unwrap();
        let with = applied(&setup, &reference()).unwrap();
        let cam = with.sheet.cam(CamId::INTAKE).unwrap();
        assert!(cam.known_good);
        assert_eq!(
            cam.windows[0].map(CrankDegrees),
            [40.46, 130.41].map(CrankDegrees)
        );
        let from = cam.reference.as_ref().unwrap();
        assert_eq!(from.name, "Light van 2.0, bench engine");
        assert_eq!(from.quality, "one engine, ±2.5°");
        // The comments stay, and whoever reads the sheet again finds the same.
        let comments = |text: &str| text.matches('#').count();
        assert_eq!(comments(&with.sheet_text), comments(&setup.sheet_text));
        let again = applied(&with, &reference()).unwrap();
        assert_eq!(again.sheet, with.sheet);
    }

    #[test]
    fn a_wrong_one_is_refused_with_why() {
        let hatch = Setup::load(None, None, "small-hatch").unwrap();
        let fault = applied(&hatch, &reference()).unwrap_err();
        let said = fault.to_string();
        assert!(said.contains("is not for this engine"), "{said}");
        assert!(said.contains("Light van 2.0, two phasers"), "{said}");
    }
}
