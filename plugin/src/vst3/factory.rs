//! The classes in the library, and how a host creates them.

use std::ffi::c_void;

use nice_plug::prelude::Vst3Plugin;
use nice_plug::wrapper::vst3::PluginInfo;
use nice_plug::wrapper::vst3::vst3::Steinberg::{
    FIDString, FUnknown, IPluginFactory, IPluginFactory2, IPluginFactory2Trait, IPluginFactory3,
    IPluginFactory3Trait, IPluginFactoryTrait, PClassInfo, PClassInfo2, PClassInfoW, PFactoryInfo, TUID,
    int32, kInternalError, kInvalidArgument, kResultOk, tresult,
};
use nice_plug::wrapper::vst3::vst3::{Class, ComWrapper};
use sumproof_core::dsp::numbers::to_signed;

use super::component::{Shell, held};
use crate::{SumproofPlain, SumproofSideChain};

/// The two plugins.
pub(super) struct Factory {
    plugins: [Plugin; 2],
}

struct Plugin {
    info: PluginInfo,
    make: fn(*const TUID, *mut *mut c_void) -> tresult,
}

impl Plugin {
    fn of<P: Vst3Plugin>() -> Self {
        Self {
            info: PluginInfo::for_plugin::<P>(),
            make: make::<P>,
        }
    }
}

/// Creates a plugin and returns the interface that is asked for.
fn make<P: Vst3Plugin>(interface: *const TUID, object: *mut *mut c_void) -> tresult {
    let shell = ComWrapper::new(Shell::<P>::new());
    let Some(unknown) = shell.as_com_ref::<FUnknown>() else {
        return kInternalError;
    };
    let unknown = unknown.as_ptr();
    // SAFETY: a live object, and the host's pointers, which aren't null.
    unsafe { ((*(*unknown).vtbl).queryInterface)(unknown, interface, object) }
}

impl Factory {
    pub(super) fn new() -> Self {
        Self {
            plugins: [Plugin::of::<SumproofPlain>(), Plugin::of::<SumproofSideChain>()],
        }
    }

    /// Writes the result of `of` for the plugin number `index`.
    ///
    /// # Safety
    /// `info` is null or valid for writes.
    unsafe fn tell<T>(&self, index: int32, info: *mut T, of: impl FnOnce(&PluginInfo) -> T) -> tresult {
        match usize::try_from(index)
            .ok()
            .and_then(|index| self.plugins.get(index))
        {
            Some(plugin) if !info.is_null() => {
                // SAFETY: as the caller promises.
                unsafe { info.write(of(&plugin.info)) };
                kResultOk
            }
            _ => kInvalidArgument,
        }
    }
}

impl Class for Factory {
    type Interfaces = (IPluginFactory, IPluginFactory2, IPluginFactory3);
}

impl IPluginFactoryTrait for Factory {
    unsafe fn getFactoryInfo(&self, info: *mut PFactoryInfo) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.tell(0, info, PluginInfo::create_factory_info) }
    }

    unsafe fn countClasses(&self) -> int32 {
        to_signed(self.plugins.len())
    }

    unsafe fn getClassInfo(&self, index: int32, info: *mut PClassInfo) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.tell(index, info, PluginInfo::create_class_info) }
    }

    unsafe fn createInstance(
        &self,
        class: FIDString,
        interface: FIDString,
        object: *mut *mut c_void,
    ) -> tresult {
        if class.is_null() || interface.is_null() || object.is_null() {
            return kInvalidArgument;
        }
        // SAFETY: a class is identified by 16 bytes.
        let class = unsafe { class.cast::<[u8; 16]>().read_unaligned() };
        let known = self.plugins.iter().find(|plugin| *plugin.info.cid == class);
        known.map_or(kInvalidArgument, |plugin| {
            held(kInternalError, || (plugin.make)(interface.cast(), object))
        })
    }
}

impl IPluginFactory2Trait for Factory {
    unsafe fn getClassInfo2(&self, index: int32, info: *mut PClassInfo2) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.tell(index, info, PluginInfo::create_class_info_2) }
    }
}

impl IPluginFactory3Trait for Factory {
    unsafe fn getClassInfoUnicode(&self, index: int32, info: *mut PClassInfoW) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.tell(index, info, PluginInfo::create_class_info_unicode) }
    }

    unsafe fn setHostContext(&self, _context: *mut FUnknown) -> tresult {
        kResultOk
    }
}
