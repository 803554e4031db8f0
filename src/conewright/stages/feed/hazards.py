"""What of the wiring itself burns something: shared returns on a bridge, a tweeter left bare."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conewright.job.builds.standing import capacitors_before
from conewright.stages.common.changes import as_found, pairs_of
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.job.builds.state import Build, ChannelState, LocationState, UnknownChannelState
    from conewright.stages.report.assembly import Answer

__all__ = ["hazard_verdicts"]

SHARING = {
    "chassis": "its current comes back through the body",
    "shared": "its − is a wire that other loudspeakers use as well",
}

PROTECTING = 1000.0
"""A radio's own high-pass from here on keeps bass from a tweeter [Hz]; common practice, no
source."""


def hazard_verdicts(answer: Answer) -> None:
    """Say which loudspeakers must not be joined to this radio, and which tweeters burn."""
    build = answer.build
    if build.head_unit.output == "bridge":
        unread = [channel for channel in pairs_of(build) if channel.return_by is None]
        for channel in pairs_of(build):
            if channel.return_by in SHARING:
                answer.verdict(channel.id, "return", Severity.STOP, _on_bridge(build, channel))
        if unread and as_found(build).head_unit.output != "bridge":
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


def _on_bridge(build: Build, channel: ChannelState | UnknownChannelState) -> str:
    half = number(build.head_unit.supply.si / 2.0, "V", most=1)
    return (
        f"{channel.id}: {SHARING[channel.return_by or '']}, and this radio's outputs are bridges, "
        f"each leg at about {half}: joined, that lies across loudspeaker and output, and one of "
        "them burns. Join nothing. What would do: a second wire of its own to the loudspeaker "
        f'({channel.id}.return_by = "wire"), a radio with common-ground outputs, or an adapter '
        "that blocks d.c."
    )


def _bare_tweeters(build: Build) -> Iterator[tuple[ChannelState, LocationState]]:
    """Yield the tweeters that bass reaches: no capacitor before them, no high-pass either."""
    for channel in build.channels:
        if channel.high_pass is not None and channel.high_pass.si >= PROTECTING:
            continue
        for name, _ in channel.polarity:
            place = build.location(name)
            if is_tweeter(place, None) and not capacitors_before(name, channel):
                yield channel, place


def _bare(answer: Answer, channel: ChannelState, place: LocationState) -> None:
    """Say that a tweeter has no capacitor; a plan that takes it away is stopped."""
    before = as_found(answer.build)
    there = {name for each in before.channels for name, _ in each.polarity}
    was = place.id in there and not any(place.id == each.id for _, each in _bare_tweeters(before))
    taken = answer.build.proposal is not None and (was or place.id not in there)
    power = answer[f"{place.id}.clean_power"]
    text = (
        f"{place.id}: no capacitor stands before this tweeter, and {channel.id} has no high-pass "
        f"above {number(PROTECTING, 'Hz')}: a tone of the bass can put {with_band(power)} into a "
        f"coil that bears {number(place.driver.power.si, 'W')}, and its cone has no travel for it. "
        "Write the capacitor into the load, as in 4.7 uF + "
        f"{place.id}, or look for one at the tweeter itself."
    )
    severity = Severity.STOP if taken else Severity.WARN
    answer.verdict(place.id, "bare", severity, text, power.id)
