//! The whole window: its layout and its keys.

use egui::{Align2, Id, Key, Modifiers, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::{Board, FEEDS, Row};
use sumproof_core::session::take::Pass;

use crate::board::afar::afar;
use crate::board::compare::compare;
use crate::board::hearing::{explain, hearing};
use crate::board::{audition, board};
use crate::canvas::{Sheet, Word, button, choice, write_within};
use crate::data::check::CheckWish;
use crate::data::intent::{Intent, Setting};
use crate::data::look::Look;
use crate::data::snapshot::Snapshot;
use crate::panels::apart::apart;
use crate::panels::beside::{Beside, title};
use crate::panels::boxes::boxes;
use crate::panels::card::{CardSheet, card};
use crate::panels::help::help;
use crate::panels::line_check::{CheckSheet, any_key, line_check};
use crate::panels::lines::lines;
use crate::panels::notices::{PutAway, notices};
use crate::panels::own_feed::{OwnSheet, own_feed};
use crate::panels::setup::setup;
use crate::panels::straight::{asks_for_straight, set_straight, straight};
use crate::panels::takes::hands::{HandsSheet, hands};
use crate::panels::takes::set::{SetSheet, set};
use crate::panels::takes::{LeadsTo, Takes, is_recording, takes};
use crate::panels::why::why;
use crate::plots::axis::Axis;
use crate::plots::correlation::{Ribbon, correlation};
use crate::plots::curves::curves;
use crate::sentence::Sentence;
use crate::style::{Colours, Style, fonts, visuals};
use crate::widgets::field::Fields;
use crate::widgets::scroll::Scroll;
use crate::widgets::undo::Undo;

/// Default size of the window, logical points. Thirteen outcomes of 23 px, the sentence, the plots and the takes need
/// this much with space between them.
pub const DEFAULT_SIZE: (f32, f32) = (1280.0, 800.0);
/// Smallest size the views are laid out for, logical points.
pub const MIN_SIZE: (f32, f32) = (640.0, 420.0);

/// Below this size one page is shown at a time, logical points.
const ROOM_FOR_ALL: (f32, f32) = (1080.0, 660.0);
/// Printed figures are updated this often, s; strokes and curves with every frame.
const FIGURES_S: f64 = 0.25;

/// For this long after text was typed, keys count as more of it, s.
const TYPED_S: f64 = 0.5;

/// The pages of a small window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Page {
    #[default]
    Feeds,
    Lines,
    Boxes,
    Curves,
    Correlation,
    Takes,
    Set,
    Apart,
    Own,
    Check,
    Setup,
    /// The words for the rig card; opened from the setup.
    Card,
    /// Takes without hands; without a tab, opened from the takes.
    Hands,
    /// What marks and short words mean; opened from the word at the top.
    Help,
}

/// The tabs, with their pages.
const TABS: [(&str, Page); 11] = [
    ("feeds", Page::Feeds),
    ("lines", Page::Lines),
    ("boxes", Page::Boxes),
    ("curves", Page::Curves),
    ("correlation", Page::Correlation),
    ("takes", Page::Takes),
    ("set", Page::Set),
    ("dry and wet", Page::Apart),
    ("own feed", Page::Own),
    ("line check", Page::Check),
    ("setup", Page::Setup),
];

/// The printed figures, updated at intervals.
#[derive(Clone, Debug)]
struct Print {
    rows: [Row; FEEDS],
    at_s: f64,
}

/// The window's own state: nothing of the sound.
#[derive(Debug)]
pub struct Window {
    look: Look,
    prepared: bool,
    sentence: Sentence,
    print: Print,
    fields: Fields,
    takes: Takes,
    ribbon: Ribbon,
    away: PutAway,
    page: Page,
    beside: Beside,
    own: OwnSheet,
    card: CardSheet,
    hands: HandsSheet,
    set: SetSheet,
    /// The pass being recorded in the last frame.
    recorded: Option<Pass>,
    check: CheckSheet,
    /// Whether the line check is on the page.
    shows_check: bool,
    /// Whether the view for a player two metres away is shown.
    afar: bool,
    /// Time of the last typing, s: keys right after it are not meant for the board.
    typed_at: f64,
    undo: Undo,
    /// Scroll positions of why and what now, in its corner and on its sheet.
    why: [Scroll; 2],
    apart: Scroll,
    help: Scroll,
}

impl Default for Window {
    fn default() -> Self {
        Self::new(Look::default())
    }
}

impl Window {
    /// A window with this look.
    #[must_use]
    pub fn new(look: Look) -> Self {
        Self {
            look: look.clamped(),
            prepared: false,
            sentence: Sentence::default(),
            print: Print {
                rows: Board::empty_rows(),
                at_s: f64::NEG_INFINITY,
            },
            fields: Fields::default(),
            takes: Takes::default(),
            ribbon: Ribbon::default(),
            away: PutAway::default(),
            page: Page::default(),
            beside: Beside::default(),
            own: OwnSheet::default(),
            card: CardSheet::default(),
            hands: HandsSheet::default(),
            set: SetSheet::default(),
            recorded: None,
            check: CheckSheet::default(),
            shows_check: false,
            afar: false,
            typed_at: f64::NEG_INFINITY,
            undo: Undo::default(),
            why: [Scroll::default(); 2],
            apart: Scroll::default(),
            help: Scroll::default(),
        }
    }

    /// The present look.
    #[must_use]
    pub fn look(&self) -> Look {
        self.look
    }

    /// Whether text is being typed: only then may the window keep the space bar from the host.
    #[must_use]
    pub fn is_typing(&self) -> bool {
        self.fields.is_typing()
            || self.takes.is_typing()
            || self.own.is_typing()
            || self.card.is_typing()
            || self.hands.is_typing()
    }

    /// Whether the line check was on the page in the last frame: unless it was, the owner sends no signal and holds
    /// nothing back.
    #[must_use]
    pub fn attends_check(&self) -> bool {
        self.shows_check
    }

    /// Fonts, colours and scale. Call once for every new [`egui::Context`], before the first frame.
    pub fn prepare(&mut self, ctx: &egui::Context) {
        ctx.set_fonts(fonts());
        self.ribbon = Ribbon::default();
        self.apply(ctx);
    }

    /// Closes the window: ends a gesture in progress and frees what belonged to its context.
    pub fn close(&mut self, intents: &mut Vec<Intent>) {
        self.fields.abandon(intents);
        self.ribbon = Ribbon::default();
    }

    fn apply(&mut self, ctx: &egui::Context) {
        self.prepared = true;
        let visuals = visuals(self.look.theme);
        ctx.all_styles_mut(|style| {
            style.visuals = visuals.clone();
            style.animation_time = 0.0;
            style.interaction.tooltip_delay = 0.4;
            style.spacing.tooltip_width = 420.0;
            for font in style.text_styles.values_mut() {
                *font = egui::FontId::proportional(16.0);
            }
        });
        ctx.set_zoom_factor(self.look.zoom);
    }

    fn style(&self, size: egui::Vec2) -> Style {
        let compact = size.x < ROOM_FOR_ALL.0 || size.y < ROOM_FOR_ALL.1;
        let scale = if compact {
            (size.x / MIN_SIZE.0).min(size.y / MIN_SIZE.1).clamp(1.0, 1.4)
        } else {
            (size.x / DEFAULT_SIZE.0)
                .min(size.y / DEFAULT_SIZE.1)
                .clamp(0.85, 2.4)
        };
        Style {
            colours: Colours::of(self.look.theme),
            theme: self.look.theme,
            scale,
            compact,
        }
    }

    /// Draws everything into `ui` (the whole window) and adds the player's actions to `intents`.
    pub fn ui(&mut self, ui: &mut Ui, snapshot: &Snapshot, intents: &mut Vec<Intent>) {
        if snapshot.check.on && any_key(ui) {
            intents.push(Intent::Check(CheckWish::Stop));
        }
        if !self.is_typing() {
            // The space bar is the host's: no focused widget may take it for a click.
            ui.input_mut(|input| {
                input.count_and_consume_key(Modifiers::NONE, Key::Space);
            });
        }
        let area = ui.ctx().content_rect();
        let style = self.style(area.size());
        ui.painter().rect_filled(area, 0.0, style.colours.ground);
        self.renew(ui, snapshot);
        let before = intents.len();
        let mut sheet = Sheet {
            style,
            snapshot,
            intents,
        };
        let was_typing = self.is_typing();
        let was_shown = (self.beside, self.page);
        self.after_a_wet_pass(&mut sheet);
        let [beside, above] = if style.compact { [14.0, 8.0] } else { [24.0, 14.0] };
        let page = area.shrink2(vec2(style.px(beside), style.px(above)));
        self.shows_check = false;
        let (rest, usual_size) = if self.afar {
            afar(ui, &sheet, area, &self.print.rows);
            (page, None)
        } else {
            self.head(ui, &mut sheet, page)
        };
        let changed = if self.afar {
            None
        } else if style.compact {
            self.one_page(ui, &mut sheet, rest)
        } else {
            self.whole_sheet(ui, &mut sheet, rest)
        };
        if !self.afar && explain(ui, &sheet, banner(&style, page)) {
            self.show_help(style.compact);
        }
        notices(ui, &sheet, &mut self.away, page);
        if !self.shows_check {
            self.check.put_away();
            if snapshot.check.held || snapshot.check.on {
                sheet.intents.push(Intent::Check(CheckWish::Release));
            }
        }
        let now = ui.input(|input| input.time);
        if was_typing || self.is_typing() {
            self.typed_at = now;
        } else if now - self.typed_at >= TYPED_S {
            self.keys(ui, &mut sheet);
        }
        if was_shown != (self.beside, self.page) {
            // Drawn with the next frame.
            ui.ctx().request_repaint();
        }
        self.undo.watch(snapshot, &sheet.intents[before..]);
        let look = changed.or(usual_size).or_else(|| self.zoomed_by_keys(ui.ctx()));
        if let Some(look) = look {
            self.look = look.clamped();
            intents.push(Intent::Look(self.look));
            self.apply(ui.ctx());
            ui.ctx().request_repaint();
        }
    }

    /// After the last of the passes has been recorded, the next take is set to the full preset again.
    fn after_a_wet_pass(&mut self, sheet: &mut Sheet<'_>) {
        let now = is_recording(sheet.snapshot).then_some(sheet.snapshot.settings.pass);
        if now.is_none() && self.recorded == Some(Pass::Wet) && sheet.snapshot.settings.pass == Pass::Wet {
            sheet.set(Setting::Pass(Pass::Full));
        }
        self.recorded = now;
    }

    /// Draws what is heard, the lines' settings, and the sentence. Returns the rest of the page, and the new look if
    /// the usual size is asked for.
    fn head(&self, ui: &Ui, sheet: &mut Sheet<'_>, page: Rect) -> (Rect, Option<Look>) {
        let style = sheet.style;
        let place = banner(&style, page);
        let below = place.bottom();
        let (place, usual_size) = self.way_back_to_size(ui, &style, place);
        hearing(ui, sheet, place);
        let mut top = below + style.px(if style.compact { 4.0 } else { 10.0 });
        top += straight(ui, sheet, Rect::from_min_max(pos2(page.left(), top), page.max));
        top = self.verdict(ui, &style, Rect::from_min_max(pos2(page.left(), top), page.max));
        (Rect::from_min_max(pos2(page.left(), top), page.max), usual_size)
    }

    /// An enlarged window may reach beyond the screen, so the way back is at its first corner. Returns the rest of the
    /// place, and the new look if the usual size is asked for.
    fn way_back_to_size(&self, ui: &Ui, style: &Style, place: Rect) -> (Rect, Option<Look>) {
        if self.look.zoom <= 1.0 {
            return (place, None);
        }
        let word = Word {
            text: "size 1\u{d7}",
            name: "back to the usual size",
            tip: "Everything in its usual size again, should the window be larger than your screen.",
        };
        let (id, font) = (Id::unique("usual size"), style.body());
        let response = button(
            ui,
            style,
            id,
            place.left_center(),
            Align2::LEFT_CENTER,
            font,
            &word,
        );
        let rest = Rect::from_min_max(
            pos2(response.rect.right() + style.px(14.0), place.top()),
            place.max,
        );
        let look = response.clicked().then_some(Look {
            zoom: 1.0,
            ..self.look
        });
        (rest, look)
    }

    /// The toolkit's own keys (Ctrl with plus, minus and 0) change the scale on their own: the next of our scales in
    /// that direction is used.
    fn zoomed_by_keys(&self, ctx: &egui::Context) -> Option<Look> {
        let (now, ours) = (ctx.zoom_factor(), self.look.zoom);
        if !self.prepared || (now - ours).abs() < 0.01 {
            return None;
        }
        let mut larger = Look::ZOOMS.into_iter().filter(|zoom| *zoom > ours);
        let mut smaller = Look::ZOOMS.into_iter().rev().filter(|zoom| *zoom < ours);
        let zoom = if (now - 1.0).abs() < 0.01 {
            Some(1.0)
        } else if now > ours {
            larger.next()
        } else {
            smaller.next()
        };
        Some(Look {
            zoom: zoom.unwrap_or(ours),
            ..self.look
        })
    }

    /// Handles the keys while no text is typed.
    fn keys(&mut self, ui: &Ui, sheet: &mut Sheet<'_>) {
        keys(ui, sheet);
        if asks_for_straight(ui) {
            set_straight(sheet);
        }
        if ui.input(|input| input.key_pressed(Key::F7)) {
            self.show_help(sheet.style.compact);
            ui.ctx().request_repaint();
        }
        if ui.input(|input| input.key_pressed(Key::F6)) {
            self.show_set(sheet.style.compact);
            ui.ctx().request_repaint();
        }
        if ui.input(|input| input.key_pressed(Key::F5)) {
            self.afar = !self.afar;
            ui.ctx().request_repaint();
        } else if self.afar && escape(ui) {
            self.afar = false;
            ui.ctx().request_repaint();
            return;
        }
        if sheet.snapshot.settings.audition || !escape(ui) {
            return;
        }
        if self.beside != Beside::Plots {
            self.show(Beside::Plots);
        } else {
            self.takes.unpick();
        }
        match self.page {
            Page::Hands => {
                self.hands.put_away();
                self.page = Page::Takes;
            }
            Page::Card => {
                self.card.put_away();
                self.page = Page::Setup;
            }
            Page::Set | Page::Help => self.page = Page::Feeds,
            _ => {}
        }
        ui.ctx().request_repaint();
    }

    /// Updates the sentence with a new reading, and the printed figures when they are due.
    fn renew(&mut self, ui: &Ui, snapshot: &Snapshot) {
        let now = ui.input(|input| input.time);
        self.sentence.set_one_flipped(snapshot.settings.one_flipped());
        self.sentence
            .update(&snapshot.reading, snapshot.history.ever_heard(), now);
        if self.sentence.is_waiting() {
            ui.ctx()
                .request_repaint_after(std::time::Duration::from_secs_f64(FIGURES_S));
        }
        let rows = &snapshot.reading.rows;
        if *rows == self.print.rows {
            return;
        }
        let outcomes = |rows: &[Row; FEEDS]| rows.map(|row| (row.outcome, row.score.is_some()));
        let wait = self.print.at_s + FIGURES_S - now;
        if wait <= 0.0 || outcomes(rows) != outcomes(&self.print.rows) {
            self.print = Print {
                rows: *rows,
                at_s: now,
            };
        } else {
            // The last figures before a pause must still be printed.
            ui.ctx()
                .request_repaint_after(std::time::Duration::from_secs_f64(wait));
        }
    }

    /// Draws the sentence in two lines (three in a small window) that are always reserved, so that nothing moves when
    /// it changes. Returns its lower end.
    fn verdict(&self, ui: &Ui, style: &Style, rect: Rect) -> f32 {
        let font = style.sentence();
        let rows = if style.compact { 3 } else { 2 };
        let height = font.size * 1.24 * rows as f32;
        let place = Rect::from_min_size(rect.min, vec2(rect.width(), height));
        let response = ui.interact(place, Id::unique("sentence"), Sense::hover());
        let text = self.sentence.text();
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, text));
        write_within(ui, rect.min, rect.width(), rows, text, font, style.colours.ink);
        place.bottom() + style.px(if style.compact { 4.0 } else { 12.0 })
    }

    fn whole_sheet(&mut self, ui: &mut Ui, sheet: &mut Sheet<'_>, rect: Rect) -> Option<Look> {
        let style = sheet.style;
        let px = |at_default: f32| style.px(at_default);
        let foot = px(58.0);
        let strip = px(84.0);
        let gap = px(12.0);
        let left_width = (rect.width() * 0.655).clamp(px(700.0), px(1100.0));
        let foot_rect = Rect::from_min_max(pos2(rect.left(), rect.bottom() - foot), rect.max);
        // The takes lie below the board; the right side continues beside them, because advice needs the room.
        let strip_rect = Rect::from_min_max(
            pos2(rect.left(), foot_rect.top() - gap - strip),
            pos2(rect.left() + left_width, foot_rect.top() - gap),
        );
        let upper = Rect::from_min_max(rect.min, pos2(rect.right(), strip_rect.top() - gap));
        let left = Rect::from_min_size(upper.min, vec2(left_width, upper.height()));
        let right = Rect::from_min_max(
            pos2(left.right() + px(44.0), upper.top()),
            pos2(rect.right(), strip_rect.bottom()),
        );
        let lines_height = px(94.0);
        if self.beside == Beside::Set {
            let place = Rect::from_min_max(rect.min, pos2(rect.right(), foot_rect.top() - gap));
            self.set(ui, sheet, place);
            return self.foot(ui, sheet, foot_rect);
        }
        let board_rect = Rect::from_min_max(left.min, pos2(left.right(), left.bottom() - lines_height - gap));
        // Drawn first, so that the keyboard focus reaches 'record' first.
        let picked = self.takes.picked().to_vec();
        match takes(ui, sheet, &mut self.takes, strip_rect) {
            Some(LeadsTo::Hands) => self.show(Beside::Hands),
            Some(LeadsTo::Set) => self.show(Beside::Set),
            None => {}
        }
        if !self.takes.picked().is_empty() && self.takes.picked() != picked {
            // A take that is picked must be visible.
            self.show(Beside::Plots);
        }
        board(ui, sheet, board_rect, &self.print.rows);
        let lines_rect = Rect::from_min_max(pos2(left.left(), left.bottom() - lines_height), left.max);
        if lines(ui, sheet, &mut self.fields, &mut self.undo, lines_rect) {
            self.show(Beside::Boxes);
        }
        self.beside(ui, sheet, right, board_rect);
        ui.painter()
            .hline(left.x_range(), strip_rect.top() - gap / 2.0, style.hairline());
        self.foot(ui, sheet, foot_rect)
    }

    /// Draws the settings and the ways to the sheets. Returns the new look, if another is asked for.
    fn foot(&mut self, ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) -> Option<Look> {
        let style = sheet.style;
        ui.painter()
            .hline(rect.x_range(), rect.top() - style.px(6.0), style.hairline());
        let set_up = setup(ui, sheet, rect, self.look);
        if let Some(beside) = set_up.beside {
            self.show(beside);
        }
        set_up.look
    }

    /// The table of all takes.
    fn set(&mut self, ui: &mut Ui, sheet: &mut Sheet<'_>, rect: Rect) {
        let compact = sheet.style.compact;
        let asked = set(ui, sheet, &mut self.set, &mut self.takes, rect);
        match (asked.names, asked.compare, asked.done) {
            (true, ..) if compact => self.page = Page::Hands,
            (true, ..) => self.show(Beside::Hands),
            (_, true, _) if compact => self.page = Page::Takes,
            (_, true, _) | (.., true) => self.show(Beside::Plots),
            _ => {}
        }
    }

    /// Opens the explanations, or closes them if they are open.
    fn show_help(&mut self, compact: bool) {
        if !compact {
            self.show(Beside::Help);
        } else if self.page == Page::Help {
            self.page = Page::Feeds;
        } else {
            self.page = Page::Help;
        }
    }

    /// Opens the set, or closes it if it is open.
    fn show_set(&mut self, compact: bool) {
        if !compact {
            self.show(Beside::Set);
        } else if self.page == Page::Set {
            self.page = Page::Feeds;
        } else {
            self.page = Page::Set;
        }
    }

    /// Opens a sheet, or closes it if it is open.
    fn show(&mut self, beside: Beside) {
        self.own.put_away();
        self.card.put_away();
        self.hands.put_away();
        self.beside = if self.beside == beside {
            Beside::Plots
        } else {
            beside
        };
    }

    /// Draws the area at the right of the board.
    fn beside(&mut self, ui: &mut Ui, sheet: &mut Sheet<'_>, rect: Rect, board_rect: Rect) {
        if self.beside == Beside::Plots {
            if self.takes.picked().is_empty() {
                self.right_side(ui, sheet, rect);
            } else {
                let rows = (board_rect.top() + sheet.style.px(26.0), board_rect.bottom());
                compare(ui, sheet, rect, rows, false, self.takes.picked());
            }
            return;
        }
        let (body, mut done) = title(ui, sheet, rect, self.beside);
        match self.beside {
            // The set is drawn elsewhere.
            Beside::Plots | Beside::Set => {}
            Beside::Boxes => boxes(ui, sheet, body),
            Beside::Own => own_feed(ui, sheet, &mut self.fields, &mut self.own, body),
            Beside::Card => done |= card(ui, sheet, &mut self.card, body),
            Beside::Apart => apart(
                ui,
                sheet,
                &mut self.apart,
                self.takes.picked().last().copied(),
                body,
            ),
            Beside::Check => self.check(ui, sheet, body),
            Beside::Hands => hands(ui, sheet, &mut self.hands, body),
            Beside::Help => help(ui, sheet, &mut self.help, body),
            Beside::Why => {
                why(ui, sheet, &mut self.why[1], body, true);
            }
        }
        if done {
            self.show(Beside::Plots);
        }
    }

    fn check(&mut self, ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) {
        self.shows_check = true;
        line_check(ui, sheet, &mut self.check, rect);
    }

    fn right_side(&mut self, ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) {
        let style = sheet.style;
        let gap = style.px(10.0);
        let axis = Axis {
            left: rect.left() + style.px(42.0),
            right: rect.right() - style.px(4.0),
        };
        let why_height = (style.body().size * 1.25 * 9.0).min(rect.height() * 0.36);
        let plots = rect.height() - why_height - 2.0 * gap;
        let upper = Rect::from_min_size(rect.min, vec2(rect.width(), plots * 0.5));
        let lower = Rect::from_min_size(
            pos2(rect.left(), upper.bottom() + gap),
            vec2(rect.width(), plots * 0.5),
        );
        curves(ui, sheet, upper, &axis);
        correlation(ui, sheet, &mut self.ribbon, lower, &axis);
        let below = Rect::from_min_max(pos2(rect.left(), rect.bottom() - why_height), rect.max);
        if why(ui, sheet, &mut self.why[0], below, false) {
            self.show(Beside::Why);
        }
    }

    fn one_page(&mut self, ui: &mut Ui, sheet: &mut Sheet<'_>, rect: Rect) -> Option<Look> {
        let style = sheet.style;
        let tabs = style.body().size * 1.6;
        let at = pos2(rect.left(), rect.top() + tabs / 2.0);
        let tip = "Shows this page; in a larger window all of them are there at once.";
        let (page, _) = choice(ui, &style, Id::unique("page"), at, "page", tip, &TABS, self.page);
        if let Some(page) = page {
            self.own.put_away();
            self.card.put_away();
            self.hands.put_away();
            self.page = page;
        }
        ui.painter()
            .hline(rect.x_range(), rect.top() + tabs, style.hairline());
        let body = Rect::from_min_max(pos2(rect.left(), rect.top() + tabs + style.px(6.0)), rect.max);
        let axis = Axis {
            left: body.left() + style.px(42.0),
            right: body.right() - style.px(4.0),
        };
        match self.page {
            Page::Feeds => board(ui, sheet, body, &self.print.rows),
            Page::Lines => {
                let table =
                    Rect::from_min_size(body.min, vec2(body.width(), style.px(96.0).min(body.height())));
                let asked = lines(ui, sheet, &mut self.fields, &mut self.undo, table);
                let below = Rect::from_min_max(pos2(body.left(), table.bottom() + style.px(8.0)), body.max);
                why(ui, sheet, &mut self.why[0], below, false);
                if asked {
                    self.page = Page::Boxes;
                }
            }
            Page::Boxes => boxes(ui, sheet, body),
            Page::Apart => apart(
                ui,
                sheet,
                &mut self.apart,
                self.takes.picked().last().copied(),
                body,
            ),
            Page::Own => own_feed(ui, sheet, &mut self.fields, &mut self.own, body),
            Page::Check => self.check(ui, sheet, body),
            Page::Curves => curves(ui, sheet, body, &axis),
            Page::Correlation => correlation(ui, sheet, &mut self.ribbon, body, &axis),
            Page::Takes => self.takes_page(ui, sheet, body),
            Page::Set => self.set(ui, sheet, body),
            Page::Hands => hands(ui, sheet, &mut self.hands, body),
            Page::Help => help(ui, sheet, &mut self.help, body),
            Page::Card => {
                if card(ui, sheet, &mut self.card, body) {
                    self.card.put_away();
                    self.page = Page::Setup;
                }
            }
            Page::Setup => {
                let set_up = setup(ui, sheet, body, self.look);
                if set_up.beside == Some(Beside::Card) {
                    self.page = Page::Card;
                }
                return set_up.look;
            }
        }
        None
    }

    fn takes_page(&mut self, ui: &mut Ui, sheet: &mut Sheet<'_>, body: Rect) {
        let style = sheet.style;
        // During a comparison there is only room for their names.
        let height = if self.takes.picked().is_empty() {
            92.0
        } else {
            78.0
        };
        let strip = Rect::from_min_size(body.min, vec2(body.width(), style.px(height).min(body.height())));
        if takes(ui, sheet, &mut self.takes, strip).is_some() {
            self.page = Page::Hands;
        }
        if !self.takes.picked().is_empty() {
            let below = Rect::from_min_max(pos2(body.left(), strip.bottom()), body.max);
            let rows = (below.top() + style.px(22.0), below.bottom());
            compare(ui, sheet, below, rows, true, self.takes.picked());
        }
    }
}

/// The place that states what is heard and recorded.
fn banner(style: &Style, page: Rect) -> Rect {
    let height = style.px(if style.compact { 28.0 } else { 36.0 });
    Rect::from_min_size(page.min, vec2(page.width(), height))
}

/// Whether Escape closes a sheet, once there is no audition to end.
fn escape(ui: &Ui) -> bool {
    ui.input(|input| !input.modifiers.any() && input.key_pressed(Key::Escape))
}

/// Keys 1 to 9 and F1 to F4 audition a feed; 0 and Escape go back to stereo.
fn keys(ui: &Ui, sheet: &mut Sheet<'_>) {
    const KEYS: [Key; FEEDS] = [
        Key::Num1,
        Key::Num2,
        Key::Num3,
        Key::Num4,
        Key::Num5,
        Key::Num6,
        Key::Num7,
        Key::Num8,
        Key::Num9,
        Key::F1,
        Key::F2,
        Key::F3,
        Key::F4,
    ];
    let (digit, back) = ui.input(|input| {
        let plain = !input.modifiers.any();
        (
            KEYS.iter().position(|&key| plain && input.key_pressed(key)),
            plain && (input.key_pressed(Key::Num0) || input.key_pressed(Key::Escape)),
        )
    });
    if let Some(id) = digit.and_then(|digit| FeedId::ALL.get(digit)) {
        audition(sheet, *id);
    } else if back && sheet.snapshot.settings.audition {
        sheet.set(Setting::Audition(false));
    }
}
