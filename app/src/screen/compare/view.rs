//! How the Compare page is put together.

use super::chart::{self, sample};
use super::{Compare, Message, Shown};
use crate::compare::sentence::summary;
use crate::compare::table::legend;
use crate::font;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, container, row, text};
use iced::{Alignment, Element, Length, border};

impl Compare {
    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let mut page = Column::new().spacing(STEP);
        if let Some(why) = &self.fault {
            page = page.push(
                row![
                    mark::mark(Mark::Warning, 18.0, p.alarm, p.background),
                    text(why.as_ref()).size(font::BODY).color(p.text),
                ]
                .spacing(STEP),
            );
        }
        if self.is_choosing || self.outcome.is_none() {
            let heading = text(self.title())
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text);
            return page.push(heading).push(self.chooser(look)).into();
        }
        page.push(self.sentence(look))
            .push(self.turns(look))
            .push(self.body(look))
            .into()
    }

    /// What changed and what did not.
    fn sentence(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let words = self.words();
        container(text(words).size(font::BODY).color(p.text))
            .padding([STEP, STEP * 1.5])
            .width(Length::Fill)
            .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)))
            .into()
    }

    /// The same, in words.
    pub(super) fn words(&self) -> String {
        let Some(outcome) = &self.outcome else {
            return String::new();
        };
        let comparison = outcome.comparisons.get(self.pair);
        comparison.map_or_else(String::new, |c| summary(&outcome.sides, c))
    }

    /// What is shown and how.
    fn turns(&self, look: Look) -> Element<'_, Message> {
        let mut turns = Row::new().spacing(STEP).align_y(Alignment::Center);
        for (shown, word) in [
            (Shown::Table, "Table"),
            (Shown::Crank, "By crank angle"),
            (Shown::Events, "By event"),
        ] {
            let is_on = self.shown == shown;
            let to = Some(Message::Show(shown));
            turns = turns.push(button::action(word, None, is_on, look, to));
        }
        turns = match self.shown {
            Shown::Table => {
                let all = if self.shows_all {
                    "All measures"
                } else {
                    "Changed only"
                };
                let to = Some(Message::All);
                turns.push(button::action(all, None, self.shows_all, look, to))
            }
            Shown::Crank | Shown::Events => {
                let word = if self.is_beside {
                    "Side by side"
                } else {
                    "On each other"
                };
                let to = Some(Message::Beside);
                turns.push(button::action(word, None, self.is_beside, look, to))
            }
        };
        let next = self.next_word();
        turns
            .push(next.map(|word| button::action(word, None, false, look, Some(Message::Next))))
            .push(iced::widget::space::horizontal())
            .push(button::action(
                "Recordings…",
                None,
                false,
                look,
                Some(Message::Choose),
            ))
            .into()
    }

    /// What the key for the next one turns over.
    fn next_word(&self) -> Option<String> {
        let outcome = self.outcome.as_ref()?;
        match self.shown {
            Shown::Table if outcome.comparisons.len() > 1 => {
                let other = outcome.comparisons.get(self.pair)?.other;
                Some(format!("With {}", outcome.sides.get(other)?.name))
            }
            Shown::Table => None,
            Shown::Crank => {
                let laid = outcome.laid.get(self.laid)?;
                Some(crate::screen::live::words::capital(laid.words))
            }
            Shown::Events => Some(crate::screen::live::words::capital(&self.anchor.words())),
        }
    }

    fn body(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let Some(outcome) = &self.outcome else {
            return text("").into();
        };
        if self.shown == Shown::Table {
            let foot = outcome.comparisons.get(self.pair).map(legend);
            return Column::new()
                .push(container(self.table(look)).height(Length::Fill))
                .push(foot.map(|words| text(words).size(font::SMALL).color(p.quiet)))
                .spacing(4)
                .into();
        }
        let mut names = Row::new().spacing(STEP * 2.0).align_y(Alignment::Center);
        for (place, side) in outcome.sides.iter().enumerate() {
            let mut words = side.name.clone();
            if let Some((_, why)) = self.chart.missing.iter().find(|m| m.0 == place) {
                words = format!("{words}: not shown, {why}");
            } else if self.shown == Shown::Crank {
                let laid = outcome.laid.get(self.laid).and_then(|l| l.sides.get(place));
                if let Some(Ok(cycle)) = laid {
                    words = format!("{words}: {} cycles, {:.0} rpm", cycle.cycles, cycle.rpm);
                }
            } else if let Some(shift) = self.shifts.get(place).filter(|s| **s != 0.0) {
                let shift = crate::figure::signed(*shift, 2);
                words = format!("{words}, shifted {shift} s");
            }
            let is_held = self.shown == Shown::Events && place == self.held;
            let face = if is_held { font::BOLD } else { font::REGULAR };
            names = names.push(
                row![
                    sample(place, look),
                    text(words).size(font::SMALL).font(face).color(p.text),
                ]
                .spacing(6)
                .align_y(Alignment::Center),
            );
        }
        if self.shown == Shown::Events {
            names = names.push(iced::widget::space::horizontal());
            for (word, message) in [
                ("Earlier", Message::Shift(-super::SHIFT)),
                ("Later", Message::Shift(super::SHIFT)),
                ("Hold next", Message::Hold),
                ("+", Message::Span(0.5)),
                ("−", Message::Span(2.0)),
            ] {
                names = names.push(button::action(word, None, false, look, Some(message)));
            }
        } else {
            let bars = "Bars: sensor high with the command at rest; grey: engine sheet.";
            names = names.push(text(bars).size(font::SMALL).color(p.quiet));
        }
        let columns = if self.is_beside {
            outcome.sides.iter().map(|s| s.name.clone()).collect()
        } else {
            vec![String::new()]
        };
        Column::new()
            .push(names)
            .push(
                container(chart::view(&self.chart, columns, &self.drawn, look))
                    .height(Length::Fill),
            )
            .spacing(STEP)
            .into()
    }
}
