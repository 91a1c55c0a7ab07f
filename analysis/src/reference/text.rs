//! The text of a reference's file.

use super::fit::{edge_word, sensor_word};
use super::{CamEntry, Origin, Reference, Rest};
use std::fmt::Write;

const HEAD: &str = "\
# A known-good reference of Keyway: where the edges of an engine's cams are at rest when its timing is right.
# Angles are crank degrees after firing TDC of cylinder 1, in [0, 720). Degrees are of the crank everywhere.
";

/// A text in quotation marks.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn figure(x: f64) -> String {
    // Hundredths, and no more of them than there are; TOML asks for a digit behind the point.
    let text = format!("{x:.2}");
    text.strip_suffix('0').map_or(text.clone(), str::to_owned)
}

struct Lines(String);

impl Lines {
    fn line(&mut self, text: &str) {
        self.0.push_str(text);
        self.0.push('\n');
    }

    /// A field, with what it means behind it.
    fn field(&mut self, name: &str, value: &str, meaning: &str) {
        let field = format!("{name} = {value}");
        if meaning.is_empty() {
            self.line(&field);
        } else {
            self.line(&format!("{field:<34} # {meaning}"));
        }
    }

    /// The same, if there is anything to say.
    fn told(&mut self, name: &str, text: &str, meaning: &str) {
        if !text.is_empty() {
            self.field(name, &quoted(text), meaning);
        }
    }
}

fn origin(origin: Origin) -> (&'static str, &'static str) {
    match origin {
        Origin::Measured => ("\"measured\"", "on one good engine, from a recording"),
        Origin::Handbook => ("\"handbook\"", "typed in"),
        Origin::Combined => ("\"combined\"", "of several that were measured"),
    }
}

pub(super) fn text(reference: &Reference) -> String {
    let mut t = Lines(HEAD.to_owned());
    t.field("form", &reference.form.to_string(), "form of this file");
    t.field("name", &quoted(&reference.name), "");
    let (word, meaning) = origin(reference.origin);
    t.field("origin", word, meaning);
    t.field("made", &quoted(&reference.made), "year-month-day");
    t.told("by", &reference.by, "who made it");
    let source = match reference.origin {
        Origin::Handbook => "title and page",
        Origin::Measured | Origin::Combined => "the recording",
    };
    t.told("source", &reference.source, source);
    t.told(
        "vehicle",
        &reference.vehicle,
        "measured twice, it counts as one engine",
    );
    t.told("note", &reference.note, "");
    let engine = &reference.engine;
    t.line("\n# What decides whether these angles mean the same on another engine: it must match the engine sheet.");
    t.line("[engine]");
    t.field("name", &quoted(&engine.name), "");
    t.field("wheel", &quoted(&engine.wheel), "tone wheel of the crank");
    t.field("sensor", &quoted(sensor_word(engine.sensor)), "");
    t.field("active_edge", &quoted(edge_word(engine.active_edge)), "");
    if let Some(gap) = engine.gap_to_tdc {
        t.field(
            "gap_to_tdc",
            &figure(gap.0),
            "degrees, as in the sheet measured with",
        );
    }
    let conditions = &reference.conditions;
    if conditions.speed.is_some() || conditions.oil.is_some() {
        t.line("\n[conditions]");
    }
    if let Some(speed) = conditions.speed {
        let band = format!("{{ low = {:.1}, high = {:.1} }}", speed.low.0, speed.high.0);
        t.field("speed", &band, "rpm");
    }
    if let Some(oil) = conditions.oil {
        t.field(
            "oil",
            &format!("{oil:.1}"),
            "degrees Celsius, as read by the technician",
        );
    }
    for cam in &reference.cams {
        write_cam(&mut t, reference, cam);
    }
    if !reference.parts.is_empty() {
        t.line("\n# The engines it was made of, each with where its cams stand against the mean, in the order of the cams above;");
        t.line("# positive is later. An outlier lies far from the others; one that was left out is not in the mean.");
    }
    for part in &reference.parts {
        t.line("\n[[parts]]");
        t.field("name", &quoted(&part.name), "");
        t.told("vehicle", &part.vehicle, "");
        t.told("source", &part.source, "");
        t.told("made", &part.made, "");
        let offsets: Vec<String> = part.offsets.iter().map(|o| figure(o.0)).collect();
        t.field("offsets", &format!("[{}]", offsets.join(", ")), "");
        if part.outlier {
            t.field("outlier", "true", "");
        }
        if part.left_out {
            t.field("left_out", "true", "");
        }
    }
    t.0
}

fn write_cam(t: &mut Lines, reference: &Reference, cam: &CamEntry) {
    t.line("\n[[cams]]");
    t.field("cam", &quoted(&cam.cam.to_string()), "");
    let meaning = match reference.origin {
        Origin::Combined => "holds 95 % of engines with 95 % confidence (ISO 16269-6)",
        Origin::Measured | Origin::Handbook => "degrees that a good engine may differ",
    };
    t.field("tolerance", &figure(cam.tolerance.0), meaning);
    if cam.uncertainty.0 > 0.0 {
        let meaning = "95 % range of these angles as a whole";
        t.field("uncertainty", &figure(cam.uncertainty.0), meaning);
    }
    if cam.engines > 0 {
        t.field("engines", &cam.engines.to_string(), "");
    }
    t.field(
        "windows",
        &cam.windows.to_string(),
        "in which the sensor is high, in a cycle",
    );
    t.field("phaser", if cam.phaser { "true" } else { "false" }, "");
    match cam.rest {
        Rest::Command => t.field("rest", "\"command\"", "a proven command let it rest"),
        Rest::Fixed => t.field("rest", "\"fixed\"", "it has no phaser"),
        Rest::Told => {}
    }
    let spread = match reference.origin {
        Origin::Measured => ", spread from cycle to cycle (standard deviation), cycles",
        Origin::Combined => ", spread from engine to engine (standard deviation), engines",
        Origin::Handbook => "",
    };
    t.line(&format!("# Which edge of which window, its angle{spread}."));
    t.line("edges = [");
    for edge in &cam.edges {
        let mut row = format!(
            "  {{ mark = \"{}\", window = {}, angle = {}",
            edge.mark.word(),
            edge.window,
            figure(edge.angle.0)
        );
        if let Some(spread) = edge.spread {
            row.push_str(&format!(", spread = {}", figure(spread.0)));
        }
        if let Some(count) = edge.count {
            let _fits = write!(row, ", count = {count}");
        }
        row.push_str(" },");
        t.line(&row);
    }
    t.line("]");
}
