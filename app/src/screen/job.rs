//! The Job screen: the jobs there are, found again by any word on their cards, and the one that is
//! open: its card as a form, what lies in its folder, and its notes.

mod card;
mod contents;
mod form;
mod list;
mod progress;
mod view;

pub use form::Field;

use crate::fault::Fault;
use crate::job::card::{Card, StoredCode};
use crate::job::contents::Contents;
use crate::job::folder::JobFolder;
use crate::job::listing::Listing;
use crate::job::open::{Loaded, OpenJob, Part};
use crate::job::search::{Query, Reason};
use crate::session::calendar;
use crate::theme::Look;
use crate::work::Work;
use form::Form;
use iced::Element;
use iced::keyboard::{Key, key::Named};
use iced::widget::text_editor::{self, Content};
use std::path::PathBuf;

/// Identity of the search field, for focus and tests.
pub const SEARCH_FIELD: &str = "job-search";
/// Identity of the field in which a code is typed.
pub const CODE_FIELD: &str = "job-code";
/// Identity of the field for who read it.
pub const READER_FIELD: &str = "job-code-reader";
/// Identity of the list of jobs, for scrolling.
pub const JOB_LIST: &str = "job-list";
/// Identity of the complaint.
pub const COMPLAINT_FIELD: &str = "job-complaint";
/// Identity of the notes.
pub const NOTES_FIELD: &str = "job-notes";

/// What of the open job is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// The card.
    #[default]
    Card,
    /// What lies in its folder.
    Contents,
    /// The notes.
    Notes,
}

/// What is done on the screen.
#[derive(Debug, Clone)]
pub enum Message {
    /// The words to look for changed.
    Search(String),
    /// The arrow keys go to the job before.
    Up,
    /// The arrow keys go to the job after.
    Down,
    /// Opens the job the arrow keys have come to.
    Take,
    /// Opens a job.
    Open(JobFolder),
    /// Begins a new job.
    New,
    /// Something was typed into the new job.
    Draft(Field, String),
    /// Makes the new job.
    Make,
    /// Gives the new job up.
    Cancel,
    /// Shows another page of the open job.
    Turn(Page),
    /// Something was typed into a field of the card.
    Fill(Field, String),
    /// Something was done in the complaint.
    Complaint(text_editor::Action),
    /// Something was done in the notes.
    Notes(text_editor::Action),
    /// The typed code changed.
    TypeCode(String),
    /// The typed reader of the code changed.
    TypeReader(String),
    /// Adds the typed code.
    AddCode,
    /// Takes a code away.
    RemoveCode(usize),
    /// Reads a part again that another program changed.
    Reread(Part),
    /// Saves a part as a copy beside what another program wrote.
    SaveCopy(Part),
    /// Tries to save again.
    Save,
    /// Puts the job away; it stays as it is.
    PutAway,
    /// Closes the job with the date of today, and puts it away.
    Close,
    /// Opens a closed job again.
    Reopen,
    /// Plays a recording.
    Play(PathBuf),
    /// Opens a recording on the Review page.
    Review(PathBuf),
    /// Shows the exhibits.
    ShowExhibits,
    /// Shows the files there are, to move some into the job.
    ShowFiles,
    /// Keeps what is found now in the job.
    KeepFindings,
    /// Reads list and folder again.
    LookAgain,
    /// Puts the cursor into the search field.
    Find,
    /// Puts the cursor into the next field.
    Next,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Put the cursor into this field.
    Focus(&'static str),
    /// Put the cursor into the next field.
    FocusNext,
    /// Bring this share of the list into view, 0 to 1.
    Scroll(f32),
    /// Make a job with this card below the folder of recordings.
    Make(Box<Card>),
    /// A job was opened: remember it, and tell the others.
    Opened(JobFolder),
    /// The job was put away; whether it was closed, so that it need not be offered again.
    Left(bool),
    /// The codes on the card changed.
    Codes(Vec<String>),
    /// Play this file.
    Play(PathBuf),
    /// Open this file on the Review page.
    Review(PathBuf),
    /// Show the exhibits.
    ShowExhibits,
    /// Show the files there are.
    ShowFiles,
    /// Keep what is found now in the job.
    KeepFindings,
    /// Read the list again.
    Read,
    /// Say this; whether something is wrong.
    Tell(String, bool),
}

/// What comes after the open job is saved.
#[derive(Debug, Clone, PartialEq)]
enum Leave {
    PutAway,
    Close,
    For(JobFolder),
    ForNew(Box<Card>),
}

/// The open job on the screen.
#[derive(Debug)]
struct Desk {
    job: OpenJob,
    form: Form,
    slips: Vec<(Field, &'static str)>,
    complaint: Content,
    notes: Content,
    code: String,
    reader: String,
    contents: Option<Contents>,
    reading: Option<Work<Contents>>,
    /// Whether something came into the folder while it was read.
    is_stale: bool,
}

/// The screen.
#[derive(Debug, Default)]
pub struct Job {
    listing: Option<Listing>,
    search: String,
    /// Places in the list of those that were found, with why.
    hits: Vec<(usize, Vec<Reason>)>,
    cursor: Option<usize>,
    /// The job that was open last.
    offered: Option<JobFolder>,
    draft: Option<Form>,
    loading: Option<Work<Loaded>>,
    desk: Option<Desk>,
    page: Page,
    leave: Option<Leave>,
}

impl Job {
    /// Name of the screen.
    pub fn title(&self) -> &'static str {
        "Job"
    }

    /// The folder of the open job.
    pub fn folder(&self) -> Option<&JobFolder> {
        self.desk.as_ref().map(|d| d.job.folder())
    }

    /// The card of the open job as it is on the screen.
    pub fn card(&self) -> Option<&Card> {
        self.desk.as_ref().map(|d| d.job.card())
    }

    /// How many recordings lie in the open job, as far as is known.
    pub fn recordings(&self) -> Option<usize> {
        let contents = self.desk.as_ref()?.contents.as_ref()?;
        Some(contents.recordings.len())
    }

    /// How many jobs hold the words that are looked for.
    pub fn found(&self) -> usize {
        self.hits.len()
    }

    /// Whether another program changed the open job since it was read.
    pub fn is_in_conflict(&self) -> bool {
        let parts = [Part::Card, Part::Notes];
        (self.desk.as_ref()).is_some_and(|d| parts.iter().any(|p| d.job.is_in_conflict(*p)))
    }

    /// Offers a job that was open last.
    pub fn offer(&mut self, job: Option<JobFolder>) {
        self.offered = job;
    }

    /// Reads the jobs below this folder.
    pub fn read(&mut self, root: PathBuf) {
        self.listing = Some(Listing::start(root));
        self.hits.clear();
        self.cursor = None;
    }

    /// What lies in the open job's folder is read again.
    pub fn read_contents(&mut self) {
        if let Some(desk) = &mut self.desk {
            if desk.reading.is_some() {
                // What is being read may be out of date already.
                desk.is_stale = true;
                return;
            }
            let folder = desk.job.folder().clone();
            let work = Work::start("the list of the job's files", move |_| {
                Ok(Contents::read(&folder))
            });
            desk.reading = work.ok();
        }
    }

    /// Takes codes that were given elsewhere onto the card; those that stay keep who read them.
    pub fn take_codes(&mut self, codes: &[String]) {
        let Some(desk) = &mut self.desk else {
            return;
        };
        let mut card = desk.job.card().clone();
        card.codes.retain(|c| codes.contains(&c.code));
        for code in codes {
            if !card.codes.iter().any(|c| c.code == *code) {
                card.codes.push(StoredCode {
                    code: code.clone(),
                    read_by: String::new(),
                });
            }
        }
        desk.job.set_card(card);
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Search(words) => {
                self.search = words;
                self.cursor = None;
                self.look_up();
            }
            Message::Up => return self.move_to(self.cursor.map_or(0, |c| c.saturating_sub(1))),
            Message::Down => return self.move_to(self.cursor.map_or(0, |c| c + 1)),
            Message::Take => {
                if let Some(folder) = self.at_cursor() {
                    return self.update(Message::Open(folder));
                }
            }
            Message::Open(folder) => {
                self.draft = None;
                if self.folder() != Some(&folder) {
                    return self.begin_leaving(Leave::For(folder));
                }
            }
            Message::New => {
                self.draft = Some(Form::default());
                return Action::Focus(Field::Plate.id());
            }
            Message::Draft(field, text) => {
                if let Some(draft) = &mut self.draft {
                    draft.set(field, text);
                }
            }
            Message::Make => return self.make(),
            Message::Cancel => self.draft = None,
            Message::Turn(page) => {
                self.page = page;
                if page == Page::Contents {
                    self.read_contents();
                }
            }
            Message::PutAway => return self.begin_leaving(Leave::PutAway),
            Message::Close => return self.close(),
            Message::LookAgain => {
                self.read_contents();
                return Action::Read;
            }
            Message::Find => return Action::Focus(SEARCH_FIELD),
            Message::Next => return Action::FocusNext,
            Message::Play(path) => return Action::Play(path),
            Message::Review(path) => return Action::Review(path),
            Message::ShowExhibits => return Action::ShowExhibits,
            Message::ShowFiles => return Action::ShowFiles,
            Message::KeepFindings => return Action::KeepFindings,
            on_desk => {
                if let Some(desk) = &mut self.desk {
                    return desk.update(on_desk);
                }
            }
        }
        Action::None
    }

    /// The job the arrow keys have come to; while words are looked for, the first that was found.
    fn at_cursor(&self) -> Option<JobFolder> {
        let place = match self.cursor {
            Some(cursor) => cursor,
            None if !self.search.trim().is_empty() => 0,
            None => return None,
        };
        let (at, _) = self.hits.get(place)?;
        let entry = self.listing.as_ref()?.entries().get(*at)?;
        Some(entry.folder.clone())
    }

    fn move_to(&mut self, cursor: usize) -> Action {
        let shown = self.hits.len().min(list::SHOWN);
        if shown == 0 {
            return Action::None;
        }
        let cursor = cursor.min(shown - 1);
        self.cursor = Some(cursor);
        Action::Scroll(crate::screen::source::share(cursor, shown))
    }

    fn look_up(&mut self) {
        let query = Query::new(&self.search);
        let entries = self.listing.as_ref().map_or(&[][..], |l| l.entries());
        let found = entries.iter().enumerate();
        self.hits = found
            .filter_map(|(n, e)| Some((n, query.find(e)?)))
            .collect();
    }

    fn make(&mut self) -> Action {
        let Some(draft) = &self.draft else {
            return Action::None;
        };
        let before = Card {
            opened: calendar::now(),
            ..Card::default()
        };
        let (card, _slips) = draft.card(&before);
        if card.name().is_empty() {
            return Action::Focus(Field::Plate.id());
        }
        self.begin_leaving(Leave::ForNew(Box::new(card)))
    }

    fn close(&mut self) -> Action {
        let Some(desk) = &mut self.desk else {
            return Action::None;
        };
        if let Some(why) = desk.job.refusal(Part::Card) {
            return Action::Tell(format!("The job is not closed: {why}"), true);
        }
        let card = Card {
            closed: calendar::now(),
            ..desk.job.card().clone()
        };
        desk.job.set_card(card);
        self.begin_leaving(Leave::Close)
    }

    /// What a key does here, if anything.
    pub fn key(&self, key: &Key) -> Option<Message> {
        match key {
            Key::Named(named) => match named {
                Named::ArrowUp => Some(Message::Up),
                Named::ArrowDown => Some(Message::Down),
                Named::Enter if self.draft.is_some() => Some(Message::Make),
                Named::Enter => Some(Message::Take),
                Named::Tab => Some(Message::Next),
                Named::Escape if self.draft.is_some() => Some(Message::Cancel),
                Named::PageDown => Some(Message::Turn(match self.page {
                    Page::Card => Page::Contents,
                    Page::Contents | Page::Notes => Page::Notes,
                })),
                Named::PageUp => Some(Message::Turn(match self.page {
                    Page::Notes => Page::Contents,
                    Page::Card | Page::Contents => Page::Card,
                })),
                _ => None,
            },
            Key::Character(c) => match c.to_lowercase().as_str() {
                "n" => Some(Message::New),
                "f" => Some(Message::Find),
                "a" if self.desk.is_some() => Some(Message::PutAway),
                "o" if self.desk.is_none() => self.offered.clone().map(Message::Open),
                _ => None,
            },
            Key::Unidentified => None,
        }
    }

    /// The screen.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        view::view(self, look)
    }
}

impl Desk {
    fn new(loaded: Loaded) -> Self {
        let mut desk = Self {
            job: OpenJob::new(loaded),
            form: Form::default(),
            slips: Vec::new(),
            complaint: Content::new(),
            notes: Content::new(),
            code: String::new(),
            reader: String::new(),
            contents: None,
            reading: None,
            is_stale: false,
        };
        desk.show();
        desk
    }

    /// Shows card and notes as they are.
    fn show(&mut self) {
        self.form = Form::of(self.job.card());
        self.slips.clear();
        self.complaint = Content::with_text(&self.job.card().complaint);
        self.notes = Content::with_text(self.job.notes());
    }

    fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Fill(field, text) => {
                self.form.set(field, text);
                let (card, slips) = self.form.card(self.job.card());
                self.slips = slips;
                self.job.set_card(card);
            }
            Message::Complaint(action) => {
                let is_edit = action.is_edit();
                if is_edit && self.job.refusal(Part::Card).is_some() {
                    return Action::None;
                }
                self.complaint.perform(action);
                if is_edit {
                    let card = Card {
                        complaint: self.complaint.text().trim_end().to_owned(),
                        ..self.job.card().clone()
                    };
                    self.job.set_card(card);
                }
            }
            Message::Notes(action) => {
                let is_edit = action.is_edit();
                if is_edit && self.job.refusal(Part::Notes).is_some() {
                    return Action::None;
                }
                self.notes.perform(action);
                if is_edit {
                    self.job.set_notes(self.notes.text());
                }
            }
            Message::TypeCode(code) => self.code = code,
            Message::TypeReader(reader) => self.reader = reader,
            Message::AddCode => return self.add_code(),
            Message::RemoveCode(at) => {
                let mut card = self.job.card().clone();
                if at < card.codes.len() {
                    let _taken = card.codes.remove(at);
                    return self.with_codes(card);
                }
            }
            Message::Reopen => {
                let card = Card {
                    closed: None,
                    ..self.job.card().clone()
                };
                self.job.set_card(card);
            }
            Message::Reread(part) => {
                return match self.job.reread(part) {
                    Ok(()) => {
                        self.show();
                        Action::Codes(self.job.card().code_names())
                    }
                    Err(fault) => tell(&fault),
                };
            }
            Message::SaveCopy(part) => {
                return match self.job.save_copy(part) {
                    Ok(copy) => {
                        self.show();
                        let words = format!("Saved as {}; the file was read again", copy.display());
                        Action::Tell(words, false)
                    }
                    Err(fault) => tell(&fault),
                };
            }
            Message::Save => self.job.save_now(),
            // The others are not for the open job.
            _ => {}
        }
        Action::None
    }

    fn add_code(&mut self) -> Action {
        let code = self.code.trim().to_uppercase();
        let read_by = self.reader.trim().to_owned();
        let mut card = self.job.card().clone();
        self.code.clear();
        if code.is_empty() || card.codes.iter().any(|c| c.code == code) {
            return Action::None;
        }
        card.codes.push(StoredCode { code, read_by });
        self.with_codes(card)
    }

    fn with_codes(&mut self, card: Card) -> Action {
        let codes = card.code_names();
        self.job.set_card(card);
        if self.job.card().code_names() == codes {
            Action::Codes(codes)
        } else {
            Action::None
        }
    }
}

fn tell(fault: &Fault) -> Action {
    Action::Tell(fault.to_string(), true)
}
