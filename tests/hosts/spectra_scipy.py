"""Core's spectra against scipy.signal's, on the same input and settings: Hann, three quarters overlap, no detrending.

Run by `cargo xtask test`; SUMPROOF_SPECTRA names the program that prints signals and spectra (`sumproof-spectra`).
Ends with 'ok' and 0, or with the failed checks and 1.
"""

import json
import os
import subprocess
import sys

import numpy as np
import scipy
from scipy import signal

TOLERANCE = 1e-6


def compare(case):
    block = case["block"]
    hop = block // 4
    left, right = np.array(case["left"]), np.array(case["right"])
    frames = len(left)
    # Core's blocks extend past both ends into silence, until none contains sound any more.
    count = -(-(frames + block - hop) // hop)
    before = block - hop
    after = (count - 1) * hop + block - before - frames
    pad = lambda x: np.concatenate([np.zeros(before), x, np.zeros(after)])
    left, right = pad(left), pad(right)
    settings = dict(
        fs=case["rate_hz"], window="hann", nperseg=block, noverlap=block - hop, detrend=False
    )
    window = signal.get_window("hann", block)
    # A density over padded blocks, as the mean square per bin of the frames alone.
    share = count * np.sum(window**2) / (frames * np.sum(window**2) / hop)
    scale = case["rate_hz"] / block * share
    # scipy's csd(x, y) is conj(X)*Y, core's S_LR is X_L*conj(X_R).
    expected = {
        "ll": signal.welch(left, **settings)[1] * scale,
        "rr": signal.welch(right, **settings)[1] * scale,
        "lr": signal.csd(right, left, **settings)[1] * scale,
        "coherence": signal.coherence(left, right, **settings)[1],
    }
    # The headline figures: correlation, sum and flipped sum, from the samples in numpy and from core's spectra.
    both = np.sum(left**2) + np.sum(right**2)
    headline = {
        "correlation": np.sum(left * right) / np.sqrt(np.sum(left**2) * np.sum(right**2)),
        "sum": np.sum(((left + right) / 2) ** 2) / (both / 2),
        "flipped sum": np.sum(((left - right) / 2) ** 2) / (both / 2),
    }
    ll, rr = np.array(case["ll"]), np.array(case["rr"])
    lr = np.array(case["lr_re"]) + 1j * np.array(case["lr_im"])
    got = {"ll": ll, "rr": rr, "lr": lr, "coherence": np.abs(lr) ** 2 / (ll * rr)}
    power = np.sum(ll) + np.sum(rr)
    cross = np.sum(lr.real)
    expected.update(headline)
    got["correlation"] = cross / np.sqrt(np.sum(ll) * np.sum(rr))
    got["sum"] = (power + 2 * cross) / (2 * power)
    got["flipped sum"] = (power - 2 * cross) / (2 * power)
    failures = []
    for name, want in expected.items():
        worst = np.max(np.abs(got[name] - want) / np.abs(want))
        print(f"{case['name']:>24} {name:<10} largest relative difference {worst:.1e}")
        if not worst <= TOLERANCE:
            failures.append(f"{case['name']}: {name} is off by {worst:.2e}")
    return failures


def main():
    program = os.environ.get("SUMPROOF_SPECTRA")
    if not program or not os.path.exists(program):
        print("SUMPROOF_SPECTRA names no program: run `cargo xtask test`, which builds it")
        return 1
    print(f"numpy {np.__version__}, scipy {scipy.__version__}")
    cases = json.loads(subprocess.run([program], check=True, capture_output=True).stdout)
    failures = [failure for case in cases for failure in compare(case)]
    for failure in failures:
        print("FAILED", failure)
    if not cases:
        print("FAILED no case was printed")
        return 1
    if not failures:
        print("ok")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
