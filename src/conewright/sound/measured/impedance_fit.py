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
from conewright.physics.basics.peaks import highest
from conewright.physics.basics.validity import require_not_negative, require_positive
from conewright.physics.drivers.coil import (
    Coil,
    Inductor,
    PowerLaw,
    ShuntedInductor,
    TwiceShuntedInductor,
)
from conewright.physics.drivers.driver import Driver, loaded, moving_mass_in_door
from conewright.physics.electrics.conductor import COPPER_COEFFICIENT

__all__ = [
    "CoilName",
    "Fit",
    "ImpedancePoints",
    "LevelPoints",
    "ModulusPoints",
    "Mount",
    "Outline",
    "Width",
    "fit_driver",
    "outline",
]

CoilName: TypeAlias = Literal["inductor", "shunted", "power-law", "twice-shunted"]
"""Le; Le + L2||R2; K (jw)^n; Le + L2||R2 + L3||R3."""

FLOOR: Final = 0.003
"""What no jig is better than: relative error added to that of every point [1]."""

RESIDUAL: Final = 0.005
"""A model is off when its residual is above twice the noise and this [1]."""

WITHIN_95: Final = 1.96

RESISTOR: Final = 0.01
"""Limits of a resistor of 1 % [1]."""
LEAD: Final = 0.02
"""What is left of the leads once they were taken off [ohm], 95 %, by rule of thumb."""

LEAST: Final[Mapping[str, float]] = {"re": 0.015, "fs": 0.01, "qms": 0.03, "qes": 0.03}
"""Contacts, drive level and temperature: 95 % widths that no jig in a garage beats, guessed [1]."""

PEAK_BELOW: Final = 1000.0
FEWEST: Final = 20
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


@dataclass(frozen=True, slots=True, eq=False)
class ImpedancePoints:
    """An impedance with its phase: two channels of one recording, or an analyser.

    Attributes:
        frequency: rising [Hz], shape (F,).
        impedance: [ohm], shape (F,).
        error: relative standard error of each point [1], shape (F,).
        resistor: limits of the resistor it was measured against [1], which scale all of it.
        lead: limits of what the leads may still add [ohm].

    """

    frequency: FloatArray
    impedance: ComplexArray
    error: FloatArray
    resistor: float = RESISTOR
    lead: float = LEAD

    def __post_init__(self) -> None:
        _require_points(self.frequency, np.abs(self.impedance), self.error)
        require_not_negative(resistor=self.resistor, lead=self.lead)


@dataclass(frozen=True, slots=True, eq=False)
class LevelPoints:
    """What one channel knows: |Z/(Z + Rs)|, without a phase.

    Attributes:
        frequency: rising [Hz], shape (F,).
        level: |Z/(Z + Rs)| [1], shape (F,).
        series: Rs, found with a known resistor [ohm].
        error: relative standard error of each point [1], shape (F,).
        resistor: limits of Rs [1], which scale the impedance.
        lead: limits of what the leads may still add [ohm].
        drift: how far the volume may have moved between the recordings [1], 95 %.

    """

    frequency: FloatArray
    level: FloatArray
    series: float
    error: FloatArray
    resistor: float = RESISTOR
    lead: float = LEAD
    drift: float = 0.0

    def __post_init__(self) -> None:
        _require_points(self.frequency, self.level, self.error)
        require_positive(series=self.series)
        require_not_negative(resistor=self.resistor, lead=self.lead, drift=self.drift)


@dataclass(frozen=True, slots=True, eq=False)
class ModulusPoints:
    """An impedance without its phase, as many curves from elsewhere are.

    Attributes:
        frequency: rising [Hz], shape (F,).
        modulus: |Z| [ohm], shape (F,).
        error: relative standard error of each point [1], shape (F,).
        resistor: limits of the scale of all of it [1].
        lead: limits of what the leads may still add [ohm].

    """

    frequency: FloatArray
    modulus: FloatArray
    error: FloatArray
    resistor: float = RESISTOR
    lead: float = LEAD

    def __post_init__(self) -> None:
        _require_points(self.frequency, self.modulus, self.error)
        require_not_negative(resistor=self.resistor, lead=self.lead)


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
        impedance: of the fit at the points [ohm], shape (F,).
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
    impedance: ComplexArray
    mount: FloatArray
    mass: float | None


@dataclass(frozen=True, slots=True)
class Outline:
    """What can be read off a curve without any model.

    resonance: where the modulus is highest [Hz]. peak: modulus there [ohm]. resistance: lowest
    modulus below or above the peak, up to 1 kHz [ohm]: the coil's and a little of the inductance.
    qms: as the width of the peak says [1].
    """

    resonance: float
    peak: float
    resistance: float
    qms: float


Points: TypeAlias = ImpedancePoints | LevelPoints | ModulusPoints


def outline(*, frequency: FloatArray, modulus: FloatArray) -> Outline:
    """Read resonance, peak and lowest resistance off a curve: what twins are compared by.

    Args:
        frequency: rising, even in its logarithm [Hz], shape (F,).
        modulus: |Z| [ohm], shape (F,).

    Raises:
        OutOfRangeError: the highest point below 1 kHz lies at an end: the curve shows no resonance.

    Source: R. H. Small, JAES 20(5), 1972: Qms = fs sqrt(r0)/(f2 - f1) where |Z| = sqrt(Zmax Re).
    """
    _require_points(frequency, modulus, np.zeros_like(frequency))
    low = frequency <= PEAK_BELOW
    f, z = frequency[low], modulus[low]
    top = int(z.argmax()) if z.size else 0
    if not 0 < top < z.size - 1:
        raise OutOfRangeError(
            f"no resonance within {frequency[0]:g} to {min(frequency[-1], PEAK_BELOW):g} Hz: the "
            "impedance is highest at an end"
        )
    at, height = highest(x=np.log(f), y=np.log(z)[None, :])
    # The lowest point of either side: the one toward the inductance is nearer to Re.
    resistance = float(min(z.min(), modulus[top:].min()))
    peak = float(np.exp(height[0]))
    half = np.sqrt(peak * resistance)
    below, above = np.flatnonzero(z[:top] <= half), np.flatnonzero(z[top:] <= half)
    first = f[below[-1]] if below.size else f[0]
    last = f[top + above[0]] if above.size else f[-1]
    resonance = float(np.exp(at[0]))
    return Outline(
        resonance, peak, resistance, resonance * np.sqrt(peak / resistance) / (last - first)
    )


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
        they should, with resistor, leads and temperature, and never less than a garage allows.

    Raises:
        OutOfRangeError: no resonance in the curve, or no model meets it.

    """
    require_not_negative(warmth=warmth)
    if meter is not None:
        require_positive(meter=meter.value, meter_width=meter.width)
    solved = {name: _solved(points, name, mount, meter) for name in STARTS}
    bic = {name: one.chi2 + one.size * np.log(one.count) for name, one in solved.items()}
    name = min(bic, key=lambda each: bic[each])
    best = solved[name]
    noise = float(np.sqrt(np.mean(points.error**2)))
    if best.residual > 2.0 * noise + RESIDUAL:
        raise OutOfRangeError(
            f"no driver fits this curve: the nearest is {100 * best.residual:.1f} % off where "
            f"{100 * (2.0 * noise + RESIDUAL):.1f} % is allowed; contacts, a driver that touches "
            "something, or a door that was not told"
        )
    return _told(best, name, noise=noise, bic=bic, warmth=warmth, metered=meter is not None)


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


def _told(
    best: _Solved,
    name: CoilName,
    *,
    noise: float,
    bic: Mapping[CoilName, float],
    warmth: float,
    metered: bool,
) -> Fit:
    model, p = best.model, best.p
    sd = np.sqrt(np.diag(best.covariance)[:4])
    warm = COPPER_COEFFICIENT * warmth
    widths = {}
    for index, figure in enumerate(("re", "fs", "qms", "qes")):
        goes_with_re = figure in ("re", "qes")
        width = float(np.hypot(WITHIN_95 * sd[index], warm if goes_with_re else 0.0))
        least = 0.0 if metered and figure == "re" else LEAST[figure]
        value = float(np.exp(p[index]))
        widths[figure] = Width(value, value * max(width, least))
    return Fit(
        **widths,
        coil=model.coil(p),
        coil_name=name,
        residual=best.residual,
        noise=noise,
        bic=bic,
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


def _require_points(frequency: FloatArray, modulus: FloatArray, error: FloatArray) -> None:
    if not np.shape(frequency) == np.shape(modulus) == np.shape(error):
        raise OutOfRangeError("frequency, modulus and error must be of one length")
    if np.size(frequency) < FEWEST:
        raise OutOfRangeError(
            f"{np.size(frequency)} points of impedance; at least {FEWEST} are wanted"
        )
    if not np.all(np.isfinite(modulus)):
        raise OutOfRangeError("every point of impedance must be finite")
    require_positive(frequency=frequency, modulus=modulus)
    require_not_negative(error=error)
    if not np.all(np.diff(frequency) > 0.0):
        raise OutOfRangeError("frequency must rise")
