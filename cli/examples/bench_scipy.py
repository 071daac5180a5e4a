"""The spectra and numbers of `sumproof check` with numpy and scipy, as somebody would write it who knows both: what the
command's speed is compared with. Called by `bench_files`: a folder of WAV files, and how many of them to do.

Per file: averaged cross-spectra at both block lengths, run out over both ends; broadband correlation and sum differences; the
delay between the channels by weighted cross-correlation; what is new in attacks; dry and wet per 1/3 octave from it; both
gathered into 1/24 octaves; correlation, coherence and sum difference per 1/3 octave; every feed's change of dry, wet and total,
K-weighted level, tone and deepest dip, over everything and above 40 Hz; the dry over the delay of a line; integrated loudness
(ITU-R BS.1770) and true peak of stereo and of the mono sum. Where the library has a function for it, that is used; nothing is
computed twice, and nothing loops over samples.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

BLOCKS = (8192, 32768)
TINY = 1e-30


def db(power):
    return 10.0 * np.log10(np.maximum(power, TINY))


def averaged(left, right, rate, block):
    silence = np.zeros(3 * block // 4)
    left, right = (np.concatenate([silence, channel, silence]) for channel in (left, right))
    settings = dict(fs=rate, window="hann", nperseg=block, noverlap=3 * block // 4, detrend=False)
    frequencies, ll = signal.welch(left, **settings)
    _, rr = signal.welch(right, **settings)
    _, lr = signal.csd(right, left, **settings)
    return frequencies, np.array([ll, rr, lr.real, lr.imag])


def gathered(frequencies, values, edges):
    """Sums between edges; what lies on an edge is given out in proportion."""
    width = frequencies[1]
    borders = np.concatenate([[0.0], frequencies + width / 2])
    sums = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)
    return np.diff([np.interp(edges, borders, row) for row in sums], axis=1)


def delay(spectrum, rate, block):
    ll, rr, re, im = spectrum
    lr = re + 1j * im
    coherence = np.minimum(np.abs(lr) ** 2 / np.maximum(ll * rr, TINY), 0.999)
    weighted = np.conj(lr) / np.maximum(np.abs(lr), TINY) * coherence / (1.0 - coherence)
    correlation = np.fft.irfft(weighted, 4 * block)
    reach = int(0.03 * 4 * rate)
    around = np.concatenate([correlation[-reach:], correlation[: reach + 1]])
    return (np.argmax(np.abs(around)) - reach) / (4 * rate)


def attacks(left, right, rate):
    """The cross-spectrum of what is new where sounds begin, and its correlation over lag."""
    steps = np.diff(np.array([left, right]), axis=1, prepend=0.0)
    frame, window = round(0.0025 * rate), round(0.026 * rate)
    frames = steps.shape[1] // frame
    power = (steps[:, : frames * frame] ** 2).sum(axis=0).reshape(frames, frame).mean(axis=1)
    past = np.convolve(power, np.full(8, 0.125))[:frames]
    rising = np.flatnonzero((power[1:] > 2.5 * past[:-1]) & (power[1:] > 1e-9)) + 1
    begins, last = [], -1e9
    for at in rising * frame:
        if at - last > 0.06 * rate and at > 2 * window and at + window < steps.shape[1]:
            begins.append(at - round(0.004 * rate))
            last = at
    if len(begins) < 3:
        return None
    taper = signal.windows.tukey(window, 4.0 * 0.001 * rate / window)
    indices = np.array(begins)[:, None] + np.arange(window)
    length = 1 << (window + round(0.016 * rate)).bit_length()
    new, old = (np.fft.rfft(steps[:, indices + shift] * taper, length) for shift in (0, -window))
    cross = new[0] * new[1].conj() - old[0] * old[1].conj()
    heard, powers = (np.abs(new) ** 2).sum(axis=2), np.abs(new) ** 2 - np.abs(old) ** 2
    telling = (powers.sum(axis=2) > 0.25 * heard).all(axis=0)
    if telling.sum() < 3:
        return None
    powers, cross = powers[:, telling], cross[telling]
    left, right = powers.sum(axis=2)
    curves = 0.5 * length * np.fft.irfft(cross.conj(), length) / np.sqrt(left * right)[:, None]
    weights = 1.0 / (1.01 - np.minimum(np.abs(curves).max(axis=1), 1.0) ** 2) / (left + right)
    summed = np.array([weights @ values for values in (*powers, cross.real, cross.imag)])
    mean = curves.mean(axis=0)
    best = np.argmax(np.abs(mean))
    return np.fft.rfftfreq(length, 1.0 / rate), summed, (best, mean[0], mean[best], curves[:, best].std())


def stokes(spectrum):
    ll, rr, re, im = spectrum
    return np.array([ll + rr, ll - rr, 2.0 * re, 2.0 * im])


def split(frequencies, spectrum, new, rate):
    """Per 1/3 octave: as much of the whole as lies in the channels like what is new, or like itself, is dry."""
    edges = 1000.0 * 10.0 ** ((np.arange(-17, 15) - 0.5) / 10.0)
    edges = np.concatenate([[0.0], edges[edges < rate / 2], [rate / 2]])
    whole = stokes(gathered(frequencies, spectrum, edges))
    toward = whole if new is None else stokes(gathered(new[0], new[1], edges))
    toward = toward[1:] / np.maximum(np.linalg.norm(toward[1:], axis=0), TINY)
    direct = np.clip((whole[1:] * toward).sum(axis=0), 0.0, whole[0])
    dry = direct * np.array([1.0 + toward[0], 1.0 - toward[0], toward[1], toward[2]])
    of_whole = np.array([whole[0] + whole[1], whole[0] - whole[1], whole[2], whole[3]])
    share = dry / np.where(np.abs(of_whole) < TINY, 1.0, of_whole)
    dry = spectrum * share[:, np.searchsorted(edges, frequencies, side="right").clip(1, share.shape[1]) - 1]
    return dry, spectrum - dry


def feeds(frequencies):
    """The responses of both lines, of every feed."""
    late = np.exp(-2j * np.pi * frequencies * 0.001)
    box = 1.0 / (1.0 - 30j / np.maximum(frequencies, 1e-3)) / 12.0
    low = 1.0 / (1.0 + (frequencies / 100.0) ** 4)
    one, none = np.ones_like(late), np.zeros_like(late)
    straight = [(one, one), (2 * one, none), (none, 2 * one), (one, -one), (low, low), (low, -low)]
    faults = [-one, 0.1 * one, late, none, box]
    return np.array(straight + [(one, fault) for fault in faults] + [(fault, one) for fault in faults])


def k_weighting(rate):
    gain, q, hz = 3.999843853973347, 0.7071752369554196, 1681.974450955533
    k = np.tan(np.pi * hz / rate)
    high = 10 ** (gain / 20)
    band = high**0.4996667741545416
    a0 = 1 + k / q + k * k
    shelf = [high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k, a0, 2 * (k * k - 1), 1 - k / q + k * k]
    q, hz = 0.5003270373238773, 38.13547087602444
    k = np.tan(np.pi * hz / rate)
    a0 = 1 + k / q + k * k
    high_pass = [a0, -2 * a0, a0, a0, 2 * (k * k - 1), 1 - k / q + k * k]
    return np.array([np.array(section) / section[3] for section in (shelf, high_pass)])


def scores(frequencies, parts, responses, rate):
    left, right = responses[:, 0], responses[:, 1]
    cross = left * right.conj()
    weights = np.abs(signal.freqz_sos(k_weighting(rate), frequencies, fs=rate)[1]) ** 2
    for lowest in (0.0, 40.0):
        kept = frequencies >= lowest
        for ll, rr, re, im in parts:
            power = np.abs(left) ** 2 * ll + np.abs(right) ** 2 * rr + 2 * (cross.real * re - cross.imag * im)
            power = 0.25 * np.maximum(power, 0.0)[:, kept]
            reference = (0.5 * (ll + rr))[kept]
            change = db(power.sum(axis=1) / np.maximum(reference.sum(), TINY))
            level = db(power @ weights[kept] / np.maximum(reference @ weights[kept], TINY))
            thirds = np.arange(0, power.shape[1], 8)
            bands = np.add.reduceat(power, thirds, axis=1), np.add.reduceat(reference, thirds)
            tone = db(bands[0] / np.maximum(bands[1], TINY))
            dips = db(power / np.maximum(reference, TINY))
            yield [change, level, tone.std(axis=1), frequencies[kept][dips.argmin(axis=1)], dips.min(axis=1) - change]


def over_delay(frequencies, part):
    ll, rr, re, im = part
    turns = np.exp(2j * np.pi * np.linspace(0.0, 0.01, 1001)[:, None] * frequencies)
    crosses = np.array([(turns @ (re + 1j * im)).real, (turns.conj() @ (re + 1j * im)).real])
    powers = ll.sum() + rr.sum() + 2.0 * np.array([crosses.min(axis=0), -crosses.max(axis=0)])
    return db(powers / (2.0 * (ll.sum() + rr.sum())))


def loudness(weighted, rate):
    block, hop = round(0.4 * rate), round(0.1 * rate)
    sums = np.concatenate([[0.0], np.cumsum((weighted**2).sum(axis=0))])
    starts = np.arange(0, weighted.shape[1] - block + 1, hop)
    powers = (sums[starts + block] - sums[starts]) / block
    levels = -0.691 + db(powers)
    gate = -0.691 + db(powers[levels > -70].mean()) - 10
    return -0.691 + db(powers[(levels > -70) & (levels > gate)].mean())


def check(path):
    rate, data = wavfile.read(path)
    left, right = data.T / 32768.0
    both, cross = np.mean(left**2) + np.mean(right**2), np.mean(left * right)
    figures = [cross / np.sqrt(np.mean(left**2) * np.mean(right**2))]
    figures += [db((both + 2 * cross) / (2 * both)), db((both - 2 * cross) / (2 * both))]
    frequencies, short = averaged(left, right, rate, BLOCKS[0])
    fine, long = averaged(left, right, rate, BLOCKS[1])
    figures.append(delay(short, rate, BLOCKS[0]))
    new = attacks(left, right, rate)
    dry, wet = split(frequencies, short, new, rate)
    if new is not None:
        figures.append(new[2])

    edges = 1000.0 * 10.0 ** (0.3 * np.arange(-140, 109) / 24.0)
    edges = np.concatenate([[0.0], edges[edges < rate / 2], [rate / 2]])
    centres = np.sqrt(np.maximum(edges[:-1], 1.0) * edges[1:])
    parts = [gathered(frequencies, dry, edges), gathered(frequencies, wet, edges), gathered(fine, long, edges)]
    ll, rr, re, im = np.add.reduceat(parts[2], np.arange(0, len(centres), 8), axis=1)
    root = np.sqrt(np.maximum(ll * rr, TINY))
    shared = re / np.maximum(ll + rr, TINY)
    figures += [re / root, np.hypot(re, im) / root, db(ll), db(rr), db(0.5 + shared), db(0.5 - shared)]
    figures += scores(centres, parts, feeds(centres), rate)
    figures.append(over_delay(centres, parts[0]))

    mono = 0.5 * (left + right)
    weighted = signal.sosfilt(k_weighting(rate), np.array([left, right, mono]))
    figures += [loudness(weighted[:2], rate), loudness(weighted[[2, 2]], rate)]
    peaks = [np.abs(signal.resample_poly(channel, 4, 1)).max() for channel in (left, right, mono)]
    figures += [max(peaks[:2]), peaks[2]]
    return json.dumps(figures, default=lambda array: array.tolist())


if __name__ == "__main__":
    for path in sorted(Path(sys.argv[1]).glob("*.wav"))[: int(sys.argv[2])]:
        print(check(path))
