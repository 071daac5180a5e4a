//! The work done in a host's own calls, and the effects of a loaded state: work is counted, not timed.

use sumproof_core::session::take::Pass;

use super::*;

/// The plugin with a side-chain, whose analysis thread is this test: any work the test does not do, a host's call has
/// done.
struct Beside {
    params: Arc<PluginParams>,
    analysis: Analysis,
    audio: AudioSide<4>,
}

impl Beside {
    fn new() -> Self {
        let host = Arc::new(HostParams::new(true));
        let shared = Arc::new(Shared::default());
        let (own_in, own_out) = triple_buffer(&Rig::default().own);
        let analysis = Analysis::new(Engine::new(Links {
            params: Arc::clone(&host),
            shared: Arc::clone(&shared),
            own: own_in,
            published: triple_buffer(&Published::default()).0,
            repaint: RepaintNotifier::new(),
        }));
        shared.set_worker(Some(std::thread::current()));
        Self {
            params: Arc::new(PluginParams::new(Arc::clone(&host), &analysis)),
            audio: AudioSide::new(host, Arc::clone(&shared), analysis.clone(), own_out),
            analysis,
        }
    }

    fn activate(&mut self, rate_hz: f64) {
        self.audio.activate(&Drive {
            rate_hz,
            longest_block: 512,
            mode: Mode::Playing,
            reference: Reference::Mono,
        });
        self.audio.reset();
    }

    /// Plays with the dry on the side-chain: the pair is the dry and itself 70 ms later.
    fn play(&mut self, dry: &[f32]) {
        self.play_part(dry, 0..dry.len());
    }

    /// The same with a part of it.
    fn play_part(&mut self, dry: &[f32], part: std::ops::Range<usize>) {
        let wet = |at: usize| at.checked_sub(3360).map_or(0.0, |from| 0.3 * dry[from]);
        let (mut left, mut right): (Vec<f32>, Vec<f32>) = part
            .clone()
            .map(|at| (dry[at] + wet(at), dry[at] - wet(at)))
            .unzip();
        let dry = dry[part].chunks(512);
        for ((left, right), dry) in left.chunks_mut(512).zip(right.chunks_mut(512)).zip(dry) {
            self.audio.process(&mut [left, right], [dry, dry], false);
        }
    }

    fn methods(&self) -> Vec<Method> {
        self.analysis.lock().takes().iter().map(Take::method).collect()
    }

    fn work(&self) {
        // While there is something to do at once, and then once more: the last look finds nothing to do.
        while self.analysis.look() == Activity::Plenty {}
        self.analysis.look();
    }
}

#[test]
fn no_host_call_does_the_analysis_work() {
    let mut beside = Beside::new();
    let dry: Vec<f32> = noise(96_000).map(|channel| channel)[0].clone();
    beside.activate(RATE_HZ);
    set(&beside.params.host.record, true);
    beside.play(&dry[..90_000]);
    set(&beside.params.host.record, false);
    beside.play(&dry[90_000..91_000]);
    // It saves, stops, starts at another rate, saves again: none of these calls has analysed anything.
    let _ = beside.params.serialize_fields();
    beside.audio.deactivate();
    beside.activate(44_100.0);
    let _ = beside.params.serialize_fields();
    assert!(beside.methods().is_empty());
    // The analysis thread's first looks store the take at once with what is known; the long work follows in shares.
    let (mut stored, mut shares) = (0, 0);
    for _ in 0..2000 {
        let activity = beside.analysis.look();
        let methods = beside.methods();
        stored += u32::from(methods == [Method::Estimated]);
        if methods == [Method::SideChain] {
            break;
        }
        shares += u32::from(activity == Activity::Plenty);
    }
    assert_eq!(beside.methods(), [Method::SideChain]);
    assert!(stored > 5 && shares > 5, "{stored} looks, {shares} shares");
    // And it was saved in between as stored.
    assert!(beside.params.serialize_fields()["takes"].contains("Take 1"));
}

#[test]
fn without_sound_or_a_reference_nothing_is_solved_for() {
    for (dry, reference) in [(vec![0.0; 90_000], true), (noise(90_000)[0].clone(), false)] {
        let mut beside = Beside::new();
        beside.activate(RATE_HZ);
        set(&beside.params.host.record, true);
        if reference {
            beside.play(&dry);
        } else {
            let (mut left, mut right) = (dry.clone(), dry.clone());
            for (left, right) in left.chunks_mut(512).zip(right.chunks_mut(512)) {
                beside.audio.process(&mut [left, right], [&[]; 2], false);
            }
        }
        set(&beside.params.host.record, false);
        beside.play(&[0.0; 512]);
        // One look processes it and one ends it: no share of work follows.
        let busy = (0..4)
            .filter(|_| beside.analysis.look() == Activity::Plenty)
            .count();
        assert_eq!(
            (busy, beside.methods()),
            (0, vec![Method::Estimated]),
            "{reference}"
        );
    }
}

#[test]
fn what_was_found_of_a_take_while_a_state_was_loaded_is_of_no_take_in_it() {
    let sound = noise(30_000)[0].clone();
    // Records without a reference: a line about the take says that nothing arrived on the side-chain.
    let record = || {
        let mut beside = Beside::new();
        beside.activate(RATE_HZ);
        set(&beside.params.host.record, true);
        let (mut left, mut right) = (sound.clone(), sound.clone());
        for (left, right) in left.chunks_mut(512).zip(right.chunks_mut(512)) {
            beside.audio.process(&mut [left, right], [&[]; 2], false);
        }
        set(&beside.params.host.record, false);
        beside.play(&[0.0; 512]);
        beside
    };
    let message = |beside: &Beside| beside.analysis.lock().message().map(String::from);
    let mut before = record();
    before.analysis.look_while(|| {});
    assert!(message(&before).is_some_and(|line| line.contains("side-chain")));
    let state = before.params.serialize_fields();
    before.audio.deactivate();
    // Another project, whose first take has the same id.
    let other = record();
    other
        .analysis
        .look_while(|| other.params.deserialize_fields(&state));
    assert_eq!((message(&other), other.methods().len()), (None, 1));
}

#[test]
fn a_gap_is_told_to_the_side_chain() {
    let mut beside = Beside::new();
    let dry = noise(640_000)[0].clone();
    beside.activate(RATE_HZ);
    beside.play(&dry[..4_800]);
    beside.work();
    set(&beside.params.host.record, true);
    for begin in (0..640_000).step_by(40_000) {
        if begin == 320_000 {
            beside.audio.reset();
        }
        beside.play_part(&dry, begin..begin + 40_000);
        beside.work();
    }
    set(&beside.params.host.record, false);
    beside.play(&[0.0; 512]);
    for _ in 0..2000 {
        beside.work();
        if beside.methods() == [Method::SideChain] {
            break;
        }
    }
    let engine = beside.analysis.lock();
    let take = engine.takes().iter().next().expect("a take");
    // 30 % of the amplitude arrives after the split time: 10.5 dB lower, however the take was cut.
    let wet_db = take.split.wet_over_dry_db().expect("there is sound");
    assert!((wet_db + 10.46).abs() < 0.5, "{wet_db}");
    assert!(engine.message().is_some_and(|line| line.contains("interrupted")));
}

#[test]
fn what_a_state_switches_on_comes_back_and_is_not_heard() {
    let [left, right] = noise(20_000);
    let mut instance = Instance::active(false);
    // The order in which the framework loads: the parameters, then the fields.
    let switches = |instance: &Instance, on| {
        set(&instance.host().audition, on);
        set(&instance.host().audition_in_bounces, on);
        set(&instance.host().record, on);
    };
    let state = instance.saved();
    instance.play(&left, &right, 512, false);
    switches(&instance, true);
    instance.load(&state);
    assert!(instance.host().audition.value() && instance.host().audition_in_bounces.value());
    for offline in [false, true] {
        let [l, r] = instance.play(&left, &right, 512, false);
        assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right), "{offline}");
        assert_eq!(instance.shared.heard(), AuditionState::Loaded);
        let mut snapshot = sumproof_views::Snapshot::default();
        let (params, shared) = (Arc::clone(&instance.params), Arc::clone(&instance.shared));
        instance
            .published
            .read()
            .fill(&params.host, &shared, &mut snapshot);
        assert_eq!(snapshot.hearing, sumproof_views::Hearing::Loaded);
        assert!(!snapshot.settings.audition && !snapshot.settings.record);
        instance.activate(offline);
    }
    instance.analysis.catch_up();
    assert!(instance.takes().is_empty(), "nothing was recorded");
    // Switched off and on again, it counts.
    instance.activate(false);
    switches(&instance, false);
    instance.play(&left[..512], &right[..512], 512, false);
    switches(&instance, true);
    let [l, _] = instance.play(&left, &right, 512, false);
    assert_eq!(instance.shared.heard(), AuditionState::Feed);
    assert!(bits(&l) != bits(&left));
    // The same holds where a state was loaded with it off and the user switches it on before the next block.
    switches(&instance, false);
    instance.load(&state);
    switches(&instance, true);
    instance.play(&left, &right, 512, false);
    assert_eq!(instance.shared.heard(), AuditionState::Feed);
}

#[test]
fn nothing_of_one_project_enters_another() {
    let [left, right] = noise(30_000);
    let mut instance = Instance::active(false);
    let state = instance.saved();
    // A half that waits for its other half, and a take that is being recorded.
    choose(&instance.host().pass, Choice(Pass::Dry));
    set(&instance.host().record, true);
    instance.play(&left, &right, 512, false);
    set(&instance.host().record, false);
    instance.play(&left[..512], &right[..512], 512, false);
    instance.analysis.catch_up();
    assert_eq!(instance.takes().len(), 1);
    set(&instance.host().record, true);
    instance.play(&left, &right, 512, false);
    instance.load(&state);
    set(&instance.host().record, false);
    instance.play(&left, &right, 512, false);
    instance.analysis.catch_up();
    assert!(instance.takes().is_empty());
    // The other half of one that is no longer there.
    choose(&instance.host().pass, Choice(Pass::Wet));
    set(&instance.host().record, true);
    instance.play(&left, &right, 512, false);
    set(&instance.host().record, false);
    instance.play(&left[..512], &right[..512], 512, false);
    instance.analysis.catch_up();
    let names: Vec<String> = instance.takes().into_iter().map(|take| take.name).collect();
    assert_eq!(names, ["Take 1"]);
}

#[test]
fn at_a_rate_that_is_not_measured_sound_passes_and_the_window_says_why() {
    let [left, right] = noise(20_000);
    for rate_hz in [1.0, 999.0, 7_999.0, 384_001.0, 1_234_567.8, 1e12] {
        let mut instance = Instance::new(Shared::default());
        set(&instance.host().audition, true);
        set(&instance.host().audition_in_bounces, true);
        set(&instance.host().record, true);
        instance.audio.activate(&Drive {
            rate_hz,
            longest_block: 8192,
            mode: Mode::Playing,
            reference: Reference::Stereo,
        });
        instance.audio.reset();
        let [l, r] = instance.play(&left, &right, 512, false);
        assert!(bits(&l) == bits(&left) && bits(&r) == bits(&right), "{rate_hz}");
        let mut snapshot = sumproof_views::Snapshot::default();
        let (params, shared) = (Arc::clone(&instance.params), Arc::clone(&instance.shared));
        instance
            .published
            .read()
            .fill(&params.host, &shared, &mut snapshot);
        let said = snapshot.notices.message.take().expect("it is said");
        assert!(said.contains(&format!("{rate_hz:.0} Hz")), "{said}");
        // Back at a rate that is measured.
        instance.activate(false);
        instance
            .published
            .read()
            .fill(&params.host, &shared, &mut snapshot);
        assert_eq!(snapshot.notices.message, None);
    }
}
