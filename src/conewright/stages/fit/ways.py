"""What would make a driver go in: the first mend that works, found by working it out.

In the order of the work: the bare steel, a ring of a sheet at hand, then another driver, with how
deep and how high it may be.
"""

from __future__ import annotations

from math import ceil, floor

from conewright.job.quantity.units import MM
from conewright.stages.fit.margins import FRONT, REAR
from conewright.stages.fit.sandwich import Sandwich
from conewright.stages.outlay.stock import Stack, Stock, made_of, stacks, usual_stock
from conewright.stages.report.words import number, odds

__all__ = ["another_driver", "ring_that_does", "way_in"]

THICKEST = 40.0
"""No ring is thicker than this where nobody measured the room in front [mm]."""


def ring_that_does(sandwich: Sandwich, sheets: tuple[Stock, ...], *, stiff: bool) -> Stack | None:
    """Return the ring of the fewest and thinnest sheets that leaves room enough on both sides.

    Of the sheets at hand; where these do not stack to one, of the usual ones.

    Args:
        sandwich: the driver in its place, whatever spacer is planned.
        sheets: at hand.
        stiff: whether the ring carries the driver on screws of its own.

    """
    window = sandwich.window
    if window.empty:
        return None
    low, high = MM * (window.low or 0.0), THICKEST if window.high is None else MM * window.high
    found = (
        ring
        for stock in (sheets, usual_stock())
        for ring in _rings(stock, least=low, most=high, stiff=stiff)
        if window.holds(spacer=ring.thickness / MM)
    )
    return next(found, None)


def way_in(sandwich: Sandwich, sheets: tuple[Stock, ...], *, stiff: bool) -> str:
    """Say the first mend that works, with the room that it leaves; a driver that would last.

    Args:
        sandwich: the driver in its place, with the spacer that is planned.
        sheets: at hand.
        stiff: whether its screws need a ring of their own.

    """
    if sandwich.window.empty:
        return another_driver(sandwich, sheets)
    if not stiff and not sandwich.window.low:
        return f"Without a spacer it goes in: {_room(sandwich.on(spacer=0.0))}."
    ring = ring_that_does(sandwich, sheets, stiff=stiff)
    if ring is None:
        return "No usual sheet stacks to a ring of that."
    room = _room(sandwich.on(spacer=ring.thickness / MM))
    hand = "" if set(ring.layers) <= set(sheets) else ", a sheet that is not at hand,"
    return f"A ring of {ring.words}{hand} does: {room}."


def another_driver(sandwich: Sandwich, sheets: tuple[Stock, ...]) -> str:
    """Say how deep and how high in front a driver may be that goes in here, on the thickest ring
    of the sheets at hand that the trim leaves this one room for, or on the bare steel.
    """
    frame, window = sandwich.place.driver.frame, sandwich.window
    low = window.low or 0.0
    high = low if window.high is None else window.high
    under = [each for each in _rings(sheets, most=MM * min(high, low)) if high > 0.0]
    ring = max(under, key=lambda each: each.thickness, default=None)
    behind = low - (ring.thickness / MM if ring else 0.0)
    wanted = []
    if behind > 0.0:
        most = _down(frame.depth.si - behind)
        wanted.append(f"{_up(behind)} shallower ({most} deep at most)")
    if high < 0.0:
        most = _down(frame.front_height.si + high)
        wanted.append(f"{_up(-high)} lower in front ({most} at most)")
    on = f"on {ring.words}" if ring else "on the bare steel"
    return f"Take a driver that is {' and '.join(wanted)}, {on}." if wanted else ""


def _rings(
    sheets: tuple[Stock, ...], *, least: float = 0.0, most: float, stiff: bool = False
) -> tuple[Stack, ...]:
    """Return the rings that sheets at hand stack to, between two thicknesses [mm]."""
    rigid = [each for each in sheets if made_of(each.material).adapter_mm is not None]
    return stacks(rigid, least=least, most=most, stiff=stiff)


def _room(sandwich: Sandwich) -> str:
    """Say what is left behind and in front, each with its odds, as far as it was measured."""
    said = []
    for clearance, chance, margin, side in (
        (sandwich.worst, sandwich.rear_odds(margin=REAR.room), REAR, "behind"),
        (sandwich.front, sandwich.front_odds(margin=FRONT.room), FRONT, "in front"),
    ):
        if clearance is not None and chance is not None:
            left = number(round(MM * float(clearance[0, 0]), 1), "mm")
            said.append(f"{left} {side} (under {margin.words}: {odds(chance)})")
    return ", ".join(said)


def _down(metres: float) -> str:
    return number(floor(metres * MM * 10 + 1e-6) / 10, "mm")


def _up(metres: float) -> str:
    return number(ceil(metres * MM * 10 - 1e-6) / 10, "mm")
