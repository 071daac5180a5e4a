//! Carries out the user's actions in the window: parameters as gestures for the host, takes in the analysis.

use std::sync::Arc;

use nice_plug::context::gui::GuiContext;
use nice_plug::params::internals::ParamPtr;
use nice_plug::prelude::Param;
use sumproof_core::routing::feed::Side;
use sumproof_views::{CheckWish, Control, Intent, Setting};

use crate::analysis::engine::Analysis;
use crate::bridge::shared::Shared;
use crate::fields::PluginParams;
use crate::files::folder;
use crate::files::tasks::FileTasks;
use crate::parameters::arming::Switches;
use crate::parameters::choices::Listed;
use crate::parameters::params::{HostParams, LineParams};
use crate::state::names::Names;

/// The user's actions in one window.
pub struct Hand {
    gui: GuiContext,
    params: Arc<PluginParams>,
    analysis: Analysis,
    file_tasks: Arc<FileTasks>,
    shared: Arc<Shared>,
    /// Gestures begun and not ended.
    held: Vec<Control>,
}

impl Hand {
    /// For a window that has just opened.
    pub fn new(
        gui: GuiContext,
        params: Arc<PluginParams>,
        analysis: Analysis,
        file_tasks: Arc<FileTasks>,
        shared: Arc<Shared>,
    ) -> Self {
        Self {
            gui,
            params,
            analysis,
            file_tasks,
            shared,
            held: Vec::new(),
        }
    }

    /// Carries out one intent.
    pub fn carry_out(&mut self, intent: Intent) {
        match intent {
            Intent::Begin(control) => self.begin(control),
            Intent::Set(setting) => self.set(setting),
            Intent::End(control) => self.end(control),
            Intent::Look(_) => {}
            // Files are read and written on other threads, without the engine's lock.
            Intent::ExportTakes => self.file_tasks.export_takes(&self.analysis, folder::folder()),
            Intent::ImportTakes => self.file_tasks.import_takes(&self.analysis, folder::folder()),
            Intent::Check(wish) => self.check(wish),
            Intent::LearnPedal(task) => self.shared.pedals.learn(task.map(|task| task as usize)),
            Intent::ForgetPedal(task) => self.shared.pedals.bind(task as usize, None),
            other => self.on_takes(other),
        }
    }

    /// Ending a line check never waits for the analysis.
    fn check(&self, wish: CheckWish) {
        match wish {
            CheckWish::Hold => self.shared.switch.hold(),
            CheckWish::Send(settings) => self.analysis.lock().send_check(settings),
            CheckWish::Stop => self.shared.switch.stop(),
            CheckWish::Release => self.shared.switch.release(),
            CheckWish::Save => self.analysis.lock().save_check(),
        }
    }

    /// Ends all open gestures, and any signal.
    pub fn let_go(&mut self) {
        self.shared.switch.release();
        while let Some(control) = self.held.last().copied() {
            self.end(control);
        }
    }

    fn begin(&mut self, control: Control) {
        if self.held.contains(&control) {
            return;
        }
        self.held.push(control);
        // SAFETY: a parameter of `self.params`, which the wrapper keeps as long as its window.
        unsafe {
            self.gui
                .raw_begin_set_parameter(param(&self.params.host, control))
        };
    }

    fn end(&mut self, control: Control) {
        let before = self.held.len();
        self.held.retain(|held| *held != control);
        if self.held.len() == before {
            return;
        }
        // SAFETY: as in `begin`.
        unsafe { self.gui.raw_end_set_parameter(param(&self.params.host, control)) };
    }

    /// A switch set in the window is deliberate, even if a loaded state had switched it on before.
    fn arm(&self, setting: Setting) {
        self.shared.arming.arm(Switches {
            audition: matches!(setting, Setting::Audition(_)),
            in_bounces: matches!(setting, Setting::AuditionInBounces(_)),
            record: matches!(setting, Setting::Record(_)),
            takes_by_phrase: matches!(setting, Setting::TakesByPhrase(_)),
        });
    }

    /// A value outside a gesture gets a gesture of its own, so that the host receives it all the same.
    fn set(&mut self, setting: Setting) {
        self.arm(setting);
        let control = setting.control();
        let alone = !self.held.contains(&control);
        if alone {
            self.begin(control);
        }
        self.put(setting);
        if alone {
            self.end(control);
        }
    }

    fn put(&self, setting: Setting) {
        let plain = plain(setting);
        if !plain.is_finite() {
            return;
        }
        let param = param(&self.params.host, setting.control());
        // SAFETY: as in `begin`. The value goes through the normalised value, so that host and plugin hold the same
        // snapped number.
        unsafe {
            self.gui
                .raw_set_parameter_normalized(param, param.preview_normalized(plain))
        };
    }

    fn on_takes(&self, intent: Intent) {
        let mut engine = self.analysis.lock();
        match intent {
            Intent::Reset => engine.reset(),
            Intent::RenameTake { index, name } => {
                engine.takes_mut().rename(index, &name);
            }
            Intent::TakeKind { index, kind } => {
                engine.takes_mut().set_kind(index, kind);
            }
            Intent::MoveTake { from, to } => {
                engine.takes_mut().move_to(from, to);
            }
            Intent::DeleteTake(index) => {
                engine.takes_mut().remove(index);
            }
            Intent::UndoDelete => {
                engine.takes_mut().bring_back();
            }
            Intent::OwnFeed(own) => {
                engine.set_own(own.feed);
                engine.set_own_name(&own.name);
            }
            Intent::Card(card) => engine.set_card(*card),
            Intent::Limits(limits) => engine.set_limits(limits),
            Intent::TakePhrase => engine.take_phrase(),
            Intent::Names(list) => {
                let mut names = Names::new(list.names.iter().map(String::as_str));
                names.go_to(list.next);
                engine.set_names(names);
            }
            Intent::Box(side, kind) => {
                let mut boxes = engine.boxes();
                match side {
                    Side::Left => boxes.left = kind,
                    Side::Right => boxes.right = kind,
                }
                engine.set_boxes(boxes);
            }
            Intent::ExportTakes
            | Intent::ImportTakes
            | Intent::Begin(_)
            | Intent::Set(_)
            | Intent::End(_)
            | Intent::Check(_)
            | Intent::LearnPedal(_)
            | Intent::ForgetPedal(_)
            | Intent::Look(_) => return,
        }
        engine.show_now();
    }
}

fn param(host: &HostParams, control: Control) -> ParamPtr {
    match control {
        Control::Audition => host.audition.as_ptr(),
        Control::Feed => host.feed.as_ptr(),
        Control::Polarity(side) => line(host, side).polarity.as_ptr(),
        Control::Gain(side) => line(host, side).gain_db.as_ptr(),
        Control::Delay(side) => line(host, side).delay_ms.as_ptr(),
        Control::Corner(side) => line(host, side).corner_hz.as_ptr(),
        Control::Unplugged(side) => line(host, side).unplugged.as_ptr(),
        Control::Law => host.law.as_ptr(),
        Control::LoudnessMatch => host.loudness_match.as_ptr(),
        Control::Integration => host.integration.as_ptr(),
        Control::Record => host.record.as_ptr(),
        Control::Pass => host.pass.as_ptr(),
        Control::Preset => host.preset.as_ptr(),
        Control::AuditionInBounces => host.audition_in_bounces.as_ptr(),
        Control::TakesByPhrase => host.takes_by_phrase.as_ptr(),
        Control::Straight => host.straight.as_ptr(),
    }
}

/// A value in its parameter's plain units: switches 0 and 1, lists by index, numbers as they are.
fn plain(setting: Setting) -> f32 {
    match setting {
        Setting::Audition(on)
        | Setting::LoudnessMatch(on)
        | Setting::Record(on)
        | Setting::AuditionInBounces(on)
        | Setting::TakesByPhrase(on)
        | Setting::Straight(on)
        | Setting::Flipped(_, on)
        | Setting::Unplugged(_, on) => f32::from(u8::from(on)),
        Setting::GainDb(_, value) | Setting::DelayMs(_, value) | Setting::CornerHz(_, value) => value,
        Setting::Feed(id) => id.index() as f32,
        Setting::Law(law) => law.index() as f32,
        Setting::Integration(time) => time.index() as f32,
        Setting::Pass(pass) => pass.index() as f32,
        Setting::Preset(kind) => kind.index() as f32,
    }
}

fn line(host: &HostParams, side: Side) -> &LineParams {
    match side {
        Side::Left => &host.left,
        Side::Right => &host.right,
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use nice_plug::context::PluginApi;
    use nice_plug::context::gui::GuiContextInner;
    use nice_plug::plugin::PluginState;
    use nice_plug::prelude::Params;
    use sumproof_core::routing::feed::{FeedId, SumLaw};
    use sumproof_core::score::rig::Rig;
    use sumproof_core::session::take::Pass;
    use sumproof_core::split::kind::PresetKind;
    use sumproof_views::Integration;
    use triple_buffer::triple_buffer;

    use super::*;
    use crate::analysis::engine::{Engine, Links};

    /// A host that records what the window does to parameters, and sets them.
    struct Host {
        params: Arc<HostParams>,
        noted: Mutex<Vec<String>>,
    }

    impl Host {
        fn note(&self, what: &str, param: ParamPtr) {
            let map = self.params.param_map();
            let id = map
                .iter()
                .find(|(_, pointer, _)| *pointer == param)
                .map(|(id, _, _)| id.clone());
            let id = id.expect("one of the parameters");
            self.noted
                .lock()
                .expect("nobody panics here")
                .push(format!("{what} {id}"));
        }
    }

    impl GuiContextInner for Host {
        fn plugin_api(&self) -> PluginApi {
            PluginApi::Clap
        }

        unsafe fn raw_begin_set_parameter(&self, param: ParamPtr) {
            self.note("begin", param);
        }

        unsafe fn raw_set_parameter_normalized(&self, param: ParamPtr, normalized: f32) {
            self.note("set", param);
            // SAFETY: the parameter is one of `params`, which is alive.
            unsafe { param._internal_set_normalized_value(normalized) };
        }

        unsafe fn raw_end_set_parameter(&self, param: ParamPtr) {
            self.note("end", param);
        }

        fn get_state(&self) -> PluginState {
            panic!("the window takes no states")
        }

        fn set_state(&self, _state: PluginState) {
            panic!("the window sets no states: the framework would decode them in the audio callback")
        }

        fn request_restart(&self) {
            panic!("the window restarts nothing")
        }
    }

    fn hand() -> (Hand, Arc<Host>) {
        let params = Arc::new(HostParams::default());
        let shared = Arc::new(Shared::default());
        let analysis = Analysis::new(Engine::new(Links {
            params: Arc::clone(&params),
            shared: Arc::clone(&shared),
            own: triple_buffer(&Rig::default().own).0,
            published: triple_buffer(&crate::bridge::published::Published::default()).0,
            repaint: nice_plug_egui::RepaintNotifier::new(),
        }));
        let host = Arc::new(Host {
            params: Arc::clone(&params),
            noted: Mutex::default(),
        });
        let gui = GuiContext::new(host.clone());
        (
            Hand::new(
                gui,
                Arc::new(PluginParams::new(params, &analysis)),
                analysis,
                Arc::default(),
                shared,
            ),
            host,
        )
    }

    fn noted(host: &Host) -> Vec<String> {
        std::mem::take(&mut *host.noted.lock().expect("nobody panics here"))
    }

    #[test]
    fn every_setting_reaches_its_parameter_in_a_gesture() {
        let settings = [
            (Setting::Audition(true), "aud"),
            (Setting::Feed(FeedId::MonoSubs), "feed"),
            (Setting::Flipped(Side::Left, true), "l_pol"),
            (Setting::Flipped(Side::Right, true), "r_pol"),
            (Setting::GainDb(Side::Left, -20.0), "l_gain"),
            (Setting::GainDb(Side::Right, 3.5), "r_gain"),
            (Setting::DelayMs(Side::Left, 0.4), "l_del"),
            (Setting::DelayMs(Side::Right, 30.0), "r_del"),
            (Setting::CornerHz(Side::Left, 30.0), "l_hp"),
            (Setting::CornerHz(Side::Right, 200.0), "r_hp"),
            (Setting::Unplugged(Side::Left, true), "l_unp"),
            (Setting::Unplugged(Side::Right, true), "r_unp"),
            (Setting::Law(SumLaw::Unity), "law"),
            (Setting::LoudnessMatch(true), "match"),
            (Setting::Integration(Integration::Long), "integ"),
            (Setting::Record(true), "rec"),
            (Setting::Pass(Pass::Wet), "kind"),
            (Setting::Preset(PresetKind::TwoTakes), "preset"),
            (Setting::AuditionInBounces(true), "audbnc"),
            (Setting::TakesByPhrase(true), "auto"),
            (Setting::Straight(false), "straight"),
        ];
        let (mut hand, host) = hand();
        for (setting, id) in settings {
            let control = setting.control();
            for intent in [
                Intent::Begin(control),
                Intent::Set(setting),
                Intent::Set(setting),
                Intent::End(control),
            ] {
                hand.carry_out(intent);
            }
            assert_eq!(
                noted(&host),
                [
                    format!("begin {id}"),
                    format!("set {id}"),
                    format!("set {id}"),
                    format!("end {id}")
                ]
            );
        }
        let now = crate::parameters::settings::Settings::read(&host.params);
        assert!(now.audition && now.loudness_match && now.record && now.audition_in_bounces);
        assert_eq!(
            (now.feed, now.law, now.pass, now.preset, now.integration_s),
            (
                FeedId::MonoSubs,
                SumLaw::Unity,
                Pass::Wet,
                PresetKind::TwoTakes,
                3.0
            )
        );
        let (left, right) = (now.lines.left, now.lines.right);
        assert_eq!(
            (
                left.gain_db,
                right.gain_db,
                left.high_pass_hz[0],
                right.high_pass_hz[0]
            ),
            (-20.0, 3.5, 30.0, 200.0)
        );
        assert!((left.delay_s - 0.0004).abs() < 1e-9 && (right.delay_s - 0.030).abs() < 1e-9);
        assert!(left.unplugged && right.unplugged && left.amplitude() == 0.0);
    }

    #[test]
    fn what_is_no_parameter_reaches_the_analysis() {
        use sumproof_core::routing::boxes::Kind;
        use sumproof_core::routing::feed::Feed;
        use sumproof_core::score::outcome::Limits;
        use sumproof_views::{Boxes, OwnFeed};

        let (mut hand, host) = hand();
        let mut feed: Feed = Rig::default().own;
        feed.left.gain_db = -12.0;
        let own = OwnFeed {
            name: String::from(" side\nfill "),
            feed,
        };
        let limits = Limits {
            dry_holds_db: -3.0,
            ..Limits::default()
        };
        hand.carry_out(Intent::OwnFeed(own));
        hand.carry_out(Intent::Limits(limits));
        hand.carry_out(Intent::Box(Side::Right, Some(Kind::LineIsolator)));
        let engine = hand.analysis.lock();
        assert_eq!(
            engine.own_feed(),
            OwnFeed {
                name: String::from("sidefill"),
                feed
            }
        );
        assert_eq!(engine.limits(), limits);
        let boxes = Boxes {
            left: None,
            right: Some(Kind::LineIsolator),
        };
        assert_eq!(engine.boxes(), boxes);
        assert!(noted(&host).is_empty());
    }

    #[test]
    fn gestures_are_whole_whatever_the_window_does() {
        let (mut hand, host) = hand();
        hand.carry_out(Intent::Set(Setting::Audition(true)));
        assert_eq!(noted(&host), ["begin aud", "set aud", "end aud"]);
        hand.carry_out(Intent::End(Control::Law));
        assert!(noted(&host).is_empty());
        hand.carry_out(Intent::Begin(Control::Gain(Side::Left)));
        hand.carry_out(Intent::Begin(Control::Gain(Side::Left)));
        hand.carry_out(Intent::Begin(Control::Feed));
        // The window closes in the middle of a gesture.
        hand.let_go();
        hand.let_go();
        assert_eq!(
            noted(&host),
            ["begin l_gain", "begin feed", "end feed", "end l_gain"]
        );
    }

    #[test]
    fn what_is_no_number_is_not_set() {
        let (mut hand, host) = hand();
        hand.carry_out(Intent::Set(Setting::GainDb(Side::Left, f32::NAN)));
        hand.carry_out(Intent::Set(Setting::DelayMs(Side::Right, f32::INFINITY)));
        assert_eq!(
            noted(&host),
            ["begin l_gain", "end l_gain", "begin r_del", "end r_del"]
        );
        hand.carry_out(Intent::Set(Setting::GainDb(Side::Left, 500.0)));
        assert_eq!(host.params.left.gain_db.value(), 20.0);
    }
}
