//! Writing recordings as files of other forms: the Export panel and the export that runs behind it.

use super::{Application, Message};
use crate::exchange::{results, samples};
use crate::fault::Fault;
use crate::figure;
use crate::screen::export::{self, Action, Export, Offer, Request, What};
use crate::session::playback;
use crate::work::{Progress, Stand, Work};
use iced::Task;
use keyway_acquisition::recording::reader::Recording;
use std::path::PathBuf;
use std::sync::Arc;

/// The panel, and the export that runs; its end is a sentence.
#[derive(Debug)]
pub(super) struct Exporting {
    pub panel: Export,
    work: Option<Work<String>>,
}

impl Application {
    /// Opens the Export panel for a recording.
    pub(super) fn take_out(&mut self, file: PathBuf) -> Task<Message> {
        self.exporting = Some(Exporting {
            panel: Export::new(&file),
            work: None,
        });
        let look = Task::perform(
            async move {
                tokio::task::spawn_blocking(move || Offer::of(&file))
                    .await
                    .unwrap_or_else(|e| Err(Arc::from(e.to_string())))
            },
            |offer| Message::Export(export::Message::Looked(offer)),
        );
        let focus = self.update(Message::FocusField);
        Task::batch([focus, look])
    }

    pub(super) fn on_export(&mut self, message: export::Message) -> Task<Message> {
        let Some(exporting) = &mut self.exporting else {
            return Task::none();
        };
        match exporting.panel.update(message) {
            Action::None => {}
            Action::Begin(request) => {
                match Work::start("the export", move |progress| run(&request, progress)) {
                    Ok(work) => exporting.work = Some(work),
                    Err(fault) => exporting.panel.failed(Arc::from(fault.to_string())),
                }
            }
            Action::Stop => {
                if let Some(work) = &exporting.work {
                    work.cancel();
                }
            }
            Action::Close => self.exporting = None,
        }
        Task::none()
    }

    /// Shows how far the export is; called with every tick.
    pub(super) fn follow_export(&mut self) {
        let Some(exporting) = &mut self.exporting else {
            return;
        };
        match exporting.work.as_ref().map(Work::look) {
            None => {}
            Some(Stand::Running(share)) => {
                #[allow(clippy::cast_possible_truncation, reason = "a share that is drawn")]
                exporting.panel.progress(share as f32);
            }
            Some(Stand::Ended(Ok(words))) => {
                self.exporting = None;
                self.tell(words, false);
            }
            Some(Stand::Ended(Err(fault))) => {
                exporting.work = None;
                exporting.panel.failed(Arc::from(fault.to_string()));
            }
        }
    }
}

fn run(request: &Request, progress: &Progress) -> Result<String, Fault> {
    let place = &request.place;
    let (what, bytes, remarks) = match &request.what {
        What::Samples(order) => {
            let recording = Recording::open(&request.file);
            let recording = recording.map_err(|e| Fault::Recording(Arc::from(e.to_string())))?;
            let summary = samples::export(&recording, order, place, progress)?;
            let what = format!(
                "{} samples of {} leads",
                summary.samples,
                summary.columns.len()
            );
            (what, summary.bytes, summary.remarks)
        }
        What::Results(order) => {
            let (recording, setup) = playback::open(&request.file)?;
            let written = results::export(&recording, &setup, order, place, progress)?;
            (
                format!("{} engine cycles", written.rows),
                written.bytes,
                written.remarks,
            )
        }
    };
    let mut words = format!(
        "Exported {}: {what}, {}.",
        place.display(),
        figure::size(bytes)
    );
    for remark in remarks {
        words.push(' ');
        words.push_str(&remark);
    }
    Ok(words)
}
