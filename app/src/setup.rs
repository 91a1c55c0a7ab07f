//! The engine sheet and the lead plan a session works with, from files or built in.

use crate::fault::Fault;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::{LeadPlan, Role};
use std::fs;
use std::path::Path;
use std::sync::Arc;

const LIGHT_VAN: &str = include_str!("../assets/sheets/light-van.toml");
const LIGHT_VAN_LEADS: &str = include_str!("../assets/sheets/light-van-leads.toml");

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
    /// Reads both; a missing path takes the built-in light van.
    pub fn load(sheet: Option<&Path>, leads: Option<&Path>) -> Result<Self, Fault> {
        let (sheet_name, sheet) = text_of(sheet, "light-van.toml", LIGHT_VAN)?;
        let (plan_name, plan) = text_of(leads, "light-van-leads.toml", LIGHT_VAN_LEADS)?;
        Self::read(&sheet_name, &sheet, &plan_name, &plan)
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
    fn the_built_in_setup_is_sound() {
        let setup = Setup::load(None, None).unwrap();
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
        let fault = Setup::load(None, Some(&path)).unwrap_err();
        assert!(matches!(fault, Fault::Mistake { line: 4, .. }), "{fault}");
        fs::write(
            &path,
            "name = \"x\"\n[[leads]]\ninput = 1\nrole = \"crank\"\n[[leads]]\ninput = 1\nrole = \"supply\"\n",
        )
        .unwrap();
        let fault = Setup::load(None, Some(&path)).unwrap_err();
        assert!(
            fault.to_string().contains("input 1 is used twice"),
            "{fault}"
        );
        fs::remove_file(path).unwrap();
    }
}
