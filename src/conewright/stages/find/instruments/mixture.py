"""What a meter may show: numbers with their spread, open, unsteady; and how likely a reading is.

A number is judged by the density of what the meter may show, times one fixed width a test, so that
numbers and words can be compared; a word by the chance of the region it names. Every mixture holds
the slips of the hand that no fault explains.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from typing import Literal

import numpy as np

from conewright.errors import BadInputError
from conewright.job.builds.draws import SCORE_AT_95, SCORE_WITHIN_95
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.stages.find.faults.effects import READING, has_variant, size

__all__ = [
    "UNEXPLAINED",
    "WORDS",
    "Component",
    "Mixture",
    "Reader",
    "components",
    "likelihood",
    "normal_range",
    "outcomes",
    "with_slips",
]

Kind = Literal["value", "log-value", "open", "unsteady"]

WORDS = ("open", "unsteady", "high", "normal", "low", "abnormal")

# Samples become this many bells, on a logarithmic scale where they differ by more than WIDE.
GROUPS = 8
WIDE = 4.0
_SMALLEST = 1e-12

UNEXPLAINED = 1e-9
"""Chance of a number that nothing explains: it tells no state from another."""

_SQRT_TAU = float(np.sqrt(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class Component:
    """One thing a meter may show: a number about `centre` [SI], `open` or `unsteady`.

    `sigma` is the standard deviation of a value [SI], or of its natural logarithm for `log-value`.
    """

    weight: float
    kind: Kind
    centre: float = 0.0
    sigma: float = 0.0


@dataclass(frozen=True, slots=True)
class Reader:
    """How one test is read: the meter, and whoever reads it.

    Attributes:
        width: a number counts as this wide when it is held against words [SI].
        relative, absolute: standard error of the meter [1], [SI].
        slip: chance of a slip; slip_width: how widely it strays, of the natural logarithm.
        slip_open, slip_unsteady: share of the slips that read so.
        alarm_low, alarm_high: share of sound vehicles that read below, above the normal range.
        open_from: values from here on count as open [SI]; inf where nothing is ever open.

    """

    width: float
    relative: float
    absolute: float
    slip: float
    slip_width: float
    slip_open: float
    slip_unsteady: float
    alarm_low: float
    alarm_high: float
    open_from: float

    @classmethod
    def of(cls, test: str) -> Reader:
        """Return how a test is read, from the table."""
        names = [name for name in cls.__dataclass_fields__ if name != "open_from"]
        values = {name: size(test, READING, name.replace("_", "-")).value for name in names}
        ends = has_variant(test, READING, "open-from")
        return cls(**values, open_from=size(test, READING, "open-from").value if ends else inf)

    def error(self, centre: FloatArray, stated: float | None) -> FloatArray:
        """Standard error of a reading about some centres [SI]: the stated one, else the meter's."""
        if stated is not None:
            return np.full_like(centre, stated)
        return np.hypot(self.relative * centre, self.absolute)

    def slips(self, centre: float) -> tuple[Component, ...]:
        """What slips of the hand read, about the healthy value or what stands for it [SI]."""
        value = 1.0 - self.slip_open - self.slip_unsteady
        return (
            Component(self.slip * value, "log-value", centre, self.slip_width),
            Component(self.slip * self.slip_open, "open"),
            Component(self.slip * self.slip_unsteady, "unsteady"),
        )


@dataclass(frozen=True)
class Mixture:
    """All that a meter may show in one state, weights adding up to 1.

    Attributes:
        components: what it may show.
        reader: how it is read.
        normal: low and high end of the normal range [SI], None where `open` is the healthy answer.

    """

    components: tuple[Component, ...]
    reader: Reader
    normal: tuple[float, float] | None

    def density(self, value: Real, *, stated: float | None = None) -> FloatArray:
        """Density of a number [1/SI], shape of `value`.

        Args: value: [SI]; stated: its own standard error [SI], None for that of the meter.
        """
        at = np.asarray(value, dtype=float)[..., np.newaxis]
        plain, logged = self._plain, self._logged
        spread = self._spread(plain, stated)
        total = _bell((at - plain[1]) / spread, spread) @ plain[0]
        positive = np.maximum(at, _SMALLEST)
        spread = self._log_spread(logged, stated)
        bells = _bell(np.log(positive / logged[1]) / spread, spread * positive)
        return np.asarray(total + np.where(at > 0.0, bells, 0.0) @ logged[0])

    def below(self, value: float) -> float:
        """Chance of a number below a value [SI], by the meter's own error."""
        from scipy.special import ndtr

        plain, logged = self._plain, self._logged
        total = plain[0] @ ndtr((value - plain[1]) / self._spread(plain, None))
        if value > 0.0 and logged.shape[1]:
            total += logged[0] @ ndtr(np.log(value / logged[1]) / self._log_spread(logged, None))
        return float(total)

    def weight(self, kind: Kind) -> float:
        """Weight of everything of one kind."""
        return sum(part.weight for part in self.components if part.kind == kind)

    @cached_property
    def regions(self) -> Mapping[str, float]:
        """Chance of open, unsteady, high, normal and low; they add up to 1.

        Where open is the healthy answer every number is low, and nothing is high or normal.
        """
        numbers = self.weight("value") + self.weight("log-value")
        finite = self.below(self.reader.open_from) if self.reader.open_from < inf else numbers
        open_ = self.weight("open") + max(numbers - finite, 0.0)
        unsteady = self.weight("unsteady")
        if self.normal is None:
            return dict(zip(WORDS, (open_, unsteady, 0.0, 0.0, finite), strict=False))
        low = self.below(self.normal[0]) if self.normal[0] > -inf else 0.0
        up_to = self.below(self.normal[1]) if self.normal[1] < inf else finite
        high, normal = max(finite - up_to, 0.0), max(up_to - low, 0.0)
        return dict(zip(WORDS, (open_, unsteady, high, normal, low), strict=False))

    @property
    def ever_open(self) -> bool:
        """Whether the test knows the answer `open`."""
        return self.reader.open_from < inf

    @cached_property
    def _plain(self) -> FloatArray:
        return _columns(self.components, "value")

    @cached_property
    def _logged(self) -> FloatArray:
        return _columns(self.components, "log-value")

    def _spread(self, parts: FloatArray, stated: float | None) -> FloatArray:
        return np.asarray(np.hypot(parts[2], self.reader.error(parts[1], stated)))

    def _log_spread(self, parts: FloatArray, stated: float | None) -> FloatArray:
        return np.asarray(np.hypot(parts[2], self.reader.error(parts[1], stated) / parts[1]))


def likelihood(mixture: Mixture, reading: Quantity | str) -> float:
    """Chance of a reading in a state, numbers and words on one scale.

    Args:
        mixture: what the meter may show in that state.
        reading: a number, whose own spread replaces the meter's error, or one of WORDS.

    Returns:
        For a word the chance of its region; for a number its density times the test's width. A
        number is read without its sign.

    Raises:
        BadInputError: the word is none of WORDS.

    """
    if isinstance(reading, Quantity):
        value = abs(reading.value)
        if value >= mixture.reader.open_from:
            return mixture.regions["open"]
        density = float(mixture.density(value, stated=_stated(reading)))
        return max(density * mixture.reader.width, UNEXPLAINED)
    return _chance(mixture, reading)


def outcomes(mixture: Mixture) -> dict[str, float]:
    """Chance of each answer that a plan reckons with; they add up to 1.

    Returns: open, unsteady, high, normal, low for a resistance; open, unsteady, low where open is
    the healthy answer; abnormal and normal for what is never open.
    """
    regions = mixture.regions
    if not mixture.ever_open:
        return {"abnormal": 1.0 - regions["normal"], "normal": regions["normal"]}
    if mixture.normal is None:
        return {word: regions[word] for word in ("open", "unsteady", "low")}
    return dict(regions)


def components(values: FloatArray, weight: float) -> tuple[Component, ...]:
    """Return samples of a reading as a few components.

    Args: values: [SI], any shape; inf is open; weight: of all together.
    Method: groups of equal size in order, each a bell wide enough to meet its neighbours; by
    logarithm where the values differ widely.
    """
    numbers = np.sort(values[np.isfinite(values)])
    open_ = weight * (1.0 - numbers.size / values.size)
    parts = (Component(open_, "open"),) if open_ > 0.0 else ()
    if numbers.size == 0:
        return parts
    wide = numbers[0] > 0.0 and numbers[-1] > WIDE * numbers[0]
    kind: Kind = "log-value" if wide else "value"
    middles, spreads = _grouped(np.log(numbers) if wide else numbers)
    share = (weight - open_) / middles.size
    centres = np.exp(middles) if wide else middles
    return (
        *parts,
        *(
            Component(share, kind, float(c), float(s))
            for c, s in zip(centres, spreads, strict=True)
        ),
    )


def _grouped(rising: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middles and widths of a few groups of rising numbers."""
    count = min(GROUPS, rising.size)
    # What does not fill the last group is left out at the low end, a sample or two of many.
    groups = rising[rising.size % count :].reshape(count, -1)
    middles, spreads = groups.mean(axis=1), groups.std(axis=1)
    if count == 1:
        return middles, spreads
    # Half the way to the next ones, of all but the outer ones to either side.
    steps = np.diff(middles)
    between = 0.5 * (np.append(steps, steps[-1]) + np.append(steps[0], steps))
    return middles, np.maximum(spreads, 0.5 * np.abs(between))


def with_slips(
    parts: Sequence[Component], reader: Reader, *, about: float, normal: tuple[float, float] | None
) -> Mixture:
    """Return components with the slips of the hand about a value [SI] as a mixture."""
    left = 1.0 - reader.slip
    kept = (Component(part.weight * left, part.kind, part.centre, part.sigma) for part in parts)
    return Mixture((*kept, *reader.slips(about)), reader, normal)


def normal_range(parts: Sequence[Component], reader: Reader) -> tuple[float, float] | None:
    """Ends of the normal range [SI] from what sound vehicles read; None where that is open."""
    numbers = [part for part in parts if part.kind in ("value", "log-value")]
    share = sum(part.weight for part in numbers)
    if share < 0.5:
        return None
    scaled = tuple(replace(part, weight=part.weight / share) for part in numbers)
    healthy = Mixture(scaled, reader, None)
    low = _quantile(healthy, reader.alarm_low) if reader.alarm_low > 0.0 else -inf
    high = _quantile(healthy, 1.0 - reader.alarm_high) if reader.alarm_high > 0.0 else inf
    return low, high


def _quantile(mixture: Mixture, chance: float) -> float:
    """Value below which a share of the numbers lies [SI], by halving."""
    tops = [
        part.centre * np.exp(8.0 * part.sigma)
        if part.kind == "log-value"
        else part.centre + 8.0 * part.sigma
        for part in mixture.components
    ]
    low, high = 0.0, 2.0 * max(tops) + 10.0 * mixture.reader.absolute
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if mixture.below(middle) < chance else (low, middle)
    return 0.5 * (low + high)


def _chance(mixture: Mixture, word: str) -> float:
    regions = mixture.regions
    if word == "abnormal":
        return 1.0 - regions["open" if mixture.normal is None else "normal"]
    if word not in regions:
        raise BadInputError(f'"{word[:40]}" is no answer; {", ".join(WORDS)} are')
    if mixture.normal is None and word in ("high", "normal"):
        return regions["open"]
    return regions[word]


def _stated(reading: Quantity) -> float | None:
    """Standard error that a reading states for itself [SI], None for none."""
    if reading.low is None or reading.high is None:
        return None
    score = SCORE_WITHIN_95 if reading.spread == "plus-minus" else SCORE_AT_95
    return (reading.high - reading.low) / (2.0 * score) or None


def _columns(parts: Iterable[Component], kind: Kind) -> FloatArray:
    """Weights, centres and sigmas of one kind, shape (3, components)."""
    rows = [(part.weight, part.centre, part.sigma) for part in parts if part.kind == kind]
    return np.array(rows, dtype=float).reshape(-1, 3).T


def _bell(score: FloatArray, width: FloatArray) -> FloatArray:
    return np.exp(-0.5 * score**2) / (_SQRT_TAU * width)
