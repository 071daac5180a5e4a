//! The host's callbacks: the plugin's requests, kept as flags that the main thread handles.

use clack_extensions::gui::{GuiSize, HostGui, HostGuiImpl};
use clack_extensions::latency::{HostLatency, HostLatencyImpl};
use clack_extensions::log::{HostLog, HostLogImpl, LogSeverity};
use clack_extensions::params::{
    HostParams, HostParamsImplMainThread, HostParamsImplShared, ParamClearFlags, ParamRescanFlags,
};
use clack_extensions::state::{HostState, HostStateImpl};
use clack_host::prelude::*;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};

/// Pending requests of the plugin, written from any thread. A clone shares the flags.
#[derive(Clone, Debug, Default)]
pub(crate) struct Requests(Arc<Flags>);

#[derive(Debug, Default)]
struct Flags {
    callback: AtomicBool,
    restart: AtomicBool,
    dirty_marks: AtomicU32,
    rescans: AtomicU32,
    latency_changes: AtomicU32,
    /// A requested editor size, packed by [`GuiSize::pack_to_u64`]; 0 is none.
    size: AtomicU64,
}

impl Requests {
    /// Whether a main-thread call was requested since the last look.
    pub(crate) fn take_callback(&self) -> bool {
        self.0.callback.swap(false, Ordering::AcqRel)
    }

    /// Whether the plugin asked to be deactivated and activated again since the last look.
    pub(crate) fn take_restart(&self) -> bool {
        self.0.restart.swap(false, Ordering::AcqRel)
    }

    /// The editor size requested since the last look.
    pub(crate) fn take_size(&self) -> Option<GuiSize> {
        match self.0.size.swap(0, Ordering::AcqRel) {
            0 => None,
            packed => Some(GuiSize::unpack_from_u64(packed)),
        }
    }

    /// How often the plugin reported that its project needs saving.
    pub(crate) fn dirty_marks(&self) -> u32 {
        self.0.dirty_marks.load(Ordering::Acquire)
    }

    /// How often the plugin reported a change of latency.
    pub(crate) fn latency_changes(&self) -> u32 {
        self.0.latency_changes.load(Ordering::Acquire)
    }

    /// How often the plugin asked for its parameters to be read again.
    pub(crate) fn rescans(&self) -> u32 {
        self.0.rescans.load(Ordering::Acquire)
    }
}

/// The type that ties the parts below together for `clack-host`.
pub(crate) struct TestHost;

/// Called from any thread.
pub(crate) struct Shared(pub(crate) Requests);

/// Called from the main thread only.
pub(crate) struct MainThread(pub(crate) Requests);

impl HostHandlers for TestHost {
    type Shared<'a> = Shared;
    type MainThread<'a> = MainThread;
    type AudioProcessor<'a> = ();

    fn declare_extensions(builder: &mut HostExtensions<Self>, _shared: &Self::Shared<'_>) {
        builder
            .register::<HostGui>()
            .register::<HostLatency>()
            .register::<HostLog>()
            .register::<HostParams>()
            .register::<HostState>();
    }
}

impl SharedHandler<'_> for Shared {
    fn request_restart(&self) {
        self.0.0.restart.store(true, Ordering::Release);
    }

    // The host processes all the time; there is nothing to wake.
    fn request_process(&self) {}

    fn request_callback(&self) {
        self.0.0.callback.store(true, Ordering::Release);
    }
}

impl MainThreadHandler<'_> for MainThread {}

impl HostLogImpl for Shared {
    fn log(&self, severity: LogSeverity, message: &str) {
        // Debug and information lines would hide the output of a failing test.
        if !matches!(severity, LogSeverity::Debug | LogSeverity::Info) {
            eprintln!("plugin log: {message}");
        }
    }
}

impl HostParamsImplShared for Shared {
    // Parameter changes travel with the next block.
    fn request_flush(&self) {}
}

impl HostParamsImplMainThread for MainThread {
    fn rescan(&self, _flags: ParamRescanFlags) {
        self.0.0.rescans.fetch_add(1, Ordering::AcqRel);
    }

    fn clear(&self, _param: ClapId, _flags: ParamClearFlags) {}
}

impl HostStateImpl for MainThread {
    fn mark_dirty(&self) {
        self.0.0.dirty_marks.fetch_add(1, Ordering::AcqRel);
    }
}

impl HostLatencyImpl for MainThread {
    fn changed(&self) {
        self.0.0.latency_changes.fetch_add(1, Ordering::AcqRel);
    }
}

impl HostGuiImpl for Shared {
    fn resize_hints_changed(&self) {}

    fn request_resize(&self, size: GuiSize) -> Result<(), HostError> {
        self.0.0.size.store(size.pack_to_u64(), Ordering::Release);
        Ok(())
    }

    fn request_show(&self) -> Result<(), HostError> {
        Ok(())
    }

    fn request_hide(&self) -> Result<(), HostError> {
        Ok(())
    }

    fn closed(&self, _was_destroyed: bool) {}
}
