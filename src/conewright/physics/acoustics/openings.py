"""Openings of a door: round holes, narrow slits and the grille, as acoustic impedances.

Impedance analogy: pressure [Pa] over volume velocity [m3/s]. The viscous profile in a hole is
the exact one of a long channel (C. Zwikker and C. W. Kosten, Sound Absorbing Materials, 1949;
M. R. Stinson, J. Acoust. Soc. Am. 89, 1991; from memory). Openings are returned as admittances,
so that a closed one is an exact zero.
"""

from functools import cache
from typing import Final

import numpy as np

from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real
from conewright.physics.basics.laplace import angular_frequency, laplace

__all__ = [
    "end_correction",
    "grille_admittance",
    "holes_admittance",
    "interaction",
    "practical_loss",
    "radiation_mass",
    "radiation_resistance",
    "slit_admittance",
]

WALL_FROM: Final = 18.0
"""Shear number above which opposite walls do not feel each other: exp(-sqrt(2) 18) < 1e-11."""

TANH_FROM: Final = 0.05
"""Shear number above which 1 - tanh(q)/q is computed as it stands, without loss of digits."""

ASYMPTOTIC_TERMS: Final = 11

GRILLE_THICKNESS: Final = 2.0e-3
GRILLE_HOLE_RADIUS: Final = 1.5e-3
GRILLE_END: Final = 1.64
GRILLE_LARGEST_SHARE: Final = 0.75
"""Open share up to which the interaction of neighbouring holes is fitted [1]."""


def end_correction(*, radius: Real, thickness: Real) -> Real:
    """Length of plate that the air outside both ends of a round hole adds to its inertance.

    Args:
        radius: of the hole, any shape [m].
        thickness: of the plate, any shape that broadcasts [m].

    Returns:
        dl = (1.643 - 0.0722/(1 + 10 t/a)) a [m].

    Source: fitted to our own static mode matching (24 modes): pi/2 at t = 0, which is exact,
    1.610 at t/a = 0.1, 1.643 from t/a = 1; inside Rayleigh's bounds 1.571 a to 1.698 a (from
    memory) and consistent with A. S. Brandao and W. A. Schnitzer, arXiv 2001.04904.
    """
    return (1.643 - 0.0722 / (1.0 + 10.0 * thickness / radius)) * radius


def interaction(share: Real) -> Real:
    """Factor by which neighbours shorten the end correction of the holes of a grille.

    Args:
        share: open area over whole area [1].

    Returns:
        psi = 1 - 1.13 e - 0.09 e^2 + 0.27 e^3, e = sqrt(4 s/pi), s at most 0.75 [1].

    Source: series for a square pattern, e = diameter over pitch (from memory).
    """
    e = np.sqrt(4.0 * np.minimum(share, GRILLE_LARGEST_SHARE) / np.pi)
    psi: FloatArray = 1.0 - 1.13 * e - 0.09 * e**2 + 0.27 * e**3
    return psi


def radiation_mass(*, radius: Real, air: Air) -> Real:
    """Acoustic mass of the air in front of a round piston in a large panel, one side.

    Args:
        radius: of the piston, any shape [m].
        air: the air.

    Returns:
        8 rho/(3 pi^2 a) [kg/m4], the low-frequency limit of the baffled piston.
    """
    return 8.0 * air.density / (3.0 * np.pi**2 * radius)


def radiation_resistance(*, frequency: Real, air: Air) -> FloatArray:
    """Acoustic resistance of a small source in a large panel.

    Args:
        frequency: shape (F,) [Hz].
        air: the air.

    Returns:
        rho w^2/(2 pi c), shape (F,) [Pa s/m3], the low-frequency limit of the baffled piston.

    Raises:
        OutOfRangeError: f <= 0.
    """
    return np.asarray(
        air.density * angular_frequency(frequency) ** 2 / (2.0 * np.pi * air.speed_of_sound)
    )


def practical_loss(*, mass: Real, compliance: Real, quality: Real) -> Real:
    """Resistance that gives an opening and its cavity the Q that real doors show.

    Args:
        mass: acoustic mass M of the opening, any shape [kg/m4].
        compliance: C of the cavity, any shape [m3/Pa]; inf gives 0.
        quality: Q of the resonance, any shape [1]; inf gives 0.

    Returns:
        R = sqrt(M/C)/Q [Pa s/m3].
    """
    return np.sqrt(mass / compliance) / quality


def holes_admittance(
    *,
    area: Real,
    count: Real,
    thickness: Real,
    air: Air,
    frequency: Real,
    film: Real = 0.0,
    compliance: Real = np.inf,
    quality: Real = np.inf,
) -> ComplexArray:
    """Admittance of n equal round holes, with a film over them and the loss of real doors.

    Args:
        area: of all holes together, shape (samples, 1) or scalar [m2]; 0 is closed.
        count: n, shape (samples, 1) or scalar [1].
        thickness: of the sheet, shape (samples, 1) or scalar [m].
        air: the air.
        frequency: shape (F,) [Hz].
        film: surface mass of a limp cover, shape (samples, 1) or scalar [kg/m2].
        compliance: of the cavity behind, for the practical loss [m3/Pa].
        quality: Q of holes and cavity, for the practical loss [1].

    Returns:
        Shape (samples, F) or (F,) [m3/(Pa s)].

    Raises:
        OutOfRangeError: f <= 0.

    Equation: Z = [s rho t P(x) + s rho dl + s m'' + 2 Rs]/S + R, with the viscous profile
    P = 1/(1 - 2 J1(z)/(z J0(z))) at z = sqrt(-j) x, x = a sqrt(w rho/mu),
    dl = `end_correction`, Rs = sqrt(mu rho w/2) and R = `practical_loss`
    for M = (rho (t + dl) + m'')/S. No radiation mass on top: it is the outer half of dl.
    """
    if not np.any(area):
        return _closed(area, frequency)
    # A closed hole of a sampled set gets some radius to compute with; its area makes it zero.
    opened = np.where(np.asarray(area) > 0.0, area, 1.0)
    w = angular_frequency(frequency)
    radius = np.sqrt(opened / (count * np.pi))
    ends = air.density * end_correction(radius=radius, thickness=thickness) + film
    plug = air.density * np.asarray(thickness)
    loss = practical_loss(mass=(plug + ends) / opened, compliance=compliance, quality=quality)
    skin = np.sqrt(2.0 * w) * np.sqrt(air.viscosity * air.density)
    real, imag = _hole_parts(radius * np.sqrt(w * (air.density / air.viscosity)))
    return _admittance(
        area=area,
        resistance=skin + loss * opened - (w * plug) * imag,
        reactance=w * ends + (w * plug) * real,
    )


def slit_admittance(
    *, area: Real, length: Real, depth: Real, air: Air, frequency: Real
) -> ComplexArray:
    """Admittance of a long narrow gap.

    Args:
        area: opening of the gap, shape (samples, 1) or scalar [m2]; 0 is closed.
        length: of the gap along the edge, shape (samples, 1) or scalar [m].
        depth: length of the way through it, shape (samples, 1) or scalar [m].
        air: the air.
        frequency: shape (F,) [Hz].

    Returns:
        Shape (samples, F) or (F,) [m3/(Pa s)].

    Raises:
        OutOfRangeError: f <= 0.

    Equation: Z = s rho t/(h l (1 - tanh(q)/q)), h = S/l, q = (h/2) sqrt(s rho/mu); limits
    12 mu t/(h^3 l) and 6/5 rho t/(h l) of a thin gap.
    """
    if not np.any(area):
        return _closed(area, frequency)
    opened = np.where(np.asarray(area) > 0.0, area, 1.0)
    w = angular_frequency(frequency)
    half_height = 0.5 * opened / length
    real, imag = _slit_parts(half_height * np.sqrt(w * (air.density / air.viscosity)))
    plug = w * (air.density * np.asarray(depth))
    return _admittance(area=area, resistance=-plug * imag, reactance=plug * real)


def grille_admittance(
    *,
    area: Real,
    extent: Real,
    gap: Real,
    resistance: Real,
    sd: Real,
    air: Air,
    frequency: Real,
) -> ComplexArray:
    """Admittance from the cone through the air before it and the grille into the cabin.

    Args:
        area: open area S_g of the grille, shape (samples, 1) or scalar [m2]; 0 is closed.
        extent: area S_x over which the openings are spread [m2].
        gap: g from the driver's frame to the grille [m].
        resistance: specific flow resistance r of grille and cloth [Pa s/m].
        sd: cone area [m2].
        air: the air.
        frequency: shape (F,) [Hz].

    Returns:
        Shape (samples, F) or (F,) [m3/(Pa s)].

    Raises:
        OutOfRangeError: f <= 0.

    Equation: Z = s [rho (tg + 1.64 ah psi)/S_g + rho g/((Sd + S_x)/2) + 8 rho/(3 pi^2 ax)]
    + r/S_g + rho w^2/(2 pi c), ax = sqrt(S_x/pi), psi = `interaction` at S_g/S_x, holes of
    ah = 1.5 mm in tg = 2 mm. Lumped: good to about c over six times the width (400 Hz), above
    only a trend.
    """
    if not np.any(area):
        return _closed(area, frequency)
    opened = np.where(np.asarray(area) > 0.0, area, 1.0)
    neighbours = interaction(opened / extent)
    plate = air.density * (GRILLE_THICKNESS + GRILLE_END * GRILLE_HOLE_RADIUS * neighbours)
    before = air.density * gap / (0.5 * (sd + extent))
    outside = radiation_mass(radius=np.sqrt(extent / np.pi), air=air)
    w = angular_frequency(frequency)
    radiated = radiation_resistance(frequency=frequency, air=air)
    return _admittance(
        area=area,
        resistance=resistance + opened * radiated,
        reactance=w * (plate + opened * (before + outside)),
    )


def _admittance(*, area: Real, resistance: FloatArray, reactance: FloatArray) -> ComplexArray:
    """S/(R + jX), in real arithmetic: half the time of a complex division."""
    scale = area / (resistance**2 + reactance**2)
    result = np.empty(scale.shape, dtype=np.complex128)
    result.real = scale * resistance
    result.imag = -scale * reactance
    return result


def _closed(area: Real, frequency: Real) -> ComplexArray:
    return np.asarray(area * laplace(frequency))


def _hole_parts(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Inertance of a round tube over that of a plug of the same air, real and imaginary part.

    With q = sqrt(j) x it is P = I0(q)/I2(q) = 1 + 2 D/q^2, D = 4 + q^2/(6 + q^2/(8 + ...)); above
    WALL_FROM the series of I1/I0 in 1/q. Relative error below 1e-10 everywhere.
    """
    # The common case is computed everywhere: that is cheaper than picking it out.
    inverse = 1.0 / np.maximum(x, WALL_FROM)
    series = _wide_hole_series()
    real, imag = _horner(inverse, series.real), _horner(inverse, series.imag)
    narrow = x < WALL_FROM
    if narrow.any():
        square = np.asarray(1j * x[narrow] ** 2)
        profile = 1.0 + 2.0 * _fraction(square, first=4) / square
        real[narrow], imag[narrow] = profile.real, profile.imag
    return real, imag


def _slit_parts(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Inertance of a narrow slit over that of a plug of the same air, real and imaginary part.

    With q = sqrt(j) x it is 1/(1 - tanh(q)/q); below TANH_FROM as 1 + D/q^2,
    D = 3 + q^2/(5 + q^2/(7 + ...)).
    """
    real, imag = _open_slit(np.maximum(x, TANH_FROM))
    thin = x < TANH_FROM
    if thin.any():
        square = np.asarray(1j * x[thin] ** 2)
        profile = 1.0 + _fraction(square, first=3) / square
        real[thin], imag[thin] = profile.real, profile.imag
    return real, imag


def _fraction(square: ComplexArray, *, first: int) -> ComplexArray:
    """Gauss's fraction first + q^2/(first + 2 + q^2/(first + 4 + ...)) of two Bessel functions.

    Source: F. W. J. Olver and others, NIST Digital Library of Mathematical Functions, 10.33.1;
    begun far enough down for 1e-13.
    """
    depth = 12 + int(np.sqrt(np.abs(square).max()))
    tail = np.full(square.shape, first + 2.0 * depth, dtype=np.complex128)
    for step in range(depth - 1, -1, -1):
        np.divide(square, tail, out=tail)
        tail += first + 2.0 * step
    return tail


def _horner(x: FloatArray, coefficients: FloatArray) -> FloatArray:
    total = np.full(x.shape, coefficients[-1])
    for coefficient in coefficients[-2::-1]:
        total *= x
        if coefficient:
            total += coefficient
    return total


@cache
def _wide_hole_series() -> ComplexArray:
    """Coefficients of the profile of a round hole in powers of 1/shear, for large shear numbers.

    R = I1/I0 obeys R' = 1 - R/q - R^2 (DLMF 10.29), which gives its series c_m q^-m term by
    term: 2 c_m = (m - 2) c_(m-1) - sum of c_k c_(m-k). Then P (1 - 2 R/q) = 1 gives that of P.
    """
    c, p = [1.0], [1.0]
    for m in range(1, ASYMPTOTIC_TERMS):
        c.append(0.5 * ((m - 2) * c[m - 1] - sum(c[k] * c[m - k] for k in range(1, m))))
        p.append(2.0 * sum(c[k] * p[m - 1 - k] for k in range(m)))
    # q = sqrt(j) shear; by table, so that every second real or imaginary part is an exact zero.
    half = np.sqrt(0.5)
    turns = np.array(
        [1, half * (1 - 1j), -1j, half * (-1 - 1j), -1, half * (-1 + 1j), 1j, half * (1 + 1j)]
    )
    return np.asarray(np.asarray(p) * np.resize(turns, ASYMPTOTIC_TERMS))


def _open_slit(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """1/(1 - tanh(q)/q) at q = a (1 + j), a = x/sqrt(2), without overflow.

    tanh(q) = (h + j t)/(1 + j h t) with h = tanh(a), t = tan(a), and 1/q = (1 - j)/(2 a), so that
    1 - tanh(q)/q = (n - rise - turn + j (rise - turn))/n with the values below.
    """
    a = np.sqrt(0.5) * x
    h, t = np.tanh(a), np.tan(a)
    h2, t2 = h * h, t * t
    n = 2.0 * a * (1.0 + h2 * t2)
    rise = h * (1.0 + t2)
    turn = t * (1.0 - h2)
    real, imag = n - rise - turn, rise - turn
    scale = n / (real * real + imag * imag)
    return np.asarray(scale * real), np.asarray(-scale * imag)
