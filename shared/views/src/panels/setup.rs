//! Settings of the readings and of the look, which are set once and left.

use egui::{Align2, Id, Rect, Ui, pos2};
use sumproof_core::routing::feed::SumLaw;

use crate::canvas::{Sheet, Word, button, choice, write};
use crate::data::intent::{Intent, Setting};
use crate::data::look::{Look, Theme};
use crate::data::snapshot::Integration;
use crate::panels::beside::Beside;
use crate::text::as_text;

/// One setting, in words.
struct Item<T: 'static> {
    what: &'static str,
    tip: &'static str,
    choices: &'static [(&'static str, T)],
}

const LAW: Item<SumLaw> = Item {
    what: "a sum is",
    tip: "How a mono feed adds both lines: half of each, as a passive sum does; 3 dB less of each; or each in full, two \
          faders on one bus. Outcomes don't depend on it, because a fader gives level back; the column LU does.",
    choices: &[
        ("half of each", SumLaw::Average),
        ("\u{2212}3 dB", SumLaw::Minus3Db),
        ("all of each", SumLaw::Unity),
    ],
};
const INTEGRATION: Item<Integration> = Item {
    what: "read over",
    tip: "What a reading looks at: all you have played since you last paused (the last half minute of a long phrase), which \
          stands until you play again; or only the last seconds of it.",
    choices: &[
        ("phrase", Integration::Phrase),
        ("3 s", Integration::Long),
        ("1 s", Integration::Medium),
    ],
};
const MATCH: Item<bool> = Item {
    what: "hear it",
    tip: "As loud as it arrives there, or brought to the loudness of stereo (at most 12 dB up) to compare the tone. \
          Matching hides the loss.",
    choices: &[("as it arrives", false), ("matched", true)],
};
const BOUNCES: Item<bool> = Item {
    what: "a bounce gets",
    tip: "What a bounce or a recording gets while a feed is being heard: stereo, or the feed. For this session only.",
    choices: &[("stereo", false), ("the feed", true)],
};
const THEME: Item<Theme> = Item {
    what: "look",
    tip: "Ink on paper, or the reverse for a dark stage.",
    choices: &[("paper", Theme::Paper), ("night", Theme::Night)],
};
const ZOOM: Item<f32> = Item {
    what: "size",
    tip: "The size of everything in this window.",
    choices: &[("1\u{d7}", 1.0), ("1.5\u{d7}", 1.5), ("2\u{d7}", 2.0)],
};

/// Position of the next item: along a line, or down a page.
struct Place {
    rect: Rect,
    x: f32,
    y: f32,
    down: bool,
}

impl Place {
    fn item<T: Copy + PartialEq>(
        &mut self,
        ui: &Ui,
        sheet: &Sheet<'_>,
        item: &Item<T>,
        current: T,
    ) -> Option<T> {
        let style = sheet.style;
        let label = write(
            ui,
            pos2(self.x, self.y),
            Align2::LEFT_CENTER,
            item.what,
            style.label(),
            style.colours.faint,
        );
        let from = if self.down {
            self.rect.left() + style.px(120.0)
        } else {
            label.right() + style.px(7.0)
        };
        let (made, end) = choice(
            ui,
            &style,
            Id::unique(item.what),
            pos2(from, self.y),
            item.what,
            item.tip,
            item.choices,
            current,
        );
        if self.down {
            self.y += style.body().size * 1.75;
        } else {
            self.x = end + style.px(14.0);
        }
        made
    }

    fn word(&mut self, ui: &Ui, sheet: &Sheet<'_>, id: &'static str, word: &Word<'_>) -> bool {
        let style = sheet.style;
        let response = button(
            ui,
            &style,
            Id::unique(id),
            pos2(self.x, self.y),
            Align2::LEFT_CENTER,
            style.body(),
            word,
        );
        // Words follow one another in either layout.
        self.x = response.rect.right() + style.px(if self.down { 24.0 } else { 18.0 });
        response.clicked()
    }
}

/// Results of the settings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SetUp {
    /// The look, if it was changed.
    pub look: Option<Look>,
    /// A sheet that was opened.
    pub beside: Option<Beside>,
}

/// Draws the settings along a line (the foot of the window) or down a page.
pub fn setup(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, look: Look) -> SetUp {
    let down = sheet.style.compact;
    let step = sheet.style.body().size * 1.75;
    let mut place = Place {
        rect,
        x: rect.left(),
        y: if down {
            rect.top() + step / 2.0
        } else {
            rect.top() + rect.height() * 0.27
        },
        down,
    };
    let settings = sheet.snapshot.settings;
    if let Some(law) = place.item(ui, sheet, &LAW, settings.law) {
        sheet.set(Setting::Law(law));
    }
    if let Some(time) = place.item(ui, sheet, &INTEGRATION, settings.integration) {
        sheet.set(Setting::Integration(time));
    }
    if let Some(on) = place.item(ui, sheet, &MATCH, settings.loudness_match) {
        sheet.set(Setting::LoudnessMatch(on));
    }
    if let Some(on) = place.item(ui, sheet, &BOUNCES, settings.audition_in_bounces) {
        sheet.set(Setting::AuditionInBounces(on));
    }
    if !down {
        place.x = rect.left();
        place.y = rect.top() + rect.height() * 0.77;
    }
    let theme = place.item(ui, sheet, &THEME, look.theme);
    let zoom = place.item(ui, sheet, &ZOOM, look.zoom);
    let again = Word {
        text: "start over",
        name: "start the readings over",
        tip: "Forgets what was heard so far and begins anew. Takes stay.",
    };
    if place.word(ui, sheet, "start over", &again) {
        sheet.intents.push(Intent::Reset);
    }
    let copy = Word {
        text: "copy as text",
        name: "copy all readings as text",
        tip: "Puts everything this window says on the clipboard, as text: for a note, a mail, or a screen reader.",
    };
    if place.word(ui, sheet, "copy as text", &copy) {
        ui.ctx().copy_text(as_text(sheet.snapshot));
    }
    files(ui, sheet, &mut place);
    SetUp {
        look: (theme.is_some() || zoom.is_some()).then(|| Look {
            theme: theme.unwrap_or(look.theme),
            zoom: zoom.unwrap_or(look.zoom),
        }),
        beside: card(ui, sheet, &mut place).or(if down { None } else { sheets(ui, sheet, &mut place) }),
    }
}

fn files(ui: &Ui, sheet: &mut Sheet<'_>, place: &mut Place) {
    if !sheet.snapshot.can_export {
        return;
    }
    let export = Word {
        text: "export takes",
        name: "export all takes and the rig card",
        tip: "Writes all your takes to a file, for another project, another computer or the command, and beside it the rig \
              card, the page for the sound engineer, and a rig file. It says where.",
    };
    if !sheet.snapshot.takes.is_empty() && place.word(ui, sheet, "export", &export) {
        sheet.intents.push(Intent::ExportTakes);
    }
    let import = Word {
        text: "import takes",
        name: "import takes from the folder",
        tip: "Reads the takes in the files you have put in the import folder (exported here, or written by the command), and \
              adds those you don\u{2019}t have yet; from a rig file there, the feed of your own and your words for the rig \
              card. It says where the folder is.",
    };
    if place.word(ui, sheet, "import takes", &import) {
        sheet.intents.push(Intent::ImportTakes);
    }
}

/// Draws the word that opens the words for the rig card, in a window of any size.
fn card(ui: &Ui, sheet: &Sheet<'_>, place: &mut Place) -> Option<Beside> {
    let card = Word {
        text: "rig card",
        name: "what stands on the rig card",
        tip: "What you say to the sound engineer: who plays and where, what you wish to hear, what your lines and outputs are. Kept with the project.",
    };
    place.word(ui, sheet, "card sheet", &card).then_some(Beside::Card)
}

/// Draws the words for the sheets that replace the curves; a small window has pages for them.
fn sheets(ui: &Ui, sheet: &Sheet<'_>, place: &mut Place) -> Option<Beside> {
    let own = Word {
        text: "own feed and limits",
        name: "your own feed, and the limits",
        tip: "A feed of your own beside the twelve, and where you draw the line between holds, thins and drops out.",
    };
    let apart = Word {
        text: "dry and wet",
        name: "how dry and wet are told apart",
        tip: "How dry and wet are told apart now, and the way to an exact split: the same part recorded two or three times.",
    };
    let check = Word {
        text: "line check",
        name: "what the venue\u{2019}s lines do: the line check",
        tip: "At the sound check: sends a test signal on your two lines, listens to what arrives, and says what the lines do.",
    };
    let mut asked = None;
    if place.word(ui, sheet, "own sheet", &own) {
        asked = Some(Beside::Own);
    }
    if place.word(ui, sheet, "apart sheet", &apart) {
        asked = Some(Beside::Apart);
    }
    if place.word(ui, sheet, "check sheet", &check) {
        asked = Some(Beside::Check);
    }
    asked
}
