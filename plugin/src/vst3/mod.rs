//! VST3: the framework's wrapper inside a shell of ours.
//!
//! The framework (nice-plug 0.4.2) reports every change of a parameter to a window's editor by a task on a thread that
//! all instances share. The task accesses the editor while the host's thread may be creating or removing it, and
//! panics. With that thread gone, dropping the last instance panics too, on the host's thread, across a boundary that
//! must not be unwound across: the host aborts. None of this can be fixed inside the framework from here, but every
//! call of a host passes through this shell first:
//!
//! * [`values`]: a parameter is changed before the framework sees the change, so it finds nothing changed and posts no
//!   task;
//! * [`gate`]: where a task can't be prevented (a state loaded by another thread than the plugin's own), it has ended
//!   before an editor is attached or removed;
//! * [`frame`]: what the framework registers with the host's event loop is unregistered again, with its two sockets,
//!   and a loop is supplied where the host has none;
//! * [`component`]: panics end here; the plugin gets the right kind of rendering; busses a host leaves out are not
//!   read.
//!
//! `docs/engineers/upstream.md` says how each would be fixed in the framework.
//!
//! Source: VST 3 SDK (MIT), `pluginterfaces`; the bindings are the framework's (`vst3`).

use std::ffi::c_void;

use nice_plug::wrapper::setup_logger;
use nice_plug::wrapper::vst3::vst3::{ComWrapper, Steinberg::IPluginFactory};

use crate::{SumproofPlain, SumproofSideChain};

mod born;
mod busses;
mod component;
mod factory;
mod frame;
mod gate;
mod quiet;
mod values;
mod view;

pub use born::{Born, Link, announce};
pub use gate::Marker;
pub use quiet::quiet;

/// The entry point a host calls first.
#[unsafe(no_mangle)]
pub extern "system" fn GetPluginFactory() -> *mut c_void {
    ComWrapper::new(factory::Factory::new())
        .to_com_ptr::<IPluginFactory>()
        .map_or(std::ptr::null_mut(), |factory| factory.into_raw().cast())
}

fn enter() -> bool {
    setup_logger::<SumproofPlain>();
    setup_logger::<SumproofSideChain>();
    true
}

/// The library was loaded.
#[cfg(target_os = "linux")]
#[unsafe(no_mangle)]
pub extern "C" fn ModuleEntry(_library: *mut c_void) -> bool {
    enter()
}

/// The library is about to be unloaded.
#[cfg(target_os = "linux")]
#[unsafe(no_mangle)]
pub extern "C" fn ModuleExit() -> bool {
    true
}

/// The library was loaded.
#[cfg(target_os = "macos")]
#[unsafe(no_mangle)]
pub extern "C" fn bundleEntry(_library: *mut c_void) -> bool {
    enter()
}

/// The library is about to be unloaded.
#[cfg(target_os = "macos")]
#[unsafe(no_mangle)]
pub extern "C" fn bundleExit() -> bool {
    true
}

/// The library was loaded.
#[cfg(target_os = "windows")]
#[unsafe(no_mangle)]
pub extern "system" fn InitDll() -> bool {
    enter()
}

/// The library is about to be unloaded.
#[cfg(target_os = "windows")]
#[unsafe(no_mangle)]
pub extern "system" fn ExitDll() -> bool {
    true
}
