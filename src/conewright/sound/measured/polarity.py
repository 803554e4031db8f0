"""Whether one driver of a pair is turned round: odds from phases, never a plain yes.

Only the sign of one recording against another is known: phone, radio and amplifier may each turn
it. Near the cones the phases of the pair are compared from 100 to 800 Hz; at a seat from 40 to
80 Hz, where a cabin is small against the waves.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final, Literal, TypeAlias

import numpy as np

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.bands import band_centres, band_edges
from conewright.physics.basics.levels import amplitude_decibel
from conewright.physics.basics.validity import in_words, require_not_negative, require_positive
from conewright.sound.measured.lock_in import locked_tones
from conewright.sound.played.stimuli import GAINS, Stimulus
from conewright.sound.recorded.clock import Clock

__all__ = [
    "NEAR_FIELD",
    "SEAT_BY_BANDS",
    "SEAT_BY_TONES",
    "BassPair",
    "Evidence",
    "PairPhases",
    "PhaseRule",
    "Polarity",
    "bass_pair",
    "bass_pair_heard",
    "combined_polarity",
    "evidence_of",
    "near_field_phases",
    "near_field_sign",
    "reversed_odds",
    "seat_phases",
]

SLIP: Final = 0.01
"""The tester's own slip: the wrong side was played, a plug was swapped [1]."""


@dataclass(frozen=True, slots=True)
class PhaseRule:
    """How phases of a method are believed.

    name: of the method. sigma: standard deviation of a phase about 0 or about half a turn [rad].
    weight: below 1, since neighbouring bands say the same [1]; guessed.
    """

    name: str
    sigma: float
    weight: float


NEAR_FIELD: Final = PhaseRule("near-field", np.deg2rad(45.0), 0.5)
SEAT_BY_BANDS: Final = PhaseRule("sides", np.deg2rad(50.0), 0.4)
SEAT_BY_TONES: Final = PhaseRule("bass", np.deg2rad(50.0), 0.6)

NEAR_BANDS: Final = (95.0, 850.0)
SEAT_BANDS: Final = (38.0, 85.0)
"""Third octaves whose middles lie within these are used [Hz]: 100 to 800, and 40 to 80."""

SIGN_BAND: Final = (80.0, 1000.0)
FIRST_SWING: Final = 0.35
"""The first swing is the first above this of the largest [1]."""

NEAR_WINDOW: Final = 0.020
NEAR_LEAD: Final = 0.004
"""Length of the window on a near field, and how much of it lies before the largest swing [s]."""
LATEST: Final = 2.0e-3
"""Two near fields start within this of each other, once each is counted from its swing [s]."""

TYPES_FROM: Final = 1.5
"""Drivers of two types are compared above this of both resonances [1]."""
FEWEST_BANDS: Final = 3

CONSISTENT: Final = 0.1
"""What both sides played together may differ from the sum of the sides, over the largest [1]."""
UNEQUAL: Final = 8.0
"""Beyond this difference of the sides their level together says nothing [dB]."""
OFF_CENTRE: Final = 125.0
"""Above this there is no verdict at a seat beside the middle [Hz]."""
RIGHT_WAY: Final = (3.5, 6.0)
REVERSED: Final = (-30.0, -3.0)
"""Level of both over the left alone when the right way round, and when reversed [dB]."""

ByLevel: TypeAlias = Literal["right way", "reversed"]


@dataclass(frozen=True, slots=True, eq=False)
class PairPhases:
    """Phases of the right side against the left.

    frequency: middles of the bands, or of the tones [Hz], shape (B,). phase: within a turn about
    zero [rad], shape (B,). delay: what was taken out of the right side [s].
    """

    frequency: FloatArray
    phase: FloatArray
    delay: float = 0.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one method says.

    method: its name. odds: chance that one of the pair is reversed [1]. recordings: what it was
    read from.
    """

    method: str
    odds: float
    recordings: frozenset[str]


@dataclass(frozen=True, slots=True)
class Polarity:
    """What all methods together say.

    odds: chance that one of the pair is reversed [1]. agreed: whether every method leans to one
    side. methods: those that count, in the order given.
    """

    odds: float
    agreed: bool
    methods: tuple[str, ...]


def reversed_odds(
    phase: FloatArray, *, sigma: float, weight: float | FloatArray, slip: float = SLIP
) -> float:
    """Chance that one of a pair is reversed.

    Args:
        phase: of one against the other [rad], shape (B,).
        sigma: standard deviation of each about 0 or half a turn [rad].
        weight: of each [1], shape (B,) or scalar.
        slip: chance that the tester swapped something [1].

    Returns:
        slip + (1 - 2 slip)/(1 + e^-LLR), LLR = sum w (wrap(p)^2 - wrap(p - pi)^2)/(2 s^2) [1].

    Raises:
        OutOfRangeError: no phases, one that is not finite, sigma or weight not above zero, or a
            slip outside 0 to 0.5.

    """
    from scipy.special import expit

    require_positive(sigma=sigma, weight=weight)
    if np.size(phase) == 0 or not np.all(np.isfinite(phase)):
        raise OutOfRangeError("at least one phase is wanted, and every one finite")
    if not 0.0 <= slip < 0.5:
        raise OutOfRangeError(f"slip must be from 0 to below 0.5, got {slip:g}")
    apart = _wrapped(phase) ** 2 - _wrapped(phase - np.pi) ** 2
    likelihood = float(np.sum(weight * apart) / (2.0 * sigma**2))
    return float(slip + (1.0 - 2.0 * slip) * expit(likelihood))


def evidence_of(phases: PairPhases, *, rule: PhaseRule, recordings: Iterable[str]) -> Evidence:
    """Return what a pair's phases say by the rule of a method."""
    odds = reversed_odds(phases.phase, sigma=rule.sigma, weight=rule.weight)
    return Evidence(rule.name, odds, frozenset(recordings))


def combined_polarity(found: Sequence[Evidence]) -> Polarity:
    """Put methods together.

    Args:
        found: one or more; each holds the slip already.

    Returns:
        Their odds multiplied. Of methods that share a recording only the least sure counts. Where
        they lean to different sides `agreed` is false, and the odds are those of the least sure:
        something was swapped, and no method is believed.

    Raises:
        BadInputError: no method.

    """
    if not found:
        raise BadInputError("polarity: no method was measured; near-field, sides and bass are")
    used: list[Evidence] = []
    for one in sorted(found, key=lambda each: abs(each.odds - 0.5)):
        if all(one.recordings.isdisjoint(other.recordings) for other in used):
            used.append(one)
    names = tuple(each.method for each in found if each in used)
    if len({each.odds > 0.5 for each in used}) > 1:
        return Polarity(used[0].odds, False, names)
    odds = np.prod([each.odds for each in used])
    against = np.prod([1.0 - each.odds for each in used])
    return Polarity(float(odds / (odds + against)), True, names)


def near_field_sign(response: FloatArray, *, rate: float) -> int:
    """Sign of the first swing of an impulse response, phone close before the cone.

    Args:
        response: of one side, shape (N,), beginning before the arrival.
        rate: samples a second [1/s].

    Returns:
        +1 or -1: comparable between recordings of the same phone and radio only.

    Raises:
        OutOfRangeError: a silent response, or a rate too low for 1 kHz.

    Band 80 Hz to 1 kHz of second order, causal, so that nothing rings ahead of the arrival; the
    first swing above 0.35 of the largest counts.

    """
    from scipy.signal import butter, sosfilt

    if rate <= 2.5 * SIGN_BAND[1]:
        raise OutOfRangeError(f"a rate of {rate:g} Hz does not hold {SIGN_BAND[1]:g} Hz")
    band = butter(2, SIGN_BAND, "bandpass", fs=rate, output="sos")
    swings = np.asarray(sosfilt(band, response))
    largest = float(np.max(np.abs(swings), initial=0.0))
    if not 0.0 < largest < inf:
        raise OutOfRangeError("the near field is silent")
    size = np.abs(swings)
    top = np.r_[False, (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:]), False]
    first = np.flatnonzero(top & (size > FIRST_SWING * largest))
    at = int(first[0]) if first.size else int(size.argmax())
    return 1 if swings[at] > 0.0 else -1


def near_field_phases(
    left: FloatArray,
    right: FloatArray,
    *,
    rate: float,
    resonances: tuple[float, float] | None = None,
) -> PairPhases:
    """Phases of two near fields against each other in third octaves.

    Args:
        left: impulse response of one side, shape (N,), or a pulse as it was heard.
        right: that of the other, likewise; the lengths may differ.
        rate: samples a second of both [1/s].
        resonances: of two drivers of different types [Hz]; None for two of one type.

    Returns:
        Phases in the ten third octaves from 100 to 800 Hz, the delay between the two taken out: the
        one that makes |sum of the cross spectrum| largest, which leaves the sign open. Of two types
        only bands above 1.5 times both resonances: below they differ by up to half a turn without a
        fault.

    Raises:
        OutOfRangeError: a silent side, a rate too low, or less than three bands that two types can
            be compared in.

    """
    require_positive(rate=rate)
    centres = _bands_within(*NEAR_BANDS)
    if resonances is not None:
        require_positive(resonances=np.array(resonances))
        lowest = TYPES_FROM * max(resonances)
        centres = centres[centres >= lowest]
        if centres.size < FEWEST_BANDS:
            raise OutOfRangeError(
                f"resonances of {in_words(np.array(resonances))} Hz leave {centres.size} bands "
                f"above {lowest:.0f} Hz to compare two types of driver in; {FEWEST_BANDS} are "
                "wanted"
            )
    if rate <= 2.5 * NEAR_BANDS[1]:
        raise OutOfRangeError(f"a rate of {rate:g} Hz does not hold {NEAR_BANDS[1]:g} Hz")
    size = 1 << int(np.ceil(np.log2(2.0 * rate)))  # bins of half a hertz or finer
    (before, one), (after, other) = (_windowed(each, rate, size) for each in (left, right))
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    inside = (frequency > centres[0] * 0.89) & (frequency < centres[-1] * 1.12)
    cross = (other * np.conj(one))[inside]
    delay = _delay(cross, frequency[inside])
    turned = cross * np.exp(2j * np.pi * frequency[inside] * delay)
    phases = _band_phases(turned, frequency[inside], centres)
    return PairPhases(centres, phases, (after - before) / rate + delay)


def seat_phases(left: ComplexArray, right: ComplexArray, *, frequency: FloatArray) -> PairPhases:
    """Phases of the right side against the left at a seat, both of one recording.

    Args:
        left: transfer function of the left side, shape (F,).
        right: that of the right side, shape (F,).
        frequency: rising [Hz], shape (F,), from 35 to 90 Hz in steps of 2 Hz or finer; those of a
            Fourier transform as they are.

    Returns:
        Phases in the four third octaves from 40 to 80 Hz. The free path is not taken out: a cabin
        is small against these waves.

    Raises:
        OutOfRangeError: a grid that leaves a band empty, or a silent side.

    """
    require_not_negative(frequency=frequency)
    centres = _bands_within(*SEAT_BANDS)
    cross = np.asarray(right) * np.conj(left)
    return PairPhases(centres, _band_phases(cross, frequency, centres))


@dataclass(frozen=True, slots=True, eq=False)
class BassPair:
    """What tones of left, right, both and opposed say at a seat.

    Attributes:
        phases: of the right side against the left.
        both: level of both over the left alone [dB], shape (B,).
        opposed: level of both with the right one turned round over the left alone [dB], shape (B,).
        imbalance: level of the right over the left [dB], shape (B,).
        inconsistency: what both differs from the sum of the sides, or opposed from their
            difference, over the largest of the four [1], shape (B,).
        by_level: what the levels alone say; None where they say nothing, or the sides differ by
            more than 8 dB.

    """

    phases: PairPhases
    both: FloatArray
    opposed: FloatArray
    imbalance: FloatArray
    inconsistency: FloatArray
    by_level: ByLevel | None


def bass_pair_heard(
    samples: FloatArray,
    *,
    rate: float,
    clock: Clock,
    stimulus: Stimulus,
    centred: bool = False,
) -> BassPair:
    """Judge a recording of `bass` at a seat.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [1/s].
        clock: of this recording.
        stimulus: what was played.
        centred: whether the phone lay on the middle line of the cabin.

    Raises:
        BadInputError: a stimulus without such tones, or a recording that does not hold them.
        OutOfRangeError: as `bass_pair`.

    """
    found: dict[tuple[int, int], ComplexArray] = {}
    frequency: FloatArray = np.zeros(0)
    for gains in GAINS.values():
        parts = [part for part in stimulus.tones if (part.left, part.right) == gains]
        locked = locked_tones(np.atleast_2d(samples), rate=rate, clock=clock, parts=parts)
        found[gains], frequency = locked.amplitude[0], locked.frequency
    return bass_pair(
        left=found[GAINS["left"]],
        right=found[GAINS["right"]],
        both=found[GAINS["both"]],
        opposed=found[GAINS["opposed"]],
        frequency=frequency,
        centred=centred,
    )


def bass_pair(
    *,
    left: ComplexArray,
    right: ComplexArray,
    both: ComplexArray,
    opposed: ComplexArray,
    frequency: FloatArray,
    centred: bool = False,
) -> BassPair:
    """Judge the tones of `bass`, all of one recording and one clock.

    Args:
        left: complex amplitudes of the left side alone, shape (B,).
        right: of the right side alone, shape (B,).
        both: of both, shape (B,).
        opposed: of both with the right one turned round, shape (B,).
        frequency: of the tones [Hz], shape (B,).
        centred: whether the phone lay on the middle line of the cabin.

    Raises:
        OutOfRangeError: a silent side; tones that do not add up, which a gain that follows the
            sound or a moved phone does; or a seat off the middle and no tone up to 125 Hz.

    """
    require_positive(frequency=frequency)
    use = np.ones(np.shape(frequency), dtype=bool) if centred else frequency <= OFF_CENTRE
    if not use.any():
        raise OutOfRangeError(
            f"tones of {in_words(frequency)} Hz at a seat beside the middle: no verdict above "
            f"{OFF_CENTRE:g} Hz there"
        )
    tones = np.array([left, right, both, opposed])[:, use]
    sizes = np.abs(tones)
    if not (np.all(sizes[0] > 0.0) and np.all(sizes[1] > 0.0)):
        raise OutOfRangeError("a side is silent at one of the tones")
    added = np.abs(tones[2] - tones[0] - tones[1])
    off = np.maximum(added, np.abs(tones[3] - tones[0] + tones[1])) / sizes.max(axis=0)
    worst = int(off.argmax())
    if not off[worst] < CONSISTENT:
        raise OutOfRangeError(
            f"at {frequency[use][worst]:g} Hz both sides together differ from the sum of the sides "
            f"by {off[worst]:.2f} of the largest; below {CONSISTENT:g} is allowed: a gain that "
            "follows the sound, or the phone moved"
        )
    phases = PairPhases(np.asarray(frequency)[use], np.angle(tones[1] * np.conj(tones[0])))
    over_left = amplitude_decibel(sizes / sizes[0])
    return BassPair(
        phases=phases,
        both=over_left[2],
        opposed=over_left[3],
        imbalance=over_left[1],
        inconsistency=off,
        by_level=_by_level(over_left[2], over_left[1]),
    )


def _by_level(both: FloatArray, imbalance: FloatArray) -> ByLevel | None:
    """What the mean level of the pair over one side says, if anything."""
    if np.any(np.abs(imbalance) > UNEQUAL):
        return None
    mean = float(np.mean(both))
    if RIGHT_WAY[0] <= mean <= RIGHT_WAY[1]:
        return "right way"
    return "reversed" if REVERSED[0] <= mean <= REVERSED[1] else None


def _wrapped(phase: FloatArray) -> FloatArray:
    """Return phases within half a turn either way [rad]."""
    return np.asarray(np.angle(np.exp(1j * np.asarray(phase))))


def _bands_within(low: float, high: float) -> FloatArray:
    centres = band_centres()
    return np.asarray(centres[(centres > low) & (centres < high)])


def _windowed(response: FloatArray, rate: float, size: int) -> tuple[int, ComplexArray]:
    """First sample and spectrum of 20 ms about the largest swing."""
    if not 0.0 < np.max(np.abs(response), initial=0.0) < inf:
        raise OutOfRangeError("the near field of one side is silent")
    first = int(np.argmax(np.abs(response))) - round(NEAR_LEAD * rate)
    length, rise = round(NEAR_WINDOW * rate), round(0.5 * NEAR_LEAD * rate)
    index = np.arange(first, first + length)
    held = np.where((index >= 0) & (index < response.size), response.take(index, mode="clip"), 0.0)
    window = np.ones(length)
    window[:rise] = 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    fall = length // 2
    window[-fall:] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 1.0) / fall)
    return first, np.asarray(np.fft.rfft(held * window, size))


def _delay(cross: ComplexArray, frequency: FloatArray) -> float:
    """The delay of one against the other that makes |sum| largest [s]."""

    def size(delays: FloatArray) -> FloatArray:
        turns = np.exp(2j * np.pi * np.multiply.outer(delays, frequency))
        return np.asarray(np.abs(turns @ cross))

    step, best = LATEST / 200.0, 0.0
    for reach in (LATEST, step, step / 20.0):
        tried = best + np.linspace(-reach, reach, 401 if reach == LATEST else 41)
        best = float(tried[int(size(tried).argmax())])
    return best


def _band_phases(cross: ComplexArray, frequency: FloatArray, centres: FloatArray) -> FloatArray:
    """Phase of the cross spectrum summed over each band [rad]."""
    edges = band_edges()
    first = np.searchsorted(band_centres(), centres * 0.999)
    found = []
    for band in first:
        inside = (frequency >= edges[band]) & (frequency < edges[band + 1])
        total = complex(np.sum(cross[inside]))
        if total == 0.0 or not np.isfinite(total):
            raise OutOfRangeError(
                f"nothing was measured from {edges[band]:.0f} to {edges[band + 1]:.0f} Hz"
            )
        found.append(float(np.angle(total)))
    return np.array(found)
