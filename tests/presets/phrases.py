"""Phrases of our own: made up from chords and scales, played by a sampled guitar, with human timing.

A phrase is drawn from a seed; a *take* of it has timing, strength and tuning of its own, so two takes of one phrase are what a
player gets who plays the same thing twice.
"""

import hashlib
import os
import struct
import subprocess
import tempfile

import numpy as np

RATE_HZ = 48_000
SECONDS = 8.0
# When strings are muted, seconds: what is left after that is wet alone.
MUTE_S = 6.0

# General MIDI's guitars by program number: nylon, steel, jazz, clean, overdriven.
GUITARS = (24, 25, 26, 27, 29)
STYLES = ("picked", "riff", "strummed", "dense", "sparse", "melody")
# Chords on a guitar's strings, semitones above the root: barre shapes of E and A major and minor, a fifth, a ninth.
SHAPES = ((0, 7, 12, 16, 19, 24), (0, 7, 12, 15, 19, 24), (0, 7, 12, 16, 19), (0, 7, 12, 15, 19), (0, 7, 12), (0, 7, 10, 15, 19))
DEGREES = (0, 3, 5, 7, 8, 10)
PENTATONIC = (0, 3, 5, 7, 10, 12, 15, 17, 19)


def stream(*what):
    """A random generator for a purpose: the same words give the same numbers on every machine."""
    digest = hashlib.sha256("/".join(map(str, what)).encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest[:8], "little")))


def pick(rng, options):
    return options[int(rng.integers(len(options)))]


class Phrase:
    """Notes with their beginnings and ends in seconds, strengths 1 to 127."""

    def __init__(self, rng, style=None, beat_s=None):
        self.style = style or pick(rng, STYLES)
        self.program = pick(rng, GUITARS)
        self.beat_s = beat_s or float(rng.uniform(0.42, 0.68))
        self.root = int(rng.integers(40, 50))
        self.notes = []
        getattr(self, self.style)(rng)

    def end_s(self):
        return SECONDS - 0.7

    def chord(self, rng):
        root = self.root + pick(rng, DEGREES)
        return [root + step for step in pick(rng, SHAPES)]

    def add(self, at, length, pitch, strength):
        if at < self.end_s():
            self.notes.append((at, min(at + length, SECONDS - 0.2), pitch, int(np.clip(strength, 20, 120))))

    def strum(self, at, length, chord, strength, spread_s, down=True):
        for n, pitch in enumerate(chord if down else chord[::-1]):
            self.add(at + n * spread_s / max(len(chord) - 1, 1), length, pitch, strength - 2 * n)

    def picked(self, rng):
        at = 0.15
        while at < self.end_s():
            chord = self.chord(rng)
            order = [int(n) for n in rng.integers(len(chord), size=8)]
            order[0] = 0
            for n in order:
                self.add(at, 2.2 * self.beat_s, chord[n], rng.uniform(70, 100))
                at += self.beat_s / 2

    def riff(self, rng):
        at = 0.15
        bar = [(pick(rng, PENTATONIC), pick(rng, (0.25, 0.5, 0.5, 0.75)), rng.random() < 0.2) for _ in range(7)]
        while at < self.end_s():
            for step, beats, rest in bar:
                if not rest:
                    self.add(at, 0.9 * beats * self.beat_s, self.root + step, rng.uniform(75, 110))
                at += beats * self.beat_s
            bar[int(rng.integers(len(bar)))] = (pick(rng, PENTATONIC), 0.5, False)

    def strummed(self, rng):
        at, down = 0.15, True
        while at < self.end_s():
            chord = self.chord(rng)
            for beats in pick(rng, ((1, 1, 1, 1), (1.5, 0.5, 1, 1), (2, 1, 1), (1, 0.5, 0.5, 2))):
                self.strum(at, 0.95 * beats * self.beat_s, chord, rng.uniform(70, 100), rng.uniform(0.008, 0.03), down)
                at += beats * self.beat_s
                down = not down

    def dense(self, rng):
        at, down, number = 0.15, True, 0
        chord = self.chord(rng)
        while at < self.end_s():
            if number % 8 == 0:
                chord = self.chord(rng)
            self.strum(at, 1.2 * self.beat_s, chord, rng.uniform(65, 100), rng.uniform(0.006, 0.02), down)
            at += self.beat_s / pick(rng, (2, 2, 4))
            down, number = not down, number + 1

    def sparse(self, rng):
        at = 0.15
        while at < self.end_s():
            self.strum(at, 3.6 * self.beat_s, self.chord(rng), rng.uniform(70, 100), rng.uniform(0.01, 0.06))
            at += 4 * self.beat_s

    def melody(self, rng):
        at = 0.15
        while at < self.end_s():
            beats = pick(rng, (0.5, 1, 1, 1.5, 2))
            self.add(at, 0.95 * beats * self.beat_s, self.root + 12 + pick(rng, PENTATONIC), rng.uniform(70, 105))
            at += beats * self.beat_s


def midi_file(phrase, rng):
    """A take as a Standard MIDI File: every note a little early or late, softer or harder, the guitar a few cents off."""
    ticks_per_s = 10_000
    bend = int(8192 + 8192 * rng.normal(0.0, 3.0) / 200.0)
    events = [(0, bytes((0xC0, phrase.program))), (0, bytes((0xE0, bend & 0x7F, bend >> 7)))]
    for start, end, pitch, strength in phrase.notes:
        start = max(start + rng.normal(0.0, 0.007), 0.02)
        end = max(end + rng.normal(0.0, 0.01), start + 0.05)
        strength = int(np.clip(strength + rng.normal(0.0, 5.0), 10, 127))
        events.append((int(start * ticks_per_s), bytes((0x90, pitch, strength))))
        events.append((int(end * ticks_per_s), bytes((0x80, pitch, 0))))
    events.sort(key=lambda event: (event[0], event[1][0] & 0xF0))
    track, now = b"\x00\xff\x51\x03" + (1_000_000).to_bytes(3, "big"), 0
    for at, data in events:
        track += variable_length(at - now) + data
        now = at
    track += variable_length(int((SECONDS + 0.5) * ticks_per_s) - now) + b"\xff\x2f\x00"
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, ticks_per_s) + b"MTrk" + struct.pack(">I", len(track)) + track


def variable_length(number):
    parts = [number & 0x7F]
    while number > 0x7F:
        number >>= 7
        parts.append(number & 0x7F | 0x80)
    return bytes(reversed(parts))


def play(phrase, rng, soundfont, program="fluidsynth"):
    """The guitar's own sound of a take, mono, `SECONDS` long."""
    with tempfile.TemporaryDirectory() as folder:
        midi, raw = os.path.join(folder, "take.mid"), os.path.join(folder, "take.raw")
        with open(midi, "wb") as file:
            file.write(midi_file(phrase, rng))
        options = ["-n", "-i", "-q", "-R", "0", "-C", "0", "-o", "synth.dynamic-sample-loading=1", "-g", "0.6", "-r", str(RATE_HZ), "-O", "float", "-T", "raw"]
        done = subprocess.run(
            [program, *options, "-F", raw, soundfont, midi], stdin=subprocess.DEVNULL, capture_output=True, text=True
        )
        if done.returncode or not os.path.exists(raw):
            raise SystemExit(f"{program} failed on {soundfont}: {done.stderr.strip() or done.stdout.strip()}")
        sound = np.fromfile(raw, dtype="<f4").astype(np.float64).reshape(-1, 2)
    mono = sound.mean(axis=1)
    frames = int(SECONDS * RATE_HZ)
    return np.pad(mono, (0, max(frames - len(mono), 0)))[:frames]


def muted(sound, at_s=MUTE_S):
    """The strings muted with the hand: silent 30 ms later."""
    time = np.arange(len(sound)) / RATE_HZ
    return sound * np.clip(1.0 - (time - at_s) / 0.03, 0.0, 1.0) ** 2


def swelled(sound, phrase, rise_s=0.6):
    """Every note brought up with a volume pedal, so that no attack is heard."""
    time = np.arange(len(sound)) / RATE_HZ
    gain = np.zeros_like(sound)
    last = -9.0
    for start, *_ in phrase.notes:
        if start < last + 1.1 * rise_s:
            continue
        last = start
        late = time >= start
        # The pedal goes down a moment before the next note.
        gain[late] = 0.5 - 0.5 * np.cos(np.pi * np.clip((time[late] - start - 0.02) / rise_s, 0.0, 1.0))
    smooth = np.hanning(int(0.02 * RATE_HZ))
    return sound * np.convolve(gain, smooth / smooth.sum(), "same")
