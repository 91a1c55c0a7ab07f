//! The Review page: a whole recording at a glance, down to single samples, with cursors and events.

use crate::exhibit::scene::Scene;
use crate::font;
use crate::setup::Setup;
use crate::theme::Look;
use iced::Element;
use iced::keyboard::Key;
use iced::widget::text;
use keyway_acquisition::recording::reader::Recording;
use std::ops::Range;
use std::path::Path;

/// The page.
#[derive(Debug, Default)]
pub struct Review {
    opened: Option<Opened>,
}

/// The recording that is looked at.
#[derive(Debug)]
struct Opened {
    /// The visible window, seconds since the start of the recording.
    window: Range<f64>,
    /// Cursors A and B, if they are put.
    cursors: [Option<f64>; 2],
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
}

impl Review {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Review"
    }

    /// The recording that is played from now on, with its sheet and plan; none when a scope is open.
    pub fn set_recording(&mut self, path: Option<&Path>, _setup: Option<&Setup>) {
        self.opened = path
            .and_then(|path| Recording::open(path).ok())
            .map(|recording| Opened {
                window: 0.0..recording.duration().as_secs_f64(),
                cursors: [None; 2],
            });
    }

    /// The stretch that is meant, seconds since the start of the recording: between the cursors if
    /// both are set, else the visible window; none without a recording.
    pub fn span(&self) -> Option<Range<f64>> {
        let opened = self.opened.as_ref()?;
        Some(match opened.cursors {
            [Some(a), Some(b)] => a.min(b)..a.max(b),
            _ => opened.window.clone(),
        })
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {}
    }

    /// What a key does here, if anything.
    pub fn key(&self, _key: &Key) -> Option<Message> {
        None
    }

    /// What is on the page as data, to be kept as an exhibit; none when it is empty.
    pub fn scene(&self) -> Option<Scene> {
        None
    }

    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        text(self.title())
            .size(font::HEADING)
            .font(font::BOLD)
            .color(p.text)
            .into()
    }
}
