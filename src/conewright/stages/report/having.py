"""What a vehicle and its radio can have at all: by their years, their places and their channels.

What a sheet asks for that cannot be there makes a repairer distrust the rest of it: nobody looks
for a camera in a saloon of 1972, nor for a water shield behind a dash.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from conewright.data_files import data_rows
from conewright.job.builds.standing import another_radio, radio_year
from conewright.job.document.parts import has_part, of_year
from conewright.stages.common.changes import as_found, pairs_of, planned_job

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.job.builds.states.location import LocationState

__all__ = ["NO_CHIP", "WINDOW_KINDS", "has_all", "instead_of", "may_filter", "may_have"]

WINDOW_KINDS = ("door", "panel")
"""Kinds of place with a window behind them; elsewhere nothing moves."""

Instead = Mapping[tuple[str, str], tuple[str, str]]


NO_CHIP = "no output chip"


def may_have(build: Build, part: str) -> bool:
    """Whether a vehicle or its radio can have a part: written down at the radio, or of its time.

    Raises: KeyError for a part that the table of years does not have.
    """
    if part in (build.job.head_unit.carries or ()):
        return True
    if part == "restraint-lamp" and not {_curtain(build), _sensor(build)} <= {"none", "unknown"}:
        return True
    if part == "high-pass" and _is_set(build):
        return True
    if has_part(part) == "vehicle":
        return of_year(part, build.job.vehicle.built)
    return of_year(part, radio_year(planned_job(build), build.planned))


def may_filter(build: Build, channel: ChannelState | None) -> bool:
    """Whether a high-pass can be set for a channel: in its amplifier, or in such a radio.

    Args: build: of the channel; channel: None for one that nobody knows.
    """
    amplified = channel is not None and channel.driven_by is not None
    return amplified or may_have(build, "high-pass")


def has_all(build: Build, needs: str, places: Iterable[str] = ()) -> bool:
    """Whether everything that a row of a table needs can be there.

    Args:
        build: the plan.
        needs: words with a blank between, nothing for none: `window`, `door` among the places,
            `sides` and `ends` of the cabin with channels of their own, or a part; `no-` before a
            word turns it round.
        places: ids of the places or channels that the row is about.

    """
    at = tuple(_places(build, places))
    for word in needs.split():
        wanted = word.removeprefix("no-")
        known = CONDITIONS.get(wanted)
        there = may_have(build, wanted) if known is None else known(build, at)
        if there is (word != wanted):
            return False
    return True


def instead_of(room: str) -> Instead:
    """Return what the rows of a room's tables need, and what stands there instead: by table and
    row, with nothing where the row is left out.
    """
    return {
        (row["table"], row["row"]): (row["needs"], row["instead"])
        for row in data_rows(room, "needs.csv")
    }


# --- Underneath ---------------------------------------------------------------------------------


def _places(build: Build, names: Iterable[str]) -> Iterable[LocationState]:
    """Yield places by their own ids or by those of the channels that drive them."""
    wanted = set(names)
    for channel in build.channels:
        if channel.id in wanted:
            wanted |= {place for place, _ in channel.polarity}
    return (place for place in build.locations if place.id in wanted)


def _sides(build: Build, _: tuple[LocationState, ...]) -> bool:
    return len(pairs_of(build)) > 1


def _ends(build: Build, _: tuple[LocationState, ...]) -> bool:
    return len(pairs_of(build)) > 2


CONDITIONS: Mapping[str, Callable[[Build, tuple[LocationState, ...]], bool]] = {
    "window": lambda _, places: any(place.kind in WINDOW_KINDS for place in places),
    "door": lambda _, places: any(place.kind == "door" for place in places),
    "sides": _sides,
    "ends": _ends,
}


def _curtain(build: Build) -> str:
    return as_found(build).vehicle.curtain


def _sensor(build: Build) -> str:
    return as_found(build).vehicle.door_sensor


def _is_set(build: Build) -> bool:
    """Whether a high-pass is set in the radio that was found, and that radio stays."""
    set_now = (each.settings.high_pass for each in as_found(build).channels if not each.driven_by)
    return any(each is not None for each in set_now) and not another_radio(build.planned)
