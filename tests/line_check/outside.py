"""The line check against other people's rooms, codecs and phone processing.

    python3 outside.py SUMPROOF [HOW MANY [SEED]]

SUMPROOF is the command. Rooms are shoeboxes of pyroomacoustics (PyPI, MIT; R. Scheibler et al., ICASSP 2018: image sources), codecs and
what a phone does to a recording are ffmpeg's (AAC in m4a, AAC in 3gp, Opus in Ogg, MP3; `acompressor` as an automatic gain, `afftdn` as
noise suppression). Needs numpy, scipy, pyroomacoustics and ffmpeg. Every case is drawn by its number; prints a line for each and a
table; exit code 1 if anything wrong was said to be sure.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyroomacoustics as pra
from scipy.io import wavfile
from scipy.signal import butter, fftconvolve, sosfilt

RATE = 48_000
KINDS = ["still", "still", "still", "hand", "two", "elsewhere", "cut"]
WANTED = {
    "hand": {"moved", "swayed", "cut"},
    "two": {"different-ways"},
    "elsewhere": {"different-ways"},
    "cut": {"cut"},
}
CODECS = {
    "wav": None,
    "m4a 64": (["-c:a", "aac", "-b:a", "64k"], "m4a"),
    "m4a 128": (["-c:a", "aac", "-b:a", "128k"], "m4a"),
    "3gp 48": (["-c:a", "aac", "-b:a", "48k"], "3gp"),
    "opus 32": (["-c:a", "libopus", "-b:a", "32k"], "ogg"),
    "mp3 96": (["-c:a", "libmp3lame", "-b:a", "96k"], "mp3"),
}
PHONES = {
    "nothing": None,
    "gain": "acompressor=threshold=0.01:ratio=6:attack=20:release=800:makeup=8",
    "suppression": "afftdn=nr=12:nt=w",
}


def ffmpeg(*arguments):
    subprocess.run(["ffmpeg", "-v", "error", "-y", *map(str, arguments)], check=True)


def line(x, fault):
    """A line: polarity, gain, delay (between samples), first-order high-pass."""
    bins = np.fft.rfft(x, len(x) + RATE)
    hz = np.fft.rfftfreq(len(x) + RATE, 1 / RATE)
    bins *= fault["sign"] * 10 ** (fault["db"] / 20) * np.exp(-2j * np.pi * hz * fault["delay"])
    if fault["corner"]:
        bins *= 1j * hz / (fault["corner"] + 1j * hz)
    return np.fft.irfft(bins)[: len(x) + RATE // 10]


def draw(number):
    rng = np.random.default_rng(number)
    still = {"sign": 1, "db": 0.0, "delay": 0.0, "corner": 0.0}
    fault = {
        "sign": int(rng.choice([1, -1])),
        "db": float(rng.choice([0.0, -rng.uniform(0, 15)])),
        "delay": float(rng.choice([0.0, rng.uniform(0.0003, 0.02)])),
        "corner": float(rng.choice([0.0, rng.uniform(10, 120)])),
    }
    return {
        "kind": KINDS[rng.integers(len(KINDS))],
        "left": still,
        "right": fault,
        "codec": str(rng.choice(list(CODECS))),
        "phone": str(rng.choice(list(PHONES), p=[0.5, 0.3, 0.2])),
        "noise_db": float(rng.uniform(10, 45)),
        "size": rng.uniform([5, 4, 2.6], [18, 12, 5]).tolist(),
        "decay": float(rng.uniform(0.25, 1.0)),
        "sway": float(rng.uniform(0.01, 0.04)),
        "rng": rng,
    }


def responses(case, sources, microphones):
    size, decay = np.array(case["size"]), case["decay"]
    while True:
        try:
            absorption, order = pra.inverse_sabine(decay, size)
            break
        except ValueError:  # No wall swallows as much: a longer decay.
            decay *= 1.3
    room = pra.ShoeBox(size, fs=RATE, materials=pra.Material(absorption), max_order=min(order, 14))
    for source in sources:
        room.add_source(source)
    room.add_microphone_array(np.array(microphones).T)
    room.compute_rir()
    # For each microphone and source.
    return room.rir


def loudspeaker(x):
    x = sosfilt(butter(4, 80, "high", fs=RATE, output="sos"), x)
    return sosfilt(butter(2, 14_000, "low", fs=RATE, output="sos"), x)


def on_the_move(x, case, source, middle):
    """A microphone that sways along one axis: rooms at steps of 2 mm, mixed by where it is."""
    rng = case["rng"]
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    places = np.arange(-case["sway"], case["sway"] + 0.002, 0.002)
    found = responses(case, [source], [middle + p * axis for p in places])
    t = np.arange(len(x)) / RATE
    at = case["sway"] * np.sin(2 * np.pi * rng.uniform(0.15, 0.6) * t + rng.uniform(0, 6.28))
    index = np.clip((at - places[0]) / 0.002, 0, len(places) - 1.001)
    out = np.zeros(len(x))
    for n, rir in enumerate(found):
        weight = np.clip(1 - np.abs(index - n), 0, 1)
        if weight.any():
            out += weight * fftconvolve(x, rir[0])[: len(x)]
    return out


def recorded(case, left, right):
    rng, kind, size = case["rng"], case["kind"], np.array(case["size"])
    left, right = line(left, case["left"]), line(right, case["right"])
    inside = lambda: rng.uniform(0.6, size - 0.6)
    microphone = inside()
    if kind == "two":
        apart = rng.uniform(2.0, 4.0)
        one = np.array([size[0] / 2 - apart / 2, 0.8, 1.8])
        other = one + [apart, 0, 0]
        rir = responses(case, [one, other], [microphone])
        x = fftconvolve(loudspeaker(left), rir[0][0])
        y = fftconvolve(loudspeaker(right), rir[0][1])
        n = min(len(x), len(y))
        return x[:n] + y[:n]
    wedge = microphone + rng.uniform(-0.5, 0.5, 3) * [1, 1, 0.2] + [0.6, 0.6, -0.3]
    wedge = np.clip(wedge, 0.3, size - 0.3)
    if kind == "elsewhere":
        rir = responses(case, [wedge, inside()], [microphone])
        x = fftconvolve(loudspeaker(left), rir[0][0])
        y = rng.uniform(0.3, 1.5) * fftconvolve(loudspeaker(left + right), rir[0][1])
        n = min(len(x), len(y))
        return x[:n] + y[:n]
    sound = loudspeaker(left + right)
    if kind == "hand":
        return on_the_move(sound, case, wedge, microphone)
    x = fftconvolve(sound, responses(case, [wedge], [microphone])[0][0])
    if kind == "cut":
        at, length = int(rng.uniform(8.5, 18.0) * RATE), int(rng.uniform(0.0005, 0.02) * RATE)
        x = np.concatenate([x[:at], x[at + length :]])
    return x


def run(command, folder, number, played):
    case = draw(number)
    x = recorded(case, *played)
    x = np.concatenate([np.zeros(int(case["rng"].uniform(0.5, 3) * RATE)), x])
    power = max(np.mean(part**2) for part in np.array_split(x, max(1, len(x) // RATE)))
    x += case["rng"].normal(size=len(x)) * np.sqrt(power) * 10 ** (-case["noise_db"] / 20)
    x *= 0.3 / np.abs(x).max()
    raw, heard = folder / "raw.wav", folder / "heard.wav"
    wavfile.write(raw, RATE, x.astype(np.float32))
    if PHONES[case["phone"]]:
        ffmpeg("-i", raw, "-af", PHONES[case["phone"]], "-c:a", "pcm_s16le", heard)
    else:
        ffmpeg("-i", raw, "-c:a", "pcm_s16le", heard)
    if CODECS[case["codec"]]:
        options, extension = CODECS[case["codec"]]
        coded = folder / f"coded.{extension}"
        ffmpeg("-i", heard, *options, coded)
        ffmpeg("-i", coded, "-c:a", "pcm_s16le", heard)
    done = subprocess.run([command, "linecheck", "read", heard, "--format", "json"], capture_output=True, text=True)
    return case, json.loads(done.stdout) if done.returncode == 0 else done.stderr.strip()


def graded(case, found):
    """Answers as (right, trust), by name; untold ones are left out."""
    answers, right, pair = {}, case["right"], found["pair"] or {}
    late = pair.get("right_late_s") or {}
    level = pair.get("right_over_left_db") or {}
    polarity = pair.get("polarity") or {}
    if polarity.get("trust"):
        answers["polarity"] = ((polarity["value"] == "flipped") == (right["sign"] < 0), polarity["trust"])
    if late.get("trust"):
        answers["delay"] = (abs(late["value"] - right["delay"]) <= max(1e-4, late["within"]), late["trust"])
    if level.get("trust"):
        answers["level"] = (abs(level["value"] - right["db"]) <= max(0.5, level["within"]), level["trust"])
    feed = found["receives"]
    if feed["trust"]:
        one_line = {"elsewhere": ["left"], "two": []}
        wanted = one_line.get(case["kind"], ["difference" if right["sign"] < 0 else "sum"])
        answers["feed"] = (feed["value"] in wanted, feed["trust"])
    return answers


def main():
    command = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    first = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    table, wrong = {}, {"sure": 0, "likely": 0}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        signal = folder / "signal.wav"
        subprocess.run([command, "linecheck", "make", "--output", signal], check=True, stdout=subprocess.DEVNULL)
        ffmpeg("-i", signal, "-c:a", "pcm_f32le", folder / "played.wav")
        _, samples = wavfile.read(folder / "played.wav")
        played = samples[:, 0].astype(float), samples[:, 1].astype(float)
        for number in range(first, first + count):
            case, found = run(command, folder, number, played)
            row = table.setdefault(case["kind"], {"number": 0, "named": 0, "right": 0, "wrong": 0, "untold": 0})
            row["number"] += 1
            if isinstance(found, str):
                row["untold"] += 4
                print(number, case["kind"], found)
                continue
            answers = graded(case, found)
            row["named"] += bool(WANTED.get(case["kind"], set()) & set(found["notices"]))
            row["untold"] += 4 - len(answers)
            for what, (is_right, trust) in answers.items():
                row["right" if is_right else "wrong"] += 1
                if not is_right:
                    wrong[trust] += 1
            print(number, case["kind"], case["codec"], case["phone"], f"noise {case['noise_db']:.0f}", case["right"], answers, found["notices"])
    print("| case | number | named | answers right / wrong / untold |\n|---|---|---|---|")
    for kind, row in table.items():
        named = row["named"] if kind in WANTED else "–"
        print(f"| {kind} | {row['number']} | {named} | {row['right']} / {row['wrong']} / {row['untold']} |")
    print(f"wrong and said to be sure: {wrong['sure']}; likely: {wrong['likely']}")
    return 1 if wrong["sure"] else 0


if __name__ == "__main__":
    sys.exit(main())
