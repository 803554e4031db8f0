"""What a second measurement adds to the figures of a driver: its mass, its volume, its twin."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log, log1p
from typing import Final

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air
from conewright.physics.basics.validity import require_positive
from conewright.physics.drivers.thiele_small import complete
from conewright.sound.measured.impedance_fit import Width
from conewright.sound.measured.impedance_points import Outline

__all__ = [
    "TwinDifference",
    "TwinFlags",
    "mass_from_added",
    "twin_difference",
    "volume_from_box",
    "volume_from_mass",
]

LEAST_SHIFT: Final = 1.22
"""The added mass must lower the resonance by this: with less the error of both is magnified more
than four times."""

CONTACTS: Final = 0.01
"""Of a mass beyond that of the resonances: scales, and how well it sticks, guessed, 95 % [1]."""


def mass_from_added(*, fs: Width, loaded: Width, added: Width) -> Width:
    """Moving mass in free air, from the resonance with a known mass stuck on the cone.

    Args:
        fs: resonance without it [Hz].
        loaded: resonance with it [Hz]; the two errors of one jig in one hour, not its limits.
        added: the mass [kg], about as much as the cone.

    Returns:
        M = m/((fs/fm)^2 - 1) with its 95 % width [kg], air of free air included.

    Raises:
        OutOfRangeError: fs/fm below 1.22: too little mass, or it came off; a figure not above zero.

    Closed form: the compliance stays and fm = fs sqrt(M/(M + m)). dM/M = 2 k/(k - 1) df/f with
    k = (fs/fm)^2.

    """
    require_positive(fs=fs.value, loaded=loaded.value, added=added.value)
    shift = fs.value / loaded.value
    if not shift >= LEAST_SHIFT:
        raise OutOfRangeError(
            f"the added mass lowers the resonance {shift:.3f} times, from {fs.value:.1f} to "
            f"{loaded.value:.1f} Hz; at least {LEAST_SHIFT} is wanted: stick on about as much as "
            "the cone weighs"
        )
    k = shift**2
    gain = 2.0 * k / (k - 1.0)
    apart = hypot(fs.width / fs.value, loaded.width / loaded.value)
    share = hypot(gain * apart, added.width / added.value, CONTACTS)
    mass = added.value / (k - 1.0)
    return Width(mass, mass * share)


def volume_from_mass(*, fs: Width, mass: Width, sd: Width, air: Air) -> Width:
    """Air volume of the compliance of a suspension.

    Args:
        fs: resonance in free air [Hz].
        mass: moving mass in free air [kg].
        sd: cone area [m2].
        air: the air.

    Returns:
        Vas = rho c^2 Sd^2 Cms with its 95 % width [m3].

    Raises:
        OutOfRangeError: a figure not above zero.

    Source: R. H. Small, JAES 20(5), 1972.
    """
    sheet = complete({"fs": fs.value, "mms": mass.value, "sd": sd.value}, air=air)
    vas = float(sheet["vas"])
    shares = (2.0 * fs.width / fs.value, mass.width / mass.value, 2.0 * sd.width / sd.value)
    return Width(vas, vas * hypot(*shares))


def volume_from_box(*, fs: Width, qes: Width, boxed: Width, boxed_qes: Width, box: Width) -> Width:
    """Air volume of the compliance, from the driver on a tight box of known volume.

    Args:
        fs: resonance in free air [Hz].
        qes: electrical quality there [1].
        boxed: resonance on the box [Hz].
        boxed_qes: electrical quality there [1].
        box: net volume of the box [m3].

    Returns:
        Vas = Vb (fc Qec/(fs Qes) - 1) with its 95 % width [m3].

    Raises:
        OutOfRangeError: a product fc Qec that is not above fs Qes: the box leaks.

    Source: R. H. Small, JAES 20(5), 1972; free of the air's mass, which a box changes. A leak of
    the box makes fc and so Vas too low.
    """
    require_positive(fs=fs.value, qes=qes.value, boxed=boxed.value, boxed_qes=boxed_qes.value)
    require_positive(box=box.value)
    ratio = boxed.value * boxed_qes.value / (fs.value * qes.value)
    if not ratio > 1.0:
        raise OutOfRangeError(
            f"resonance times Qes on the box is {ratio:.3f} times that in free air; above 1 is "
            "wanted: the box leaks, or the curves were exchanged"
        )
    apart = hypot(*(each.width / each.value for each in (fs, qes, boxed, boxed_qes)))
    volume = box.value * (ratio - 1.0)
    share = hypot(ratio / (ratio - 1.0) * apart, box.width / box.value)
    return Width(volume, volume * share)


@dataclass(frozen=True, slots=True)
class TwinFlags:
    """Beyond what twins differ: of resonance, peak and coil resistance, each over the other [1]."""

    resonance: float
    peak: float
    resistance: float

    def __post_init__(self) -> None:
        require_positive(resonance=self.resonance, peak=self.peak, resistance=self.resistance)


@dataclass(frozen=True, slots=True)
class TwinDifference:
    """Natural logarithms of left over right, and which are flagged, largest beyond its flag first.

    resonance, peak, resistance: ln(left/right) [1]. flagged: names of these.
    """

    resonance: float
    peak: float
    resistance: float
    flagged: tuple[str, ...]


def twin_difference(left: Outline, right: Outline, *, flags: TwinFlags) -> TwinDifference:
    """Compare the drivers of two sides, both measured in the same way, free or in their places.

    Args:
        left, right: what each curve shows.
        flags: of the table of the meter's limits; a ratio beyond 1 + flag, either way
            round, is flagged.

    """
    names = ("resonance", "peak", "resistance")
    apart = {name: log(getattr(left, name) / getattr(right, name)) for name in names}
    over = {name: abs(apart[name]) / log1p(getattr(flags, name)) for name in names}
    flagged = sorted((name for name in names if over[name] > 1.0), key=lambda n: -over[n])
    return TwinDifference(**apart, flagged=tuple(flagged))
