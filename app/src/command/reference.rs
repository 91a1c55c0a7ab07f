//! `keyway reference`: known-good references without a window.

use super::Outcome;
use crate::fault::Fault;
use crate::figure;
use crate::output::{self, Reader};
use crate::reference::library::Library;
use crate::reference::recorded::{self, Taken};
use crate::reference::{self, today};
use crate::session::playback;
use crate::settings::Settings;
use crate::setup::{LIGHT_VAN, Setup};
use crate::work::Progress;
use clap::{Args, Subcommand};
use keyway_analysis::reference::combine::{Candidate, combine};
use keyway_analysis::reference::handbook::Told;
use keyway_analysis::reference::{Origin, Reference};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Known-good references: where the cams of a good engine are at rest.
///
/// Each is one small TOML file that explains itself. Without --output a new one goes into the folder of references,
/// from which the References page and `reference list` choose.
#[derive(Debug, Args)]
pub struct ReferenceCommand {
    /// What to do.
    #[command(subcommand)]
    pub deed: Deed,
}

/// What can be done with references.
#[derive(Debug, Subcommand)]
pub enum Deed {
    /// Take one from a recording of a good engine at rest.
    From(From),
    /// Make one of several engines, with a tolerance from how far they differ.
    Combine(Combine),
    /// List those of the folder, the best for an engine first.
    List(List),
    /// Say what a file holds, or which line of it is wrong.
    Check {
        /// Reference.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Copy one into the folder of references.
    Import {
        /// Reference.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
}

/// Who makes it, and of what.
#[derive(Debug, Args)]
pub struct By {
    /// How it shall be called; without one, the engine and the day.
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub name: String,
    /// Who makes it.
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub by: String,
    /// A note that is kept in it.
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub note: String,
    /// File to make instead of one in the folder of references. One that exists is left as it is.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// Take one from a recording.
#[derive(Debug, Args)]
pub struct From {
    /// Recording of a good engine that idles warm with its phasers at rest.
    #[arg(value_name = "RECORDING")]
    pub recording: PathBuf,
    /// Plate or other mark of the vehicle: measured twice, it counts as one engine.
    #[arg(long, value_name = "PLATE", default_value = "")]
    pub vehicle: String,
    /// Oil temperature in degrees Celsius, as read.
    #[arg(long, value_name = "N")]
    pub oil: Option<f64>,
    /// Who makes it.
    #[command(flatten)]
    pub by: By,
}

/// Make one of several.
#[derive(Debug, Args)]
pub struct Combine {
    /// References that were taken from recordings of one engine type.
    #[arg(value_name = "FILE", required = true, num_args = 1..)]
    pub files: Vec<PathBuf>,
    /// One of them that is shown and not taken into the mean; once for each.
    #[arg(long = "leave-out", value_name = "FILE")]
    pub left_out: Vec<PathBuf>,
    /// Who makes it.
    #[command(flatten)]
    pub by: By,
}

/// List them.
#[derive(Debug, Args)]
pub struct List {
    /// Engine sheet they are seen from; without one, the built-in light van.
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
    /// Recording whose engine sheet they are seen from.
    #[arg(long, value_name = "RECORDING", conflicts_with = "sheet")]
    pub recording: Option<PathBuf>,
    /// Folder to list instead of the folder of references.
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// The folder of references, as the settings have it.
fn folder() -> Result<PathBuf, Fault> {
    let settings = match Settings::place() {
        Some(place) => Settings::load(&place)?,
        None => Settings::default(),
    };
    Ok(settings.references_folder())
}

impl By {
    fn told(&self, engine: &str) -> Told {
        let made = today();
        let name = match self.name.trim() {
            "" => format!("{engine}, {made}"),
            name => name.to_owned(),
        };
        Told {
            name,
            made,
            by: self.by.clone(),
            note: self.note.clone(),
            ..Told::default()
        }
    }

    fn keep(&self, reference: &Reference) -> Result<PathBuf, Fault> {
        match &self.output {
            Some(path) => reference::write_new(path, &reference.text()).map(|()| path.clone()),
            None => reference::keep(reference, &folder()?),
        }
    }
}

impl ReferenceCommand {
    /// Does it.
    pub fn run(self) -> Result<Outcome, Fault> {
        let lines = match self.deed {
            Deed::From(from) => from.run()?,
            Deed::Combine(combine) => combine.run()?,
            Deed::List(list) => list.run()?,
            Deed::Check { file } => about(&file, &reference::read(&file)?.reference),
            Deed::Import { file } => {
                let path = reference::import(&file, &folder()?)?;
                vec![format!("copied to {}", path.display())]
            }
        };
        let (Reader::There | Reader::Gone) = output::line(&lines.join("\n"))?;
        Ok(Outcome::Done)
    }
}

impl From {
    fn run(self) -> Result<Vec<String>, Fault> {
        let (_, setup) = playback::open(&self.recording)?;
        let told = Told {
            vehicle: self.vehicle.clone(),
            oil: self.oil,
            ..self.by.told(&setup.sheet.name)
        };
        let Taken {
            reference,
            refusals,
        } = recorded::take(&self.recording, &told, &Progress::default())?;
        let path = self.by.keep(&reference)?;
        let mut lines = about(&path, &reference);
        lines.extend(refusals.iter().map(|r| format!("not in it: {r}")));
        Ok(lines)
    }
}

impl Combine {
    fn run(self) -> Result<Vec<String>, Fault> {
        let files: Vec<_> = (self.files.iter())
            .map(|path| reference::read(path))
            .collect::<Result<_, Fault>>()?;
        if let Some(stranger) = self.left_out.iter().find(|p| !self.files.contains(p)) {
            return Err(Fault::Reference(Arc::from(format!(
                "{} is left out but not among the files to combine",
                stranger.display()
            ))));
        }
        let candidates: Vec<Candidate<'_>> = (files.iter())
            .map(|filed| Candidate {
                reference: &filed.reference,
                left_out: self.left_out.contains(&filed.path),
            })
            .collect();
        let engine = files.first().map_or("", |f| &f.reference.engine.name);
        let combined = combine(&candidates, &self.by.told(engine))
            .map_err(|why| Fault::Reference(Arc::from(why)))?;
        let path = self.by.keep(&combined)?;
        Ok(about(&path, &combined))
    }
}

impl List {
    fn run(self) -> Result<Vec<String>, Fault> {
        let setup = match &self.recording {
            Some(path) => playback::open(path)?.1,
            None => Setup::load(self.sheet.as_deref(), None, LIGHT_VAN)?,
        };
        let folder = match self.folder {
            Some(folder) => folder,
            None => folder()?,
        };
        let library = Library::read(std::slice::from_ref(&folder), &setup.sheet)?;
        let mut lines = vec![format!("{}, from {}", setup.sheet.name, folder.display())];
        for (i, entry) in library.entries.iter().enumerate() {
            let reference = &entry.filed.reference;
            let mark = match (entry.fits(), i) {
                (true, 0) => "proposed",
                (true, _) => "fits",
                (false, _) => "-",
            };
            lines.push(format!(
                "{mark:<10}{}: {}, {}  {}",
                reference.name,
                reference.words(),
                reference.made,
                entry.filed.path.display()
            ));
            let why = entry.misfits.iter().chain(&entry.shortcomings);
            lines.extend(why.map(|w| format!("{:<10}{w}", "")));
        }
        for (path, why) in &library.spoiled {
            lines.push(format!("spoiled   {}: {why}", path.display()));
        }
        if library.proposed().is_none() {
            lines.push("none fits this engine: angles are shown, offsets are judged by the sheet's own angles only if those are known good".to_owned());
        }
        Ok(lines)
    }
}

/// What a reference holds.
fn about(path: &Path, reference: &Reference) -> Vec<String> {
    let mut lines = vec![
        format!("{}: {}", path.display(), reference.name),
        format!("for {}, {}", reference.engine.name, reference.words()),
    ];
    for cam in &reference.cams {
        let range = match cam.uncertainty.0 {
            u if u > 0.0 => format!(", as a whole known to ±{}°", figure::plain(u, 2)),
            _ => String::new(),
        };
        lines.push(format!(
            "{} cam: tolerance ±{}°{range}",
            cam.cam,
            figure::plain(cam.tolerance.0, 2)
        ));
        for edge in &cam.edges {
            let spread = edge.spread.map_or_else(String::new, |s| {
                format!("  spread {}°", figure::plain(s.0, 2))
            });
            let count = edge.count.map_or_else(String::new, |n| {
                let of = match reference.origin {
                    Origin::Combined => "engines",
                    Origin::Measured | Origin::Handbook => "cycles",
                };
                format!(" over {n} {of}")
            });
            lines.push(format!(
                "  {:<8} of window {}  {:>7}°{spread}{count}",
                edge.mark.word(),
                edge.window,
                figure::plain(edge.angle.0, 2)
            ));
        }
    }
    for part in &reference.parts {
        let offsets: Vec<String> = (part.offsets.iter())
            .map(|o| format!("{}°", figure::signed(o.0, 2)))
            .collect();
        let mut words = format!("  {} {}: {}", part.vehicle, part.made, offsets.join(" "));
        if part.outlier {
            words.push_str(", far from the others");
        }
        if part.left_out {
            words.push_str(", left out");
        }
        lines.push(words);
    }
    lines
}
