"""The spectra and numbers of `sumproof check` with numpy and scipy, as somebody would write it: what the command's speed is
compared with. Called by `bench_files`: a folder of WAV files, and how many of them to do.

Per file: averaged cross-spectra at both block lengths, delay between the channels by weighted cross-correlation, dry and wet
by the two-channel model per 1/3 octave, every feed's change of dry, wet and total, tone and deepest dip, integrated loudness
(ITU-R BS.1770) and true peak of stereo and of the mono sum.
"""

import sys
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

BLOCKS = (8192, 32768)


def cross_spectra(left, right, rate, block):
    settings = dict(fs=rate, window="hann", nperseg=block, noverlap=3 * block // 4, detrend=False)
    frequencies, ll = signal.welch(left, **settings)
    _, rr = signal.welch(right, **settings)
    _, lr = signal.csd(right, left, **settings)
    return frequencies, ll, rr, lr


def third_octaves(rate):
    centres = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)
    centres = centres[centres * 10**0.05 < rate / 2]
    return centres, centres * 10**-0.05, centres * 10**0.05


def delay(ll, rr, lr, rate, block):
    coherence = np.abs(lr) ** 2 / np.maximum(ll * rr, 1e-30)
    coherence = np.minimum(coherence, 0.999)
    weighted = np.conj(lr) / np.maximum(np.abs(lr), 1e-30) * coherence / (1.0 - coherence)
    correlation = np.fft.irfft(weighted, 4 * block)
    reach = int(0.03 * 4 * rate)
    around = np.concatenate([correlation[-reach:], correlation[: reach + 1]])
    return (np.argmax(np.abs(around)) - reach) / (4 * rate)


def split(frequencies, ll, rr, lr, rate):
    dry = [np.zeros_like(ll), np.zeros_like(rr), lr.copy()]
    wet = [np.zeros_like(ll), np.zeros_like(rr), np.zeros_like(lr)]
    for _, lower, upper in zip(*third_octaves(rate)):
        cells = (frequencies >= lower) & (frequencies < upper)
        l, r, c = ll[cells].sum(), rr[cells].sum(), np.abs(lr[cells].sum())
        diffuse = 0.5 * (l + r - np.sqrt((l - r) ** 2 + 4 * c**2))
        share = np.clip(np.array([diffuse / max(l, 1e-30), diffuse / max(r, 1e-30)]), 0, 1)
        wet[0][cells], wet[1][cells] = ll[cells] * share[0], rr[cells] * share[1]
        dry[0][cells], dry[1][cells] = ll[cells] * (1 - share[0]), rr[cells] * (1 - share[1])
    return dry, wet


def feeds(frequencies):
    turn = np.exp(-2j * np.pi * frequencies * 0.001)
    corner = 1.0 / (1.0 - 1j * 30.0 / np.maximum(frequencies, 1e-3)) / 12.0
    low = 1.0 / (1.0 + (frequencies / 100.0) ** 4)
    one = np.ones_like(frequencies, dtype=complex)
    straight = [(one, one), (2 * one, 0 * one), (0 * one, 2 * one), (one, -one), (one * low, one * low), (one * low, -one * low)]
    faults = [-one, 0.1 * one, turn, 0 * one, corner]
    return straight + [(one, fault) for fault in faults] + [(fault, one) for fault in faults]


def score(parts, responses, frequencies, rate):
    for left, right in responses:
        for ll, rr, lr in parts:
            power = 0.25 * (
                np.abs(left) ** 2 * ll + np.abs(right) ** 2 * rr + 2 * np.real(left * np.conj(right) * lr)
            )
            reference = 0.5 * (ll + rr)
            yield 10 * np.log10(max(power.sum(), 1e-30) / max(reference.sum(), 1e-30))
            bands = []
            for _, lower, upper in zip(*third_octaves(rate)):
                cells = slice(*np.searchsorted(frequencies, (lower, upper)))
                bands.append(max(power[cells].sum(), 1e-30) / max(reference[cells].sum(), 1e-30))
            levels = 10 * np.log10(np.array(bands))
            yield np.sqrt(np.mean((levels - levels.mean()) ** 2))
            yield levels.min()


def k_weighting(rate):
    gain, q, hz = 3.999843853973347, 0.7071752369554196, 1681.974450955533
    k = np.tan(np.pi * hz / rate)
    high = 10 ** (gain / 20)
    band = high**0.4996667741545416
    a0 = 1 + k / q + k * k
    shelf = (
        np.array([high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k]) / a0,
        np.array([1, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]),
    )
    q, hz = 0.5003270373238773, 38.13547087602444
    k = np.tan(np.pi * hz / rate)
    a0 = 1 + k / q + k * k
    return shelf, (np.array([1.0, -2.0, 1.0]), np.array([1, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]))


def loudness(channels, rate):
    weighted = []
    for channel in channels:
        for b, a in k_weighting(rate):
            channel = signal.lfilter(b, a, channel)
        weighted.append(channel)
    block, hop = int(0.4 * rate), int(0.1 * rate)
    powers = np.array(
        [
            sum(np.mean(channel[start : start + block] ** 2) for channel in weighted)
            for start in range(0, len(weighted[0]) - block + 1, hop)
        ]
    )
    levels = -0.691 + 10 * np.log10(np.maximum(powers, 1e-30))
    kept = powers[levels > -70]
    gate = -0.691 + 10 * np.log10(kept.mean()) - 10
    kept = powers[(levels > -70) & (levels > gate)]
    return -0.691 + 10 * np.log10(kept.mean())


def true_peak(channels):
    return max(np.max(np.abs(signal.resample_poly(channel, 4, 1))) for channel in channels)


def check(path):
    rate, data = wavfile.read(path)
    left, right = data[:, 0] / 32768.0, data[:, 1] / 32768.0
    figures = [np.mean(left * right) / np.sqrt(np.mean(left**2) * np.mean(right**2))]
    for block in BLOCKS:
        frequencies, ll, rr, lr = cross_spectra(left, right, rate, block)
        if block == BLOCKS[0]:
            figures.append(delay(ll, rr, lr, rate, block))
            dry, wet = split(frequencies, ll, rr, lr, rate)
            figures.extend(score((dry, wet, (ll, rr, lr)), feeds(frequencies), frequencies, rate))
    mono = 0.5 * (left + right)
    figures += [loudness((left, right), rate), loudness((mono, mono), rate), true_peak((left, right)), true_peak((mono,))]
    return figures


if __name__ == "__main__":
    for path in sorted(Path(sys.argv[1]).glob("*.wav"))[: int(sys.argv[2])]:
        check(path)
