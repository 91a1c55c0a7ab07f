//! The Job screen: the card of the vehicle and its complaint, and the jobs there are.

use crate::font;
use crate::job::folder::JobFolder;
use crate::theme::Look;
use iced::Element;
use iced::keyboard::Key;
use iced::widget::text;

/// The page.
#[derive(Debug, Default)]
pub struct Job {
    open: Option<JobFolder>,
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

impl Job {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Job"
    }

    /// The folder of the open job.
    pub fn folder(&self) -> Option<&JobFolder> {
        self.open.as_ref()
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {}
    }

    /// What a key does here, if anything.
    pub fn key(&self, _key: &Key) -> Option<Message> {
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
