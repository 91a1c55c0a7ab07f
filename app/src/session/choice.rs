//! What can be opened: a port, a scenario, a recording; and what there is to choose from.

use crate::fault::Fault;
use crate::setup::{self, Setup};
use keyway_acquisition::port;
use keyway_acquisition::simulator::scenario::{Scenario, ScenarioError};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Scenario that opens when nothing else is asked for.
pub const DEFAULT_SCENARIO: &str = "default";

/// A source of samples.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Choice {
    /// Scope at a serial port or pseudo-terminal.
    Port(String),
    /// Virtual scope: name of a scenario or path of its file.
    Scenario(String),
    /// Recording.
    Recording(PathBuf),
}

/// What the Source panel offers.
#[derive(Debug, Clone, Default)]
pub struct Offer {
    /// Ports.
    pub ports: Vec<PortOffer>,
    /// Scenarios.
    pub scenarios: Vec<ScenarioOffer>,
}

/// A port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortOffer {
    /// Path.
    pub path: String,
    /// What is known of it.
    pub about: String,
}

/// A scenario.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScenarioOffer {
    /// Name by which it is opened.
    pub name: String,
    /// One line.
    pub title: String,
    /// Code and complaint.
    pub story: String,
}

impl Offer {
    /// Everything that can be chosen now.
    pub fn now() -> Self {
        let mut offer = Self {
            ports: Vec::new(),
            scenarios: Scenario::names()
                .filter_map(|name| Scenario::named(name).ok())
                .map(|s| ScenarioOffer {
                    story: story(&s),
                    name: s.name,
                    title: s.title,
                })
                .collect(),
        };
        offer.look_again();
        offer
    }

    /// Lists the ports again.
    pub fn look_again(&mut self) {
        self.ports = port::list()
            .into_iter()
            .map(|p| PortOffer {
                path: p.path,
                about: p.description,
            })
            .collect();
    }
}

/// A scenario by name, or by the path of its file.
pub fn scenario(name: &str) -> Result<Scenario, Fault> {
    let path = Path::new(name);
    let found = match Scenario::named(name) {
        Err(ScenarioError::Unknown { .. }) if name.ends_with(".toml") || path.is_file() => {
            Scenario::load(path)
        }
        found => found,
    };
    found.map_err(|e| Fault::Scenario(Arc::from(e.to_string())))
}

/// Code and complaint in one line.
pub fn story(scenario: &Scenario) -> String {
    let story = &scenario.story;
    if story.code.is_empty() {
        story.complaint.clone()
    } else {
        format!("{} · {}", story.code, story.complaint)
    }
}

/// Sheet and plan for a source: the files that are named, else what the scenario asks for, else
/// the light van.
pub fn setup_for(
    scenario: Option<&Scenario>,
    sheet: Option<&Path>,
    leads: Option<&Path>,
) -> Result<Setup, Fault> {
    Setup::load(
        sheet,
        leads,
        scenario.map_or(setup::LIGHT_VAN, |s| &s.sheet),
    )
}
