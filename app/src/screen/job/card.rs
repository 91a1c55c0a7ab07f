//! The card of the open job as a form.

use super::view::{labelled, panel, several_lines};
use super::{CODE_FIELD, COMPLAINT_FIELD, Desk, Field, Message, READER_FIELD};
use crate::font;
use crate::job::open::Part;
use crate::screen::source::field;
use crate::theme::{Look, STEP, TARGET};
use crate::widget::button as key;
use iced::widget::{
    Column, Row, column, container, row, scrollable, text, text_editor, text_input,
};
use iced::{Alignment, Element, Length};

/// The fields of one line, in the order of the card, as they stand beside each other. Complaint and
/// codes stand between.
const BEFORE: [&[Field]; 3] = [
    &[Field::Plate, Field::Title],
    &[Field::Make, Field::Model, Field::Year],
    &[Field::Engine, Field::EngineSheet],
];

/// The fields after them.
const AFTER: [&[Field]; 3] = [
    &[Field::Oil, Field::OilCelsius, Field::Mileage],
    &[Field::Replaced],
    &[Field::Technician, Field::Order, Field::Vin],
];

/// The form.
pub fn view(desk: &Desk, look: Look) -> Element<'_, Message> {
    let is_open = desk.job.refusal(Part::Card).is_none();
    let line = |fields: &[Field]| {
        let gap = STEP * 1.5;
        let row = fields.iter().fold(Row::new().spacing(gap), |row, which| {
            let which = *which;
            let slip = desk.slips.iter().find(|(f, _)| *f == which);
            let slip = slip.map(|(_, why)| *why);
            let typed = is_open.then_some(move |words| Message::Fill(which, words));
            row.push(labelled(
                which,
                desk.form.text(which),
                slip,
                typed,
                None,
                look,
            ))
        });
        Element::from(row)
    };
    let form = Column::new()
        .extend(BEFORE.map(&line))
        .push(complaint(desk, is_open, look))
        .push(codes(desk, is_open, look))
        .extend(AFTER.map(line))
        .spacing(STEP * 1.5)
        .padding(iced::Padding::ZERO.bottom(STEP));
    scrollable(form).spacing(STEP).height(Length::Fill).into()
}

fn name<'a>(words: &'static str, look: Look) -> text::Text<'a> {
    text(words).size(font::SMALL).color(look.palette().quiet)
}

fn complaint(desk: &Desk, is_open: bool, look: Look) -> Element<'_, Message> {
    let mut editor = text_editor(&desk.complaint)
        .id(COMPLAINT_FIELD)
        .placeholder("in the customer's words")
        .size(font::BODY)
        .padding(12)
        .min_height(64.0)
        .style(move |_, status| several_lines(look, status));
    if is_open {
        editor = editor.on_action(Message::Complaint);
    }
    column![name("Complaint", look), editor].spacing(4).into()
}

/// Each code with who read it, and the fields for another.
fn codes(desk: &Desk, is_open: bool, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let codes = &desk.job.card().codes;
    let mut content = Column::new().spacing(STEP).push(name("Stored codes", look));
    for (at, code) in codes.iter().enumerate() {
        let reader = if code.read_by.is_empty() {
            "not said who read it".to_owned()
        } else {
            format!("read by {}", code.read_by)
        };
        let line = row![
            text(&code.code)
                .size(16)
                .font(font::BOLD)
                .color(p.text)
                .width(80),
            text(reader)
                .size(font::BODY)
                .color(p.quiet)
                .width(Length::Fill),
        ]
        .push(
            is_open
                .then(|| key::wide("×", false, look, Some(Message::RemoveCode(at))).width(TARGET)),
        );
        content = content.push(line.spacing(STEP).align_y(Alignment::Center));
    }
    if is_open {
        let input = |hint, id, typed| {
            text_input(hint, typed)
                .id(id)
                .on_submit(Message::AddCode)
                .size(font::BODY)
                .padding([12, 12])
                .style(move |_, status| field(look, status))
        };
        let can_add = !desk.code.trim().is_empty();
        content = content.push(
            row![
                container(input("P0014", CODE_FIELD, &desk.code).on_input(Message::TypeCode))
                    .width(120),
                input("read by: person or reader", READER_FIELD, &desk.reader)
                    .on_input(Message::TypeReader),
                key::action(
                    "Add code",
                    None,
                    false,
                    look,
                    can_add.then_some(Message::AddCode)
                ),
            ]
            .spacing(STEP)
            .align_y(Alignment::Center),
        );
    }
    panel(content, look)
}
