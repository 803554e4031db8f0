"""The voice coil: its inductance in four models, and its resistance when it is hot."""

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, Real
from conewright.physics.basics.laplace import angular_frequency, laplace
from conewright.physics.basics.validity import in_words, require_not_negative, require_positive
from conewright.physics.electrics.conductor import temperature_factor

__all__ = [
    "EXPONENT_RANGE",
    "Coil",
    "CoilWiring",
    "Inductor",
    "PowerLaw",
    "ShuntedInductor",
    "TwiceShuntedInductor",
    "TwoCoils",
    "coil_impedance",
    "power_law_from_inductance",
    "resistance_at",
    "scaled_turns",
    "two_coils",
]

EXPONENT_RANGE: Final = (0.5, 1.0)
"""Exponents of the power law: 0.5 is a solid iron core, 1 is a lossless coil (Leach 2002)."""


@dataclass(frozen=True, slots=True, eq=False)
class PowerLaw:
    """Coil in solid iron: Z = K (jw)^n, principal branch.

    Args:
        k: K, shape (samples, 1) or scalar [ohm s^n].
        n: exponent n, shape (samples, 1) or scalar [1], within EXPONENT_RANGE.

    Raises:
        OutOfRangeError: n outside EXPONENT_RANGE, or K negative.

    Source: W. M. Leach, "Loudspeaker voice-coil inductance losses", J. Audio Eng. Soc. 50(6),
    2002. |Z| = K w^n at the angle 90 n degrees, so the coil takes power: passive. It has no
    time-domain form of finite order.
    """

    k: Real
    n: Real

    def __post_init__(self) -> None:
        low, high = EXPONENT_RANGE
        exponent = np.asarray(self.n)
        if not np.all((exponent >= low) & (exponent <= high)):
            found = in_words(self.n)
            raise OutOfRangeError(f"exponent n must be within {low:g} to {high:g}, got {found}")
        require_not_negative(k=self.k)


@dataclass(frozen=True, slots=True, eq=False)
class Inductor:
    """Lossless coil: Z = s Le.

    Args:
        le: inductance Le, shape (samples, 1) or scalar [H].

    Raises:
        OutOfRangeError: Le negative.
    """

    le: Real

    def __post_init__(self) -> None:
        require_not_negative(le=self.le)


@dataclass(frozen=True, slots=True, eq=False)
class ShuntedInductor:
    """Coil with one eddy-current loop: Z = s Le + s L2 R2/(s L2 + R2).

    Args:
        le: Le, shape (samples, 1) or scalar [H].
        l2: L2, shape (samples, 1) or scalar [H].
        r2: R2 across L2, shape (samples, 1) or scalar [ohm], above 0; inf leaves Le + L2.

    Raises:
        OutOfRangeError: a negative value, or R2 = 0.
    """

    le: Real
    l2: Real
    r2: Real

    def __post_init__(self) -> None:
        require_not_negative(le=self.le, l2=self.l2)
        require_positive(r2=self.r2)


@dataclass(frozen=True, slots=True, eq=False)
class TwiceShuntedInductor:
    """Coil with two eddy-current loops: Z = s Le + s L2 R2/(s L2 + R2) + s L3 R3/(s L3 + R3).

    Args:
        le: Le, shape (samples, 1) or scalar [H].
        l2, l3: L2 and L3, shape (samples, 1) or scalar [H].
        r2, r3: R2 across L2 and R3 across L3, shape (samples, 1) or scalar [ohm], above 0.

    Raises:
        OutOfRangeError: a negative value, or a resistance of 0.
    """

    le: Real
    l2: Real
    r2: Real
    l3: Real
    r3: Real

    def __post_init__(self) -> None:
        require_not_negative(le=self.le, l2=self.l2, l3=self.l3)
        require_positive(r2=self.r2, r3=self.r3)


Coil: TypeAlias = PowerLaw | Inductor | ShuntedInductor | TwiceShuntedInductor


def coil_impedance(*, coil: Coil, frequency: Real) -> ComplexArray:
    """Impedance of the coil's inductance, without the wire resistance Re.

    Args:
        coil: one of the four models, values of shape (samples, 1) or scalar.
        frequency: shape (F,) [Hz].

    Returns:
        Shape (F,) or (samples, F) [ohm].

    Raises:
        OutOfRangeError: f <= 0.

    Equations: see the four models.
    """
    if isinstance(coil, PowerLaw):
        magnitude = coil.k * angular_frequency(frequency) ** coil.n
        return np.asarray(magnitude * np.exp(0.5j * np.pi * np.asarray(coil.n)))
    s = laplace(frequency)
    if isinstance(coil, Inductor):
        return np.asarray(s * coil.le)
    # Divided by R2, so that an infinite R2 is legal.
    found = s * coil.le + s * coil.l2 / (1.0 + s * (coil.l2 / coil.r2))
    if isinstance(coil, TwiceShuntedInductor):
        found = found + s * coil.l3 / (1.0 + s * (coil.l3 / coil.r3))
    return np.asarray(found)


def power_law_from_inductance(*, le: Real, n: Real, frequency: float = 1000.0) -> PowerLaw:
    """Power law whose size at one frequency equals that of an inductance quoted there.

    Args:
        le: inductance as a data sheet quotes it, shape (samples, 1) or scalar [H].
        n: exponent, shape (samples, 1) or scalar [1].
        frequency: where the sheet measured it [Hz].

    Returns:
        The power law.

    Raises:
        OutOfRangeError: n outside EXPONENT_RANGE, f <= 0.

    Equation: K = w0 Le / w0^n, so that |K (j w0)^n| = w0 Le.
    """
    reference = float(angular_frequency(frequency))
    return PowerLaw(k=le * reference ** (1.0 - np.asarray(n)), n=n)


def scaled_turns(*, coil: Coil, turns: Real) -> Coil:
    """Return the inductance of a coil of which only some turns are left.

    Args:
        coil: the whole coil.
        turns: those that are left over all, shape (samples, 1) or scalar [1], above 0.

    Returns:
        The same model; every impedance goes with the square of the turns.

    Source: inductance of a coil on one core is proportional to the square of its turns.
    """
    require_positive(turns=turns)
    square = np.asarray(turns) ** 2
    if isinstance(coil, PowerLaw):
        return PowerLaw(k=coil.k * square, n=coil.n)
    if isinstance(coil, Inductor):
        return Inductor(le=coil.le * square)
    le, l2, r2 = coil.le * square, coil.l2 * square, coil.r2 * square
    if isinstance(coil, TwiceShuntedInductor):
        return TwiceShuntedInductor(le=le, l2=l2, r2=r2, l3=coil.l3 * square, r3=coil.r3 * square)
    return ShuntedInductor(le=le, l2=l2, r2=r2)


CoilWiring: TypeAlias = Literal["parallel", "series", "one"]
"""How two equal coils on one former are wired: both in parallel, both in series, or one of them."""


@dataclass(frozen=True, slots=True)
class TwoCoils:
    """What a wiring makes of a driver's figures, over those with both coils in parallel [1]."""

    re: float
    bl: float
    le: float
    qes: float


def two_coils(wired: CoilWiring) -> TwoCoils:
    """Return what a wiring of two equal, closely coupled coils on one former does.

    Args:
        wired: both in parallel, both in series, or one with the other left open.

    Returns:
        Factors on Re, Bl, Le and Qes. In series the turns double: Re and Le go with their square
        where the copper is the same, Bl with the turns, and Qes ~ Re/Bl^2 stays. One coil alone has
        half of the copper: twice Re and Qes at the same Bl.

    Source: one winding of twice the turns and half the wire; closed form.
    """
    if wired == "series":
        return TwoCoils(re=4.0, bl=2.0, le=4.0, qes=1.0)
    return TwoCoils(re=2.0, bl=1.0, le=1.0, qes=2.0) if wired == "one" else TwoCoils(1, 1, 1, 1)


def resistance_at(*, resistance: Real, temperature: Real) -> Real:
    """Resistance of a copper wire at a temperature.

    Args:
        resistance: resistance at 20 C, any shape [ohm].
        temperature: temperature of the wire, any shape that broadcasts [K].

    Returns:
        R = R20 (1 + a (T - 293.15 K)) [ohm].

    Raises:
        OutOfRangeError: temperature not above zero.

    Source: linear law on the 20 C basis (IEC 60028); good to 1 % from -40 to 250 C
    (from memory).
    """
    return resistance * temperature_factor(temperature=temperature)
