"""The bundled .vst3 in a host of the Python package `dawdreamer`: graph, automation at audio rate, state, busses.

Run by `cargo xtask test`; the environment names the bundle (SUMPROOF_VST3). Ends with 'ok' and 0, or with the failed checks and 1.
"""

import os
import tempfile

# No window is opened here, and the host's own are not under test. Without a name it would take the first display there is.
os.environ["DISPLAY"] = ":no-display"

import dawdreamer
import numpy as np

from checks import check, run_all

VST3 = os.environ["SUMPROOF_VST3"]
RATE = 48000


def noise(seconds, seed=1, channels=2):
    generator = np.random.default_rng(seed)
    return generator.uniform(-0.5, 0.5, (channels, int(seconds * RATE))).astype(np.float32)


def hosted(audio, block=512, rate=RATE):
    """An engine that plays audio through a fresh plugin."""
    engine = dawdreamer.RenderEngine(rate, block)
    source = engine.make_playback_processor("sound", audio)
    plugin = engine.make_plugin_processor("plugin", VST3)
    engine.load_graph([(source, []), (plugin, ["sound"])])
    return engine, plugin


def render(engine, audio, rate=RATE):
    """As long as the audio; the engine may make a last block whole."""
    engine.render((audio.shape[1] + 0.5) / rate)
    out = engine.get_audio()
    assert out.shape[1] >= audio.shape[1], f"{out.shape[1]} samples of {audio.shape[1]}"
    return out[:, : audio.shape[1]]


def index_of(plugin, name):
    for parameter in plugin.get_parameters_description():
        if parameter["name"] == name:
            return parameter["index"]
    raise AssertionError(f"there is no parameter '{name}'")


@check
def sound_passes_bit_for_bit():
    for rate in (8000, 22050, 44100, 48000, 96000, 192000):
        for block in (1, 17, 64, 512, 8192):
            audio = noise(0.05 if block > 1 else 0.01)
            engine, _ = hosted(audio, block, rate)
            out = render(engine, audio, rate)
            assert np.array_equal(out.view(np.uint32), audio.view(np.uint32)), f"{rate} Hz, blocks of {block}"


@check
def one_engine_after_another_and_many_plugins_in_one():
    for _ in range(10):
        audio = noise(0.1)
        engine, _ = hosted(audio)
        assert np.array_equal(render(engine, audio), audio)
    audio = noise(0.2)
    engine = dawdreamer.RenderEngine(RATE, 256)
    source = engine.make_playback_processor("sound", audio)
    chain = [(source, [])]
    before = "sound"
    for number in range(16):
        name = f"plugin {number}"
        chain.append((engine.make_plugin_processor(name, VST3), [before]))
        before = name
    engine.load_graph(chain)
    assert np.array_equal(render(engine, audio), audio), "sixteen in a row"


@check
def automation_of_every_parameter_at_audio_rate():
    audio = noise(0.5)
    engine, plugin = hosted(audio, 128)
    generator = np.random.default_rng(2)
    count = plugin.get_plugin_parameter_size()
    for parameter in range(count):
        plugin.set_automation(parameter, generator.uniform(0, 1, audio.shape[1]).astype(np.float32))
    out = render(engine, audio)
    assert np.all(np.isfinite(out)) and np.max(np.abs(out)) < 100, "what comes out is no sound"
    # With everything reset it passes the sound.
    for description in plugin.get_parameters_description():
        plugin.set_automation(description["index"], np.full(4, description["defaultValue"], np.float32))
        plugin.set_parameter(description["index"], description["defaultValue"])
    render(engine, audio)
    assert np.array_equal(render(engine, audio), audio), "with every parameter at its default"


@check
def automation_is_followed():
    # This host renders faster than real time, which is a bounce: the feed is heard only if bounces may contain it.
    audio = noise(1.0)
    engine, plugin = hosted(audio, 64)
    plugin.set_parameter(index_of(plugin, "Audition in bounces"), 1.0)
    ramp = np.zeros(audio.shape[1], np.float32)
    ramp[audio.shape[1] // 2 :] = 1.0
    plugin.set_automation(index_of(plugin, "Audition"), ramp)
    out = render(engine, audio)
    half = audio.shape[1] // 2
    assert np.array_equal(out[:, : half - 128], audio[:, : half - 128]), "before the switch the sound passes"
    late = out[:, half + RATE // 10 :]
    assert np.array_equal(late[0], late[1]) and not np.array_equal(late[0], audio[0, half + RATE // 10 :]), "a wedge is mono"


@check
def state_comes_back():
    audio = noise(0.1)
    engine, plugin = hosted(audio)
    gain = index_of(plugin, "Left line gain")
    plugin.set_parameter(gain, 0.25)
    plugin.set_parameter(index_of(plugin, "Right line polarity"), 1.0)
    render(engine, audio)
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "state")
        plugin.save_state(path)
        other_engine, other = hosted(audio)
        other.load_state(path)
        render(other_engine, audio)
        for parameter in range(plugin.get_plugin_parameter_size()):
            assert plugin.get_parameter(parameter) == other.get_parameter(parameter), plugin.get_parameter_name(parameter)
        assert abs(other.get_parameter(gain) - 0.25) < 1e-6
        # Truncated and changed files: the host passes what it can read of them, and the plugin keeps running.
        good = open(path, "rb").read()
        generator = np.random.default_rng(3)
        for _ in range(200):
            bad = bytearray(good)
            if generator.integers(2):
                del bad[int(generator.integers(len(bad))) :]
            else:
                bad[int(generator.integers(len(bad)))] ^= 1 << int(generator.integers(8))
            with open(path, "wb") as file:
                file.write(bad)
            try:
                other.load_state(path)
            except (RuntimeError, ValueError):
                pass
            for parameter in range(other.get_plugin_parameter_size()):
                assert 0.0 <= other.get_parameter(parameter) <= 1.0
        assert np.all(np.isfinite(render(other_engine, audio)))


@check
def a_mono_source_is_played():
    # The host fills or leaves the other channel. (Asked for other busses by its `set_bus`, this host goes on with them although
    # the plugin refuses, and hands over null pointers, which the plugin's framework reads: see docs/engineers/hosts.md.)
    mono = noise(0.1, channels=1)
    engine, plugin = hosted(mono)
    assert (plugin.get_num_input_channels(), plugin.get_num_output_channels()) == (2, 2)
    out = render(engine, mono)
    assert np.all(np.isfinite(out)) and np.array_equal(out[0], mono[0])


@check
def there_is_no_latency():
    _, plugin = hosted(noise(0.1))
    assert plugin.get_latency_samples() == 0


run_all("VST3 in dawdreamer")
