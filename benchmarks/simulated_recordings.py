"""Simulated recordings: what the analysis of a recording sees, and how far off it is.

`PYTHONPATH=tests python -m benchmarks.simulated_recordings` prints the tables of 300 recordings,
some half an hour; `--count 30` those of fewer, `--first 1000` those of other seeds. Each is drawn
with its truth by the simulator of the tests, which shares nothing with the analysis.
"""

from argparse import ArgumentParser
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from conewright.sound.recorded.analysis import Take, analyse
from conewright.sound.recorded.recording import Recording
from simulator.draw import Simulated, random_recording
from simulator.files import SIDES

__all__ = ["Judged", "judge"]

EXPECTED: Mapping[str, frozenset[str]] = {
    "gain-control": frozenset({"gain-control", "noise-suppression"}),
    "noise-suppression": frozenset({"gain-control", "noise-suppression"}),
    "clipped-hard": frozenset({"clipped"}),
    "clipped-soft": frozenset({"clipped"}),
    "dropout": frozenset({"dropout"}),
    "repeat": frozenset({"dropout"}),
    "moved": frozenset({"moved", "dropout"}),
    "truncated": frozenset({"truncated", "no-marks"}),
    "music": frozenset({"no-marks"}),
    "silence": frozenset({"no-marks"}),
    "mp3": frozenset({"lossy"}),
    "vorbis": frozenset({"lossy"}),
    "opus": frozenset({"lossy"}),
    "aac": frozenset({"lossy"}),
}
"""Flags of which one at least is right; a gain at its highest and the link bend nothing."""

LOSSY = frozenset({"mp3", "vorbis", "opus", "aac", "link"})
LEVELS_KEPT = LOSSY | {"gain-at-its-highest"}
LEAST_SNR = 15.0


@dataclass(frozen=True)
class Judged:
    """One recording against its truth.

    flags: that were raised; stopped: whether it is not used. skew: error of the clock [ppm], none
    without one. apart: error of each third octave 15 dB over its noise [dB], empty where levels
    are spoilt.
    """

    seed: int
    spoilt: tuple[str, ...]
    engine: bool
    flags: frozenset[str]
    stopped: bool
    skew: float | None
    apart: tuple[float, ...]


def judge(heard: Simulated) -> Judged:
    """Analyse a recording, and hold what is found against what it was made of."""
    take = _analysed(heard)
    truth = heard.truth
    skew = None
    if take.clock is not None:
        skew = 1e6 * (take.clock.clock.skew - truth.clock.skew)
    return Judged(
        truth.seed,
        truth.spoilt,
        "engine" in truth.noises,
        frozenset(flag.name for flag in take.flags),
        not take.usable,
        skew,
        tuple(_apart(heard, take)) if set(truth.spoilt) <= LEVELS_KEPT else (),
    )


def _analysed(heard: Simulated) -> Take:
    # These three stay in their format; AAC comes decoded, and only its sound can tell.
    lossy = not {"mp3", "vorbis", "opus"}.isdisjoint(heard.truth.spoilt)
    samples = np.atleast_2d(heard.samples)
    return analyse(Recording(f"{heard.truth.seed}.wav", samples, heard.rate, "0" * 64, lossy))


def _apart(heard: Simulated, take: Take) -> Iterator[float]:
    """Errors of the third octaves from 25 Hz to 16 kHz; to 8 kHz after a lossy recorder."""
    truth = heard.truth
    highest = 9 if set(truth.spoilt) & LOSSY else 12
    sides = tuple(SIDES)[:2] if truth.file.startswith("sides") else (truth.side,)
    for side, levels in zip(sides, take.levels, strict=False):
        wanted = heard.third_octaves(side)
        for band, level, snr in zip(range(-17, 14), levels.level, levels.snr, strict=True):
            if band in wanted and band <= highest and snr >= LEAST_SNR:
                yield float(level) - wanted[band]


def _tables(found: Iterable[Judged]) -> Iterator[str]:
    drawn, seen = Counter[str](), Counter[str]()
    named: dict[str, list[int]] = defaultdict(list)
    wrong: dict[str, list[int]] = defaultdict(list)
    skews: list[float] = []
    apart: list[float] = []
    for each in found:
        for what in each.spoilt or ("nothing",):
            drawn[what] += 1
            if what in EXPECTED and not EXPECTED[what] & each.flags:
                named[what].append(each.seed)
            else:
                seen[what] += 1
        allowed = frozenset[str]().union(*(EXPECTED.get(what, ()) for what in each.spoilt))
        for flag in each.flags - allowed - {"noisy"} - ({"engine"} if each.engine else set()):
            wrong[flag].append(each.seed)
        if each.skew is not None and not each.stopped:
            skews.append(each.skew)
        apart += [] if each.stopped else each.apart
    yield f"{'spoilt by':<20} {'drawn':>6} {'as told':>8}  missed (seeds)"
    for what, count in sorted(drawn.items()):
        yield f"{what:<20} {count:>6} {seen[what]:>8}  {' '.join(map(str, named[what]))}".rstrip()
    for flag, seeds in sorted(wrong.items()):
        yield f"told without cause: {flag:<18} {' '.join(map(str, seeds))}"
    errors = np.abs(apart)
    yield f"clock: {np.sqrt(np.mean(np.square(skews))):.3f} ppm rms, {np.abs(skews).max():.2f} most"
    yield (
        f"third octaves: {np.sqrt(np.mean(errors**2)):.3f} dB rms, 95 % within "
        f"{np.quantile(errors, 0.95):.2f}, 99 % within {np.quantile(errors, 0.99):.2f}, "
        f"{errors.max():.2f} most, of {errors.size}"
    )


def main() -> None:
    """Print what was drawn, what was seen, and how far off the figures are."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.count)
    for row in _tables(judge(random_recording(seed)) for seed in seeds):
        print(row, flush=True)


if __name__ == "__main__":
    main()
