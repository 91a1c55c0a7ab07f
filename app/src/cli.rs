//! The command line: the dashboard without a command, and the commands beside it.

use crate::command::{self, Outcome};
use crate::fault::Fault;
use crate::theme::Look;
use crate::{log, output};
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::error::ErrorKind;
use clap::{ArgAction, Args, CommandFactory, Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;

const EXIT_CODES: &str = "\
Exit codes:
  0  done
  1  failed; one sentence on standard error says why and what to do
  2  the command line was not understood
  3  `watch` only: command and position disagreed at some time";

/// Tells whether a camshaft-position code comes from the command, the hydraulics or the mechanics.
///
/// Without a command the dashboard opens, on the built-in virtual scope unless a port, a scenario
/// or a recording is named.
#[derive(Debug, Parser)]
#[command(name = "keyway", version, after_help = EXIT_CODES)]
pub struct Cli {
    /// What to do instead of opening the dashboard.
    #[command(subcommand)]
    pub command: Option<Command>,
    /// Where samples come from and how they are read.
    #[command(flatten)]
    pub source: SourceArgs,
    /// Play this recording instead of opening a scope.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["port", "scenario"])]
    pub play: Option<PathBuf>,
    /// Look of the dashboard; the last one used is kept.
    #[arg(long, value_parser = looks())]
    pub theme: Option<Look>,
    /// Write logs to this file instead of standard error.
    #[arg(long, value_name = "FILE", global = true)]
    pub log_file: Option<PathBuf>,
    /// Log more; twice for details.
    #[arg(short, long, action = ArgAction::Count, global = true)]
    pub verbose: u8,
}

/// Where samples come from and how they are read.
#[derive(Debug, Clone, Default, Args)]
pub struct SourceArgs {
    /// Scope at this serial port; `keyway ports` lists them. A pseudo-terminal works too.
    #[arg(long, value_name = "PATH", conflicts_with = "scenario")]
    pub port: Option<String>,
    /// Virtual scope with this scenario: a name (`keyway scope --list`) or a TOML file.
    #[arg(long, value_name = "NAME|FILE")]
    pub scenario: Option<String>,
    /// Engine sheet; without one, that of the scenario or the built-in light van.
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
    /// Lead plan; without one, the built-in eight leads.
    #[arg(long, value_name = "FILE")]
    pub leads: Option<PathBuf>,
    /// Known-good reference whose angles take the place of the sheet's; a recording made with it keeps them.
    #[arg(long, value_name = "FILE")]
    pub reference: Option<PathBuf>,
    /// Seed of the virtual scope: the same seed gives the same samples.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
}

impl SourceArgs {
    fn is_given(&self) -> bool {
        let named = self.port.is_some() || self.scenario.is_some();
        let read = self.sheet.is_some() || self.leads.is_some() || self.reference.is_some();
        named || read || self.seed != 1
    }
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// List the serial ports.
    Ports(command::ports::Ports),
    /// Print live readings without a window.
    Watch(command::watch::Watch),
    /// Record without a window.
    Record(command::record::Record),
    /// Measure a recording from end to end.
    Analyse(command::analyse::Analyse),
    /// Compare recordings, each with the first, or the two banks of one.
    Compare(command::compare::Compare),
    /// Make a recording of a capture from another instrument.
    Import(command::import::Import),
    /// List jobs, or find them again.
    Jobs(command::jobs::Jobs),
    /// Make one table of all recordings of a folder of jobs.
    Collect(command::collect::Collect),
    /// Write samples or results of a recording as CSV, Parquet or WAV.
    Export(command::export::Export),
    /// Draw an exhibit again from its document.
    Exhibit(command::exhibit::Exhibit),
    /// Known-good references: list, take from a recording, combine, check, import.
    Reference(command::reference::ReferenceCommand),
    /// Run a virtual scope another program can connect to.
    Scope(command::scope::Scope),
}

/// The names of the looks.
fn looks() -> impl TypedValueParser<Value = Look> {
    PossibleValuesParser::new(["workshop", "daylight"]).map(|name| match name.as_str() {
        "daylight" => Look::Daylight,
        _ => Look::Workshop,
    })
}

/// Reads the command line, does what it says and gives the exit code.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    if let Some(slip) = cli.misplaced() {
        slip.exit();
    }
    match obey(cli) {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Disagreed) => ExitCode::from(3),
        Err(fault) => {
            output::complain(&format!("keyway: {fault}"));
            ExitCode::FAILURE
        }
    }
}

impl Cli {
    /// What stands before a command is the dashboard's. Passing over it in silence would measure
    /// another source than the one that was named.
    fn misplaced(&self) -> Option<clap::Error> {
        let is_dashboards = self.source.is_given() || self.play.is_some() || self.theme.is_some();
        (self.command.is_some() && is_dashboards).then(|| {
            Self::command().error(
                ErrorKind::ArgumentConflict,
                "options stand after the command they are for: keyway watch --port PATH",
            )
        })
    }
}

fn obey(cli: Cli) -> Result<Outcome, Fault> {
    log::start(cli.verbose, cli.log_file.as_deref())?;
    match cli.command {
        Some(Command::Ports(ports)) => ports.run(),
        Some(Command::Watch(watch)) => watch.run(),
        Some(Command::Record(record)) => record.run(),
        Some(Command::Analyse(analyse)) => analyse.run(),
        Some(Command::Compare(compare)) => compare.run(),
        Some(Command::Import(import)) => import.run(),
        Some(Command::Jobs(jobs)) => jobs.run(),
        Some(Command::Collect(collect)) => collect.run(),
        Some(Command::Export(export)) => export.run(),
        Some(Command::Exhibit(exhibit)) => exhibit.run(),
        Some(Command::Reference(reference)) => reference.run(),
        Some(Command::Scope(scope)) => scope.run(),
        None => command::dashboard(cli.source, cli.play, cli.theme),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn a_source_before_a_command_is_refused() {
        let slip = |line: &str| {
            let cli = Cli::try_parse_from(line.split(' ')).unwrap();
            cli.misplaced().map(|e| e.exit_code())
        };
        assert_eq!(slip("keyway --port /dev/ttyACM0 watch"), Some(2));
        assert_eq!(slip("keyway --play a.mcap ports"), Some(2));
        assert_eq!(slip("keyway watch --port /dev/ttyACM0"), None);
        assert_eq!(slip("keyway --port /dev/ttyACM0"), None);
        assert_eq!(slip("keyway -v watch"), None);
    }

    #[test]
    fn log_options_stand_before_or_after_the_command() {
        for line in [
            "keyway -v --log-file l watch --seconds 3",
            "keyway watch --seconds 3 -v --log-file l",
        ] {
            let cli = Cli::try_parse_from(line.split(' ')).unwrap();
            assert_eq!(cli.verbose, 1);
            assert_eq!(cli.log_file.unwrap().to_str(), Some("l"));
        }
        assert!(
            Cli::try_parse_from(["keyway", "--port", "a", "--scenario", "b"]).is_err(),
            "one source at a time"
        );
    }
}
