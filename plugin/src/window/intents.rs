//! Carries out what the user does in the window: parameters as gestures of the host, takes on the analysis.

use std::sync::Arc;

use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::{BoolParam, Enum, EnumParam, FloatParam, Param};
use sumproof_core::routing::feed::{FeedId, Side, SumLaw};
use sumproof_core::session::take::Pass;
use sumproof_views::{CheckWish, Control, Integration, Intent, Setting};

use crate::analysis::engine::Analysis;
use crate::bridge::shared::Shared;
use crate::files::folder;
use crate::files::tasks::FileTasks;
use crate::parameters::choices::{FeedChoice, IntegrationChoice, PassChoice, PolarityChoice, SumLawChoice};
use crate::parameters::params::{HostParams, LineParams};
use crate::state::fields::PluginParams;

/// The user's hand on one window.
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
            // Files are read and written elsewhere, without the analysis' lock.
            Intent::ExportTakes => self.file_tasks.export_takes(&self.analysis, folder::folder()),
            Intent::ImportTakes => self.file_tasks.import_takes(&self.analysis, folder::folder()),
            Intent::Check(wish) => self.check(wish),
            other => self.on_takes(other),
        }
    }

    /// What ends a line check never waits for the analysis.
    fn check(&self, wish: CheckWish) {
        match wish {
            CheckWish::Hold => self.shared.switch.hold(),
            CheckWish::Send(settings) => self.analysis.lock().send_check(settings),
            CheckWish::Stop => self.shared.switch.stop(),
            CheckWish::Release => self.shared.switch.release(),
            CheckWish::Save => self.analysis.lock().save_check(),
        }
    }

    /// Ends what is held, and what is sent.
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
        let setter = self.gui.param_setter();
        match param(&self.params.host, control) {
            Target::Switch(param) => setter.begin_set_parameter(param),
            Target::Number(param) => setter.begin_set_parameter(param),
            Target::Polarity(param) => setter.begin_set_parameter(param),
            Target::Feed(param) => setter.begin_set_parameter(param),
            Target::Law(param) => setter.begin_set_parameter(param),
            Target::Integration(param) => setter.begin_set_parameter(param),
            Target::Pass(param) => setter.begin_set_parameter(param),
        }
    }

    fn end(&mut self, control: Control) {
        let before = self.held.len();
        self.held.retain(|held| *held != control);
        if self.held.len() == before {
            return;
        }
        let setter = self.gui.param_setter();
        match param(&self.params.host, control) {
            Target::Switch(param) => setter.end_set_parameter(param),
            Target::Number(param) => setter.end_set_parameter(param),
            Target::Polarity(param) => setter.end_set_parameter(param),
            Target::Feed(param) => setter.end_set_parameter(param),
            Target::Law(param) => setter.end_set_parameter(param),
            Target::Integration(param) => setter.end_set_parameter(param),
            Target::Pass(param) => setter.end_set_parameter(param),
        }
    }

    /// A value outside a gesture gets one of its own, so that the host hears of it all the same.
    fn set(&mut self, setting: Setting) {
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
        let setter = self.gui.param_setter();
        let host = &self.params.host;
        match setting {
            Setting::Audition(on) => setter.set_parameter(&host.audition, on),
            Setting::Feed(id) => setter.set_parameter(&host.feed, feed_choice(id)),
            Setting::Flipped(side, flipped) => setter.set_parameter(
                &line(host, side).polarity,
                if flipped {
                    PolarityChoice::Flipped
                } else {
                    PolarityChoice::Normal
                },
            ),
            Setting::GainDb(side, value) => put_number(&setter, &line(host, side).gain_db, value),
            Setting::DelayMs(side, value) => put_number(&setter, &line(host, side).delay_ms, value),
            Setting::CornerHz(side, value) => put_number(&setter, &line(host, side).corner_hz, value),
            Setting::Unplugged(side, unplugged) => {
                setter.set_parameter(&line(host, side).unplugged, unplugged)
            }
            Setting::Law(law) => setter.set_parameter(
                &host.law,
                match law {
                    SumLaw::Average => SumLawChoice::Average,
                    SumLaw::Minus3Db => SumLawChoice::Minus3Db,
                    SumLaw::Unity => SumLawChoice::Unity,
                },
            ),
            Setting::LoudnessMatch(on) => setter.set_parameter(&host.loudness_match, on),
            Setting::Integration(time) => setter.set_parameter(
                &host.integration,
                match time {
                    Integration::Short => IntegrationChoice::Short,
                    Integration::Medium => IntegrationChoice::Medium,
                    Integration::Long => IntegrationChoice::Long,
                },
            ),
            Setting::Record(on) => setter.set_parameter(&host.record, on),
            Setting::Pass(pass) => setter.set_parameter(
                &host.pass,
                match pass {
                    Pass::Full => PassChoice::Full,
                    Pass::Dry => PassChoice::Dry,
                    Pass::Wet => PassChoice::Wet,
                },
            ),
            Setting::AuditionInBounces(on) => setter.set_parameter(&host.audition_in_bounces, on),
        }
    }

    fn on_takes(&self, intent: Intent) {
        let mut engine = self.analysis.lock();
        match intent {
            Intent::Reset => engine.reset(),
            Intent::RenameTake { index, name } => {
                engine.takes_mut().rename(index, &name);
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
            Intent::Limits(limits) => engine.set_limits(limits),
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
            | Intent::Look(_) => return,
        }
        engine.show_now();
    }
}

/// A parameter by its type.
enum Target<'a> {
    Switch(&'a BoolParam),
    Number(&'a FloatParam),
    Polarity(&'a EnumParam<PolarityChoice>),
    Feed(&'a EnumParam<FeedChoice>),
    Law(&'a EnumParam<SumLawChoice>),
    Integration(&'a EnumParam<IntegrationChoice>),
    Pass(&'a EnumParam<PassChoice>),
}

fn param(host: &HostParams, control: Control) -> Target<'_> {
    match control {
        Control::Audition => Target::Switch(&host.audition),
        Control::Feed => Target::Feed(&host.feed),
        Control::Polarity(side) => Target::Polarity(&line(host, side).polarity),
        Control::Gain(side) => Target::Number(&line(host, side).gain_db),
        Control::Delay(side) => Target::Number(&line(host, side).delay_ms),
        Control::Corner(side) => Target::Number(&line(host, side).corner_hz),
        Control::Unplugged(side) => Target::Switch(&line(host, side).unplugged),
        Control::Law => Target::Law(&host.law),
        Control::LoudnessMatch => Target::Switch(&host.loudness_match),
        Control::Integration => Target::Integration(&host.integration),
        Control::Record => Target::Switch(&host.record),
        Control::Pass => Target::Pass(&host.pass),
        Control::AuditionInBounces => Target::Switch(&host.audition_in_bounces),
    }
}

fn line(host: &HostParams, side: Side) -> &LineParams {
    match side {
        Side::Left => &host.left,
        Side::Right => &host.right,
    }
}

/// The choice of a feed: both lists have the same order, which a test of the settings pins.
fn feed_choice(id: FeedId) -> FeedChoice {
    FeedChoice::from_index(FeedId::ALL.iter().position(|&other| other == id).unwrap_or(0))
}

fn put_number(setter: &nice_plug::prelude::ParamSetter<'_>, param: &FloatParam, value: f32) {
    if value.is_finite() {
        // Through the normalised value and back, so that host and plugin hold the same snapped number.
        setter.set_parameter_normalized(param, param.preview_normalized(value));
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use nice_plug::context::PluginApi;
    use nice_plug::context::gui::GuiContextInner;
    use nice_plug::params::internals::ParamPtr;
    use nice_plug::plugin::PluginState;
    use nice_plug::prelude::Params;
    use sumproof_core::score::rig::Rig;
    use triple_buffer::triple_buffer;

    use super::*;
    use crate::analysis::engine::{Engine, Links};

    /// A host that notes what the window does to parameters, and sets them.
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
            (Setting::Flipped(Side::Left, true), "lpol"),
            (Setting::Flipped(Side::Right, true), "rpol"),
            (Setting::GainDb(Side::Left, -20.0), "lgain"),
            (Setting::GainDb(Side::Right, 3.5), "rgain"),
            (Setting::DelayMs(Side::Left, 0.4), "ldel"),
            (Setting::DelayMs(Side::Right, 30.0), "rdel"),
            (Setting::CornerHz(Side::Left, 30.0), "lhp"),
            (Setting::CornerHz(Side::Right, 200.0), "rhp"),
            (Setting::Unplugged(Side::Left, true), "lunp"),
            (Setting::Unplugged(Side::Right, true), "runp"),
            (Setting::Law(SumLaw::Unity), "law"),
            (Setting::LoudnessMatch(true), "match"),
            (Setting::Integration(Integration::Long), "integ"),
            (Setting::Record(true), "rec"),
            (Setting::Pass(Pass::Wet), "kind"),
            (Setting::AuditionInBounces(true), "audbnc"),
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
            (now.feed, now.law, now.pass, now.integration_s),
            (FeedId::MonoSubs, SumLaw::Unity, Pass::Wet, 3.0)
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
        // The window closes in the middle of it.
        hand.let_go();
        hand.let_go();
        assert_eq!(
            noted(&host),
            ["begin lgain", "begin feed", "end feed", "end lgain"]
        );
    }

    #[test]
    fn what_is_no_number_is_not_set() {
        let (mut hand, host) = hand();
        hand.carry_out(Intent::Set(Setting::GainDb(Side::Left, f32::NAN)));
        hand.carry_out(Intent::Set(Setting::DelayMs(Side::Right, f32::INFINITY)));
        assert_eq!(
            noted(&host),
            ["begin lgain", "end lgain", "begin rdel", "end rdel"]
        );
        hand.carry_out(Intent::Set(Setting::GainDb(Side::Left, 500.0)));
        assert_eq!(host.params.left.gain_db.value(), 20.0);
    }
}
