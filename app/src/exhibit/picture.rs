//! Draws an exhibit into files: SVG, whose text stays text, and PNG. Always on white, for print.

use super::document::Document;
use super::layout::{self, Page};
use super::lettering::{self, ASCENT, BITMAP_EM, FAMILY};
use super::shape::{Anchor, Place, Shape, Text};
use crate::fault::Fault;
use crate::theme::{Look, Palette};
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::sync::Arc;

/// Pixels to a unit of the layout: 290 to the inch over the width of an A5 sheet lying across.
pub const SCALE: u32 = 2;

/// Width of the picture on paper, millimetres: A5 lying across (ISO 216), without margins.
const PAPER_MM: f64 = 194.0;

/// Highest picture, pixels; a document that asks for more is cut there.
const HIGHEST: u32 = 12_000;

/// Lines from this width on are drawn piece by piece into bitmaps, pixels.
const BROAD: u32 = 6;

/// What the drawing library's SVG takes a type size by, in times the em.
const SVG_EM: f32 = 1.24;

/// The drawing as SVG.
pub fn svg(document: &Document) -> Result<String, Fault> {
    let page = layout::whole(document);
    let size = pixels(&page);
    let mut text = String::new();
    let root = SVGBackend::with_string(&mut text, size).into_drawing_area();
    draw(&page, root, Kind::Svg)?;
    // The library counts in whole pixels; on paper they have a size, and pens have round ends.
    let as_pixels = format!("width=\"{}\" height=\"{}\"", size.0, size.1);
    let on_paper = format!(
        "width=\"{PAPER_MM}mm\" height=\"{:.1}mm\" stroke-linejoin=\"round\" stroke-linecap=\"round\"",
        PAPER_MM * f64::from(size.1) / f64::from(size.0)
    );
    Ok(measured(&text.replacen(&as_pixels, &on_paper, 1), &page))
}

/// Says of each text how wide it is, so that it keeps its place in a viewer with another typeface.
fn measured(svg: &str, page: &Page) -> String {
    const TAG: &str = "<text ";
    let widths = page.shapes.iter().filter_map(|shape| match shape {
        Shape::Text(text) if text.words.trim().is_empty() => Some(None),
        Shape::Text(text) => Some(Some(
            lettering::own_width(&text.words, text.size, text.is_bold) * scale(),
        )),
        Shape::Rectangle(..) | Shape::Area(..) | Shape::Line(..) => None,
    });
    // Words are escaped, so that the tag stands nowhere else.
    let mut pieces = svg.split(TAG);
    let mut whole = pieces.next().unwrap_or_default().to_owned();
    for (piece, wide) in pieces.zip(widths) {
        whole.push_str(TAG);
        if let Some(wide) = wide {
            whole.push_str(&format!(
                "textLength=\"{wide:.1}\" lengthAdjust=\"spacingAndGlyphs\" "
            ));
        }
        whole.push_str(piece);
    }
    whole
}

/// The drawing as PNG.
pub fn png(document: &Document) -> Result<Vec<u8>, Fault> {
    let page = layout::whole(document);
    let (wide, high) = pixels(&page);
    let mut rgb = vec![u8::MAX; wide as usize * high as usize * 3];
    let root = BitMapBackend::with_buffer(&mut rgb, (wide, high)).into_drawing_area();
    draw(&page, root, Kind::Bitmap)?;
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, wide, high);
    encoder.set_color(png::ColorType::Rgb);
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "some thousands of pixels to the metre"
    )]
    let density = (f64::from(wide) * 1000.0 / PAPER_MM).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: density,
        yppu: density,
        unit: png::Unit::Meter,
    }));
    encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(&rgb))
        .map_err(|e| Fault::Chart(Arc::from(e.to_string())))?;
    Ok(file)
}

/// The two kinds set text differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Svg,
    Bitmap,
}

/// Size of a page, pixels.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "kept between 1 and 12,000"
)]
fn pixels(page: &Page) -> (u32, u32) {
    let of = |units: f32| ((units * scale()).ceil().max(1.0) as u32).min(HIGHEST);
    (of(page.size[0]), of(page.size[1]))
}

#[allow(clippy::cast_precision_loss, reason = "a small whole number")]
fn scale() -> f32 {
    SCALE as f32
}

/// A place in pixels.
#[allow(
    clippy::cast_possible_truncation,
    reason = "places of a picture below 12,000 pixels; what is not saturates"
)]
pub fn pixel(at: Place) -> (i32, i32) {
    (
        (at[0] * scale()).round() as i32,
        (at[1] * scale()).round() as i32,
    )
}

fn draw<B: DrawingBackend>(
    page: &Page,
    root: DrawingArea<B, Shift>,
    kind: Kind,
) -> Result<(), Fault> {
    if !lettering::is_ready() {
        return Err(Fault::Chart(Arc::from("the built-in font is damaged")));
    }
    paint(page, &root, kind)
        .and_then(|()| root.present())
        .map_err(|e| Fault::Chart(Arc::from(e.to_string())))
}

type Painted<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

fn paint<B: DrawingBackend>(page: &Page, root: &DrawingArea<B, Shift>, kind: Kind) -> Painted<B> {
    let palette = Look::Daylight.palette();
    root.fill(&WHITE)?;
    for shape in &page.shapes {
        match shape {
            Shape::Rectangle(upper, lower, paint) => {
                let colour = rgba(paint.colour(palette));
                let (a, b) = (pixel(*upper), pixel(*lower));
                // The thinnest line is a pixel.
                let b = (b.0.max(a.0 + 1), b.1.max(a.1 + 1));
                root.draw(&Rectangle::new([a, b], colour.filled()))?;
            }
            Shape::Area(corners, paint) => {
                let colour = rgba(paint.colour(palette));
                let corners: Vec<_> = corners.iter().map(|p| pixel(*p)).collect();
                root.draw(&Polygon::new(corners, colour.filled()))?;
            }
            Shape::Line(places, wide, paint) => {
                let colour = rgba(paint.colour(palette));
                let mut places: Vec<_> = places.iter().map(|p| pixel(*p)).collect();
                // Two points on one pixel have no direction.
                places.dedup();
                let wide = stroke(*wide);
                if kind == Kind::Svg || wide < BROAD {
                    root.draw(&PathElement::new(places, colour.stroke_width(wide)))?;
                    continue;
                }
                // The library's bitmaps leave holes where a broad line crosses itself: piece by
                // piece, with round joints.
                for pair in places.windows(2) {
                    root.draw(&PathElement::new(pair.to_vec(), colour.stroke_width(wide)))?;
                }
                for place in places {
                    root.draw(&Circle::new(place, wide / 2, colour.filled()))?;
                }
            }
            Shape::Text(text) => root.draw(&lettered(text, palette, kind))?,
        }
    }
    Ok(())
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a pen's width in pixels"
)]
fn stroke(wide: f32) -> u32 {
    (wide * scale()).round().max(1.0) as u32
}

fn lettered<'a>(
    text: &'a Text,
    palette: &Palette,
    kind: Kind,
) -> plotters::element::Text<'a, (i32, i32), &'a str> {
    // Both are given the upper edge of the letters, and each takes its own distance to the foot line.
    let (size, rise) = match kind {
        Kind::Svg => (SVG_EM, 0.76),
        Kind::Bitmap => (BITMAP_EM, BITMAP_EM / 2.0),
    };
    let em = text.size * scale();
    let horizontal = match text.anchor {
        Anchor::Left => HPos::Left,
        Anchor::Middle => HPos::Center,
        Anchor::Right => HPos::Right,
    };
    let style = FontDesc::new(
        FontFamily::Name(FAMILY),
        f64::from(em * size),
        lettering::style(text.is_bold),
    )
    .color(&rgba(text.tone.colour(palette)))
    .pos(Pos::new(horizontal, VPos::Top));
    let (x, foot) = pixel(text.at);
    #[allow(clippy::cast_possible_truncation, reason = "some pixels")]
    let rise = (em * rise).round() as i32;
    plotters::element::Text::new(text.words.as_str(), (x, foot - rise), style)
}

fn rgba(colour: iced::Color) -> RGBAColor {
    let [r, g, b, _] = colour.into_rgba8();
    RGBAColor(r, g, b, f64::from(colour.a))
}

/// Middle of a line's height above its foot line, in times the em, for a painter that sets text by its
/// middle: the line is centred between ascender and descender.
pub const MIDDLE: f32 = ASCENT - BITMAP_EM / 2.0;
