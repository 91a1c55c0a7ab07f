//! `keyway exhibit`: draws an exhibit again from its document.

use super::Outcome;
use crate::chart::Format;
use crate::exhibit::store;
use crate::fault::Fault;
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;

/// Draw an exhibit again from its document.
#[derive(Debug, Args)]
pub struct Exhibit {
    /// Document of the exhibit: NAME.exhibit.json.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Draw it as PNG into this file.
    #[arg(long, value_name = "OUT", required_unless_present = "svg")]
    pub png: Option<PathBuf>,
    /// Draw it as SVG into this file.
    #[arg(long, value_name = "OUT")]
    pub svg: Option<PathBuf>,
    /// Write over files that are there already.
    #[arg(long)]
    pub replace: bool,
}

impl Exhibit {
    /// Draws.
    pub fn run(self) -> Result<Outcome, Fault> {
        let opened = store::open(&self.file)?;
        for (path, format) in [(&self.png, Format::Png), (&self.svg, Format::Svg)] {
            let Some(path) = path else { continue };
            if Format::of(path)? != format {
                return Err(Fault::Exhibit(Arc::from(format!(
                    "{} does not end in the way of its kind: --png takes a name ending in .png, --svg one in .svg",
                    path.display()
                ))));
            }
            if path.exists() && !self.replace {
                return Err(Fault::Exhibit(Arc::from(format!(
                    "{} is there already and was left as it is; choose another name, or say --replace",
                    path.display()
                ))));
            }
            store::export(&opened.document, path, self.replace)?;
        }
        Ok(Outcome::Done)
    }
}
