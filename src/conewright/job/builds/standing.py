"""The findings that stand in a build: those of the job that no plan has ended, as states."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from conewright.data_files import data_rows
from conewright.errors import JobError, Problem
from conewright.job.builds.fills import Filler
from conewright.job.builds.states.electrics import ChannelState, HeadUnitState, PartState
from conewright.job.builds.states.location import CavityState, LocationState
from conewright.job.builds.states.value import FaultState, Value
from conewright.job.builds.typical import typicals
from conewright.job.document.document import Document, Finding, Proposal
from conewright.job.document.parts import YEARS, of_year
from conewright.job.document.places import ON_FRAME, on_frame
from conewright.job.quantity.expression import Load, Part
from conewright.job.repairs import mended_by, swapped_place, ways_of
from conewright.physics.electrics.wiring import Leaf, Series, Tree, leaves

__all__ = [
    "another_radio",
    "capacitors_before",
    "cured",
    "damaged_channel",
    "damaged_place",
    "damaged_radio",
    "ended",
    "fault_states",
    "radio_year",
    "repair_states",
    "standing",
    "upright",
]

TABLE, REPAIRED = "fault", "repair"
REVERSED, DRIED = "reversed", "capacitor-dried"
OF_RADIO = (
    *("name", "price", "output", "minimum_load", "advertised_power", "output_resistance"),
    *("clip_loss", "peak_current", "quiescent_current"),
    *("thermal.junction_to_dash", "thermal.limit"),
)
"""What no work on a radio changes: with another of these it is another radio."""

OF_AMPLIFIER = ("name", "price", "class", "clean_power", "clean_volts", "minimum_load")
"""The same of an amplifier."""


def another_radio(paths: Collection[str]) -> bool:
    """Whether changes, by the paths of their fields, are those of another radio."""
    return any(f"head_unit.{name}" in paths for name in OF_RADIO)


def radio_year(job: Document, paths: Collection[str]) -> int | None:
    """Return the year of the radio of a job, None where it may be of any.

    One of a written era is of that. Another is as old as its vehicle, unless the outputs that are
    written of it tell that it cannot be; one that a plan puts in is as new as one likes.

    Args:
        job: with the plan carried out.
        paths: of every field that the plan changes.

    """
    if another_radio(paths) and "head_unit.era" not in paths:
        return None
    unit, built = job.head_unit, job.vehicle.built
    if unit.era is not None:
        return YEARS[unit.era]
    too_new = unit.output == "bridge" and built is not None and not of_year("bridge", built)
    return None if too_new else built


def _cures(fault: str) -> tuple[str, ...]:
    """Return the changes that end a fault, as in the table: `place.driver`, `channel.load`."""
    rows = data_rows("job.builds", "cures.csv")
    return tuple(row["change"] for row in rows if row["fault"] == fault)


def standing(
    job: Document, changed: Document, proposal: Proposal | None, paths: Iterable[str]
) -> tuple[Finding, ...]:
    """Return the findings that are there in a build.

    Args:
        job: as it is written.
        changed: the job with the proposal carried out.
        proposal: None for the vehicle as found.
        paths: of every field that it changes.

    """
    found = [each for each in job.findings if each.state == "found"]
    if proposal is None:
        return tuple(found)
    written = tuple(paths)
    return tuple(
        _where_it_is(each, proposal, job)
        for each in found
        if not cured(
            each.fault, each.at, proposal=proposal, job=job, changed=changed, paths=written
        )
    )


def _where_it_is(finding: Finding, proposal: Proposal, job: Document) -> Finding:
    """Return a finding at the place that its driver sits in after a plan."""
    if "place.driver" not in _cures(finding.fault):
        return finding
    at = swapped_place(proposal, job, finding.at)
    return finding if at == finding.at else finding.model_copy(update={"at": at})


def repair_states(
    proposal: Proposal | None, job: Document, paths: Collection[str], filler: Filler
) -> tuple[FaultState, ...]:
    """Return how drivers are after a plan's repairs, where they are not as they were before.

    Args:
        proposal: None for the vehicle as found.
        job: as it is written.
        paths: of every field that the plan changes; another driver has not been repaired.
        filler: of the build.

    """
    ways = () if proposal is None else ways_of(proposal, job)
    return tuple(
        FaultState(
            way.repair.effect,
            way.at,
            tuple(
                (name, filler.filled(f"{way.at}.{way.repair.effect}.{name}", row))
                for name, row in typicals(REPAIRED, way.repair.effect).items()
            ),
        )
        for way in ways
        if way.repair.effect and f"{way.at}.driver" not in paths
    )


def cured(
    fault: str,
    at: str,
    *,
    proposal: Proposal,
    job: Document,
    changed: Document,
    paths: Collection[str],
) -> bool:
    """Whether a proposal ends a fault: it says that it mends it, or changes what the table names.

    Args:
        fault, at: what is wrong and where.
        proposal: the plan.
        job: as it is written.
        changed: the job with it carried out.
        paths: of every field that it changes.

    """
    listed = f"{fault}@{at}" in mended_by(proposal)
    return listed or ended(fault, at, job=job, changed=changed, paths=paths)


def ended(fault: str, at: str, *, job: Document, changed: Document, paths: Collection[str]) -> bool:
    """Whether changes of the document end a fault, as in the table, or take out what has it.

    Args:
        fault, at: what is wrong and where.
        job: as it is written.
        changed: the job with them carried out.
        paths: of every field that they change.

    """
    if at in _parts(job) - _parts(changed):
        return True
    cures = _cures(fault)
    told = [IN_LOAD[change] for change in cures if change in IN_LOAD]
    if any(tells(job, at) != tells(changed, at) for tells in told):
        return True
    wanted = [start for change in cures for start in _starts(change, at, changed)]
    wanted += _carrier(at, changed)
    return any(path == start or path.startswith(f"{start}.") for path in paths for start in wanted)


def _parts(job: Document) -> frozenset[str]:
    """Return the ids of what a fault of a part can be at: places and channels."""
    return frozenset(part.id for parts in (job.locations, job.channels) for part in parts)


def _loads(job: Document) -> list[Load]:
    """Return what the channels drive, those left out of which nobody knows."""
    return [load for channel in job.channels if (load := channel.wiring) is not None]


def _written_reversed(job: Document) -> frozenset[str]:
    """Return the places that a load names with a minus."""
    return frozenset(name for load in _loads(job) for name in load.reversed)


def _capacitors(job: Document, at: str) -> list[Part]:
    """Return the capacitors that loads have in series with a place."""
    return [
        part
        for load in _loads(job)
        for key, part in load.parts.items()
        if part.kind == "capacitor" and key in _beside(at, load.tree)
    ]


IN_LOAD: Mapping[str, Callable[[Document, str], object]] = {
    "place.sign": lambda job, at: at in _written_reversed(job),
    "place.capacitor": _capacitors,
}
"""Changes of the table that a load tells of a place, whatever else of it is written anew."""


def upright(job: Document, proposal: Proposal | None) -> frozenset[str]:
    """Return the places that play the right way round though a load names them with a minus.

    A minus of the job says how a driver was found, until that is mended. A minus that a plan
    writes turns the leads of its driver over, which puts one right that was found reversed.

    Args:
        job: as it is written.
        proposal: None for the vehicle as found.

    """
    before = _written_reversed(job)
    at = {
        state: {each.at for each in job.findings if (each.fault, each.state) == (REVERSED, state)}
        for state in ("found", "mended")
    }
    mends = () if proposal is None else (text.partition("@") for text in proposal.mends)
    listed = {place for fault, _, place in mends if fault == REVERSED}
    return frozenset(listed | (at["mended"] & before) | (at["found"] - before))


def _starts(change: str, at: str, job: Document) -> Iterator[str]:
    """Yield the paths that a change of the table stands for, for a fault at a place."""
    part, _, field = change.partition(".")
    if part == "place":
        yield f"{at}.{field}"
    elif part == "channel":
        yield from (f"{name}.{field}" for name in _channels(at, job))
    elif part == "radio":
        amplifiers = {each.id: each.amplifier for each in job.channels}
        unit = amplifiers.get(at)
        # The output of an amplifier's channel is the amplifier's.
        yield from (
            (f"head_unit.{name}" for name in OF_RADIO)
            if unit is None
            else (f"{unit}.{name}" for name in OF_AMPLIFIER)
        )
    elif part == "amplifier":
        yield from (f"{at}.{name}" for name in OF_AMPLIFIER)
    elif part == "feed":
        yield from (feed.id for feed in job.feeds if feed.to in ("radio", "converter"))
    else:
        yield change


def _carrier(at: str, job: Document) -> list[str]:
    """Return the paths whose change replaces a tweeter on a frame: its driver, or itself."""
    host = at.removesuffix(ON_FRAME)
    if host == at:
        return []
    own = [on_frame(place.driver) for place in job.locations if place.id == host]
    return [f"{host}.driver", *own]


def _channels(at: str, job: Document) -> Iterator[str]:
    """Yield the channel of that id, or the one that drives the place; every one for the vehicle."""
    for channel in job.channels:
        driven = () if channel.wiring is None else channel.wiring.locations
        if at.removesuffix(ON_FRAME) in (channel.id, "vehicle", *driven):
            yield channel.id


def fault_states(findings: Iterable[Finding], filler: Filler) -> tuple[FaultState, ...]:
    """Return findings as states, with typical sizes of what they do."""
    return tuple(
        FaultState(
            each.fault,
            each.at,
            tuple(
                (name, filler.filled(f"{each.at}.{each.fault}.{name}", row))
                for name, row in typicals(TABLE, each.fault).items()
            ),
        )
        for each in findings
    )


def damaged_place(
    place: LocationState, faults: Sequence[FaultState], repairs: Sequence[FaultState] = ()
) -> LocationState:
    """Return a place with the faults that are at it, and how its driver was repaired."""
    place = replace(place, repairs=tuple(each for each in repairs if each.at == place.id))
    here = tuple(fault for fault in faults if fault.at == place.id)
    small = tuple(fault for fault in faults if fault.at == on_frame(place.id))
    if small and place.driver.tweeter is None:
        raise JobError([_no_tweeter(small[0], place)])
    if small:
        place = replace(place, tweeter_faults=small)
    cavity = place.cavity
    for fault in here:
        if fault.fault == "panel-open" and cavity is not None:
            cavity = _opened(cavity, fault.size("holes"))
    return replace(place, faults=here, cavity=cavity) if here else place


def _no_tweeter(fault: FaultState, place: LocationState) -> Problem:
    return Problem(
        f"finding[{fault.id}].at",
        f"{place.driver.id} at {place.id}",
        "no tweeter is written on its frame: give driver.tweeter, or name another place",
    )


def _opened(cavity: CavityState, holes: Value) -> CavityState:
    larger = holes if holes.si > cavity.panel_holes.si else cavity.panel_holes
    return replace(
        cavity,
        panel_holes=larger,
        panel_hole_count=max(cavity.panel_hole_count, 1),
        cover="none",
        cover_mass=None,
    )


def damaged_channel(
    channel: ChannelState, faults: Sequence[FaultState], turned: Collection[str]
) -> ChannelState:
    """Return a channel with the faults that are at it, at what it drives and at what feeds it.

    Args:
        channel: as it is written.
        faults: that stand.
        turned: places that play the right way round though they are written reversed.

    Raises:
        JobError: a dried capacitor where none is written.

    """
    driven = dict(channel.polarity)
    fed = None if channel.input is None else channel.input.channel
    ahead = {each for each in (channel.id, channel.driven_by, fed) if each}
    near = {*ahead, *driven, *map(on_frame, driven)}
    here = tuple(fault for fault in faults if fault.at in near)
    turned_here = driven.keys() & turned
    if not here and not turned_here:
        return channel
    for fault in here:
        on_it = fault.at.endswith(ON_FRAME)
        if fault.fault == DRIED and not on_it and not capacitors_before(fault.at, channel):
            found = f'"{channel.load}" of {channel.id}'
            raise JobError(
                [
                    Problem(
                        f"finding[{fault.id}].at",
                        found,
                        f"a capacitor dries where one is: write it into the load, in series with "
                        f"{fault.at}",
                    )
                ]
            )
    signs = driven | dict.fromkeys(turned_here, 1)
    signs |= {fault.at: -1 for fault in here if fault.fault == REVERSED}
    return replace(channel, polarity=tuple(signs.items()), faults=here)


def damaged_radio(radio: HeadUnitState, faults: Sequence[FaultState]) -> HeadUnitState:
    """Return a radio with what its supply suffers from."""
    for fault in faults:
        if fault.fault == "supply-sag":
            return replace(radio, feed_resistance=fault.size("feed"))
    return radio


def capacitors_before(location: str, channel: ChannelState) -> tuple[PartState, ...]:
    """Return the capacitors in series with a location."""
    beside = _beside(location, channel.tree)
    return tuple(p for p in channel.parts if p.kind == "capacitor" and p.key in beside)


def _beside(location: str, tree: Tree) -> set[str]:
    """Return the single parts in series with a location, by key."""
    return {name for names in _in_series_with(location, tree) for name in names}


def _in_series_with(location: str, tree: Tree) -> Iterator[set[str]]:
    """Yield, for each series on the way to a location, the single parts beside it."""
    if isinstance(tree, Leaf):
        return
    for part in tree.parts:
        if location in leaves(part):
            if isinstance(tree, Series):
                yield {other.name for other in tree.parts if isinstance(other, Leaf)}
            yield from _in_series_with(location, part)
