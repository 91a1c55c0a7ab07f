//! What a picture is made of, in units of its layout: both painters draw the same list.

use super::mark::Ink;
use crate::theme::Palette;
use iced::Color;
use keyway_analysis::lead::{CamId, Role};

/// A place, in units of the layout from the upper left corner.
pub type Place = [f32; 2];

/// What a colour stands for; each painter has its own palette.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tone {
    /// The ground of the picture.
    Paper,
    /// The ground of a row.
    Panel,
    /// Text and figures.
    Text,
    /// Text of second rank.
    Quiet,
    /// Grid lines.
    Hairline,
    /// Outlines.
    Edge,
    /// A zone or a hint.
    Zone,
    /// What is wrong.
    Alarm,
    /// A cam.
    Cam(CamId),
    /// A mark.
    Ink(Ink),
}

impl Tone {
    /// Of a curve: that of its cam, or of the text.
    pub fn of(role: Option<Role>) -> Self {
        match role {
            Some(Role::Cam(id) | Role::Command(id) | Role::Current(id)) => Self::Cam(id),
            Some(
                Role::Crank | Role::StarterCurrent | Role::Supply | Role::Pressure | Role::Spare,
            )
            | None => Self::Text,
        }
    }

    /// The colour in a palette.
    pub fn colour(self, p: &Palette) -> Color {
        match self {
            Self::Paper => p.background,
            Self::Panel => p.panel,
            Self::Text => p.text,
            Self::Quiet => p.quiet,
            Self::Hairline => p.hairline,
            Self::Edge => p.edge,
            Self::Zone => p.zone,
            Self::Alarm => p.alarm,
            Self::Cam(id) => p.cam(id),
            Self::Ink(ink) => ink.colour(p),
        }
    }
}

/// A colour and how much of the ground it covers, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paint {
    /// The colour.
    pub tone: Tone,
    /// How much it covers.
    pub cover: f32,
}

impl Paint {
    /// The colour in a palette, with its cover as alpha.
    pub fn colour(self, p: &Palette) -> Color {
        Color {
            a: self.cover,
            ..self.tone.colour(p)
        }
    }
}

impl From<Tone> for Paint {
    fn from(tone: Tone) -> Self {
        Self { tone, cover: 1.0 }
    }
}

/// Which point of a text lies at its place; always on its foot line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its begin.
    Left,
    /// Its middle.
    Middle,
    /// Its end.
    Right,
}

/// One line of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    /// On the foot line of the letters.
    pub at: Place,
    /// The words.
    pub words: String,
    /// Type size: the em, in units.
    pub size: f32,
    /// Bold type.
    pub is_bold: bool,
    /// Colour.
    pub tone: Tone,
    /// Which point lies there.
    pub anchor: Anchor,
}

/// One thing that is drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A filled rectangle between two corners, upper left first.
    Rectangle(Place, Place, Paint),
    /// A filled outline.
    Area(Vec<Place>, Paint),
    /// A line of this width.
    Line(Vec<Place>, f32, Paint),
    /// Text.
    Text(Text),
}
