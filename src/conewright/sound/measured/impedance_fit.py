"""The figures of a driver from a measured impedance: Re, fs, Qms, Qes and its coil.

All four models of the coil are tried by least squares on the logarithm of modulus and on the
angle, and the one of the lowest BIC is kept (G. Schwarz, Annals of Statistics 6, 1978; the error of
each point is known, so BIC = chi2 + k ln N). A wrong model of the coil does far more harm than
noise: a curve that none of them meets gives no figures.

In free air the driver stands alone. In its place the door is part of the curve: its parameters are
fitted along, held by what the caller knows of them beforehand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray
from conewright.physics.basics.validity import require_not_negative, require_positive
from conewright.physics.drivers.coil import (
    Coil,
    Inductor,
    PowerLaw,
    ShuntedInductor,
    TwiceShuntedInductor,
)
from conewright.physics.drivers.driver import (
    Driver,
    acoustic_mass_free,
    loaded,
    moving_mass_in_door,
)
from conewright.physics.electrics.conductor import COPPER_COEFFICIENT
from conewright.sound.measured.impedance_points import (
    ImpedancePoints,
    LevelPoints,
    ModulusPoints,
    Points,
    outline,
    points_up_to,
)

__all__ = [
    "WITHIN_95",
    "CoilName",
    "Fit",
    "Mount",
    "Width",
    "fit_driver",
]

CoilName: TypeAlias = Literal["inductor", "shunted", "power-law", "twice-shunted"]
"""Le; Le + L2||R2; K (jw)^n; Le + L2||R2 + L3||R3."""

FLOOR: Final = 0.003
"""What no jig is better than: relative error added to that of every point [1]."""

RESIDUAL: Final = 0.005
"""A model is off when its residual is above twice the noise and this [1]."""

WITHIN_95: Final = 1.96


LEAST: Final[Mapping[str, float]] = {"re": 0.015, "fs": 0.01, "qms": 0.03, "qes": 0.03}
"""Contacts, drive level and temperature: 95 % widths that no jig in a garage beats, guessed [1]."""

TOPS: Final = (np.inf, 5.0e3, 2.0e3)
"""No model holds for every coil at every frequency: what none meets is tried up to these [Hz]."""

MISFIT: Final[Mapping[str, float]] = {"re": 8.0, "fs": 0.1, "qms": 6.0, "qes": 6.0}
MISFIT_METERED: Final = 0.4
"""What a model that is off does to the figures, over its residual beyond the noise, and over that
with an ohm-meter [1]: the most of five coils that are none of the four (own calculation)."""

FREE_MASS: Final = 0.01
"""Any mass [kg]: in free air it divides out of the impedance."""
HELD: Final = 1e-6
"""What is known exactly is held this well, which no figure shows [1, ohm]."""
STEPS: Final = 120
"""Steps of the fit: a coil with parts to spare has no end of equally good ones."""

# Natural logarithms of the coil's parts, or of K at 1 kHz [ohm]; the exponent as it is.
STARTS: Final[Mapping[CoilName, tuple[tuple[float, ...], ...]]] = {
    "inductor": ((0.3e-3,),),
    "shunted": ((0.1e-3, 0.4e-3, 2.0), (0.2e-3, 0.2e-3, 8.0)),
    "power-law": ((1.5, 0.7),),
    "twice-shunted": (
        (0.05e-3, 0.15e-3, 6.0, 0.5e-3, 1.0),
        (0.1e-3, 0.3e-3, 20.0, 0.3e-3, 2.0),
    ),
}
AT: Final = 2.0e3 * np.pi


@dataclass(frozen=True, eq=False)
class Mount:
    """The door round a driver that is fitted in its place.

    Attributes:
        load: from what is not known of the door, shape (P,), to the acoustic load ZA on the cone at
            the frequencies of the points [Pa s/m3]: `mounted_load(...).impedance`.
        typical: natural logarithms of what is not known, as they usually are, shape (P,).
        spread: standard deviations of those [1], shape (P,), above zero.
        mms: moving mass of the driver in free air [kg].
        mass_spread: standard deviation of its logarithm [1], above zero.
        sd: cone area [m2].
        air: the air.

    """

    load: Callable[[FloatArray], Complex]
    typical: FloatArray
    spread: FloatArray
    mms: float
    mass_spread: float
    sd: float
    air: Air

    def __post_init__(self) -> None:
        require_positive(mms=self.mms, sd=self.sd, mass_spread=self.mass_spread)
        if np.size(self.spread):
            require_positive(spread=self.spread)
        if np.shape(self.typical) != np.shape(self.spread):
            raise OutOfRangeError("a mount needs one spread for each typical value")


@dataclass(frozen=True, slots=True)
class Width:
    """A figure with the half width that holds it 95 times in 100, both in its own unit."""

    value: float
    width: float


@dataclass(frozen=True, eq=False)
class Fit:
    """What a measured impedance says about a driver.

    Attributes:
        re: resistance of the coil as warm as it was [ohm].
        fs: resonance in free air [Hz].
        qms, qes: mechanical and electrical quality there [1].
        coil: model of the inductance that was kept.
        coil_name: which one that is.
        residual: of that model, rms of the logarithms [1].
        noise: of the points, rms [1].
        bic: of every model tried; the lowest was kept.
        frequency: of the points that were fitted [Hz], shape (F,): all, or those up to 5 or 2 kHz.
        impedance: of the fit there [ohm], shape (F,).
        mount: logarithms of the door's parameters, shape (P,); empty in free air.
        mass: of the driver in its mount in free air [kg]; None in free air, where no curve shows
            it.

    """

    re: Width
    fs: Width
    qms: Width
    qes: Width
    coil: Coil
    coil_name: CoilName
    residual: float
    noise: float
    bic: Mapping[CoilName, float]
    frequency: FloatArray
    impedance: ComplexArray
    mount: FloatArray
    mass: float | None


def fit_driver(
    points: Points,
    *,
    mount: Mount | None = None,
    meter: Width | None = None,
    warmth: float = 0.0,
) -> Fit:
    """Fit a driver to its impedance, in free air or in its place.

    Args:
        points: what was measured, from well below the resonance to some kilohertz.
        mount: the door round it; None in free air.
        meter: the coil's resistance by an ohm-meter with its leads taken off [ohm], 95 %.
        warmth: how well the coil's temperature was known [K], 95 %; it widens Re and Qes, which go
            with it.

    Returns:
        Figures with 95 % widths: covariance of the fit, wider where the points scatter more than
        they should or the model is off, with resistor, leads and temperature, and never less than
        a garage allows.

    Raises:
        OutOfRangeError: no resonance in the curve, or no model meets it.

    """
    require_not_negative(warmth=warmth)
    if meter is not None:
        require_positive(meter=meter.value, meter_width=meter.width)
    for top in TOPS:
        used = points_up_to(points, top=top)
        solved = {name: _solved(used, name, mount, meter) for name in STARTS}
        bic = {name: one.chi2 + one.size * np.log(one.count) for name, one in solved.items()}
        best = solved[min(bic, key=lambda each: bic[each])]
        if best.residual <= best.allowed:
            return _told(best, bic=bic, warmth=warmth)
    raise OutOfRangeError(
        f"no driver fits this curve: the nearest is {100 * best.residual:.1f} % off where "
        f"{100 * best.allowed:.1f} % is allowed; contacts, a driver that touches something, or a "
        "door that was not told"
    )


@dataclass(frozen=True, eq=False)
class _Model:
    """One coil and one mount: from parameters to impedance, and to what stays unexplained.

    Parameters: ln Re, ln fs, ln Qms, ln Qes, those of the coil, ln scale of the impedance, lead
    [ohm], ln gain of a level, and in a mount ln mass and those of the door.
    """

    points: Points
    name: CoilName
    mount: Mount | None
    meter: Width | None

    @property
    def coil_size(self) -> int:
        return len(STARTS[self.name][0])

    def coil(self, p: FloatArray) -> Coil:
        own = p[4 : 4 + self.coil_size]
        if self.name == "power-law":
            return PowerLaw(k=np.exp(own[0]) / AT ** own[1], n=own[1])
        parts = np.exp(own)
        if self.name == "inductor":
            return Inductor(le=parts[0])
        if self.name == "shunted":
            return ShuntedInductor(le=parts[0], l2=parts[1], r2=parts[2])
        return TwiceShuntedInductor(le=parts[0], l2=parts[1], r2=parts[2], l3=parts[3], r3=parts[4])

    def impedance(self, p: FloatArray) -> ComplexArray:
        """Impedance of the driver in its place, without leads [ohm]."""
        re, fs, qms, qes = np.exp(p[:4])
        mms = self.mass(p)
        w = 2.0 * np.pi * fs
        bare, sd = mms, 1.0  # in free air the sheet's mass holds all the air
        load: Complex = 0j
        if self.mount is not None:
            sd, load = self.mount.sd, self.mount.load(self.door(p))
            load = np.asarray(load)[..., : self.points.frequency.size]
            bare = float(moving_mass_in_door(mms=mms, sd=sd, air=self.mount.air))
        driver = Driver(
            re=re,
            bl=(w * mms * re / qes) ** 0.5,
            mms=bare,
            cms=1.0 / (w**2 * mms),
            rms=w * mms / qms,
            sd=sd,
            coil=self.coil(p),
        )
        return loaded(driver=driver, acoustic_load=load, frequency=self.points.frequency).impedance

    def mass(self, p: FloatArray) -> float:
        # In free air it divides out of the impedance.
        return FREE_MASS if self.mount is None else float(np.exp(p[7 + self.coil_size]))

    def door(self, p: FloatArray) -> FloatArray:
        return p[8 + self.coil_size :]

    def apart(self, p: FloatArray) -> FloatArray:
        """Logarithms of model over points, angles after moduli, unweighted."""
        scale, lead, gain = p[4 + self.coil_size : 7 + self.coil_size]
        z = self.impedance(p) * np.exp(scale) + lead
        if isinstance(self.points, LevelPoints):
            found = np.abs(z / (z + self.points.series))
            return np.asarray(gain + np.log(found / self.points.level))
        if isinstance(self.points, ModulusPoints):
            return np.asarray(np.log(np.abs(z) / self.points.modulus))
        ratio = z / self.points.impedance
        return np.concatenate([np.log(np.abs(ratio)), np.angle(ratio)])

    @property
    def weights(self) -> FloatArray:
        each = 1.0 / np.hypot(self.points.error, FLOOR)
        return np.tile(each, 2 if isinstance(self.points, ImpedancePoints) else 1)

    @property
    def held(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Which parameters are known beforehand, what they are, their standard deviations."""
        first = 4 + self.coil_size
        which, middle = [first, first + 1, first + 2], [0.0, 0.0, 0.0]
        drift = self.points.drift if isinstance(self.points, LevelPoints) else 0.0
        limits = (self.points.resistor, self.points.lead, drift)
        sigma = [max(limit, HELD) / WITHIN_95 for limit in limits]
        if self.meter is not None:
            which.append(0)
            middle.append(float(np.log(self.meter.value)))
            sigma.append(self.meter.width / self.meter.value / WITHIN_95)
        if self.mount is not None:
            which += range(first + 3, first + 4 + np.size(self.mount.typical))
            middle += [float(np.log(self.mount.mms)), *map(float, self.mount.typical)]
            sigma += [self.mount.mass_spread, *map(float, self.mount.spread)]
        return np.array(which), np.array(middle), np.array(sigma)

    def starts(self) -> list[FloatArray]:
        seen = _guess(self.points)
        doors = [] if self.mount is None else [np.log(self.mount.mms), *self.mount.typical]
        free = [np.log(self.meter.value) if self.meter else seen[0], *seen[1:]]
        found = []
        for parts in STARTS[self.name]:
            own = np.log(parts)
            if self.name == "power-law":
                own[1] = parts[1]
            found.append(np.array([*free, *own, 0.0, 0.0, 0.0, *doors]))
        return found

    def bounds(self) -> tuple[FloatArray, FloatArray]:
        """Wide enough for every driver and narrow enough for the exponential function."""
        start = self.starts()[0]
        low, high = start - 6.0, start + 6.0
        own = slice(4, 4 + self.coil_size)
        low[own], high[own] = np.log(1e-9), np.log(1e4)
        if self.name == "power-law":
            low[5], high[5] = 0.5, 1.0
        low[1:4], high[1:4] = start[1:4] - 3.0, start[1:4] + 3.0
        if self.mount is not None:
            # A cone weighs more than the air that goes with it.
            air = float(acoustic_mass_free(air=self.mount.air, sd=self.mount.sd))
            mass = 7 + self.coil_size
            low[mass] = min(max(start[mass] - 1.5, np.log(1.2 * air)), start[mass] - 0.1)
            high[mass] = start[mass] + 1.5
            low[mass + 1 :], high[mass + 1 :] = start[mass + 1 :] - 4.0, start[mass + 1 :] + 4.0
        return low, high


@dataclass(frozen=True, eq=False)
class _Solved:
    """The best parameters of one model."""

    model: _Model
    p: FloatArray
    chi2: float
    count: int
    covariance: FloatArray

    @property
    def size(self) -> int:
        """Parameters that the points alone decide."""
        return 4 + self.model.coil_size

    @property
    def residual(self) -> float:
        return float(np.sqrt(np.mean(self.model.apart(self.p) ** 2)))

    @property
    def noise(self) -> float:
        return float(np.sqrt(np.mean(self.model.points.error**2)))

    @property
    def allowed(self) -> float:
        return 2.0 * self.noise + RESIDUAL

    @property
    def excess(self) -> float:
        """Residual beyond what noise may do by chance."""
        chance = self.noise**2 * (1.0 + 2.0 * np.sqrt(2.0 / self.count))
        return float(np.sqrt(max(self.residual**2 - chance, 0.0)))


def _solved(points: Points, name: CoilName, mount: Mount | None, meter: Width | None) -> _Solved:
    from scipy.optimize import least_squares

    model = _Model(points, name, mount, meter)
    weights, (which, middle, sigma) = model.weights, model.held

    def off(p: FloatArray) -> FloatArray:
        return np.concatenate([weights * model.apart(p), (p[which] - middle) / sigma])

    tried = [
        least_squares(off, start, bounds=model.bounds(), max_nfev=STEPS) for start in model.starts()
    ]
    best = min(tried, key=lambda each: float(each.cost))
    p, slopes, count = np.asarray(best.x), np.asarray(best.jac), weights.size
    chi2 = float(np.sum(best.fun[:count] ** 2))
    freedom = max(count - 4 - model.coil_size, 1)
    # Scatter beyond the stated errors widens what the points say, not what was known before.
    told = slopes[:count].T @ slopes[:count] / max(1.0, chi2 / freedom)
    known = slopes[count:].T @ slopes[count:]
    return _Solved(model, p, chi2, count, np.linalg.pinv(told + known, hermitian=True))


def _told(best: _Solved, *, bic: Mapping[CoilName, float], warmth: float) -> Fit:
    model, p = best.model, best.p
    metered = model.meter is not None
    excess = best.excess * (MISFIT_METERED if metered else 1.0)
    sd = np.sqrt(np.diag(best.covariance)[:4])
    warm = COPPER_COEFFICIENT * warmth
    widths = {}
    for index, figure in enumerate(("re", "fs", "qms", "qes")):
        goes_with_re = figure in ("re", "qes")
        parts = [WITHIN_95 * sd[index], MISFIT[figure] * excess, warm if goes_with_re else 0.0]
        width = float(np.linalg.norm(parts))
        least = 0.0 if metered and figure == "re" else LEAST[figure]
        value = float(np.exp(p[index]))
        widths[figure] = Width(value, value * max(width, least))
    return Fit(
        **widths,
        coil=model.coil(p),
        coil_name=model.name,
        residual=best.residual,
        noise=best.noise,
        bic=bic,
        frequency=model.points.frequency,
        impedance=model.impedance(p),
        mount=model.door(p),
        mass=None if model.mount is None else model.mass(p),
    )


def _guess(points: Points) -> list[float]:
    """Logarithms of Re, fs, Qms and Qes as the curve shows them."""
    if isinstance(points, LevelPoints):
        level = np.minimum(points.level, 0.999)
        modulus = points.series * level / (1.0 - level)
    elif isinstance(points, ModulusPoints):
        modulus = points.modulus
    else:
        modulus = np.abs(points.impedance)
    even = np.geomspace(points.frequency[0], points.frequency[-1], max(points.frequency.size, 60))
    seen = outline(
        frequency=even, modulus=np.exp(np.interp(even, points.frequency, np.log(modulus)))
    )
    ratio = max(seen.peak / seen.resistance, 1.1)
    qms = float(np.clip(seen.qms, 0.3, 50.0))
    return [float(np.log(x)) for x in (seen.resistance, seen.resonance, qms, qms / (ratio - 1.0))]
