//! Imports a capture on a thread of its own.

use crate::fault::Fault;
use crate::screen::import::{Request, Sheet};
use crate::setup::{self, Setup};
use crossbeam_channel::{Receiver, TryRecvError, bounded};
use keyway_acquisition::import::preview::Preview;
use keyway_acquisition::import::{self, Card, Progress, Watch};
use keyway_analysis::engine::Sensor;
use keyway_analysis::lead::{CamId, CamKind, Role};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::JoinHandle;

/// An import that runs. Dropping it stops it and waits for its end.
#[derive(Debug)]
pub struct Importer {
    recording: PathBuf,
    /// Bits of the share that is done.
    share: Arc<AtomicU64>,
    stop: Arc<AtomicBool>,
    /// One end, told once.
    end: Receiver<Result<Vec<String>, Fault>>,
    thread: Option<JoinHandle<()>>,
}

/// How far an import is.
#[derive(Debug, Clone, PartialEq)]
pub enum Stand {
    /// This share is done, 0 to 1.
    Running(f64),
    /// The recording is there; what has to be known of it, as sentences.
    Done(PathBuf, Vec<String>),
    /// There is no recording.
    Failed(Fault),
}

impl Importer {
    /// Begins.
    pub fn start(request: Request) -> Result<Self, Fault> {
        let sheet = sheet_text(&request.sheet)?;
        let share = Arc::new(AtomicU64::new(0));
        let stop = Arc::new(AtomicBool::new(false));
        let (ended, end) = bounded(1);
        let recording = request.recording.clone();
        if let Some(folder) = recording.parent() {
            std::fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
        }
        let thread = std::thread::Builder::new()
            .name("import".to_owned())
            .spawn({
                let (share, stop) = (Arc::clone(&share), Arc::clone(&stop));
                // With nobody left to hear it, it was dropped on purpose.
                move || drop(ended.send(run(&request, &sheet, &share, &stop)))
            })
            .map_err(|e| Fault::Start {
                what: "the import",
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            recording,
            share,
            stop,
            end,
            thread: Some(thread),
        })
    }

    /// Tells it to stop; it does so within some milliseconds.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// How far it is. The end is told once.
    pub fn look(&self) -> Stand {
        match self.end.try_recv() {
            Err(TryRecvError::Empty) => {
                Stand::Running(f64::from_bits(self.share.load(Ordering::Relaxed)))
            }
            Ok(Ok(remarks)) => Stand::Done(self.recording.clone(), remarks),
            Ok(Err(fault)) => Stand::Failed(fault),
            Err(TryRecvError::Disconnected) => Stand::Failed(Fault::Import(Arc::from(
                "the import stopped by a fault of the program",
            ))),
        }
    }
}

impl Drop for Importer {
    fn drop(&mut self) {
        self.stop();
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the import stopped by a fault of the program");
        }
    }
}

fn run(
    request: &Request,
    sheet: &str,
    share: &AtomicU64,
    stop: &AtomicBool,
) -> Result<Vec<String>, Fault> {
    let card = Card {
        engine_sheet: sheet.to_owned(),
        note: format!("Imported from {}", request.capture.display()),
        software: format!("Keyway {}", env!("CARGO_PKG_VERSION")),
    };
    let watch = Watch {
        progress: &|p: Progress| share.store(p.share().to_bits(), Ordering::Relaxed),
        stop,
    };
    check(request, sheet)?;
    import::run(
        &request.capture,
        &request.plan,
        &request.recording,
        &card,
        watch,
    )
    .map(|summary| summary.remarks)
    .map_err(|e| Fault::Import(Arc::from(e.to_string())))
}

/// Sheet and roles must fit before hours of samples are read.
fn check(request: &Request, sheet: &str) -> Result<(), Fault> {
    let preview = import::inspect(&request.capture, &request.plan)
        .map_err(|e| Fault::Import(Arc::from(e.to_string())))?;
    setup_for(&preview, &request.sheet.to_string(), sheet).map(drop)
}

/// The sheet with the lead plan of the columns, or why they do not go together.
pub fn setup_for(preview: &Preview, name: &str, sheet: &str) -> Result<Setup, Fault> {
    let file = preview.path.display();
    let setup = Setup::read(
        name,
        sheet,
        &format!("columns of {file}"),
        &preview.lead_plan(),
    )?;
    let leads = setup.plan.leads.iter().zip(&preview.columns);
    let mut levels =
        leads.filter(|(lead, column)| lead.role == Role::Crank && column.unit.is_none());
    match levels.next() {
        Some((_, column)) if setup.sheet.crank.sensor == Sensor::Vr => {
            Err(Fault::Import(Arc::from(format!(
                "{file}: the crank column \"{}\" holds levels 0 and 1, but the sheet '{}' has a VR sensor, whose zero crossings levels do not show; name a sheet with sensor = \"hall\" and the edge that is accurate as active_edge",
                column.name, setup.sheet.name
            ))))
        }
        _ => Ok(setup),
    }
}

/// A sheet as written.
pub fn sheet_text(sheet: &Sheet) -> Result<String, Fault> {
    match sheet {
        Sheet::BuiltIn(name) => Ok(Setup::load(None, None, name)?.sheet_text.to_string()),
        Sheet::File(path) => std::fs::read_to_string(path).map_err(|e| Fault::unreadable(path, &e)),
    }
}

/// The roles a column can have, as in a lead plan.
pub fn roles() -> Vec<String> {
    let cams = [CamKind::Intake, CamKind::Exhaust]
        .into_iter()
        .flat_map(|kind| [1, 2].map(|bank| CamId { kind, bank }));
    let of_cams = cams.flat_map(|id| [Role::Cam(id), Role::Command(id), Role::Current(id)]);
    [Role::Crank]
        .into_iter()
        .chain(of_cams)
        .chain([
            Role::StarterCurrent,
            Role::Supply,
            Role::Pressure,
            Role::Spare,
        ])
        .map(|role| role.to_string())
        .collect()
}

/// The sheets one can choose: those built in, then those in this folder.
pub fn sheets(folder: &Path) -> Vec<Sheet> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    setup::built_in_names()
        .map(Sheet::BuiltIn)
        .chain(files.into_iter().map(Sheet::File))
        .collect()
}
