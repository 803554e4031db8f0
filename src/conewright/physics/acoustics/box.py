"""Sound in a closed box of air: the modes of a rectangular cabin, from any source to any ear.

Rigid walls, every mode with some damping of its own (Morse and Ingard, Theoretical
Acoustics, 1968, chapter 9; Kuttruff, Room Acoustics, the chapter on wave theory). Modes above the
cut are summed at rest, where their sum has a closed form: near the source that is the direct sound
(Ewald's split of the static sum). One-way: the cabin does not load the source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from conewright.physics.acoustics.cabin import (
    HALF_SPACE,
    Opening,
    chamber_impedance,
    monopole_pressure,
)
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real
from conewright.physics.basics.validity import require_positive

__all__ = ["NEAREST", "Box", "Point", "box_modes", "box_pressure", "crowding", "distance"]

Point = tuple[Real, Real, Real]
"""A place from one corner of the box, along its length, width and height [m]."""

CUT: Final = 450.0
"""Modes are summed up to here in a cabin of up to `LARGEST` [Hz]."""

LARGEST: Final = 6.0
"""Above this the cut sinks, so that the modes are no more than those of this volume [m3]."""

NEAREST: Final = 0.1
"""No ear comes nearer to the middle of a cone than this [m]; the sound of a point holds from
there on, by rule of thumb."""

DAMPED_AT: Final = 60.0
"""The frequency at which a damping is told [Hz]."""

CACHED: Final = 20_000
"""Numbers of one array that are worked on at a time: they stay in the processor's cache. All at
once would be tens of megabytes, and fetching those from the system costs more than the sums."""

SPLIT: Final = 3.5
"""Wave number of the cut over that at which Ewald's split hands over from waves to distances: what
is left out on either side is below 5 % of a mode at the cut."""


@dataclass(frozen=True, eq=False)
class Box:
    """The modes of a box on a frequency grid, ready for any source and ear.

    Attributes:
        air: air in the box.
        size: length, width and height [m], each of shape (samples, 1).
        volume: of the air that breathes [m3], shape (samples, 1).
        frequency: the whole grid [Hz], shape (F,).
        low: which of its points have modes in any sample, shape (B,).
        orders: half waves along the three edges of each mode, shape (N, 3).
        wave, weight, loss: k [1/m], e/(LWH) [1/m3] and 2 zeta k [1/m] of each mode, shape
            (samples, N).
        rest: what of each mode the static sum holds already [1/m], shape (samples, N).
        split: Ewald's parameter [1/m], shape (samples, 1).

    """

    air: Air
    size: tuple[FloatArray, FloatArray, FloatArray]
    volume: FloatArray
    frequency: FloatArray
    low: NDArray[np.intp]
    orders: NDArray[np.intp]
    wave: FloatArray
    weight: FloatArray
    loss: FloatArray
    rest: FloatArray
    split: FloatArray


def crowding(*, volume: Real, frequency: FloatArray) -> FloatArray:
    """Share of the direct sound in the place of the modes: 0 where they stand apart, 1 in a crowd.

    Args:
        volume: of the box [m3], shape (samples, 1) or scalar.
        frequency: [Hz], shape (F,).

    Returns:
        Share [1], shape (samples, F): even in log frequency over the octave below the cut, which
        is `CUT` up to `LARGEST` and falls with the cube root of the volume above.
    """
    require_positive(volume=volume, frequency=frequency)
    octaves = np.log2(frequency / _cut(np.asarray(volume))) + 1.0
    return np.asarray(np.clip(octaves, 0.0, 1.0))


def box_modes(
    *,
    air: Air,
    length: Real,
    width: Real,
    height: Real,
    volume: Real,
    damping: Real,
    frequency: FloatArray,
) -> Box:
    """Find the modes of a box and how each answers on a grid.

    Args:
        air: air in the box.
        length, width, height: edges [m], shape (samples, 1) or scalar.
        volume: of the air that breathes [m3]: a box with seats in it holds less than its edges say.
        damping: zeta, share of critical damping of a mode at 60 Hz [1]; that of the others falls
            with the root of their frequency, half way between equal shares and equal decay times.
        frequency: in any order [Hz], shape (F,).

    Returns:
        The modes with k = pi sqrt((l/L)^2 + ...) up to the cut; each answers by
        e/(LWH) / (k^2 + (s/c)^2 + 2 zeta k s/c), e = 2 for each order above 0.

    Raises:
        OutOfRangeError: an edge, the volume, damping or frequency not above zero.
    """
    require_positive(length=length, width=width, height=height, volume=volume)
    require_positive(damping=damping, frequency=frequency)
    edges = np.broadcast_arrays(*(np.atleast_2d(each) for each in (length, width, height)))
    space = edges[0] * edges[1] * edges[2]
    cut = 2.0 * np.pi * _cut(space) / air.speed_of_sound
    orders, wave = _orders(edges, cut)
    split = cut / SPLIT
    # Beyond its own cut a mode belongs to the rest, in whichever samples others still take it.
    weight = (wave <= cut) * 2.0 ** np.count_nonzero(orders, axis=-1) / space
    # 2 zeta k of each mode, zeta falling with the root of its frequency.
    loss = 2.0 * damping * np.sqrt(2.0 * np.pi * DAMPED_AT / air.speed_of_sound * wave)
    grid = np.asarray(frequency, dtype=float)
    low = np.flatnonzero((crowding(volume=space, frequency=grid) < 1.0).any(axis=0))
    return Box(
        air=air,
        size=(edges[0], edges[1], edges[2]),
        volume=np.atleast_2d(volume),
        frequency=grid,
        low=low,
        orders=orders,
        wave=wave,
        weight=weight,
        loss=loss,
        rest=weight * -np.expm1(-((0.5 * wave / split) ** 2)) / wave**2,
        split=split,
    )


def box_pressure(
    *,
    box: Box,
    sources: Sequence[Point],
    ear: Point,
    leak_resistance: Real,
    leak_mass: Real,
    openings: Sequence[Opening] = (),
    solid_angle: float = HALF_SPACE,
) -> tuple[ComplexArray, ...]:
    """Pressure at an ear for a volume velocity of 1 m3/s of each source.

    Args:
        box: the modes.
        sources: places from a corner [m], each coordinate of shape (samples, 1) or scalar; what
            lies outside counts as at the wall.
        ear: likewise.
        leak_resistance: Rl of the leaks [Pa s/m3]; infinite for a tight box.
        leak_mass: Ml of the leaks [kg/m4].
        openings: windows and the like besides (`chamber_impedance`).
        solid_angle: what the direct sound spreads into where modes crowd [sr].

    Returns:
        For each source p/U [Pa s/m3], shape (samples, F): breathing beside the leaks, plus
        rho s (sum of modes + the rest at rest); where modes crowd, the direct sound, mostly of a
        source in a large panel, in their place (`crowding`).

    Validity: against a sum up to 4 kHz (own calculation, 4.4 m3) 0.1 dB up to 125 Hz and 0.8 dB at
    200 Hz, from 10 cm beside the source to the far end; a cabin is no box. Source and ear may
    change places.
    """
    held, at = [_held(source, box) for source in sources], _held(ear, box)
    share = crowding(volume=box.size[0] * box.size[1] * box.size[2], frequency=box.frequency)
    few = box.frequency[box.low]
    breathing: ComplexArray = chamber_impedance(
        air=box.air,
        cabin_volume=box.volume,
        leak_resistance=leak_resistance,
        leak_mass=leak_mass,
        openings=openings,
        frequency=few,
    )
    found = []
    for source, moving, still in zip(held, *_sums(box, held, at), strict=True):
        direct = monopole_pressure(
            air=box.air,
            volume_velocity=1.0,
            distance=distance(source=source, ear=at),
            solid_angle=solid_angle,
            frequency=box.frequency,
        )
        whole = share * direct
        modal = breathing + box.air.density * 2j * np.pi * few * (moving + still)
        whole[:, box.low] += (1.0 - share[:, box.low]) * modal
        found.append(whole)
    return tuple(found)


def _cut(volume: FloatArray) -> FloatArray:
    """Frequency up to which modes are summed [Hz]."""
    return np.asarray(CUT * np.minimum(1.0, LARGEST / volume) ** (1.0 / 3.0))


def _orders(edges: Sequence[FloatArray], cut: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Orders of all modes below the cut in any sample, and their wave numbers [1/m]."""
    most = [int(np.max(edge * cut) / np.pi) for edge in edges]
    every = np.stack(np.meshgrid(*(np.arange(n + 1) for n in most), indexing="ij"), axis=-1)
    orders = every.reshape(-1, 3)[1:]
    squares = [(np.pi * orders[:, axis] / edge) ** 2 for axis, edge in enumerate(edges)]
    wave = np.sqrt(squares[0] + squares[1] + squares[2])
    near = (wave <= cut).any(axis=0)
    return orders[near], wave[:, near]


def _sums(
    box: Box, sources: Sequence[Point], ear: Point
) -> tuple[list[ComplexArray], list[FloatArray]]:
    """Per source the sum of modes, shape (samples, B), and the rest, (samples, 1) [1/m]."""
    heard = _shape(box, ear)
    shapes = np.stack([_shape(box, source) * heard for source in sources], axis=1)
    modal = _modal(box, shapes)
    taken = np.matmul(shapes, box.rest[..., np.newaxis])
    still = [_near(box, source, ear) - taken[:, number] for number, source in enumerate(sources)]
    return [modal[:, number] for number in range(len(sources))], still


def _modal(box: Box, shapes: FloatArray) -> ComplexArray:
    """Sum over the modes of shape x weight/(k^2 - k0^2 + j loss k0), k0 = w/c, (samples, S, B)."""
    number = 2.0 * np.pi * box.frequency[box.low] / box.air.speed_of_sound
    # Where nothing of the box is drawn, one answer serves every place.
    samples = len(box.wave)
    rows = max(samples, len(shapes))
    found = np.empty((rows, shapes.shape[1], number.size), dtype=complex)
    step = max(1, CACHED // max(1, box.wave.shape[1] * number.size))
    for first in range(0, samples, step):
        some = slice(first, first + step)
        x = (box.wave[some] ** 2)[..., np.newaxis] - number**2
        y = -box.loss[some][..., np.newaxis] * number
        scale = x * x
        scale += y * y
        np.divide(box.weight[some][..., np.newaxis], scale, out=scale)
        x *= scale
        y *= scale
        own = shapes[some] if len(shapes) == samples else shapes
        into = found[some] if samples == rows else found
        into.real, into.imag = own @ x, own @ y
    return found


def _shape(box: Box, point: Point) -> FloatArray:
    """Height of every mode at a place, shape (samples, N): product of cos(n pi x/L)."""
    found: FloatArray = np.ones((1, len(box.orders)))
    for axis, (edge, along) in enumerate(zip(box.size, point, strict=True)):
        order = box.orders[:, axis]
        found = found * np.cos(np.arange(order.max(initial=0) + 1) * np.pi * along / edge)[:, order]
    return found


def _near(box: Box, source: Point, ear: Point) -> FloatArray:
    """What of the static sum is in distances: the source and its images in the nearest walls."""
    from scipy.special import erfc

    squares = []
    for edge, a, b in zip(box.size, source, ear, strict=True):
        squares.append(((a - b) ** 2, np.minimum(a + b, 2.0 * edge - a - b) ** 2))
    found = -1.0 / (4.0 * box.split**2 * box.size[0] * box.size[1] * box.size[2])
    for x in squares[0]:
        for y in squares[1]:
            for z in squares[2]:
                away = np.maximum(np.sqrt(x + y + z), NEAREST)
                found = found + erfc(box.split * away) / (4.0 * np.pi * away)
    return np.asarray(found)


def _held(point: Point, box: Box) -> Point:
    x, y, z = (np.clip(along, 0.0, edge) for along, edge in zip(point, box.size, strict=True))
    return x, y, z


def distance(*, source: Point, ear: Point) -> FloatArray:
    """Distance of two points [m], no shorter than what a loudspeaker's size allows."""
    squares = [(p - q) ** 2 for p, q in zip(source, ear, strict=True)]
    return np.maximum(np.sqrt(squares[0] + squares[1] + squares[2]), NEAREST)
