"""The bundled .vst3 in Debian's Ardour: found where it is installed, in a session, saved, loaded again, without a window.

Run by `cargo xtask test`; the environment names the bundle (SUMPROOF_VST3). The session is driven by Ardour's own Lua program
(`ardour_session.lua`) on its back-end without a sound card. Ends with 'ok' and 0, or with what is wrong and 1.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

VST3 = Path(os.environ["SUMPROOF_VST3"])
# Debian names both after the version: ardour7, ardour7-lua.
LIBRARY = next(iter(sorted(Path("/usr/lib").glob("ardour[0-9]*"))), Path("/usr/lib/ardour"))
LUA = f"{LIBRARY.name}-lua"
SCRIPT = Path(__file__).with_name("ardour_session.lua")
# Ardour fades the beginning and end of a region in and out, over 64 samples by default.
FADE = 64


def run(command, home, **more):
    """What a program printed; it is ended when it takes longer than ten minutes."""
    environment = {**os.environ, "HOME": str(home), "LD_LIBRARY_PATH": str(LIBRARY), **more}
    for variable in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "VST3_PATH"):
        environment.pop(variable, None)
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=600)
    return done.returncode, done.stdout + done.stderr


def float_samples(path):
    """The samples of a 32-bit float WAV of one channel."""
    data = path.read_bytes()
    at = 12
    while data[at : at + 4] != b"data":
        if data[at : at + 4] == b"fmt ":
            kind, channels = np.frombuffer(data, "<u2", 2, at + 8)
            assert kind in (3, 0xFFFE) and channels == 1, f"{path}: kind {kind}, {channels} channels"
        at += 8 + int.from_bytes(data[at + 4 : at + 8], "little")
    size = int.from_bytes(data[at + 4 : at + 8], "little")
    return np.frombuffer(data, "<f4", size // 4, at + 8)


def session_turn(turn, home, session):
    # It exits with 0 whatever its script did; only the script's last line tells.
    _, said = run([LUA, str(SCRIPT)], home, SESSION=str(session), TURN=turn)
    assert said.splitlines() and "ok" in said.splitlines(), f"{turn}: {said[-2000:]}"
    return said


def main():
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        placed = home / ".vst3" / VST3.name
        shutil.copytree(VST3, placed)
        code, said = run([str(LIBRARY / "ardour-vst3-scanner"), "-f", "-v", str(placed)], home)
        assert code == 0, said
        for name in ("Sumproof", "Sumproof Side-chain"):
            assert f"[Info]: Found Plugin: {name}\n" in said, said
        assert 'name="Sumproof Side-chain"' in said and 'n_aux_inputs="2"' in said, said

        session = Path(folder) / "session"
        session_turn("make", home, session)
        sounds = session / "interchange" / "session" / "audiofiles"
        for channel in "LR":
            recorded = float_samples(sounds / f"Take1_T-1%{channel}.wav")[:48000]
            assert np.abs(recorded).max() > 0.05, "no noise was recorded"
            for name in ("plain", "both", "set"):
                bounced = float_samples(sounds / f"{name}%{channel}.wav")
                assert bounced.shape == recorded.shape, f"{name}: {bounced.shape}"
                differ = np.flatnonzero(bounced[FADE:-FADE] != recorded[FADE:-FADE])
                assert differ.size == 0, f"{name} {channel}: {differ.size} samples differ, the first is {differ[0] + FADE}"
            # Ardour's own amplifier in the same place: proves that the bounces go through the track's plugins.
            louder = float_samples(sounds / f"louder%{channel}.wav")
            assert np.std(louder) > 1.5 * np.std(recorded), "the bounce passed by what is in the track"
        session_turn("load", home, session)
    print("ok: VST3 in Ardour: found, bounced bit for bit, saved and loaded")


if __name__ == "__main__":
    try:
        main()
    except (AssertionError, OSError, subprocess.TimeoutExpired) as wrong:
        print(f"VST3 in Ardour: {wrong}")
        sys.exit(1)
