//! Glue between the framework's editor and the views.
//!
//! An [`App`] lives as long as one window. Longer-lived data are in [`Glue`]: the readings' receiver, the parameters,
//! the shape. The framework's editor state can't be resized after it is created, and a state may be loaded after that;
//! so each window gets a new one.

use std::error::Error;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::{LogicalSize, NativeSize};
use nice_plug::editor::{Editor, HostMethods, ParentWindowHandle, ResizeHint, SpawnedEditor};
use nice_plug_egui::baseview::{HandlerError, WindowSize};
use nice_plug_egui::{
    EguiEditorState, EguiNiceSettings, Frame, Key, KeyCapture, NiceEguiApp, RepaintNotifier,
    create_egui_editor,
};
use sumproof_core::dsp::numbers::to_single;
use sumproof_views::{Intent, Look, MIN_SIZE, Snapshot, Theme, Window as View};

use crate::analysis::engine::Analysis;
use crate::bridge::published::Published;
use crate::bridge::shared::{OpenWindow, Shared};
use crate::fields::PluginParams;
use crate::files::tasks::FileTasks;
use crate::files::{folder, pedals};
use crate::testing::faults::Fault;
use crate::vst3;
use crate::window::closing::{Handle, Home};
use crate::window::intents::Hand;

/// Pause before the analysis is asked again, if it was busy when a window opened.
const ASK_AGAIN: Duration = Duration::from_millis(20);

/// Shared by all windows of an instance.
pub struct Glue {
    /// Parameters and shape.
    pub params: Arc<PluginParams>,
    /// The analysis, for the user's changes to takes.
    pub analysis: Analysis,
    /// The atomics of the audio thread.
    pub shared: Arc<Shared>,
    /// Receives readings. One window at a time reads them.
    pub published: Mutex<triple_buffer::Output<Published>>,
    /// Requests a frame.
    pub repaint: RepaintNotifier,
    /// Reads and writes files for the user.
    pub file_tasks: Arc<FileTasks>,
    /// Shared with the VST3 shell.
    pub vst3: Arc<vst3::Link>,
}

/// The editor the plugin hands to its wrapper.
pub struct Window {
    glue: Arc<Glue>,
    /// Scale from the views' points to logical pixels times the system's scale, as the last window had it.
    scale: Arc<Mutex<Option<f64>>>,
}

impl Window {
    /// The editor of one instance.
    pub fn new(glue: Glue) -> Self {
        Self {
            glue: Arc::new(glue),
            scale: Arc::default(),
        }
    }
}

impl Editor for Window {
    type Handle = Handle;

    fn spawn(
        &self,
        parent: Option<ParentWindowHandle>,
        wait_for_parent: bool,
        fallback_scale_factor: Option<f64>,
        gui_context: GuiContext,
        host: Option<HostMethods>,
    ) -> Result<SpawnedEditor<Self::Handle>, Box<dyn Error>> {
        let shape = self.glue.params.shape.get();
        let state = EguiEditorState::from_size(LogicalSize::new(shape.width, shape.height), shape.zoom);
        let settings = EguiNiceSettings::new()
            .with_tile("Sumproof")
            .with_resize_hint(self.resize_hint());
        let gui_context = vst3::quiet(
            gui_context,
            Arc::clone(&self.glue.vst3),
            self.glue.repaint.clone(),
        );
        let home = Home::default();
        let host = host.map(|host| home.host(host));
        let app = App::new(
            Arc::clone(&self.glue),
            shape.look(),
            Arc::clone(&self.scale),
            home.clone(),
        );
        let editor = create_egui_editor(state, self.glue.repaint.clone(), settings, app)
            .ok_or("there is no editor")?;
        // A panic of the windowing library must not unwind into the host.
        let spawned = catch_unwind(AssertUnwindSafe(|| {
            editor.spawn(parent, wait_for_parent, fallback_scale_factor, gui_context, host)
        }));
        home.keep(spawned.unwrap_or_else(|_| Err("the window could not be made".into())))
    }

    fn size(&self) -> NativeSize<u32> {
        let shape = self.glue.params.shape.get();
        let scale = *self.scale.lock().unwrap_or_else(PoisonError::into_inner);
        let points = LogicalSize::new(f64::from(shape.width), f64::from(shape.height));
        NativeSize::from_size(points.into(), scale.unwrap_or(f64::from(shape.zoom)))
    }

    fn resize_hint(&self) -> ResizeHint {
        ResizeHint::resizable().with_min_logical_size(LogicalSize::new(MIN_SIZE.0, MIN_SIZE.1))
    }
}

/// One window.
pub struct App {
    glue: Arc<Glue>,
    scale: Arc<Mutex<Option<f64>>>,
    home: Home,
    hand: Option<Hand>,
    open: Option<OpenWindow>,
    view: View,
    snapshot: Snapshot,
    intents: Vec<Intent>,
    keys: Vec<Key>,
    /// The pedals as last saved, in the stand-alone program.
    pedals: Option<pedals::Bound>,
    /// Whether the analysis has yet to be asked to publish for this window.
    unshown: bool,
    /// A panic happened in this window: it only shows a line that says so.
    broken: bool,
    fault: Fault,
}

/// The keys the window keeps from the host while no text is being typed. Never the space bar: it starts the transport
/// wherever the user last clicked. (On X11 the windowing library keeps all of them, see docs/engineers/hosts.md.)
fn own_keys() -> Vec<Key> {
    let named = [
        "Escape",
        "Tab",
        "Enter",
        "ArrowUp",
        "ArrowDown",
        "ArrowLeft",
        "ArrowRight",
        "Home",
        "End",
        "Delete",
        "F1",
        "F2",
        "F3",
        "F4",
        "F5",
        "F6",
        "F7",
        "PageUp",
        "PageDown",
    ];
    let digits = ('0'..='9').map(|digit| Key::Character(digit.to_string()));
    named
        .iter()
        .filter_map(|name| name.parse().ok())
        .chain(digits)
        .collect()
}

impl App {
    fn new(glue: Arc<Glue>, look: Look, scale: Arc<Mutex<Option<f64>>>, home: Home) -> Self {
        Self {
            glue,
            scale,
            home,
            hand: None,
            open: None,
            view: View::new(look),
            snapshot: Snapshot::default(),
            intents: Vec::new(),
            keys: own_keys(),
            pedals: None,
            unshown: true,
            broken: false,
            fault: Fault::from_environment(),
        }
    }

    /// Runs `body` unless the window is broken; a panic breaks it and never reaches the host, whose calls run the
    /// window. Sound and analysis are not affected, and the next window is a new one.
    fn guarded(&mut self, body: impl FnOnce(&mut Self)) {
        if !self.broken && catch_unwind(AssertUnwindSafe(|| body(self))).is_err() {
            self.broken = true;
            // The signal can no longer be stopped from this window.
            self.glue.shared.switch.release();
        }
    }

    fn draw(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
        self.fault.strike_frame();
        self.ask_for_news(ui.ctx());
        self.take_in_news();
        self.keep_pedals();
        self.view.ui(ui, &self.snapshot, &mut self.intents);
        if self.view.attends_check() {
            self.glue.shared.switch.beat();
        }
        // Any key stops a test signal, the host's keys too.
        frame.set_key_capture(if self.view.is_typing() || self.snapshot.check.on {
            KeyCapture::CaptureAll
        } else {
            KeyCapture::CaptureKeys(self.keys.clone())
        });
        for intent in std::mem::take(&mut self.intents) {
            if let Intent::Look(look) = intent {
                self.keep_look(look);
            } else if let Some(hand) = &mut self.hand {
                hand.carry_out(intent);
            }
        }
    }

    /// Asks the analysis to publish, once, with the first frame that finds it free. Not while the window is being
    /// created: the host waits for that, and the analysis may be busy for long.
    fn ask_for_news(&mut self, ctx: &egui::Context) {
        if !self.unshown {
            return;
        }
        if let Some(mut engine) = self.glue.analysis.lock_if_free() {
            engine.show_now();
            self.unshown = false;
        } else {
            ctx.request_repaint_after(ASK_AGAIN);
        }
    }

    fn take_in_news(&mut self) {
        let mut published = self.glue.published.lock().unwrap_or_else(PoisonError::into_inner);
        published
            .read()
            .fill(&self.glue.params.host, &self.glue.shared, &mut self.snapshot);
    }

    /// Saves newly learnt or removed pedals to disk: the stand-alone program has no project.
    fn keep_pedals(&mut self) {
        if !self.glue.shared.pedals.are_on() {
            return;
        }
        let now = pedals::bound(&self.glue.shared.pedals);
        if self.pedals.replace(now).is_some_and(|before| before != now)
            && let Some(folder) = folder::folder()
            && let Err(line) = pedals::save(&folder, &now)
        {
            self.glue.analysis.lock().say(line);
        }
    }

    fn keep_look(&self, look: Look) {
        self.glue.params.shape.update(|shape| {
            shape.zoom = look.zoom;
            shape.night = look.theme == Theme::Night;
        });
    }
}

impl NiceEguiApp for App {
    fn build(&mut self, ctx: egui::Context, gui: GuiContext, frame: &mut Frame) -> Result<(), HandlerError> {
        self.home.settle(frame.baseview_window());
        crate::window::present::prepare(frame.baseview_window());
        self.hand = Some(Hand::new(
            gui,
            Arc::clone(&self.glue.params),
            self.glue.analysis.clone(),
            Arc::clone(&self.glue.file_tasks),
            Arc::clone(&self.glue.shared),
        ));
        self.open = Some(self.glue.shared.open_window());
        self.guarded(|app| {
            app.view.prepare(&ctx);
        });
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
        self.guarded(|app| app.draw(ui, frame));
        if self.broken {
            sumproof_views::broken(ui);
            // Whatever was being typed, the keys go to the host again.
            frame.set_key_capture(KeyCapture::CaptureKeys(Vec::new()));
        }
    }

    fn resized(&mut self, size: WindowSize) {
        self.guarded(|app| {
            // In the views' points: the scale already contains the zoom.
            app.glue.params.shape.update(|shape| {
                shape.width = to_single(size.logical.width);
                shape.height = to_single(size.logical.height);
            });
            *app.scale.lock().unwrap_or_else(PoisonError::into_inner) = Some(size.scale_factor);
        });
    }

    fn editor_closed(&mut self) {
        self.glue.shared.switch.release();
    }

    fn zoom_factor_changed(&mut self, zoom: f32) {
        self.guarded(|app| app.glue.params.shape.update(|shape| shape.zoom = zoom));
    }
}

impl Drop for App {
    fn drop(&mut self) {
        // A gesture cut off by the closing window is ended, otherwise the host would wait for its end; also in a broken
        // window. And no signal goes out without a window.
        if let Some(hand) = &mut self.hand {
            let _ = catch_unwind(AssertUnwindSafe(|| hand.let_go()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_space_bar_is_the_hosts() {
        let keys = own_keys();
        assert_eq!(keys.len(), 29);
        assert!(!keys.contains(&Key::Character(String::from(" "))));
        assert!(!keys.iter().any(|key| key.to_string().trim().is_empty()));
    }
}
