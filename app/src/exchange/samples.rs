//! The samples of a recording as a file of another form.

use super::leads;
use crate::fault::Fault;
use crate::work::Progress;
use keyway_acquisition::export::error::ExportError;
use keyway_acquisition::export::{self, Form, Summary, Watch, Wish};
use keyway_acquisition::recording::reader::Recording;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

/// Program and version that export.
pub const SOFTWARE: &str = concat!("keyway ", env!("CARGO_PKG_VERSION"));

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Form of the file.
    pub form: Form,
    /// Seconds since the start of the recording.
    pub span: Range<f64>,
    /// Names of the leads, in the order of the columns; none for all.
    pub leads: Vec<String>,
    /// One stream alone, from 1.
    pub stream: Option<usize>,
    /// Counts instead of values.
    pub counts: bool,
    /// Whether a file of that name is replaced.
    pub replace: bool,
}

/// Exports. Nothing is left of the file when it fails or is stopped.
pub fn export(
    recording: &Recording,
    order: &Order,
    out: &Path,
    progress: &Progress,
) -> Result<Summary, Fault> {
    let (all, why) = leads::of(recording);
    let wish = Wish {
        form: order.form,
        leads: if order.leads.is_empty() {
            all
        } else {
            leads::chosen(&all, &order.leads)?
        },
        span: order.span.clone(),
        stream: order.stream,
        counts: order.counts,
        replace: order.replace,
        software: SOFTWARE.to_owned(),
    };
    let watch = Watch {
        progress: &|share| progress.set(share),
        stop: progress.flag(),
    };
    let mut summary = export::run(recording, &wish, out, watch).map_err(fault)?;
    summary.remarks.extend(why);
    Ok(summary)
}

/// What an error of the export is here.
pub fn fault(error: ExportError) -> Fault {
    match error {
        ExportError::Stopped => Fault::Cancelled,
        other => Fault::Export(Arc::from(other.to_string())),
    }
}
