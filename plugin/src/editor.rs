//! The window: glue between the framework's editor and the views.

use nice_plug::editor::ResizeHint;
use nice_plug::editor::dpi::LogicalSize;
use nice_plug_egui::{
    EguiEditor, EguiEditorState, EguiNiceSettings, Frame, NiceEguiApp, RepaintNotifier, create_egui_editor,
};

/// The editor type the plugin hands to its wrapper.
pub type Window = EguiEditor<App>;

/// Size of a window never resized, logical points.
pub const DEFAULT_SIZE: (f32, f32) = (1000.0, 640.0);
/// Smallest size the views are laid out for, logical points.
pub const MIN_SIZE: (f32, f32) = (640.0, 420.0);

/// What lives as long as the plugin and draws whenever a window is open.
pub struct App;

/// Makes the editor of one instance.
pub(crate) fn create() -> Option<Window> {
    let state = EguiEditorState::from_size(LogicalSize::new(DEFAULT_SIZE.0, DEFAULT_SIZE.1), 1.0);
    let settings = EguiNiceSettings::new().with_tile("Sumproof").with_resize_hint(
        ResizeHint::resizable().with_min_logical_size(LogicalSize::new(MIN_SIZE.0, MIN_SIZE.1)),
    );
    create_egui_editor(state, RepaintNotifier::new(), settings, App)
}

impl NiceEguiApp for App {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut Frame) {
        ui.label("Sumproof");
    }
}
