"""The bundled .vst3 in a host of the Python package `pedalboard`: sound, state, and what its takes say.

Run by `cargo xtask test`; the environment names the bundle (SUMPROOF_VST3) and the recordings (SUMPROOF_SAMPLES).
Ends with 'ok' and 0, or with the failed checks and 1.
"""

import base64
import json
import math
import os
import time

import numpy as np
import pedalboard
from pedalboard.io import AudioFile

from checks import check, run_all

VST3 = os.environ["SUMPROOF_VST3"]
SAMPLES = os.environ["SUMPROOF_SAMPLES"]

# Debian's sonic-pi-samples 3.2.2~repack-8; correlation, mono and flipped sum over the mean power of both channels (dB),
# computed by numpy 2.4.6 in float64 from the 16-bit samples.
REFERENCES = {
    "guit_em9.flac": (0.7927, -0.485, -9.761),
    "guit_e_fifths.flac": (0.8124, -0.434, -10.222),
}
# Nominal 1/3-octave bands compared, by their index from 1 kHz (IEC 61260-1, base 10): 80 Hz to 12.5 kHz.
BANDS = range(-11, 12)
# A band this far below the whole is rounding noise of 16 bits, not sound.
QUIET_DB = -60.0

PLAIN, SIDE_CHAIN = "Sumproof", "Sumproof Side-chain"


def fresh(name=PLAIN):
    return pedalboard.load_plugin(VST3, plugin_name=name)


def near(got, want, tolerance, what):
    assert abs(got - want) <= tolerance, f"{what}: {got:.5f}, not {want:.5f} +- {tolerance}"


def recording(name):
    with AudioFile(os.path.join(SAMPLES, name)) as file:
        return file.read(file.frames).astype(np.float32), file.samplerate


def state_of(plugin):
    """The framework's JSON inside the host's wrapping of the VST3 state."""
    raw = bytes(plugin.raw_state)
    # The host stores the component's stream as base64 of its own dialect; the JSON inside is found by decoding that.
    json_text = find_json(raw)
    state = json.loads(json_text)
    fields = {key: json.loads(text) for key, text in state["fields"].items()}
    return state["params"], fields


def find_json(raw):
    start = raw.find(b'{"version"')
    if start >= 0:
        return json_at(raw[start:])
    text = raw.decode("latin-1")
    component = text.split("<IComponent>")[1].split("</IComponent>")[0]
    stream = juce_base64(component)
    return json_at(stream[stream.index(b'{"version"'):])


def json_at(data):
    value, _ = json.JSONDecoder().raw_decode(data.decode("utf-8", "replace"))
    return json.dumps(value)


def juce_base64(text):
    """Length, a dot, then six bits a character, lowest bits first, in an alphabet of the host's own."""
    alphabet = ".ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+"
    length, body = text.strip().split(".", 1)
    bits = 0
    for index, character in enumerate(body):
        bits |= alphabet.index(character) << (6 * index)
    return bits.to_bytes((len(body) * 6 + 7) // 8, "little")[: int(length)]


def record_take(plugin, audio, rate, block=512):
    """Plays with the recorder on for exactly the audio, then off for a little silence; returns the one take."""
    plugin.record_take = "Recording"
    plugin.process(audio, rate, buffer_size=block, reset=False)
    plugin.record_take = "Off"
    plugin.process(np.zeros((2, block), np.float32), rate, buffer_size=block, reset=False)
    _, fields = state_of(plugin)
    takes = fields["takes"]["takes"]
    assert len(takes) == 1, f"{len(takes)} takes"
    return takes[0]


def broadband(left, right, cross):
    both = left + right
    return (
        cross / math.sqrt(left * right),
        10 * math.log10((both + 2 * cross) / (2 * both)),
        10 * math.log10((both - 2 * cross) / (2 * both)),
    )


def edges(third):
    return 1000 * 10 ** (0.1 * (third - 0.5)), 1000 * 10 ** (0.1 * (third + 0.5))


def bands_of_samples(audio, rate):
    """Power left and right, and the cross term, per 1/3 octave: one FFT of the whole recording, float64."""
    spectra = np.fft.rfft(audio.astype(np.float64), axis=1)
    frequencies = np.fft.rfftfreq(audio.shape[1], 1 / rate)
    result = {}
    for third in BANDS:
        lower, upper = edges(third)
        inside = (frequencies >= lower) & (frequencies < upper)
        left, right = spectra[0][inside], spectra[1][inside]
        result[third] = (
            float(np.sum(np.abs(left) ** 2)),
            float(np.sum(np.abs(right) ** 2)),
            float(np.sum((left * np.conj(right)).real)),
        )
    return result


def cells_of(part):
    """Power left, power right and cross term, cell by cell, of a stored spectrum.

    14 bytes a cell: two powers as 32-bit floats, real and imaginary part of the cross term over the root of their product
    as 24-bit integers of 2**22 a unit, all little-endian.
    """
    raw = np.frombuffer(base64.b64decode(part["cells"]), np.uint8).reshape(-1, 14)
    powers = raw[:, :8].copy().view("<f4").astype(np.float64)
    bytes24 = raw[:, 8:].reshape(-1, 2, 3).astype(np.int64)
    shares = bytes24[:, :, 0] | bytes24[:, :, 1] << 8 | bytes24[:, :, 2] << 16
    shares = np.where(shares >= 1 << 23, shares - (1 << 24), shares) / 2**22
    cross = (shares[:, 0] + 1j * shares[:, 1]) * np.sqrt(powers[:, 0] * powers[:, 1])
    return powers[:, 0], powers[:, 1], cross


def bands_of_take(take):
    """The same from the 1/24-octave cells of a take's total."""
    nyquist = take["rate_hz"] / 2
    steps = [1000 * 10 ** (0.3 * step / 24) for step in range(-17 * 8 - 4, 13 * 8 + 5)]
    edge = np.array([0.0] + [hz for hz in steps if hz < nyquist] + [nyquist])
    lower, upper = edge[:-1], edge[1:]
    part = take["total"]
    left, right, cross = cells_of(part)
    assert len(left) == len(lower), f"{len(left)} cells for {len(lower)} bands"
    # The delay between the channels is kept apart; over the width of a cell it turns the cross term.
    turn = np.sinc((upper - lower) * part["delay_s"]) * np.exp(1j * np.pi * (upper + lower) * part["delay_s"])
    cross = (cross * turn).real
    result = {}
    for third in BANDS:
        low, high = edges(third)
        inside = (lower > low * 0.999) & (upper < high * 1.001)
        assert inside.sum() == 8
        result[third] = (left[inside].sum(), right[inside].sum(), cross[inside].sum())
    return result


@check
def sound_passes_bit_for_bit():
    generator = np.random.default_rng(1)
    plugin = fresh()
    for rate in (22050, 44100, 48000, 96000, 192000):
        audio = generator.uniform(-1, 1, (2, 30000)).astype(np.float32)
        for block in (1, 17, 64, 512, 8192):
            out = plugin.process(audio[:, : 3000 if block == 1 else 30000], rate, buffer_size=block)
            want = audio[:, : out.shape[1]]
            assert out.shape == want.shape, f"{rate} Hz, {block}: {out.shape}, not {want.shape}"
            assert np.array_equal(out.view(np.uint32), want.view(np.uint32)), f"{rate} Hz, blocks of {block}: not the same bits"


@check
def other_busses_are_refused_in_words():
    plugin = fresh()
    for channels in (1, 3, 6):
        try:
            plugin.process(np.zeros((channels, 512), np.float32), 48000)
        except ValueError as refusal:
            assert str(channels) in str(refusal) or "channel" in str(refusal), refusal
        else:
            raise AssertionError(f"{channels} channels were taken")
    audio = np.random.default_rng(5).uniform(-1, 1, (2, 3000)).astype(np.float32)
    assert np.array_equal(plugin.process(audio, 48000), audio), "in stereo, after that"


@check
def rates_and_blocks_change_while_it_runs():
    generator = np.random.default_rng(6)
    plugin = fresh()
    for _ in range(60):
        rate = int(generator.choice([8000, 11025, 22050, 44100, 48000, 96000, 192000]))
        block = int(generator.choice([1, 3, 64, 480, 1000, 8192]))
        audio = generator.uniform(-1, 1, (2, int(generator.integers(1, 4000)))).astype(np.float32)
        out = plugin.process(audio, rate, buffer_size=block, reset=bool(generator.integers(2)))
        assert np.array_equal(out.view(np.uint32), audio.view(np.uint32)), f"{rate} Hz, blocks of {block}"


@check
def states_of_all_kinds_load_or_are_refused():
    generator = np.random.default_rng(7)
    plugin = fresh()
    good = bytes(plugin.raw_state)
    for _ in range(300):
        bad = bytearray(good)
        if generator.integers(2):
            del bad[int(generator.integers(len(bad))) :]
        else:
            bad[int(generator.integers(len(bad)))] ^= 1 << int(generator.integers(8))
        try:
            plugin.raw_state = bytes(bad)
        except (RuntimeError, ValueError):
            pass
    plugin.raw_state = good
    assert state_of(plugin)[0] == state_of(fresh())[0]


@check
def sixty_four_at_once():
    audio = np.random.default_rng(8).uniform(-1, 1, (2, 2000)).astype(np.float32)
    many = [fresh() for _ in range(64)]
    for plugin in many:
        assert np.array_equal(plugin.process(audio, 48000), audio)


@check
def it_loads_and_unloads():
    for _ in range(200):
        plugin = fresh()
        plugin.process(np.zeros((2, 512), np.float32), 48000)
        del plugin


@check
def the_bundle_holds_both_plugins():
    names = pedalboard.VST3Plugin.get_plugin_names_for_file(VST3)
    assert names == [PLAIN, SIDE_CHAIN], names


@check
def with_its_side_chain_unconnected_the_other_plugin_passes_sound_and_estimates():
    # This host doesn't connect it: it opens plugins with their main busses only.
    generator = np.random.default_rng(3)
    audio = generator.uniform(-1, 1, (2, 3000)).astype(np.float32)
    plugin = fresh(SIDE_CHAIN)
    assert plugin.side_chain_split_time_ms == 20.0, plugin.parameters
    for rate, block in ((44100, 64), (48000, 8192), (96000, 17)):
        out = plugin.process(audio, rate, buffer_size=block)
        assert np.array_equal(out.view(np.uint32), audio.view(np.uint32)), f"{rate} Hz, blocks of {block}: not the same bits"
    take = record_take(fresh(SIDE_CHAIN), *recording("guit_em9.flac"), block=4096)
    assert take["method"] == "estimated", take["method"]


@check
def takes_say_what_numpy_says():
    for name, (correlation, sum_db, flipped_db) in REFERENCES.items():
        audio, rate = recording(name)
        take = record_take(fresh(), audio, rate)
        sums = take["sums"]
        assert sums["frames"] == audio.shape[1], f"{name}: {sums['frames']} of {audio.shape[1]} frames"
        got = broadband(sums["left"], sums["right"], sums["cross"])
        wide = audio.astype(np.float64)
        computed = broadband(np.sum(wide[0] ** 2), np.sum(wide[1] ** 2), np.sum(wide[0] * wide[1]))
        for index, (what, tolerance, reference) in enumerate(
            [("correlation", 0.001, correlation), ("mono sum", 0.02, sum_db), ("flipped sum", 0.02, flipped_db)]
        ):
            near(got[index], computed[index], tolerance, f"{name}: {what} against this numpy")
            # Half of the last printed digit on top.
            near(got[index], reference, tolerance * 1.05, f"{name}: {what} against the reference")


@check
def bands_of_takes_say_what_numpy_says():
    off = []
    for name in REFERENCES:
        audio, rate = recording(name)
        take = record_take(fresh(), audio, rate)
        wanted, got = bands_of_samples(audio, rate), bands_of_take(take)
        whole = sum(left + right for left, right, _ in wanted.values())
        for third in BANDS:
            if 10 * math.log10(sum(wanted[third][:2]) / whole) < QUIET_DB:
                continue
            want_db, got_db = broadband(*wanted[third])[1], broadband(*got[third])[1]
            if abs(got_db - want_db) > 0.1:
                off.append(f"{name} {1000 * 10 ** (0.1 * third):.0f} Hz: {got_db:.3f} dB, not {want_db:.3f} dB")
    assert not off, "\n".join(off)


@check
def state_comes_back():
    plugin = fresh()
    plugin.left_line_gain_db = -20.0
    plugin.sum_law = plugin.parameters["sum_law"].valid_values[2]
    # A host's write reaches a VST3 only through a block.
    plugin.process(np.zeros((2, 512), np.float32), 48000)
    saved = plugin.raw_state
    other = fresh()
    other.raw_state = saved
    params, _ = state_of(other)
    assert params["l_gain"] == {"f32": -20.0}, params
    assert params == state_of(plugin)[0]


@check
def audition_stays_out_of_a_bounce_at_any_pace_unless_it_is_wanted_there():
    # This host always says that it renders offline (kOffline, once it plays), so that counts, even in real time.
    rate, block = 48000, 480
    generator = np.random.default_rng(2)
    audio = generator.uniform(-0.5, 0.5, (2, rate)).astype(np.float32)
    plugin = fresh()
    # Setting an attribute that is no parameter would not be an error.
    for name in ("feed", "audition", "audition_in_bounces"):
        assert name in plugin.parameters, f"{name} is not among {list(plugin.parameters)}"
    plugin.feed = "Right line only"
    assert np.array_equal(plugin.process(audio, rate, buffer_size=block), audio), "not auditioning, and not the same"
    plugin.audition = True
    assert np.array_equal(plugin.process(audio, rate, buffer_size=block), audio), "auditioning in a bounce"
    begin, played = time.monotonic(), 0
    while played < 4 * rate:
        start = played % rate
        want = audio[:, start : start + block]
        out = plugin.process(want, rate, buffer_size=block, reset=False)
        assert np.array_equal(out, want), f"auditioning in a slow bounce, after {played / rate:.2f} s"
        played += block
        time.sleep(max(0.0, begin + played / rate - time.monotonic()))
    plugin.audition_in_bounces = True
    out = plugin.process(audio, rate, buffer_size=block, reset=False)
    assert np.array_equal(out[0, rate // 2 :], out[1, rate // 2 :]), "wanted in bounces, and not heard"
    assert np.any(out[0, rate // 2 :]), "wanted in bounces, and silent"


run_all("VST3 in pedalboard")
