//! Loads and unloads a library.

use super::plugin::Plugin;
use crate::error::HostError;
use std::ffi::{CStr, CString, c_void};
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use vst3::ComPtr;
use vst3::Steinberg::{IPluginFactory, IPluginFactoryTrait, PClassInfo, kResultOk};

/// The library of a bundle, open.
#[derive(Clone)]
pub struct Library(Arc<Open>);

struct Open {
    /// `None` only while it's being closed.
    factory: Option<ComPtr<IPluginFactory>>,
    handle: *mut c_void,
    path: PathBuf,
}

// SAFETY: the handle is only used for lookup and closing, which the C library allows on any thread; the factory's
// reference count is atomic.
unsafe impl Send for Open {}
// SAFETY: as above.
unsafe impl Sync for Open {}

impl Library {
    /// Opens the library of a `.vst3` folder.
    ///
    /// # Errors
    /// [`HostError::Load`] when there is none, or its entry function fails.
    pub fn load(bundle: &Path) -> Result<Self, HostError> {
        let failed = |reason: String| HostError::Load {
            path: bundle.to_owned(),
            reason,
        };
        let name = bundle.file_stem().unwrap_or_default().to_owned();
        let path = bundle
            .join("Contents/x86_64-linux")
            .join(name)
            .with_extension("so");
        let c_path = CString::new(path.as_os_str().as_bytes()).map_err(|e| failed(e.to_string()))?;
        // SAFETY: this host only opens files that the build made.
        let handle = unsafe { libc::dlopen(c_path.as_ptr(), libc::RTLD_NOW | libc::RTLD_LOCAL) };
        if handle.is_null() {
            // SAFETY: the C library's own string, after a failure.
            let said = unsafe { CStr::from_ptr(libc::dlerror()) };
            return Err(failed(said.to_string_lossy().into_owned()));
        }
        let mut open = Open {
            factory: None,
            handle,
            path,
        };
        let enter = open.symbol(c"ModuleEntry");
        let factory = open.symbol(c"GetPluginFactory");
        if enter.is_null() || factory.is_null() {
            return Err(failed(String::from("it is no VST3")));
        }
        // SAFETY: functions of these names have these types in a VST3 library.
        open.factory = unsafe {
            let enter: extern "C" fn(*mut c_void) -> bool = std::mem::transmute(enter);
            let factory: extern "system" fn() -> *mut IPluginFactory = std::mem::transmute(factory);
            if enter(handle) {
                ComPtr::from_raw(factory())
            } else {
                None
            }
        };
        if open.factory.is_none() {
            return Err(failed(String::from("it does not begin")));
        }
        Ok(Self(Arc::new(open)))
    }

    pub(super) fn factory(&self) -> Option<&ComPtr<IPluginFactory>> {
        self.0.factory.as_ref()
    }

    /// Creates plugin number `index`.
    ///
    /// # Errors
    /// [`HostError::Refused`] when it can't be created.
    pub fn make(&self, index: i32) -> Result<Plugin, HostError> {
        // SAFETY: plain numbers and characters, which may all be zero.
        let mut class: PClassInfo = unsafe { std::mem::zeroed() };
        // SAFETY: it is only written to within the call.
        let known = self
            .factory()
            .is_some_and(|factory| unsafe { factory.getClassInfo(index, &raw mut class) } == kResultOk);
        if !known {
            return Err(HostError::refused("name its class", index));
        }
        Plugin::make(self.clone(), &class)
    }

    /// Whether the library's code is still mapped into this process after closing.
    #[must_use]
    pub fn is_mapped(path: &Path) -> bool {
        let maps = std::fs::read_to_string("/proc/self/maps").unwrap_or_default();
        path.to_str().is_some_and(|path| maps.contains(path))
    }

    /// The library's file.
    #[must_use]
    pub fn path(&self) -> PathBuf {
        self.0.path.clone()
    }
}

impl Open {
    fn symbol(&self, name: &CStr) -> *mut c_void {
        // SAFETY: the library is open.
        unsafe { libc::dlsym(self.handle, name.as_ptr()) }
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        self.factory = None;
        let leave = self.symbol(c"ModuleExit");
        // SAFETY: the function of this name has this type; the library is not used any more.
        unsafe {
            if !leave.is_null() {
                let leave: extern "C" fn() -> bool = std::mem::transmute(leave);
                leave();
            }
            libc::dlclose(self.handle);
        }
    }
}
