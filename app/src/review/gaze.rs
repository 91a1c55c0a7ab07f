//! What is seen of the leads in the window that is looked at: samples through the lens of the
//! recording, at the probe tips, by role.

use super::course::{Absent, Why};
use super::latest::{Asker, Latest};
use crate::fault::Fault;
use crate::setup::Setup;
use crate::work::{Stand, Work};
use keyway_acquisition::recording::cursor::Item;
use keyway_acquisition::recording::error::ReadError;
use keyway_acquisition::recording::lens::{Absence, Lens, Missing, Shape, Sight};
use keyway_acquisition::recording::overview::{Watch, rebuild};
use keyway_acquisition::recording::reader::Recording;

use keyway_analysis::lead::{LeadPlan, Role};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Where to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gaze {
    /// Begin, seconds since the start of the recording.
    pub from: f64,
    /// End.
    pub to: f64,
    /// Columns of the picture.
    pub columns: usize,
}

/// What was seen.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Where was looked.
    pub gaze: Gaze,
    /// One per lead of the plan that is fitted and recorded there.
    pub leads: Vec<SeenLead>,
    /// Stretches without samples.
    pub missing: Vec<Absent>,
    /// What was said in the recording, in order.
    pub said: Arc<[Said]>,
    /// Share of the overview that is made, if one is being made.
    pub share: Option<f64>,
    /// Why nothing or not all can be seen, if so.
    pub fault: Option<String>,
}

/// One lead.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenLead {
    /// What it is connected to.
    pub role: Role,
    /// Unit at the probe tip.
    pub unit: String,
    /// What is seen, at the probe tip.
    pub shape: Shape,
}

/// Something said in the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// Seconds since the start of the recording.
    pub at: f64,
    /// In words.
    pub text: String,
    /// Whether it is of a lead; otherwise it is a note.
    pub is_lead: bool,
    /// Whether the lead cannot be relied upon from then on.
    pub is_doubt: bool,
}

/// Time between two looks while an overview is made.
const AGAIN: Duration = Duration::from_millis(300);

/// A thread that looks.
pub fn start(recording: &Recording, setup: &Setup) -> Result<Latest<Gaze, Seen>, Fault> {
    let mut eye = Eye {
        recording: recording.clone(),
        plan: Arc::clone(&setup.plan),
        lens: None,
        said: None,
        overview: Overview::NotWanted,
    };
    Latest::start("gaze", move |gaze: &Gaze, asker| eye.answer(*gaze, asker))
}

struct Eye {
    recording: Recording,
    plan: Arc<LeadPlan>,
    lens: Option<Lens>,
    said: Option<Arc<[Said]>>,
    overview: Overview,
}

/// The overview beside the recording, without which long stretches take long to be seen.
enum Overview {
    /// There is one, or none is needed.
    NotWanted,
    /// It is being made.
    Making(Work<PathBuf>),
    /// It could not be made, and why.
    Failed(Fault),
}

impl Eye {
    /// Looks, and looks again for as long as there is more to be known and nobody wants to see
    /// something else.
    fn answer(&mut self, gaze: Gaze, asker: &Asker<'_, Gaze, Seen>) {
        loop {
            let seen = self.look(gaze);
            let is_all = seen.fault.is_some() || seen.missing.iter().all(|m| m.why != Why::NotRead);
            asker.tell(seen);
            if is_all || asker.is_gone() {
                return;
            }
            match &self.overview {
                Overview::Making(_) => {
                    let until = Instant::now() + AGAIN;
                    while Instant::now() < until && !asker.is_gone() {
                        std::thread::sleep(AGAIN / 15);
                    }
                    // A new lens sees what has been made meanwhile.
                    self.lens = None;
                }
                // The next look knows more by itself, if only a little.
                Overview::NotWanted | Overview::Failed(_) => {}
            }
            if asker.is_gone() {
                return;
            }
        }
    }

    fn look(&mut self, gaze: Gaze) -> Seen {
        let said = self.said.get_or_insert_with(|| said_in(&self.recording));
        let said = Arc::clone(said);
        let seen = self.sight(gaze).map_or_else(
            |e| Seen {
                gaze,
                leads: Vec::new(),
                missing: Vec::new(),
                said: Arc::clone(&said),
                share: None,
                fault: Some(e.to_string()),
            },
            |sight| seen(gaze, sight, &self.plan, Arc::clone(&said)),
        );
        self.tend(seen)
    }

    fn sight(&mut self, gaze: Gaze) -> Result<Sight, ReadError> {
        let mut lens = match self.lens.take() {
            Some(lens) => lens,
            None => Lens::open(&self.recording)?,
        };
        let sight = lens.look(gaze.from, gaze.to, gaze.columns);
        self.lens = Some(lens);
        sight
    }

    /// Begins an overview where one is wanted, and says how far it is.
    fn tend(&mut self, mut seen: Seen) -> Seen {
        if matches!(self.overview, Overview::NotWanted)
            && self.lens.as_ref().is_some_and(Lens::wants_overview)
        {
            let recording = self.recording.clone();
            let work = Work::start("the overview", move |progress| {
                let watch = Watch {
                    progress: &|share| progress.set(share),
                    stop: progress.flag(),
                };
                rebuild(&recording, watch).map_err(|e| Fault::Recording(Arc::from(e.to_string())))
            });
            self.overview = work.map_or_else(Overview::Failed, Overview::Making);
        }
        if let Overview::Making(work) = &self.overview {
            match work.look() {
                Stand::Running(share) => seen.share = Some(share),
                Stand::Ended(Ok(_)) => {
                    self.overview = Overview::NotWanted;
                    self.lens = None;
                }
                Stand::Ended(Err(fault)) => {
                    tracing::info!("{fault}");
                    self.overview = Overview::Failed(fault);
                }
            }
        }
        if let Overview::Failed(fault) = &self.overview
            && seen.missing.iter().any(|m| m.why == Why::NotRead)
        {
            seen.fault = Some(fault.to_string());
        }
        seen
    }
}

fn seen(gaze: Gaze, sight: Sight, plan: &LeadPlan, said: Arc<[Said]>) -> Seen {
    let mut inputs = sight.inputs;
    let leads = (plan.leads.iter())
        .filter(|lead| lead.role != Role::Spare)
        .filter_map(|lead| {
            let place = inputs.iter().position(|i| i.input + 1 == lead.input)?;
            let input = inputs.swap_remove(place);
            Some(SeenLead {
                role: lead.role,
                unit: lead.role.unit_at_tip(&input.unit).to_owned(),
                shape: at_tip(input.shape, lead.factor),
            })
        })
        .collect();
    Seen {
        gaze,
        leads,
        missing: sight.missing.iter().map(absent).collect(),
        said,
        share: None,
        fault: None,
    }
}

fn absent(missing: &Missing) -> Absent {
    Absent {
        from: missing.from,
        to: missing.to,
        why: match missing.why {
            Absence::Lost(samples) => Why::Lost(samples),
            Absence::NoStream => Why::NoStream,
            Absence::Damaged => Why::Damaged,
            Absence::NotRead => Why::NotRead,
        },
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a value that is drawn; f32 is what the lens gives"
)]
fn at_tip(shape: Shape, factor: f64) -> Shape {
    let tip = |v: f32| (f64::from(v) * factor) as f32;
    match shape {
        Shape::Columns(columns) => Shape::Columns(
            (columns.into_iter())
                .map(|column| {
                    column.map(|ends| {
                        // A negative factor turns the signal over.
                        let [a, b] = ends.map(tip);
                        [a.min(b), a.max(b)]
                    })
                })
                .collect(),
        ),
        Shape::Samples(samples) => {
            Shape::Samples(samples.into_iter().map(|(at, v)| (at, tip(v))).collect())
        }
    }
}

/// Notes and lead events. What cannot be read is missing here; the player says that it is damaged.
fn said_in(recording: &Recording) -> Arc<[Said]> {
    let entries = recording.words().unwrap_or_default();
    (entries.into_iter())
        .filter_map(|entry| {
            let at = entry.at.as_secs_f64();
            match entry.item {
                Item::Note(note) => Some(Said {
                    at,
                    text: note.text,
                    is_lead: false,
                    is_doubt: false,
                }),
                Item::LeadEvent(event) => Some(Said {
                    at,
                    text: format!("{} lead {}: {}", event.role, event.life, event.text),
                    is_lead: true,
                    is_doubt: ["doubtful", "silent"].contains(&event.life.as_str()),
                }),
                Item::Block(_) => None,
            }
        })
        .collect()
}
