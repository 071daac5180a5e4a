//! The cost of a frame of the window while a preset plays: layout and tessellation, no graphics card. Prints the median
//! and the 90th percentile.
//!
//! `sumproof-frames [FRAMES]`; exits with 2 for a wrong command line.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

use std::process::ExitCode;
use std::time::{Duration, Instant};

use sumproof_tests::render::playing;
use sumproof_views::{DEFAULT_SIZE, Look, Window};

/// Frames that fill caches and font atlases and are not counted.
const WARM_UP: usize = 30;

fn main() -> ExitCode {
    let frames = match std::env::args().nth(1).map(|text| text.parse::<usize>()) {
        None => 600,
        Some(Ok(frames)) if (1..=100_000).contains(&frames) => frames,
        Some(_) => {
            eprintln!("usage: sumproof-frames [FRAMES], 1 to 100000");
            return ExitCode::from(2);
        }
    };
    let mut costs = measure(frames);
    costs.sort_unstable();
    let ms = |share: f64| {
        let index = ((costs.len() - 1) as f64 * share).round() as usize;
        costs[index].as_secs_f64() * 1e3
    };
    println!(
        "frame, {:.0} by {:.0}, playing, layout and tessellation: median {:.2} ms, 90th percentile {:.2} ms, over {} frames",
        DEFAULT_SIZE.0,
        DEFAULT_SIZE.1,
        ms(0.5),
        ms(0.9),
        costs.len()
    );
    ExitCode::SUCCESS
}

fn measure(frames: usize) -> Vec<Duration> {
    let snapshots = playing(frames + WARM_UP);
    let ctx = egui::Context::default();
    let mut window = Window::new(Look::default());
    window.prepare(&ctx);
    let mut intents = Vec::new();
    let mut costs = Vec::with_capacity(frames);
    for (n, snapshot) in snapshots.iter().enumerate() {
        let input = egui::RawInput {
            screen_rect: Some(egui::Rect::from_min_size(egui::Pos2::ZERO, DEFAULT_SIZE.into())),
            time: Some(n as f64 / 60.0),
            ..egui::RawInput::default()
        };
        let begin = Instant::now();
        let mut output = ctx.run_ui(input, |ui| window.ui(ui, snapshot, &mut intents));
        let meshes = ctx.tessellate(std::mem::take(&mut output.shapes), output.pixels_per_point);
        let cost = begin.elapsed();
        std::hint::black_box(meshes);
        output.textures_delta.clear();
        if n >= WARM_UP {
            costs.push(cost);
        }
    }
    costs
}
