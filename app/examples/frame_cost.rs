//! What one frame of the Live screen costs on the software renderer, without a display: refresh,
//! view, layout, draw and rasterise of the whole 1280×800 picture, with data that changes every
//! frame. `cargo run --release -p keyway --example frame_cost`

#![allow(
    clippy::print_stdout,
    reason = "a command that prints what it measured"
)]

mod sample;

use iced::advanced::graphics::Viewport;
use iced::advanced::{clipboard, mouse, renderer};
use iced::{Pixels, Rectangle, Size};
use iced_test::runtime::user_interface::{self, UserInterface};
use keyway::font;
use keyway::screen::live::{self, Live};
use keyway::theme::Look;
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::{CrankAngle, CrankDegrees, SampleTime, Seconds};
use sample::Moment;
use std::error::Error;
use std::sync::Arc;
use std::time::{Duration, Instant};

const FRAMES: u32 = 150;
const WARM_UP: u32 = 10;

/// What a frame may cost on the processor, milliseconds.
const TARGET_MS: f64 = 12.0;

fn main() -> Result<(), Box<dyn Error>> {
    for file in font::files() {
        iced::advanced::graphics::text::font_system()
            .write()
            .map_err(|_| "the font system is in use")?
            .load_font(file);
    }
    println!("milliseconds of processor time a frame at 1280×800, target below {TARGET_MS}");
    println!(
        "{:<34} {:>8} {:>8} {:>8} {:>8}",
        "screen", "refresh", "layout", "raster", "total"
    );
    for (name, moment, messages) in [
        ("strip, two cams", sample::not_following(), &[][..]),
        (
            "traces, two cams",
            sample::not_following(),
            &[live::Message::ShowTraces][..],
        ),
        (
            "traces enlarged, two cams",
            sample::not_following(),
            &[live::Message::ShowTraces, live::Message::ToggleEnlarged][..],
        ),
        ("strip, four cams", sample::four_cams(), &[][..]),
        (
            "traces, four cams",
            sample::four_cams(),
            &[live::Message::ShowTraces][..],
        ),
    ] {
        let [refresh, layout, raster] = measure(&moment, messages)?;
        let total = refresh + layout + raster;
        let verdict = if total < TARGET_MS {
            ""
        } else {
            "  above the target"
        };
        println!("{name:<34} {refresh:>8.2} {layout:>8.2} {raster:>8.2} {total:>8.2}{verdict}");
    }
    Ok(())
}

/// Refresh, view with layout, and rasterising, milliseconds a frame each.
fn measure(moment: &Moment, messages: &[live::Message]) -> Result<[f64; 3], Box<dyn Error>> {
    let (wide, high) = (1280_u16, 800_u16);
    let size = Size::new(f32::from(wide), f32::from(high));
    let pixels = Size::new(u32::from(wide), u32::from(high));
    let viewport = Viewport::with_physical_size(pixels, 1.0);
    let mut renderer = iced::Renderer::new(font::REGULAR, Pixels(font::BODY));
    let mut mask = tiny_skia::Mask::new(pixels.width, pixels.height).ok_or("no mask")?;
    let mut picture = tiny_skia::Pixmap::new(pixels.width, pixels.height).ok_or("no picture")?;
    let mut cache = user_interface::Cache::default();
    let mut live = Live::new();
    for message in messages {
        let _ = live.update(*message);
    }
    let columns = live
        .wanted()
        .map_or(480, |w| u32::try_from(w.columns).unwrap_or(480));
    let start = Instant::now();
    let mut sums = [0.0; 3];
    for frame in 0..WARM_UP + FRAMES {
        let (snapshot, traces) = moved(moment, frame, columns);
        let t0 = processor_time();
        live.refresh(snapshot, traces, start + Duration::from_millis(33) * frame);
        let t1 = processor_time();
        let view = live.view(&moment.sheet, Look::Workshop);
        let mut ui = UserInterface::build(view, size, cache, &mut renderer);
        let event = iced::Event::Window(iced::window::Event::RedrawRequested(start));
        let mut sent = Vec::new();
        let _ = ui.update(
            &[event],
            mouse::Cursor::Unavailable,
            &mut renderer,
            &mut clipboard::Null,
            &mut sent,
        );
        let style = renderer::Style {
            text_color: Look::Workshop.palette().text,
        };
        ui.draw(
            &mut renderer,
            &Look::Workshop.theme(),
            &style,
            mouse::Cursor::Unavailable,
        );
        cache = ui.into_cache();
        let t2 = processor_time();
        renderer.draw(
            &mut picture.as_mut(),
            &mut mask,
            &viewport,
            &[Rectangle::with_size(size)],
            Look::Workshop.palette().background,
        );
        let t3 = processor_time();
        if frame >= WARM_UP {
            for (sum, part) in sums.iter_mut().zip([t1 - t0, t2 - t1, t3 - t2]) {
                *sum += part * 1000.0 / f64::from(FRAMES);
            }
        }
    }
    // A time for an empty picture would mean nothing.
    let ground = picture.pixels()[0];
    let drawn = picture.pixels().iter().filter(|p| **p != ground).count();
    if drawn * 4 < picture.pixels().len() {
        return Err("less than a quarter of the picture was drawn".into());
    }
    Ok(sums)
}

/// The moment some frames later: windows, phases, history and traces have moved.
fn moved(
    moment: &Moment,
    frame: u32,
    columns: u32,
) -> (Arc<Snapshot>, Arc<keyway_analysis::snapshot::Traces>) {
    let t = f64::from(frame) / 30.0;
    let mut snapshot = Snapshot::clone(&moment.snapshot);
    let sway = CrankDegrees(3.0 * (t * 2.0).sin());
    for cam in &mut snapshot.cams {
        cam.phase = cam.phase.map(|v| v + sway);
        for window in &mut cam.measured {
            *window = window.map(|angle: CrankAngle| angle + -sway);
        }
    }
    snapshot.speed = snapshot.speed.map(|v| v * (1.0 + 0.1 * t.sin()));
    snapshot.at = SampleTime(snapshot.at.0 + t * 200_000.0);
    snapshot.elapsed = snapshot.elapsed + Seconds(t);
    let traces = sample::traces(&snapshot.leads, columns, t * 70.0);
    (Arc::new(snapshot), Arc::new(traces))
}

/// Processor time of this thread, seconds; where the system does not tell it, time on the wall.
fn processor_time() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|s| s.split_whitespace().next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(
        || {
            static START: std::sync::OnceLock<Instant> = std::sync::OnceLock::new();
            START.get_or_init(Instant::now).elapsed().as_secs_f64()
        },
        |ns| ns * 1e-9,
    )
}
