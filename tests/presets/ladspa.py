"""A small offline host for LADSPA effects (the plugin interface of Debian's `ladspa-sdk`, `ladspa.h`), through ctypes.

An effect is run from its first sample to its last in single precision with fixed controls, so the same sound gives the same bits.
"""

import ctypes
from ctypes import POINTER, byref, c_char_p, c_float, c_int, c_ulong, c_void_p, CFUNCTYPE
import os

import numpy as np

BLOCK = 1024

INPUT, OUTPUT, CONTROL, AUDIO = 1, 2, 4, 8


def letters(name):
    return "".join(letter for letter in name.lower() if letter.isalnum())


class RangeHint(ctypes.Structure):
    _fields_ = [("hint", c_int), ("lower", c_float), ("upper", c_float)]


class Descriptor(ctypes.Structure):
    pass


Descriptor._fields_ = [
    ("unique_id", c_ulong),
    ("label", c_char_p),
    ("properties", c_int),
    ("name", c_char_p),
    ("maker", c_char_p),
    ("copyright", c_char_p),
    ("port_count", c_ulong),
    ("port_descriptors", POINTER(c_int)),
    ("port_names", POINTER(c_char_p)),
    ("port_hints", POINTER(RangeHint)),
    ("implementation", c_void_p),
    ("instantiate", CFUNCTYPE(c_void_p, POINTER(Descriptor), c_ulong)),
    ("connect_port", CFUNCTYPE(None, c_void_p, c_ulong, POINTER(c_float))),
    ("activate", CFUNCTYPE(None, c_void_p)),
    ("run", CFUNCTYPE(None, c_void_p, c_ulong)),
    ("run_adding", c_void_p),
    ("set_run_adding_gain", c_void_p),
    ("deactivate", CFUNCTYPE(None, c_void_p)),
    ("cleanup", CFUNCTYPE(None, c_void_p)),
]


class Effect:
    """One effect of a library, found by its label."""

    def __init__(self, folder, library, label):
        path = os.path.join(folder, library)
        if not os.path.exists(path):
            raise SystemExit(f"{path}: no such LADSPA library; install the packages that build.py names")
        self.library = ctypes.CDLL(path)
        entry = self.library.ladspa_descriptor
        entry.restype = POINTER(Descriptor)
        entry.argtypes = [c_ulong]
        index = 0
        while True:
            found = entry(index)
            if not found:
                raise SystemExit(f"{path}: no effect {label!r} in it")
            if found.contents.label.decode() == label:
                break
            index += 1
        self.pointer = found
        self.descriptor = found.contents
        ports = range(self.descriptor.port_count)
        kinds = [self.descriptor.port_descriptors[n] for n in ports]
        self.names = [self.descriptor.port_names[n].decode("latin-1") for n in ports]
        self.inputs = [n for n in ports if kinds[n] & AUDIO and kinds[n] & INPUT]
        self.outputs = [n for n in ports if kinds[n] & AUDIO and kinds[n] & OUTPUT]
        self.controls = [n for n in ports if kinds[n] & CONTROL and kinds[n] & INPUT]
        self.meters = [n for n in ports if kinds[n] & CONTROL and kinds[n] & OUTPUT]

    def describe(self):
        hints = self.descriptor.port_hints
        controls = [f"{self.names[n]} [{hints[n].lower:g}..{hints[n].upper:g}]" for n in self.controls]
        return f"{self.descriptor.label.decode()}: {len(self.inputs)} in, {len(self.outputs)} out: " + ", ".join(controls)

    def run(self, sound, rate_hz, **settings):
        """Runs it over `sound` (channels x frames); `settings` set controls by the first letters of their names."""
        sound = np.atleast_2d(np.asarray(sound, dtype=np.float32))
        if len(sound) != len(self.inputs):
            sound = np.repeat(sound[:1], len(self.inputs), axis=0)
        frames = sound.shape[1]
        descriptor = self.descriptor
        handle = descriptor.instantiate(self.pointer, c_ulong(rate_hz))
        values = {n: c_float(self.default(n, rate_hz)) for n in self.controls + self.meters}
        for name, value in settings.items():
            values[self.control(name)].value = value
        for number, value in values.items():
            descriptor.connect_port(handle, number, byref(value))
        read = [np.zeros(BLOCK, dtype=np.float32) for _ in self.inputs]
        written = [np.zeros(BLOCK, dtype=np.float32) for _ in self.outputs]
        for numbers, buffers in ((self.inputs, read), (self.outputs, written)):
            for number, buffer in zip(numbers, buffers):
                descriptor.connect_port(handle, number, buffer.ctypes.data_as(POINTER(c_float)))
        if descriptor.activate:
            descriptor.activate(handle)
        result = np.zeros((len(self.outputs), frames), dtype=np.float64)
        for start in range(0, frames, BLOCK):
            count = min(BLOCK, frames - start)
            for buffer, channel in zip(read, sound):
                buffer[:count] = channel[start : start + count]
                buffer[count:] = 0.0
            descriptor.run(handle, BLOCK)
            for channel, buffer in zip(result, written):
                channel[start : start + count] = buffer[:count]
        if descriptor.deactivate:
            descriptor.deactivate(handle)
        descriptor.cleanup(handle)
        if not np.isfinite(result).all():
            raise SystemExit(f"{descriptor.label.decode()}: not a number came out, with {settings}")
        return result

    def control(self, name):
        wanted = letters(name)
        for number in self.controls:
            if letters(self.names[number]).startswith(wanted):
                return number
        raise SystemExit(f"{self.descriptor.label.decode()}: no control {name!r}; it has {self.names}")

    def default(self, number, rate_hz):
        hint = self.descriptor.port_hints[number]
        lower, upper = hint.lower, hint.upper
        if hint.hint & 0x8:
            lower, upper = lower * rate_hz, upper * rate_hz
        kind = hint.hint & 0x3C0
        fixed = {0x200: 0.0, 0x240: 1.0, 0x280: 100.0, 0x2C0: 440.0}
        if kind in fixed:
            return fixed[kind]
        share = {0x40: 0.0, 0x80: 0.25, 0xC0: 0.5, 0x100: 0.75, 0x140: 1.0}.get(kind, 0.0)
        if hint.hint & 0x10 and lower > 0 and upper > 0:
            return float(np.exp(np.log(lower) * (1 - share) + np.log(upper) * share))
        return lower * (1 - share) + upper * share
