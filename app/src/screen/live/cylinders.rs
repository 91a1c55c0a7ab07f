//! The cylinders beside each other: what each gives while the engine idles, and how each compresses
//! while the starter turns it. Bars with the scatter from cycle to cycle; where nothing is judged, why.

use super::plan::{LINE, count};
use crate::exhibit::scene::Value;
use crate::figure;
use crate::font;
use crate::theme::Palette;
use crate::widget::label::{self, Anchor, Label};
use iced::widget::canvas::Frame;
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::ripple::{CrankingEnd, CylinderView, Share};

/// Room between the two charts, logical pixels.
const BETWEEN: f32 = 24.0;

/// Widest bar, logical pixels.
const WIDEST: f32 = 30.0;

/// Least upper end of the scales, percent: room above the line of 100.
const LEAST_TOP: f64 = 120.0;

/// One chart, in words and figures.
struct Chart<'a> {
    title: &'static str,
    /// What it rests on, or why there is none.
    about: String,
    shares: &'a [Share],
    /// The same from the starter's current.
    beside: &'a [Share],
    /// Places of those that are raised, and the word for it.
    raised: Vec<usize>,
    word: &'static str,
}

/// The two charts of a view.
fn charts(view: &CylinderView) -> [Chart<'_>; 2] {
    let order = |shares: &[Share]| {
        if shares.iter().any(|s| s.cylinder.is_none()) {
            "; from an unknown one on"
        } else {
            ""
        }
    };
    let none = |title, why: String| Chart {
        title,
        about: format!("not judged: {why}"),
        shares: &[],
        beside: &[],
        raised: Vec::new(),
        word: "",
    };
    let running = "Contribution at idle";
    let running = match &view.running {
        Err(why) => none(running, why.to_string()),
        Ok(balance) => Chart {
            title: running,
            about: format!(
                "{} rpm, {} cycles{}; 100 % is the mean",
                figure::plain(balance.speed.0, 0),
                balance.cycles,
                order(&balance.cylinders)
            ),
            shares: &balance.cylinders,
            beside: &[],
            raised: balance.weak.iter().map(|w| w.place).collect(),
            word: "weak",
        },
    };
    let cranking = "Relative compression";
    let cranking = match &view.cranking {
        Err(why) => none(cranking, why.to_string()),
        Ok(compression) => {
            let current = match &compression.by_current {
                None => "",
                Some(c) if c.agrees => "; outlined: starter current",
                Some(_) => "; outlined: starter current, does not agree",
            };
            let end = match compression.end {
                CrankingEnd::Open => "",
                CrankingEnd::Fired => "; before it fired",
            };
            Chart {
                title: cranking,
                about: format!(
                    "{} rpm, {} cycles{current}{}{end}; 100 % is the best",
                    figure::plain(compression.speed.0, 0),
                    compression.cycles,
                    order(&compression.cylinders)
                ),
                shares: &compression.cylinders,
                beside: compression
                    .by_current
                    .as_ref()
                    .map_or(&[], |c| &c.cylinders),
                raised: compression.low.clone(),
                word: "low",
            }
        }
    };
    [running, cranking]
}

/// Where a chart lies.
struct Place {
    /// The chart with its heading.
    whole: Rectangle,
    /// The bars.
    bars: Rectangle,
    /// Ends of the scale, percent.
    scale: [f64; 2],
    /// Width of one cylinder, logical pixels.
    step: f32,
}

impl Place {
    fn new(plot: Rectangle, index: usize, chart: &Chart<'_>) -> Self {
        let wide = (plot.width - BETWEEN) / 2.0;
        let whole = Rectangle::new(
            Point::new(plot.x + (wide + BETWEEN) * count(index), plot.y),
            Size::new(wide, plot.height),
        );
        // The heading above, the numbers below.
        let bars = Rectangle::new(
            Point::new(whole.x, whole.y + LINE + 2.0),
            Size::new(wide, (whole.height - 2.0 * LINE - 4.0).max(1.0)),
        );
        let ends = chart.shares.iter().chain(chart.beside);
        let low = ends
            .clone()
            .map(|s| s.value.0 - s.spread.0)
            .fold(0.0, f64::min);
        let high = ends
            .map(|s| s.value.0 + s.spread.0)
            .fold(LEAST_TOP, f64::max);
        Self {
            whole,
            bars,
            scale: [low, high],
            step: wide / count(chart.shares.len().max(1)),
        }
    }

    /// Height of a figure on the screen. The figures above the bars keep a line free.
    #[allow(
        clippy::cast_possible_truncation,
        reason = "a share of a screen length"
    )]
    fn y(&self, percent: f64) -> f32 {
        let [low, high] = self.scale;
        let share = ((percent - low) / (high - low)).clamp(0.0, 1.0) as f32;
        self.bars.y + LINE + (self.bars.height - LINE) * (1.0 - share)
    }

    fn middle(&self, place: usize) -> f32 {
        self.bars.x + self.step * (count(place) + 0.5)
    }

    /// Middle of a cylinder's bar, which makes room for one beside it.
    fn bar_at(&self, place: usize, has_company: bool) -> f32 {
        self.middle(place) - if has_company { self.bar() / 2.0 } else { 0.0 }
    }

    fn bar(&self) -> f32 {
        (self.step * 0.45).min(WIDEST)
    }
}

/// The bars.
pub fn hands(frame: &mut Frame, plot: Rectangle, view: &CylinderView, p: &Palette) {
    for (i, chart) in charts(view).iter().enumerate() {
        let place = Place::new(plot, i, chart);
        frame.fill_rectangle(place.bars.position(), place.bars.size(), p.background);
        if chart.shares.is_empty() {
            continue;
        }
        let line = |frame: &mut Frame, percent: f64, colour: Color| {
            let at = Point::new(place.bars.x, place.y(percent));
            frame.fill_rectangle(at, Size::new(place.bars.width, 1.0), colour);
        };
        line(frame, 100.0, p.hairline);
        for (at, share) in chart.shares.iter().enumerate() {
            let is_raised = chart.raised.contains(&at);
            let colour = if is_raised { p.alarm } else { p.edge };
            let wide = place.bar();
            let beside = chart.beside.get(at);
            let left = place.bar_at(at, beside.is_some()) - wide / 2.0;
            bar(frame, &place, left, wide, share, colour, p);
            if let Some(share) = beside {
                outline(frame, &place, place.middle(at) + 1.0, wide * 0.6, share, p);
            }
        }
        line(frame, 0.0, p.edge);
    }
}

fn bar(
    frame: &mut Frame,
    place: &Place,
    left: f32,
    wide: f32,
    share: &Share,
    colour: Color,
    p: &Palette,
) {
    let (zero, end) = (place.y(0.0), place.y(share.value.0));
    let top = zero.min(end);
    frame.fill_rectangle(
        Point::new(left, top),
        Size::new(wide, (zero - end).abs().max(1.0)),
        colour,
    );
    // The scatter from cycle to cycle, from one standard deviation below to one above.
    let high = place.y(share.value.0 + share.spread.0);
    let low = place.y(share.value.0 - share.spread.0);
    let x = left + wide / 2.0 - 1.0;
    frame.fill_rectangle(
        Point::new(x, high),
        Size::new(2.0, (low - high).max(1.0)),
        p.text,
    );
}

fn outline(frame: &mut Frame, place: &Place, left: f32, wide: f32, share: &Share, p: &Palette) {
    let (zero, end) = (place.y(0.0), place.y(share.value.0));
    let (top, high) = (zero.min(end), (zero - end).abs().max(1.0));
    let sides = [
        (left, top, wide, 1.0),
        (left, top, 1.0, high),
        (left + wide - 1.0, top, 1.0, high),
    ];
    for (x, y, w, h) in sides {
        frame.fill_rectangle(Point::new(x, y), Size::new(w, h), p.text);
    }
}

/// Headings, figures and numbers.
pub fn words(labels: &mut Vec<Label>, plot: Rectangle, view: &CylinderView, p: &Palette) {
    for (i, chart) in charts(view).iter().enumerate() {
        let place = Place::new(plot, i, chart);
        let line = place.whole.y + LINE / 2.0;
        let title = Label::new(
            chart.title,
            Point::new(place.whole.x, line),
            Anchor::Left,
            p.text,
        )
        .bold();
        let after = label::width(&title.words, title.size, title.font) + 10.0;
        labels.push(title);
        if chart.shares.is_empty() {
            let at = Point::new(place.bars.center_x(), place.bars.center_y());
            let about = Label::new(chart.about.clone(), at, Anchor::Middle, p.quiet);
            labels.push(about.within(place.bars.width - 8.0));
            continue;
        }
        let at = Point::new(place.whole.x + after, line);
        let about = Label::new(chart.about.clone(), at, Anchor::Left, p.quiet);
        labels.push(about.within(place.whole.width - after));
        let foot = place.whole.y + place.whole.height - LINE / 2.0;
        for (at, share) in chart.shares.iter().enumerate() {
            let x = place.middle(at);
            let is_raised = chart.raised.contains(&at);
            let ink = if is_raised { p.alarm } else { p.quiet };
            let value = figure::plain(share.value.0, 0);
            let top = place
                .y((share.value.0 + share.spread.0).max(0.0))
                .max(place.bars.y + LINE);
            let has_company = chart.beside.get(at).is_some();
            let above = Point::new(place.bar_at(at, has_company), top - LINE / 2.0);
            labels.push(Label::new(value, above, Anchor::Middle, p.text).bold());
            let number = share
                .cylinder
                .map_or_else(|| ordinal(share.place), |number| number.to_string());
            let below = Point::new(x, foot);
            if !is_raised {
                labels.push(Label::new(number, below, Anchor::Middle, ink));
                continue;
            }
            // Not by colour alone: with a word, or where there is no room for it a sign.
            let word = format!("{number} {}", chart.word);
            let fits = label::width(&word, font::SMALL, font::BOLD) <= place.step - 4.0;
            let name = if fits { word } else { format!("{number} !") };
            labels.push(Label::new(name, below, Anchor::Middle, ink).bold());
        }
    }
}

/// A place in the firing order as it is counted aloud, so that it is not taken for a cylinder.
fn ordinal(place: usize) -> String {
    let ending = match place + 1 {
        1 => "st",
        2 => "nd",
        3 => "rd",
        _ => "th",
    };
    format!("{}{ending}", place + 1)
}

/// The same as values, to be kept.
pub fn values(view: &CylinderView) -> Vec<Value> {
    let mut values = Vec::new();
    for chart in charts(view) {
        if chart.shares.is_empty() {
            values.push(Value {
                name: chart.title.to_owned(),
                figure: figure::NONE.to_owned(),
                quality: chart.about,
            });
            continue;
        }
        for (at, share) in chart.shares.iter().enumerate() {
            let which = share.cylinder.map_or_else(
                || format!("{} in the firing order", ordinal(share.place)),
                |number| format!("cylinder {number}"),
            );
            let raised = if chart.raised.contains(&at) {
                format!("{}; {}", chart.word, chart.about)
            } else {
                chart.about.clone()
            };
            values.push(Value {
                name: format!("{}, {which}", chart.title),
                figure: format!(
                    "{} ± {} %",
                    figure::plain(share.value.0, 0),
                    figure::plain(share.spread.0, 0)
                ),
                quality: raised,
            });
        }
    }
    values
}
