"""The files that a player plays, a second time from their definition alone.

Times are in samples at 48 kHz; a file is rounded to 16 bit as a player has it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

RATE = 48_000
LEVEL = 10 ** (-12 / 20)
LONG, SHORT = 1.45, 0.5
PILOTS = (630.0, 1600.0)
STAIR_TONES = (630.0, 1000.0, 1600.0)
BASS_TONES = (50.0, 63.0, 80.0)
FILES = (
    "sweep",
    "sweep-short",
    "sides",
    "sides-short",
    "bass",
    "bass-short",
    "crawl",
    "crawl-short",
    "pulses",
    "ladder",
    "ladder-1k",
    "knob",
)
SIDES: Mapping[str, tuple[float, float]] = {
    "left": (1.0, 0.0),
    "right": (0.0, 1.0),
    "both": (1.0, 1.0),
    "opposed": (1.0, -1.0),
}

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Played:
    """What a player plays.

    samples: shape (2, N), full scale 1, on the grid of 16 bit. parts: where each part begins, by
    name ("mark", "stair", "core", "tone", "pulse", "step"), as player time [s] in order.
    """

    name: str
    samples: Samples
    parts: Mapping[str, tuple[float, ...]]

    @property
    def seconds(self) -> float:
        return float(self.samples.shape[-1] / RATE)

    @property
    def pcm(self) -> NDArray[np.int16]:
        """The 16 bit samples, shape (2, N)."""
        return np.asarray(np.round(self.samples * 32767), dtype=np.int16)


def fade(count: int, into: int, out_of: int) -> Samples:
    shape = np.ones(count)
    shape[:into] = 0.5 - 0.5 * np.cos(np.pi * np.arange(into) / into)
    shape[count - out_of :] = (0.5 - 0.5 * np.cos(np.pi * np.arange(out_of) / out_of))[::-1]
    return shape


def mark() -> Samples:
    k = np.arange(12_000)
    t = k / RATE
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * k / 12_000)
    return np.asarray(LEVEL * hann * np.sin(2 * np.pi * (400.0 * t + 5600.0 * t**2)))


def stair() -> Samples:
    t = np.arange(19_200) / RATE
    chord = np.sum([np.sin(2 * np.pi * f * t) for f in STAIR_TONES], axis=0) / 3
    step = LEVEL * chord * fade(19_200, 480, 480)
    return np.concatenate([step * 10 ** (down / 20) for down in (0, -6, -12)])


def core(length: float) -> Samples:
    """The sweep with its pilots; `length` is L, over which the frequency grows e times [s]."""
    count = round(RATE * length * np.log(1000.0))
    t = np.arange(count) / RATE
    sweep = np.sin(2 * np.pi * 20.0 * length * (np.exp(t / length) - 1.0))
    pilots = np.sum([np.sin(2 * np.pi * f * t) for f in PILOTS], axis=0)
    mixed = 0.96 * sweep * fade(count, 4800, 480) + 0.02 * pilots * fade(count, 480, 480)
    return np.asarray(LEVEL * mixed)


def crawl(seconds: float) -> Samples:
    count = round(RATE * seconds)
    length = seconds / np.log(10.0)
    phase = 2 * np.pi * 30.0 * length * np.expm1(np.arange(count) / RATE / length)
    return np.asarray(10 ** (-18 / 20) * np.sin(phase) * fade(count, 960, 960))


def tone(frequency: float, count: int, *, level: float, fading: int) -> Samples:
    wave = np.sin(2 * np.pi * frequency * np.arange(count) / RATE)
    return np.asarray(10 ** (level / 20) * wave * fade(count, fading, fading))


class _Tape:
    """Parts after one another on two channels."""

    def __init__(self) -> None:
        self.pieces: list[Samples] = []
        self.at = 0
        self.parts: dict[str, list[float]] = {}

    def rest(self, count: int) -> None:
        self.pieces.append(np.zeros((2, count)))
        self.at += count

    def add(self, name: str, samples: Samples, gains: Sequence[float] = (1.0, 1.0)) -> None:
        self.parts.setdefault(name, []).append(self.at / RATE)
        self.pieces.append(np.outer(gains, samples))
        self.at += samples.size

    def played(self, name: str, gains: Sequence[float]) -> Played:
        mixed = np.concatenate(self.pieces, axis=1) * np.array(gains)[:, None]
        whole = np.floor(32767 * mixed + 0.5) / 32767
        return Played(name, whole, {key: tuple(at) for key, at in self.parts.items()})


@cache
def played(name: str, side: str = "both") -> Played:
    """Return a file by its name, as it is or with all of it on a side."""
    tape = _Tape()
    tape.rest(48_000)
    tape.add("mark", mark())
    length = SHORT if name.endswith("short") else LONG
    if name.startswith("sweep"):
        _sweeps(tape, length, ["both"])
    elif name.startswith("sides"):
        _sweeps(tape, length, ["left", "right"])
    else:
        tape.rest(24_000)
        _others(tape, name)
    return tape.played(name, SIDES[side])


def _sweeps(tape: _Tape, length: float, turns: Sequence[str]) -> None:
    tape.rest(12_000)
    tape.add("stair", stair())
    tape.rest(19_200)
    for turn in turns:
        tape.add("core", core(length), SIDES[turn])
        tape.rest(48_000)
    tape.add("stair", stair())
    tape.rest(12_000)
    tape.add("mark", mark())
    tape.rest(24_000)


def _others(tape: _Tape, name: str) -> None:
    short = name.endswith("short")
    if name.startswith("bass"):
        for frequency in BASS_TONES:
            for each in SIDES.values():
                long = tone(frequency, 48_000 if short else 144_000, level=-12, fading=4800)
                tape.add("tone", long, each)
                tape.rest(12_000)
    elif name.startswith("crawl"):
        tape.add("tone", crawl(12.0 if short else 90.0))
        tape.rest(24_000)
    elif name == "pulses":
        for _ in range(8):
            tape.add("pulse", LEVEL * np.sin(np.pi * (np.arange(240) + 0.5) / 240))
            tape.rest(23_760)
        tape.rest(12_000)
    elif name.startswith("ladder"):
        frequency = 1000.0 if name.endswith("1k") else 100.0
        for level in range(-30, 1):
            tape.add("step", tone(frequency, 14_400, level=level, fading=480))
        tape.rest(24_000)
    elif name == "knob":
        tape.add("tone", tone(100.0, 576_000, level=0, fading=480))
        tape.rest(24_000)
        return
    else:
        raise KeyError(name)
    tape.add("mark", mark())
    tape.rest(24_000)
