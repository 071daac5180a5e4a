//! Why the feeds come out as they do, and what now.

use egui::{Align2, Id, Pos2, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::line::Polarity;
use sumproof_core::reading::Reading;
use sumproof_core::split::Method;

use crate::sheet::{Sheet, write, write_within};
use crate::snapshot::Margin;
use crate::style::Style;
use crate::words::milliseconds;

/// A delay that makes no difference, seconds: below it channels count as on time.
const ON_TIME_S: f64 = 0.000_02;

/// What is between the channels, in words.
pub fn between_channels(reading: &Reading) -> String {
    if reading.correlation.is_none() {
        return String::from("Between the channels: no reading.");
    }
    let Some(delay) = reading.delay else {
        return String::from(
            "Between the channels: no single delay; they are too different to tell, or one tone only.",
        );
    };
    let sure = format!("{:.0}\u{a0}% sure", delay.confidence.clamp(0.0, 1.0) * 100.0);
    let polarity = match delay.polarity {
        Polarity::Normal => "same polarity",
        Polarity::Flipped => "one flipped",
    };
    if delay.delay_s.abs() < ON_TIME_S {
        format!("Between the channels: no delay, {polarity} ({sure}).")
    } else {
        let late = if delay.delay_s > 0.0 { "right" } else { "left" };
        format!(
            "Between the channels: the {late} one {} late, {polarity} ({sure}).",
            milliseconds(delay.delay_s.abs())
        )
    }
}

/// How dry and wet were told apart and how much there is of each, in words.
pub fn told_apart(reading: &Reading) -> String {
    let how = match reading.method {
        Method::Estimated => "estimated: what both share counts as dry",
        Method::TwoPass => "from two passes, effects off and dry off",
        Method::SideChain => "from the dry signal on the side-chain",
    };
    match reading.wet_over_dry_db {
        None => format!("Dry and wet: no reading ({how})."),
        Some(db) if db <= -40.0 => format!("No wet found ({how})."),
        Some(db) if db >= 40.0 => format!("No dry found ({how})."),
        Some(db) if db <= 0.0 => format!("In stereo the wet is {:.1} dB below the dry ({how}).", -db),
        Some(db) => format!("In stereo the wet is {db:.1} dB above the dry ({how})."),
    }
}

/// How much sound a reading rests on.
fn rests_on(reading: &Reading) -> Option<String> {
    (reading.correlation.is_some() && reading.averages < 4.0)
        .then(|| String::from("Only just begun: the figures still settle."))
}

/// Draws both, with the margin's map where there's one.
pub fn why(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let colours = style.colours;
    let snapshot = sheet.snapshot;
    let reading = &snapshot.reading;
    let mut area = rect;
    if let Some(margin) = snapshot
        .margin
        .as_ref()
        .filter(|margin| margin.delay_ms.len() > 1)
    {
        let width = (rect.width() * 0.34).min(style.px(220.0));
        area.max.x -= width + style.px(16.0);
        // As high as wide: on a tall page the rest is air.
        let height = rect.height().min(width);
        let map = Rect::from_min_size(pos2(rect.right() - width, rect.top()), vec2(width, height));
        margin_map(ui, &style, map, margin);
    }
    let response = ui.interact(area, Id::unique("why"), Sense::hover());
    let facts = [
        Some(between_channels(reading)),
        Some(told_apart(reading)),
        rests_on(reading),
    ];
    let lines = || {
        let headed = |head: &'static str, lines: &[String]| {
            let mut all: Vec<(bool, String)> = Vec::new();
            if !lines.is_empty() {
                all.push((true, head.into()));
                all.extend(lines.iter().map(|line| (false, line.clone())));
            }
            all
        };
        let facts: Vec<String> = facts.iter().flatten().cloned().collect();
        // Where there's a diagnosis, it says what the bare facts say.
        let why = if snapshot.why.is_empty() {
            &facts
        } else {
            &snapshot.why
        };
        let why = headed("why", why);
        // How dry and wet were told apart, where that can change while one plays.
        let apart = snapshot.side_chain.map(|side_chain| {
            let mut said = vec![side_chain.sentence()];
            if !snapshot.why.is_empty() {
                said.insert(0, told_apart(reading));
            }
            said
        });
        let mut all = headed("dry and wet", &apart.unwrap_or_default());
        all.extend(why);
        all.extend(headed("what now", &snapshot.what_now));
        all
    };
    let lines = lines();
    response.widget_info(|| {
        let text: Vec<&str> = lines.iter().map(|(_, text)| text.as_str()).collect();
        WidgetInfo::labeled(Role::Label, true, text.join(" "))
    });
    let mut at = area.min;
    for (is_head, text) in &lines {
        let (font, colour) = if *is_head {
            (style.label(), colours.faint)
        } else {
            (style.body(), colours.soft)
        };
        let left = area.bottom() - at.y;
        let line = font.size * 1.25;
        let rows = (left / line).floor() as usize;
        if rows == 0 {
            break;
        }
        let used = write_within(ui, at, area.width(), rows, text, font, colour);
        at.y = used.bottom() + style.px(if *is_head { 1.0 } else { 4.0 });
    }
    // What found no room is a hover away.
    let whole: Vec<&str> = lines.iter().map(|(_, text)| text.as_str()).collect();
    response.on_hover_text(whole.join("\n"));
}

/// The margin as a small map: change of the dry over a delay between the lines, straight and flipped.
fn margin_map(ui: &Ui, style: &Style, rect: Rect, margin: &Margin) {
    let colours = style.colours;
    let response = ui.interact(rect, Id::unique("margin"), Sense::hover());
    let reach = margin.reach_ms.map_or_else(
        || String::from("no delay takes the dry 2 dB down"),
        |ms| format!("a line may be {ms:.2} ms late before the dry is 2 dB down"),
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, format!("margin: {reach}")));
    let label = write(
        ui,
        rect.min,
        Align2::LEFT_TOP,
        "margin",
        style.label(),
        colours.faint,
    );
    let foot = style.small().size * 1.3;
    let plot = Rect::from_min_max(
        pos2(rect.left(), label.bottom() + style.px(4.0)),
        pos2(rect.right(), rect.bottom() - foot),
    );
    let most_ms = margin.delay_ms.last().copied().unwrap_or(1.0).max(1e-3);
    let place = |ms: f32, db: f32| -> Pos2 {
        pos2(
            plot.left() + plot.width() * (ms / most_ms).clamp(0.0, 1.0),
            plot.top() + plot.height() * (-db.clamp(-24.0, 0.0) / 24.0),
        )
    };
    ui.painter().hline(plot.x_range(), plot.top(), style.hairline());
    ui.painter()
        .hline(plot.x_range(), plot.bottom(), style.hairline());
    let line = |values: &[f32]| -> Vec<Pos2> {
        margin
            .delay_ms
            .iter()
            .zip(values)
            .map(|(&ms, &db)| place(ms, if db.is_nan() { -24.0 } else { db }))
            .collect()
    };
    ui.painter().add(Shape::line(
        line(&margin.straight_db),
        style.line(2.0, colours.dry),
    ));
    ui.painter().extend(Shape::dashed_line(
        &line(&margin.flipped_db),
        style.line(1.5, colours.dry),
        style.px(4.0),
        style.px(4.0),
    ));
    if let Some(ms) = margin.reach_ms {
        ui.painter()
            .vline(place(ms, 0.0).x, plot.y_range(), Stroke::new(1.0, colours.ink));
    }
    write(
        ui,
        pos2(plot.left(), rect.bottom()),
        Align2::LEFT_BOTTOM,
        "0",
        style.small(),
        colours.faint,
    );
    write(
        ui,
        pos2(plot.right(), rect.bottom()),
        Align2::RIGHT_BOTTOM,
        &format!("{most_ms:.0} ms late"),
        style.small(),
        colours.faint,
    );
    response.on_hover_text(format!(
        "How far the dry goes down when one line is late; dashed with that line flipped as well: {reach}."
    ));
}
