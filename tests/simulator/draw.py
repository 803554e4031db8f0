"""A recording from its truth, and truths drawn at random."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import fft

from . import noises, spoiling
from .chain import (
    Loudspeaker,
    Phone,
    RecorderClock,
    box_impulses,
    chain_spectrum,
    mode_impulse,
    spectrum_at,
    third_octave_levels,
)
from .files import FILES, RATE, SIDES, Played, Samples, played

CODECS: Mapping[str, tuple[spoiling.Codec, int]] = {
    "mp3": ("mp3", 64),
    "vorbis": ("vorbis", 64),
    "opus": ("opus", 32),
    "aac": ("aac", 64),
}
HIGHEST_GAIN = 1.2
NOISES = ("white", "pink", "road", "engine", "fan", "hum")
SPOILT = (
    "gain-control",
    "gain-at-its-highest",
    "noise-suppression",
    "clipped-hard",
    "clipped-soft",
    "dropout",
    "repeat",
    "moved",
    "truncated",
    "music",
    "silence",
    "link",
    *CODECS,
)
"""What can be done to a recording; `link` is the Bluetooth codec before the loudspeakers."""


@dataclass(frozen=True)
class Rattle:
    """A part that strikes once a cycle: from, most at, to [Hz]; clicks re the tone [1]."""

    low: float
    strongest: float
    high: float
    level: float


@dataclass(frozen=True)
class Truth:
    """All that a recording was made of.

    file, side: what was played. sides: as the player gave it out, if not that file's own samples,
    shape (2, N). paths: impulse responses to the phone, left and right, at 48 kHz; `moved` those
    after the middle of the file. peak: of the recording [dBFS] before anything spoils it.
    noises: level of each [dB re that peak, rms]. spoilt: what was done to it, in the order of
    `SPOILT`.
    """

    file: str
    side: str = "both"
    sides: Samples | None = None
    speakers: tuple[Loudspeaker, Loudspeaker] = (Loudspeaker(), Loudspeaker())
    paths: tuple[Samples, Samples] = (np.ones(1), np.ones(1))
    moved: tuple[Samples, Samples] | None = None
    phone: Phone = field(default_factory=Phone)
    clock: RecorderClock = field(default_factory=RecorderClock)
    peak: float = -9.0
    noises: Mapping[str, float] = field(default_factory=dict)
    fire: float = 25.0
    rattles: tuple[Rattle, ...] = ()
    spoilt: tuple[str, ...] = ()
    seed: int = 0

    @property
    def reversed(self) -> bool:
        """Whether one side is turned round against the other."""
        return self.speakers[0].gain * self.speakers[1].gain < 0

    @property
    def wanted(self) -> Played:
        return played(self.file, self.side)


@dataclass(frozen=True)
class Simulated:
    """A recording (N,) with its truth.

    gain: of the recorder, by which the peak is what the truth says. lost: what is missing [s].
    """

    samples: Samples
    rate: float
    truth: Truth
    gain: float
    lost: float = 0.0

    def third_octaves(self, side: str) -> dict[int, float]:
        """True level from player to recording [dB], by band number (0 at 1 kHz).

        side: as files are played, or one of the two; both add as they stand.
        """
        size = 2**18
        f = fft.rfftfreq(size, 1 / RATE)
        f[0] = 1e-3
        truth = self.truth
        ways = zip(SIDES[side], truth.speakers, truth.paths, strict=True)
        total = sum(
            (gain * own.response(f) * spectrum_at(path, size) for gain, own, path in ways),
            start=np.zeros(f.size, dtype=np.complex128),
        )
        return third_octave_levels(self.gain * truth.phone.response(f) * total, f)


def recorded(truth: Truth) -> Simulated:
    """Play, hear and record."""
    rng = np.random.default_rng([truth.seed, 1])
    sides = truth.wanted.samples if truth.sides is None else truth.sides
    if "link" in truth.spoilt:
        sides = np.stack(
            [spoiling.through_codec(each, "sbc", rate=RATE, bitrate=200) for each in sides]
        )
    clean = _heard(truth, sides, truth.paths, rng)
    if truth.moved is not None:
        after = _heard(truth, sides, truth.moved, rng)[: clean.size]
        middle = round(clean.size * rng.uniform(0.35, 0.65))
        length = round(0.2 * truth.clock.rate)
        share = np.clip((np.arange(clean.size) - middle) / length, 0.0, 1.0)
        clean = (1 - share) * clean + share * after
    if "music" in truth.spoilt:
        clean = noises.music(rng, clean.size, rate=truth.clock.rate)
    gain = 10 ** (truth.peak / 20) / np.abs(clean).max()
    heard = (0.0 if "silence" in truth.spoilt else gain) * clean
    for kind, level in truth.noises.items():
        heard = heard + 10 ** ((truth.peak + level) / 20) * _noise(kind, truth, rng, clean.size)
    samples, lost = _spoilt(truth, rng, heard)
    gain *= HIGHEST_GAIN if "gain-at-its-highest" in truth.spoilt else 1.0
    return Simulated(spoiling.sixteen_bit(samples), truth.clock.rate, truth, float(gain), lost)


def _heard(
    truth: Truth, sides: Samples, paths: Sequence[Samples], rng: np.random.Generator
) -> Samples:
    spectrum, size = chain_spectrum(sides, truth.speakers, paths, truth.phone)
    if truth.rattles:
        place = truth.wanted.parts["tone"][0]
        struck = sum(
            (_struck(each, truth, place, sides.shape[-1], rng) for each in truth.rattles),
            start=np.zeros(sides.shape[-1]),
        )
        frequency = fft.rfftfreq(size, 1 / RATE)
        path = paths[1 if truth.side == "right" else 0]
        own = spectrum_at(struck, size) * spectrum_at(path, size)
        spectrum = spectrum + own * truth.phone.response(frequency)
    return truth.clock.heard(spectrum, size)


def _struck(
    rattle: Rattle, truth: Truth, begin: float, count: int, rng: np.random.Generator
) -> Samples:
    """A ringing click of a part each time the tone passes one phase within its range."""
    length = (12.0 if truth.file.endswith("short") else 90.0) / np.log(10.0)
    tones = rng.uniform(1700.0, 6000.0, size=4)
    decays = rng.uniform(0.0006, 0.0016, size=4)
    time = np.arange(round(0.01 * RATE)) / RATE
    rings = np.exp(-time / decays[:, None]) * np.sin(2 * np.pi * tones[:, None] * time)
    click = rings.T @ rng.uniform(0.4, 1.0, size=4)
    click *= 10 ** (-18 / 20) * rattle.level / np.abs(click).max()
    heard = np.zeros(count + click.size)
    first, last = (30.0 * length * (f / 30.0 - 1) for f in (rattle.low, rattle.high))
    for cycle in np.arange(np.ceil(first), last) + rng.uniform(0, 1):
        at = length * np.log1p(cycle / (30.0 * length))
        off = np.log(30.0 * np.exp(at / length) / rattle.strongest)
        reach = np.log((rattle.low if off < 0 else rattle.high) / rattle.strongest)
        size = (1 - 0.5 * (off / reach) ** 2) * rng.uniform(0.75, 1.25)
        place = round((begin + at + rng.normal() * 2e-4) * RATE)
        heard[place : place + click.size] += size * click
    return heard[:count]


def _noise(kind: str, truth: Truth, rng: np.random.Generator, count: int) -> Samples:
    rate = truth.clock.rate
    if kind == "engine":
        return noises.engine(rng, count, rate=rate, fire=truth.fire)
    if kind in ("fan", "hum"):
        make: Callable[..., Samples] = getattr(noises, kind)
        return make(rng, count, rate=rate)
    slope = {"white": 0.0, "pink": -1.0, "road": -2.0}[kind]
    return noises.shaped(rng, count, rate=rate, slope=slope)


def _spoilt(truth: Truth, rng: np.random.Generator, heard: Samples) -> tuple[Samples, float]:
    rate, full = truth.clock.rate, 10 ** (truth.peak / 20)
    lost = 0.0
    for what in truth.spoilt:
        if what == "gain-control":
            target = rng.uniform(0.15, 0.4) * full
            heard = spoiling.gain_control(heard, rate=rate, target=target, highest=8.0)
        elif what == "gain-at-its-highest":
            heard = spoiling.gain_control(heard, rate=rate, target=30 * full, highest=HIGHEST_GAIN)
        elif what == "noise-suppression":
            heard = spoiling.noise_suppression(heard, rate=rate, floor=rng.uniform(0.03, 0.15))
        elif what == "clipped-hard":
            loud = np.quantile(np.abs(heard), 0.99)
            heard = spoiling.hard_clipped(heard * 0.999 / (0.55 * loud), 0.9995)
        elif what == "clipped-soft":
            heard = spoiling.soft_clipped(heard, 0.35 * np.quantile(np.abs(heard), 0.99))
        elif what in ("dropout", "repeat"):
            seconds = rng.uniform(0.005, 0.06)
            lost = seconds if what == "dropout" else -seconds
            at = rng.uniform(0.3, 0.6) * heard.size / rate
            heard = spoiling.with_gap(heard, rate=rate, at=at, seconds=lost)
        elif what == "truncated":
            heard = heard[: round(heard.size * rng.uniform(0.4, 0.8))]
        elif what in CODECS:
            codec, bitrate = CODECS[what]
            heard = spoiling.through_codec(heard, codec, rate=rate, bitrate=bitrate)
    return heard, lost


# --- At random --------------------------------------------------------------------------------


def random_paths(
    rng: np.random.Generator, *, moved: float = 0.05
) -> tuple[tuple[Samples, Samples], tuple[Samples, Samples]]:
    """Two sides in a random cabin at a phone, and at one `moved` by so many metres."""
    if rng.random() < 0.3:
        ways = [
            mode_impulse(rng, decay=rng.uniform(0.05, 0.12), arrival=rng.uniform(0.002, 0.006))
            for _ in range(4)
        ]
        return (ways[0], ways[1]), (ways[2], ways[3])
    u = rng.uniform
    size = (float(u(2.0, 3.0)), float(u(1.3, 1.55)), float(u(1.0, 1.25)))
    doors = [(size[0] * u(0.7, 0.85), y, u(0.25, 0.45)) for y in (0.05, size[1] - 0.05)]
    ear = np.array([size[0] * u(0.45, 0.6), size[1] * u(0.25, 0.75), size[2] - u(0.15, 0.3)])
    way = rng.normal(size=3)
    other = ear - moved * np.abs(way) / np.linalg.norm(way)
    absorption = float(u(0.2, 0.35)), float(u(0.4, 0.6))
    here, there = (
        box_impulses(size, doors, at.tolist(), absorption=absorption) for at in (ear, other)
    )
    return (here[0], here[1]), (there[0], there[1])


def random_truth(
    seed: int, *, file: str | None = None, side: str = "both", spoilt: Sequence[str] | None = None
) -> Truth:
    """Draw a truth; what is given is not drawn. Half of the drawn ones are spoilt by nothing."""
    rng = np.random.default_rng([seed, 0])
    u = rng.uniform
    named = str(rng.choice([name for name in FILES if "sweep" in name or "sides" in name]))
    if spoilt is None:
        count = int(rng.choice([0, 1, 2], p=[0.5, 0.35, 0.15]))
        drawn = set(rng.choice(SPOILT, size=count, replace=False))
        spoilt = [each for each in SPOILT if each in drawn]
    here, there = random_paths(rng, moved=u(0.1, 0.25))
    speakers = [
        Loudspeaker(u(50, 90), u(0.6, 1.3), 10 ** u(-2.6, -1.3), 10 ** u(-2.8, -1.5)) for _ in "lr"
    ]
    if rng.random() < 0.3:
        speakers[1] = replace(speakers[1], gain=-speakers[1].gain)
    noise = {"white": u(-75, -55), "pink": u(-65, -40)}
    for kind in NOISES[2:]:
        if rng.random() < 0.2:
            noise[kind] = u(-50, -30)
    rate = 48_000.0 if "opus" in spoilt else float(rng.choice([44_100.0, 48_000.0]))
    return Truth(
        file or named,
        side,
        speakers=(speakers[0], speakers[1]),
        paths=here,
        moved=there if "moved" in spoilt else None,
        phone=Phone(10 ** u(1.2, 2.1), u(-0.6, 0.6), float(rng.choice([-1.0, 1.0]))),
        clock=RecorderClock(u(0.05, 1.5), u(-200e-6, 200e-6), rate),
        peak=u(-20, -4),
        noises=noise,
        fire=u(20, 35),
        spoilt=tuple(spoilt),
        seed=seed,
    )


def random_recording(
    seed: int, *, file: str | None = None, side: str = "both", spoilt: Sequence[str] | None = None
) -> Simulated:
    """Record a random truth; the same seed gives the same samples."""
    return recorded(random_truth(seed, file=file, side=side, spoilt=spoilt))


def random_crawl(
    seed: int, *, rattling: bool, short: bool = True, excess: float | None = None
) -> Simulated:
    """Record a crawl on one side of a driver of up to 6 % second and 4 % third order.

    excess: level of the clicks re the tone [dB], else drawn.
    """
    rng = np.random.default_rng([seed, 2])
    u = rng.uniform
    truth = random_truth(seed, file="crawl-short" if short else "crawl", side="left", spoilt=())
    full = 10 ** (-18 / 20)
    speaker = Loudspeaker(u(50, 90), u(0.6, 1.3), u(0.01, 0.06), u(0.005, 0.04), full)
    low = 10 ** u(1.65, 2.1)
    high = low * u(1.35, 1.9)
    level = u(-22.0, -10.0) if excess is None else excess
    rattle = Rattle(low, (low * high) ** 0.5, high, 10 ** (level / 20))
    quiet = {"white": u(-75, -62), "pink": u(-60, -45)}
    phone = replace(truth.phone, corner=min(truth.phone.corner, 60.0))
    return recorded(
        replace(
            truth,
            speakers=(speaker, speaker),
            phone=phone,
            noises=quiet,
            rattles=(rattle,) if rattling else (),
        )
    )
