//! Prints how fast a capture is imported, and the memory that takes: a file of the given size in
//! megabytes (200 without), four columns of samples in five digits, and the same as a list of edges.

use keyway_acquisition::import::plan::Plan;
use keyway_acquisition::import::{Card, run_quietly};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let megabytes: u64 = match std::env::args().nth(1) {
        Some(word) => word.parse()?,
        None => 200,
    };
    let folder = std::env::temp_dir().join(format!("keyway-import-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let result = measure(&folder, megabytes * 1_000_000);
    std::fs::remove_dir_all(&folder)?;
    result
}

fn measure(folder: &Path, bytes: u64) -> Result<(), Box<dyn std::error::Error>> {
    let mut out = std::io::stdout().lock();
    for (name, write) in [
        ("samples", samples as fn(&Path, u64) -> std::io::Result<()>),
        ("edges", edges),
    ] {
        let (capture, recording) = (folder.join("capture.csv"), folder.join("out.mcap"));
        write(&capture, bytes)?;
        let begin = Instant::now();
        let summary = run_quietly(&capture, &Plan::default(), &recording, &Card::default())?;
        let seconds = begin.elapsed().as_secs_f64();
        writeln!(
            out,
            "{name}: {:.0} MB, {} rows in {seconds:.1} s: {:.0} MB/s, {:.2} million rows/s; recording of {:.0} MB; {}",
            summary.bytes as f64 / 1e6,
            summary.rows,
            summary.bytes as f64 / 1e6 / seconds,
            summary.rows as f64 / 1e6 / seconds,
            summary.recording_bytes as f64 / 1e6,
            memory()
        )?;
        std::fs::remove_file(recording)?;
    }
    Ok(())
}

/// Time to a microsecond, crank and cam as they swing, a command, a supply with noise.
fn samples(path: &Path, bytes: u64) -> std::io::Result<()> {
    let mut file = BufWriter::new(File::create(path)?);
    file.write_all(b"time,crank,cam intake,command intake,supply\n")?;
    let (mut written, mut i) = (0u64, 0u64);
    while written < bytes {
        let t = i as f64 * 5e-6;
        let crank = 4.0 * (t * 700.0).sin();
        let noise = f64::from(u16::try_from((i * 7919) % 101).unwrap_or(0)) / 1000.0;
        let row = format!(
            "{t:.6},{crank:.4},{:.3},{:.3},{:.3}\n",
            if (i / 9000) % 2 == 0 { 0.1 } else { 4.9 } + noise,
            if (i / 500) % 2 == 0 { 0.4 } else { 13.6 } + noise,
            13.5 + noise
        );
        file.write_all(row.as_bytes())?;
        written += row.len() as u64;
        i += 1;
    }
    file.flush()
}

/// Two leads, times in nanoseconds, teeth every 100 µs or so.
fn edges(path: &Path, bytes: u64) -> std::io::Result<()> {
    let mut file = BufWriter::new(File::create(path)?);
    file.write_all(b"time_ns;crank;cam intake\n")?;
    let (mut written, mut i, mut at) = (0u64, 0u64, 0u64);
    // A tenth of the size: each row becomes twenty samples.
    while written < bytes / 10 {
        let row = format!("{at};{};{}\n", i % 2, (i / 31) % 2);
        file.write_all(row.as_bytes())?;
        written += row.len() as u64;
        at += 100_000 + (i * 7919) % 3001;
        i += 1;
    }
    file.flush()
}

/// The most memory this process ever held, where the system tells.
fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .map_or("unknown", str::trim);
    format!("peak memory {peak}")
}
