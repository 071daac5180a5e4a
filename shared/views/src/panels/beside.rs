//! The area at the right of the board: the plots, or a sheet of settings in their place.

use egui::{Align2, Id, Rect, Ui, pos2};

use crate::canvas::{Sheet, Word, button, write};

/// The contents of that area.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Beside {
    /// Sum difference, correlation, why and what now; or the takes being compared.
    #[default]
    Plots,
    /// The kinds of box on the lines.
    Boxes,
    /// The user's own feed and the limits.
    Own,
    /// How dry and wet are told apart, and the passes for an exact split.
    Apart,
    /// The player's words for the rig card.
    Card,
    /// The line check.
    Check,
    /// Why and what now, in full.
    Why,
    /// Taking takes without hands.
    Hands,
    /// What marks and short words mean.
    Help,
    /// The set, which takes the place of the board and of everything beside it.
    Set,
}

impl Beside {
    /// The sheet's title.
    pub fn title(self) -> &'static str {
        match self {
            Self::Plots | Self::Set => "",
            Self::Boxes => "how your lines reach the desk",
            Self::Own => "your own feed, and the limits",
            Self::Apart => "how dry and wet are told apart",
            Self::Card => "what stands on the rig card",
            Self::Check => "what the venue\u{2019}s lines do",
            Self::Why => "why, and what now",
            Self::Hands => "takes without hands",
            Self::Help => "what marks and short words mean",
        }
    }
}

/// Writes a sheet's title and the word that closes it. Returns the rest of `rect`, and whether it was closed.
pub fn title(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, beside: Beside) -> (Rect, bool) {
    let style = sheet.style;
    let base = rect.top() + style.px(26.0);
    let y = base - style.px(4.0);
    write(
        ui,
        pos2(rect.left(), y),
        Align2::LEFT_BOTTOM,
        beside.title(),
        style.label(),
        style.colours.faint,
    );
    let word = Word {
        text: "done",
        name: "done with this sheet",
        tip: "Puts this sheet away: the curves come back.",
    };
    let response = button(
        ui,
        &style,
        Id::unique("sheet done"),
        pos2(rect.right(), y + style.px(2.0)),
        Align2::RIGHT_BOTTOM,
        style.body(),
        &word,
    );
    ui.painter().hline(rect.x_range(), base, style.hairline());
    let left = Rect::from_min_max(pos2(rect.left(), base + style.px(8.0)), rect.max);
    (left, response.clicked())
}
