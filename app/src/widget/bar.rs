//! The top bar: what is measured, from where, whether anything was lost, and the keys that are
//! always at hand.

use crate::status::{LinkState, LinkStatus, RecordingStatus};
use crate::theme::{Look, TARGET};
use crate::widget::button;
use crate::widget::label;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::{Space, button as pressed, column, container, responsive, row, text};
use iced::{Alignment, Color, Element, Font, Length};
use std::borrow::Cow;

/// Height of the bar, logical pixels.
pub const HEIGHT: f32 = 60.0;

/// Most that the state of the link may take, logical pixels; its full words are under Hook-up.
const LINK_WIDTH: f32 = 260.0;

/// What the bar shows and sends.
#[derive(Debug, Clone)]
pub struct Bar<'a, Message> {
    /// The engine.
    pub title: Cow<'a, str>,
    /// The complaint, or what the screen is about.
    pub story: Cow<'a, str>,
    /// State of the source.
    pub link: &'a LinkStatus,
    /// State of the recording.
    pub recording: &'a RecordingStatus,
    /// Whether the picture is held.
    pub is_held: bool,
    /// The look in use.
    pub look: Look,
    /// Starts or stops the recording; `None` when there is nothing to record.
    pub on_record: Option<Message>,
    /// Keeps what is on screen as an exhibit.
    pub on_keep: Message,
    /// Holds or resumes the picture.
    pub on_hold: Option<Message>,
    /// Changes the look.
    pub on_look: Message,
    /// Chooses another source; the link state is the key for it.
    pub on_link: Message,
}

/// The bar as a widget.
pub fn bar<'a, Message: Clone + 'a>(bar: Bar<'a, Message>) -> Element<'a, Message> {
    let p = bar.look.palette();
    let (state, detail, is_wrong) = link_words(bar.link);
    let [state, detail] =
        [state, detail].map(|w| label::cut(w, font::SMALL, font::REGULAR, LINK_WIDTH));
    let ink: Color = if is_wrong { p.alarm } else { p.quiet };
    let (title, look) = (bar.title, bar.look);
    // A recording that stopped by itself is said where the story stands, until the next one.
    let (story, story_ink) = match bar.recording {
        RecordingStatus::Failed(why) => (Cow::Borrowed(why.as_ref()), p.alarm),
        RecordingStatus::Off | RecordingStatus::On { .. } => (bar.story, p.quiet),
    };
    // Cut to the room there is: the toolkit would cut in the middle of a letter.
    let heading = responsive(move |room| {
        let line = |words: &str, size: f32, font: Font, colour: Color| {
            let words = label::cut(words.to_owned(), size, font, room.width);
            text(words)
                .size(size)
                .font(font)
                .color(colour)
                .wrapping(text::Wrapping::None)
        };
        let p = look.palette();
        let lines = column![
            line(&title, font::HEADING, font::BOLD, p.text),
            line(&story, font::SMALL, font::REGULAR, story_ink),
        ];
        container(lines.spacing(2)).center_y(Length::Fill).into()
    });
    let link = column![
        row![]
            .push(is_wrong.then(|| mark::mark(Mark::Warning, 14.0, p.alarm, p.background)))
            .push(
                text(state)
                    .size(font::SMALL)
                    .color(ink)
                    .wrapping(text::Wrapping::None)
            )
            .spacing(6)
            .align_y(Alignment::Center),
        text(detail)
            .size(font::SMALL)
            .color(ink)
            .wrapping(text::Wrapping::None),
    ]
    .align_x(Alignment::End)
    .spacing(2);
    let link = pressed(container(link).center_y(Length::Fill))
        .height(TARGET)
        .padding([0, 12])
        .style(move |_, status| {
            let mut style = button::style(look, false, status);
            style.border.color = look.palette().hairline;
            style
        })
        .on_press(bar.on_link);
    let (word, symbol) = record_words(bar.recording);
    let is_recording = matches!(bar.recording, RecordingStatus::On { .. });
    let (hold, hold_mark) = if bar.is_held {
        ("Resume", Mark::Play)
    } else {
        ("Hold", Mark::Pause)
    };
    let look_mark = match bar.look {
        Look::Workshop => Mark::Sun,
        Look::Daylight => Mark::Moon,
    };
    let keys = row![
        button::action(word, Some(symbol), is_recording, bar.look, bar.on_record),
        button::action(hold, Some(hold_mark), bar.is_held, bar.look, bar.on_hold),
        button::action("Keep", None, false, bar.look, Some(bar.on_keep)),
        button::action(
            bar.look.other().name(),
            Some(look_mark),
            false,
            bar.look,
            Some(bar.on_look)
        ),
    ]
    .spacing(8);
    container(
        row![heading, link, Space::new().width(4), keys]
            .spacing(8)
            .height(Length::Fill)
            .align_y(Alignment::Center),
    )
    .height(HEIGHT)
    .padding([0, 16])
    .style(move |_| container::background(p.background))
    .into()
}

/// The link in two lines, and whether something is wrong with it.
fn link_words(link: &LinkStatus) -> (String, String, bool) {
    let rate = format!(
        "{} leads × {} kS/s",
        link.channels,
        figure::plain(
            link.rate_hz / 1000.0,
            usize::from(link.rate_hz % 1000.0 > 0.5)
        ),
    );
    match &link.state {
        LinkState::Idle => (
            "No scope chosen".to_owned(),
            "press here to choose one".to_owned(),
            false,
        ),
        LinkState::Connecting => (link.source.clone(), "connecting…".to_owned(), false),
        LinkState::Lost(why) => (
            format!("{} gone, trying again", link.source),
            why.to_string(),
            true,
        ),
        LinkState::Failed(why) => (link.source.clone(), why.to_string(), true),
        LinkState::Streaming | LinkState::Playing => {
            let what = match link.state {
                LinkState::Playing => format!("Playing {}", link.source),
                _ => link.source.clone(),
            };
            let mut faults = Vec::new();
            for (count, word) in [
                (link.lost, "samples lost"),
                (link.overruns, "overruns"),
                (link.bad_frames, "bad frames"),
            ] {
                if count > 0 {
                    faults.push(format!("{} {word}", figure::plain(count as f64, 0)));
                }
            }
            if faults.is_empty() {
                (what, format!("{rate} · nothing lost"), false)
            } else {
                (what, faults.join(" · "), true)
            }
        }
    }
}

fn record_words(recording: &RecordingStatus) -> (String, Mark) {
    match recording {
        RecordingStatus::Off => ("Record".to_owned(), Mark::Ring),
        RecordingStatus::On { seconds, bytes, .. } => (
            format!("{}  {}", figure::clock(*seconds), figure::size(*bytes)),
            Mark::Disc,
        ),
        RecordingStatus::Failed(_) => ("Record again".to_owned(), Mark::Warning),
    }
}

#[cfg(test)]
mod tests {
    use super::link_words;
    use crate::status::{LinkState, LinkStatus};

    #[test]
    fn loss_is_said_and_raised() {
        let mut link = LinkStatus {
            source: "Virtual scope".to_owned(),
            state: LinkState::Streaming,
            channels: 8,
            rate_hz: 200_000.0,
            lost: 0,
            bad_frames: 0,
            overruns: 0,
        };
        let (_, detail, wrong) = link_words(&link);
        assert_eq!(
            (detail.as_str(), wrong),
            ("8 leads × 200 kS/s · nothing lost", false)
        );
        link.lost = 1_024;
        let (_, detail, wrong) = link_words(&link);
        assert_eq!(
            (detail.as_str(), wrong),
            ("1\u{2009}024 samples lost", true)
        );
    }
}
