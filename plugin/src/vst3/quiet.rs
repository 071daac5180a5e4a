//! Sets parameters from the window without a task of the framework.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use nice_plug::context::PluginApi;
use nice_plug::context::gui::{GuiContext, GuiContextInner};
use nice_plug::params::internals::ParamPtr;
use nice_plug::plugin::PluginState;
use nice_plug_egui::RepaintNotifier;

use super::born::Link;

/// Returns the same context; under VST3, one that sets a value itself before the framework does. The framework would
/// post a task, on the window's thread, while the window may be closing.
pub fn quiet(context: GuiContext, link: Arc<Link>, repaint: RepaintNotifier) -> GuiContext {
    if context.plugin_api() == PluginApi::Vst3 {
        GuiContext::new(Arc::new(Quiet {
            context,
            link,
            repaint,
        }))
    } else {
        context
    }
}

struct Quiet {
    context: GuiContext,
    link: Arc<Link>,
    repaint: RepaintNotifier,
}

impl GuiContextInner for Quiet {
    fn plugin_api(&self) -> PluginApi {
        self.context.plugin_api()
    }

    unsafe fn raw_begin_set_parameter(&self, param: ParamPtr) {
        // SAFETY: as the caller promises.
        unsafe { self.context.raw_begin_set_parameter(param) };
    }

    unsafe fn raw_set_parameter_normalized(&self, param: ParamPtr, normalized: f32) {
        // While the host processes, it returns the value with a block, and nothing may change in the middle of one.
        if !self.link.processing.load(Ordering::SeqCst) {
            // SAFETY: the window only names parameters of its own plugin, which it keeps alive.
            if unsafe { param._internal_set_normalized_value(normalized) } {
                self.repaint.request_repaint();
            }
        }
        // SAFETY: as the caller promises.
        unsafe { self.context.raw_set_parameter_normalized(param, normalized) };
    }

    unsafe fn raw_end_set_parameter(&self, param: ParamPtr) {
        // SAFETY: as the caller promises.
        unsafe { self.context.raw_end_set_parameter(param) };
    }

    fn get_state(&self) -> PluginState {
        self.context.get_state()
    }

    fn set_state(&self, state: PluginState) {
        self.context.set_state(state);
    }

    fn request_restart(&self) {
        self.context.request_restart();
    }
}
