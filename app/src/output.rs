//! The one way to standard output: what a command prints for people or programs.
//! Logs never come here.

use crate::fault::Fault;
use serde::Serialize;
use std::io::{self, BufWriter, ErrorKind, Write};
use std::sync::Arc;

/// Whether the reader is still there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[must_use]
pub enum Reader {
    /// Go on.
    There,
    /// The far end of the pipe is closed, as by `head`: end quietly.
    Gone,
}

/// Writes one line and flushes it, so that a program behind a pipe sees it at once.
pub fn line(text: &str) -> Result<Reader, Fault> {
    told(write_line(&mut io::stdout().lock(), text))
}

/// Writes one value as a JSON line, piece by piece: a long one is never in memory as text.
pub fn json<T: Serialize>(value: &T) -> Result<Reader, Fault> {
    let mut out = BufWriter::new(io::stdout().lock());
    let written = serde_json::to_writer(&mut out, value).map_err(io::Error::from);
    told(written.and_then(|()| write_line(&mut out, "")))
}

/// Writes one sentence to standard error. With nobody to read it there is nothing left to do.
pub fn complain(sentence: &str) {
    drop(write_line(&mut io::stderr().lock(), sentence));
}

/// Writes how far something is over what was said last, where a person looks on; nothing clears it.
pub fn progress(words: &str) {
    use std::io::IsTerminal;
    let mut out = io::stderr().lock();
    if out.is_terminal() {
        // Back to the begin of the line, and away with what stands there.
        drop(write!(out, "\r\x1b[K{words}").and_then(|()| out.flush()));
    }
}

fn write_line(out: &mut impl Write, text: &str) -> io::Result<()> {
    out.write_all(text.as_bytes())?;
    out.write_all(b"\n")?;
    out.flush()
}

fn told(result: io::Result<()>) -> Result<Reader, Fault> {
    match result {
        Ok(()) => Ok(Reader::There),
        Err(e) if e.kind() == ErrorKind::BrokenPipe => Ok(Reader::Gone),
        Err(e) => Err(Fault::Output(Arc::from(e.to_string()))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_closed_pipe_is_no_error() {
        assert_eq!(
            told(Err(io::Error::from(ErrorKind::BrokenPipe))).unwrap(),
            Reader::Gone
        );
        assert!(told(Err(io::Error::from(ErrorKind::StorageFull))).is_err());
    }
}
