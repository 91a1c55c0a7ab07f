//! A reference from a recording: the whole of it is measured again, and the edges at rest are taken.

use crate::fault::Fault;
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use crate::session::playback;
use crate::work::Progress;
use keyway_analysis::base_timing::CamAtRest;
use keyway_analysis::reference::Reference;
use keyway_analysis::reference::handbook::Told;
use keyway_analysis::reference::measured::{self, Refusal};
use std::path::Path;
use std::sync::Arc;

/// What a recording gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// The reference.
    pub reference: Reference,
    /// Cams that are not in it, with why.
    pub refusals: Vec<Refusal>,
}

/// Takes it. What is said of who and what goes into it; its source is the name of the file.
pub fn take(path: &Path, told: &Told, progress: &Progress) -> Result<Taken, Fault> {
    let (recording, setup) = playback::open(path)?;
    let sheet = Arc::clone(&setup.sheet);
    let mut analyser = Analyser::new(setup);
    let mut script = Script::of(&recording);
    let mut blocks =
        (recording.blocks()).map_err(|e| Fault::Recording(Arc::from(e.to_string())))?;
    let length = recording.duration().as_secs_f64().max(1e-3);
    let mut best: Option<Vec<CamAtRest>> = None;
    let mut generation = None;
    while let Some(block) = blocks.next() {
        progress.check()?;
        progress.set(blocks.position().as_secs_f64() / length);
        // A damaged piece costs that piece alone.
        let Ok(block) = block else { continue };
        if generation != Some(block.generation) {
            better(&mut best, analyser.at_rest());
            let Some(stream) = recording.stream(block.generation) else {
                continue;
            };
            analyser.begin(stream)?;
            script.begin(&mut analyser, block.generation, block.first_index);
            generation = Some(block.generation);
        }
        script.feed(&mut analyser, &block);
    }
    better(&mut best, analyser.at_rest());
    let source = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let told = Told {
        source,
        ..told.clone()
    };
    let rests = best.ok_or_else(|| {
        Fault::Reference(Arc::from(format!(
            "{} holds no samples: nothing was seen at rest",
            path.display()
        )))
    })?;
    measured::reference(&sheet, &rests, &told)
        .map(|(reference, refusals)| Taken {
            reference,
            refusals,
        })
        .map_err(|refusals| {
            let why: Vec<String> = refusals.iter().map(ToString::to_string).collect();
            Fault::Reference(Arc::from(format!(
                "no reference can be taken from {}: {}",
                path.display(),
                why.join("; ")
            )))
        })
}

/// Keeps the stream in which the most cycles were seen: angles are not put together across a reconnection.
fn better(best: &mut Option<Vec<CamAtRest>>, next: Option<Vec<CamAtRest>>) {
    let cycles = |cams: &[CamAtRest]| -> usize {
        let least = |c: &CamAtRest| c.edges.iter().map(|e| e.cycles).min().unwrap_or(0);
        cams.iter().map(least).sum()
    };
    if let Some(next) = next
        && best.as_ref().is_none_or(|b| cycles(&next) > cycles(b))
    {
        *best = Some(next);
    }
}
