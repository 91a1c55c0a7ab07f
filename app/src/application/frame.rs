//! How the window is put together: rail, bar, message, screen, panel.

use super::pages::Page;
use super::{Application, Message, Tab};
use crate::font;
use crate::screen::export;
use crate::screen::import::{self, Import};
use crate::screen::transport::{Transport, transport};
use crate::screen::{hookup, source};
use crate::status::LinkState;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::bar::{Bar, bar};
use crate::widget::button;
use crate::widget::mark::{self, Mark};
use crate::widget::rail::{Entry, legend, rail};
use iced::widget::{Stack, center, column, container, mouse_area, opaque, row, stack, text};
use iced::{Alignment, Color, Element, Length, border};

/// Keys that are shown at the foot of the rail.
const KEYS: [(&str, &str); 11] = [
    ("Space", "hold"),
    ("R", "record"),
    ("S", "scope"),
    ("I", "import"),
    ("X", "keep"),
    ("T", "traces"),
    ("K", "crank"),
    ("C", "balance"),
    ("Y", "trials"),
    ("E", "larger"),
    ("L", "look"),
];

/// The same on the Compare page.
const COMPARE_KEYS: [(&str, &str); 11] = [
    ("G", "begin"),
    ("M", "choose"),
    ("T", "table"),
    ("K", "crank"),
    ("E", "event"),
    ("A", "all"),
    ("B", "beside"),
    ("N", "next"),
    ("H", "hold"),
    ("X", "keep"),
    ("L", "look"),
];

/// The whole window.
pub fn view(app: &Application) -> Element<'_, Message> {
    let look = app.settings.look;
    let p = look.palette();
    let is_comparing = app.tab == Tab::Recordings && app.pages.open == Page::Compare;
    let foot = if is_comparing {
        legend(&COMPARE_KEYS, look)
    } else {
        legend(&KEYS, look)
    };
    let entries = Tab::ALL.map(|tab| Entry {
        name: name(tab),
        key: key(tab),
        is_open: app.tab == tab,
        is_done: tab == Tab::Hookup
            && app
                .shown
                .snapshot
                .as_ref()
                .is_some_and(|s| hookup::is_proven(s)),
        on_press: Message::Open(tab),
    });
    // A message lies over the foot of the screen: pushing the screen would shrink what is read.
    let below = Stack::new()
        .push(screen(app))
        .push(message(app))
        .width(Length::Fill)
        .height(Length::Fill);
    let body = column![top(app), below];
    let base = container(row![rail(entries, Some(foot), look), body])
        .width(Length::Fill)
        .height(Length::Fill)
        .style(move |_| container::background(p.background));
    let (panel, close) = if let Some(panel) = &app.import {
        let close = import::Message::Close;
        (
            panel.view(look).map(Message::Import),
            Message::Import(close),
        )
    } else if let Some(exporting) = &app.exporting {
        let close = export::Message::Close;
        (
            exporting.panel.view(look).map(Message::Export),
            Message::Export(close),
        )
    } else if let Some(panel) = &app.source {
        let close = source::Message::Close;
        (
            panel.view(look).map(Message::Source),
            Message::Source(close),
        )
    } else {
        return base.into();
    };
    let shade = Color {
        a: 0.6,
        ..p.background
    };
    let is_running = app.import.as_ref().is_some_and(Import::is_running)
        || (app.exporting.as_ref()).is_some_and(|exporting| exporting.panel.is_running());
    let veil = mouse_area(
        center(opaque(panel))
            .padding(STEP * 3.0)
            .style(move |_| container::background(shade)),
    );
    // A slip beside the panel must not stop what runs.
    let veil = if is_running {
        veil
    } else {
        veil.on_press(close)
    };
    stack![base, opaque(veil)].into()
}

fn name(tab: Tab) -> &'static str {
    match tab {
        Tab::Job => "Job",
        Tab::Hookup => "Hook-up",
        Tab::Live => "Live",
        Tab::Recordings => "Recordings",
        Tab::Findings => "Findings",
    }
}

/// The key that opens a screen.
pub(super) fn key(tab: Tab) -> &'static str {
    match tab {
        Tab::Job => "1",
        Tab::Hookup => "2",
        Tab::Live => "3",
        Tab::Recordings => "4",
        Tab::Findings => "5",
    }
}

fn top(app: &Application) -> Element<'_, Message> {
    let look = app.settings.look;
    let (title, story) = app.heading();
    if let Some(play) = &app.shown.playback {
        return transport(
            Transport {
                title,
                link: &app.shown.link,
                play,
                look,
            },
            Message::Player,
            Message::Keep,
            Message::LeaveRecording,
            Message::ToggleLook,
        );
    }
    let is_streaming = matches!(
        app.shown.link.state,
        LinkState::Streaming | LinkState::Lost(_)
    );
    bar(Bar {
        title: title.into(),
        story: story.into(),
        link: &app.shown.link,
        recording: &app.shown.recording,
        is_held: app.is_held,
        look,
        on_record: is_streaming.then_some(Message::ToggleRecord),
        on_keep: Message::Keep,
        on_hold: Some(Message::ToggleHold),
        on_look: Message::ToggleLook,
        on_link: Message::ChooseSource,
    })
}

/// What has to be said: a source that gave up goes before a message that can wait.
fn message(app: &Application) -> Option<Element<'_, Message>> {
    let look = app.settings.look;
    if let LinkState::Failed(why) | LinkState::Lost(why) = &app.shown.link.state {
        let way_out = ("Choose a source", Message::ChooseSource);
        // Over the sentence, which has nothing to say of samples that do not come.
        let card = banner(why, true, way_out, look);
        return Some(container(card).padding([0, 8]).into());
    }
    if let Some(notice) = &app.notice {
        let close = ("Close", Message::CloseNotice);
        return Some(at_foot(banner(&notice.words, notice.is_wrong, close, look)));
    }
    let fault = app.shown.playback.as_ref()?.fault.as_ref()?;
    let leave = ("Back to scope", Message::LeaveRecording);
    Some(at_foot(banner(fault, true, leave, look)))
}

fn at_foot(card: Element<'_, Message>) -> Element<'_, Message> {
    container(card)
        .padding(STEP * 2.0)
        .align_bottom(Length::Fill)
        .into()
}

fn banner<'a>(
    words: &'a str,
    is_wrong: bool,
    (way_out, on_press): (&'a str, Message),
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let (ground, ink, symbol) = if is_wrong {
        (p.alarm_ground, p.alarm_text, Mark::Warning)
    } else {
        (p.panel, p.text, Mark::Check)
    };
    let shape = if is_wrong { p.alarm } else { p.text };
    let content = row![
        mark::mark(symbol, 20.0, shape, ground),
        text(words).size(font::BODY).color(ink).width(Length::Fill),
        button::action(way_out, None, false, look, Some(on_press)),
    ]
    .spacing(STEP * 1.5)
    .align_y(Alignment::Center);
    let edge = if is_wrong { p.alarm } else { p.edge };
    let card = container(content)
        .padding([8.0, STEP * 2.0])
        .style(move |_| {
            container::background(ground).border(border::rounded(RADIUS).color(edge).width(1))
        });
    opaque(card)
}

fn screen(app: &Application) -> Element<'_, Message> {
    let look = app.settings.look;
    let margins = iced::Padding::from([8, 16]);
    match app.tab {
        Tab::Live => app.live.view(&app.setup.sheet, look).map(Message::Live),
        Tab::Hookup => container(app.hookup.view(&app.setup, look).map(Message::Hookup))
            .padding(margins)
            .into(),
        Tab::Findings => container(app.findings.view(look).map(Message::Findings))
            .padding(margins)
            .into(),
        Tab::Job => container(app.job.view(look).map(Message::Job))
            .padding(margins)
            .into(),
        Tab::Recordings => column![app.pages.view(look)].padding(margins).into(),
    }
}
