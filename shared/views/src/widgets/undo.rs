//! Undo of the last change of lines and settings.

use crate::canvas::Sheet;
use crate::data::intent::{Control, Intent, Setting};
use crate::data::snapshot::{Settings, Snapshot};

/// The values before the last change.
#[derive(Clone, Debug, Default)]
pub struct Undo {
    before: Vec<Intent>,
    /// The controls that were changed, while their gesture may go on.
    open: Vec<Control>,
    /// Whether the next intents are the undo's own, which are not recorded.
    undoing: bool,
}

/// The setting of a control. `None` for controls that act at once and can't be undone by another value.
fn as_it_was(settings: &Settings, control: Control) -> Option<Setting> {
    Some(match control {
        Control::Polarity(side) => Setting::Flipped(side, settings.line(side).flipped),
        Control::Gain(side) => Setting::GainDb(side, settings.line(side).gain_db),
        Control::Delay(side) => Setting::DelayMs(side, settings.line(side).delay_ms),
        Control::Corner(side) => Setting::CornerHz(side, settings.line(side).corner_hz),
        Control::Unplugged(side) => Setting::Unplugged(side, settings.line(side).unplugged),
        Control::Law => Setting::Law(settings.law),
        Control::LoudnessMatch => Setting::LoudnessMatch(settings.loudness_match),
        Control::Integration => Setting::Integration(settings.integration),
        Control::AuditionInBounces => Setting::AuditionInBounces(settings.audition_in_bounces),
        Control::Preset => Setting::Preset(settings.preset),
        Control::Straight => Setting::Straight(settings.straight),
        Control::Audition | Control::Feed | Control::Record | Control::Pass | Control::TakesByPhrase => {
            return None;
        }
    })
}

impl Undo {
    /// Whether there is a change to undo.
    pub fn is_possible(&self) -> bool {
        !self.before.is_empty()
    }

    /// Undoes the last change; called again, it restores that change.
    pub fn back(&mut self, sheet: &mut Sheet<'_>) {
        for intent in std::mem::take(&mut self.before) {
            match intent {
                Intent::Set(setting) => sheet.set(setting),
                other => sheet.intents.push(other),
            }
        }
        self.open.clear();
        self.undoing = true;
    }

    /// Records the changes of this frame.
    pub fn watch(&mut self, snapshot: &Snapshot, intents: &[Intent]) {
        if std::mem::take(&mut self.undoing) {
            return;
        }
        let (mut changed, mut before) = (Vec::new(), Vec::new());
        for intent in intents {
            match intent {
                Intent::Set(setting) => {
                    let control = setting.control();
                    if let Some(was) = as_it_was(&snapshot.settings, control).filter(|was| was != setting)
                        && !changed.contains(&control)
                    {
                        changed.push(control);
                        before.push(Intent::Set(was));
                    }
                }
                Intent::Box(side, _) => before.push(Intent::Box(*side, snapshot.boxes.on(*side))),
                Intent::OwnFeed(_) => before.push(Intent::OwnFeed(snapshot.own.clone())),
                Intent::Limits(_) => before.push(Intent::Limits(snapshot.limits)),
                _ => {}
            }
        }
        // A drag that goes on keeps its starting value for the undo.
        if !before.is_empty() && (changed.is_empty() || changed != self.open) {
            self.before = before;
            self.open = changed;
        }
        let ended = |control: &Control| intents.contains(&Intent::End(*control));
        self.open.retain(|control| !ended(control));
    }
}

#[cfg(test)]
mod tests {
    use sumproof_core::routing::feed::Side;

    use super::*;

    fn gesture(setting: Setting) -> Vec<Intent> {
        let control = setting.control();
        vec![Intent::Begin(control), Intent::Set(setting), Intent::End(control)]
    }

    #[test]
    fn the_last_change_is_taken_back_as_a_whole() {
        let mut undo = Undo::default();
        let mut snapshot = Snapshot::default();
        assert!(!undo.is_possible());
        // Controls that act at once are not recorded.
        undo.watch(&snapshot, &gesture(Setting::Audition(true)));
        assert!(!undo.is_possible());
        // A drag over three frames is undone to its starting value.
        let control = Control::Gain(Side::Left);
        undo.watch(&snapshot, &[Intent::Begin(control)]);
        for gain_db in [-1.0, -2.0, -3.0] {
            undo.watch(&snapshot, &[Intent::Set(Setting::GainDb(Side::Left, gain_db))]);
            snapshot.settings.left.gain_db = gain_db;
        }
        undo.watch(&snapshot, &[Intent::End(control)]);
        assert_eq!(undo.before, [Intent::Set(Setting::GainDb(Side::Left, 0.0))]);
        // Another drag of the same control is another change.
        undo.watch(&snapshot, &gesture(Setting::GainDb(Side::Left, -6.0)));
        assert_eq!(undo.before, [Intent::Set(Setting::GainDb(Side::Left, -3.0))]);
        // Several changes at once are undone at once.
        snapshot.settings.left.flipped = true;
        let both = [
            gesture(Setting::Flipped(Side::Left, false)),
            gesture(Setting::GainDb(Side::Left, 0.0)),
            vec![Intent::Box(Side::Left, None)],
        ]
        .concat();
        undo.watch(&snapshot, &both);
        assert_eq!(undo.before.len(), 3);
    }
}
