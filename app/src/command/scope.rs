//! `keyway scope`: a virtual scope for another program, or another `keyway`, to connect to.

use super::{Outcome, asked_to_end};
use crate::fault::Fault;
use crate::output::{self, Reader};
use crate::session::Bench;
use crate::session::choice::{self, DEFAULT_SCENARIO, Offer};
use clap::Args;
use keyway_acquisition::simulator::device::Profile;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::pty::PtyScope;
use keyway_acquisition::simulator::sampler::Pacing;
use serde::Serialize;
use std::sync::Arc;

/// Run a virtual scope another program can connect to.
///
/// Prints the path to open, then serves one program after another until it is interrupted. It
/// speaks the same protocol over the same kind of line as a real scope.
#[derive(Debug, Args)]
pub struct Scope {
    /// Scenario: a name or a TOML file.
    #[arg(long, value_name = "NAME|FILE", default_value = DEFAULT_SCENARIO)]
    pub scenario: String,
    /// Seed of noise and unevenness: the same seed gives the same samples.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// List the built-in scenarios and end.
    #[arg(long)]
    pub list: bool,
    /// JSON instead of text, for the list and for the path.
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
struct Listed<'a> {
    name: &'a str,
    title: &'a str,
    story: &'a str,
}

#[derive(Serialize)]
struct Serving<'a> {
    path: &'a str,
}

impl Scope {
    /// Lists, or serves until interrupted.
    pub fn run(self) -> Result<Outcome, Fault> {
        if self.list {
            return self.list();
        }
        let scenario = choice::scenario(&self.scenario)?;
        let engine = Engine::from_scenario(&scenario, self.seed);
        let bench = Bench::new()?;
        let Some(runtime) = bench.runtime() else {
            return Ok(Outcome::Done);
        };
        runtime.block_on(async {
            let scope = PtyScope::open(Box::new(engine), &Profile::default(), Pacing::RealTime)
                .map_err(|e| Fault::Link(Arc::from(e.to_string())))?;
            let reader = if self.json {
                output::json(&Serving { path: scope.path() })?
            } else {
                output::line(scope.path())?
            };
            if reader == Reader::There {
                tokio::select! {
                    () = scope.serve() => {}
                    () = asked_to_end() => {}
                }
            }
            Ok(Outcome::Done)
        })
    }

    fn list(&self) -> Result<Outcome, Fault> {
        let offer = Offer::now();
        if self.json {
            let rows: Vec<Listed<'_>> = offer
                .scenarios
                .iter()
                .map(|s| Listed {
                    name: &s.name,
                    title: &s.title,
                    story: &s.story,
                })
                .collect();
            let _reader = output::json(&rows)?;
            return Ok(Outcome::Done);
        }
        for s in &offer.scenarios {
            if output::line(&format!("{:<26}{}", s.name, s.title))? == Reader::Gone {
                break;
            }
        }
        Ok(Outcome::Done)
    }
}
