//! `keyway ports`: the serial ports of this machine.

use super::Outcome;
use crate::fault::Fault;
use crate::output;
use clap::Args;
use keyway_acquisition::port;
use serde::Serialize;

/// List the serial ports.
#[derive(Debug, Args)]
pub struct Ports {
    /// One JSON array instead of lines.
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
struct Row<'a> {
    path: &'a str,
    description: &'a str,
}

impl Ports {
    /// Prints them.
    pub fn run(self) -> Result<Outcome, Fault> {
        let ports = port::list();
        if self.json {
            let rows: Vec<Row<'_>> = ports
                .iter()
                .map(|p| Row {
                    path: &p.path,
                    description: &p.description,
                })
                .collect();
            let _reader = output::json(&rows)?;
        } else if ports.is_empty() {
            output::complain(
                "No serial port found. Plug the scope in; without one, try `keyway scope`.",
            );
        }
        if !self.json {
            for p in &ports {
                if output::line(&format!("{}\t{}", p.path, p.description))? == output::Reader::Gone
                {
                    break;
                }
            }
        }
        Ok(Outcome::Done)
    }
}
