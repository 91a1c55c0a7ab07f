//! `keyway import`: makes a recording of a capture from another instrument.

use super::{Outcome, interrupt};
use crate::fault::Fault;
use crate::figure;
use crate::output::{self, Reader};
use crate::screen::import::Sheet;
use crate::session::Bench;
use crate::session::importer::{setup_for, sheet_text};
use crate::setup::LIGHT_VAN;
use clap::Args;
use keyway_acquisition::import::plan::{Decimal, Kind, Plan};
use keyway_acquisition::import::preview::Preview;
use keyway_acquisition::import::summary::Summary;
use keyway_acquisition::import::{self, Card, Progress, Watch};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Make a recording of a capture that another instrument wrote as text.
///
/// Samples, or a list of level changes. Whatever the plan does not say is found from the file; with
/// --show it is only shown, as a plan to start from. A file that exists is left as it is.
#[derive(Debug, Args)]
pub struct Import {
    /// Capture: rows of numbers with a delimiter between them.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Plan of its columns (TOML); without one, roles are proposed by the names of the columns.
    #[arg(long, value_name = "PLAN")]
    pub columns: Option<PathBuf>,
    /// Engine sheet that the recording keeps; without one, the built-in light van.
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
    /// Recording to make; without one, the name of the capture with the ending .mcap.
    #[arg(short, long, value_name = "FILE", conflicts_with = "show")]
    pub output: Option<PathBuf>,
    /// A note that is kept in the recording.
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub note: String,
    /// Show what is found as a plan, and write nothing.
    #[arg(long)]
    pub show: bool,
}

impl Import {
    /// Looks at the capture, then shows or imports it.
    pub fn run(self) -> Result<Outcome, Fault> {
        let plan = match &self.columns {
            None => Plan::default(),
            Some(path) => {
                let text =
                    std::fs::read_to_string(path).map_err(|e| Fault::unreadable(path, &e))?;
                Plan::from_toml(&text)
                    .map_err(|e| Fault::mistake(&path.display().to_string(), &text, &e))?
            }
        };
        let preview = import::inspect(&self.file, &plan).map_err(fault)?;
        if self.show {
            let _reader = output::line(shown(&preview).trim_end())?;
            return Ok(Outcome::Done);
        }
        let sheet = match &self.sheet {
            Some(path) => Sheet::File(path.clone()),
            None => Sheet::BuiltIn(LIGHT_VAN),
        };
        let text = sheet_text(&sheet)?;
        let name = match &self.sheet {
            Some(path) => path.display().to_string(),
            None => sheet.to_string(),
        };
        let setup = setup_for(&preview, &name, &text)?;
        let out = self
            .output
            .unwrap_or_else(|| self.file.with_extension("mcap"));
        let card = Card {
            engine_sheet: setup.sheet_text.to_string(),
            note: self.note,
            software: concat!("keyway ", env!("CARGO_PKG_VERSION")).to_owned(),
        };
        let bench = Bench::new()?;
        let stop = interrupt(&bench);
        let watch = Watch {
            progress: &told,
            stop: &stop,
        };
        let result = import::run(&self.file, &plan, &out, &card, watch);
        output::progress("");
        let summary = result.map_err(fault)?;
        let _reader = report(&out, &summary, self.sheet.is_none())?;
        Ok(Outcome::Done)
    }
}

fn fault(error: import::error::ImportError) -> Fault {
    Fault::Import(Arc::from(error.to_string()))
}

fn told(progress: Progress) {
    output::progress(&format!("importing: {:3.0} %", 100.0 * progress.share()));
}

/// A plan with what was found as comments: it can be saved, changed and used.
fn shown(preview: &Preview) -> String {
    let mut text = format!(
        "# {}: {}, numbers from line {}, delimiter {}, decimal {}\n",
        preview.path.display(),
        figure::size(preview.bytes),
        preview.first_line,
        preview.delimiter,
        match preview.decimal {
            Some(Decimal::Point) => "point",
            Some(Decimal::Comma) => "comma",
            None => "not seen yet",
        }
    );
    let mut comment = |line: &str| {
        text.push_str("# ");
        text.push_str(line);
        text.push('\n');
    };
    match (preview.kind, preview.time.rate_hz) {
        (Kind::Edges, _) => comment("rows are changes of level"),
        (Kind::Samples, Some(rate)) => {
            comment(&format!("rows are samples, {rate:.1} a second"));
        }
        (Kind::Samples, None) => comment("rows are samples"),
    }
    comment("the first rows:");
    for row in preview.rows.iter().take(5) {
        comment(&format!("  {}", row.join(" | ")));
    }
    for sentence in &preview.assumed {
        comment(sentence);
    }
    for sentence in &preview.lacking {
        comment(&format!("Before it can be imported: {sentence}"));
    }
    text.push('\n');
    text.push_str(&preview.plan.to_toml());
    text
}

fn report(out: &Path, summary: &Summary, is_built_in: bool) -> Result<Reader, Fault> {
    let mut lines = vec![format!(
        "{}: {:.3} s at {:.1} samples a second, {} of {}, {} samples missing",
        out.display(),
        summary.seconds,
        summary.rate_hz,
        figure::size(summary.recording_bytes),
        figure::size(summary.bytes),
        summary.missing
    )];
    for (i, column) in summary.columns.iter().enumerate() {
        let what = match (column.edges, column.range) {
            (Some(edges), _) => format!("{edges} edges"),
            (None, Some([low, high])) => {
                format!("{low} to {high} {}", column.unit.unwrap_or_default())
            }
            (None, None) => String::new(),
        };
        lines.push(format!(
            "  input {}: {} as {}, {}",
            i + 1,
            column.name,
            column.role,
            what.trim_end()
        ));
    }
    for remark in &summary.remarks {
        lines.push(format!("  {remark}"));
    }
    if is_built_in {
        lines
            .push("  no engine sheet was named: that of the built-in light van is kept".to_owned());
    }
    output::line(&lines.join("\n"))
}
