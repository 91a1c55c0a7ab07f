//! How good a reference is, in words and as an order in which references are proposed.

use super::{CamEntry, Origin, Reference};
use crate::engine::EngineSheet;
use crate::units::CrankDegrees;
use crate::wheel::Wheel;
use std::cmp::Ordering;

/// "±1.2°".
fn within(degrees: f64) -> String {
    format!("±{degrees:.1}°")
}

impl Reference {
    /// How good it is for one cam: "5 engines, ±1.2°".
    pub fn cam_words(&self, cam: &CamEntry) -> String {
        let tolerance = within(cam.tolerance.0);
        let from = match (self.origin, cam.engines) {
            (Origin::Handbook, _) => "handbook".to_owned(),
            (Origin::Measured, _) | (Origin::Combined, 0 | 1) => "one engine".to_owned(),
            (Origin::Combined, n) => format!("{n} engines"),
        };
        let part = if cam.is_whole() {
            String::new()
        } else {
            let given = cam.edges.iter().map(|_| 1).sum::<usize>();
            let word = if given == 1 { "angle" } else { "angles" };
            format!(", {given} {word} for {} edges", 2 * cam.windows)
        };
        format!("{from}, {tolerance}{part}")
    }

    /// The same for all cams: the widest tolerance, the fewest engines.
    pub fn words(&self) -> String {
        let widest = self.cams.iter().max_by(|a, b| {
            let of = |c: &CamEntry| c.tolerance.0;
            of(a).total_cmp(&of(b)).then(b.engines.cmp(&a.engines))
        });
        widest.map_or_else(String::new, |cam| self.cam_words(cam))
    }

    /// What it cannot do on this engine, one sentence each; empty when it can do all.
    pub fn shortcomings(&self, sheet: &EngineSheet) -> Vec<String> {
        let mut said = Vec::new();
        for cam in &self.cams {
            let id = cam.cam;
            if !cam.is_whole() {
                said.push(format!(
                    "Of the {id} cam it tells where it stands as a whole, not whether the single edges are where they should be."
                ));
            }
            let tooth = (sheet.cam(id).and_then(|c| c.sprocket_teeth))
                .filter(|&n| n > 0)
                .map(|n| 720.0 / f64::from(n));
            if let Some(tooth) = tooth
                && cam.tolerance.0 + cam.uncertainty.0 > 0.5 * tooth
            {
                let few = match (self.origin, cam.engines) {
                    (Origin::Combined, n @ 2..=4) => {
                        format!(
                            ": {n} engines tell little of how far the next may differ; combine more"
                        )
                    }
                    _ => String::new(),
                };
                said.push(format!(
                    "For the {id} cam it is wider than half a sprocket tooth ({:.1}°), so that one tooth may pass unseen{few}.",
                    0.5 * tooth
                ));
            }
        }
        if let Ok(wheel) = Wheel::parse(&sheet.crank.wheel)
            && wheel.symmetry() > 1
        {
            let step = wheel.period().0 / wheel.symmetry() as f64;
            said.push(format!(
                "The crank's even wheel looks the same every {step:.0}°: that all cams are out together by as much goes unseen."
            ));
        }
        for cam in &sheet.cams {
            if self.cam(cam.cam).is_none() {
                said.push(format!("It has nothing of the {} cam.", cam.cam));
            }
        }
        if self.is_newer() {
            said.push("A newer Keyway wrote it: it may hold more than is shown here.".to_owned());
        }
        said
    }

    /// Which of two is to be proposed first on this engine: the one that gives more cams, then more edges, then the one
    /// that can tell half a tooth, then more engines, then the narrower one, then the newer.
    pub fn better(&self, other: &Self, sheet: &EngineSheet) -> Ordering {
        let cams = |r: &Self| r.cams.len();
        let whole = |r: &Self| r.cams.iter().all(CamEntry::is_whole);
        let tells = |r: &Self| {
            let wide = |c: &CamEntry| {
                let teeth = sheet
                    .cam(c.cam)
                    .and_then(|s| s.sprocket_teeth)
                    .filter(|&n| n > 0);
                teeth.is_some_and(|n| c.tolerance.0 + c.uncertainty.0 > 360.0 / f64::from(n))
            };
            !r.cams.iter().any(wide)
        };
        let engines = |r: &Self| r.cams.iter().map(|c| c.engines).min().unwrap_or(0);
        let width = |r: &Self| {
            let of = |c: &CamEntry| c.tolerance.0.hypot(c.uncertainty.0);
            r.cams.iter().map(of).fold(0.0, f64::max)
        };
        (cams(other).cmp(&cams(self)))
            .then(whole(other).cmp(&whole(self)))
            .then(tells(other).cmp(&tells(self)))
            .then(engines(other).cmp(&engines(self)))
            .then(width(self).total_cmp(&width(other)))
            .then(other.made.cmp(&self.made))
    }

    /// The widest tolerance of its cams.
    pub fn tolerance(&self) -> CrankDegrees {
        CrankDegrees(self.cams.iter().map(|c| c.tolerance.0).fold(0.0, f64::max))
    }
}
