//! WAV: the counts as they were recorded, a channel per lead. What they mean stands in a comment
//! behind the samples, as a LIST chunk of type INFO, which players pass over.

use super::Summary;
use super::description::described;
use super::draft::Draft;
use super::error::ExportError;
use super::walk::Walk;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::File;
use std::io::{BufWriter, Error, Seek, SeekFrom, Write};
use std::path::Path;

/// Most bytes of samples: the sizes in a WAV have 32 bits, and the comment wants room too.
const MOST: u64 = u32::MAX as u64 - (1 << 20);
/// Digits of a second that are proposed in an error.
const PROPOSED: f64 = 1e4;

/// Writes all of it.
pub(crate) fn write(
    walk: &Walk<'_>,
    draft: &Draft,
    file: File,
    out: &Path,
) -> Result<Summary, ExportError> {
    let wrong = |e| ExportError::writing(out, e);
    let broken = |e: hound::Error| match e {
        hound::Error::IoError(e) => ExportError::writing(out, e),
        other => ExportError::writing(out, Error::other(other)),
    };
    let leads = walk.layout.columns.len();
    let mut file = Some(BufWriter::with_capacity(1 << 20, file));
    let mut open: Option<(usize, WavWriter<BufWriter<File>>)> = None;
    let mut first = None;
    let (mut samples, mut before) = (0u64, 0.0);
    let summary = walk.run(|piece| {
        let begin = piece.clock.seconds(piece.first);
        if let Some((stream, _)) = &open
            && *stream != piece.stream
        {
            return Err(ExportError::SeveralStreams {
                at: begin,
                form: "WAV",
                stream: stream + 1,
                next: piece.stream + 1,
            });
        }
        if piece.missing > 0 {
            return Err(ExportError::Gap {
                at: before,
                missing: piece.missing,
                before: (before * PROPOSED).floor() / PROPOSED,
                after: (begin * PROPOSED).ceil() / PROPOSED,
            });
        }
        samples += piece.length as u64;
        if samples * leads as u64 * 2 > MOST {
            return Err(ExportError::TooLarge {
                leads,
                seconds: MOST as f64 / (2.0 * leads as f64 * piece.clock.rate),
            });
        }
        before = piece.clock.seconds(piece.first + piece.length as u64);
        if let Some(file) = file.take() {
            first = Some((piece.stream, piece.clock, piece.first));
            let writer = WavWriter::new(file, spec(leads, piece.clock.rate)?).map_err(broken)?;
            open = Some((piece.stream, writer));
        }
        let Some((_, writer)) = &mut open else {
            return Ok(());
        };
        let mut columns = Vec::with_capacity(leads);
        for (samples, column) in piece.columns.iter().zip(&walk.layout.columns) {
            columns.push(samples.ok_or(ExportError::NotRecorded(column.lead.input))?);
        }
        for i in 0..piece.length {
            for samples in &columns {
                writer.write_sample(samples[i]).map_err(broken)?;
            }
        }
        Ok(())
    })?;
    if let Some((_, writer)) = open {
        writer.finalize().map_err(broken)?;
    }
    let words = described(
        walk.recording,
        walk.layout,
        walk.wish,
        &first.into_iter().collect::<Vec<_>>(),
    );
    let mut file = File::options()
        .read(true)
        .write(true)
        .open(draft.beside())
        .map_err(wrong)?;
    append(&mut file, words.as_bytes()).map_err(wrong)?;
    Ok(summary)
}

fn spec(leads: usize, rate: f64) -> Result<WavSpec, ExportError> {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "compared with what it was"
    )]
    let whole = rate.round() as u32;
    if (f64::from(whole) - rate).abs() > 1e-9 * rate {
        return Err(ExportError::Rate(rate));
    }
    Ok(WavSpec {
        channels: u16::try_from(leads).unwrap_or(u16::MAX),
        sample_rate: whole,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    })
}

/// Puts a comment behind the samples and counts it in.
fn append(file: &mut (impl Write + Seek), words: &[u8]) -> std::io::Result<()> {
    let end = file.seek(SeekFrom::End(0))?;
    // Text of this kind ends with a zero, and chunks have even lengths.
    let text = words.len() + 1;
    let padded = text + text % 2;
    let size = |n: usize| u32::try_from(n).map_err(Error::other);
    let mut chunk = Vec::with_capacity(padded + 20);
    chunk.extend_from_slice(b"LIST");
    chunk.extend_from_slice(&size(padded + 12)?.to_le_bytes());
    chunk.extend_from_slice(b"INFOICMT");
    chunk.extend_from_slice(&size(text)?.to_le_bytes());
    chunk.extend_from_slice(words);
    chunk.resize(padded + 20, 0);
    file.write_all(&chunk)?;
    let whole = u32::try_from(end + chunk.len() as u64 - 8).map_err(Error::other)?;
    let _at: u64 = file.seek(SeekFrom::Start(4))?;
    file.write_all(&whole.to_le_bytes())
}
