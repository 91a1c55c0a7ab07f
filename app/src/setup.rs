//! The engine sheet and the lead plan a session works with, from files or built in.

use crate::fault::Fault;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::{LeadPlan, Role};
use std::fs;
use std::path::Path;
use std::sync::Arc;

/// Name of the sheet that is used when nothing else is said.
pub const LIGHT_VAN: &str = "light-van";

/// A built-in engine: its name, its sheet, its lead plan.
type BuiltIn = (&'static str, &'static str, &'static str);

const BUILT_IN: &[BuiltIn] = &[
    (
        LIGHT_VAN,
        include_str!("../assets/sheets/light-van.toml"),
        include_str!("../assets/sheets/light-van-leads.toml"),
    ),
    (
        "small-hatch",
        include_str!("../assets/sheets/small-hatch.toml"),
        include_str!("../assets/sheets/small-hatch-leads.toml"),
    ),
    (
        "estate-six",
        include_str!("../assets/sheets/estate-six.toml"),
        include_str!("../assets/sheets/estate-six-leads.toml"),
    ),
    (
        "pick-up",
        include_str!("../assets/sheets/pick-up.toml"),
        include_str!("../assets/sheets/pick-up-leads.toml"),
    ),
];

/// Names of the built-in engines.
pub fn built_in_names() -> impl Iterator<Item = &'static str> {
    BUILT_IN.iter().map(|engine| engine.0)
}

/// Sheet and plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// The engine.
    pub sheet: Arc<EngineSheet>,
    /// The leads.
    pub plan: Arc<LeadPlan>,
    /// The sheet as written, comments included: a recording keeps it.
    pub sheet_text: Arc<str>,
    /// The plan as written.
    pub plan_text: Arc<str>,
}

impl Setup {
    /// Reads both; where a path is missing, the built-in engine of this name stands in.
    pub fn load(sheet: Option<&Path>, leads: Option<&Path>, built_in: &str) -> Result<Self, Fault> {
        let Some((name, sheet_text, plan_text)) = BUILT_IN.iter().find(|e| e.0 == built_in) else {
            let known: Vec<&str> = BUILT_IN.iter().map(|e| e.0).collect();
            return Err(Fault::Setup(Arc::from(format!(
                "there is no built-in engine sheet '{built_in}'; name a file with --sheet, or use one of {}",
                known.join(", ")
            ))));
        };
        let (sheet_name, sheet) = text_of(sheet, &format!("{name}.toml"), sheet_text)?;
        let (plan_name, plan) = text_of(leads, &format!("{name}-leads.toml"), plan_text)?;
        Self::read(&sheet_name, &sheet, &plan_name, &plan)
    }

    /// The built-in light van.
    pub fn built_in() -> Result<Self, Fault> {
        Self::load(None, None, LIGHT_VAN)
    }

    /// Reads both from their texts; the names stand in front of whatever is wrong.
    pub fn read(
        sheet_name: &str,
        sheet_text: &str,
        plan_name: &str,
        plan_text: &str,
    ) -> Result<Self, Fault> {
        let sheet = EngineSheet::from_toml(sheet_text)
            .map_err(|e| Fault::mistake(sheet_name, sheet_text, &e))?;
        let plan =
            LeadPlan::from_toml(plan_text).map_err(|e| Fault::mistake(plan_name, plan_text, &e))?;
        let setup = Self {
            sheet: Arc::new(sheet),
            plan: Arc::new(plan),
            sheet_text: Arc::from(sheet_text),
            plan_text: Arc::from(plan_text),
        };
        setup.check(plan_name)?;
        Ok(setup)
    }

    /// What TOML cannot say: every input once, every role once, and no cam the sheet does not know.
    fn check(&self, name: &str) -> Result<(), Fault> {
        let wrong = |what: String| Err(Fault::Setup(Arc::from(format!("{name}: {what}"))));
        for (i, lead) in self.plan.leads.iter().enumerate() {
            if lead.input == 0 {
                return wrong("inputs are counted from 1, as printed at the socket".to_owned());
            }
            if !(lead.factor.is_finite() && lead.factor != 0.0) {
                return wrong(format!(
                    "input {}: the factor must be a number other than 0",
                    lead.input
                ));
            }
            let earlier = &self.plan.leads[..i];
            if earlier.iter().any(|other| other.input == lead.input) {
                return wrong(format!(
                    "input {} is used twice; give each lead its own",
                    lead.input
                ));
            }
            if lead.role != Role::Spare && earlier.iter().any(|other| other.role == lead.role) {
                return wrong(format!(
                    "'{}' is on two inputs; keep one and make the other spare",
                    lead.role
                ));
            }
            if let Role::Cam(id) | Role::Command(id) | Role::Current(id) = lead.role
                && self.sheet.cam(id).is_none()
            {
                return wrong(format!(
                    "'{}' needs a cam '{id}' in the engine sheet '{}'",
                    lead.role, self.sheet.name
                ));
            }
        }
        Ok(())
    }
}

fn text_of(
    path: Option<&Path>,
    built_in: &str,
    text: &'static str,
) -> Result<(String, String), Fault> {
    Ok(match path {
        None => (built_in.to_owned(), text.to_owned()),
        Some(path) => (
            path.display().to_string(),
            fs::read_to_string(path).map_err(|e| Fault::unreadable(path, &e))?,
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_setups_are_sound() {
        for (name, ..) in BUILT_IN {
            let _setup = Setup::load(None, None, name).unwrap();
        }
        let setup = Setup::load(None, None, LIGHT_VAN).unwrap();
        assert_eq!(setup.sheet.cams.len(), 2);
        assert_eq!(setup.plan.leads.len(), 8);
    }

    #[test]
    fn a_mistake_names_file_and_line() {
        let path = std::env::temp_dir().join(format!("keyway-leads-{}.toml", std::process::id()));
        fs::write(
            &path,
            "name = \"x\"\n[[leads]]\ninput = 1\nrole = \"krank\"\n",
        )
        .unwrap();
        let fault = Setup::load(None, Some(&path), LIGHT_VAN).unwrap_err();
        assert!(matches!(fault, Fault::Mistake { line: 4, .. }), "{fault}");
        fs::write(
            &path,
            "name = \"x\"\n[[leads]]\ninput = 1\nrole = \"crank\"\n[[leads]]\ninput = 1\nrole = \"supply\"\n",
        )
        .unwrap();
        let fault = Setup::load(None, Some(&path), LIGHT_VAN).unwrap_err();
        assert!(
            fault.to_string().contains("input 1 is used twice"),
            "{fault}"
        );
        fs::remove_file(path).unwrap();
    }
}
