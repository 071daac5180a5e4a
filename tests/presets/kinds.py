"""The kinds of preset: how each is put together, and what is the matter with it.

A maker gives dry and wet (two channels each), what the player would say of the preset, and the causes: those that *must* be named,
those that *may* be (the truth lies near a limit or is a matter of words), and those that can only be told when the wet is known by
itself (`with_wet`).
"""

import numpy as np

import effects
import truth
from effects import both, late
from phrases import Phrase, RATE_HZ, muted, pick, play, stream, swelled

# How many of each, and of them how many belong to the small set that every test run hears.
KINDS = {
    "plain": 3,
    "reverb": 11,
    "echo": 9,
    "chorus": 6,
    "detune": 5,
    "mid-side-chorus": 5,
    "anti-phase-reverb": 7,
    "mono-reverb": 5,
    "two-amplifiers": 11,
    "late-copy": 10,
    "flipped": 6,
    "flipped-late": 2,
    "flipped-two-amplifiers": 3,
    "double-tracked": 7,
    "panned": 7,
    "uneven": 3,
    "dry-left-wet-right": 4,
    "tremolo": 2,
    "opposed-tremolo": 3,
    "auto-pan": 4,
    "phaser": 4,
    "rotary": 4,
    "swell": 4,
    "strumming": 5,
}
SMALL = (
    "plain/0", "reverb/0", "echo/0", "mid-side-chorus/0", "anti-phase-reverb/0", "two-amplifiers/0", "two-amplifiers/1", "late-copy/0",
    "late-copy/4", "flipped/0", "double-tracked/0", "panned/0", "opposed-tremolo/0",
)
WET_DB = (-12.0, -6.0, -3.0, 0.0, 3.0, 6.0)


class Preset:
    """One preset in the making."""

    def __init__(self, half, kind, index, soundfont, synthesizer):
        self.half, self.kind, self.index = half, kind, index
        self.soundfont, self.synthesizer = soundfont, synthesizer
        self.rng = stream("preset", half, kind, index)
        self.style = None
        self.ends_muted = False
        self.wet_db = None
        self.effect = []
        self.said = "centre"
        self.delay_ms = 0.0
        self.must, self.may, self.with_wet = set(), set(), set()

    # ---- its parts ---------------------------------------------------------------------------------------------------

    def phrase(self, style=None):
        rng = stream("phrase", self.half, self.kind, self.index)
        self.phrase_ = Phrase(rng, style)
        return self.phrase_

    def take(self, number=0):
        """What the guitar gives; other numbers are other takes of the same phrase."""
        sound = play(
            self.phrase_, stream("take", self.half, self.kind, self.index, number), self.soundfont, self.synthesizer
        )
        return muted(sound) if self.ends_muted else sound

    def amplified(self, sound, kind=None):
        name, result = effects.amplified(sound, self.rng, kind)
        if name != "none":
            self.effect.append(f"amplifier {name}")
        # An amplifier's noise and tail end with the strings that are muted.
        return muted(result) if self.ends_muted else result

    def mono(self, style=None, amplifier=None):
        self.phrase(style)
        return self.amplified(self.take(), amplifier)

    def finish(self, dry, wet=None, wet_db=None):
        """Levels; every figure of the truth that needs both parts."""
        dry = np.atleast_2d(dry)
        dry = dry * (0.1 / np.sqrt(np.mean(dry**2)))
        if wet is None:
            wet = np.zeros_like(dry)
        else:
            self.wet_db = float(wet_db if wet_db is not None else self.drawn_wet_db())
            wet = wet * np.sqrt(np.mean(dry**2) / np.mean(wet**2)) * 10 ** (self.wet_db / 20)
        loudest = np.abs(dry + wet).max()
        scale = min(1.0, 0.9 / loudest)
        self.dry, self.wet = (dry * scale).astype(np.float32), (wet * scale).astype(np.float32)

    def drawn_wet_db(self):
        """Balances go through the list, so that each kind has them all."""
        return WET_DB[(self.index * 5 + 1) % len(WET_DB)] + float(self.rng.uniform(-1, 1))

    def ordinary_wet(self, sound):
        name, wet = effects.reverb(sound, self.rng, self.half)
        self.effect.append(f"reverb {name}")
        return wet

    def tails(self):
        """Every other preset of a kind whose effect rings on ends with muted strings."""
        self.ends_muted = self.index % 2 == 0

    # ---- the kinds ---------------------------------------------------------------------------------------------------

    def plain(self):
        self.finish(both(self.mono()))

    def reverb(self):
        self.tails()
        dry = self.mono()
        self.finish(both(dry), self.ordinary_wet(dry))

    def echo(self):
        self.tails()
        dry = self.mono()
        name, wet = effects.echo(dry, self.rng, self.phrase_.beat_s)
        self.effect.append(f"echo {name}")
        self.finish(both(dry), wet)

    def chorus(self):
        dry = self.mono()
        name, wet = effects.chorus(dry, self.rng)
        self.effect.append(f"chorus {name}")
        self.finish(both(dry), wet)

    def detune(self):
        dry = self.mono()
        name, wet = effects.detune(dry, self.rng)
        self.effect.append(f"detune {name}")
        self.finish(both(dry), wet)

    def mid_side_chorus(self):
        dry = self.mono()
        name, wet = effects.chorus(dry, self.rng)
        self.effect.append(f"chorus {name}, opposite in the channels")
        self.finish(both(dry), np.stack([wet[0], -wet[0]]))

    def anti_phase_reverb(self):
        self.tails()
        dry = self.mono()
        wet = self.ordinary_wet(dry)
        alike = self.rng.uniform(0.6, 1.0)
        self.effect[-1] += f", opposite by {alike:.2f}"
        self.finish(both(dry), np.stack([wet[0], -(alike * wet[0] + np.sqrt(1 - alike**2) * wet[1])]))

    def mono_reverb(self):
        self.tails()
        dry = self.mono()
        self.finish(both(dry), both(self.ordinary_wet(dry).mean(axis=0)))
        self.effect[-1] += ", mono"

    def two_amplifiers(self, opposite=1.0):
        self.said = "two-amplifiers"
        self.phrase()
        sound = self.take()
        kinds = ["clean", "crunch", "lead", "pedal", "tube"]
        first = pick(self.rng, kinds)
        second = pick(self.rng, [kind for kind in kinds if kind != first])
        pair = [self.amplified(sound, kind) for kind in (first, second)]
        pair = [channel / np.sqrt(np.mean(channel**2)) for channel in pair]
        distance_s = float(self.rng.choice([0.0, 0.0, self.rng.uniform(0.1, 0.5) * 1e-3]))
        pair[1] = late(pair[1], distance_s)
        # What comes out of an amplifier has a polarity of its own; a player turns the second one so that both add up.
        straight = 1.0 if truth.flip_gains_db(np.stack(pair)) <= 0.0 else -1.0
        dry = np.stack([pair[0], opposite * straight * pair[1]])
        self.delay_ms = 1000 * distance_s
        if self.index % 3 == 2:
            self.finish(dry, self.ordinary_wet(sound), self.rng.uniform(-12, -3))
        else:
            self.finish(dry)

    def flipped_two_amplifiers(self):
        self.two_amplifiers(-1.0)

    def late_copy(self):
        self.said = "late-copy"
        self.delay_ms = (9.0, 1.0, 20.0, 3.0, 15.0, 6.0, 28.0, 12.0, 38.0, 0.5)[self.index % 10] * float(self.rng.uniform(0.9, 1.08))
        dry = self.mono()
        pair = np.stack([dry, late(dry, self.delay_ms / 1000)])
        if self.rng.random() < 0.5:
            pair = pair[::-1]
            self.delay_ms = -self.delay_ms
        if self.index % 2 == 0:
            self.finish(pair, self.ordinary_wet(dry), self.rng.uniform(-14, -4))
        else:
            self.finish(pair)
        self.must.add("late-channel")

    def flipped(self):
        dry = self.mono()
        wet = self.ordinary_wet(dry)
        if self.index % 2:
            # Flipped on the way out, effect and all; else at the dry's own output.
            wet[1] = -wet[1]
        self.finish(np.stack([dry, -dry]), wet, self.rng.uniform(-14, 1))
        self.must.add("flipped-channel")

    def flipped_late(self):
        self.said = "late-copy"
        dry = self.mono()
        self.delay_ms = float(self.rng.uniform(0.4, 6.0))
        self.finish(np.stack([dry, -late(dry, self.delay_ms / 1000)]), self.ordinary_wet(dry), self.rng.uniform(-14, -6))
        self.must |= {"flipped-channel", "late-channel"}

    def double_tracked(self):
        self.said = "two-takes"
        self.phrase()
        kind = pick(self.rng, ("none", "clean", "crunch", "lead"))
        pair = [self.amplified(self.take(number), kind) for number in (0, 1)]
        dry = np.stack([channel / np.sqrt(np.mean(channel**2)) for channel in pair])
        if self.index % 2:
            self.finish(dry, self.ordinary_wet(pair[0]), self.rng.uniform(-14, -4))
        else:
            self.finish(dry)

    def panned(self):
        self.tails()
        self.said = "one-side" if self.index % 3 == 2 else "centre"
        dry = self.mono()
        offset_db = 60.0 if self.index % 3 == 2 else float(self.rng.uniform(3.0, 14.0))
        gains = np.array([1.0, 10 ** (-offset_db / 20) if offset_db < 60 else 0.0])
        if self.rng.random() < 0.5:
            gains = gains[::-1]
        self.finish(gains[:, None] * both(dry), self.ordinary_wet(dry))

    def uneven(self):
        dry = self.mono()
        wet = self.ordinary_wet(dry)
        gains = np.array([[1.0], [10 ** (-self.rng.uniform(4, 12) / 20)]])
        self.finish(gains * both(dry), gains * wet, self.rng.uniform(-12, 0))

    def dry_left_wet_right(self):
        self.tails()
        self.said = "one-side"
        dry = self.mono()
        wet = self.ordinary_wet(dry).mean(axis=0)
        silent = np.zeros_like(dry)
        self.finish(np.stack([dry, silent]), np.stack([silent, wet]), self.rng.uniform(-8, 2))

    def whole(self, name, sound):
        """Nothing but the whole can be called the sound."""
        self.said = "no-dry"
        self.effect.append(name)
        self.finish(sound)

    def tremolo(self):
        self.whole(*effects.tremolo(self.mono(), self.rng, opposed=False))

    def opposed_tremolo(self):
        self.whole(*effects.tremolo(self.mono(), self.rng, opposed=True))

    def auto_pan(self):
        self.whole(*effects.auto_pan(self.mono(), self.rng))

    def phaser(self):
        self.whole(*effects.phaser(self.mono(), self.rng))

    def rotary(self):
        self.whole(*effects.rotary(self.mono(), self.rng))

    def swell(self):
        self.tails()
        self.phrase(pick(self.rng, ("sparse", "melody")))
        dry = swelled(self.take(), self.phrase_)
        dry = self.amplified(dry, pick(self.rng, ("none", "clean")))
        if self.index % 2:
            name, wet = effects.echo(dry, self.rng, self.phrase_.beat_s)
            self.effect.append(f"echo {name}")
        else:
            wet = self.ordinary_wet(dry)
        self.finish(both(dry), wet, self.rng.uniform(-6, 4))

    def strumming(self):
        self.tails()
        dry = self.mono("dense")
        self.finish(both(dry), self.ordinary_wet(dry), self.rng.uniform(2, 7))

    # ---- what is the matter ------------------------------------------------------------------------------------------

    def make(self):
        getattr(self, self.kind.replace("-", "_"))()
        self.judge()
        return self

    def judge(self):
        dry, wet = self.dry.astype(np.float64), self.wet.astype(np.float64)
        full = dry + wet
        must, may = self.must, self.may
        figures = self.figures = {}
        one_side = min(truth.power(dry[0]), truth.power(dry[1])) < 1e-6 * truth.power(dry)
        whole = self.said == "no-dry"

        uneven = figures["uneven_dry_db"] = truth.uneven_db(dry) if not one_side else float(np.sign(truth.power(dry[0]) - truth.power(dry[1]))) * 99.0
        if abs(uneven) >= 4.0:
            must.add("uneven-channels")
        elif abs(uneven) >= 2.0 or abs(truth.uneven_db(full)) >= 2.0 or self.kind == "double-tracked" and abs(uneven) >= 1.5:
            may.add("uneven-channels")
        if one_side:
            may.add("silent-channel")

        gains = figures["flip_gains_db"] = truth.flip_gains_db(dry) if not one_side else 0.0
        if self.said == "two-amplifiers" and gains > 0.3:
            # Straight, the dry is weaker: by how much a second amplifier is wrong way round is a matter of degree.
            (must if gains > 2.5 else may).add("flipped-channel")

        level_stray, phase_stray = truth.turning(dry) if not one_side else (0.0, 0.0)
        figures["level_stray_db"], figures["phase_stray_degrees"] = level_stray, phase_stray
        if self.said == "two-amplifiers":
            (must if max(phase_stray / 20.0, level_stray / 3.0) >= 1.0 else may).add("frequency-dependent-phase")
            # A fraction of a millisecond and the filters' own phases can't be told apart.
            may.add("late-channel")
        elif whole:
            may.add("frequency-dependent-phase")

        # Lined up: what the channels share whatever their delay and polarity.
        sign = -1.0 if "flipped-channel" in must else 1.0
        shift = self.delay_ms / 1000
        lined = np.stack([full[0], sign * late(full[1], -shift)]) if shift else np.stack([full[0], sign * full[1]])
        shared = figures["correlation_lined_up"] = truth.correlation(lined)
        figures["dry_correlation_lined_up"] = truth.correlation(
            np.stack([dry[0], sign * (late(dry[1], -shift) if shift else dry[1])])
        ) if not one_side else 0.0
        if self.kind == "double-tracked":
            must.add("wide-sound")
        elif shared < 0.5:
            may.add("wide-sound")

        moves_db, kept = truth.movement_lost(full)
        figures["moves_db"], figures["movement_kept"] = moves_db, kept
        if self.kind in ("opposed-tremolo", "auto-pan"):
            must.add("movement-lost")
        elif self.kind in ("rotary", "phaser"):
            may.add("movement-lost")

        if self.wet_db is not None:
            lost = figures["wet_in_the_sum_db"] = truth.sum_db(wet)
            if self.wet_db > -15:
                if lost < -10.0:
                    self.with_wet.add("effect-gone")
                elif lost < -7.0:
                    may.add("effect-gone")
                if lost < -3.6:
                    may.add("wet-fights-itself")
        # Most of the sound is in the effect, and what that does no one can tell from the pair.
        if truth.correlation(full) < 0.0 and "flipped-channel" not in must:
            may.add("opposed-untold")

        holds = not must and truth.sum_db(dry) > -4.4
        if holds and not self.with_wet:
            (may if may - {"wide-sound", "uneven-channels", "wet-fights-itself"} else must).add("nothing-wrong")
        elif holds:
            # Without the wet by itself it can't be known that it goes.
            may.add("nothing-wrong")

    def description(self):
        return {
            "kind": self.kind,
            "half": self.half,
            "index": self.index,
            "said": self.said,
            "phrase": {"style": self.phrase_.style, "program": self.phrase_.program, "beat_s": round(self.phrase_.beat_s, 4),
                       "muted_end": self.ends_muted},
            "effects": self.effect,
            "wet_over_dry_db": None if self.wet_db is None else round(truth.db(truth.power(self.wet) / truth.power(self.dry)), 3),
            "right_channel_late_ms": round(self.delay_ms, 4),
            "causes": {"must": sorted(self.must), "may": sorted(self.may - self.must), "with_wet": sorted(self.with_wet)},
            "figures": {name: round(value, 3) + 0.0 for name, value in self.figures.items()},
        }
