//! Text is large enough and has enough contrast, measured on what is painted in every state (WCAG 2.2, 1.4.3).

use egui::epaint::{ClippedShape, TextShape};
use egui::{Color32, Rect, Shape};
use egui_kittest::kittest::Queryable;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::outcome::Outcome;
use sumproof_tests::render::{Scene, Stage, scenes};
use sumproof_views::style::contrast;
use sumproof_wording::Name;
use sumproof_wording::scores::CANNOT_TELL;

/// Least size of any text, logical pixels.
const SMALLEST_PX: f32 = 12.0;
/// Least size of the sentence and the outcomes at the default size, logical pixels.
const LARGE_PX: f32 = 22.0;

/// A painted piece of text.
struct Written {
    text: String,
    size: f32,
    cut: egui::FontFamily,
    colour: Color32,
    ground: Color32,
    rect: Rect,
}

fn flat(shape: &Shape, into: &mut Vec<Shape>) {
    match shape {
        Shape::Vec(shapes) => shapes.iter().for_each(|shape| flat(shape, into)),
        other => into.push(other.clone()),
    }
}

fn pieces(text: &TextShape, clip: Rect, ground: Color32) -> impl Iterator<Item = Written> {
    let whole = text.galley.text().to_owned();
    let rect = text.visual_bounding_rect().intersect(clip);
    let fallback = text.fallback_color;
    let over = text.override_text_color;
    let sections = text.galley.job.sections.clone();
    sections.into_iter().map(move |section| {
        let own = section.format.color;
        let colour = over.unwrap_or(if own == Color32::PLACEHOLDER {
            fallback
        } else {
            own
        });
        Written {
            text: whole.clone(),
            size: section.format.font_id.size,
            cut: section.format.font_id.family.clone(),
            colour,
            ground,
            rect,
        }
    })
}

/// All painted text, with the last opaque rectangle painted under its middle.
fn written(stage: &Stage) -> Vec<Written> {
    let shapes: &[ClippedShape] = &stage.harness.output().shapes;
    let mut fills: Vec<(Rect, Color32)> = Vec::new();
    let mut all = Vec::new();
    for clipped in shapes {
        let mut plain = Vec::new();
        flat(&clipped.shape, &mut plain);
        for shape in plain {
            match shape {
                Shape::Rect(rect) if rect.fill.a() == 255 => {
                    // Text under it is hidden.
                    all.retain(|piece: &Written| !rect.rect.contains(piece.rect.center()));
                    fills.push((rect.rect, rect.fill));
                }
                Shape::Text(text) if !text.galley.text().trim().is_empty() => {
                    let seen = text.visual_bounding_rect().intersect(clipped.clip_rect);
                    if !seen.is_positive() {
                        continue;
                    }
                    let middle = seen.center();
                    let ground = fills
                        .iter()
                        .rev()
                        .find(|(rect, _)| rect.contains(middle))
                        .map_or(Color32::TRANSPARENT, |(_, fill)| *fill);
                    all.extend(pieces(&text, clipped.clip_rect, ground));
                }
                _ => {}
            }
        }
    }
    all
}

#[test]
fn every_text_is_large_enough_and_stands_out() {
    for scene in scenes() {
        let all = written(&scene.stage());
        let least = if scene.is_afar() { 1 } else { 15 };
        assert!(all.len() > least, "{}: hardly anything is written", scene.name);
        for piece in all {
            assert!(
                piece.size >= SMALLEST_PX,
                "{}: '{}' is set in {} px",
                scene.name,
                piece.text,
                piece.size
            );
            assert_eq!(
                piece.ground.a(),
                255,
                "{}: nothing lies under '{}'",
                scene.name,
                piece.text
            );
            let ratio = contrast(piece.colour, piece.ground);
            assert!(
                ratio >= 4.5,
                "{}: '{}' has a contrast of {ratio:.2}:1",
                scene.name,
                piece.text
            );
        }
    }
}

/// Whether a text is an outcome, plain or likely, or 'can't tell'.
fn is_word(text: &str) -> bool {
    let plain = text.strip_suffix('?').unwrap_or(text);
    text == CANNOT_TELL
        || [Outcome::Holds, Outcome::Thins, Outcome::DropsOut]
            .map(Name::name)
            .contains(&plain)
}

#[test]
fn the_sentence_and_the_outcomes_can_be_read_from_afar() {
    for scene in scenes() {
        let board_is_seen = !scene.is_afar() && !scene.name.contains("set");
        if scene.size != [sumproof_views::DEFAULT_SIZE.0, sumproof_views::DEFAULT_SIZE.1] || !board_is_seen {
            continue;
        }
        let all = written(&scene.stage());
        let outcomes: Vec<&Written> = all
            .iter()
            // The board is on the left; a comparison beside it repeats its words in smaller type.
            .filter(|piece| is_word(&piece.text))
            .filter(|piece| piece.rect.left() < scene.size[0] / 2.0)
            .collect();
        for piece in &outcomes {
            assert!(piece.size >= LARGE_PX, "{}: {} px", scene.name, piece.size);
        }
        let sentence = all
            .iter()
            .find(|piece| {
                ["The mono wedge", "Play something", "No reading:"]
                    .iter()
                    .any(|begin| piece.text.starts_with(begin))
            })
            .unwrap_or_else(|| panic!("{}: there is no sentence", scene.name));
        assert!(sentence.size >= LARGE_PX);
        // The user's own feed has a row once it is defined or auditioned.
        let snapshot = scene.snapshot();
        let own = snapshot.own.is_defined() || snapshot.settings.feed == FeedId::Own;
        let is_read = snapshot.reading.row(FeedId::MonoWedge).score.is_some();
        let expected = if is_read { 12 + usize::from(own) } else { 0 };
        assert_eq!(outcomes.len(), expected, "{}: outcomes", scene.name);
    }
}

/// The height of a letter above the baseline, as a share of the type size, from its outline in a large size.
fn height_of(stage: &Stage, letter: char, cut: &egui::FontFamily) -> f32 {
    const LARGE: f32 = 400.0;
    let font = egui::FontId::new(LARGE, cut.clone());
    let galley = stage
        .harness
        .ctx
        .fonts_mut(|fonts| fonts.layout_no_wrap(letter.into(), font, Color32::WHITE));
    galley.mesh_bounds.height() / LARGE
}

/// Least x-height of the board's names and words at the default size, logical pixels.
const BOARD_X_PX: f32 = 11.0;

#[test]
fn the_boards_names_and_words_are_read_from_a_chair() {
    let mut looked_at = 0;
    for scene in scenes() {
        let name = scene.name;
        if scene.size != [sumproof_views::DEFAULT_SIZE.0, sumproof_views::DEFAULT_SIZE.1]
            || scene.is_afar()
            || name.contains("set")
        {
            continue;
        }
        let stage = scene.stage();
        let names: Vec<&str> = FeedId::ALL
            .into_iter()
            .map(sumproof_wording::feeds::short_name)
            .collect();
        for piece in written(&stage) {
            let on_the_board = piece.rect.left() < scene.size[0] / 2.0;
            if !on_the_board || !(is_word(&piece.text) || names.contains(&piece.text.as_str())) {
                continue;
            }
            let x_px = piece.size * height_of(&stage, 'x', &piece.cut);
            assert!(
                x_px >= BOARD_X_PX,
                "{name}: an x of '{}' is {x_px} px high",
                piece.text
            );
            looked_at += 1;
        }
    }
    assert!(looked_at > 24 * 10, "{looked_at}");
}

/// Seen from two metres: a capital of the outcome is at least 8 % of the window's height, one of the lines 4 %, and no
/// text is smaller than 2.5 %.
#[test]
fn from_afar_type_is_large() {
    let mut looked_at = 0;
    for scene in scenes().into_iter().filter(Scene::is_afar) {
        let stage = scene.stage();
        let capitals: Vec<(String, f32)> = written(&stage)
            .into_iter()
            .map(|piece| {
                (
                    piece.size * height_of(&stage, 'H', &piece.cut) / scene.size[1],
                    piece.text,
                )
            })
            .map(|(share, text)| (text, share))
            .collect();
        let largest = capitals.iter().map(|(_, share)| *share).fold(0.0, f32::max);
        assert!(largest >= 0.08, "{}: {largest}", scene.name);
        for (text, share) in &capitals {
            let is_small = ["dBFS", "no sound", "F5"].iter().any(|part| text.contains(part));
            let least = if is_small { 0.025 } else { 0.04 };
            assert!(
                *share >= least,
                "{}: '{text}' is {share} of the height",
                scene.name
            );
        }
        looked_at += 1;
    }
    assert!(looked_at >= 6);
}

/// No text lies outside the window or over other text.
fn assert_clear(stage: &Stage, size: [f32; 2], name: &str) {
    let window = Rect::from_min_size(egui::Pos2::ZERO, size.into());
    let all = written(stage);
    for piece in &all {
        assert!(
            window.expand(1.0).contains_rect(piece.rect),
            "{name}: '{}' at {:?}",
            piece.text,
            piece.rect
        );
    }
    for (n, a) in all.iter().enumerate() {
        for b in &all[n + 1..] {
            // Ascenders and descenders of neighbouring lines may touch; letters may not.
            let (ra, rb) = (
                a.rect.shrink2([0.5, a.size * 0.2].into()),
                b.rect.shrink2([0.5, b.size * 0.2].into()),
            );
            let both = ra.intersect(rb);
            assert!(
                !both.is_positive() || both.width() < 1.0 || a.rect == b.rect,
                "{name}: '{}' and '{}' overlap by {:?}",
                a.text,
                b.text,
                both.size()
            );
        }
    }
}

#[test]
fn nothing_is_written_outside_or_over_another_text() {
    for scene in scenes() {
        assert_clear(&scene.stage(), scene.size, scene.name);
    }
}

/// The smallest window that still shows everything at once is the tightest.
#[test]
fn the_tightest_window_has_room_for_every_sheet() {
    const TIGHTEST: [f32; 2] = [1080.0, 660.0];
    let names = [
        "comparing",
        "boxes",
        "own-feed",
        "card",
        "two-pass-failed",
        "two-pass-recording",
        "overflow",
    ];
    for name in names {
        let scene = scenes().into_iter().find(|scene| scene.name == name).expect(name);
        let mut stage = scene.stage();
        stage.harness.set_size(TIGHTEST.into());
        stage.harness.run();
        assert_clear(&stage, TIGHTEST, name);
    }
}

/// Figures are tabular: all have the same width, with their signs, or columns would jump.
#[test]
fn figures_are_tabular() {
    let scene = scenes().into_iter().next().expect("a scene");
    let stage = scene.stage();
    for size in [14.5, 18.0, 23.0, 36.0] {
        for family in [
            egui::FontFamily::Proportional,
            egui::FontFamily::Name("strong".into()),
        ] {
            let font = egui::FontId::new(size, family);
            let widths: Vec<f32> = stage.harness.ctx.fonts_mut(|fonts| {
                "0123456789"
                    .chars()
                    .map(|c| fonts.glyph_width(&font, c))
                    .collect()
            });
            assert!(widths[0] > 0.0);
            assert!(
                widths.iter().all(|w| (w - widths[0]).abs() < 1e-3),
                "{size}: {widths:?}"
            );
        }
    }
}

/// The fully visible lines of text.
fn seen_lines(stage: &Stage) -> Vec<String> {
    let mut all = Vec::new();
    for clipped in &stage.harness.output().shapes {
        let mut plain = Vec::new();
        flat(&clipped.shape, &mut plain);
        for shape in plain {
            if let Shape::Text(text) = shape {
                for row in &text.galley.rows {
                    let rect = row.rect().translate(text.pos.to_vec2());
                    if clipped.clip_rect.expand(0.6).contains_rect(rect) {
                        all.push(row.text());
                    }
                }
            }
        }
    }
    all
}

fn words_of<'a>(lines: impl IntoIterator<Item = &'a str>) -> std::collections::BTreeSet<String> {
    lines
        .into_iter()
        .flat_map(str::split_whitespace)
        .map(str::to_owned)
        .collect()
}

/// Diagnosis and advice are longer than their space in most states: every line must be reachable by the keys alone, and
/// by the wheel alone, without a tooltip.
#[test]
fn long_advice_can_be_read_whole() {
    let mut moved = 0;
    for (name, wheel) in ["good", "late", "flipped", "smallest-lines"]
        .into_iter()
        .flat_map(|name| [(name, false), (name, true)])
    {
        let scene = scenes().into_iter().find(|scene| scene.name == name).expect(name);
        let snapshot = scene.snapshot();
        let mut stage = scene.stage();
        let whole: Vec<&String> = snapshot.why.iter().chain(&snapshot.what_now).collect();
        let wanted = words_of(whole.iter().map(|line| line.as_str()));
        let mut seen = seen_lines(&stage);
        let at_first = words_of(seen.iter().map(String::as_str));
        if wanted.is_subset(&at_first) {
            continue;
        }
        moved += 1;
        let begin: String = snapshot.why[0].chars().take(20).collect();
        let place = stage.harness.get_by_label_contains(&begin).rect().center();
        if wheel {
            stage.harness.hover_at(place);
        } else {
            stage.harness.get_by_label_contains(&begin).focus();
        }
        stage.harness.run();
        for _ in 0..40 {
            if wheel {
                stage.harness.event(egui::Event::MouseWheel {
                    unit: egui::MouseWheelUnit::Line,
                    delta: egui::vec2(0.0, -1.0),
                    phase: egui::TouchPhase::Move,
                    source: egui::MouseWheelSource::Unknown,
                    modifiers: egui::Modifiers::NONE,
                });
            } else {
                stage.harness.key_press(egui::Key::ArrowDown);
            }
            stage.harness.run();
            seen.extend(seen_lines(&stage));
        }
        let all = words_of(seen.iter().map(String::as_str));
        let missing: Vec<&String> = wanted.difference(&all).collect();
        assert!(
            missing.is_empty(),
            "{name}, wheel {wheel}: never seen: {missing:?}"
        );
        // And back.
        if !wheel {
            stage.harness.key_press(egui::Key::Home);
            stage.harness.run();
            assert_eq!(words_of(seen_lines(&stage).iter().map(String::as_str)), at_first);
        }
        assert!(stage.take_intents().is_empty());
    }
    // If all of it fitted, nothing would be tested.
    assert!(moved >= 2, "{moved}");
}
