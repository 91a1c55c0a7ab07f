//! Logs: to standard error, or to a file when one is named; never to standard output.

use crate::fault::Fault;
use std::fs::File;
use std::path::Path;
use std::sync::{Arc, Mutex};
use tracing_subscriber::EnvFilter;

/// Starts logging. `verbosity` 0 shows warnings, 1 what happens, 2 and more also details;
/// the variable `KEYWAY_LOG` overrides it with a filter of its own.
pub fn start(verbosity: u8, file: Option<&Path>) -> Result<(), Fault> {
    let level = match verbosity {
        0 => "warn,wgpu=error,iced=error",
        1 => "warn,keyway=info,keyway_acquisition=info,keyway_protocol=info",
        _ => "info,keyway=debug,keyway_acquisition=debug,keyway_protocol=debug",
    };
    let filter = EnvFilter::try_from_env("KEYWAY_LOG").unwrap_or_else(|_| EnvFilter::new(level));
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(false);
    let started = match file {
        None => builder.with_writer(std::io::stderr).try_init(),
        Some(path) => {
            let file = File::options()
                .create(true)
                .append(true)
                .open(path)
                .map_err(|e| Fault::unwritable(path, &e))?;
            builder.with_writer(Mutex::new(file)).try_init()
        }
    };
    started.map_err(|e| Fault::Start {
        what: "the log",
        why: Arc::from(e.to_string()),
    })
}
