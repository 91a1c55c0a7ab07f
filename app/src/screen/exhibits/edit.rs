//! An open exhibit: its marks and what a hand does to them, with every step back and forth.

use crate::exhibit::document::{Document, Draft, FORM};
use crate::exhibit::layout::{Page, marks};
use crate::exhibit::mark::{self, Ink, Mark, Nib, Share};
use crate::exhibit::shape::Shape;
use crate::exhibit::store::{Kept, Opened};
use crate::theme::Look;
use iced::widget::{canvas, text_editor};
use std::cell::Cell;
use std::path::PathBuf;
use std::sync::Arc;

/// Steps that can be taken back. They share what they have in common, so many cost little.
const STEPS: usize = 200;

/// What the pointer does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tool {
    /// Takes hold of a mark and moves it.
    Move,
    /// Draws a stroke.
    #[default]
    Pen,
    /// Draws an arrow, from its tail to its tip.
    Arrow,
    /// Puts words on the picture.
    Text,
    /// Highlights a box.
    Highlight,
    /// Takes marks away.
    Erase,
}

impl Tool {
    /// All of them with their names and keys.
    pub const ALL: [(Self, &'static str, &'static str); 6] = [
        (Self::Move, "Move", "m"),
        (Self::Pen, "Pen", "p"),
        (Self::Arrow, "Arrow", "a"),
        (Self::Text, "Text", "t"),
        (Self::Highlight, "Box", "b"),
        (Self::Erase, "Erase", "e"),
    ];
}

/// What the pointer is in the middle of.
#[derive(Debug, Clone, PartialEq)]
enum Gesture {
    /// A mark that is being drawn; it is not among the others yet.
    Draw(Mark),
    /// The chosen mark as it was, and where it was taken.
    Move(Arc<Mark>, Share),
    /// Whether anything was taken away yet.
    Erase(bool),
}

/// An exhibit that is open.
#[derive(Debug)]
pub struct Edit {
    path: PathBuf,
    digest: u64,
    document: Document,
    marks: Vec<Arc<Mark>>,
    past: Vec<Vec<Arc<Mark>>>,
    future: Vec<Vec<Arc<Mark>>>,
    /// What the pointer does.
    pub tool: Tool,
    /// Ink of the next mark.
    pub ink: Ink,
    /// Width of the next mark.
    pub nib: Nib,
    /// The chosen mark.
    chosen: Option<usize>,
    gesture: Option<Gesture>,
    /// The note as it is being written.
    pub note: text_editor::Content,
    /// Counts the changes.
    version: u64,
    /// The version that is saved.
    saved: u64,
    /// The version that is being saved.
    saving: Option<u64>,
    /// The version that the draft has.
    drafted: u64,
    /// Whether it was opened with changes that had not been saved.
    pub was_draft: bool,
    /// What lies where, without the marks.
    pub page: Page,
    /// The picture without its marks, drawn once.
    pub ground: canvas::Cache,
    /// The marks, drawn when they change.
    pub over: canvas::Cache,
    /// What both were drawn for.
    pub drawn_for: Cell<Option<Look>>,
}

impl Edit {
    /// What was read from its file, with changes that were not saved.
    pub fn new(opened: Opened) -> Self {
        let Opened {
            path,
            mut document,
            draft,
            digest,
        } = opened;
        let was_draft = draft.is_some();
        if let Some(draft) = draft {
            document.title = draft.title;
            document.note = draft.note;
            document.marks = draft.marks;
        }
        let version = u64::from(was_draft);
        Self {
            path,
            digest,
            marks: document.marks.drain(..).map(Arc::new).collect(),
            past: Vec::new(),
            future: Vec::new(),
            tool: Tool::default(),
            ink: Ink::Vermillion,
            nib: Nib::default(),
            chosen: None,
            gesture: None,
            note: text_editor::Content::with_text(&document.note),
            version,
            saved: 0,
            saving: None,
            drafted: version,
            was_draft,
            page: Page::new(&document),
            ground: canvas::Cache::new(),
            over: canvas::Cache::new(),
            drawn_for: Cell::new(None),
            document,
        }
    }

    /// The document's file.
    pub fn path(&self) -> &PathBuf {
        &self.path
    }

    /// The title.
    pub fn title(&self) -> &str {
        &self.document.title
    }

    /// Marks in their order.
    pub fn marks(&self) -> &[Arc<Mark>] {
        &self.marks
    }

    /// Whether there is something that was not saved.
    pub fn is_changed(&self) -> bool {
        self.version != self.saved
    }

    /// Whether it is being saved.
    pub fn is_saving(&self) -> bool {
        self.saving.is_some()
    }

    /// Whether a step can be taken back, and whether one can be taken again.
    pub fn steps(&self) -> (bool, bool) {
        (!self.past.is_empty(), !self.future.is_empty())
    }

    /// The chosen mark.
    pub fn chosen(&self) -> Option<&Mark> {
        self.marks.get(self.chosen?).map(AsRef::as_ref)
    }

    /// Words of the chosen mark, if it has any to write.
    pub fn words(&self) -> Option<&str> {
        match self.chosen()? {
            Mark::Text { words, .. } => Some(words),
            Mark::Stroke { .. } | Mark::Arrow { .. } | Mark::Highlight { .. } => None,
        }
    }

    /// The whole document as it is now.
    pub fn document(&self) -> Document {
        Document {
            marks: self
                .marks
                .iter()
                .filter(|m| !m.is_slip(self.page.field))
                .map(|m| m.as_ref().clone())
                .collect(),
            ..self.document.clone()
        }
    }

    /// To be written over the file: where, what it must still be, and what.
    pub fn save(&mut self) -> Option<(PathBuf, u64, Document)> {
        if self.saving.is_some() {
            return None;
        }
        self.finish();
        self.saving = Some(self.version);
        Some((self.path.clone(), self.digest, self.document()))
    }

    /// What has become of saving.
    pub fn saved(&mut self, kept: Option<&Kept>) {
        let version = self.saving.take();
        if let (Some(kept), Some(version)) = (kept, version) {
            self.path.clone_from(&kept.path);
            self.digest = kept.digest;
            self.saved = version;
            self.drafted = self.drafted.min(version);
            self.was_draft = false;
        }
    }

    /// Changes to be written beside the file, unless they are there already.
    pub fn take_draft(&mut self) -> Option<Draft> {
        let is_due = self.is_changed() && self.drafted != self.version && self.saving.is_none();
        is_due.then(|| {
            self.drafted = self.version;
            let Document {
                title, note, marks, ..
            } = self.document();
            Draft {
                form: FORM,
                title,
                note,
                marks,
            }
        })
    }

    /// Writes the title.
    pub fn set_title(&mut self, title: String) {
        self.document.title = title;
        self.lay_out();
    }

    /// Writes on the note.
    pub fn write_note(&mut self, action: text_editor::Action) {
        let is_edit = action.is_edit();
        self.note.perform(action);
        if is_edit {
            self.document.note = self.note.text();
            self.lay_out();
        }
    }

    /// Writes the words of the chosen mark.
    pub fn set_words(&mut self, with: String) {
        if let Some(index) = self.chosen
            && let Some(Mark::Text { at, ink, .. }) = self.marks.get(index).map(AsRef::as_ref)
        {
            let written = Mark::Text {
                at: *at,
                words: with,
                ink: *ink,
            };
            self.marks[index] = Arc::new(written);
            self.touched();
        }
    }

    /// Chooses a tool; what is in the middle of being drawn is done.
    pub fn take(&mut self, tool: Tool) {
        self.finish();
        self.tool = tool;
    }

    /// Chooses an ink, and gives it to the chosen mark.
    pub fn dip(&mut self, ink: Ink) {
        self.ink = ink;
        if let Some(index) = self.chosen
            && let Some(mark) = self.marks.get(index)
        {
            let inked = Arc::new(mark.inked(ink));
            self.step();
            self.marks[index] = inked;
            self.touched();
        }
    }

    /// Ends what the hand is at: nothing is chosen any more.
    pub fn finish(&mut self) {
        self.lift();
        if let Some(index) = self.chosen.take() {
            // Words that were never written.
            let field = self.page.field;
            if self.marks.get(index).is_some_and(|m| m.is_slip(field)) {
                let _mark = self.marks.remove(index);
            }
        }
        self.over.clear();
    }

    /// Whether there is something that [`Self::finish`] would end.
    pub fn is_at_work(&self) -> bool {
        self.gesture.is_some() || self.chosen.is_some()
    }

    /// The pointer goes down; `reach` is how far beside a mark it takes hold, units. Whether words are
    /// to be written now.
    pub fn press(&mut self, at: Share, reach: f64) -> bool {
        self.finish();
        let (ink, nib) = (self.ink, self.nib);
        let at = at.map(mark::fine);
        self.gesture = match self.tool {
            Tool::Move => {
                self.chosen = self.at(at, reach);
                self.chosen
                    .and_then(|index| self.marks.get(index))
                    .map(|mark| Gesture::Move(Arc::clone(mark), at))
            }
            Tool::Pen => Some(Gesture::Draw(Mark::Stroke {
                points: vec![at],
                ink,
                nib,
            })),
            Tool::Arrow => Some(Gesture::Draw(Mark::Arrow {
                from: at,
                to: at,
                ink,
                nib,
            })),
            Tool::Highlight => Some(Gesture::Draw(Mark::Highlight {
                from: at,
                to: at,
                ink,
            })),
            Tool::Text => {
                self.step();
                self.marks.push(Arc::new(Mark::Text {
                    at,
                    words: String::new(),
                    ink,
                }));
                self.chosen = Some(self.marks.len() - 1);
                self.touched();
                None
            }
            Tool::Erase => {
                self.gesture = Some(Gesture::Erase(false));
                self.erase(at, reach);
                self.gesture.take()
            }
        };
        self.over.clear();
        self.tool == Tool::Text
    }

    /// The pointer moves while it is down.
    pub fn drag(&mut self, at: Share, reach: f64) {
        let at = at.map(mark::fine);
        let field = self.page.field;
        match &mut self.gesture {
            None => return,
            Some(Gesture::Draw(Mark::Stroke { points, .. })) => mark::extend(points, at, field),
            Some(Gesture::Draw(Mark::Arrow { to, .. } | Mark::Highlight { to, .. })) => *to = at,
            Some(Gesture::Draw(Mark::Text { .. })) => {}
            Some(Gesture::Move(was, from)) => {
                let by = was.room([at[0] - from[0], at[1] - from[1]]);
                let moved = Arc::new(was.moved(by));
                if let Some(mark) = self.chosen.and_then(|i| self.marks.get_mut(i)) {
                    *mark = moved;
                }
            }
            Some(Gesture::Erase(_)) => self.erase(at, reach),
        }
        self.over.clear();
    }

    /// The pointer goes up: what was drawn is there now.
    pub fn lift(&mut self) {
        match self.gesture.take() {
            None | Some(Gesture::Erase(_)) => {}
            Some(Gesture::Draw(mark)) => {
                if !mark.is_slip(self.page.field) {
                    self.step();
                    self.marks.push(Arc::new(mark));
                    self.touched();
                }
            }
            Some(Gesture::Move(was, _)) => {
                if let Some(index) = self.chosen
                    && let Some(now) = self.marks.get(index)
                    && *now != was
                {
                    let now = std::mem::replace(&mut self.marks[index], was);
                    self.step();
                    self.marks[index] = now;
                    self.touched();
                }
            }
        }
        self.over.clear();
    }

    /// Takes the chosen mark away.
    pub fn delete(&mut self) {
        if let Some(index) = self.chosen.take()
            && index < self.marks.len()
        {
            self.step();
            let _mark = self.marks.remove(index);
            self.touched();
        }
    }

    /// Moves the chosen mark by units of the layout.
    pub fn nudge(&mut self, by: [f64; 2]) {
        let field = self.page.field;
        if let Some(index) = self.chosen
            && let Some(mark) = self.marks.get(index)
        {
            let by = [by[0] / f64::from(field[0]), by[1] / f64::from(field[1])];
            let moved = Arc::new(mark.moved(mark.room(by)));
            self.step();
            self.marks[index] = moved;
            self.touched();
        }
    }

    /// Takes a step back.
    pub fn undo(&mut self) {
        self.finish();
        if let Some(before) = self.past.pop() {
            self.future.push(std::mem::replace(&mut self.marks, before));
            self.touched();
        }
    }

    /// Takes a step again.
    pub fn redo(&mut self) {
        self.finish();
        if let Some(after) = self.future.pop() {
            self.past.push(std::mem::replace(&mut self.marks, after));
            self.touched();
        }
    }

    /// What is drawn of the marks, with the one that is being drawn, and a frame around the chosen one.
    pub fn over(&self) -> (Vec<Shape>, Option<[[f32; 2]; 2]>) {
        let field = self.page.field;
        let mut shapes: Vec<Shape> = self
            .marks
            .iter()
            .flat_map(|m| marks::shapes(m, field))
            .collect();
        if let Some(Gesture::Draw(mark)) = &self.gesture {
            shapes.extend(marks::shapes(mark, field));
        }
        (shapes, self.chosen().map(|mark| around(mark, field)))
    }

    /// The uppermost mark at a place.
    fn at(&self, at: Share, reach: f64) -> Option<usize> {
        let field = self.page.field;
        let here = marks::place(at, field);
        self.marks.iter().rposition(|mark| match mark.as_ref() {
            Mark::Text { .. } => {
                let [upper, lower] = around(mark, field);
                (0..2).all(|axis| (upper[axis]..=lower[axis]).contains(&here[axis]))
            }
            Mark::Stroke { .. } | Mark::Arrow { .. } | Mark::Highlight { .. } => {
                mark.is_at(at, field, reach)
            }
        })
    }

    fn erase(&mut self, at: Share, reach: f64) {
        let Some(index) = self.at(at, reach) else {
            return;
        };
        // All that goes in one movement comes back in one step.
        if self.gesture != Some(Gesture::Erase(true)) {
            self.step();
            self.gesture = Some(Gesture::Erase(true));
        }
        let _mark = self.marks.remove(index);
        self.touched();
    }

    /// What is there now can be returned to.
    fn step(&mut self) {
        if self.past.len() == STEPS {
            let _oldest = self.past.remove(0);
        }
        self.past.push(self.marks.clone());
        self.future.clear();
    }

    fn touched(&mut self) {
        self.version += 1;
        self.over.clear();
    }

    /// Words below or above the rows have changed.
    fn lay_out(&mut self) {
        self.page = Page::new(&self.document);
        self.ground.clear();
        self.touched();
    }
}

/// Upper left and lower right of a mark.
fn around(mark: &Mark, field: [f32; 2]) -> [[f32; 2]; 2] {
    if let Mark::Text { at, words, .. } = mark {
        let (upper, lower, _) = marks::words_box(*at, words, field);
        return [upper, lower];
    }
    let (mut upper, mut lower) = (field, [0.0_f32; 2]);
    for place in mark.places() {
        let place = marks::place(place, field);
        for axis in 0..2 {
            upper[axis] = upper[axis].min(place[axis]);
            lower[axis] = lower[axis].max(place[axis]);
        }
    }
    let air = 10.0;
    [upper.map(|v| v - air), lower.map(|v| v + air)]
}
