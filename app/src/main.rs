//! Keyway: the binary.

use std::process::ExitCode;

fn main() -> ExitCode {
    keyway::cli::run()
}
