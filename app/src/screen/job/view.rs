//! How the Job screen is put together: the list on the left, the open job, the new job or what to do
//! on the right.

use super::{Desk, Field, Job, Message, Page, card, contents, list};
use crate::font;
use crate::job::open::Part;
use crate::screen::source::field;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button as key;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, Space, column, container, row, text, text_editor, text_input};
use iced::{Alignment, Border, Element, Length, border};

/// Width of the list, logical pixels.
const LIST: f32 = 320.0;

/// The screen.
pub fn view(screen: &Job, look: Look) -> Element<'_, Message> {
    let right = if let Some(draft) = &screen.draft {
        new_job(draft, look)
    } else if screen.is_loading() && screen.desk.is_none() {
        note("Opening the job…", look)
    } else if let Some(desk) = &screen.desk {
        open(screen, desk, look)
    } else {
        nothing_open(screen, look)
    };
    row![
        container(list::view(screen, LIST, look)).width(LIST),
        container(right).width(Length::Fill),
    ]
    .spacing(STEP * 2.0)
    .into()
}

fn note<'a>(words: &'static str, look: Look) -> Element<'a, Message> {
    text(words)
        .size(font::BODY)
        .color(look.palette().quiet)
        .into()
}

/// A panel.
pub fn panel<'a>(content: impl Into<Element<'a, Message>>, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    container(content)
        .padding([STEP * 1.5, STEP * 2.0])
        .width(Length::Fill)
        .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)))
        .into()
}

/// A field with its name above and, if it is not understood, why below.
pub fn labelled<'a>(
    which: Field,
    typed: &'a str,
    slip: Option<&'static str>,
    on_input: Option<impl Fn(String) -> Message + 'a>,
    on_submit: Option<Message>,
    look: Look,
) -> Column<'a, Message> {
    let p = look.palette();
    let mut input = text_input(which.hint(), typed)
        .id(which.id())
        .size(font::BODY)
        .padding([12, 12])
        .style(move |_, status| field(look, status));
    if let Some(on_input) = on_input {
        input = input.on_input(on_input);
    }
    if let Some(message) = on_submit {
        input = input.on_submit(message);
    }
    let name = text(which.name()).size(font::SMALL).color(p.quiet);
    let why = slip.map(|why| {
        row![
            mark::mark(Mark::Warning, 14.0, p.alarm, p.background),
            text(why).size(font::SMALL).color(p.alarm),
        ]
        .spacing(4)
    });
    column![name, input]
        .push(why)
        .spacing(4)
        .width(Length::Fill)
}

/// The look of a field with several lines.
pub fn several_lines(look: Look, status: text_editor::Status) -> text_editor::Style {
    let p = look.palette();
    let is_focused = matches!(status, text_editor::Status::Focused { .. });
    text_editor::Style {
        background: p.background.into(),
        border: Border {
            color: if is_focused { p.text } else { p.edge },
            width: 1.0,
            radius: RADIUS.into(),
        },
        placeholder: p.quiet,
        value: p.text,
        selection: p.zone,
    }
}

fn heading<'a>(words: String, look: Look) -> text::Text<'a> {
    text(words)
        .size(font::HEADING)
        .font(font::BOLD)
        .color(look.palette().text)
}

fn new_job(draft: &super::Form, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let one = |which: Field| {
        let typed = move |words| Message::Draft(which, words);
        labelled(
            which,
            draft.text(which),
            None,
            Some(typed),
            Some(Message::Make),
            look,
        )
    };
    let is_named = [Field::Plate, Field::Title]
        .iter()
        .any(|f| !draft.text(*f).trim().is_empty());
    let keys = row![
        key::action(
            "Make the job",
            Some(Mark::Check),
            false,
            look,
            is_named.then_some(Message::Make)
        ),
        key::action("Cancel", None, false, look, Some(Message::Cancel)),
    ]
    .spacing(STEP);
    panel(
        column![
            heading("New job".to_owned(), look),
            text("A plate or a title is enough; everything else can follow.")
                .size(font::BODY)
                .color(p.quiet),
            row![one(Field::Plate), one(Field::Title)].spacing(STEP * 1.5),
            row![one(Field::Make), one(Field::Model)].spacing(STEP * 1.5),
            keys,
        ]
        .spacing(STEP * 1.5),
        look,
    )
}

fn nothing_open(screen: &Job, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let line = |words: &'static str| text(words).size(font::BODY).color(p.quiet);
    let mut content = column![
        heading("No job is open".to_owned(), look),
        line("Recordings go into the folder of recordings by themselves. With a job open they go into its folder, and its plate stands at the top."),
    ]
    .spacing(STEP * 1.5);
    if let Some(folder) = &screen.offered {
        let name = screen.listing.as_ref().and_then(|listing| {
            let entry = listing.entries().iter().find(|e| e.folder == *folder)?;
            Some(entry.name())
        });
        let words = format!("Open {} again", name.unwrap_or_else(|| folder.name()));
        content = content.push(
            row![
                key::action(
                    words,
                    None,
                    false,
                    look,
                    Some(Message::Open(folder.clone()))
                ),
                line("was open last (O)"),
            ]
            .spacing(STEP * 1.5)
            .align_y(Alignment::Center),
        );
    }
    panel(
        content.push(row![key::action(
            "New job",
            None,
            false,
            look,
            Some(Message::New)
        )]),
        look,
    )
}

/// Heading, what must be decided, and the page.
fn open<'a>(screen: &'a Job, desk: &'a Desk, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let card = desk.job.card();
    let can_write = desk.job.refusal(Part::Card).is_none();
    let (state, is_wrong) = state(desk);
    let ink = if is_wrong { p.alarm } else { p.quiet };
    let head = row![
        column![
            heading(card.name().to_owned(), look),
            row![]
                .push(is_wrong.then(|| mark::mark(Mark::Warning, 14.0, ink, p.background)))
                .push(text(state).size(font::SMALL).color(ink))
                .spacing(4),
        ]
        .spacing(2)
        .width(Length::Fill),
    ]
    .push(desk.job.refusal(Part::Card).map(|_| {
        let again = Message::Reread(Part::Card);
        key::action("Read again", None, false, look, Some(again))
    }))
    .push(key::action(
        "Put away",
        None,
        false,
        look,
        Some(Message::PutAway),
    ))
    .push(if card.closed.is_some() {
        let again = can_write.then_some(Message::Reopen);
        key::action("Open again", None, false, look, again)
    } else {
        let close = can_write.then_some(Message::Close);
        key::action("Close job", Some(Mark::Check), false, look, close)
    })
    .spacing(STEP)
    .align_y(Alignment::Center);
    let count = desk.contents.as_ref().map(|c| c.recordings.len());
    let recordings = match count {
        Some(1) => "1 recording".to_owned(),
        Some(n) => format!("{n} recordings"),
        None => "Recordings".to_owned(),
    };
    let pages = [
        (Page::Card, "Card".to_owned()),
        (Page::Contents, recordings),
        (Page::Notes, "Notes".to_owned()),
    ];
    let turn = pages
        .into_iter()
        .fold(Row::new().spacing(STEP), |row, (page, name)| {
            let is_open = page == screen.page;
            row.push(key::action(
                name,
                None,
                is_open,
                look,
                Some(Message::Turn(page)),
            ))
        });
    let body = match screen.page {
        Page::Card => card::view(desk, look),
        Page::Contents => contents::view(desk, look),
        Page::Notes => notes(desk, look),
    };
    let decide = [Part::Card, Part::Notes]
        .into_iter()
        .filter(|part| desk.job.is_in_conflict(*part))
        .map(|part| conflict(part, look));
    Column::new()
        .push(head)
        .extend(decide)
        .push(turn)
        .push(body)
        .spacing(STEP * 1.5)
        .into()
}

/// What there is to say of the state of card and notes, and whether something is wrong.
fn state(desk: &Desk) -> (String, bool) {
    if let Some(why) = desk.job.refusal(Part::Card) {
        return (why.to_owned(), true);
    }
    if let Some(fault) = desk.job.failed() {
        return (format!("Not saved: {fault}"), true);
    }
    let card = desk.job.card();
    let mut words = Vec::new();
    if let Some(opened) = card.opened {
        words.push(format!("opened {}", opened.minute()));
    }
    if let Some(closed) = card.closed {
        words.push(format!("closed {}", closed.minute()));
    }
    words.push(if desk.job.is_unsaved() || !desk.slips.is_empty() {
        "not saved yet".to_owned()
    } else {
        "saved".to_owned()
    });
    (words.join(" · "), false)
}

/// Another program changed a part: which words are kept is for the technician to say.
fn conflict<'a>(part: Part, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let words = match part {
        Part::Card => {
            "Another program changed the card since it was read. Nothing was written over."
        }
        Part::Notes => {
            "Another program changed the notes since they were read. Nothing was written over."
        }
    };
    let keys = row![
        key::action(
            "Read again, drop mine",
            None,
            false,
            look,
            Some(Message::Reread(part))
        ),
        key::action(
            "Save mine as a copy",
            None,
            false,
            look,
            Some(Message::SaveCopy(part))
        ),
    ]
    .spacing(STEP);
    container(
        column![
            row![
                mark::mark(Mark::Warning, 20.0, p.alarm, p.alarm_ground),
                text(words)
                    .size(font::BODY)
                    .color(p.alarm_text)
                    .width(Length::Fill),
            ]
            .spacing(STEP),
            keys,
        ]
        .spacing(STEP),
    )
    .padding(STEP * 1.5)
    .width(Length::Fill)
    .style(move |_| {
        container::background(p.alarm_ground)
            .border(border::rounded(RADIUS).color(p.alarm).width(1))
    })
    .into()
}

fn notes(desk: &Desk, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let why = desk
        .job
        .refusal(Part::Notes)
        .map(|why| text(why.to_owned()).size(font::SMALL).color(p.alarm));
    let mut editor = text_editor(&desk.notes)
        .id(super::NOTES_FIELD)
        .placeholder("What was seen, heard and done. Saved as notes.md in the job's folder.")
        .height(Length::Fill)
        .size(font::BODY)
        .padding(12)
        .style(move |_, status| several_lines(look, status));
    if desk.job.refusal(Part::Notes).is_none() {
        editor = editor.on_action(Message::Notes);
    }
    column![]
        .push(why)
        .push(editor)
        .push(Space::new().height(STEP))
        .spacing(STEP)
        .into()
}
