"""Relations between the figures of a driver's data sheet, and completing a sheet from a few.

A sheet is a mapping of these names, all in SI units:

    re [ohm]  fs [Hz]  qms qes qts [1]  sd [m2]  diameter [m]  vas [m3]  mms [kg]  cms [m/N]
    rms [kg/s]  bl [T m]  eta0 [1]  sensitivity [dB re 20 uPa at 2.83 V, 1 m, half space]

Source: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", J. Audio Eng. Soc. 20(5),
1972. Valid for a rigid piston small against the wavelength, at small signals.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Real
from conewright.physics.basics.levels import from_decibel, level
from conewright.physics.basics.validity import in_words, require_positive

__all__ = [
    "SENSITIVITY_VOLTAGE",
    "SHEET_NAMES",
    "complete",
    "derivable",
    "derivation",
    "remeasured",
    "sensitivity",
    "total_q",
]

SENSITIVITY_VOLTAGE: Final = 2.83
"""Voltage of the usual sensitivity figure [V]: one watt into 8 ohm."""

SHEET_NAMES: Final = (
    "re", "fs", "qms", "qes", "qts", "sd", "diameter", "vas", "mms", "cms", "rms", "bl", "eta0",
    "sensitivity",
)  # fmt: skip


def total_q(*, qms: Real, qes: Real) -> Real:
    """Total quality [1]: 1/Qts = 1/Qms + 1/Qes."""
    return qms * qes / (qms + qes)


def sensitivity(
    *, eta0: Real, re: Real, air: Air, voltage: Real = SENSITIVITY_VOLTAGE, distance: Real = 1.0
) -> Real:
    """Level of a driver in a large panel, mid-band.

    Args:
        eta0: reference efficiency [1].
        re: coil resistance [ohm].
        air: air.
        voltage: rms voltage [V]; sqrt(re) gives the level of one watt in the coil.
        distance: listening distance [m].

    Returns:
        Level [dB re 20 uPa]: p^2 = rho c eta0 V^2/(Re 2 pi r^2).
    """
    power = eta0 * voltage**2 / re
    return level((air.characteristic_impedance * power / (2.0 * np.pi)) ** 0.5 / distance)


Solver: TypeAlias = Callable[[Mapping[str, Real], Air], Real]


@dataclass(frozen=True, slots=True)
class Relation:
    """One figure of a sheet from others."""

    target: str
    inputs: tuple[str, ...]
    solve: Solver


@dataclass(frozen=True, slots=True)
class ProductLaw:
    """A relation of the form product of x^power = constant; solvable for every member."""

    powers: Mapping[str, float]
    constant: Callable[[Air], Real]

    def relations(self) -> list[Relation]:
        """Return the law solved for each of its members."""
        return [self._solved_for(target) for target in self.powers]

    def _solved_for(self, target: str) -> Relation:
        inputs = tuple(name for name in self.powers if name != target)

        def solve(sheet: Mapping[str, Real], air: Air) -> Real:
            rest = self.constant(air)
            for name in inputs:
                rest = rest / sheet[name] ** self.powers[name]
            return rest ** (1.0 / self.powers[target])

        return Relation(target, inputs, solve)


def _volume_efficiency_constant(air: Air) -> Real:
    return 4.0 * np.pi**2 / air.speed_of_sound**3


def _motor_efficiency_constant(air: Air) -> Real:
    return air.density / (2.0 * np.pi * air.speed_of_sound)


# The order is the order of trust when a sheet offers several ways: quality factors and
# resonance first, since they are measured; efficiencies last, since they are sums of errors.
PRODUCT_LAWS: Final = (
    ProductLaw({"sd": 1, "diameter": -2}, lambda _: np.pi / 4.0),
    ProductLaw({"fs": 2, "mms": 1, "cms": 1}, lambda _: 1.0 / (4.0 * np.pi**2)),
    ProductLaw({"vas": 1, "sd": -2, "cms": -1}, lambda air: air.bulk_modulus),
    ProductLaw({"qms": 1, "rms": 1, "fs": -1, "mms": -1}, lambda _: 2.0 * np.pi),
    ProductLaw({"qes": 1, "bl": 2, "fs": -1, "mms": -1, "re": -1}, lambda _: 2.0 * np.pi),
    ProductLaw({"eta0": 1, "qes": 1, "vas": -1, "fs": -3}, _volume_efficiency_constant),
    ProductLaw({"eta0": 1, "re": 1, "mms": 2, "bl": -2, "sd": -2}, _motor_efficiency_constant),
)


def _q_left(total: Real, part: Real) -> Real:
    return total * part / (part - total)


def _one_watt_level(air: Air) -> Real:
    return sensitivity(eta0=1.0, re=1.0, air=air)


RELATIONS: Final[tuple[Relation, ...]] = (
    Relation("qts", ("qms", "qes"), lambda s, _: total_q(qms=s["qms"], qes=s["qes"])),
    Relation("qes", ("qts", "qms"), lambda s, _: _q_left(s["qts"], s["qms"])),
    Relation("qms", ("qts", "qes"), lambda s, _: _q_left(s["qts"], s["qes"])),
    *(relation for law in PRODUCT_LAWS for relation in law.relations()),
    Relation(
        "sensitivity",
        ("eta0", "re"),
        lambda s, air: sensitivity(eta0=s["eta0"], re=s["re"], air=air),
    ),
    Relation(
        "eta0",
        ("sensitivity", "re"),
        lambda s, air: s["re"] * from_decibel(s["sensitivity"] - _one_watt_level(air)),
    ),
    Relation(
        "re",
        ("sensitivity", "eta0"),
        lambda s, air: s["eta0"] * from_decibel(_one_watt_level(air) - s["sensitivity"]),
    ),
)


def derivation(known: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Say how a sheet is completed.

    Args:
        known: names given.

    Returns:
        Each name that follows, in the order found, with the names it is computed from.
    """
    return {step.target: step.inputs for step in _plan(known)}


def derivable(known: Iterable[str]) -> set[str]:
    """Names that are given or follow from those given."""
    names = set(known)
    return names | {step.target for step in _plan(names)}


def complete(known: Mapping[str, Real], *, air: Air) -> dict[str, Real]:
    """Complete a sheet as far as it goes; figures given are never changed.

    Args:
        known: some of SHEET_NAMES, scalars or arrays that broadcast together [SI].
        air: air the sheet was measured in.

    Returns:
        The figures given and all that follow from them. Where a sheet contradicts itself the
        first way in RELATIONS counts.

    Raises:
        OutOfRangeError: a name not of a sheet, a figure not above zero (sensitivity: not
            finite), or a total quality, given or derived, not below the mechanical and the
            electrical one.
    """
    sheet = dict(known)
    _require_sheet(sheet)
    for step in _plan(sheet):
        sheet[step.target] = step.solve(sheet, air)
        _require_figure(step.target, sheet[step.target])
        _require_qualities(sheet)
    return sheet


HELD: Final = ("sd", "mms", "re", "cms", "rms", "bl")
"""What a driver keeps while others of its figures turn out different, the surest first: cone and
mass do not age, and a quality factor tells of loss or motor where the resonance is known."""


def remeasured(sheet: Mapping[str, Real], *, own: Mapping[str, Real], air: Air) -> dict[str, Real]:
    """Return the figures of one driver of a type, of which some were measured by themselves.

    Args:
        sheet: whole, of the type, as `complete` returns it [SI].
        own: measured of this one, none of them following from the others [SI].
        air: air the figures were measured in.

    Returns:
        Every figure. What was not measured is held in the order of HELD, as far as it does not
        follow: another fs alone leaves mass and motor and changes the suspension.

    Raises:
        OutOfRangeError: as `complete`.
    """
    known = dict(own)
    for name in HELD:
        if name not in derivable(known):
            known[name] = sheet[name]
    return complete(known, air=air)


def _plan(known: Iterable[str]) -> list[Relation]:
    names = set(known)
    steps: list[Relation] = []
    while step := _next_step(names):
        steps.append(step)
        names.add(step.target)
    return steps


def _next_step(names: set[str]) -> Relation | None:
    for relation in RELATIONS:
        if relation.target not in names and names.issuperset(relation.inputs):
            return relation
    return None


def _require_sheet(sheet: Mapping[str, Real]) -> None:
    unknown = sorted(set(sheet) - set(SHEET_NAMES))
    if unknown:
        raise OutOfRangeError(f"not figures of a driver sheet: {', '.join(unknown)}")
    for name, value in sheet.items():
        _require_figure(name, value)
    _require_qualities(sheet)


def _require_figure(name: str, value: Real) -> None:
    if name != "sensitivity":
        require_positive(**{name: value})
    if not np.all(np.isfinite(value)):
        raise OutOfRangeError(f"{name} must be finite, got {in_words(value)}")


def _require_qualities(sheet: Mapping[str, Real]) -> None:
    for part in ("qms", "qes"):
        if "qts" in sheet and part in sheet and not np.all(np.less(sheet["qts"], sheet[part])):
            raise OutOfRangeError(f"qts must be below {part}")
