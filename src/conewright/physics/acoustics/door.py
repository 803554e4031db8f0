"""The door around a driver: acoustic load on the cone and share of its output that is heard.

Nodes: rear (between the panels), front (between cone and grille), trim (behind the trim panel);
ground is outside, and the cabin is taken at zero pressure. For a unit volume velocity of the
cone (+1 into the front node, -1 into the rear node) the node equations are solved in closed form.
Lumped elements; impedance analogy; a volume velocity out toward the listener counts positive.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Final

import numpy as np

from conewright.physics.acoustics.openings import (
    grille_admittance,
    holes_admittance,
    radiation_mass,
    slit_admittance,
)
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, Real
from conewright.physics.basics.laplace import laplace
from conewright.physics.drivers.driver import piston_radius

__all__ = [
    "FILL_FREQUENCY",
    "FREE",
    "LEAK_DEPTH",
    "LEAK_LENGTH",
    "MountedLoad",
    "leaking",
    "mounted_load",
]

FILL_FREQUENCY: Final = 80.0
"""Frequency at which the Q of a filled cavity is stated [Hz]."""


LEAK_LENGTH: Final = 0.25
LEAK_DEPTH: Final = 0.0015
"""Usual length of the slits of a torn surround or a loose frame, and of the way through [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class MountedLoad:
    """What a mount does to the driver in it, shape (samples, F), (F,) or scalar.

    Args:
        impedance: ZA = (pf - pr)/U, acoustic load on the cone [Pa s/m3].
        share: H, volume velocity that reaches the cabin over that of the cone [1].
        flows: volume velocity out through each opening over that of the cone [1]: `drains` and
            `panel` out of the rear, `grille` and `edge` into the cabin.
    """

    impedance: Complex
    share: Complex
    flows: Mapping[str, Complex] = field(default_factory=dict)


FREE: Final = MountedLoad(impedance=0j, share=1.0 + 0j, flows={})
"""No load beyond what the driver's sheet contains: free air, or a closed cup of its own."""


def mounted_load(
    *,
    air: Air,
    sd: Real,
    ring: bool,
    rear_volume: Real,
    rear_q: Real,
    drain_area: Real,
    drain_count: Real,
    drain_q: Real,
    panel_area: Real,
    panel_count: Real,
    panel_q: Real,
    cover_mass: Real,
    steel: Real,
    grille_area: Real,
    grille_extent: Real,
    trim_gap: Real,
    grille_resistance: Real,
    front_volume: Real,
    trim_volume: Real,
    edge_area: Real,
    edge_length: Real = 2.5,
    edge_depth: Real = 0.03,
    leak_area: Real = 0.0,
    leak_length: Real = LEAK_LENGTH,
    leak_depth: Real = LEAK_DEPTH,
    into_cabin: bool = False,
    frequency: Real,
) -> MountedLoad:
    """Acoustic load and output share of a driver in a door, panel, shelf or roof, or over a boot.

    Every value is a scalar or of shape (samples, 1).

    Args:
        air: the air.
        sd: cone area [m2].
        ring: a ring seals the driver's front to the trim; without it front and trim are one.
        rear_volume: between the panels [m3]; inf is an infinite baffle.
        rear_q: Q of that cavity at FILL_FREQUENCY [1].
        drain_area: drains, rear to outside, total [m2]; 0 is closed.
        drain_count: number of equal round drains [1].
        drain_q: Q of drains and cavity in practice [1].
        panel_area: holes of the inner panel, rear to trim, total [m2]; 0 is closed.
        panel_count: number of equal round holes [1].
        panel_q: Q of these holes and the cavity in practice [1].
        cover_mass: film or patch over these holes [kg/m2].
        steel: thickness of the sheet [m].
        grille_area: open area of the grille [m2]; 0 is closed.
        grille_extent: area over which the openings are spread [m2].
        trim_gap: driver's frame to grille [m].
        grille_resistance: specific flow resistance of the grille [Pa s/m].
        front_volume: between cone and grille, with a ring [m3], above 0.
        trim_volume: behind the trim panel [m3], above 0.
        edge_area: gap round the trim panel, trim to cabin [m2]; 0 is closed.
        edge_length: length of that gap [m].
        edge_depth: length of the way through it [m].
        leak_area: slits from the front of the cone to its rear, through a torn surround or round a
            loose frame, total [m2]; 0 is closed.
        leak_length: length of these slits [m].
        leak_depth: length of the way through them [m].
        into_cabin: the panel holes lead straight into the cabin, as from a boot; there is no trim
            then, nor an edge of it.
        frequency: shape (F,) [Hz].

    Returns:
        Load and share, shape (samples, F) or (F,).

    Raises:
        OutOfRangeError: f <= 0.

    Equations: node equations solved by hand, see `_with_ring` and `_without_ring`;
    ZA = pf - pr + s 8 rho/(3 pi^2 a), H = (flow of grille and edge)/U. The driver's moving mass
    must be bare of air (`moving_mass_in_door`). Cabin at zero pressure: at most 0.5 dB (own
    calculation). A closed cavity of infinite volume, closed openings and no cover are exact.
    """
    s = laplace(frequency)
    compliance = np.asarray(rear_volume) / air.bulk_modulus
    holes = partial(
        holes_admittance, thickness=steel, air=air, frequency=frequency, compliance=compliance
    )
    drains = holes(area=drain_area, count=drain_count, quality=drain_q)
    panel = holes(area=panel_area, count=panel_count, quality=panel_q, film=cover_mass)
    grille = grille_admittance(
        area=grille_area,
        extent=grille_extent,
        gap=trim_gap,
        resistance=grille_resistance,
        sd=sd,
        air=air,
        frequency=frequency,
    )
    edge = slit_admittance(
        area=edge_area, length=edge_length, depth=edge_depth, air=air, frequency=frequency
    )
    # 1/(sC) + R with R = 1/(w80 C Q): only a factor per sample over one per frequency.
    fill = 1.0 / (2.0 * np.pi * FILL_FREQUENCY * np.asarray(rear_q))
    cavity = (1.0 / s + fill) * (1.0 / compliance)
    trim = s * (trim_volume / air.bulk_modulus)
    if into_cabin:
        front = s * (front_volume / air.bulk_modulus)
        nodes = _over_boot(cavity=cavity, drains=drains, panel=panel, front=front, grille=grille)
    elif ring:
        front = s * (front_volume / air.bulk_modulus)
        nodes = _with_ring(
            cavity=cavity,
            drains=drains,
            panel=panel,
            front=front,
            grille=grille,
            trim=trim,
            edge=edge,
        )
    else:
        nodes = _without_ring(
            cavity=cavity, drains=drains, panel=panel, trim=trim, grille=grille, edge=edge
        )
    slit = partial(slit_admittance, length=leak_length, depth=leak_depth)
    nodes = leaking(nodes=nodes, leak=slit(area=leak_area, air=air, frequency=frequency))
    behind = s * radiation_mass(radius=piston_radius(sd=sd), air=air)
    return replace(nodes, impedance=nodes.impedance + behind)


def leaking(*, nodes: MountedLoad, leak: ComplexArray) -> MountedLoad:
    """Let some of the cone's flow go back through a leak from its front to its rear.

    Args:
        nodes: the mount without the leak.
        leak: admittance Yl of the slits, shape (samples, F) or (F,); zero is none [m3/(Pa s)].

    Returns:
        The mount with U' = U/(1 + Yl (pf - pr)/U') in every place of U.
    """
    if not np.any(leak):
        return nodes
    left = 1.0 / (1.0 + nodes.impedance * leak)
    flows = {name: flow * left for name, flow in nodes.flows.items()}
    return MountedLoad(nodes.impedance * left, nodes.share * left, flows)


def _with_ring(
    *,
    cavity: ComplexArray,
    drains: ComplexArray,
    panel: ComplexArray,
    front: ComplexArray,
    grille: ComplexArray,
    trim: ComplexArray,
    edge: ComplexArray,
) -> MountedLoad:
    """Front sealed from trim: `cavity` is an impedance Zc, all others are admittances.

    pf = 1/(Yf + Yg); behind the panel holes Yh lies Y = Yt + Ye, a share k = Yh/(Yh + Y) of the
    rear pressure: pr = -Zc/(1 + Zc (Yd + k Y)), pt = k pr; H = pf Yg + pt Ye.
    """
    front_pressure = 1.0 / (front + grille)
    ahead = front_pressure * grille
    if not panel.any():  # k = 0: nothing reaches the trim
        rear_drop = cavity / (1.0 + cavity * drains)
        flows = {"drains": -rear_drop * drains, "grille": ahead}
        return MountedLoad(front_pressure + rear_drop, ahead, flows)
    outward = trim + edge
    passed = panel / (panel + outward)
    rear_drop = cavity / (1.0 + cavity * (drains + passed * outward))
    behind = rear_drop * passed
    flows = {
        "drains": -rear_drop * drains,
        "panel": -behind * outward,
        "grille": ahead,
        "edge": -behind * edge,
    }
    return MountedLoad(front_pressure + rear_drop, ahead + flows["edge"], flows)


def _over_boot(
    *,
    cavity: ComplexArray,
    drains: ComplexArray,
    panel: ComplexArray,
    front: ComplexArray,
    grille: ComplexArray,
) -> MountedLoad:
    """Panel holes straight into the cabin: pf = 1/(Yf + Yg), -pr = Zc/(1 + Zc (Yd + Yh)).

    H = pf Yg + pr Yh: what leaks round takes away from what is heard.
    """
    front_pressure = 1.0 / (front + grille)
    rear_drop = cavity / (1.0 + cavity * (drains + panel))
    flows = {
        "drains": -rear_drop * drains,
        "panel": -rear_drop * panel,
        "grille": front_pressure * grille,
    }
    return MountedLoad(front_pressure + rear_drop, flows["grille"] + flows["panel"], flows)


def _without_ring(
    *,
    cavity: ComplexArray,
    drains: ComplexArray,
    panel: ComplexArray,
    trim: ComplexArray,
    grille: ComplexArray,
    edge: ComplexArray,
) -> MountedLoad:
    """Front and trim one node: `cavity` is an impedance Zc, all others are admittances.

    With A = Yt + Yg + Ye, q = 1 + Zc Yd and e = q + A Zc the two node equations give
    pf = q/(A q + Yh e), pf - pr = e/(A q + Yh e), pr = -A Zc/(A q + Yh e); H = pf (Yg + Ye).
    """
    outlets = grille + edge
    outward = trim + outlets
    q = 1.0 + cavity * drains
    e = q + outward * cavity
    scale = 1.0 / (outward * q + panel * e)
    front_pressure = scale * q
    flows = {
        "drains": -scale * outward * cavity * drains,
        "panel": -scale * e * panel,
        "grille": front_pressure * grille,
        "edge": front_pressure * edge,
    }
    return MountedLoad(scale * e, front_pressure * outlets, flows)
