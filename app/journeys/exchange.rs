//! Results per engine cycle, and a folder of jobs as one table, from recordings of the simulated engine.

use crate::workpiece::{File, Workpiece, recorded};
use keyway::exchange::collect::{self, collect};
use keyway::exchange::results::{self, export};
use keyway::fault::Fault;
use keyway::session::analyser::Analyser;
use keyway::session::orders::Script;
use keyway::session::playback;
use keyway::survey;
use keyway::work::Progress;
use keyway_acquisition::export::Form;
use keyway_acquisition::recording::cursor::Item;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::{Field, Row};
use std::path::{Path, PathBuf};

/// A folder that is gone after the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("keyway-exchange-{name}-{}", std::process::id()));
        drop(std::fs::remove_dir_all(&path));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        drop(std::fs::remove_dir_all(&self.0));
    }
}

fn rows(path: &Path) -> Vec<Row> {
    let file = std::fs::File::open(path).unwrap();
    let reader = SerializedFileReader::new(file).unwrap();
    let rows = reader.get_row_iter(None).unwrap();
    rows.map(Result::unwrap).collect()
}

fn field<'a>(row: &'a Row, name: &str) -> &'a Field {
    let mut columns = row.get_column_iter();
    let found = columns.find(|(n, _)| *n == name);
    found.unwrap_or_else(|| panic!("no column {name}")).1
}

fn number(row: &Row, name: &str) -> Option<f64> {
    match field(row, name) {
        Field::Double(x) => Some(*x),
        Field::Long(n) => Some(*n as f64),
        _ => None,
    }
}

fn words<'a>(row: &'a Row, name: &str) -> Option<&'a str> {
    match field(row, name) {
        Field::Str(words) => Some(words),
        _ => None,
    }
}

fn cycles(recording: &File, out: &Path, span: std::ops::Range<f64>) -> Vec<Row> {
    let (recording, setup) = playback::open(Path::new(recording.path())).unwrap();
    let order = results::Order {
        form: Form::Parquet,
        span,
        stream: None,
        replace: true,
    };
    let written = export(&recording, &setup, &order, out, &Progress::default()).unwrap();
    let rows = rows(out);
    assert_eq!(rows.len() as u64, written.rows);
    rows
}

#[test]
fn every_cycle_is_a_row_with_what_the_analysis_measured() {
    let folder = Folder::new("cycles");
    let out = folder.0.join("results.parquet");
    let recording = recorded(&Workpiece {
        gap: Some(6.0),
        streams: 2,
        ..Workpiece::of("healthy", 12.0)
    });
    let all = cycles(&recording, &out, 0.0..f64::INFINITY);
    let (opened, setup) = playback::open(Path::new(recording.path())).unwrap();
    let script = Script::of(&opened);
    let surveys = survey::of(&opened, Analyser::new(setup), script, "", true).unwrap();
    for (stream, survey) in (1i64..).zip(&surveys) {
        let mut entries = opened.entries().unwrap().map(Result::unwrap);
        let first = entries.find_map(|entry| match entry.item {
            Item::Block(block) => {
                (block.generation + 1 == stream.unsigned_abs()).then_some(entry.at)
            }
            Item::Note(_) | Item::LeadEvent(_) => None,
        });
        let begin = first.unwrap().as_secs_f64();
        let own: Vec<&Row> = all
            .iter()
            .filter(|r| *field(r, "stream") == Field::Long(stream))
            .collect();
        // Two revolutions each, but for the first and those about the gap.
        let revolutions = survey.crank.series.as_ref().unwrap();
        let expected = revolutions.seconds.len() / 2;
        assert!(
            own.len() + 6 > expected && own.len() <= expected,
            "{} {expected}",
            own.len()
        );
        let mut last = 0.0;
        for row in &own {
            let (from, to) = (
                number(row, "begin_s").unwrap(),
                number(row, "end_s").unwrap(),
            );
            assert!(from >= last - 1e-9 && to > from, "{from} {to} {last}");
            last = to;
            let gap = begin + 6.0;
            assert!(
                to <= gap + 1e-6 || from >= gap + 0.01 - 1e-6,
                "{from} to {to}"
            );
            let speed = number(row, "speed_rpm").unwrap();
            assert!((speed - 120.0 / (to - from)).abs() < 1e-6 * speed);
        }
        let phases = survey.cams[0].phases.as_ref().unwrap();
        let mut compared = 0;
        for row in own
            .iter()
            .filter(|r| *field(r, "begins_at_firing_tdc_1") == Field::Bool(true))
        {
            let within = number(row, "begin_s").unwrap()..number(row, "end_s").unwrap();
            let measured: Vec<f64> = (phases.seconds.iter().zip(&phases.phase_deg))
                .filter(|(at, _)| within.contains(&(*at + begin)))
                .map(|(_, phase)| *phase)
                .collect();
            let mean = measured.iter().sum::<f64>() / measured.len() as f64;
            match number(row, "intake_phase_deg") {
                Some(phase) if number(row, "intake_edges") == Some(measured.len() as f64) => {
                    assert!((phase - mean).abs() < 1e-3, "{phase} {mean}");
                    compared += 1;
                }
                Some(_) => {}
                None => assert!(words(row, "intake_phase_reason").is_some()),
            }
        }
        assert!(compared + 8 > own.len(), "{compared} of {}", own.len());
        let late = own[own.len() - 2];
        assert!((number(late, "supply_v").unwrap() - 13.8).abs() < 1.0);
        assert_eq!(words(late, "exhaust_agreement"), Some("following"));
        assert_eq!(words(late, "intake_current_reason"), Some("no lead fitted"));
        assert_eq!(number(late, "intake_current_a"), None);
        assert!(number(late, "exhaust_current_a").is_some());
    }
    // A span gives the same rows, but for their numbers.
    let part = cycles(&recording, &out, 7.0..10.0);
    let same = |row: &Row| -> Vec<Field> {
        let fields = row.get_column_iter().filter(|(n, _)| *n != "cycle");
        fields.map(|(_, f)| f.clone()).collect()
    };
    let inside = |row: &&Row| {
        number(row, "begin_s").unwrap() >= 7.0 && number(row, "end_s").unwrap() <= 10.0
    };
    let expected: Vec<Vec<Field>> = all.iter().filter(inside).map(same).collect();
    let found: Vec<Vec<Field>> = part.iter().map(same).collect();
    assert!(found.len() > 15);
    assert_eq!(found, expected);
}

fn put(recording: &File, place: &Path) {
    let _bytes = std::fs::copy(recording.path(), place).unwrap();
}

fn order(folder: &Path) -> collect::Order {
    collect::Order {
        folder: folder.to_owned(),
        form: Form::Parquet,
        with_plates: false,
        keep: None,
        replace: true,
    }
}

#[test]
fn jobs_become_a_table_without_plates() {
    let folder = Folder::new("jobs");
    let jobs = folder.0.join("jobs");
    let first = jobs.join("2026-11-30 KW-77 ABC");
    let second = jobs.join("2026-12-01 van");
    for job in [&first, &second] {
        std::fs::create_dir_all(job.join("recordings")).unwrap();
    }
    std::fs::write(
        first.join("job.toml"),
        "plate = \"kw 77 abc\"\nvin = \"XKW00000000000001\"\nengine = \"2.0 of KW77ABC\"\ncodes = [\"P0014\", \"P0011\"]\nopened = 2026-11-30\n",
    )
    .unwrap();
    std::fs::write(second.join("job.toml"), "title = \"van\"\nplate = [1\n").unwrap();
    let recording = recorded(&Workpiece::of("stuck-at-rest", 4.0));
    put(&recording, &first.join("recordings/KW77-abc before.mcap"));
    std::fs::write(first.join("recordings/KW 77 ABC broken.mcap"), "nothing").unwrap();
    let healthy = recorded(&Workpiece::of("healthy", 4.0));
    put(&healthy, &second.join("recordings/a.mcap"));
    let out = folder.0.join("table.parquet");
    let written = collect(&order(&jobs), &out, &Progress::default()).unwrap();
    assert_eq!(
        (written.recordings, written.unreadable, written.rows),
        (3, 1, 5)
    );
    // The second card has a mistake, which is told; its recording is measured all the same.
    assert!(
        written.remarks.iter().any(|r| r.contains("job.toml")),
        "{:?}",
        written.remarks
    );
    let table = rows(&out);
    for row in &table {
        let text = format!("{row}").to_lowercase();
        for secret in ["kw77", "kw 77", "kw-77", "xkw", "2026-11-30 "] {
            assert!(!text.contains(secret), "{text}");
        }
    }
    let broken = table.iter().find(|r| words(r, "reason").is_some()).unwrap();
    assert_eq!(words(broken, "file"), Some("… broken.mcap"));
    assert!(words(broken, "reason").unwrap().contains("not a recording"));
    assert_eq!(number(broken, "seconds"), None);
    let (opened, setup) = playback::open(Path::new(recording.path())).unwrap();
    let script = Script::of(&opened);
    let survey = survey::of(&opened, Analyser::new(setup), script, "", false).unwrap();
    let own: Vec<&Row> = table
        .iter()
        .filter(|r| words(r, "file") == Some("… before.mcap"))
        .collect();
    assert_eq!(own.len(), 2);
    for (row, cam) in own.iter().zip(&survey[0].cams) {
        assert_eq!(words(row, "cam"), Some(cam.id.to_string().as_str()));
        assert_eq!(words(row, "codes"), Some("P0014 P0011"));
        assert_eq!(words(row, "job_engine"), Some("2.0 of …"));
        assert_eq!(words(row, "job_opened"), Some("2026-11-30"));
        assert_eq!(number(row, "phase_mean_deg"), cam.phase().map(|p| p.mean));
        assert_eq!(number(row, "duty_mean_pct"), cam.duty().map(|d| d.mean));
        assert_eq!(words(row, "job"), words(broken, "job"));
    }
    // Everything is taken from the earlier table but for what could not be read.
    let keep = collect::Order {
        keep: Some(out.clone()),
        ..order(&jobs)
    };
    let again = folder.0.join("again.parquet");
    let kept = collect(&keep, &again, &Progress::default()).unwrap();
    assert_eq!((kept.reused, kept.unreadable, kept.rows), (2, 1, 5));
    assert_eq!(rows(&again), table);
    let named = collect::Order {
        with_plates: true,
        ..keep
    };
    let _written = collect(&named, &again, &Progress::default()).unwrap();
    let table = rows(&again);
    assert!(table.iter().any(|r| words(r, "plate") == Some("kw 77 abc")));
    assert!(
        table
            .iter()
            .any(|r| words(r, "file") == Some("2026-12-01 van/recordings/a.mcap"))
    );
}

#[test]
fn what_is_stopped_leaves_nothing() {
    let folder = Folder::new("stopped");
    let recording = recorded(&Workpiece::of("healthy", 2.0));
    let jobs = folder.0.join("jobs");
    std::fs::create_dir_all(&jobs).unwrap();
    put(&recording, &jobs.join("a.mcap"));
    let progress = Progress::default();
    progress.cancel();
    let out = folder.0.join("table.parquet");
    assert_eq!(
        collect(&order(&jobs), &out, &progress),
        Err(Fault::Cancelled)
    );
    let (opened, setup) = playback::open(Path::new(recording.path())).unwrap();
    let cycles = results::Order {
        form: Form::Csv,
        span: 0.0..1.0,
        stream: None,
        replace: false,
    };
    let stopped = export(&opened, &setup, &cycles, &out, &progress);
    assert_eq!(stopped, Err(Fault::Cancelled));
    let sound = results::Order {
        form: Form::Wav,
        ..cycles
    };
    let error = export(&opened, &setup, &sound, &out, &Progress::default()).unwrap_err();
    assert!(error.to_string().contains("Parquet or CSV"), "{error}");
    let left: Vec<_> = std::fs::read_dir(&folder.0).unwrap().collect();
    assert_eq!(left.len(), 1, "{left:?}");
}
