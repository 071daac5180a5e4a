"""What is true of a preset, from its dry and wet in the time domain: nothing here knows how the product finds it."""

import numpy as np
from scipy.signal import butter, sosfiltfilt

from phrases import RATE_HZ


def power(sound):
    return float(np.mean(sound**2))


def db(ratio):
    return float(10 * np.log10(max(ratio, 1e-30)))


def correlation(pair):
    return float(np.sum(pair[0] * pair[1]) / np.sqrt(max(np.sum(pair[0] ** 2) * np.sum(pair[1] ** 2), 1e-30)))


def uneven_db(pair):
    """Level of the left channel over the right one's."""
    return db(power(pair[0]) / max(power(pair[1]), 1e-30))


def sum_db(pair):
    """The average sum's level against the mean of both channels'."""
    return db(power((pair[0] + pair[1]) / 2) / max((power(pair[0]) + power(pair[1])) / 2, 1e-30))


def flip_gains_db(pair):
    """What flipping one channel would give the sum, dB."""
    return sum_db(np.stack([pair[0], -pair[1]])) - sum_db(pair)


def modulation_db(channels):
    """How much a sound's envelope moves at 2 to 12 Hz, dB rms over the octaves from 140 Hz up, as the slow level of each 10 ms."""
    hop = RATE_HZ // 100
    bands = [butter(2, (low, 2 * low), "band", fs=RATE_HZ, output="sos") for low in (140, 280, 560, 1120, 2240)]
    move = butter(2, (2.0, 12.0), "band", fs=100, output="sos")
    result = []
    for sound in channels:
        per_band = []
        for sos in bands:
            band = sosfiltfilt(sos, sound)
            frames = band[: len(band) // hop * hop].reshape(-1, hop)
            level = 10 * np.log10(np.mean(frames**2, axis=1) + 1e-14)
            level = np.maximum(level, level.max() - 50)
            per_band.append(sosfiltfilt(move, level))
        result.append(per_band)
    return np.array(result)


def movement_lost(full):
    """Of what moves at 2 to 12 Hz between the channels, how much the level difference moves (dB rms), and how much of that the sum keeps.

    Playing moves both channels alike, so the difference of their levels is the effect's alone.
    """
    left, right, both = modulation_db([full[0], full[1], (full[0] + full[1]) / 2])
    between = left - right
    rms = float(np.sqrt(np.mean(between**2)))
    kept = float(np.mean(np.sum(between * (2 * both - left - right), axis=1)) / max(np.mean(np.sum(between**2, axis=1)), 1e-12))
    return rms, kept


def turning(dry):
    """How far the dry's level difference (dB) and phase (degrees) stray from their means over frequency, rms over 1/3 octaves that
    hold sound, weighted by the root of their power; a plain delay is taken out of the phase."""
    spectra = np.fft.rfft(dry, axis=1)
    hz = np.fft.rfftfreq(dry.shape[1], 1 / RATE_HZ)
    rows = []
    for n in range(-10, 11):
        centre = 1000 * 10 ** (n / 10)
        inside = (hz >= centre * 10 ** -0.05) & (hz < centre * 10**0.05)
        left, right = spectra[0, inside], spectra[1, inside]
        ll, rr = np.sum(np.abs(left) ** 2), np.sum(np.abs(right) ** 2)
        rows.append((centre, ll, rr, np.sum(left * np.conj(right))))
    centre, ll, rr, lr = map(np.array, zip(*rows))
    held = (ll + rr) > 1e-3 * (ll + rr).max()
    centre, ll, rr, lr = centre[held], ll[held], rr[held], lr[held]
    if min(ll.min(), rr.min()) < 1e-9 * (ll + rr).max():
        return 0.0, 0.0
    weight = np.sqrt(ll + rr)
    level = 10 * np.log10(ll / rr)
    level_stray = float(np.sqrt(np.average((level - np.average(level, weights=weight)) ** 2, weights=weight)))
    unit = lr / np.maximum(np.abs(lr), 1e-30) * np.minimum(np.abs(lr) / np.sqrt(ll * rr), 1)
    best = 180.0
    for sign in (1, -1):
        for delay in np.arange(-0.001, 0.001, 2e-6):
            turned = sign * unit * np.exp(-2j * np.pi * centre * delay)
            stray = float(np.sqrt(np.average(np.degrees(np.angle(turned)) ** 2, weights=weight)))
            best = min(best, stray)
    return level_stray, best
