//! Text at given places in one layer. A screen that draws itself on canvases needs many labels at
//! computed places; one widget for all of them costs a fraction of a text widget each.

use crate::figure::THIN_SPACE;
use crate::font;
use iced::advanced::graphics::text::Paragraph;
use iced::advanced::layout::{self, Layout};
use iced::advanced::text::{self as core_text, Paragraph as _};
use iced::advanced::widget::{Operation, Tree};
use iced::advanced::{Text, Widget, renderer};
use iced::alignment::Vertical;
use iced::{Color, Element, Font, Length, Pixels, Point, Rectangle, Renderer, Size, Theme, mouse};

/// Which point of the text lies at the given place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Middle of the left edge.
    Left,
    /// The middle.
    Middle,
    /// Middle of the right edge.
    Right,
    /// Upper left corner; the text wraps at the label's width.
    Block,
}

/// A piece of text at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// The words.
    pub words: String,
    /// Where, relative to the widget that shows it.
    pub at: Point,
    /// Which point of the text lies there.
    pub anchor: Anchor,
    /// Type size, logical pixels.
    pub size: f32,
    /// Typeface.
    pub font: Font,
    /// Colour.
    pub colour: Color,
    /// Widest it may become, logical pixels; a single line is then cut with an ellipsis.
    pub width: f32,
}

impl Label {
    /// A label of running text.
    pub fn new(words: impl Into<String>, at: Point, anchor: Anchor, colour: Color) -> Self {
        Self {
            words: words.into(),
            at,
            anchor,
            size: font::SMALL,
            font: font::REGULAR,
            colour,
            width: f32::INFINITY,
        }
    }

    /// With another type size.
    #[must_use]
    pub fn size(self, size: f32) -> Self {
        Self { size, ..self }
    }

    /// In bold type.
    #[must_use]
    pub fn bold(self) -> Self {
        Self {
            font: font::BOLD,
            ..self
        }
    }

    /// No wider than this.
    #[must_use]
    pub fn within(mut self, width: f32) -> Self {
        self.width = width;
        if self.anchor != Anchor::Block && width.is_finite() {
            self.words = cut(self.words, self.size, self.font, width);
        }
        self
    }
}

/// Wider and higher than any screen, logical pixels.
const UNBROKEN: f32 = 10_000.0;

impl Label {
    /// The place it takes, in the coordinates of the widget that shows it.
    pub fn bounds(&self) -> Rectangle {
        let Point { x, y } = self.at;
        if self.anchor == Anchor::Block {
            let size = extent(&self.words, self.size, self.font, self.width);
            return Rectangle::new(self.at, size);
        }
        let size = Size::new(
            width(&self.words, self.size, self.font),
            self.size * LINE_HEIGHT,
        );
        let left = match self.anchor {
            Anchor::Left | Anchor::Block => x,
            Anchor::Middle => x - size.width / 2.0,
            Anchor::Right => x - size.width,
        };
        Rectangle::new(Point::new(left, y - size.height / 2.0), size)
    }
}

/// Height of a line in times the type size, as the toolkit sets it.
const LINE_HEIGHT: f32 = 1.3;

/// Width of one line of text, logical pixels.
pub fn width(words: &str, size: f32, font: Font) -> f32 {
    pieces(words)
        .map(|piece| extent(piece, size, font, f32::INFINITY).width)
        .sum::<f32>()
        + gaps(words) * thin_space(size)
}

/// Height of text that wraps at `width`, logical pixels.
pub fn height(words: &str, size: f32, font: Font, width: f32) -> f32 {
    extent(words, size, font, width).height
}

/// B612 has no thin space, so it is set as a gap; a fifth of the type size is customary.
fn thin_space(size: f32) -> f32 {
    size * 0.2
}

fn pieces(words: &str) -> impl Iterator<Item = &str> {
    words.split(THIN_SPACE)
}

fn gaps(words: &str) -> f32 {
    words
        .chars()
        .filter(|c| *c == THIN_SPACE)
        .map(|_| 1.0)
        .sum()
}

/// The words, or as many letters of them as fit, with an ellipsis.
pub fn cut(words: String, size: f32, font: Font, most: f32) -> String {
    if width(&words, size, font) <= most {
        return words;
    }
    let mut short = words;
    while short.pop().is_some() {
        let candidate = format!("{}…", short.trim_end());
        if width(&candidate, size, font) <= most {
            return candidate;
        }
    }
    String::new()
}

fn extent(words: &str, size: f32, font: Font, width: f32) -> Size {
    Paragraph::with_text(set(
        words,
        size,
        font,
        width,
        core_text::Alignment::Left,
        Vertical::Top,
    ))
    .min_bounds()
}

fn set<Content>(
    content: Content,
    size: f32,
    font: Font,
    width: f32,
    align_x: core_text::Alignment,
    align_y: Vertical,
) -> Text<Content> {
    Text {
        content,
        // The toolkit breaks a line of infinite width after each letter.
        bounds: Size::new(width.min(UNBROKEN), UNBROKEN),
        size: Pixels(size),
        line_height: core_text::LineHeight::default(),
        font,
        align_x,
        align_y,
        shaping: core_text::Shaping::Basic,
        wrapping: if width.is_finite() {
            core_text::Wrapping::Word
        } else {
            core_text::Wrapping::None
        },
    }
}

/// All labels of a screen as one widget that fills its place and lets every event through.
#[derive(Debug)]
pub struct Labels(pub Vec<Label>);

impl<Message> Widget<Message, Theme, Renderer> for Labels {
    fn size(&self) -> Size<Length> {
        Size::new(Length::Fill, Length::Fill)
    }

    fn layout(&mut self, _: &mut Tree, _: &Renderer, limits: &layout::Limits) -> layout::Node {
        layout::Node::new(limits.max())
    }

    fn operate(
        &mut self,
        _: &mut Tree,
        layout: Layout<'_>,
        _: &Renderer,
        operation: &mut dyn Operation,
    ) {
        let origin = layout.bounds().position();
        for label in &self.0 {
            operation.text(
                None,
                label.bounds() + (origin - Point::ORIGIN),
                &label.words,
            );
        }
    }

    fn draw(
        &self,
        _: &Tree,
        renderer: &mut Renderer,
        _: &Theme,
        _: &renderer::Style,
        layout: Layout<'_>,
        _: mouse::Cursor,
        _: &Rectangle,
    ) {
        use core_text::Renderer as _;
        let clip = layout.bounds();
        for label in &self.0 {
            let at = clip.position() + (label.at - Point::ORIGIN);
            let mut put = |content: &str, at: Point, wrap: f32, align, vertical| {
                let text = set(
                    content.to_owned(),
                    label.size,
                    label.font,
                    wrap,
                    align,
                    vertical,
                );
                renderer.fill_text(text, at, label.colour, clip);
            };
            let (align, share) = match label.anchor {
                Anchor::Block => {
                    put(
                        &label.words,
                        at,
                        label.width,
                        core_text::Alignment::Left,
                        Vertical::Top,
                    );
                    continue;
                }
                Anchor::Left => (core_text::Alignment::Left, 0.0),
                Anchor::Middle => (core_text::Alignment::Center, 0.5),
                Anchor::Right => (core_text::Alignment::Right, 1.0),
            };
            if !label.words.contains(THIN_SPACE) {
                put(&label.words, at, f32::INFINITY, align, Vertical::Center);
                continue;
            }
            let mut x = at.x - share * width(&label.words, label.size, label.font);
            for piece in pieces(&label.words) {
                let here = Point::new(x, at.y);
                put(
                    piece,
                    here,
                    f32::INFINITY,
                    core_text::Alignment::Left,
                    Vertical::Center,
                );
                x += extent(piece, label.size, label.font, f32::INFINITY).width
                    + thin_space(label.size);
            }
        }
    }
}

impl<'a, Message: 'a> From<Labels> for Element<'a, Message> {
    fn from(labels: Labels) -> Self {
        Element::new(labels)
    }
}
