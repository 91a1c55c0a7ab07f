//! Prints how long it takes to read so many jobs from the disk and to find some of them again:
//! `cargo run --release -p keyway --example job_search -- 1000`

#![allow(clippy::print_stdout, reason = "a command that says what it measured")]

use keyway::job::cabinet;
use keyway::job::search::Query;
use std::error::Error;
use std::fs;
use std::time::Instant;

/// Notes of a thorough technician, some two pages.
const NOTE: &str = "Cold it follows within a second, from 80 °C on the exhaust cam stays. ";

fn main() -> Result<(), Box<dyn Error>> {
    let count: usize = std::env::args().nth(1).map_or(Ok(1000), |n| n.parse())?;
    let root = std::env::temp_dir().join(format!("keyway-jobs-{}", std::process::id()));
    for n in 0..count {
        let folder = root.join(format!("2026-{:02}-{:02}-job-{n}", n % 12 + 1, n % 28 + 1));
        fs::create_dir_all(folder.join("recordings"))?;
        let card = format!(
            "form = 1\nplate = \"KW-{n:04}\"\nmake = \"Larkfield\"\nmodel = \"Carter\"\nyear = {}\nengine = \"2.0 four\"\ncomplaint = \"Hesitates pulling away, worse when hot.\"\nopened = 2026-{:02}-{:02}T08:00:00+01:00\n\n[[codes]]\ncode = \"P00{:02}\"\nread_by = \"reader\"\n",
            2000 + n % 26,
            n % 12 + 1,
            n % 28 + 1,
            n % 30
        );
        fs::write(folder.join("job.toml"), card)?;
        fs::write(folder.join("notes.md"), NOTE.repeat(60))?;
    }
    let start = Instant::now();
    let entries = cabinet::all(&root)?;
    println!(
        "{} jobs read in {:.0} ms, files in the cache of the system",
        entries.len(),
        start.elapsed().as_secs_f64() * 1000.0
    );
    for words in ["kw0014", "P0014 2026-03", "larkfield hot", "smells of fuel"] {
        let start = Instant::now();
        let query = Query::new(words);
        let found = entries.iter().filter(|e| query.find(e).is_some()).count();
        println!(
            "'{words}': {found} found in {:.1} ms",
            start.elapsed().as_secs_f64() * 1000.0
        );
    }
    fs::remove_dir_all(root)?;
    Ok(())
}
