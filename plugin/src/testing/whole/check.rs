//! The line check of one instance without a host: what starts its signal, what ends it, what it finds.

use sumproof_core::line_check::{Generator, Plan, SignalSettings};
use sumproof_core::routing::feed::{Ending, SumLaw};
use sumproof_core::routing::line::Polarity;

use super::*;

/// Frames after which a fade is over.
const FADE: usize = 600;
/// A place within the left line's sweep; the tone, the marker and the pulses come before it.
const LOUD_AT: usize = 392_000;

fn settings() -> SignalSettings {
    SignalSettings {
        level_dbfs: -40.0,
        ..SignalSettings::default()
    }
}

/// The signal from its beginning.
fn signal(frames: usize) -> [Vec<f32>; 2] {
    let mut generator = Generator::new(Plan::new(settings()).expect("the usual"), RATE_HZ);
    let mut channels = [vec![0.0; frames], vec![0.0; frames]];
    let [left, right] = &mut channels;
    generator.fill(left, right);
    channels
}

fn peak(samples: &[f32]) -> f32 {
    samples.iter().fold(0.0, |peak, sample| peak.max(sample.abs()))
}

impl Instance {
    /// Active in real time, with an open window.
    fn at_a_desk() -> Self {
        let instance = Self::active(false);
        instance.shared.pulse.prove();
        instance
    }

    /// Plays in blocks, with the window drawing and the analysis looking in between.
    fn attended(&mut self, left: &[f32], right: &[f32], block: usize) -> [Vec<f32>; 2] {
        let mut out = [Vec::new(), Vec::new()];
        for (left, right) in left.chunks(block).zip(right.chunks(block)) {
            self.shared.switch.beat();
            let [l, r] = self.play(left, right, block, false);
            out[0].extend(l);
            out[1].extend(r);
            self.analysis.look();
        }
        out
    }

    fn silence(&mut self, frames: usize, block: usize) -> [Vec<f32>; 2] {
        self.attended(&vec![0.0; frames], &vec![0.0; frames], block)
    }

    /// Takes both steps and plays the lead-in.
    fn send(&mut self) {
        self.shared.switch.hold();
        self.silence(FADE, 512);
        self.analysis.lock().send_check(settings());
    }

    /// The line shown in the window.
    fn said(&mut self) -> Option<String> {
        self.shown().said
    }

    fn shown(&mut self) -> sumproof_views::LineCheck {
        self.analysis.look();
        self.analysis.lock().show_now();
        self.published.read().check.clone()
    }
}

#[test]
fn without_both_steps_nothing_sounds() {
    let [left, right] = noise(20_000);
    let mut instance = Instance::at_a_desk();
    // The second step alone has no effect.
    instance.analysis.lock().send_check(settings());
    let out = instance.attended(&left, &right, 512);
    assert!(bits(&out[0]) == bits(&left) && bits(&out[1]) == bits(&right));
    assert!(!instance.shared.switch.is_on());
    // The first step alone holds everything back, invalid samples included, and does nothing more.
    instance.shared.switch.hold();
    let mut broken = left.clone();
    broken[10_000] = f32::NAN;
    broken[11_000] = f32::INFINITY;
    let out = instance.attended(&broken, &right, 512);
    assert!(out[0][0].abs() <= left[0].abs() && peak(&out[0][FADE..]) == 0.0 && peak(&out[1][FADE..]) == 0.0);
    assert_eq!(instance.shared.heard(), AuditionState::Held);
    instance.shared.switch.release();
    let out = instance.attended(&left, &right, 512);
    assert!(bits(&out[0][FADE..]) == bits(&left[FADE..]));
    assert_eq!(instance.shared.heard(), AuditionState::Stereo);
}

#[test]
fn the_signal_alone_goes_out_in_blocks_of_any_size() {
    let frames = LOUD_AT + 20_000;
    let expected = signal(frames);
    let [mut left, right] = noise(frames);
    left[LOUD_AT] = f32::NAN;
    for block in [1, 17, 512, 8192] {
        let mut instance = Instance::at_a_desk();
        instance.send();
        let out = instance.attended(&left, &right, block);
        assert!(peak(&out[0][LOUD_AT..]) > 0.005, "blocks of {block}");
        for (out, expected) in out.iter().zip(&expected) {
            // It fades in over 10 ms, and after that it is the signal bit for bit.
            for (n, (&out, &expected)) in out.iter().zip(expected).take(FADE).enumerate() {
                let faded = expected * ((n + 1) as f32 / 480.0).min(1.0);
                assert!(
                    (out - faded).abs() <= 1e-4 * faded.abs(),
                    "blocks of {block}, frame {n}"
                );
            }
            assert!(bits(&out[FADE..]) == bits(&expected[FADE..]), "blocks of {block}");
        }
        assert_eq!(instance.shared.heard(), AuditionState::Test);
    }
}

/// Feeds the output through two lines back to the input.
fn looped(instance: &mut Instance, block: usize, late: usize, frames: usize) {
    let mut past = [vec![0.0f32; frames + late], vec![0.0f32; frames + late]];
    let mut at = 0;
    while at < frames {
        let size = block.min(frames - at);
        let arrived: Vec<f32> = (at..at + size)
            .map(|n| {
                let line = |channel: &[f32], extra: usize| {
                    (n + late)
                        .checked_sub(late + block + extra)
                        .map_or(0.0, |n| channel[n])
                };
                0.5 * line(&past[0], 0) - 0.25 * line(&past[1], late)
            })
            .collect();
        let [l, r] = instance.attended(&arrived, &arrived, block);
        past[0][at..at + size].copy_from_slice(&l);
        past[1][at..at + size].copy_from_slice(&r);
        at += size;
    }
}

#[test]
fn what_the_lines_do_is_found_and_becomes_the_own_feed() {
    let mut instance = Instance::at_a_desk();
    let open = instance.shared.open_window();
    instance.send();
    let seconds = Plan::new(settings()).expect("the usual").seconds() + 1.5;
    // The right line 48 samples late, polarity inverted and 6.02 dB softer, into a sum.
    looped(&mut instance, 256, 48, (seconds * RATE_HZ) as usize);
    assert!(!instance.shared.switch.is_on());
    // No deadline: the reading runs in a thread of its own.
    let found = loop {
        let shown = instance.shown();
        if let Some(found) = shown.found {
            break found;
        }
        assert_eq!(shown.said, None);
        std::thread::sleep(Duration::from_millis(5));
    };
    assert!(found.sentence.contains("cancel each other"), "{}", found.sentence);
    assert!(found.sentence.contains("1.00 ms late"), "{}", found.sentence);
    let all: Vec<String> = found
        .lines
        .iter()
        .map(|(what, text)| format!("{what}: {text}"))
        .collect();
    assert!(
        all.iter()
            .any(|line| line.starts_with("level: the right line is 6.02 dB softer")),
        "{all:?}"
    );
    assert!(found.can_save);
    // The input is still held back, and nothing else was changed by it.
    assert_eq!(instance.shared.heard(), AuditionState::Held);
    instance.analysis.lock().save_check();
    let own = instance.analysis.lock().own_feed();
    assert_eq!(
        (own.name.as_str(), own.feed.ending),
        ("as measured", Ending::Sum(SumLaw::Average))
    );
    assert_eq!(
        (own.feed.left.polarity, own.feed.right.polarity),
        (Polarity::Normal, Polarity::Flipped)
    );
    assert!((own.feed.right.gain_db + 6.0206).abs() < 0.02 && (own.feed.right.delay_s - 0.001).abs() < 2e-7);
    assert!(instance.shown().saved);
    // It is saved with the project, and loaded again.
    let other = Instance::new(Shared::default());
    other.load(&instance.saved());
    assert_eq!(other.analysis.lock().own_feed(), own);
    drop(open);
}

/// Lets a signal go out until it is loud, then runs `what`, and returns the instance, its input from then on (noise)
/// and its output.
fn ended_by(what: impl FnOnce(&mut Instance)) -> (Instance, [Vec<f32>; 2], [Vec<f32>; 2]) {
    let mut instance = Instance::at_a_desk();
    instance.send();
    let out = instance.silence(LOUD_AT, 512);
    assert!(peak(&out[0][LOUD_AT - 1000..]) > 0.005);
    what(&mut instance);
    let sound = noise(10_000);
    let out = instance.attended(&sound[0], &sound[1], 512);
    (instance, sound, out)
}

#[test]
fn whatever_ends_it_ends_it_at_once() {
    // Stopped: a fade, then silence.
    let (mut instance, _, out) = ended_by(|instance| instance.shared.switch.stop());
    assert!(peak(&out[0][..100]) > 0.001 && peak(&out[0][FADE..]) == 0.0 && peak(&out[1][FADE..]) == 0.0);
    assert!(instance.said().expect("a line").starts_with("Stopped"));
    // The window closes: a fade, then the input.
    let (mut instance, sound, out) = ended_by(|instance| instance.shared.switch.release());
    assert!(bits(&out[0][FADE..]) == bits(&sound[0][FADE..]));
    assert!(instance.said().expect("a line").starts_with("Stopped"));
    // Bypassed: the same, also for the analysis, which gets no sound while bypassed.
    let (mut instance, sound, out) = ended_by(|instance| set(&instance.host().bypass, true));
    assert!(bits(&out[0][FADE..]) == bits(&sound[0][FADE..]));
    assert!(instance.said().expect("a line").contains("bypassed"));
    // The host resets, as it does when it stops or jumps: no trace of the signal in the next frame; the input is still
    // held back.
    let (mut instance, _, out) = ended_by(|instance| instance.audio.reset());
    assert!(peak(&out[0]) == 0.0 && peak(&out[1]) == 0.0);
    assert!(instance.said().expect("a line").contains("audio stopped"));
    // It runs ahead of the clock: the bounce gets its original sound from its first frame.
    let (mut instance, sound, out) = ended_by(|instance| instance.shared.pulse.begin(RATE_HZ));
    assert!(bits(&out[0]) == bits(&sound[0]) && bits(&out[1]) == bits(&sound[1]));
    assert!(instance.said().expect("a line").contains("real time"));
    // It is activated again, to bounce or at another rate.
    for mode in [Mode::Offline, Mode::Playing] {
        let (mut instance, sound, out) = ended_by(|instance| {
            instance.audio.deactivate();
            instance.activate_as(mode);
            instance.shared.pulse.prove();
        });
        assert!(
            bits(&out[0]) == bits(&sound[0]) && bits(&out[1]) == bits(&sound[1]),
            "{mode:?}"
        );
        assert!(instance.said().expect("a line").contains("audio stopped"));
        assert!(!instance.shared.switch.is_on() && !instance.shared.switch.is_held());
    }
}

#[test]
fn it_ends_when_the_host_records_and_when_nobody_attends() {
    let mut instance = Instance::at_a_desk();
    instance.send();
    instance.silence(LOUD_AT, 512);
    let [left, right] = noise(10_000);
    let out = instance.play(&left, &right, 512, true);
    assert!(bits(&out[0][FADE..]) == bits(&left[FADE..]));
    assert!(instance.said().expect("a line").contains("records"));
    // A window that vanishes without notice.
    let mut instance = Instance::at_a_desk();
    instance.send();
    instance.silence(LOUD_AT, 512);
    let second = vec![0.0; 48_000];
    let [before, _] = instance.play(&second, &second, 512, false);
    instance.analysis.look();
    assert!(peak(&before[..20_000]) > 0.001);
    for _ in 0..2 {
        instance.play(&second, &second, 512, false);
        instance.analysis.look();
    }
    let out = instance.play(&left, &right, 512, false);
    assert!(bits(&out[0]) == bits(&left) && bits(&out[1]) == bits(&right));
    assert!(instance.said().expect("a line").contains("not drawn"));
}

#[test]
fn it_never_starts_in_a_bounce_nor_late() {
    let [left, right] = noise(20_000);
    // A host that renders offline, one not yet seen to play in real time, one that is bypassed.
    for (mode, proven, bypassed) in [
        (Mode::Offline, true, false),
        (Mode::Playing, false, false),
        (Mode::Playing, true, true),
    ] {
        let mut instance = Instance::new(Shared::default());
        instance.activate_as(mode);
        if proven {
            instance.shared.pulse.prove();
        }
        set(&instance.host().bypass, bypassed);
        instance.shared.switch.hold();
        instance.attended(&left, &right, 512);
        instance.analysis.lock().send_check(settings());
        let out = instance.attended(&left, &right, 512);
        assert!(
            bits(&out[0]) == bits(&left) && bits(&out[1]) == bits(&right),
            "{mode:?}"
        );
        assert!(instance.said().is_some(), "{mode:?}");
    }
    // An order that the host's audio does not take in time is void, however late the audio resumes.
    let mut instance = Instance::at_a_desk();
    instance.send();
    std::thread::sleep(Duration::from_millis(1100));
    assert!(instance.said().expect("a line").contains("audio stopped"));
    let out = instance.silence(LOUD_AT, 512);
    assert!(peak(&out[0]) == 0.0 && peak(&out[1]) == 0.0);
    // The next one goes out.
    instance.send();
    let out = instance.silence(LOUD_AT, 512);
    assert!(peak(&out[0][LOUD_AT - 1000..]) > 0.005);
}

#[test]
fn lost_frames_end_it() {
    let mut instance = Instance::new(Shared::aged(Duration::from_secs(3600)));
    instance.activate(false);
    instance.shared.pulse.prove();
    instance.send();
    instance.silence(LOUD_AT, 512);
    // The analysis is blocked for so long that the ring fills up.
    instance.shared.forget_emptied();
    let long = vec![0.0; 48_000 * 3];
    for part in long.chunks(512) {
        instance.shared.switch.beat();
        instance.play(part, part, 512, false);
    }
    let out = instance.silence(10_000, 512);
    assert!(peak(&out[0]) == 0.0);
    assert!(instance.said().expect("a line").contains("missing"));
}
