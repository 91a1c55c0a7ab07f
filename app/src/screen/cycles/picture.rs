//! What is on the page as data, to be kept as an exhibit.

use super::{Cycles, Show, Stock};
use crate::exhibit::scene::{Axis, Curve, CurveShape, Row, Scene, Stretch, Value};
use crate::figure;
use crate::screen::live::words;

/// Points of a curve at most: as many as a wide picture has pixels.
const POINTS: usize = 1440;
/// Cycles that are drawn one by one when all are overlaid; the envelope shows the rest.
const OVERLAID: usize = 6;

impl Cycles {
    /// What is on the page as data, to be kept as an exhibit; none when it is empty.
    pub fn scene(&self) -> Option<Scene> {
        let stock = self.stock.as_ref().filter(|s| !s.cycles().is_empty())?;
        let title = match self.show {
            Show::One => format!(
                "One engine cycle at {} s",
                figure::plain(stock.cycles().get(self.at)?.begin, 3)
            ),
            Show::All => format!("{} engine cycles overlaid", stock.cycles().len()),
            Show::Mean => format!("Mean and spread of {} engine cycles", stock.cycles().len()),
        };
        let names = ["A", "B"].into_iter().map(str::to_owned);
        let cursors = names.zip(self.cursors).filter_map(|(n, c)| Some((n, c?)));
        Some(Scene {
            title,
            screen: "Cycles".to_owned(),
            engine: stock.setup.sheet.name.clone(),
            sentence: stock.locked.hindrance.clone().unwrap_or_default(),
            recordings: vec![stock.name()],
            x: Axis {
                label: "crank angle".to_owned(),
                unit: "°crank".to_owned(),
                from: self.window.start,
                to: self.window.end,
            },
            rows: self
                .shown(stock)
                .into_iter()
                .map(|lead| self.row(stock, lead))
                .collect(),
            cursors: cursors.collect(),
            values: self.values(stock),
        })
    }

    fn row(&self, stock: &Stock, lead: usize) -> Row {
        let locked = &stock.locked.leads[lead];
        let [low, high] = stock.scales[lead].unwrap_or([0.0, 1.0]);
        let name = words::capital(&words::lead(locked.role));
        let curve = |name: String, shape: CurveShape| Curve {
            name,
            role: Some(locked.role),
            shape,
        };
        let course = &stock.courses[lead];
        let least: Vec<f32> = course.extent.iter().map(|e| e.least).collect();
        let most: Vec<f32> = course.extent.iter().map(|e| e.greatest).collect();
        let curves = match self.show {
            Show::One => vec![curve(
                name.clone(),
                self.shape(self.line(stock, lead), None),
            )],
            Show::All => {
                let count = locked.cycles.len();
                let stride = count.div_ceil(OVERLAID).max(1);
                let mut curves = vec![curve(
                    format!("{name}, least to greatest of {count} cycles"),
                    self.shape(&least, Some(&most)),
                )];
                for (cycle, values) in locked.cycles.iter().enumerate().step_by(stride) {
                    curves.push(curve(
                        format!("cycle {}", cycle + 1),
                        self.shape(values, None),
                    ));
                }
                curves
            }
            Show::Mean => {
                let spread = course.mean.iter().zip(&course.spread);
                let (below, above): (Vec<f32>, Vec<f32>) =
                    spread.map(|(m, s)| (m - s, m + s)).unzip();
                vec![
                    curve(
                        format!("{name}, least to greatest"),
                        self.shape(&least, Some(&most)),
                    ),
                    curve(
                        format!("{name}, ± one standard deviation"),
                        self.shape(&below, Some(&above)),
                    ),
                    curve(format!("{name}, mean"), self.shape(&course.mean, None)),
                ]
            }
        };
        let windows = stock.windows(locked.role).into_iter();
        let visible = windows.filter(|(a, b)| *b > self.window.start && *a < self.window.end);
        Row {
            y: Axis {
                label: name,
                unit: locked.unit.clone(),
                from: f64::from(low),
                to: f64::from(high),
            },
            curves,
            stretches: visible
                .map(|(from, to)| Stretch {
                    from: from.max(self.window.start),
                    to: to.min(self.window.end),
                    words: "window of the engine sheet at rest".to_owned(),
                    is_disagreement: false,
                })
                .collect(),
        }
    }

    /// The visible part of a line, or of what lies between two. Of too many columns, least and greatest of each few.
    fn shape(&self, least: &[f32], most: Option<&[f32]>) -> CurveShape {
        let columns = least.len().max(1) as f64;
        let angle = |place: usize| (place as f64 + 0.5) * 720.0 / columns;
        let places: Vec<usize> = (0..least.len())
            .filter(|k| (self.window.start..=self.window.end).contains(&angle(*k)))
            .collect();
        let few = places.len().div_ceil(POINTS).max(1);
        if few == 1 && most.is_none() {
            let points = places.iter().map(|k| [angle(*k), f64::from(least[*k])]);
            return CurveShape::Line(points.collect());
        }
        let most = most.unwrap_or(least);
        let points = places.chunks(few).map(|chunk| {
            let known = |values: &[f32]| {
                let values = chunk.iter().filter_map(|k| values.get(*k).copied());
                values.filter(|v| v.is_finite()).collect::<Vec<f32>>()
            };
            // Of nothing known neither the least nor the greatest is a number.
            let low = known(least)
                .into_iter()
                .reduce(f32::min)
                .unwrap_or(f32::NAN);
            let high = known(most).into_iter().reduce(f32::max).unwrap_or(f32::NAN);
            let middle = f64::midpoint(angle(chunk[0]), angle(chunk[chunk.len() - 1]));
            [middle, f64::from(low), f64::from(high)]
        });
        CurveShape::Envelope(points.collect())
    }

    fn values(&self, stock: &Stock) -> Vec<Value> {
        let value = |name: &str, figure: String| Value {
            name: name.to_owned(),
            figure,
            quality: "valid".to_owned(),
        };
        let mut values = vec![value("cycles", self.facts(stock))];
        if !stock.is_known() {
            values[0].quality = "suspect: which revolution is which is not known".to_owned();
        }
        if let Some(words) = self.cursor_words(stock) {
            values.push(value("cursors", words));
            for at in self.at_cursors(stock) {
                let lead = &stock.locked.leads[at.lead];
                let written = |v: Option<f32>| {
                    v.map_or(figure::NONE.to_owned(), |v| {
                        format!("{} {}", figure::plain(f64::from(v), 2), lead.unit)
                    })
                };
                let name = words::lead(lead.role);
                let figure = format!(
                    "A {}, B {}, B − A {}",
                    written(at.at[0]),
                    written(at.at[1]),
                    written(at.difference())
                );
                values.push(value(&name, figure));
            }
        }
        values
    }
}
