"""Effects of other people's packages: pedalboard's own (PyPI), LADSPA effects of Debian's caps, tap-plugins, swh-plugins and cmt,
and impulse responses of Debian's guitarix-common and jconvolver-config-files.

What `wet` functions give is the effect alone, two channels, without the sound that went in.
"""

import os

import numpy as np
import pedalboard as pb
from pedalboard.io import AudioFile
from scipy.signal import fftconvolve, resample_poly

from ladspa import Effect
from phrases import RATE_HZ, pick

LADSPA = os.environ.get("SUMPROOF_LADSPA", "/usr/lib/ladspa")
HALL = os.environ.get("SUMPROOF_GUITARIX", "/usr/share/gx_head/sounds")
STREET = os.environ.get("SUMPROOF_JCONVOLVER", "/usr/share/jconvolver/config-files")


def effect(library, label, sound, **settings):
    return Effect(LADSPA, library, label).run(sound, RATE_HZ, **settings)


def board(plugin, sound):
    """One of pedalboard's effects over channels x frames."""
    return np.asarray(plugin(np.atleast_2d(sound).astype(np.float32), RATE_HZ, reset=True), dtype=np.float64)


def both(sound):
    return np.stack([sound, sound])


def late(sound, seconds):
    """Delayed by any time, by the phase of its spectrum; what runs over the end is cut."""
    pad = int(0.1 * RATE_HZ)
    padded = np.pad(np.atleast_2d(sound), ((0, 0), (pad, pad)))
    spectrum = np.fft.rfft(padded)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(padded.shape[1], 1 / RATE_HZ) * seconds)
    moved = np.fft.irfft(spectrum * turn, padded.shape[1])[:, pad:-pad]
    return moved if np.ndim(sound) == 2 else moved[0]


# ---- amplifiers ----------------------------------------------------------------------------------------------------------


def amplified(sound, rng, kind=None):
    """A mono chain: what it is and its sound."""
    kind = kind or pick(rng, ("none", "clean", "crunch", "lead", "pedal", "tube"))
    sound = sound / max(np.sqrt(np.mean(sound**2)), 1e-9) * 0.08
    if kind == "clean":
        sound = effect("caps.so", "AmpVTS", sound, over=1, gain=0.12, bright=0.5, power=0.3, tonestack=int(rng.integers(9)))[0]
        sound = effect("caps.so", "CabinetIV", sound, model=int(rng.integers(25)))[0]
    elif kind in ("crunch", "lead"):
        gain = rng.uniform(0.35, 0.5) if kind == "crunch" else rng.uniform(0.65, 0.85)
        sound = effect(
            "caps.so", "AmpVTS", sound, over=1, gain=gain, power=0.6, tonestack=int(rng.integers(9)), mid=rng.uniform(0.2, 0.8)
        )[0]
        sound = effect("caps.so", "CabinetIV", sound, model=int(rng.integers(25)))[0]
    elif kind == "pedal":
        chain = pb.Pedalboard([
            pb.HighpassFilter(120), pb.Distortion(drive_db=rng.uniform(12, 28)), pb.LowpassFilter(rng.uniform(3500, 6000)),
        ])
        sound = board(chain, sound)[0]
        sound = effect("caps.so", "CabinetIII", sound, model=int(rng.integers(17)))[0]
    elif kind == "tube":
        sound = effect("tap_tubewarmth.so", "tap_tubewarmth", sound * 4, drive=rng.uniform(3, 8), tape=rng.uniform(-5, 8))[0]
        sound = effect("caps.so", "CabinetIII", sound, model=int(rng.integers(17)))[0]
    return kind, sound


# ---- effects alone -------------------------------------------------------------------------------------------------------


def impulse_response(path):
    with AudioFile(path) as file:
        rate_hz, data = int(file.samplerate), file.read(file.frames).astype(np.float64)
    return data if rate_hz == RATE_HZ else resample_poly(data, RATE_HZ, rate_hz, axis=1)


def convolved(sound, response):
    return np.stack([fftconvolve(sound, channel)[: len(sound)] for channel in response])


REVERBS = {
    "dev": ("pedalboard", "tap", "caps-plate", "hall"),
    "publish": ("freeverb", "tap", "swh-plate", "caps-plate", "street", "pedalboard"),
}


def reverb(sound, rng, half):
    # Another draw of a half has its reverbs.
    engine = pick(rng, REVERBS[half.split("-")[0]])
    before = rng.uniform(0.0, 0.04)
    if engine == "pedalboard":
        size, damping = rng.uniform(0.3, 0.9), rng.uniform(0.2, 0.8)
        wet = board(pb.Reverb(room_size=size, damping=damping, wet_level=1.0, dry_level=0.0, width=1.0), both(sound))
    elif engine == "freeverb":
        wet = effect(
            "cmt.so", "freeverb3", both(sound), room=rng.uniform(0.3, 0.9), damping=rng.uniform(0.2, 0.8), wet=1, dry=0, width=1
        )
    elif engine == "tap":
        wet = effect(
            "tap_reverb.so", "tap_reverb", both(sound),
            decay=rng.uniform(1200, 4000), dry=-70, wet=0, comb=1, allpass=1, bandpass=1, enhanced=1, reverb=int(rng.integers(43)),
        )
    elif engine == "caps-plate":
        wet = effect(
            "caps.so", "Plate", sound, bandwidth=rng.uniform(0.4, 0.9), tail=rng.uniform(0.3, 0.8), damping=rng.uniform(0.1, 0.5), blend=1
        )
    elif engine == "swh-plate":
        wet = effect("plate_1423.so", "plate", sound, reverb=rng.uniform(1.5, 5.0), damping=rng.uniform(0.2, 0.7), dry=1)
    elif engine == "hall":
        wet = convolved(sound, impulse_response(os.path.join(HALL, "greathall.wav")))
    else:
        pair = [impulse_response(os.path.join(STREET, f"demo-reverbs/street2-{side}.wav"))[0] for side in "LR"]
        wet = convolved(sound, pair)
    return engine, late(wet, before)


def echo(sound, rng, beat_s):
    """Echoes of their own on each side; `on the beat` hides them under the next notes."""
    engine = pick(rng, ("pedalboard", "tap-crossed", "tape"))
    on_beat = rng.random() < 0.4
    times = [beat_s * pick(rng, (0.5, 1.0)), beat_s * 0.75] if on_beat else [rng.uniform(0.18, 0.34), rng.uniform(0.36, 0.55)]
    feedback = rng.uniform(0.15, 0.5)
    if engine == "tap-crossed":
        wet = effect(
            "tap_echo.so", "tap_stereo_echo", both(sound),
            l_delay=1000 * times[0], r_haas_delay=1000 * times[1], l_feedback=100 * feedback, r_haas_feedback=100 * feedback,
            l_echo=0, r_echo=0, dry=-70, cross=1,
        )
        # A dry level of -70 dB still lets something through.
        wet = wet - 10 ** (-70 / 20) * both(sound)
    elif engine == "tape":
        # Inches at one inch a second are seconds.
        taps = [
            effect("tape_delay_1211.so", "tapeDelay", sound, tape=1, dry=-90, tap_1_distance=t, tap_1_level=0, tap_2_distance=2 * t,
                   tap_2_level=-8, tap_3_level=-90, tap_4_level=-90)[0]
            for t in times
        ]
        wet = np.stack(taps)
    else:
        wet = np.stack([board(pb.Delay(t, feedback, mix=1.0), sound)[0] for t in times])
    return f"{engine}{', on the beat' if on_beat else ''}", wet


def chorus(sound, rng):
    engine = pick(rng, ("pedalboard", "caps", "tap"))
    rate = rng.uniform(0.3, 1.8)
    if engine == "pedalboard":
        wet = np.stack([
            board(pb.Chorus(rate * k, rng.uniform(0.15, 0.4), rng.uniform(7, 16), 0.0, 1.0), sound)[0] for k in (1.0, 1.13)
        ])
    elif engine == "caps":
        wet = np.stack([
            effect("caps.so", "ChorusI", sound, t=rng.uniform(6, 20), width=rng.uniform(1, 4), rate=rate * k, blend=0,
                   feedforward=1, feedback=0)[0]
            - sound  # What comes in goes out again at its own level, whatever the blend.
            for k in (1.0, 1.17)
        ])
    else:
        wet = effect(
            "tap_chorusflanger.so", "tap_chorusflanger", both(sound), frequency=rate, l_r_phase=180, depth=rng.uniform(30, 70),
            delay=rng.uniform(10, 25), contour=60, dry=-90, wet=0,
        )
    return engine, wet


def detune(sound, rng):
    engine = pick(rng, ("pedalboard", "pedalboard", "swh"))
    cents = rng.uniform(6, 14)
    if engine == "pedalboard":
        wet = np.stack([board(pb.PitchShift(k * cents / 100), sound)[0][: len(sound)] for k in (-1, 1)])
    else:
        wet = np.stack([
            effect("am_pitchshift_1433.so", "amPitchshift", sound, pitch=2 ** (k * cents / 1200), buffer=2)[0] for k in (-1, 1)
        ])
    return engine, late(wet, rng.uniform(0.005, 0.02))


# ---- effects that leave no separate dry ----------------------------------------------------------------------------------


def tremolo(sound, rng, opposed):
    rate_hz, depth = rng.uniform(3.0, 7.5), rng.uniform(60, 95)
    def run(sound):
        return effect("tap_tremolo.so", "tap_tremolo", sound, frequency=rate_hz, depth=depth)[0]
    if not opposed:
        return f"tap, {rate_hz:.1f} Hz", both(run(sound))
    # Half a turn later on the other side: the effect begins half a turn before the sound does.
    ahead = int(round(0.5 * RATE_HZ / rate_hz))
    return f"tap, {rate_hz:.1f} Hz", np.stack([run(sound), run(np.pad(sound, (ahead, 0)))[ahead:]])


def auto_pan(sound, rng):
    rate_hz, depth = rng.uniform(2.2, 6.0), rng.uniform(60, 100)
    return f"tap, {rate_hz:.1f} Hz", effect("tap_autopan.so", "tap_autopan", both(sound), frequency=rate_hz, depth=depth)


def phaser(sound, rng):
    engine = pick(rng, ("pedalboard", "swh", "caps"))
    rate = rng.uniform(0.3, 2.0)
    if engine == "pedalboard":
        pair = [board(pb.Phaser(rate * k, 0.6, rng.uniform(600, 1400), 0.3, 0.5), sound)[0] for k in (1.0, 1.2)]
    elif engine == "swh":
        pair = [effect("phasers_1217.so", "lfoPhaser", sound, lfo_rate=rate * k, lfo_depth=0.6, feedback=0.3, spread=1)[0] for k in (1.0, 1.2)]
    else:
        pair = [
            effect("caps.so", "PhaserII", sound, rate=0.2 * k, lfo=0, depth=0.7, spread=rng.uniform(0.2, 0.8), resonance=0.3)[0]
            for k in (1.0, 1.3)
        ]
    return engine, np.stack(pair)


def rotary(sound, rng):
    fast = rng.random() < 0.6
    rotor, horn = (5.5, 6.6) if fast else (0.7, 0.8)
    wet = effect(
        "tap_rotspeak.so", "tap_rotspeak", both(sound), rotor_frequency=rotor * rng.uniform(0.9, 1.1),
        horn_frequency=horn * rng.uniform(0.9, 1.1), mic=rng.uniform(40, 100), rotor_horn=0.5,
    )
    return f"tap, {'fast' if fast else 'slow'}", wet
