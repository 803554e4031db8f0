"""Simulated recordings: what the analysis of a recording sees, and how far off it is.

`PYTHONPATH=tests:tests/sound python -m benchmarks.simulated_recordings` judges 400 recordings
(some ten minutes of one processor) and prints the tables of docs/prove.md; `--write` puts them
there, `--half 0` judges those of even seeds alone, by which the thresholds were set, `--half 1` the
others. Each is drawn with its truth by the simulator of the tests, which shares nothing with the
analysis. AAC and the Bluetooth link need ffmpeg.
"""

from __future__ import annotations

import shutil
from argparse import ArgumentParser
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from io import BytesIO
from multiprocessing import get_context

import numpy as np
import soundfile

from benchmarks.recorded_figures import Line, errors_line, put, tables
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.measured.polarity import (
    SEAT_BY_BANDS,
    combined_polarity,
    evidence_of,
    seat_phases,
)
from conewright.sound.recorded.analysis import Take, analyse
from conewright.sound.recorded.recording import Recording
from conewright.sound.recorded.recording_files import read_recording
from conewright.sound.recorded.third_octaves import harmonic_levels
from simulator.chain import spectrum_at, third_octave_levels
from simulator.draw import CODECS, SPOILT, Simulated, Truth, random_truth, recorded
from simulator.files import RATE, SIDES

__all__ = ["Judged", "drawn", "judge", "judged", "passed", "told"]

COUNT = 400
GAIN = frozenset({"gain-control", "noise-suppression"})
EXPECTED: Mapping[str, frozenset[str]] = {
    "gain-control": GAIN,
    "gain-drift": GAIN,
    "noise-suppression": GAIN,
    "clipped-hard": frozenset({"clipped"}),
    "clipped-soft": frozenset({"clipped"}),
    "dropout": frozenset({"dropout"}),
    "repeat": frozenset({"dropout"}),
    "moved": frozenset({"moved"}),
    "truncated": frozenset({"truncated", "no-marks"}),
    "music": frozenset({"no-marks"}),
    "silence": frozenset({"no-marks"}),
    "mp3": frozenset({"lossy", "coarse"}),
    "vorbis": frozenset({"lossy", "coarse"}),
    "opus": frozenset({"lossy", "coarse"}),
    "aac": frozenset({"lossy", "coarse"}),
}
"""Flags of which one at least is right; a gain at its highest and the link bend nothing."""

FILED = ("mp3", "vorbis", "opus")
"""Codecs in whose own format the file comes; AAC comes decoded, only its sound can tell."""
LOSSY = frozenset({*CODECS, "link"})
LEVELS_KEPT = LOSSY | {"gain-at-its-highest"}
TERMINAL = frozenset({"truncated", "music", "silence"})
LEAST_SNR = 15.0
DRIFT_SEEN = 3.0
"""A drift of the gain from this on must be told [dB]."""
LEAST_HARMONIC = -45.0
"""Harmonics over this are judged [dB re fundamental]."""
CLEAR_HARMONIC = 20.0
"""So far over the noise [dB]."""


@dataclass(frozen=True)
class Drawn:
    """A recording, what it was made of, and what the simulator does not know.

    codec: format of the file, with the level that it was written with. drift: of the gain [dB].
    """

    heard: Simulated
    recording: Recording
    drift: float = 0.0


@dataclass(frozen=True)
class Judged:
    """One recording against its truth.

    flags: that were raised; stopped: whether levels are not taken from it. skew: error of the
    clock [ppm]. loud, faint: errors of the third octaves over 25 dB and from 15 to 25 dB over
    their noise [dB], empty where something bends levels. harmonics: errors of order 2 and 3 [dB].
    reversed: odds, and whether it is so; None where nothing can be said of it.
    """

    seed: int
    spoilt: tuple[str, ...]
    noises: frozenset[str]
    flags: frozenset[str]
    stopped: bool
    skew: float | None = None
    loud: tuple[float, ...] = ()
    faint: tuple[float, ...] = ()
    harmonics: tuple[tuple[float, ...], ...] = ((), ())
    reversed: tuple[float, bool] | None = None
    rate: float = 48_000.0
    drift: float = field(default=0.0)

    @property
    def clean(self) -> bool:
        """Whether nothing but noise was added."""
        return set(self.spoilt) <= {"gain-at-its-highest", "link"}


def drawn(seed: int) -> Drawn:
    """Draw a recording: half of them clean, with one fault, two or three; other rates, too."""
    rng = np.random.default_rng([seed, 9])
    truth = random_truth(seed)
    spoilt = set(truth.spoilt)
    if spoilt and rng.random() < 0.2:
        spoilt.add(str(rng.choice([each for each in SPOILT if each not in TERMINAL])))
    if not shutil.which("ffmpeg"):
        spoilt -= {"aac", "link"}
    codecs = [each for each in FILED if each in spoilt]
    spoilt -= set(codecs)
    drift = float(rng.uniform(1.0, 8.0)) if rng.random() < 0.1 and not spoilt else 0.0
    clock = truth.clock
    if not codecs and "aac" not in spoilt and rng.random() < 0.2:
        clock = replace(clock, rate=float(rng.choice([32_000.0, 96_000.0])))
    kept = tuple(each for each in SPOILT if each in spoilt)
    heard = recorded(replace(truth, spoilt=kept, clock=clock))
    samples = heard.samples * _drift(drift, rng, heard.samples.size)
    file = _written(samples, heard.rate, codecs[0] if codecs else None, rng)
    if file is None:
        recording = Recording(f"{seed}.wav", np.atleast_2d(samples), heard.rate, "0" * 64)
    else:
        recording = read_recording(file, name=f"{seed}.{codecs[0]}")
    told_of = (*kept, *codecs[:1], *(("gain-drift",) if drift else ()))
    return Drawn(replace(heard, truth=replace(heard.truth, spoilt=told_of)), recording, drift)


def _drift(depth: float, rng: np.random.Generator, count: int) -> FloatArray:
    """Gain that goes slowly to and fro by so many decibels in all, never over 1."""
    turns, begin = rng.uniform(0.4, 3.0), rng.uniform(0.0, 2.0 * np.pi)
    wave = np.sin(begin + 2.0 * np.pi * turns * np.arange(count) / count)
    return np.asarray(10.0 ** (-depth * (1.0 - wave) / 2.0 / 20.0))


def _written(
    samples: FloatArray, rate: float, codec: str | None, rng: np.random.Generator
) -> bytes | None:
    if codec is None:
        return None
    kind, sub = ("MP3", "MPEG_LAYER_III") if codec == "mp3" else ("OGG", codec.upper())
    file = BytesIO()
    level = float(rng.uniform(0.3, 0.95))
    soundfile.write(file, samples, round(rate), format=kind, subtype=sub, compression_level=level)
    return file.getvalue()


def judged(seed: int) -> Judged:
    """Draw a recording and judge it."""
    found = drawn(seed)
    return replace(judge(found.heard, found.recording), drift=found.drift)


def judge(heard: Simulated, recording: Recording | None = None) -> Judged:
    """Analyse a recording, and hold what is found against what it was made of."""
    truth = heard.truth
    if recording is None:
        lossy = not set(FILED).isdisjoint(truth.spoilt)
        samples = np.atleast_2d(heard.samples)
        recording = Recording(f"{truth.seed}.wav", samples, heard.rate, "0" * 64, lossy)
    take = analyse(recording)
    flags = frozenset(flag.name for flag in take.flags)
    bare = Judged(
        truth.seed,
        truth.spoilt,
        frozenset(truth.noises),
        flags,
        not take.level_usable,
        rate=heard.rate,
    )
    if take.clock is None or not take.level_usable:
        return bare
    good = set(truth.spoilt) <= LEVELS_KEPT
    pairs = np.array(list(_apart(heard, take)) if good else []).reshape(-1, 2)
    loud = pairs[:, 1] >= 25.0
    plain = good and not set(truth.spoilt) & LOSSY
    return replace(
        bare,
        skew=1e6 * (take.clock.clock.skew - truth.clock.skew),
        loud=tuple(pairs[loud, 0].tolist()),
        faint=tuple(pairs[~loud, 0].tolist()),
        harmonics=tuple(tuple(_harmonics(heard, take, order) if plain else ()) for order in (2, 3)),
        reversed=_turned(heard, take) if good else None,
    )


def _sides(truth: Truth) -> Sequence[str]:
    return tuple(SIDES)[:2] if truth.file.startswith("sides") else (truth.side,)


def _apart(heard: Simulated, take: Take) -> Iterator[tuple[float, float]]:
    """Errors of the third octaves from 25 Hz to 16 kHz, and SNR; to 8 kHz after a lossy one."""
    truth = heard.truth
    highest = 9 if set(truth.spoilt) & LOSSY else 12
    if heard.rate < 40_000.0:
        highest = min(highest, 10)
    for side, levels in zip(_sides(truth), take.levels, strict=False):
        wanted = heard.third_octaves(side)
        for band, level, snr in zip(range(-17, 14), levels.level, levels.snr, strict=True):
            if band in wanted and band <= highest and snr >= LEAST_SNR:
                yield float(level) - wanted[band], float(snr)


def _harmonics(heard: Simulated, take: Take, order: int) -> Iterator[float]:
    """Errors of a harmonic over its fundamental, 100 Hz to 2 kHz, 20 dB over the noise."""
    truth, size = heard.truth, 2**18
    for side, levels, impulse in zip(_sides(truth), take.levels, take.impulses, strict=True):
        found = harmonic_levels(impulse, order=order)
        f = np.arange(size // 2 // order, dtype=np.float64) * (RATE / size)
        f[0] = 1e-3
        plain: ComplexArray = np.zeros(f.size, dtype=np.complex128)
        bent = plain.copy()
        for gain, own, path in zip(SIDES[side], truth.speakers, truth.paths, strict=True):
            heard_at = gain * spectrum_at(path, size)
            plain = plain + heard_at[: f.size] * own.response(f)
            share = own.second if order == 2 else own.third
            bent = bent + share * heard_at[: f.size * order : order] * own.response(order * f)
        phone = truth.phone
        one, other = (
            third_octave_levels(phone.response(times * f) * each, f)
            for times, each in ((1, plain), (order, bent))
        )
        # The harmonic's own bands, the noisier of two where it lies between them.
        up = np.arange(31) + (3 if order == 2 else 4)
        noise = levels.noise[np.minimum(up, 30)]
        noise = np.maximum(noise, levels.noise[np.minimum(up + 1, 30)])
        clear = levels.level + found - noise >= CLEAR_HARMONIC
        for band, value, known in zip(range(-17, 14), found, clear, strict=True):
            if known and -10 <= band <= 3 and other[band] - one[band] > LEAST_HARMONIC:
                yield float(value) - (other[band] - one[band])


def _turned(heard: Simulated, take: Take) -> tuple[float, bool] | None:
    """Odds that a side is turned round, in the cabins of image sources: modes have no bass."""
    truth = heard.truth
    path = truth.paths[0]
    if len(take.impulses) != 2 or path[np.flatnonzero(path)[0]] == 1.0:
        return None
    left, right = take.impulses
    low = (left.frequency > 20.0) & (left.frequency < 120.0)
    phases = seat_phases(left.linear()[low], right.linear()[low], frequency=left.frequency[low])
    evidence = evidence_of(phases, rule=SEAT_BY_BANDS, recordings=["0" * 64])
    return combined_polarity([evidence]).odds, truth.reversed


# --- Tables -----------------------------------------------------------------------------------


def told(each: Judged, kind: str) -> bool:
    """Whether a fault was told by its name."""
    return bool(EXPECTED[kind] & each.flags)


def passed(each: Judged) -> bool:
    """Whether levels are taken from a recording."""
    return not each.stopped


def faults(found: Sequence[Judged]) -> Iterator[Line]:
    """Of each fault: how many, told by its name, held back by another name, passed as good."""
    for kind in EXPECTED:
        if kind == "gain-drift":
            for label, low, high in (
                ("gain-drift from 3 dB on", DRIFT_SEEN, 99.0),
                ("gain-drift under 3 dB", 0.0, DRIFT_SEEN),
            ):
                drift = [e for e in found if kind in e.spoilt and low <= e.drift < high]
                yield _fault(label, kind, drift)
            continue
        yield _fault(kind, kind, [e for e in found if kind in e.spoilt])


def _fault(label: str, kind: str, of: Sequence[Judged]) -> Line:
    named = [e for e in of if told(e, kind)]
    held = [e for e in of if not told(e, kind) and e.stopped]
    through = [e for e in of if not told(e, kind) and not e.stopped]
    seeds = " ".join(str(e.seed) for e in (*held, *through))
    return (label, str(len(of)), str(len(named)), str(len(held)), str(len(through)), seeds)


def alarms(found: Sequence[Judged]) -> Iterator[Line]:
    """Of each flag: recordings that lack its cause and raised it, clean ones and all."""
    names = (
        "gain-control",
        "noise-suppression",
        "clipped",
        "dropout",
        "moved",
        "lossy",
        "coarse",
        "engine",
        "hum",
        "silent-side",
        "long-decay",
        "truncated",
        "no-marks",
        "wrong-file",
    )
    for name in names:
        without = [e for e in found if not _caused(e, name)]
        wrong = [e for e in without if name in e.flags]
        clean = [e for e in without if e.clean]
        off = [e for e in wrong if e.clean]
        seeds = " ".join(str(e.seed) for e in wrong)
        yield (name, f"{len(off)} of {len(clean)}", f"{len(wrong)} of {len(without)}", seeds)


def _caused(each: Judged, name: str) -> bool:
    if name in ("engine", "hum"):
        return name in each.noises
    own = {kind for kind, flags in EXPECTED.items() if name in flags}
    return not own.isdisjoint(each.spoilt)


def figures(found: Sequence[Judged]) -> Iterator[Line]:
    """Errors of the figures of the recordings that are used."""
    used = [e for e in found if not e.stopped]
    good = [e for e in used if set(e.spoilt) <= LEVELS_KEPT]
    yield errors_line("clock", [e.skew for e in good if e.skew is not None], "ppm", "0.05")
    plain = [e for e in good if not set(e.spoilt) & LOSSY]
    lossy = [e for e in good if set(e.spoilt) & LOSSY]
    for label, of in (("", plain), (", after a codec", lossy)):
        loud = [x for e in of for x in e.loud]
        faint = [x for e in of for x in e.faint]
        yield errors_line(f"third octave over 25 dB SNR{label}", loud, "dB", "0.1")
        yield errors_line(f"third octave at 15 to 25 dB{label}", faint, "dB", "0.5")
    for order, place, wanted in ((2, 0, "0.3"), (3, 1, "1.5")):
        every = [x for e in good for x in e.harmonics[place]]
        yield errors_line(f"harmonic {order} over -45 dB", every, "dB", wanted)
    odds = [e.reversed for e in good if e.reversed is not None]
    right = [odd if true else 1.0 - odd for odd, true in odds]
    sure = sum(each > 0.5 for each in right)
    yield (
        "reversed or not, by `sides`",
        str(len(right)),
        f"{sure} right",
        f"median odds {np.median(right):.3f}" if right else "-",
        f"least {min(right):.3f}" if right else "-",
        "0.99",
    )


def apart(found: Sequence[Judged]) -> str:
    """How many of the lost packets and moved phones are told by their own name."""
    own = [e for e in found if {"dropout", "repeat", "moved"} & set(e.spoilt)]
    own = [e for e in own if not ({"moved"} < set(e.spoilt) & {"dropout", "repeat", "moved"})]
    seen = [e for e in own if {"dropout", "moved"} & e.flags]
    right = [e for e in seen if ("moved" in e.flags) == ("moved" in e.spoilt)]
    return (
        f"Lost samples or a moved phone, of those told as one of the two: {len(right)} of "
        f"{len(seen)} by the right name."
    )


def report(found: Sequence[Judged]) -> Iterator[str]:
    """The tables, as Markdown."""
    clean = sum(e.clean for e in found)
    more = sum(len(e.spoilt) > 1 for e in found)
    yield (f"{len(found)} recordings, {clean} of them clean, {more} with two faults or three.\n")
    head = ("spoilt by", "drawn", "told", "held back by another name", "passed", "not told: seeds")
    yield from tables(head, faults(found))
    yield "\n" + apart(found) + "\n"
    yield from tables(("told without cause", "clean", "all", "seeds"), alarms(found))
    yield ""
    head = ("figure", "values", "rms", "95 % within", "most", "wanted (95 %)")
    yield from tables(head, figures(found))


def _in_parallel(seeds: Sequence[int]) -> list[Judged]:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return list(pool.map(judged, seeds, chunksize=4))


def main() -> None:
    """Print, or write, what was drawn, what was seen, and how far off the figures are."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--half", type=int, choices=(0, 1))
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.count)
    chosen = [seed for seed in seeds if asked.half in (None, seed % 2)]
    lines = list(report(_in_parallel(chosen)))
    if asked.write:
        put("recordings", lines)
    print(*lines, sep="\n")


if __name__ == "__main__":
    main()
