//! What the cams at rest say together.

use super::Conclusion;
use super::rest::Rest;
use crate::engine::CamSheet;
use crate::lead::{CamId, Role};

/// Why a cam is not judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Unjudged {
    /// The sheet has no reference from a good engine.
    NoReference,
    /// A lead is not in the plan.
    NoLead(Role),
    /// A lead is not proven.
    Unproven(Role),
    /// It has not been seen at rest long enough.
    NotSeen,
}

/// A cam with where it rests.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    pub cam: CamId,
    /// Sign of the phase when driven away from rest, and travel; `None` without a phaser.
    pub travel: Option<(f64, f64)>,
    pub tolerance: f64,
    /// Half width of the 95 % range of the reference itself.
    pub doubt: f64,
    /// Crank degrees of one tooth of its sprocket.
    pub tooth: Option<f64>,
    pub rest: Result<Rest, Unjudged>,
}

/// Where an offset lies against what the phaser can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reach {
    /// Beyond the rest stop, or beyond the far stop, or there is no phaser: no phaser explains it.
    Outside,
    /// Where the phaser can stand when it is not at rest.
    Within,
    /// At the far stop.
    FarStop,
}

impl Standing {
    pub fn new(sheet: &CamSheet, rest: Result<Rest, Unjudged>) -> Self {
        Self {
            cam: sheet.cam,
            travel: (sheet.phaser.as_ref()).map(|p| (p.rest.drive_sign(), p.authority.0)),
            tolerance: sheet.tolerance.0.abs(),
            doubt: (sheet.reference.as_ref()).map_or(0.0, |r| r.uncertainty.0.abs()),
            tooth: (sheet.sprocket_teeth)
                .filter(|&n| n > 0)
                .map(|n| 720.0 / f64::from(n)),
            rest,
        }
    }

    /// Half width of the 95 % range with the tolerance of the reference: a bound, inside which any value is as likely,
    /// so that 95 % lie within 0.95 of it (JCGM 100:2008, 4.3.7).
    pub fn total(&self, rest: &Rest) -> f64 {
        self.range(rest).hypot(0.95 * self.tolerance)
    }

    /// Half width of the 95 % range of the offset: what was measured here, and what is not known of the reference.
    /// The two are independent, so their squares add up (JCGM 100:2008, 5.1.2).
    pub fn range(&self, rest: &Rest) -> f64 {
        rest.half.hypot(self.doubt)
    }

    /// Out when even the near end of that range lies outside the tolerance.
    pub fn is_out(&self, rest: &Rest) -> bool {
        rest.offset.abs() - self.range(rest) > self.tolerance
    }

    pub fn reach(&self, rest: &Rest) -> Reach {
        let Some((sign, authority)) = self.travel else {
            return Reach::Outside;
        };
        let (travelled, doubt) = (rest.offset * sign, self.total(rest));
        if travelled < 0.0 || travelled > authority + doubt {
            Reach::Outside
        } else if travelled >= authority - doubt {
            Reach::FarStop
        } else {
            Reach::Within
        }
    }

    /// Whole teeth, if the range holds that number and excludes its neighbours and none.
    pub fn whole_teeth(&self, rest: &Rest) -> Option<i32> {
        let tooth = self.tooth?;
        let count = (rest.offset / tooth).round();
        let total = self.total(rest);
        let off = (rest.offset - count * tooth).abs();
        // The nearest other number lies a tooth less what this one is off by.
        let alone = tooth - off > total && rest.offset.abs() > total;
        #[allow(
            clippy::cast_possible_truncation,
            reason = "a phase is at most 360 degrees, some twenty teeth"
        )]
        let count = count as i32;
        (off <= total && alone && count != 0).then_some(count)
    }

    /// Whole teeth, if nothing else explains the offset as well: where a phaser may stand, it must have moved and come back.
    pub fn teeth_alone(&self, rest: &Rest) -> Option<i32> {
        let proven = match self.reach(rest) {
            Reach::Outside => true,
            Reach::Within => rest.looks > 1,
            Reach::FarStop => false,
        };
        self.whole_teeth(rest).filter(|_| proven)
    }
}

/// All judged cams that are out.
pub(super) fn out(cams: &[Standing]) -> Vec<(&Standing, Rest)> {
    judged(cams).filter(|(c, r)| c.is_out(r)).collect()
}

pub(super) fn judged(cams: &[Standing]) -> impl Iterator<Item = (&Standing, Rest)> {
    cams.iter().filter_map(|c| Some((c, c.rest.ok()?)))
}

/// Whether all are off by the same, within what is known of each.
pub(super) fn alike(cams: &[(&Standing, Rest)]) -> bool {
    cams.iter().enumerate().all(|(i, (a, ra))| {
        cams[..i]
            .iter()
            .all(|(b, rb)| (ra.offset - rb.offset).abs() <= a.total(ra).hypot(b.total(rb)))
    })
}

/// Whether the count of an even crank wheel, which looks the same after `step` degrees, at another tooth would put
/// other cams out, and no more of them: then it is not known which are.
pub(super) fn other_tooth_fits(cams: &[Standing], step: f64) -> bool {
    let here: Vec<CamId> = out(cams).iter().map(|(c, _)| c.cam).collect();
    !here.is_empty()
        && [-2.0, -1.0, 1.0, 2.0].iter().any(|teeth| {
            let there: Vec<CamId> = judged(cams)
                .filter(|(c, r)| {
                    let offset = r.offset + teeth * step;
                    c.is_out(&Rest { offset, ..*r })
                })
                .map(|(c, _)| c.cam)
                .collect();
            there != here && there.len() <= here.len()
        })
}

/// What they say together; `step` is that of an even crank wheel.
pub(super) fn conclude(cams: &[Standing], step: Option<f64>) -> Conclusion {
    let all = judged(cams).count();
    let out = out(cams);
    match out[..] {
        _ if all == 0 || step.is_some_and(|s| other_tooth_fits(cams, s)) => Conclusion::NotJudged,
        [] if all == cams.len() => Conclusion::Good,
        [] => Conclusion::NotJudged,
        [(cam, rest)] => match cam.teeth_alone(&rest) {
            Some(teeth) => Conclusion::OneOutByTeeth(cam.cam, teeth),
            None => Conclusion::OneOut(cam.cam),
        },
        _ if out.len() == all && alike(&out) => Conclusion::AllOutAlike,
        _ => Conclusion::SeveralOut,
    }
}
