"""What of the wiring itself burns something: shared returns on a bridge, a tweeter left bare."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conewright.job.builds.standing import capacitors_before
from conewright.stages.common.changes import as_found, pairs_of
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.find.faults.told import return_verdicts
from conewright.stages.report.data import Severity
from conewright.stages.report.having import may_filter
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.job.builds.states.location import LocationState
    from conewright.stages.report.assembly import Answer

__all__ = ["hazard_verdicts"]

LEAST_CORNER = 1.5
"""Lowest corner of a tweeter's high-pass over its resonance; common practice, no source."""


def hazard_verdicts(answer: Answer) -> None:
    """Say which loudspeakers must not be joined to this radio, and which tweeters burn."""
    build = answer.build
    return_verdicts(answer)
    unread = any(channel.return_by is None for channel in pairs_of(build))
    if unread and build.head_unit.output == "bridge" != as_found(build).head_unit.output:
        answer.verdict("head_unit", "shared-return", Severity.WARN, LOOM_OF_COMMON_GROUND)
    for channel, place in _bare_tweeters(build):
        _bare(answer, channel, place)


LOOM_OF_COMMON_GROUND = (
    "The loom was made for common-ground outputs: its − wires may share one return or sit "
    "on the chassis, and a bridge output would put half the supply across the "
    "loudspeakers. Prove first, radio unplugged, that each leg is open to the chassis and "
    "to every other pair, and write it down (channel.return_by); else lay new pairs, or block d.c. "
    "with an adapter."
)


def _highest_corner(channel: ChannelState) -> float:
    """Return the highest corner of the high-passes ahead of a channel's pair [Hz], 0 for none."""
    ahead = channel.input and channel.input.settings
    filters = [channel.settings.high_pass, ahead.high_pass if ahead else None]
    return max((each.corner.si for each in filters if each is not None), default=0.0)


def _bare_tweeters(build: Build) -> Iterator[tuple[ChannelState, LocationState]]:
    """Yield the tweeters that bass reaches: no capacitor before them, no high-pass high enough."""
    for channel in build.channels:
        for name, _ in channel.polarity:
            place = build.location(name)
            borne = LEAST_CORNER * place.driver.figures()["fs"]
            bare = is_tweeter(place, None) and not capacitors_before(name, channel)
            if bare and _highest_corner(channel) < borne:
                yield channel, place


def _or_set(build: Build, channel: ChannelState, resonance: float) -> str:
    """Return the high-pass that does as well, where what drives the channel can have one."""
    if not may_filter(build, channel):
        return ""
    return f", or set a high-pass of {number(LEAST_CORNER * resonance, 'Hz')} or more"


def _bare(answer: Answer, channel: ChannelState, place: LocationState) -> None:
    """Say that nothing keeps bass from a tweeter; a plan that does that to it is stopped."""
    before = as_found(answer.build)
    there = {name for each in before.channels for name, _ in each.polarity}
    was = place.id in there and not any(place.id == each.id for _, each in _bare_tweeters(before))
    taken = answer.build.proposal is not None and (was or place.id not in there)
    power = answer[f"{place.id}.clean_power"]
    corner, resonance = _highest_corner(channel), place.driver.figures()["fs"]
    low = (
        f"the high-pass of {number(corner, 'Hz')} before {channel.id} lies too low for its "
        f"resonance at {number(resonance, 'Hz')}"
    )
    text = (
        f"{place.id}: no capacitor stands before this tweeter, and "
        f"{low if corner else f'{channel.id} has no high-pass'}: a tone of the bass can put "
        f"{with_band(power)} into a coil that bears {number(place.driver.power.si, 'W')}, and its "
        f"cone has no travel for it. Write the capacitor into the load, as in 4.7 uF + {place.id}, "
        f"or look for one at the tweeter itself{_or_set(answer.build, channel, resonance)}."
    )
    severity = Severity.STOP if taken and not corner else Severity.WARN
    answer.verdict(place.id, "bare", severity, text, power.id)
