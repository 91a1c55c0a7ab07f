//! The leads of a recording by the names under which they are exported.

use crate::fault::Fault;
use keyway_acquisition::export::Lead;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::{LeadPlan, Role};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Everything that was recorded: the leads in the order of the lead plan, then what is on other
/// inputs. The second is why the plan could not be used, if so: then all are inputs by their number.
pub fn of(recording: &Recording) -> (Vec<Lead>, Option<String>) {
    let recorded: BTreeSet<usize> = recording
        .streams()
        .flat_map(|s| s.enabled.iter().map(|n| n + 1))
        .collect();
    let (plan, why) = match LeadPlan::from_toml(&recording.header().lead_plan) {
        Ok(plan) => (plan.leads, None),
        Err(e) => (
            Vec::new(),
            Some(format!(
                "the lead plan in the recording cannot be read ({}): its inputs go by their numbers, as measured at the input",
                e.message().trim().replace('\n', "; ")
            )),
        ),
    };
    let mut leads: Vec<Lead> = plan
        .iter()
        .filter(|lead| recorded.contains(&lead.input) && lead.factor.is_finite())
        .map(|lead| Lead {
            input: lead.input,
            role: if lead.role == Role::Spare {
                String::new()
            } else {
                lead.role.to_string()
            },
            factor: lead.factor,
            // What the role makes of volts: of another unit it makes the same.
            unit: Some(lead.role.unit_at_tip("V").to_owned()).filter(|u| u != "V"),
        })
        .collect();
    // Spare ones last, as those that the plan does not know.
    leads.sort_by_key(|lead| lead.role.is_empty());
    for input in recorded {
        if leads.iter().all(|lead| lead.input != input) {
            leads.push(Lead {
                input,
                role: String::new(),
                factor: 1.0,
                unit: None,
            });
        }
    }
    (leads, why)
}

/// A lead as it is typed: "cam-intake", "command-exhaust-2", "input-7".
pub fn name(lead: &Lead) -> String {
    if lead.role.is_empty() {
        format!("input-{}", lead.input)
    } else {
        lead.role.replace(' ', "-")
    }
}

/// The leads of these names, in their order. Hyphens, underscores, spaces and case make no difference.
pub fn chosen(leads: &[Lead], names: &[String]) -> Result<Vec<Lead>, Fault> {
    let mut chosen: Vec<Lead> = Vec::new();
    for wanted in names {
        let Some(lead) = leads.iter().find(|l| plain(&name(l)) == plain(wanted)) else {
            let known: Vec<String> = leads.iter().map(name).collect();
            return Err(Fault::Export(Arc::from(format!(
                "no lead '{wanted}' was recorded; there are {}",
                known.join(", ")
            ))));
        };
        if !chosen.contains(lead) {
            chosen.push(lead.clone());
        }
    }
    Ok(chosen)
}

fn plain(name: &str) -> String {
    let words: Vec<String> = name
        .split(['-', '_', ' '])
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leads_are_found_by_any_writing_of_their_names() {
        let lead = |input, role: &str| Lead {
            input,
            role: role.to_owned(),
            factor: 1.0,
            unit: None,
        };
        let leads = [lead(1, "crank"), lead(4, "cam exhaust-2"), lead(7, "")];
        let words =
            |names: &[&str]| -> Vec<String> { names.iter().map(|n| (*n).to_owned()).collect() };
        let found = chosen(&leads, &words(&["Input 7", "cam_exhaust_2", "input-7"])).unwrap();
        assert_eq!(found, [leads[2].clone(), leads[1].clone()]);
        let fault = chosen(&leads, &words(&["cam-intake"])).unwrap_err();
        assert!(
            fault.to_string().ends_with("crank, cam-exhaust-2, input-7"),
            "{fault}"
        );
    }
}
