//! What a lens shows, against the samples.

use super::*;
use crate::recording::lens::{Absence, InputSight, Lens, Missing, Shape, Sight, from_samples};
use crate::recording::overview::{self, Watch};
use proptest::prelude::*;
use std::sync::atomic::AtomicBool;

/// One thing that happens to a recording.
#[derive(Debug, Clone)]
enum Step {
    Samples(u64),
    Lost(u64),
    Stream(f64, Vec<usize>),
    Flush,
    Note,
}

/// How the lens comes to know a recording.
#[derive(Debug, Clone)]
enum Way {
    /// By the overview that grew with it.
    Grown,
    /// By one that was made again.
    Rebuilt,
    /// By no overview.
    Alone,
    /// By an overview with some bytes flipped, at shares of its length.
    Spoilt(Vec<f64>),
    /// The recording cut at a share of its length, the overview left whole.
    Cut(f64),
    /// A recording with a byte flipped before the overview was made again.
    Damaged(f64),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![
        6 => (1u64..90_000).prop_map(Step::Samples),
        2 => (1u64..3).prop_map(Step::Samples),
        2 => (1u64..300).prop_map(Step::Lost),
        1 => (1u64..200_000).prop_map(Step::Lost),
        1 => (prop::sample::select(vec![200_000.0, 44_100.0, 1_000.0]),
              prop::sample::select(vec![vec![0, 4], vec![4], vec![1, 2, 4]]))
            .prop_map(|(rate, enabled)| Step::Stream(rate, enabled)),
        1 => Just(Step::Flush),
        1 => Just(Step::Note),
    ];
    prop::collection::vec(step, 1..24)
}

fn way() -> impl Strategy<Value = Way> {
    prop_oneof![
        Just(Way::Grown),
        Just(Way::Rebuilt),
        Just(Way::Alone),
        prop::collection::vec(0.0..1.0, 1..4).prop_map(Way::Spoilt),
        (0.1..1.0).prop_map(Way::Cut),
        (0.1..1.0).prop_map(Way::Damaged),
    ]
}

/// Slow waves with noise and rare spikes: extremes that are a single sample.
fn wave(generation: u64, channels: usize, first: u64, length: u64) -> SampleBlock {
    let mut made = block(generation, channels, first, length);
    for (c, channel) in (0u64..).zip(&mut made.channels) {
        for (i, sample) in (first..).zip(channel.iter_mut()) {
            let is_spike = (i * 31 + c * 7).is_multiple_of(9_973);
            let slow = i16::try_from((i / 64 + c * 100) % 4_000).unwrap() - 2_000;
            *sample = if is_spike {
                *sample
            } else {
                slow + *sample / 512
            };
        }
    }
    made
}

fn record(path: &Path, steps: &[Step]) {
    let mut recorder = Recorder::create(path, &header()).unwrap();
    let mut now = stream(1, &[0, 4]);
    now.rate_hz = 200_000.0;
    recorder.stream(&now).unwrap();
    let mut index = 12_345;
    for step in steps {
        match step {
            Step::Samples(count) => {
                let mut left = *count;
                while left > 0 {
                    let length = left.min(5_000);
                    let made = wave(now.generation, now.enabled.len(), index, length);
                    recorder.block(&made).unwrap();
                    index += length;
                    left -= length;
                }
            }
            Step::Lost(count) => index += count,
            Step::Stream(rate_hz, enabled) => {
                now = stream(now.generation + 1, enabled);
                now.rate_hz = *rate_hz;
                recorder.stream(&now).unwrap();
                index = 3;
            }
            Step::Flush => recorder.flush().unwrap(),
            Step::Note => recorder
                .note(&crate::recording::header::Note::default())
                .unwrap(),
        }
    }
    let _ = recorder.finish().unwrap();
}

fn rebuild(recording: &Recording) -> PathBuf {
    let watch = Watch {
        progress: &|_| {},
        stop: &AtomicBool::new(false),
    };
    overview::rebuild(recording, watch).unwrap()
}

fn flip(path: &Path, share: f64) {
    let mut bytes = std::fs::read(path).unwrap();
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in a file"
    )]
    let at = (share * bytes.len() as f64) as usize;
    bytes[at] ^= 0x20;
    std::fs::write(path, bytes).unwrap();
}

fn prepare(path: &Path, steps: &[Step], way: &Way) -> Option<Recording> {
    record(path, steps);
    let side = overview::path_of(path);
    match way {
        Way::Grown => {}
        Way::Alone => std::fs::remove_file(side).unwrap(),
        Way::Rebuilt => {
            std::fs::remove_file(side).unwrap();
            let _ = rebuild(&Recording::open(path).unwrap());
        }
        Way::Spoilt(shares) => shares.iter().for_each(|&share| flip(&side, share)),
        Way::Cut(share) => {
            let file = std::fs::File::options().write(true).open(path).unwrap();
            let size = file.metadata().unwrap().len();
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a place in a file"
            )]
            file.set_len((share * size as f64) as u64).unwrap();
        }
        Way::Damaged(share) => {
            flip(path, *share);
            let recording = Recording::open(path).ok()?;
            let _ = rebuild(&recording);
        }
    }
    Recording::open(path).ok()
}

/// Looks until everything is known.
fn look(lens: &mut Lens, from: f64, to: f64, columns: usize) -> Sight {
    for _ in 0..40 {
        let sight = lens.look(from, to, columns).unwrap();
        if sight.missing.iter().all(|m| m.why != Absence::NotRead) {
            return sight;
        }
    }
    panic!("never known");
}

fn is_same(a: &[Missing], b: &[Missing]) -> bool {
    // Times are kept to the nanosecond.
    let near = |x: f64, y: f64| (x - y).abs() < 5e-9;
    a.len() == b.len()
        && a.iter()
            .zip(b)
            .all(|(a, b)| a.why == b.why && near(a.from, b.from) && near(a.to, b.to))
}

/// Seconds of a bin, from the rule in the contract: a bin is at most half a column, or the finest.
fn bin(sight: &Sight, columns: usize, rate_hz: f64) -> f64 {
    let samples = (sight.to - sight.from) / columns as f64 * rate_hz;
    let size = [65_536.0, 4_096.0, 256.0]
        .into_iter()
        .find(|size| 2.0 * size <= samples)
        .unwrap_or(256.0);
    size / rate_hz
}

/// Holds columns against every sample of the input: nothing is invented, and nothing is lost, but may
/// be half a bin off, or a bin where one reaches over the edge of what is looked at.
fn hold(
    sight: &Sight,
    input: &InputSight,
    all: &[(f64, f32)],
    rates: &[f64],
) -> Result<(), String> {
    let Shape::Columns(seen) = &input.shape else {
        return Err("single samples".to_owned());
    };
    let columns = seen.len();
    let bin = rates
        .iter()
        .map(|&rate| bin(sight, columns, rate))
        .fold(0.0, f64::max);
    let step = (sight.to - sight.from) / columns as f64;
    let edge = |c: usize| sight.from + c as f64 * step;
    let between = |from: f64, to: f64| {
        let begin = all.partition_point(|s| s.0 < from - 1e-8);
        let end = all.partition_point(|s| s.0 <= to + 1e-8);
        &all[begin..end.max(begin)]
    };
    for (c, column) in seen.iter().enumerate() {
        let reach = |is_edge: bool| if is_edge { bin } else { bin / 2.0 };
        let near = between(
            edge(c) - reach(c == 0),
            edge(c + 1) + reach(c + 1 == columns),
        );
        if let Some([low, high]) = *column {
            for extreme in [low, high] {
                if !near.iter().any(|s| s.1.to_bits() == extreme.to_bits()) {
                    return Err(format!("column {c} shows {extreme}, which is not there"));
                }
            }
        }
        for &(at, value) in between(edge(c), edge(c + 1)) {
            if at < sight.from || at >= sight.to {
                continue;
            }
            let first = ((at - bin / 2.0 - sight.from) / step - 1e-6).floor();
            let last = ((at + bin / 2.0 - sight.from) / step + 1e-6).floor();
            let shown = seen.iter().enumerate().any(|(k, column)| {
                let k = k as f64;
                // What lies half a bin outside is in the column at the edge.
                (k >= first.min(columns as f64 - 1.0))
                    && k <= last.max(0.0)
                    && column.is_some_and(|[low, high]| low <= value && value <= high)
            });
            if !shown {
                return Err(format!("{value} at {at} is not seen"));
            }
        }
    }
    Ok(())
}

proptest! {
    // Each case writes a recording of some megabytes.
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Whatever is recorded, lost or damaged, and however the lens knows it: any zoom shows what the
    /// samples hold.
    #[test]
    fn a_lens_shows_what_the_samples_hold(
        steps in steps(),
        way in way(),
        looks in prop::collection::vec((-0.2f64..1.2, -16.0f64..0.5, 1usize..500), 1..6),
    ) {
        let folder = Folder::new();
        let path = folder.file("r.mcap");
        let Some(recording) = prepare(&path, &steps, &way) else {
            return Ok(());
        };
        let rates: Vec<f64> = recording.streams().map(|s| s.rate_hz).collect();
        let seconds = recording.duration().as_secs_f64();
        let everything = from_samples(&recording, 0.0, seconds + 1.0, 1 << 24).unwrap();
        let mut lens = Lens::open(&recording).unwrap();
        for (begin, zoom, columns) in looks {
            let from = begin * seconds;
            let to = from + zoom.exp2() * seconds;
            let fast = look(&mut lens, from, to, columns);
            let slow = from_samples(&recording, from, to, columns).unwrap();
            prop_assert!(is_same(&fast.missing, &slow.missing), "{:?}\n{:?}", fast.missing, slow.missing);
            let names = |sight: &Sight| -> Vec<_> {
                sight.inputs.iter().map(|i| (i.input, i.unit.clone())).collect()
            };
            prop_assert_eq!(names(&fast), names(&slow));
            let step = (slow.to - slow.from) / columns as f64;
            if rates.iter().all(|rate| step * rate < 256.0) {
                prop_assert_eq!(&fast.inputs, &slow.inputs);
                continue;
            }
            for (seen, told) in fast.inputs.iter().zip(&slow.inputs) {
                if let Shape::Samples(_) = told.shape {
                    prop_assert_eq!(seen, told);
                    continue;
                }
                let all = everything.inputs.iter().find(|i| i.input == seen.input).unwrap();
                let Shape::Samples(all) = &all.shape else {
                    panic!("not every sample");
                };
                let held = hold(&fast, seen, all, &rates);
                prop_assert!(held.is_ok(), "{:?}: {held:?}", way);
            }
        }
    }
}

#[test]
fn a_long_stretch_that_nobody_has_read_is_told_and_fills_look_by_look() {
    let folder = Folder::new();
    let path = folder.file("r.mcap");
    let mut steps = vec![[Step::Samples(10_000), Step::Flush]; 90].concat();
    steps.extend([Step::Lost(70), Step::Samples(10)]);
    record(&path, &steps);
    std::fs::remove_file(overview::path_of(&path)).unwrap();
    let recording = Recording::open(&path).unwrap();
    let not_read = |sight: &Sight| -> f64 {
        let missing = sight.missing.iter().filter(|m| m.why == Absence::NotRead);
        missing.map(|m| m.to - m.from).sum()
    };

    // Too much: none of it is read, and the lens says that it takes an overview.
    let size = recording.size();
    let limited = |most| Lens::open(&recording).unwrap().limited(most, size / 20);
    let mut lens = limited(size / 4);
    assert!(lens.wants_overview());
    let whole = lens.look(0.0, 5.0, 100).unwrap();
    assert!((not_read(&whole) - recording.duration().as_secs_f64()).abs() < 1e-9);
    assert!(whole.inputs.is_empty());
    // A short stretch is seen all the same.
    let short = look(&mut lens, 2.0, 2.01, 1_500);
    assert_eq!(short, from_samples(&recording, 2.0, 2.01, 1_500).unwrap());
    // And what was read stays known in the whole.
    let after = lens.look(0.0, 5.0, 100).unwrap();
    assert!(not_read(&after) < not_read(&whole) && not_read(&after) > 0.0);

    // Less than too much: every look knows more.
    let mut lens = limited(u64::MAX);
    let mut left = f64::INFINITY;
    while left > 0.0 {
        let now = not_read(&lens.look(0.0, 5.0, 100).unwrap());
        assert!(now < left);
        left = now;
    }
    assert!(!lens.wants_overview());
}

#[test]
fn a_recording_that_grows_is_seen_to_its_newest_end() {
    let folder = Folder::new();
    let path = folder.file("r.mcap");
    let mut recorder = Recorder::create(&path, &header()).unwrap();
    let mut now = stream(1, &[0, 4]);
    now.rate_hz = 200_000.0;
    recorder.stream(&now).unwrap();
    for n in 0..80 {
        recorder.block(&wave(1, 2, n * 5_000, 5_000)).unwrap();
        if n % 8 != 7 {
            continue;
        }
        recorder.flush().unwrap();
        let recording = Recording::open(&path).unwrap();
        let seconds = recorder.seconds();
        assert!((recording.duration().as_secs_f64() - seconds).abs() < 1e-9);
        let mut lens = Lens::open(&recording).unwrap();
        let sight = look(&mut lens, 0.0, seconds, 10);
        assert_eq!(sight.missing, []);
        let Shape::Columns(columns) = &sight.inputs[1].shape else {
            panic!("single samples");
        };
        assert!(columns.iter().all(Option::is_some));
        let (from, to) = (seconds - 0.001, seconds);
        let newest = lens.look(from, to, 1_500).unwrap();
        assert_eq!(newest, from_samples(&recording, from, to, 1_500).unwrap());
    }
    // Pages are there before the recording is finished.
    assert!(std::fs::metadata(overview::path_of(&path)).unwrap().len() > 3_000);
}

#[test]
fn losses_without_number_are_told_together() {
    let folder = Folder::new();
    let path = folder.file("r.mcap");
    let mut steps = Vec::new();
    for _ in 0..3_000 {
        steps.extend([Step::Samples(2), Step::Lost(3)]);
    }
    steps.push(Step::Samples(2));
    record(&path, &steps);
    let recording = Recording::open(&path).unwrap();
    let mut lens = Lens::open(&recording).unwrap();
    let seconds = recording.duration().as_secs_f64();
    for columns in [1, 40, 2_000] {
        let sight = lens.look(0.0, seconds, columns).unwrap();
        let lost: u64 = sight
            .missing
            .iter()
            .map(|m| match m.why {
                Absence::Lost(n) => n,
                other => panic!("{other:?}"),
            })
            .sum();
        assert_eq!(lost, 9_000);
        assert!(sight.missing.len() <= 2 * columns.max(150));
    }
    assert!(std::fs::metadata(overview::path_of(&path)).unwrap().len() < 10_000);
}
