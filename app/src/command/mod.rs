//! The commands beside the dashboard, one file each.

pub mod analyse;
pub mod collect;
pub mod compare;
pub mod exhibit;
pub mod export;
pub mod import;
pub mod jobs;
pub mod ports;
pub mod record;
pub mod reference;
pub mod scope;
pub mod watch;

use crate::application::window;
use crate::cli::SourceArgs;
use crate::fault::Fault;
use crate::output;
use crate::session::choice::{Choice, DEFAULT_SCENARIO};
use crate::session::{Bench, Plan};
use crate::settings::Settings;
use crate::status::LinkState;
use crate::theme::Look;
use crate::work::{Progress, Stand, Work};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Time between two looks at long work.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// How a command ended well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// It is done.
    Done,
    /// It is done, and command and position disagreed at some time.
    Disagreed,
}

impl SourceArgs {
    /// What these options ask for; without any, the virtual scope with the default scenario.
    pub fn plan(self) -> Plan {
        let choice = match (self.port, self.scenario) {
            (Some(port), _) => Choice::Port(port),
            (None, Some(scenario)) => Choice::Scenario(scenario),
            (None, None) => Choice::Scenario(DEFAULT_SCENARIO.to_owned()),
        };
        Plan {
            sheet: self.sheet,
            leads: self.leads,
            reference: self.reference,
            seed: self.seed,
            ..Plan::of(choice)
        }
    }
}

/// Opens the dashboard.
pub fn dashboard(
    source: SourceArgs,
    play: Option<PathBuf>,
    look: Option<Look>,
) -> Result<Outcome, Fault> {
    let place = Settings::place();
    let mut settings = match &place {
        // A slip in the settings must not keep a technician from measuring.
        Some(path) => Settings::load(path).unwrap_or_else(|fault| {
            output::complain(&format!("keyway: {fault}; the usual settings are used"));
            Settings::default()
        }),
        None => Settings::default(),
    };
    if let Some(look) = look {
        settings.look = look;
    }
    let plan = match play {
        Some(path) => Plan::of(Choice::Recording(path)),
        None => source.plan(),
    };
    // A mistake on the command line is told there, not in a window.
    let mut bench = Bench::new()?;
    bench.open(&plan)?;
    let stop = interrupt(&bench);
    window::run(bench, plan, settings, place, stop)?;
    Ok(Outcome::Done)
}

/// A flag that Ctrl-C, or the end that a service manager asks for, raises.
fn interrupt(bench: &Bench) -> Arc<AtomicBool> {
    let raised = Arc::new(AtomicBool::new(false));
    if let Some(runtime) = bench.runtime() {
        let flag = Arc::clone(&raised);
        let _task = runtime.spawn(async move {
            asked_to_end().await;
            flag.store(true, Ordering::Relaxed);
        });
    }
    raised
}

/// Does long work while standard error says how far it is; Ctrl-C cancels it.
fn see_through<T: Send + 'static>(
    what: &'static str,
    doing: &str,
    task: impl FnOnce(&Progress) -> Result<T, Fault> + Send + 'static,
) -> Result<T, Fault> {
    let bench = Bench::new()?;
    let stop = interrupt(&bench);
    let work = Work::start(what, task)?;
    loop {
        match work.look() {
            Stand::Running(share) => {
                if stop.load(Ordering::Relaxed) {
                    work.cancel();
                }
                output::progress(&format!("{doing}: {:3.0} %", 100.0 * share));
                std::thread::sleep(LOOK_EVERY);
            }
            Stand::Ended(end) => {
                output::progress("");
                return end;
            }
        }
    }
}

/// Returns at Ctrl-C or, where there is one, at the signal to end.
async fn asked_to_end() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut end) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = end.recv() => {}
                _ = tokio::signal::ctrl_c() => {}
            }
            return;
        }
    }
    // Without a handler the system ends the program by itself.
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// The sentence of a source that has given up.
fn given_up(state: &LinkState) -> Result<(), Fault> {
    match state {
        LinkState::Failed(why) => Err(Fault::Link(Arc::clone(why))),
        LinkState::Idle
        | LinkState::Connecting
        | LinkState::Streaming
        | LinkState::Lost(_)
        | LinkState::Playing => Ok(()),
    }
}

/// A duration on the command line.
fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(n) if n.is_finite() && n > 0.0 => Ok(n),
        _ => Err("a number of seconds above 0 is needed".to_owned()),
    }
}
