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
from conewright.physics.air import Air
from conewright.physics.arrays import Real
from conewright.physics.levels import from_decibel, level
from conewright.physics.validity import in_words, require_not_negative, require_positive

__all__ = [
    "SENSITIVITY_VOLTAGE",
    "SHEET_NAMES",
    "baffled_air_mass",
    "complete",
    "compliance_from_volume",
    "derivable",
    "derivation",
    "disagreement",
    "efficiency_from_motor",
    "efficiency_from_volume",
    "electrical_q",
    "equivalent_volume",
    "force_factor",
    "mechanical_q",
    "mechanical_resistance",
    "motional_capacitance",
    "motional_inductance",
    "motional_resistance",
    "moving_mass",
    "peak_impedance",
    "piston_area",
    "piston_diameter",
    "q_with_series_resistance",
    "resonance_frequency",
    "sensitivity",
    "total_q",
]

SENSITIVITY_VOLTAGE: Final = 2.83
"""Voltage of the usual sensitivity figure [V]: one watt into 8 ohm."""

SHEET_NAMES: Final = (
    "re", "fs", "qms", "qes", "qts", "sd", "diameter", "vas", "mms", "cms", "rms", "bl", "eta0",
    "sensitivity",
)  # fmt: skip


def piston_area(*, diameter: Real) -> Real:
    """Area [m2] of a piston of effective diameter [m]: Sd = pi d^2/4."""
    return np.pi / 4.0 * diameter**2


def piston_diameter(*, sd: Real) -> Real:
    """Effective diameter [m] of a piston of area sd [m2]."""
    return (4.0 * sd / np.pi) ** 0.5


def resonance_frequency(*, mms: Real, cms: Real) -> Real:
    """Resonance [Hz] of mass mms [kg] on compliance cms [m/N]: fs = 1/(2 pi sqrt(Mms Cms))."""
    return 1.0 / (2.0 * np.pi * (mms * cms) ** 0.5)


def moving_mass(*, fs: Real, cms: Real) -> Real:
    """Mass [kg] resonating at fs [Hz] on cms [m/N]; the same form gives cms from mms."""
    return 1.0 / ((2.0 * np.pi * fs) ** 2 * cms)


def equivalent_volume(*, cms: Real, sd: Real, air: Air) -> Real:
    """Volume of air as soft as the suspension [m3]: Vas = rho c^2 Sd^2 Cms."""
    return air.bulk_modulus * sd**2 * cms


def compliance_from_volume(*, vas: Real, sd: Real, air: Air) -> Real:
    """Suspension compliance [m/N] from vas [m3] and sd [m2]; inverse of equivalent_volume."""
    return vas / (air.bulk_modulus * sd**2)


def mechanical_q(*, fs: Real, mms: Real, rms: Real) -> Real:
    """Mechanical quality [1]: Qms = 2 pi fs Mms/Rms."""
    return 2.0 * np.pi * fs * mms / rms


def mechanical_resistance(*, fs: Real, mms: Real, qms: Real) -> Real:
    """Mechanical resistance [kg/s]: Rms = 2 pi fs Mms/Qms."""
    return 2.0 * np.pi * fs * mms / qms


def electrical_q(*, fs: Real, mms: Real, re: Real, bl: Real) -> Real:
    """Electrical quality [1]: Qes = 2 pi fs Mms Re/Bl^2."""
    return 2.0 * np.pi * fs * mms * re / bl**2


def force_factor(*, fs: Real, mms: Real, re: Real, qes: Real) -> Real:
    """Force factor [T m]: Bl = sqrt(2 pi fs Mms Re/Qes)."""
    return (2.0 * np.pi * fs * mms * re / qes) ** 0.5


def total_q(*, qms: Real, qes: Real) -> Real:
    """Total quality [1]: 1/Qts = 1/Qms + 1/Qes."""
    return qms * qes / (qms + qes)


def q_with_series_resistance(*, qes: Real, re: Real, series: Real) -> Real:
    """Electrical quality [1] with a resistance [ohm] ahead: Qes' = Qes (Re + R)/Re."""
    require_not_negative(series=series)
    return qes * (re + series) / re


def peak_impedance(*, re: Real, qms: Real, qes: Real) -> Real:
    """Impedance at resonance [ohm] without coil inductance: Re (1 + Qms/Qes)."""
    return re * (1.0 + qms / qes)


def efficiency_from_volume(*, fs: Real, vas: Real, qes: Real, air: Air) -> Real:
    """Reference efficiency in half space [1]: eta0 = 4 pi^2 fs^3 Vas/(c^3 Qes)."""
    return 4.0 * np.pi**2 * fs**3 * vas / (air.speed_of_sound**3 * qes)


def efficiency_from_motor(*, bl: Real, sd: Real, mms: Real, re: Real, air: Air) -> Real:
    """Reference efficiency in half space [1]: eta0 = rho (Bl Sd/Mms)^2/(2 pi c Re)."""
    return air.density * (bl * sd / mms) ** 2 / (2.0 * np.pi * air.speed_of_sound * re)


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


def baffled_air_mass(*, sd: Real, air: Air) -> Real:
    """Air moved by both faces of a piston in a large panel [kg]: (16/3) rho a^3, ka << 1."""
    return 16.0 / 3.0 * air.density * (sd / np.pi) ** 1.5


def motional_capacitance(*, mms: Real, bl: Real) -> Real:
    """Moving mass seen at the terminals [F]: Cmes = Mms/Bl^2."""
    return mms / bl**2


def motional_inductance(*, cms: Real, bl: Real) -> Real:
    """Compliance seen at the terminals [H]: Lces = Bl^2 Cms."""
    return bl**2 * cms


def motional_resistance(*, rms: Real, bl: Real) -> Real:
    """Mechanical resistance seen at the terminals [ohm]: Res = Bl^2/Rms."""
    return bl**2 / rms


Solver: TypeAlias = Callable[[Mapping[str, Real], Air], Real]


@dataclass(frozen=True, slots=True)
class Relation:
    """One figure of a sheet from others."""

    target: str
    inputs: tuple[str, ...]
    solve: Solver


@dataclass(frozen=True, slots=True)
class PowerLaw:
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
POWER_LAWS: Final = (
    PowerLaw({"sd": 1, "diameter": -2}, lambda _: np.pi / 4.0),
    PowerLaw({"fs": 2, "mms": 1, "cms": 1}, lambda _: 1.0 / (4.0 * np.pi**2)),
    PowerLaw({"vas": 1, "sd": -2, "cms": -1}, lambda air: air.bulk_modulus),
    PowerLaw({"qms": 1, "rms": 1, "fs": -1, "mms": -1}, lambda _: 2.0 * np.pi),
    PowerLaw({"qes": 1, "bl": 2, "fs": -1, "mms": -1, "re": -1}, lambda _: 2.0 * np.pi),
    PowerLaw({"eta0": 1, "qes": 1, "vas": -1, "fs": -3}, _volume_efficiency_constant),
    PowerLaw({"eta0": 1, "re": 1, "mms": 2, "bl": -2, "sd": -2}, _motor_efficiency_constant),
)


def _q_left(total: Real, part: Real) -> Real:
    return total * part / (part - total)


def _one_watt_level(air: Air) -> Real:
    return sensitivity(eta0=1.0, re=1.0, air=air)


RELATIONS: Final[tuple[Relation, ...]] = (
    Relation("qts", ("qms", "qes"), lambda s, _: total_q(qms=s["qms"], qes=s["qes"])),
    Relation("qes", ("qts", "qms"), lambda s, _: _q_left(s["qts"], s["qms"])),
    Relation("qms", ("qts", "qes"), lambda s, _: _q_left(s["qts"], s["qes"])),
    *(relation for law in POWER_LAWS for relation in law.relations()),
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
        first way in RELATIONS counts; `disagreement` shows by how much.

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


def disagreement(known: Mapping[str, Real], *, air: Air) -> dict[str, Real]:
    """Recompute every given figure from the others.

    Args:
        known: as for `complete`.
        air: air the sheet was measured in.

    Returns:
        Given over recomputed [1] (for sensitivity: given minus recomputed [dB]) for each figure
        that follows without itself; an exact sheet gives ones (and zero).

    Raises:
        OutOfRangeError: as `complete`.
    """
    _require_sheet(known)
    found: dict[str, Real] = {}
    for name, given in known.items():
        rest = {key: value for key, value in known.items() if key != name}
        if name not in derivable(rest):
            continue
        again = complete(rest, air=air)[name]
        found[name] = given - again if name == "sensitivity" else given / again
    return found


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
