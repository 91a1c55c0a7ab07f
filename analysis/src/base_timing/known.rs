//! The phase of a cam by some of its edges alone: a reference that does not give all of them says nothing of the rest.

use crate::engine::EdgeKind;
use crate::phase::PhaseDetail;

/// Mean phase at these edges, counted from 0; `None` while it is not known. What one edge of a kind is off by from
/// the others is what was learnt of it at rest.
pub(super) fn phase(detail: &PhaseDetail, known: &[usize]) -> Option<f64> {
    let of = |&edge: &usize| {
        // Rising of window 0, falling of window 0, rising of window 1, ...
        let (kind, figures) = if edge.is_multiple_of(2) {
            (EdgeKind::Rising, detail.rising)
        } else {
            (EdgeKind::Falling, detail.falling)
        };
        let figures = figures?;
        if figures.edges == 1 {
            return Some(figures.phase.0);
        }
        let learnt = detail.learnt.as_ref()?.offsets.get(edge)?;
        (learnt.kind == kind).then_some(figures.phase.0 + learnt.offset.0)
    };
    let phases: Option<Vec<f64>> = known.iter().map(of).collect();
    let phases = phases.filter(|p| !p.is_empty())?;
    let n: f64 = phases.iter().map(|_| 1.0).sum();
    Some(phases.iter().sum::<f64>() / n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phase::{EdgeOffset, FrontFigures, Learnt};
    use crate::units::CrankDegrees;

    #[test]
    fn an_edge_stands_where_its_kind_does_and_what_was_learnt_of_it() {
        let front = |phase, edges| FrontFigures {
            phase: CrankDegrees(phase),
            spread: None,
            edges,
        };
        let offset = |kind, offset| EdgeOffset {
            kind,
            offset: CrankDegrees(offset),
            spread: CrankDegrees(0.0),
        };
        let mut detail = PhaseDetail {
            rising: Some(front(2.0, 2)),
            falling: Some(front(-1.0, 2)),
            ..PhaseDetail::default()
        };
        assert_eq!(phase(&detail, &[0]), None, "nothing learnt yet");
        let offsets = [
            (EdgeKind::Rising, 0.5),
            (EdgeKind::Falling, 0.25),
            (EdgeKind::Rising, -0.5),
            (EdgeKind::Falling, -0.25),
        ];
        detail.learnt = Some(Learnt {
            offsets: offsets.map(|(kind, by)| offset(kind, by)).to_vec(),
            revolutions: 20,
        });
        assert_eq!(phase(&detail, &[0]), Some(2.5));
        assert_eq!(phase(&detail, &[2, 3]), Some(0.5 * (1.5 - 1.25)));
        assert_eq!(phase(&detail, &[]), None);
        assert_eq!(phase(&detail, &[9]), None);
        detail.learnt = None;
        detail.falling = Some(front(-1.0, 1));
        assert_eq!(phase(&detail, &[1]), Some(-1.0), "alone of its kind");
    }
}
