"""Stimuli: test sounds that are known at every instant, so that what they became can be measured.

48 kHz, 16 bit, two channels. Each begins and ends with a mark (a chirp that is found in any
recording of it); stairs of three tones and two pilots through every sweep show the recorder's
clock and gain. A part is evaluated at any player time, not only at its samples: a recording is
never resampled, the stimulus is worked out at the recorder's own instants instead.

Source: exponential sweep of Farina, AES 108th convention, preprint 5093 (2000), with L f1 a whole
number as Novak, Simon and Lotton, JAES 63(10) 2015, ask; the layouts are this project's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, Protocol, get_args

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played.signals import LOUDEST, RATE

__all__ = [
    "BASS",
    "GAINS",
    "PILOTS",
    "SIDES",
    "STAIR",
    "STEP",
    "STIMULI",
    "Core",
    "Crawl",
    "Mark",
    "Part",
    "Pulse",
    "Side",
    "Stair",
    "Stimulus",
    "Tone",
]

Side = Literal["both", "left", "right", "opposed"]
SIDES: Final[tuple[Side, ...]] = get_args(Side)
"""Channels that carry a sound; opposed: both, the right one turned round."""

GAINS: Final[Mapping[str, tuple[int, int]]] = MappingProxyType(
    {"both": (1, 1), "left": (1, 0), "right": (0, 1), "opposed": (1, -1)}
)
"""What each channel of a sound is multiplied by."""

STAIR: Final = (630.0, 1000.0, 1600.0)
"""Tones of a stair [Hz]."""

PILOTS: Final = (630.0, 1600.0)
"""Tones through a sweep [Hz]."""

BASS: Final = (50.0, 63.0, 80.0)
"""Tones of `bass` [Hz]."""

STEP: Final = 19_200
"""Samples of a step of a stair."""

FIRST: Final = 20.0
LAST: Final = 20_000.0
SWEEP_SHARE: Final = 0.96
PILOT_SHARE: Final = 0.02
SHORT_FADE: Final = 480
LONG_FADE: Final = 4800
CRAWL_FADE: Final = 960
QUIET_LEVEL: Final = -18.0
FULL_SCALE: Final = 0.0
PULSE: Final = 240


class Wave(Protocol):
    """What a part sounds like: a function of its own time."""

    @property
    def count(self) -> int:
        """Length [samples]."""

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples (of any fraction) after its start; zero outside."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Chirp from 400 to 3200 Hz in 0.25 s under a Hann window."""

    level: float = LOUDEST
    count: int = 12_000

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples after its start; zero outside."""
        t = k / RATE
        window = 0.5 - 0.5 * np.cos(2 * np.pi * np.clip(k, 0, self.count) / self.count)
        return np.asarray(
            _peak(self.level) * window * np.sin(2 * np.pi * (400.0 * t + 5600.0 * t**2))
        )


@dataclass(frozen=True, slots=True)
class Stair:
    """Three steps of three tones, each step 6 dB below the one before."""

    level: float = LOUDEST
    count: int = 3 * STEP

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples after its start; zero outside."""
        step = np.clip(np.floor(k / STEP), 0, 2)
        own = k - step * STEP
        tones = sum(np.sin(2 * np.pi * f * own / RATE) for f in STAIR) / len(STAIR)
        peak = 10 ** ((self.level - 6.0 * step) / 20)
        return np.asarray(peak * tones * _fades(own, STEP, SHORT_FADE, SHORT_FADE))


@dataclass(frozen=True, slots=True)
class Core:
    """Exponential sweep from 20 Hz to 20 kHz with two small pilots through it.

    growth: time in which the pitch grows e-fold, L [s].
    """

    growth: float
    level: float = LOUDEST

    @property
    def count(self) -> int:
        """Length [samples]: 48000 L ln 1000."""
        return int(np.rint(RATE * self.growth * np.log(LAST / FIRST)))

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples after its start; zero outside."""
        pilots = sum(self.pilot(k, frequency=frequency) for frequency in PILOTS)
        return np.asarray(self.sweep(k) + pilots)

    def sweep(self, k: FloatArray) -> FloatArray:
        """Return the sweep without its pilots: 0.96 A sin(2 pi f1 L (e^(t/L) - 1))."""
        # Clipped, so that the exponential stays finite where the fade is nought anyway.
        t = np.clip(k, 0, self.count) / RATE
        phase = 2 * np.pi * FIRST * self.growth * np.expm1(t / self.growth)
        fades = _fades(k, self.count, LONG_FADE, SHORT_FADE)
        return np.asarray(SWEEP_SHARE * _peak(self.level) * np.sin(phase) * fades)

    def pilot(self, k: FloatArray, *, frequency: float, turn: float = 0.0) -> FloatArray:
        """Return one of its pilots [Hz], `turn` [rad] ahead."""
        wave = np.sin(2 * np.pi * frequency * k / RATE + turn)
        fades = _fades(k, self.count, SHORT_FADE, SHORT_FADE)
        return np.asarray(PILOT_SHARE * _peak(self.level) * wave * fades)

    def frequency(self, t: FloatArray) -> FloatArray:
        """Return the pitch [Hz] at `t` seconds after its start."""
        return np.asarray(FIRST * np.exp(np.asarray(t) / self.growth))

    def time_of(self, frequency: float) -> float:
        """Return when it passes a frequency [Hz]: L ln(f/f1) after its start [s]."""
        return float(self.growth * np.log(frequency / FIRST))

    def lead(self, order: int) -> float:
        """Return how long before the linear impulse that of a harmonic lies: L ln k [s]."""
        return float(self.growth * np.log(order))


@dataclass(frozen=True, slots=True)
class Tone:
    """Tone of a frequency [Hz], peak level [dB of full scale], length and fades [samples]."""

    frequency: float
    count: int
    level: float = LOUDEST
    fade: int = SHORT_FADE

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples after its start; zero outside."""
        wave = np.sin(2 * np.pi * self.frequency * k / RATE)
        return np.asarray(_peak(self.level) * wave * _fades(k, self.count, self.fade, self.fade))


@dataclass(frozen=True, slots=True)
class Crawl:
    """Tone that crawls from 30 to 300 Hz, evenly in octaves."""

    count: int
    level: float = QUIET_LEVEL

    @property
    def growth(self) -> float:
        """Time in which the pitch grows e-fold [s]."""
        return float(self.count / RATE / np.log(10.0))

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples after its start; zero outside."""
        fades = _fades(k, self.count, CRAWL_FADE, CRAWL_FADE)
        return np.asarray(_peak(self.level) * np.sin(self.phase(k / RATE)) * fades)

    def phase(self, t: FloatArray) -> FloatArray:
        """Return the phase [rad] at `t` seconds after its start; held at its ends."""
        inside = np.clip(t, 0.0, self.count / RATE)
        return np.asarray(2 * np.pi * 30.0 * self.growth * np.expm1(inside / self.growth))

    def frequency(self, t: FloatArray) -> FloatArray:
        """Return the pitch [Hz] at `t` seconds after its start."""
        return np.asarray(30.0 * np.exp(np.asarray(t) / self.growth))


@dataclass(frozen=True, slots=True)
class Pulse:
    """Half a sine of 5 ms, to the plus side."""

    level: float = LOUDEST
    count: int = PULSE

    def at(self, k: FloatArray) -> FloatArray:
        """Return values at `k` samples after its start; zero outside."""
        inside = np.clip(k + 0.5, 0, self.count)
        return np.asarray(_peak(self.level) * np.sin(np.pi * inside / self.count))


@dataclass(frozen=True, slots=True)
class Part:
    """A wave in its place: first sample, and the gains of both channels."""

    start: int
    wave: Wave
    left: int = 1
    right: int = 1

    def own_time(self, t: FloatArray) -> FloatArray:
        """Return samples since its start at player times `t` [s], any shape."""
        return np.asarray(np.asarray(t) * RATE - self.start)

    def at(self, t: FloatArray) -> FloatArray:
        """Return its values at player times `t` [s], any shape; its gains are not in them."""
        return self.wave.at(self.own_time(t))

    @property
    def seconds(self) -> tuple[float, float]:
        """Player times of its beginning and of its end [s]."""
        return self.start / RATE, (self.start + self.wave.count) / RATE


@dataclass(frozen=True, slots=True)
class Stimulus:
    """A stimulus: its parts in their places.

    length: [samples]. sides: the versions there are of it.
    """

    name: str
    length: int
    parts: tuple[Part, ...]
    sides: tuple[Side, ...] = ("both",)

    def samples(self) -> FloatArray:
        """Its samples, shape (2, length), full scale 1."""
        both = np.zeros((2, self.length))
        for part in self.parts:
            wave = part.wave.at(np.arange(part.wave.count, dtype=np.float64))
            gains = np.array([[part.left], [part.right]])
            both[:, part.start : part.start + part.wave.count] += gains * wave
        return both

    @property
    def marks(self) -> tuple[Part, ...]:
        """Its marks: two, or one where the hand ends the sound."""
        return self._of(Mark)

    @property
    def stairs(self) -> tuple[Part, ...]:
        """Its stairs: two or none."""
        return self._of(Stair)

    @property
    def cores(self) -> tuple[Part, ...]:
        """Its sweeps: none, one, or one for each side."""
        return self._of(Core)

    @property
    def tones(self) -> tuple[Part, ...]:
        """Its single tones, in their order."""
        return self._of(Tone)

    @property
    def marks_apart(self) -> float | None:
        """Time from mark to mark [s]; None with one mark."""
        starts = [part.start for part in self.marks]
        return (starts[1] - starts[0]) / RATE if len(starts) == 2 else None

    def _of(self, kind: type[Wave]) -> tuple[Part, ...]:
        return tuple(part for part in self.parts if isinstance(part.wave, kind))


def _peak(level: float) -> float:
    return float(10 ** (level / 20))


def _fades(k: FloatArray, count: int, rise: int, fall: int) -> FloatArray:
    """Fade in over `rise` samples and out over `fall`, mirrored; zero outside."""
    up = 0.5 - 0.5 * np.cos(np.pi * np.clip(k, 0, rise) / rise)
    down = 0.5 - 0.5 * np.cos(np.pi * np.clip(count - 1 - k, 0, fall) / fall)
    return np.asarray(up * down)


_Item = int | Wave | tuple[Wave, int, int]


def _laid(name: str, *items: _Item, sides: tuple[Side, ...] = ("both",)) -> Stimulus:
    """Lay parts and silences (a number of samples) one behind the other."""
    place, parts = 0, []
    for item in items:
        if isinstance(item, int):
            place += item
            continue
        wave, left, right = item if isinstance(item, tuple) else (item, 1, 1)
        parts.append(Part(place, wave, left, right))
        place += wave.count
    return Stimulus(name, place, tuple(parts), sides)


def _measuring(name: str, *cores: _Item, sides: tuple[Side, ...] = ("both",)) -> Stimulus:
    """Lay sweeps between two stairs between two marks."""
    head: tuple[_Item, ...] = (48_000, Mark(), 12_000, Stair(), STEP)
    tail: tuple[_Item, ...] = (48_000, Stair(), 12_000, Mark(), 24_000)
    return _laid(name, *head, *cores, *tail, sides=sides)


def _sides(name: str, growth: float) -> Stimulus:
    core = Core(growth)
    return _measuring(name, (core, 1, 0), 48_000, (core, 0, 1))


def _bass(name: str, count: int) -> Stimulus:
    tones: list[_Item] = []
    for frequency in BASS:
        tone = Tone(frequency, count, fade=LONG_FADE)
        for left, right in (GAINS[side] for side in ("left", "right", "both", "opposed")):
            tones += [(tone, left, right), 12_000]
    return _laid(name, 48_000, Mark(), 24_000, *tones, Mark(), 24_000)


def _crawl(name: str, count: int) -> Stimulus:
    items: tuple[_Item, ...] = (48_000, Mark(), 24_000, Crawl(count), 24_000, Mark(), 24_000)
    return _laid(name, *items, sides=SIDES)


def _pulses() -> Stimulus:
    pulses: list[_Item] = [Pulse(), 24_000 - PULSE] * 8
    items: tuple[_Item, ...] = (48_000, Mark(), 24_000, *pulses, 12_000, Mark(), 24_000)
    return _laid("pulses", *items, sides=SIDES)


def _ladder(name: str, frequency: float) -> Stimulus:
    steps = [Tone(frequency, 14_400, level=float(level)) for level in range(-30, 1)]
    return _laid(name, 48_000, Mark(), 24_000, *steps, 24_000, Mark(), 24_000)


def _steps() -> Stimulus:
    frequencies = [20.0 * 10 ** (k / 20) for k in range(61)]
    tones = [Tone(f, max(RATE // 2, int(np.ceil(12 * RATE / f)))) for f in frequencies]
    return _laid("steps", 48_000, Mark(), 24_000, *tones, 24_000, Mark(), 24_000)


STIMULI: Final[Mapping[str, Stimulus]] = MappingProxyType(
    {
        each.name: each
        for each in (
            _measuring("sweep", Core(1.45), sides=SIDES),
            _measuring("sweep-short", Core(0.5), sides=SIDES),
            _sides("sides", 1.45),
            _sides("sides-short", 0.5),
            _bass("bass", 3 * RATE),
            _bass("bass-short", RATE),
            _crawl("crawl", 90 * RATE),
            _crawl("crawl-short", 12 * RATE),
            _pulses(),
            _ladder("ladder", 100.0),
            _ladder("ladder-1k", 1000.0),
            _laid("knob", 48_000, Mark(), 24_000, Tone(100.0, 12 * RATE, FULL_SCALE), 24_000),
            _steps(),
        )
    }
)
"""Every stimulus that carries marks, by name."""
