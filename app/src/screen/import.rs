//! The Import panel: a capture that another instrument wrote as text is looked at, its columns get
//! their roles, and it becomes a recording.

pub mod panel;

use keyway_acquisition::import::plan::{ColumnKey, ColumnPlan, Holes, Plan, TimeUnit, Unit};
use keyway_acquisition::import::preview::Preview;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a column is imported as.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Role {
    /// As this role of a lead plan.
    As(String),
    /// Not at all.
    LeftOut,
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::As(role) => f.write_str(role),
            Self::LeftOut => f.write_str("leave out"),
        }
    }
}

/// Units a column of samples may have, as an import plan names them.
const UNITS: [&str; 7] = ["V", "mV", "A", "mA", "kPa", "bar", "psi"];

/// Unit of the time column, as it is picked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clock(pub TimeUnit);

impl Clock {
    const ALL: [Self; 5] = [
        Self(TimeUnit::S),
        Self(TimeUnit::Ms),
        Self(TimeUnit::Us),
        Self(TimeUnit::Ns),
        Self(TimeUnit::Sample),
    ];
}

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.word())
    }
}

/// An engine sheet to import with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sheet {
    /// A built-in one.
    BuiltIn(&'static str),
    /// A file.
    File(PathBuf),
}

impl fmt::Display for Sheet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BuiltIn(name) => write!(f, "built in: {name}"),
            Self::File(path) => {
                f.write_str(&path.file_name().unwrap_or_default().to_string_lossy())
            }
        }
    }
}

/// Everything an import needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// The capture.
    pub capture: PathBuf,
    /// How it is read.
    pub plan: Plan,
    /// The engine.
    pub sheet: Sheet,
    /// Where the recording goes.
    pub recording: PathBuf,
}

/// The panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Import {
    capture: String,
    /// What was found when it was last looked at.
    found: Option<Arc<Preview>>,
    is_looking: bool,
    /// Share of the running import that is done, 0 to 1.
    running: Option<f32>,
    wrong: Option<Arc<str>>,
    roles: Vec<Role>,
    sheets: Vec<Sheet>,
    sheet: Sheet,
    /// A typed path of a sheet; goes before the chosen one.
    typed: String,
    /// Typed samples a second.
    rate: String,
    recording: String,
    folder: PathBuf,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// The typed capture changed.
    Capture(String),
    /// Looks at the capture.
    Look,
    /// It was looked at.
    Looked(Result<Arc<Preview>, Arc<str>>),
    /// The column with this number, from 1, is something else.
    Role(usize, Role),
    /// It has another unit.
    Unit(usize, &'static str),
    /// The time has another unit.
    Clock(Clock),
    /// The typed rate changed.
    Rate(String),
    /// Uses the typed rate.
    UseRate,
    /// Another sheet.
    Sheet(Sheet),
    /// The typed path of a sheet changed.
    Typed(String),
    /// The typed path of the recording changed.
    Recording(String),
    /// Begins.
    Begin,
    /// Ends what runs, or closes the panel.
    Close,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Look at this capture with this plan and answer with [`Message::Looked`].
    Look(PathBuf, Box<Plan>),
    /// Import; tell with [`Import::progress`] and [`Import::failed`].
    Begin(Box<Request>),
    /// Stop the import.
    Stop,
    /// Close the panel.
    Close,
}

impl Import {
    /// The panel; recordings go to this folder, and these sheets and roles can be chosen.
    pub fn new(folder: PathBuf, sheets: Vec<Sheet>, roles: &[String]) -> Self {
        Self {
            capture: String::new(),
            found: None,
            is_looking: false,
            running: None,
            wrong: None,
            roles: roles
                .iter()
                .cloned()
                .map(Role::As)
                .chain([Role::LeftOut])
                .collect(),
            sheet: sheets
                .first()
                .cloned()
                .unwrap_or(Sheet::BuiltIn(crate::setup::LIGHT_VAN)),
            sheets,
            typed: String::new(),
            rate: String::new(),
            recording: String::new(),
            folder,
        }
    }

    /// Names a capture, as one that was dropped onto the window, and looks at it.
    pub fn name(&mut self, capture: &Path) -> Action {
        let _ = self.update(Message::Capture(capture.display().to_string()));
        self.update(Message::Look)
    }

    /// Whether an import runs.
    pub fn is_running(&self) -> bool {
        self.running.is_some()
    }

    /// This share of the running import is done, 0 to 1.
    pub fn progress(&mut self, share: f32) {
        if let Some(done) = &mut self.running {
            *done = share;
        }
    }

    /// The import ended without a recording.
    pub fn failed(&mut self, why: Arc<str>) {
        self.running = None;
        self.wrong = Some(why);
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Close if self.is_running() => return Action::Stop,
            Message::Close => return Action::Close,
            // While it runs nothing else can be changed.
            _ if self.is_running() => {}
            Message::Capture(path) => {
                if self.capture != path {
                    self.found = None;
                    self.rate.clear();
                }
                self.capture = path;
                self.wrong = None;
            }
            Message::Look if self.capture.trim().is_empty() => {}
            Message::Look => return self.look(Plan::default()),
            Message::Looked(found) => {
                self.is_looking = false;
                match found {
                    Ok(found) => self.take_in(found),
                    Err(why) => self.wrong = Some(why),
                }
            }
            Message::Role(number, role) => {
                return self.look_again(|plan, found| assign(plan, found, number, role));
            }
            Message::Unit(number, unit) => {
                return self.look_again(|plan, _| {
                    if let Some(column) = plan.columns.iter_mut().find(|c| is(c, number)) {
                        column.unit = Unit::try_from(unit.to_owned()).ok();
                    }
                });
            }
            Message::Clock(Clock(unit)) => {
                return self.look_again(|plan, _| plan.time.unit = Some(unit));
            }
            Message::Rate(rate) => self.rate = rate,
            Message::UseRate => {
                let rate = self.rate.trim().parse().ok();
                return self.look_again(|plan, _| plan.time.rate = rate);
            }
            Message::Sheet(sheet) => self.sheet = sheet,
            Message::Typed(path) => self.typed = path,
            Message::Recording(path) => self.recording = path,
            Message::Begin => {
                if let Some(request) = self.request() {
                    self.running = Some(0.0);
                    self.wrong = None;
                    return Action::Begin(Box::new(request));
                }
            }
        }
        Action::None
    }

    fn look(&mut self, plan: Plan) -> Action {
        self.is_looking = true;
        self.wrong = None;
        Action::Look(PathBuf::from(self.capture.trim()), Box::new(plan))
    }

    /// Looks again with a plan that was changed: what follows from the change is found anew.
    fn look_again(&mut self, change: impl FnOnce(&mut Plan, &Preview)) -> Action {
        let Some(found) = self.found.clone() else {
            return Action::None;
        };
        let mut plan = numbered(&found);
        change(&mut plan, &found);
        self.look(plan)
    }

    fn take_in(&mut self, found: Arc<Preview>) {
        let stem = found.path.file_stem().unwrap_or_default();
        if self.found.is_none() {
            let path = free(&self.folder, &stem.to_string_lossy());
            self.recording = path.display().to_string();
        }
        self.found = Some(found);
    }

    /// What would be imported; none while something is missing.
    fn request(&self) -> Option<Request> {
        let found = self.found.as_ref()?;
        let is_ready = found.lacking.is_empty()
            && !found.columns.is_empty()
            && !self.is_looking
            && !self.recording.trim().is_empty();
        is_ready.then(|| Request {
            capture: found.path.clone(),
            plan: found.plan.clone(),
            sheet: match self.typed.trim() {
                "" => self.sheet.clone(),
                path => Sheet::File(PathBuf::from(path)),
            },
            recording: PathBuf::from(self.recording.trim()),
        })
    }
}

/// A name in the folder that no file has yet.
fn free(folder: &Path, stem: &str) -> PathBuf {
    let first = folder.join(format!("{stem}.mcap"));
    if !first.exists() {
        return first;
    }
    (2_u32..1000)
        .map(|n| folder.join(format!("{stem}-{n}.mcap")))
        .find(|path| !path.exists())
        .unwrap_or(first)
}

/// The plan that was found, its columns called by their numbers, as the panel calls them.
fn numbered(found: &Preview) -> Plan {
    let mut plan = found.plan.clone();
    for (column, seen) in plan.columns.iter_mut().zip(&found.columns) {
        column.column = ColumnKey::Number(seen.number);
    }
    plan
}

fn is(column: &ColumnPlan, number: usize) -> bool {
    column.column == ColumnKey::Number(number)
}

/// Gives a column a role; a role is one column's, and whoever had it before becomes spare.
fn assign(plan: &mut Plan, found: &Preview, number: usize, role: Role) {
    let Role::As(role) = role else {
        plan.columns.retain(|c| !is(c, number));
        return;
    };
    for other in plan.columns.iter_mut().filter(|c| !is(c, number)) {
        if other.role.as_ref() == Some(&role) {
            other.role = Some(SPARE.to_owned());
        }
    }
    match plan.columns.iter_mut().find(|c| is(c, number)) {
        Some(own) => own.role = Some(role),
        None => {
            let at = found
                .columns
                .iter()
                .take_while(|c| c.number < number)
                .count()
                .min(plan.columns.len());
            plan.columns.insert(
                at,
                ColumnPlan {
                    column: ColumnKey::Number(number),
                    role: Some(role),
                    kind: Some(found.kind),
                    unit: None,
                    factor: 1.0,
                    holes: Holes::default(),
                },
            );
        }
    }
}

/// Role of a column that is recorded and not measured.
pub const SPARE: &str = "spare";

#[cfg(test)]
mod tests;
