//! The Export panel: what of a recording is written, in which form, and where to.

pub mod panel;

use crate::exchange::{leads, results, samples};
use keyway_acquisition::export::Form;
use keyway_acquisition::recording::reader::Recording;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What can be exported of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// The recording.
    pub file: PathBuf,
    /// Seconds.
    pub length: f64,
    /// Names of its leads.
    pub leads: Vec<String>,
    /// Its streams.
    pub streams: usize,
}

impl Offer {
    /// Looks at a recording; the sentence says why it cannot be read.
    pub fn of(file: &Path) -> Result<Self, Arc<str>> {
        let recording = Recording::open(file).map_err(|e| Arc::from(e.to_string()))?;
        let (found, _) = leads::of(&recording);
        Ok(Self {
            file: file.to_owned(),
            length: recording.duration().as_secs_f64(),
            leads: found.iter().map(leads::name).collect(),
            streams: recording.streams().count(),
        })
    }
}

/// What is written.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// The samples.
    Samples(samples::Order),
    /// What was measured, a row per engine cycle.
    Results(results::Order),
}

/// An export that was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// The recording.
    pub file: PathBuf,
    /// What is written.
    pub what: What,
    /// Where to.
    pub place: PathBuf,
}

/// The panel.
#[derive(Debug)]
pub struct Export {
    file: PathBuf,
    offer: Option<Offer>,
    results: bool,
    form: Form,
    from: String,
    to: String,
    /// One per lead of the offer.
    chosen: Vec<bool>,
    place: String,
    /// Whether the place was typed, so that the form no longer changes its ending.
    typed: bool,
    running: Option<f32>,
    wrong: Option<Arc<str>>,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// The recording was looked at.
    Looked(Result<Offer, Arc<str>>),
    /// Samples or results.
    Results(bool),
    /// Another form.
    Form(Form),
    /// The form so many places further, round and round.
    Turn(isize),
    /// The typed begin changed.
    From(String),
    /// The typed end changed.
    To(String),
    /// A lead is taken or left out.
    Lead(usize),
    /// The typed place changed.
    Place(String),
    /// Begins.
    Begin,
    /// Closes the panel, or stops what runs.
    Close,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Begin this export.
    Begin(Box<Request>),
    /// Stop what runs.
    Stop,
    /// Close the panel.
    Close,
}

impl Export {
    /// The panel for a recording that is not looked at yet.
    pub fn new(file: &Path) -> Self {
        let mut panel = Self {
            file: file.to_owned(),
            offer: None,
            results: false,
            form: Form::Parquet,
            from: String::new(),
            to: String::new(),
            chosen: Vec::new(),
            place: String::new(),
            typed: false,
            running: None,
            wrong: None,
        };
        panel.propose();
        panel
    }

    /// Whether an export runs.
    pub fn is_running(&self) -> bool {
        self.running.is_some()
    }

    /// Says how far it is, 0 to 1.
    pub fn progress(&mut self, share: f32) {
        self.running = Some(share);
    }

    /// There is no file; why.
    pub fn failed(&mut self, why: Arc<str>) {
        self.running = None;
        self.wrong = Some(why);
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        if self.running.is_some() {
            // What is written must not become something else meanwhile.
            return match message {
                Message::Close => Action::Stop,
                _ => Action::None,
            };
        }
        match message {
            Message::Looked(Ok(offer)) => {
                self.chosen = vec![true; offer.leads.len()];
                self.offer = Some(offer);
            }
            Message::Looked(Err(why)) => self.wrong = Some(why),
            Message::Results(results) => {
                self.results = results;
                if results && self.form == Form::Wav {
                    self.form = Form::Parquet;
                }
                self.propose();
            }
            Message::Form(form) => {
                self.form = form;
                self.propose();
            }
            Message::Turn(by) => {
                let forms: &[Form] = if self.results {
                    &[Form::Parquet, Form::Csv]
                } else {
                    &[Form::Parquet, Form::Csv, Form::Wav]
                };
                let here = forms.iter().position(|f| *f == self.form).unwrap_or(0);
                let last = forms.len() - 1;
                let next = match by {
                    ..0 => here.checked_sub(1).unwrap_or(last),
                    0 => here,
                    1.. => {
                        if here == last {
                            0
                        } else {
                            here + 1
                        }
                    }
                };
                return self.update(Message::Form(forms[next]));
            }
            Message::From(from) => self.from = from,
            Message::To(to) => self.to = to,
            Message::Lead(i) => {
                if let Some(chosen) = self.chosen.get_mut(i) {
                    *chosen = !*chosen;
                }
            }
            Message::Place(place) => {
                self.place = place;
                self.typed = true;
            }
            Message::Begin => {
                if let Ok(request) = self.request() {
                    self.wrong = None;
                    self.running = Some(0.0);
                    return Action::Begin(Box::new(request));
                }
            }
            Message::Close => return Action::Close,
        }
        Action::None
    }

    /// A name beside the recording that no file has yet, unless one was typed.
    fn propose(&mut self) {
        if self.typed {
            return;
        }
        let stem = self.file.file_stem().unwrap_or_default().to_string_lossy();
        let what = if self.results { "-cycles" } else { "" };
        let named = |number: String| {
            let ending = self.form.ending();
            self.file
                .with_file_name(format!("{stem}{what}{number}.{ending}"))
        };
        let first = named(String::new());
        let free = if first.exists() {
            (2_u32..1000)
                .map(|n| named(format!("-{n}")))
                .find(|path| !path.exists())
        } else {
            None
        };
        self.place = free.unwrap_or(first).display().to_string();
    }

    /// What would be exported, or what is in the way.
    fn request(&self) -> Result<Request, &'static str> {
        let offer = self.offer.as_ref().ok_or("Looking at the recording…")?;
        let second = |typed: &str, otherwise: f64| match typed.trim() {
            "" => Ok(otherwise),
            typed => match typed.replace(',', ".").parse::<f64>() {
                Ok(n) if n.is_finite() && n >= 0.0 => Ok(n),
                _ => Err("From and to are seconds, such as 12.5."),
            },
        };
        let span = second(&self.from, 0.0)?..second(&self.to, f64::INFINITY)?;
        if span.start >= span.end.min(offer.length) {
            return Err(
                "Nothing lies between from and to: from must be less, and within the recording.",
            );
        }
        if self.place.trim().is_empty() {
            return Err("Name the file to write.");
        }
        let what = if self.results {
            What::Results(results::Order {
                form: self.form,
                span,
                stream: None,
                replace: false,
            })
        } else {
            let leads: Vec<String> = (offer.leads.iter().zip(&self.chosen))
                .filter(|(_, chosen)| **chosen)
                .map(|(name, _)| name.clone())
                .collect();
            if leads.is_empty() {
                return Err("Choose at least one lead.");
            }
            What::Samples(samples::Order {
                form: self.form,
                span,
                leads,
                stream: None,
                counts: false,
                replace: false,
            })
        };
        Ok(Request {
            file: self.file.clone(),
            what,
            place: PathBuf::from(self.place.trim()),
        })
    }
}

#[cfg(test)]
mod tests;
