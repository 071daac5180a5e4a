#!/usr/bin/env python3
"""Builds the set of real presets: sampled guitar, other people's effects, dry and wet known.

    build.py --half dev --into FOLDER [--only KIND] [--small]

writes FOLDER/HALF/KIND-NN/{dry,wet,full}.wav (48 kHz, two channels, single precision; full = dry + wet) with preset.json beside them.
What is there already for the same recipe is left. The halves share no phrase and no setting: limits are chosen on `dev`, figures are
published from `publish`. A number behind it (`publish-2`) draws another half of that name, which nobody has heard.

Needs Debian's fluidsynth, fluidr3mono-gm-soundfont (MIT), caps, tap-plugins, swh-plugins, cmt (effects, GPL and LGPL), guitarix-common and
jconvolver-config-files (impulse responses, GPL), and the Python packages of tests/hosts/requirements.txt. All are heard by tests only;
nothing of them is kept in this repository.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
import hashlib
import json
import os
import re
import shutil
import sys

import numpy as np
from scipy.io import wavfile

import kinds
from phrases import RATE_HZ

HERE = os.path.dirname(os.path.abspath(__file__))
SOUNDFONT = os.environ.get("SUMPROOF_SOUNDFONT", "/usr/share/sounds/sf3/FluidR3Mono_GM.sf3")


def recipe():
    """A mark of the scripts that make a preset: another one makes it anew."""
    digest = hashlib.sha256()
    for name in ("phrases.py", "effects.py", "kinds.py", "ladspa.py", "truth.py"):
        with open(os.path.join(HERE, name), "rb") as file:
            digest.update(file.read())
    return digest.hexdigest()[:16]


def wanted(half, only, small):
    for kind, count in kinds.KINDS.items():
        for index in range(count):
            if only in kind and (not small or f"{kind}/{index}" in kinds.SMALL):
                yield half, kind, index


def build(job):
    half, kind, index, into, mark, synthesizer = job
    folder = os.path.join(into, half, f"{kind}-{index:02}")
    sheet = os.path.join(folder, "preset.json")
    if os.path.exists(sheet):
        with open(sheet) as file:
            if json.load(file).get("recipe") == mark:
                return folder
    preset = kinds.Preset(half, kind, index, SOUNDFONT, synthesizer).make()
    partial = folder + ".part"
    for stale in (folder, partial):
        shutil.rmtree(stale, ignore_errors=True)
    os.makedirs(partial)
    full = preset.dry + preset.wet
    if not np.isfinite(full).all():
        raise SystemExit(f"{folder}: the sound is not finite")
    for name, sound in (("dry", preset.dry), ("wet", preset.wet), ("full", full)):
        wavfile.write(os.path.join(partial, f"{name}.wav"), RATE_HZ, np.ascontiguousarray(sound.T))
    # Last, and the folder gets its name only then: one that was cut short is made anew.
    with open(os.path.join(partial, "preset.json"), "w") as file:
        json.dump({"recipe": mark, **preset.description()}, file, indent=1)
        file.write("\n")
    os.rename(partial, folder)
    return folder


def half(name):
    if not re.fullmatch(r"(dev|publish)(-[0-9]{1,6})?", name):
        raise argparse.ArgumentTypeError(f"'{name}' is neither dev nor publish")
    return name


def main():
    arguments = argparse.ArgumentParser(description="Builds presets of sampled guitars with known dry and wet.")
    arguments.add_argument("--half", type=half, required=True, help="dev or publish, or one of these with a number: publish-2")
    arguments.add_argument("--into", required=True, help="the folder that keeps them")
    arguments.add_argument("--only", default="", help="only kinds whose name contains this")
    arguments.add_argument("--small", action="store_true", help="only the few that every test run hears")
    arguments.add_argument("--workers", type=int, default=os.cpu_count())
    options = arguments.parse_args()
    synthesizer = shutil.which("fluidsynth")
    if synthesizer is None or not os.path.exists(SOUNDFONT):
        sys.exit(
            f"fluidsynth or {SOUNDFONT} is missing (SUMPROOF_SOUNDFONT names another place): run\n"
            "  sudo apt-get install fluidsynth fluidr3mono-gm-soundfont caps tap-plugins swh-plugins cmt guitarix-common "
            "jconvolver-config-files"
        )
    mark = recipe()
    jobs = [(*what, options.into, mark, synthesizer) for what in wanted(options.half, options.only, options.small)]
    if not jobs:
        sys.exit(f"no kind's name contains {options.only!r}")
    with ProcessPoolExecutor(options.workers) as pool:
        for number, folder in enumerate(pool.map(build, jobs), 1):
            print(f"\r{number} of {len(jobs)}", end="", file=sys.stderr)
    print(f"\r{len(jobs)} presets in {os.path.join(options.into, options.half)}", file=sys.stderr)


if __name__ == "__main__":
    main()
