//! Several measured references of one engine type as one, with a tolerance from how far the engines differ.

use super::factor::factor;
use super::handbook::Told;
use super::{CamEntry, Conditions, EdgeEntry, Origin, Part, Reference};
use crate::lead::CamId;
use crate::pattern::wrap;
use crate::repeats::Repeats;
use crate::units::{Band, CrankDegrees, Rpm};

/// Modified z beyond which an engine is called an outlier (Iglewicz and Hoaglin 1993; NIST/SEMATECH e-Handbook
/// 1.3.5.17), and the least median deviation it is reckoned with: engines that agree by chance to a hundredth of a
/// degree make no outlier of the next.
const FAR: f64 = 3.5;
const LEAST_MAD: f64 = 0.15;
/// Fewest engines among which one can be told from the others.
const TOLD_FROM: usize = 3;

/// One measurement that goes into a combination.
#[derive(Debug, Clone, Copy)]
pub struct Candidate<'a> {
    /// The reference.
    pub reference: &'a Reference,
    /// Whether the technician leaves it out of the mean. It is shown all the same.
    pub left_out: bool,
}

/// Where one engine stands against the mean.
struct Engine<'a> {
    name: String,
    candidates: Vec<&'a Reference>,
    left_out: bool,
    /// Angles of its edges per cam.
    angles: Vec<Vec<f64>>,
}

/// What they give, or why they cannot be combined. The same vehicle measured twice counts as one, its measurements'
/// mean; so do all of which nobody told the vehicle.
pub fn combine(candidates: &[Candidate<'_>], told: &Told) -> Result<Reference, String> {
    let Some(first) = candidates.first().map(|c| c.reference) else {
        return Err("choose at least two references to combine".to_owned());
    };
    for candidate in candidates {
        agrees(first, candidate.reference)?;
    }
    let shared: Vec<&CamEntry> = (first.cams.iter())
        .filter(|cam| {
            let has = |c: &Candidate<'_>| {
                (c.reference.cam(cam.cam)).is_some_and(|o| o.is_whole() && o.windows == cam.windows)
            };
            candidates.iter().all(has)
        })
        .collect();
    if shared.is_empty() {
        return Err("they have no cam in common that each gives in full".to_owned());
    }
    let cams: Vec<CamId> = shared.iter().map(|c| c.cam).collect();
    let engines = engines(candidates, &cams);
    let taken: Vec<&Engine<'_>> = engines.iter().filter(|e| !e.left_out).collect();
    let Some(k) = factor(taken.len()) else {
        let nameless = candidates
            .iter()
            .any(|c| c.reference.vehicle.trim().is_empty());
        let hint = if nameless {
            "those without a vehicle count as one, for nobody can tell them apart"
        } else {
            "the same vehicle measured twice counts once"
        };
        return Err(format!(
            "two engines and more are needed, these are {}: {hint}",
            if taken.is_empty() { "none" } else { "one" }
        ));
    };
    let mut entries = Vec::new();
    let mut offsets: Vec<Vec<f64>> = vec![Vec::new(); engines.len()];
    for (c, own) in shared.iter().enumerate() {
        let (entry, offs) = cam(own, c, &engines, &taken, candidates, k);
        entries.push(entry);
        for (all, off) in offsets.iter_mut().zip(offs) {
            all.push(off);
        }
    }
    let outliers = outliers(&engines, &offsets);
    let parts = (engines.iter().zip(&offsets).zip(outliers))
        .map(|((engine, offsets), outlier)| part(engine, offsets, outlier))
        .collect();
    let reference = Reference {
        form: super::FORM,
        name: told.name.trim().to_owned(),
        origin: Origin::Combined,
        made: told.made.clone(),
        by: told.by.trim().to_owned(),
        source: String::new(),
        vehicle: String::new(),
        note: told.note.trim().to_owned(),
        engine: first.engine.clone(),
        conditions: conditions(candidates),
        cams: entries,
        parts,
    };
    reference.check()?;
    Ok(reference)
}

/// Whether the angles of two references can be compared.
fn agrees(first: &Reference, other: &Reference) -> Result<(), String> {
    let name = &other.name;
    if other.origin != Origin::Measured {
        return Err(format!(
            "\"{name}\" was not measured on one engine; combine those that were"
        ));
    }
    if other.engine != first.engine {
        return Err(format!(
            "\"{name}\" is for another engine, tone wheel or TDC than \"{}\"",
            first.name
        ));
    }
    Ok(())
}

/// The engines among them, each once.
fn engines<'a>(candidates: &[Candidate<'a>], cams: &[CamId]) -> Vec<Engine<'a>> {
    let mut engines: Vec<Engine<'a>> = Vec::new();
    for candidate in candidates {
        let vehicle = candidate
            .reference
            .vehicle
            .trim()
            .to_uppercase()
            .replace([' ', '-'], "");
        match engines.iter_mut().find(|e| e.name == vehicle) {
            // An engine is left out only if all that was measured of it is.
            Some(engine) if engine.left_out == candidate.left_out => {
                engine.candidates.push(candidate.reference);
            }
            Some(engine) if engine.left_out => {
                engine.left_out = false;
                engine.candidates = vec![candidate.reference];
            }
            Some(_) => {}
            None => engines.push(Engine {
                name: vehicle,
                candidates: vec![candidate.reference],
                left_out: candidate.left_out,
                angles: Vec::new(),
            }),
        }
    }
    for engine in &mut engines {
        engine.angles = (cams.iter())
            .map(|&id| mean_angles(engine.candidates.iter().filter_map(|r| r.cam(id))))
            .collect();
    }
    engines
}

/// Mean of angles on the circle, each brought near the first.
fn circle_mean(angles: impl Iterator<Item = f64>) -> (f64, Vec<f64>) {
    let mut first = None;
    let near: Vec<f64> = angles
        .map(|a| {
            let first = *first.get_or_insert(a);
            first + wrap(a - first)
        })
        .collect();
    let n: f64 = near.iter().map(|_| 1.0).sum();
    (near.iter().sum::<f64>() / n.max(1.0), near)
}

fn mean_angles<'a>(entries: impl Iterator<Item = &'a CamEntry>) -> Vec<f64> {
    let all: Vec<Vec<f64>> = entries
        .map(|e| e.angles().into_iter().flatten().collect())
        .collect();
    let edges = all.first().map_or(0, Vec::len);
    (0..edges)
        .map(|i| circle_mean(all.iter().filter_map(|a| a.get(i).copied())).0)
        .collect()
}

/// One cam of the combination, and where each engine stands against it.
fn cam(
    own: &CamEntry,
    at: usize,
    engines: &[Engine<'_>],
    taken: &[&Engine<'_>],
    candidates: &[Candidate<'_>],
    k: f64,
) -> (CamEntry, Vec<f64>) {
    let edges = 2 * own.windows;
    let per_edge: Vec<(f64, Vec<f64>)> = (0..edges)
        .map(|e| circle_mean(taken.iter().filter_map(|t| t.angles[at].get(e).copied())))
        .collect();
    let offset = |engine: &Engine<'_>| {
        let offs: Vec<f64> = (engine.angles[at].iter().zip(&per_edge))
            .map(|(angle, (mean, _))| wrap(angle - mean))
            .collect();
        Repeats::of(&offs).map_or(0.0, |r| r.mean)
    };
    let among: Vec<f64> = taken.iter().map(|e| offset(e)).collect();
    let deviation = Repeats::of(&among).and_then(|r| r.deviation).unwrap_or(0.0);
    // Engines that agree by chance are not known better than each was measured.
    let least = (candidates.iter().filter(|c| !c.left_out))
        .filter_map(|c| c.reference.cam(own.cam))
        .map(|c| c.uncertainty.0)
        .fold(0.1, f64::max);
    let hundredth = |x: f64| (x * 100.0).round() / 100.0;
    let entries = (own.edges.iter())
        .filter_map(|edge| {
            let [place, _] = edge.mark.edges(edge.window - 1, own.windows);
            let (mean, all) = per_edge.get(place)?;
            Some(EdgeEntry {
                angle: CrankDegrees(hundredth(*mean).rem_euclid(720.0)),
                spread: Repeats::of(all)
                    .and_then(|r| r.deviation)
                    .map(|d| CrankDegrees(hundredth(d))),
                count: Some(taken.len()),
                ..edge.clone()
            })
        })
        .collect();
    let entry = CamEntry {
        tolerance: CrankDegrees(hundredth(k * deviation).max(hundredth(least)).min(180.0)),
        // The tolerance interval holds what is not known of the mean.
        uncertainty: CrankDegrees(0.0),
        engines: taken.len(),
        edges: entries,
        ..own.clone()
    };
    (entry, engines.iter().map(offset).collect())
}

/// Which engines lie far from the others in any cam.
fn outliers(engines: &[Engine<'_>], offsets: &[Vec<f64>]) -> Vec<bool> {
    let cams = offsets.first().map_or(0, Vec::len);
    let mut far = vec![false; engines.len()];
    if engines.len() < TOLD_FROM {
        return far;
    }
    for c in 0..cams {
        let of: Vec<f64> = offsets.iter().map(|o| o[c]).collect();
        let middle = median(&of);
        let apart: Vec<f64> = of.iter().map(|x| (x - middle).abs()).collect();
        let mad = median(&apart).max(LEAST_MAD);
        for (far, x) in far.iter_mut().zip(&of) {
            *far |= 0.6745 * (x - middle).abs() / mad > FAR;
        }
    }
    far
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    crate::repeats::quantile(&sorted, 0.5).unwrap_or(0.0)
}

fn part(engine: &Engine<'_>, offsets: &[f64], outlier: bool) -> Part {
    let joined = |of: fn(&Reference) -> &str| {
        let words: Vec<&str> = engine.candidates.iter().map(|r| of(r)).collect();
        words.join(" + ")
    };
    let first = engine.candidates.first();
    Part {
        name: joined(|r| &r.name),
        vehicle: first.map_or_else(String::new, |r| r.vehicle.clone()),
        source: joined(|r| &r.source),
        made: first.map_or_else(String::new, |r| r.made.clone()),
        offsets: (offsets.iter())
            .map(|o| CrankDegrees((o * 100.0).round() / 100.0 + 0.0))
            .collect(),
        outlier,
        left_out: engine.left_out,
    }
}

/// The widest of their conditions; the oil only if all agree within ten degrees.
fn conditions(candidates: &[Candidate<'_>]) -> Conditions {
    let taken = || {
        candidates
            .iter()
            .filter(|c| !c.left_out)
            .map(|c| &c.reference.conditions)
    };
    let speeds: Vec<Band<Rpm>> = taken().filter_map(|c| c.speed).collect();
    let ends = crate::repeats::ends(speeds.iter().flat_map(|s| [s.low.0, s.high.0]));
    let oils: Option<Vec<f64>> = taken().map(|c| c.oil).collect();
    let oil = oils.and_then(|o| {
        let [low, high] = crate::repeats::ends(o.iter().copied())?;
        (high - low <= 10.0).then_some(0.5 * (low + high))
    });
    Conditions {
        speed: ends.map(|[low, high]| Band {
            low: Rpm(low),
            high: Rpm(high),
        }),
        oil,
    }
}
