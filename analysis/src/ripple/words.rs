//! The comparison of the cylinders in plain words.

use super::{CrankingEnd, CylinderView, LIMITS, RelativeCompression, RunningBalance, Share};

impl CylinderView {
    /// Lines for a reader, each one statement; the first of each part says what it is and what it rests on.
    pub fn rows(&self) -> Vec<String> {
        let mut rows = Vec::new();
        match &self.running {
            Ok(balance) => running(balance, &mut rows),
            Err(why) => rows.push(format!(
                "Contribution of the cylinders at idle: not judged, {why}."
            )),
        }
        match &self.cranking {
            Ok(compression) => cranking(compression, &mut rows),
            Err(why) => rows.push(format!("Relative compression: not judged, {why}.")),
        }
        if self.running.is_ok() || self.cranking.is_ok() {
            rows.push(LIMITS.to_owned());
        }
        rows
    }
}

impl Share {
    /// "cylinder 3", or "third in firing order" where the cycle is not known.
    pub fn name(&self) -> String {
        match self.cylinder {
            Some(number) => format!("cylinder {number}"),
            None => format!("place {} in firing order", self.place + 1),
        }
    }
}

fn names(cylinders: &[Share], places: &[usize]) -> String {
    let names: Vec<String> = places.iter().map(|&p| cylinders[p].name()).collect();
    names.join(", ")
}

fn unknown_first(cylinders: &[Share]) -> &'static str {
    match cylinders.first() {
        Some(Share { cylinder: None, .. }) => {
            ", in firing order; the cam has not told which cylinder comes first"
        }
        _ => "",
    }
}

fn figures(cylinders: &[Share], rows: &mut Vec<String>) {
    rows.extend(cylinders.iter().map(|s| {
        format!(
            "  {}: {:.0} % ± {:.0} % (from cycle to cycle {:.0} %)",
            s.name(),
            s.value.0,
            (2.0 * s.error.0).max(1.0),
            s.spread.0
        )
    }));
}

fn running(b: &RunningBalance, rows: &mut Vec<String>) {
    rows.push(format!(
        "Contribution of the cylinders at {:.0} rpm over {} cycles (100 % is the mean){}:",
        b.speed.0,
        b.cycles,
        unknown_first(&b.cylinders)
    ));
    figures(&b.cylinders, rows);
    if b.weak.is_empty() {
        rows.push("No cylinder contributes clearly less than the others.".to_owned());
    }
    for weak in &b.weak {
        let name = b.cylinders[weak.place].name();
        rows.push(if weak.is_beyond_the_wheel {
            format!("Less than the others: {name}.")
        } else {
            format!("Less than the others: {name}; unevenly spaced teeth of the crank wheel could look the same.")
        });
    }
    rows.push(match b.wheel_learnt {
        Some(turns) => format!("Tooth-spacing errors were learnt over {turns} turns at higher speed and are taken out."),
        None => "Tooth-spacing errors are not learnt yet; hold a higher speed for some seconds, then idle again.".to_owned(),
    });
    if let Some(half) = b.harmonics.first() {
        let to = b.half_order_points_to.map_or_else(
            || ", within its scatter".to_owned(),
            |p| format!(", where a lack in {} would put it", b.cylinders[p].name()),
        );
        rows.push(format!(
            "Order 0.5 of the speed, which tooth-spacing errors cannot feign: {:.1} ± {:.1} rpm{to}.",
            half.amplitude.0,
            2.0 * half.error.0
        ));
    }
}

fn cranking(c: &RelativeCompression, rows: &mut Vec<String>) {
    rows.push(format!(
        "Relative compression from cranking speed, {:.0} rpm, {} cycles{} (the best is 100 %){}:",
        c.speed.0,
        c.cycles,
        match c.end {
            CrankingEnd::Open => "",
            CrankingEnd::Fired => " before the engine fired",
        },
        unknown_first(&c.cylinders)
    ));
    figures(&c.cylinders, rows);
    rows.push(if c.low.is_empty() {
        "No cylinder compresses clearly less than the best.".to_owned()
    } else {
        format!("Low: {}.", names(&c.cylinders, &c.low))
    });
    if let Some(current) = &c.by_current {
        rows.push(format!(
            "Relative compression from the starter's current, {} cycles (the best is 100 %):",
            current.cycles
        ));
        figures(&current.cylinders, rows);
        rows.push(format!(
            "Both methods {}; they differ by at most {:.0} points.",
            if current.agrees {
                "agree"
            } else {
                "do not agree"
            },
            current.difference.0
        ));
    }
}
