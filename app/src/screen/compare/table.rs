//! The table of every measure.

use super::{Compare, Message};
use crate::compare::table::{difference, reason, value, word};
use crate::font;
use crate::screen::live::words;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, container, row, scrollable, text};
use iced::{Alignment, Element, Length, border};
use keyway_analysis::comparison::{Compared, Verdict};

/// Identity of the table, for scrolling.
pub const TABLE: &str = "compare-table";

/// Widths of the columns after the first: unit, two values, difference, range, verdict.
const WIDTHS: [f32; 6] = [52.0, 92.0, 92.0, 84.0, 70.0, 140.0];

/// Room about the words of a row; at the right that of the bar that scrolls.
const ROOM: iced::Padding = iced::Padding {
    top: 5.0,
    right: 14.0,
    bottom: 5.0,
    left: STEP,
};

impl Compare {
    /// The rows that are shown.
    pub(super) fn rows(&self) -> Vec<&Compared> {
        let comparisons = self.outcome.as_ref().map(|o| &o.comparisons);
        let Some(comparison) = comparisons.and_then(|c| c.get(self.pair)) else {
            return Vec::new();
        };
        let is_change = |v: &Verdict| {
            matches!(
                v,
                Verdict::Exceeds | Verdict::Differs | Verdict::ExceedsAlone
            )
        };
        let rows = comparison.rows.iter();
        rows.filter(|r| self.shows_all || is_change(&r.verdict))
            .collect()
    }

    /// The table.
    pub(super) fn table(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let Some(outcome) = &self.outcome else {
            return text("").into();
        };
        let name = |place: usize| outcome.sides.get(place).map_or("", |s| s.name.as_str());
        let other = outcome.comparisons.get(self.pair).map_or(1, |c| c.other);
        let heads = ["unit", name(0), name(other), "difference", "95 %", ""];
        let mut head = Row::new()
            .spacing(STEP)
            .push(text("").width(Length::Fill).size(font::SMALL));
        for (words, width) in heads.into_iter().zip(WIDTHS) {
            head = head.push(
                text(words)
                    .size(font::SMALL)
                    .color(p.quiet)
                    .width(width)
                    .wrapping(text::Wrapping::None)
                    .align_x(Alignment::End),
            );
        }
        let rows = self.rows();
        let is_empty = rows.is_empty();
        let mut list = Column::new().spacing(2);
        for (i, compared) in rows.into_iter().enumerate() {
            list = list.push(line(compared, self.row == Some(i), look));
        }
        if is_empty {
            let none = "No measure changed beyond the uncertainty. All measures (A) shows every one with its figures.";
            list = list.push(text(none).size(font::BODY).color(p.text));
        }
        let list = scrollable(list).id(TABLE).height(Length::Fill);
        Column::new()
            .push(container(head).padding(iced::Padding {
                top: 0.0,
                bottom: 0.0,
                ..ROOM
            }))
            .push(list)
            .spacing(4)
            .into()
    }
}

fn line(compared: &Compared, is_on: bool, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let has_changed = matches!(compared.verdict, Verdict::Exceeds | Verdict::Differs);
    let face = if has_changed {
        font::BOLD
    } else {
        font::REGULAR
    };
    let ink = if reason(&compared.verdict).is_some() {
        p.quiet
    } else {
        p.text
    };
    let mut what = Column::new()
        .push(
            text(words::capital(&compared.base.name))
                .size(font::BODY)
                .font(face)
                .color(ink),
        )
        .width(Length::Fill);
    if let Some(why) = reason(&compared.verdict) {
        what = what.push(text(why).size(font::SMALL).color(p.quiet));
    } else if is_on && !compared.base.conditions.words.is_empty() {
        let conditions = format!("measured {}", compared.base.conditions.words);
        what = what.push(text(conditions).size(font::SMALL).color(p.quiet));
    }
    let [by, range] = difference(compared);
    let cells = [
        compared.base.unit.to_owned(),
        value(&compared.base),
        value(&compared.other),
        by,
        range,
    ];
    let mut content = Row::new()
        .spacing(STEP)
        .align_y(Alignment::Center)
        .push(what);
    for (i, (words, width)) in cells.into_iter().zip(WIDTHS).enumerate() {
        let is_figure = i > 0;
        content = content.push(
            text(words)
                .size(if is_figure { font::BODY } else { font::SMALL })
                .font(if i == 3 { face } else { font::REGULAR })
                .color(if is_figure { ink } else { p.quiet })
                .width(width)
                .align_x(Alignment::End),
        );
    }
    let symbol = match compared.verdict {
        Verdict::Exceeds | Verdict::Differs => Some(Mark::Disc),
        Verdict::ExceedsAlone => Some(Mark::Ring),
        // No mark: a check would say that all is well.
        Verdict::Within | Verdict::Alike => None,
        Verdict::NotComparable(_) => Some(Mark::Question),
        Verdict::NotShown(_) => Some(Mark::Dash),
    };
    let symbol =
        container(Row::new().push(symbol.map(|symbol| mark::mark(symbol, 14.0, ink, p.panel))));
    let verdict = row![
        symbol.width(14.0),
        text(word(&compared.verdict))
            .size(font::BODY)
            .font(face)
            .color(ink)
            .wrapping(text::Wrapping::None),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
    .width(WIDTHS[5]);
    container(content.push(verdict))
        .padding(ROOM)
        .width(Length::Fill)
        .style(move |_| {
            container::background(p.panel).border(
                border::rounded(RADIUS)
                    .color(if is_on { p.text } else { p.panel })
                    .width(1),
            )
        })
        .into()
}
