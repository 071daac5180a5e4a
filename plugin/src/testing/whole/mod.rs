//! Tests of one instance without a host: audio side, ring, analysis and state together.

mod check;
mod faults;
mod host_calls;
mod midi;
mod phrases;

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use nice_plug::params::InternalParamMut;
use nice_plug::plugin::{ParamValue, PluginState};
use nice_plug::prelude::{BoolParam, EnumParam, Params};
use nice_plug_egui::RepaintNotifier;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::spectrum::pair_sums::PairSums;
use sumproof_core::split::Method;
use sumproof_core::split::side_chain::Reference;
use triple_buffer::triple_buffer;

use crate::analysis::engine::{Analysis, Engine, Links};
use crate::analysis::worker::{Activity, Worker};
use crate::audio::side::{AudioSide, Drive, Mode};
use crate::bridge::published::Published;
use crate::bridge::shared::{AuditionState, Shared};
use crate::fields::{FIELDS, PluginParams};
use crate::parameters::choices::Choice;
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;
use crate::state::migrate;

const RATE_HZ: f64 = 48_000.0;

struct Instance {
    params: Arc<PluginParams>,
    shared: Arc<Shared>,
    analysis: Analysis,
    audio: AudioSide<2>,
    published: triple_buffer::Output<Published>,
}

impl Instance {
    fn new(shared: Shared) -> Self {
        let host = Arc::new(HostParams::default());
        let shared = Arc::new(shared);
        let (own_in, own_out) = triple_buffer(&Rig::default().own);
        let (published_in, published) = triple_buffer(&Published::default());
        let analysis = Analysis::new(Engine::new(Links {
            params: Arc::clone(&host),
            shared: Arc::clone(&shared),
            own: own_in,
            published: published_in,
            repaint: RepaintNotifier::new(),
        }));
        Self {
            params: Arc::new(PluginParams::new(Arc::clone(&host), &analysis)),
            audio: AudioSide::new(host, Arc::clone(&shared), analysis.clone(), own_out),
            shared,
            analysis,
            published,
        }
    }

    fn active(offline: bool) -> Self {
        let mut instance = Self::new(Shared::default());
        instance.activate(offline);
        instance
    }

    fn activate(&mut self, offline: bool) {
        self.activate_as(if offline { Mode::Offline } else { Mode::Playing });
        if !offline {
            self.shared.pulse.prove();
        }
    }

    fn activate_as(&mut self, mode: Mode) {
        self.audio.activate(&Drive {
            rate_hz: RATE_HZ,
            longest_block: 8192,
            mode,
            reference: Reference::Stereo,
        });
        self.audio.reset();
    }

    fn host(&self) -> &HostParams {
        &self.params.host
    }

    /// Plays both channels in blocks and returns the output.
    fn play(&mut self, left: &[f32], right: &[f32], block: usize, host_records: bool) -> [Vec<f32>; 2] {
        let mut out = [left.to_vec(), right.to_vec()];
        let [l, r] = &mut out;
        for (l, r) in l.chunks_mut(block).zip(r.chunks_mut(block)) {
            self.audio.process(&mut [l, r], [&[]; 2], host_records);
        }
        out
    }

    fn saved(&self) -> PluginState {
        PluginState {
            version: String::from(migrate::VERSION),
            params: crate::parameters::spec::all()
                .into_iter()
                .map(|(id, kind)| (id, kind.default_value()))
                .collect(),
            fields: self.params.serialize_fields(),
        }
    }

    fn load(&self, state: &PluginState) {
        let mut state = state.clone();
        migrate::filter(&mut state, &FIELDS);
        self.params.deserialize_fields(&state.fields);
    }

    fn takes(&self) -> Vec<Take> {
        self.analysis.lock().takes().iter().cloned().collect()
    }
}

fn set(param: &BoolParam, on: bool) {
    // SAFETY: what the wrapper does when the host sets a parameter; the value is an atomic.
    unsafe { param._internal_set_plain_value(on) };
}

fn choose<T: nice_plug::prelude::Enum + PartialEq + 'static>(param: &EnumParam<T>, choice: T) {
    // SAFETY: as above.
    unsafe { param._internal_set_plain_value(choice) };
}

/// Deterministic noise with partly correlated channels.
fn noise(frames: usize) -> [Vec<f32>; 2] {
    let mut word = 0x2545_F491_4F6C_DD1Du64;
    let mut next = move || {
        word ^= word << 13;
        word ^= word >> 7;
        word ^= word << 17;
        (word >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let mut channels = [Vec::with_capacity(frames), Vec::with_capacity(frames)];
    for _ in 0..frames {
        let (common, own) = (next(), next());
        channels[0].push(0.3 * common);
        channels[1].push(0.2 * common + 0.2 * own);
    }
    channels
}

fn bits(samples: &[f32]) -> Vec<u32> {
    samples.iter().map(|sample| sample.to_bits()).collect()
}

fn sums(left: &[f32], right: &[f32]) -> PairSums {
    let mut sums = PairSums::default();
    for (&l, &r) in left.iter().zip(right) {
        sums.add(f64::from(l), f64::from(r));
    }
    sums
}

/// Asserts that the sums are of the same frames, however they were cut: sums taken side by side round slightly
/// differently.
fn assert_alike(found: &PairSums, expected: &PairSums) {
    assert_eq!(found.frames, expected.frames);
    for (found, expected) in [
        (found.left, expected.left),
        (found.right, expected.right),
        (found.cross, expected.cross),
    ] {
        assert!(
            (found - expected).abs() <= 1e-9 * expected.abs(),
            "{found} is not {expected}"
        );
    }
}

#[test]
fn sound_passes_bit_for_bit_whatever_it_is() {
    let [mut left, mut right] = noise(20_000);
    for (index, odd) in [f32::NAN, f32::INFINITY, -1e30, f32::from_bits(1), -0.0, 1e-42]
        .into_iter()
        .enumerate()
    {
        left[100 + index] = odd;
        right[9_000 + index] = odd;
    }
    for offline in [false, true] {
        for block in [1, 17, 64, 8192] {
            let mut instance = Instance::active(offline);
            let [l, r] = instance.play(&left, &right, block, false);
            assert!(
                bits(&l) == bits(&left) && bits(&r) == bits(&right),
                "blocks of {block}"
            );
            assert_eq!(instance.shared.heard(), AuditionState::Stereo);
        }
    }
}

#[test]
fn a_take_holds_exactly_the_frames_between_on_and_off() {
    let [left, right] = noise(50_000);
    for (offline, block) in [(true, 64), (true, 8192), (false, 512)] {
        let mut instance = Instance::active(offline);
        instance.play(&left[..1024], &right[..1024], block, false);
        choose(&instance.host().pass, Choice(Pass::Wet));
        set(&instance.host().record, true);
        instance.play(&left, &right, block, false);
        set(&instance.host().record, false);
        choose(&instance.host().pass, Choice(Pass::Full));
        instance.play(&left[..1024], &right[..1024], block, false);
        instance.analysis.lock().settle();
        let takes = instance.takes();
        assert_eq!(takes.len(), 1);
        assert_alike(&takes[0].sums, &sums(&left, &right));
        assert_eq!(
            (takes[0].pass, takes[0].invalid_frames, takes[0].name.as_str()),
            (Pass::Wet, 0, "Take 1")
        );
    }
}

#[test]
fn a_state_saved_right_after_the_last_block_holds_the_take() {
    let [left, right] = noise(30_000);
    // Switched off without another block, as a host's parameter flush does; and still on when the host stops.
    for flushed in [true, false] {
        let mut instance = Instance::active(false);
        set(&instance.host().record, true);
        instance.play(&left, &right, 512, false);
        if flushed {
            set(&instance.host().record, false);
        } else {
            instance.audio.deactivate();
        }
        let other = Instance::new(Shared::default());
        other.load(&instance.saved());
        let (before, after) = (instance.takes(), other.takes());
        assert_eq!((before.len(), after.len()), (1, 1));
        assert_alike(&after[0].sums, &sums(&left, &right));
    }
}

#[test]
fn a_take_goes_on_while_the_host_saves() {
    let [left, right] = noise(30_000);
    let mut instance = Instance::active(false);
    set(&instance.host().record, true);
    instance.play(&left[..10_000], &right[..10_000], 500, false);
    assert!(instance.saved().fields["takes"].contains("\"takes\":[]"));
    instance.play(&left[10_000..], &right[10_000..], 500, false);
    set(&instance.host().record, false);
    instance.analysis.lock().settle();
    assert_alike(&instance.takes()[0].sums, &sums(&left, &right));
}

#[test]
fn invalid_is_counted_and_left_out() {
    let [mut left, right] = noise(40_000);
    let clean = sums(&left, &right);
    for index in [5, 6, 20_000] {
        left[index] = f32::NAN;
    }
    let mut instance = Instance::active(true);
    set(&instance.host().record, true);
    instance.play(&left, &right, 64, false);
    set(&instance.host().record, false);
    instance.play(&[0.0], &[0.0], 1, false);
    let take = &instance.takes()[0];
    assert_eq!((take.invalid_frames, take.sums.frames), (3, clean.frames - 3));
    instance.analysis.lock().show_now();
    // The frame that marks where the host's reset broke the stream does not count as an invalid frame of the user's.
    assert_eq!(instance.published.read().reading.invalid_frames, 3);
}

#[test]
fn a_stalled_analysis_costs_frames_and_says_so() {
    let [left, right] = noise(48_000 * 5);
    // The clock has run for an hour since the ring was empty, so this is no bounce.
    let mut instance = Instance::new(Shared::aged(Duration::from_secs(3600)));
    instance.activate(false);
    set(&instance.host().record, true);
    let stalled = instance.analysis.clone();
    let lock = stalled.lock();
    // `emptied` was stamped by the activation an hour 'late'; put it back to the beginning.
    instance.shared.forget_emptied();
    let [l, r] = instance.play(&left, &right, 512, false);
    drop(lock);
    assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right));
    let lost = instance.shared.lost_frames.load(Ordering::Relaxed);
    assert_eq!(lost, 48_000 * 3);
    instance.analysis.lock().settle();
    set(&instance.host().record, false);
    instance.play(&left[..512], &right[..512], 512, false);
    instance.analysis.lock().settle();
    let take = &instance.takes()[0];
    // The first frames are all there; the one that marks the gap is not counted as invalid.
    assert_alike(&take.sums, &sums(&left[..96_000], &right[..96_000]));
    assert_eq!(take.invalid_frames, 0);
}

#[test]
fn a_host_that_outruns_the_clock_loses_nothing() {
    let [left, right] = noise(48_000 * 20);
    let mut instance = Instance::active(false);
    set(&instance.host().record, true);
    instance.play(&left, &right, 512, false);
    set(&instance.host().record, false);
    instance.analysis.lock().settle();
    // On a machine too slow to outrun the clock some are lost, and then they are counted.
    let lost = instance.shared.lost_frames.load(Ordering::Relaxed);
    assert_eq!(instance.takes()[0].sums.frames + lost, left.len() as u64);
    if lost == 0 {
        assert_alike(&instance.takes()[0].sums, &sums(&left, &right));
    }
}

#[test]
fn the_analysis_thread_takes_in_what_is_played() {
    let [left, right] = noise(30_000);
    let mut instance = Instance::active(false);
    let analysis = instance.analysis.clone();
    let worker = Worker::start(move || analysis.look()).expect("a thread");
    set(&instance.host().record, true);
    instance.play(&left, &right, 512, false);
    set(&instance.host().record, false);
    instance.play(&[0.0], &[0.0], 1, false);
    // No deadline: the thread looks at least four times a second for as long as it lives.
    while instance.takes().is_empty() {
        std::thread::yield_now();
    }
    drop(worker);
    assert_alike(&instance.takes()[0].sums, &sums(&left, &right));
}

#[test]
fn bypassed_nothing_is_heard() {
    let [left, right] = noise(10_000);
    let mut instance = Instance::active(true);
    set(&instance.host().audition, true);
    set(&instance.host().bypass, true);
    set(&instance.host().audition_in_bounces, true);
    let [l, r] = instance.play(&left, &right, 64, false);
    assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right));
    instance.analysis.lock().show_now();
    assert_eq!(instance.published.read().reading.frames, 0);
    assert_eq!(instance.shared.heard(), AuditionState::Stereo);
}

#[test]
fn audition_is_held_back_in_bounces_unless_wanted() {
    let [left, right] = noise(20_000);
    for (offline, host_records, in_bounces, heard) in [
        (false, false, false, AuditionState::Feed),
        (true, false, false, AuditionState::HeldBack),
        (false, true, false, AuditionState::HeldBack),
        (true, true, true, AuditionState::Feed),
    ] {
        let mut instance = Instance::active(offline);
        choose(&instance.host().feed, Choice(FeedId::LeftLineOnly));
        set(&instance.host().audition, true);
        set(&instance.host().audition_in_bounces, in_bounces);
        let [l, r] = instance.play(&left, &right, 64, host_records);
        assert_eq!(instance.shared.heard(), heard);
        let untouched = bits(&l) == bits(&left) && bits(&r) == bits(&right);
        assert_eq!(
            untouched,
            heard == AuditionState::HeldBack,
            "offline {offline}, records {host_records}"
        );
        if heard == AuditionState::Feed {
            // One line alone: both loudspeakers play the same in the end.
            assert_eq!(bits(&l[15_000..]), bits(&r[15_000..]));
        }
        // Once switched off, it passes bit for bit after the fade.
        set(&instance.host().audition, false);
        instance.play(&left, &right, 64, host_records);
        assert!(!instance.audio.has_tail());
        let [l, r] = instance.play(&left, &right, 64, host_records);
        assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right));
    }
}

#[test]
fn audition_waits_for_real_time() {
    let [left, right] = noise(48_000);
    let mut instance = Instance::active(false);
    instance.activate_as(Mode::Playing);
    set(&instance.host().audition, true);
    // Real time has not been proven: this may be a bounce.
    let [l, r] = instance.play(&left, &right, 512, false);
    assert_eq!(instance.shared.heard(), AuditionState::HeldBack);
    assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right));
    set(&instance.host().audition_in_bounces, true);
    instance.play(&left, &right, 512, false);
    assert_eq!(instance.shared.heard(), AuditionState::Feed);
}

#[test]
fn a_bounce_begins_without_a_fade_from_the_audition() {
    let [left, right] = noise(4800);
    let mut instance = Instance::active(false);
    set(&instance.host().audition, true);
    instance.play(&left, &right, 64, false);
    assert!(instance.audio.has_tail());
    instance.activate(true);
    let [l, r] = instance.play(&left, &right, 64, false);
    assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right));
}

#[test]
fn a_panic_in_the_analysis_stops_it_and_loses_no_take() {
    let [left, right] = noise(10_000);
    let mut instance = Instance::active(true);
    set(&instance.host().record, true);
    instance.play(&left, &right, 64, false);
    set(&instance.host().record, false);
    instance.play(&[0.0], &[0.0], 1, false);
    instance.analysis.lock().fail_on_purpose();
    assert!(instance.shared.analysis_failed.load(Ordering::Relaxed));
    // A host that renders offline must not wait for ever, and its sound passes.
    let [l, r] = instance.play(&left.repeat(20), &right.repeat(20), 8192, false);
    assert!(bits(&l[..10_000]) == bits(&left) && bits(&r[..10_000]) == bits(&right));
    assert_eq!(instance.analysis.look(), Activity::Nothing);
    let other = Instance::new(Shared::default());
    other.load(&instance.saved());
    assert_eq!(other.takes().len(), 1);
}

#[test]
fn fields_come_back_and_are_brought_into_range() {
    let instance = Instance::new(Shared::default());
    {
        let mut engine = instance.analysis.lock();
        let mut own = engine.own();
        own.left.gain_db = -12.5;
        own.right.delay_s = 9.0;
        engine.set_own(own);
        let mut limits = engine.limits();
        limits.tone_db = 5.5;
        engine.set_limits(limits);
    }
    instance
        .params
        .shape
        .update(|shape| (shape.width, shape.night) = (1234.0, false));
    let other = Instance::new(Shared::default());
    other.load(&instance.saved());
    let own = other.analysis.lock().own();
    assert_eq!((own.left.gain_db, own.right.delay_s), (-12.5, 0.030));
    assert_eq!(other.analysis.lock().limits().tone_db, 5.5);
    assert_eq!(
        (other.params.shape.get().width, other.params.shape.get().night),
        (1234.0, false)
    );
    // A state without fields resets everything, and the takes of the session before are gone.
    other.load(&PluginState {
        version: String::new(),
        params: Default::default(),
        fields: Default::default(),
    });
    assert_eq!(other.analysis.lock().own(), Rig::default().own);
    assert_eq!(other.params.shape.get(), crate::fields::Shape::default());
}

#[test]
fn states_broken_in_any_place_load_whole_or_by_their_defaults() {
    let [left, right] = noise(20_000);
    let mut instance = Instance::active(true);
    set(&instance.host().record, true);
    instance.play(&left, &right, 8192, false);
    instance.audio.deactivate();
    let good = serde_json::to_vec(&instance.saved()).expect("plain data");
    let other = Instance::new(Shared::default());
    let mut word = 0x9E37_79B9_7F4A_7C15u64;
    let (mut loaded, mut refused) = (0, 0);
    for _ in 0..2000 {
        word = word.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let at = (word >> 33) as usize % good.len();
        let mut bad = good.clone();
        if word & 1 == 0 {
            bad[at] ^= 1 << ((word >> 8) & 7);
        } else {
            bad.truncate(at);
        }
        // As in the framework: a state that is no JSON is refused before it gets here.
        let Ok(state) = serde_json::from_slice::<PluginState>(&bad) else {
            refused += 1;
            continue;
        };
        loaded += 1;
        other.load(&state);
        let mut filtered = state.clone();
        migrate::filter(&mut filtered, &FIELDS);
        for (id, kind) in crate::parameters::spec::all() {
            assert!(kind.understood(&filtered.params[&id]).is_some(), "{id}");
        }
        assert!(
            FIELDS
                .iter()
                .all(|field| (field.readable)(&filtered.fields[field.key]))
        );
    }
    assert!(
        loaded > 100 && refused > 100,
        "{loaded} loaded, {refused} refused"
    );
}

#[test]
fn loading_a_state_of_a_newer_version_is_said() {
    let mut instance = Instance::active(true);
    let mut state = instance.saved();
    state.version = String::from("99.1.0");
    state
        .params
        .insert(String::from("future"), ParamValue::Bool(true));
    instance.load(&state);
    instance.analysis.lock().show_now();
    let published = instance.published.read();
    assert_eq!(published.newer_state.as_deref(), Some("99.1.0"));
    assert!(
        published
            .message
            .as_ref()
            .is_some_and(|message| message.contains("99.1.0"))
    );
    assert!(instance.saved().fields["kept"].contains("future"));
}

#[test]
fn an_open_window_is_shown_what_is_played_and_what_is_stored() {
    let [left, right] = noise(48_000);
    let mut instance = Instance::active(true);
    let window = instance.shared.open_window();
    set(&instance.host().record, true);
    instance.play(&left, &right, 512, false);
    set(&instance.host().record, false);
    instance.play(&left, &right, 512, false);
    instance.analysis.lock().show_now();
    drop(window);
    let mut snapshot = sumproof_views::Snapshot::default();
    instance
        .published
        .read()
        .fill(&instance.params.host, &instance.shared, &mut snapshot);
    assert!(
        snapshot
            .reading
            .correlation
            .is_some_and(|value| (0.3..0.9).contains(&value))
    );
    assert!(snapshot.reading.rows[0].score.is_some());
    assert_eq!(snapshot.takes.len(), 1);
    let expected = sums(&left, &right).correlation().expect("noise is no silence");
    assert!(
        snapshot.takes[0]
            .correlation
            .is_some_and(|taken| (taken - expected).abs() < 1e-9)
    );
    let meter = instance.shared.correlation.load(Ordering::Relaxed);
    assert!((f64::from(meter) - expected).abs() < 0.05);
    assert_eq!(Settings::read(instance.host()).record, snapshot.settings.record);
}

/// Records one pass of each kind; returns the window's line once they have been compared.
fn record_passes(instance: &mut Instance, passes: [(Pass, &[Vec<f32>; 2]); 3]) -> Option<String> {
    for (pass, [left, right]) in passes {
        choose(&instance.host().pass, Choice(pass));
        set(&instance.host().record, true);
        instance.play(left, right, 512, false);
        set(&instance.host().record, false);
        instance.play(&[0.0; 64], &[0.0; 64], 64, false);
    }
    // A save doesn't wait for pending work: it stores what exists.
    saved_is_what_exists(instance);
    assert!(instance.takes().len() >= passes.len());
    // No deadline: the work ends by itself. The next look stores its result.
    while !instance.analysis.lock().pairs_are_done() {
        std::thread::yield_now();
    }
    instance.analysis.look();
    saved_is_what_exists(instance);
    instance.analysis.lock().show_now();
    assert!(!instance.published.read().passes.working);
    instance.published.read().message.clone()
}

/// Saves, loads elsewhere, and compares.
fn saved_is_what_exists(instance: &Instance) {
    let other = Instance::new(Shared::default());
    other.load(&instance.saved());
    let list = |instance: &Instance| -> Vec<(String, Method)> {
        let takes = instance.takes().into_iter();
        takes.map(|take| (take.name.clone(), take.method())).collect()
    };
    assert_eq!(list(&other), list(instance));
}

fn added(one: &[Vec<f32>; 2], other: &[Vec<f32>; 2]) -> [Vec<f32>; 2] {
    [0, 1].map(|channel| {
        let pairs = one[channel].iter().zip(&other[channel]);
        pairs.map(|(one, other)| one + other).collect()
    })
}

#[test]
fn passes_that_belong_together_become_a_take() {
    let all = noise(96_000);
    let dry = all.clone().map(|channel| channel[..48_000].to_vec());
    let wet = all.map(|channel| channel[48_000..].iter().map(|sample| 0.5 * sample).collect());
    let full = added(&dry, &wet);
    let mut orders = [
        [(Pass::Full, &full), (Pass::Dry, &dry), (Pass::Wet, &wet)],
        [(Pass::Wet, &wet), (Pass::Dry, &dry), (Pass::Full, &full)],
    ];
    for order in &mut orders {
        let mut instance = Instance::active(true);
        let said = record_passes(&mut instance, *order).expect("something is said of the pair");
        assert!(said.contains("make up the full pass"), "{said}");
        let pairs: Vec<Take> = instance
            .takes()
            .into_iter()
            .filter(|take| take.method() == Method::TwoPass)
            .collect();
        assert_eq!(pairs.len(), 1);
        let ratio_db = pairs[0].split.wet_over_dry_db().expect("there is both");
        assert!((ratio_db + 6.02).abs() < 0.1, "{ratio_db} dB");
    }
}

#[test]
fn passes_of_another_performance_are_told_and_make_no_take() {
    let all = noise(144_000);
    let part = |from: usize| all.clone().map(|channel| channel[from..from + 48_000].to_vec());
    let (dry, wet, other) = (part(0), part(48_000), part(96_000));
    let full = added(&dry, &other);
    let mut instance = Instance::active(true);
    let said = record_passes(
        &mut instance,
        [(Pass::Full, &full), (Pass::Dry, &dry), (Pass::Wet, &wet)],
    )
    .expect("something is said of the pair");
    assert!(
        said.contains("was not repeated the same way") && said.contains("Hz"),
        "{said}"
    );
    // Both halves are marked, and nothing else.
    let marked: Vec<(Pass, bool)> = instance
        .published
        .read()
        .takes
        .iter()
        .map(|take| (take.pass, take.failed))
        .collect();
    assert_eq!(
        marked.iter().filter(|(_, failed)| *failed).count(),
        2,
        "{marked:?}"
    );
    assert!(
        marked
            .iter()
            .all(|(pass, failed)| *failed == (*pass != Pass::Full)),
        "{marked:?}"
    );
    // The dry lies in the full pass, so the wet is the full less the dry. No take is made from the wet pass.
    let takes = instance.takes();
    let known: Vec<_> = takes
        .iter()
        .filter(|take| take.method() == Method::TwoPass)
        .collect();
    assert_eq!((takes.len(), known.len()), (4, 1));
    let ratio_db = known[0].split.wet_over_dry_db().expect("there is both");
    assert!(ratio_db.abs() < 0.3, "{ratio_db} dB");
}

#[test]
fn a_full_pass_after_its_halves_that_does_not_fit_is_told_and_the_pair_stays() {
    let all = noise(144_000);
    let part = |from: usize| all.clone().map(|channel| channel[from..from + 48_000].to_vec());
    let (dry, wet, other) = (part(0), part(48_000), part(96_000));
    let mut instance = Instance::active(true);
    let said = record_passes(
        &mut instance,
        [(Pass::Dry, &dry), (Pass::Wet, &wet), (Pass::Full, &other)],
    );
    let said = said.expect("something is said of the pair");
    assert!(
        said.contains("was not repeated the same way") && said.contains("another sound"),
        "{said}"
    );
    assert_eq!(instance.takes().len(), 4);
    let passes = instance.published.read().passes.clone();
    assert!(!passes.failing.is_empty() && !passes.working);
    assert_eq!(passes.said.as_deref(), Some(said.as_str()));
}

#[test]
fn takes_go_out_to_a_file_and_come_in_elsewhere() {
    let folder = std::env::temp_dir().join(format!("sumproof-file_tasks-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    let [left, right] = noise(24_000);
    let mut instance = Instance::active(true);
    for _ in 0..2 {
        set(&instance.host().record, true);
        instance.play(&left, &right, 512, false);
        set(&instance.host().record, false);
        instance.play(&left, &right, 512, false);
    }
    let file_tasks = crate::files::tasks::FileTasks::default();
    let said = |instance: &mut Instance| instance.published.read().message.clone().unwrap_or_default();
    file_tasks.export_takes(&instance.analysis, Some(folder.clone()));
    file_tasks.finish();
    let line = said(&mut instance);
    assert!(
        line.starts_with("2 takes written to ")
            && line.contains("takes.json; the rig card and the rig file beside it"),
        "{line}"
    );
    let starts = |name: &str| std::fs::read(folder.join(name)).expect(name)[..5].to_vec();
    assert_eq!(
        (starts("rig card.pdf"), starts("rig card.html")),
        (b"%PDF-".to_vec(), b"<!DOC".to_vec())
    );
    // There is somewhere to put files, and the line says where.
    let mut other = Instance::new(Shared::default());
    let import = |other: &mut Instance| {
        file_tasks.import_takes(&other.analysis, Some(folder.clone()));
        file_tasks.finish();
        said(other)
    };
    let line = import(&mut other);
    let incoming = folder.join(crate::files::folder::INCOMING);
    assert!(
        line.starts_with("Nothing to read") && line.contains(&*incoming.to_string_lossy()),
        "{line}"
    );
    std::fs::copy(folder.join("takes.json"), incoming.join("a.json")).expect("a file and a folder");
    std::fs::write(incoming.join("b.json"), "{").expect("a folder");
    let line = import(&mut other);
    assert!(
        line.starts_with("2 takes read from ") && line.contains("; b.json: holds no takes"),
        "{line}"
    );
    let names = |instance: &Instance| {
        instance
            .takes()
            .into_iter()
            .map(|take| take.name)
            .collect::<Vec<_>>()
    };
    assert_eq!(names(&other), names(&instance));
    // Nothing is added twice.
    let line = import(&mut other);
    assert!(line.contains("2 of 2 were here already"), "{line}");
    assert_eq!(other.takes().len(), 2);
    file_tasks.export_takes(&other.analysis, None);
    file_tasks.finish();
    assert!(
        said(&mut other).contains("SUMPROOF_FOLDER"),
        "{}",
        said(&mut other)
    );
    let _ = std::fs::remove_dir_all(&folder);
}

#[test]
fn the_words_for_the_card_are_saved_and_stand_on_what_goes_out() {
    use crate::files::rig::testing::every_word;
    use sumproof_report::rig::file::parse;
    use sumproof_views::CardWords;

    let words = every_word();
    let mut instance = Instance::active(true);
    instance.analysis.lock().set_card(words.clone());
    let state = instance.saved();
    let mut other = Instance::active(true);
    other.load(&state);
    assert_eq!(*other.analysis.lock().card(), words);
    // A state from before these words existed has none, and clears those of the project before.
    let mut old = state;
    old.fields.remove("card");
    other.load(&old);
    assert_eq!(*other.analysis.lock().card(), CardWords::default());

    let folder = std::env::temp_dir().join(format!("sumproof-card-words-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    let file_tasks = crate::files::tasks::FileTasks::default();
    let said = |instance: &mut Instance| instance.published.read().message.clone().unwrap_or_default();
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).expect(name);
    // The visible text of a page, wherever its lines break.
    let words_of = |name: &str| {
        let page = read(name);
        let body = page.split_once("<body").expect("a page").1;
        let texts = body
            .split('<')
            .filter_map(|piece| Some(piece.split_once('>')?.1.trim()));
        texts
            .filter(|text| !text.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
    };
    // Without a take a card is written all the same; without any words it has blanks and no level.
    file_tasks.export_takes(&other.analysis, Some(folder.clone()));
    file_tasks.finish();
    let line = said(&mut other);
    assert!(
        line.starts_with("The rig card and the rig file written to "),
        "{line}"
    );
    assert!(!folder.join("takes.json").exists());
    let blank = words_of("rig card.html");
    assert!(blank.contains("____ dBu rms, ____ dBu peak") && blank.contains("ask me"));
    assert!(!blank.contains(&words.player));

    instance.analysis.lock().set_boxes(sumproof_views::Boxes {
        left: Some(sumproof_core::routing::boxes::Kind::LineIsolator),
        right: Some(sumproof_core::routing::boxes::Kind::LineIsolator),
    });
    file_tasks.export_takes(&instance.analysis, Some(folder.clone()));
    file_tasks.finish();
    let card = words_of("rig card 2.html");
    for text in [
        &words.player,
        &words.show,
        &words.date,
        &words.contact,
        &words.position,
        &words.monitor,
        &words.rig,
        &words.left,
        &words.right,
        &words.connector,
        &words.notes[0],
        &words.notes[1],
        &words.at_risk[0],
    ] {
        assert!(card.contains(text.as_str()), "not on the card: {text}");
    }
    for text in ["mine: ", "Take the right line", "+3 dBu rms, +14 dBu peak"] {
        assert!(card.contains(text), "not on the card: {text}");
    }
    let file = parse(&read("rig 2.toml")).expect("a rig file");
    assert_eq!(crate::files::rig::card_words(&file), words);
    // And from there into another project, which keeps what the file does not mention.
    let incoming = folder.join(crate::files::folder::INCOMING);
    std::fs::create_dir_all(&incoming).expect("a folder");
    std::fs::write(incoming.join("gig.toml"), "[card]\nshow = \"autumn\"\n").expect("a file");
    file_tasks.import_takes(&instance.analysis, Some(folder.clone()));
    file_tasks.finish();
    let line = said(&mut instance);
    assert!(line.contains("; your words for the rig card"), "{line}");
    let now = instance.analysis.lock().card().clone();
    assert_eq!((now.show.as_str(), &now.player), ("autumn", &words.player));
    let _ = std::fs::remove_dir_all(&folder);
}

#[test]
fn the_own_feed_s_name_and_the_boxes_are_saved() {
    use sumproof_core::routing::boxes::Kind;
    use sumproof_views::Boxes;

    let instance = Instance::active(true);
    let boxes = Boxes {
        left: Some(Kind::PassiveDirectBox),
        right: None,
    };
    instance.analysis.lock().set_own_name("side fill");
    instance.analysis.lock().set_boxes(boxes);
    let state = instance.saved();
    let other = Instance::active(true);
    other.load(&state);
    let both = || {
        let engine = other.analysis.lock();
        (String::from(engine.own_name()), engine.boxes())
    };
    assert_eq!(both(), (String::from("side fill"), boxes));
    // A state from before these fields existed has neither.
    let mut old = state;
    old.fields.remove("own_name");
    old.fields.remove("boxes");
    other.load(&old);
    assert_eq!(both(), (String::new(), Boxes::default()));
}
