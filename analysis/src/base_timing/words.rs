//! The judgement of base timing in words.

use super::Conclusion;
use super::rest::Rest;
use super::standing::{Reach, Standing, Unjudged, alike, judged, other_tooth_fits, out};
use crate::engine::CamSheet;
use crate::lead::CamId;

/// "the intake cam", with its bank if that is not the first.
fn name(cam: CamId) -> String {
    format!("the {cam} cam")
}

/// What the cams are judged against, in a few words: "against: light van, 5 engines, ±1.2°".
pub(super) fn against(cams: &[CamSheet]) -> String {
    let of = |cam: &CamSheet| match &cam.reference {
        Some(reference) => format!("{}, {}", reference.name, reference.quality),
        None if cam.known_good => format!("the sheet's own angles, ±{:.1}°", cam.tolerance.0.abs()),
        None => "no reference".to_owned(),
    };
    let each: Vec<String> = cams.iter().map(of).collect();
    match each.as_slice() {
        [] => "no cam in the engine sheet".to_owned(),
        [first, others @ ..] if others.iter().all(|o| o == first) => {
            if cams.iter().any(CamSheet::is_judged) {
                format!("against: {first}")
            } else {
                "no reference: offsets are not judged".to_owned()
            }
        }
        _ => {
            let named = cams
                .iter()
                .zip(&each)
                .map(|(c, o)| format!("{} {o}", c.cam));
            format!("against: {}", named.collect::<Vec<_>>().join("; "))
        }
    }
}

/// The sentence with a capital.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

fn side(offset: f64) -> &'static str {
    if offset < 0.0 { "late" } else { "early" }
}

fn teeth(count: f64) -> String {
    if count.abs() < 0.95 {
        format!("{:.1} of a tooth", count.abs())
    } else if count.abs() < 1.05 {
        format!("{:.1} tooth", count.abs())
    } else {
        format!("{:.1} teeth", count.abs())
    }
}

/// "17.1 ± 2.9° late (1.0 tooth)".
fn figure(cam: &Standing, rest: &Rest) -> String {
    let range = cam.total(rest);
    let size = rest.offset.abs();
    let in_teeth = (cam.tooth).map_or(String::new(), |t| format!(" ({})", teeth(size / t)));
    format!("{size:.1} ± {range:.1}° {}{in_teeth}", side(rest.offset))
}

fn list(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// All that is not judged, with why; empty when everything is.
fn unjudged(cams: &[Standing]) -> String {
    let parts: Vec<String> = cams
        .iter()
        .filter_map(|c| {
            let why = match c.rest.as_ref().err()? {
                Unjudged::NoReference => "has no reference from a good engine".to_owned(),
                Unjudged::NoLead(role) => format!("is not judged: no lead on '{role}'"),
                Unjudged::Unproven(role) => {
                    format!("is not judged: the lead on '{role}' is not proven")
                }
                Unjudged::NotSeen => "has not been seen at rest yet".to_owned(),
            };
            Some(format!("{} {why}", name(c.cam)))
        })
        .collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!(" {}.", sentence(&list(&parts)))
    }
}

fn looks(rest: &Rest) -> String {
    let at = if rest.cranking { " at the starter" } else { "" };
    match rest.looks {
        1 => format!("one look at rest{at}"),
        n => format!("{n} looks at rest{at}, driven away between them"),
    }
}

/// What it means that this cam alone is out.
fn alone(cam: &Standing, rest: &Rest) -> String {
    let reach = cam.reach(rest);
    let wandering = rest.elsewhere.map_or(String::new(), |[low, high]| {
        if high - low < 1.0 && rest.looks > 1 {
            format!(
                " Before, it rested at {:.1}°: it has moved meanwhile.",
                tenth(0.5 * (low + high))
            )
        } else {
            let (low, high) = (tenth(low), tenth(high));
            format!(" Before, it rested at {low:.1} to {high:.1}°: base timing does not come and go, a phaser that sticks does.")
        }
    });
    let by = match (reach, cam.teeth_alone(rest), cam.whole_teeth(rest)) {
        (Reach::FarStop, ..) => {
            "that is the other end of its phaser's travel: rather a phaser that is not at rest than timing"
                .to_owned()
        }
        (Reach::Outside, Some(_), _) if cam.travel.is_some() => {
            "beyond its rest stop, where no phaser goes, and a whole number of teeth: its sprocket, or its tone wheel or sensor"
                .to_owned()
        }
        (_, Some(_), _) if cam.travel.is_none() => {
            "a whole number of teeth: its sprocket, or its tone wheel or sensor".to_owned()
        }
        (_, Some(_), _) => {
            "it moves when driven and comes back to the same place, a whole number of teeth: its sprocket, or its tone wheel or sensor"
                .to_owned()
        }
        (Reach::Within, None, whole) => {
            let teeth = if whole.is_some() { ", though a whole number of teeth" } else { "" };
            if rest.looks > 1 {
                format!("it comes back there when driven away{teeth}: its tone wheel or sensor, or a phaser that locks at the wrong place")
            } else {
                format!("within its phaser's travel{teeth}: it may not be at rest, and has not been seen to move and come back")
            }
        }
        (Reach::Outside, None, _) if cam.tooth.is_some() => {
            "no phaser explains that, and it is no whole number of teeth: rather its tone wheel, its sensor or the reference than its sprocket"
                .to_owned()
        }
        (Reach::Outside, None, _) => {
            "no phaser explains that: its sprocket, its tone wheel, its sensor or the reference".to_owned()
        }
    };
    format!("{by}.{wandering}")
}

/// What it means that all are out by the same.
fn together(cams: &[(&Standing, Rest)]) -> String {
    let n = cams.iter().map(|_| 1.0).sum::<f64>();
    let mean = cams.iter().map(|(_, r)| r.offset).sum::<f64>() / n;
    let whole = cams.iter().all(|(c, r)| c.whole_teeth(r).is_some());
    let small = (cams.iter()).all(|(c, r)| c.tooth.is_some_and(|t| r.offset.abs() < 0.5 * t));
    if whole {
        "the crank sprocket, or the crank's tone wheel or sensor"
    } else if small && mean < 0.0 {
        "all late by less than half a tooth: a stretched chain or belt, or the crank's tone wheel or sensor"
    } else if cams.iter().all(|(c, _)| c.tooth.is_some()) {
        "no whole number of teeth: rather the crank's tone wheel or sensor than its sprocket"
    } else {
        "the crank sprocket, or the crank's tone wheel or sensor"
    }
    .to_owned()
}

/// Banks of which every judged cam is out by the same while others are not.
fn whole_bank(out: &[(&Standing, Rest)], cams: &[Standing]) -> Option<u8> {
    [1, 2].into_iter().find(|&bank| {
        let own: Vec<_> = (out.iter().copied())
            .filter(|(c, _)| c.cam.bank == bank)
            .collect();
        own.len() > 1
            && own.len() == out.len()
            && judged(cams).filter(|(c, _)| c.cam.bank == bank).count() == own.len()
            && alike(&own)
    })
}

/// A number that does not read "-0.0".
fn tenth(x: f64) -> f64 {
    (x * 10.0).round() / 10.0 + 0.0
}

/// The whole judgement; `step` is that of an even crank wheel.
pub(super) fn judgement(conclusion: Conclusion, cams: &[Standing], step: Option<f64>) -> String {
    let out = out(cams);
    let mut rest = unjudged(cams);
    let each = |of: &[(&Standing, Rest)]| {
        let parts: Vec<String> = of
            .iter()
            .map(|(c, r)| format!("{} {}", name(c.cam), figure(c, r)))
            .collect();
        list(&parts)
    };
    if let Some(step) = step {
        if other_tooth_fits(cams, step) {
            let all: Vec<_> = judged(cams).collect();
            return sentence(&format!(
                "{}, or each of that {step:.0}° more or less: the cams do not stand to each other as in the reference, but the crank's even wheel does not tell which of them is out.{rest}",
                each(&all)
            ));
        }
        rest = format!(
            " All cams together might be out by whole teeth of the even crank wheel, {step:.0}° each, unseen.{rest}"
        );
    }
    let text = match conclusion {
        Conclusion::NotJudged | Conclusion::Good => {
            let good: Vec<String> = judged(cams)
                .map(|(c, r)| {
                    let (offset, half, tolerance) =
                        (tenth(r.offset), c.range(&r).max(0.05), c.tolerance);
                    format!(
                        "{} is at its reference ({offset:+.1} ± {half:.1}°, within ±{tolerance:.1}°)",
                        name(c.cam)
                    )
                })
                .collect();
            if good.is_empty() {
                return rest.trim_start().to_owned();
            }
            format!("{}.{rest}", list(&good))
        }
        Conclusion::OneOutByTeeth(..) | Conclusion::OneOut(_) => {
            let Some((cam, r)) = out.first() else {
                return String::new();
            };
            // Alone only if all others are known to be right.
            let alone_is = if rest.is_empty() { " alone" } else { "" };
            format!(
                "{}{alone_is} is {} after {}: {}{rest}",
                name(cam.cam),
                figure(cam, r),
                looks(r),
                alone(cam, r)
            )
        }
        Conclusion::AllOutAlike => format!("{}: {}.{rest}", each(&out), together(&out)),
        Conclusion::SeveralOut => match whole_bank(&out, cams) {
            Some(bank) => format!(
                "{}, all of bank {bank} alike: the chain or the sprocket that drives this bank.{rest}",
                each(&out)
            ),
            None => format!("{}: each by another amount.{rest}", each(&out)),
        },
    };
    sentence(&text)
}

const REFERENCE: &str = "Get a reference: record a good engine of the same type at rest and save its angles, or type in those of the maker's handbook. Recordings, References has both.";
const REST: &str = "Let the engine idle warm, with the commands at rest.";
const VALVES: &str = "Cylinder pressure tells whether the valves are out as well; or look whether tone wheel and sensor sit where they should.";

/// What would tell more.
pub(super) fn next(conclusion: Conclusion, cams: &[Standing], step: Option<f64>) -> Option<String> {
    if step.is_some_and(|step| other_tooth_fits(cams, step)) {
        return Some("Turn the engine by hand to the maker's timing marks with cylinder 1 at TDC and look which cam's mark is off.".to_owned());
    }
    let open = cams.iter().find_map(|c| {
        Some(match c.rest.as_ref().err()? {
            Unjudged::NoReference => REFERENCE.to_owned(),
            Unjudged::NoLead(role) => format!("Connect a lead to '{role}'."),
            Unjudged::Unproven(role) => format!("Prove the lead on '{role}' first."),
            Unjudged::NotSeen => REST.to_owned(),
        })
    });
    match conclusion {
        Conclusion::NotJudged => open,
        Conclusion::Good => None,
        Conclusion::OneOutByTeeth(..) => Some(VALVES.to_owned()),
        Conclusion::OneOut(_) => {
            let within = (out(cams).first())
                .is_some_and(|(c, r)| c.reach(r) != Reach::Outside && r.looks < 2);
            Some(if within {
                "Rev to 2500 rpm and let it come back to rest: a timing error comes back the same, a phaser that sticks does not move.".to_owned()
            } else {
                VALVES.to_owned()
            })
        }
        Conclusion::AllOutAlike => Some("Look at the crank's tone wheel and sensor; cylinder pressure tells where the true TDC is, and whether the valves are out.".to_owned()),
        Conclusion::SeveralOut => Some(VALVES.to_owned()),
    }
}
