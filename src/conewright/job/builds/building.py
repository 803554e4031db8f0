"""From a job to a build: one state of the vehicle, as found or with a proposal applied."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from conewright.errors import JobError, Problem
from conewright.job.builds.fills import Filler
from conewright.job.builds.possible import impossibilities
from conewright.job.builds.resolve_driver import central_area, fitted_driver, resolve_driver
from conewright.job.builds.resolve_electrics import (
    resolve_amplifier,
    resolve_channel,
    resolve_converter,
    resolve_feed,
    resolve_head_unit,
    resolve_seats,
    resolve_unknown,
    resolve_unused,
    resolve_vehicle,
)
from conewright.job.builds.resolve_location import resolve_location
from conewright.job.builds.standing import (
    damaged_channel,
    damaged_place,
    damaged_radio,
    fault_states,
    radio_year,
    repair_states,
    standing,
    upright,
)
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.drivers import DriverState
from conewright.job.builds.states.location import LocationState
from conewright.job.document.document import Document, Finding, Proposal
from conewright.job.document.fault_names import FaultName
from conewright.job.document.parts import AS_FOUND, UNKNOWN, UNUSED, Place, Table
from conewright.job.document.references import TARGET_LISTS
from conewright.job.proposals import apply_proposal

__all__ = ["SameJob", "build_job", "build_with"]


def build_job(job: Document, proposal: str | None = None) -> Build:
    """Return the vehicle as found, or with one proposal applied; every gap filled.

    Args: proposal: id of the proposal; None or `as-found` for none.
    Raises: JobError for a proposal that the job does not have, or for a driver that cannot be
    completed from its sheet and the typical values.
    """
    builds = _builds(SameJob(job))
    wanted = proposal or AS_FOUND
    if wanted not in builds:
        known = ", ".join(builds)
        raise JobError([Problem("proposal", f'"{wanted}"', f"this job has {known}")])
    return builds[wanted]


def build_with(build: Build, fault: FaultName, at: str) -> Build:
    """Return a build as it would be if a fault were found, which its proposal may end.

    Raises: JobError for a fault that cannot be there.
    """
    job = build.job
    others = tuple(each for each in job.findings if (each.fault, each.at) != (fault, at))
    found = (*others, Finding(fault=fault, at=at))
    return build_job(job.model_copy(update={"findings": found}), build.proposal)


@dataclass(frozen=True, eq=False)
class SameJob:
    """A job told apart by identity: a document holds tables, which have no hash."""

    job: Document

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameJob) and other.job is self.job

    def __hash__(self) -> int:
        return id(self.job)


@lru_cache(maxsize=8)
def _builds(same: SameJob) -> Mapping[str, Build]:
    """Return every build of a job by id; they are made together since they share their axes."""
    job = same.job
    found = _draft(job, None, {})
    areas = {location.id: central_area(location.driver) for location in found.locations}
    drafts = [found, *(_draft(job, proposal, areas) for proposal in job.proposals)]
    axes = {axis for draft in drafts for value in draft.values() for axis in value.axes}
    shared = tuple(sorted(axes))
    return {draft.id: replace(draft, axes=shared) for draft in drafts}


def _draft(job: Document, proposal: Proposal | None, areas: Mapping[str, float]) -> Build:
    """Return one build without its axes; `areas` are the cones [m2] the trims were made for."""
    changed = job if proposal is None else apply_proposal(job, proposal.id)
    filler = _filler(job, changed, proposal)
    faults = fault_states(standing(job, changed, proposal, filler.planned), filler)
    turned = upright(job, proposal)
    repairs = repair_states(proposal, job, filler.planned, filler)
    locations = tuple(
        damaged_place(place, faults, repairs) for place in _locations(changed, areas, filler)
    )
    vehicle = resolve_vehicle(changed.vehicle, filler, reach=_reach(job))
    converter = resolve_converter(changed, filler)
    seats = resolve_seats(changed, filler)
    feeds = tuple(resolve_feed(feed, filler) for feed in changed.feeds)
    problems = impossibilities(changed, locations, seats, feeds)
    if problems:
        raise JobError(problems)
    by_id = {location.id: location for location in locations}
    return Build(
        job=job,
        proposal=None if proposal is None else proposal.id,
        title="as found" if proposal is None else proposal.name or proposal.id,
        vehicle=vehicle,
        converter=converter,
        head_unit=damaged_radio(
            resolve_head_unit(
                changed.head_unit,
                vehicle,
                converter,
                filler,
                year=radio_year(changed, filler.planned),
            ),
            faults,
        ),
        channels=tuple(
            damaged_channel(resolve_channel(channel, load, changed, by_id, filler), faults, turned)
            for channel in changed.channels
            if (load := channel.wiring) is not None
        ),
        unknown=tuple(
            resolve_unknown(channel, filler)
            for channel in changed.channels
            if channel.load == UNKNOWN
        ),
        unused=tuple(
            resolve_unused(channel, filler)
            for channel in changed.channels
            if channel.load == UNUSED
        ),
        amplifiers=tuple(resolve_amplifier(each, filler) for each in changed.amplifiers),
        locations=locations,
        seats=seats,
        feeds=feeds,
        faults=faults,
        planned=filler.planned,
        fills=filler.fills,
        axes=(),
    )


def _reach(job: Document) -> dict[str, float]:
    """Return how long, wide and high the cabin must be to hold all that job and plans place [m]."""
    jobs = (job, *(apply_proposal(job, proposal.id) for proposal in job.proposals))
    places = [place.at for each in jobs for place in each.locations]
    places += [seat.ear for seat in job.seats]
    return {
        "cabin_length": max((2.0 * abs(x.value) for x, _, _ in places), default=0.0),
        "cabin_width": max((2.0 * abs(y.value) for _, y, _ in places), default=0.0),
        "cabin_height": max((z.value for _, _, z in places), default=0.0),
    }


def _locations(
    job: Document, areas: Mapping[str, float], filler: Filler
) -> tuple[LocationState, ...]:
    """Return every place with its driver; raises JobError with every driver that fails."""
    drivers = _drivers(job, filler)
    ears = _middle([seat.ear for seat in job.seats])
    return tuple(
        resolve_location(
            location,
            fitted_driver(drivers[location.driver], location, filler),
            as_found_area=areas.get(location.id) or central_area(drivers[location.driver]),
            filler=filler,
            body=job.vehicle.class_ or "other",
            ears=ears,
        )
        for location in job.locations
    )


def _middle(places: Sequence[Place]) -> tuple[float, float, float] | None:
    """Return the middle of some places [m]; None for none."""
    if not places:
        return None
    x, y, z = (sum(place[axis].value for place in places) / len(places) for axis in range(3))
    return x, y, z


def _drivers(job: Document, filler: Filler) -> dict[str, DriverState]:
    """Return every driver that is fitted somewhere; all that fail are reported in one go."""
    drivers: dict[str, DriverState] = {}
    problems: list[Problem] = []
    for name in dict.fromkeys(location.driver for location in job.locations):
        try:
            drivers[name] = resolve_driver(job.driver(name), filler)
        except JobError as error:
            problems.extend(error.problems)
    if problems:
        raise JobError(problems)
    return drivers


def _filler(job: Document, changed: Document, proposal: Proposal | None) -> Filler:
    if proposal is None:
        return Filler()
    planned: set[str] = set()
    for path, old, new in _changed_parts(job, changed):
        before, after = (
            {} if part is None else dict(_leaves(part.to_dict(), path)) for part in (old, new)
        )
        planned |= {path for path in after if after[path] != before.get(path)}
    return Filler(planned=frozenset(planned), proposal=proposal.id)


def _changed_parts(job: Document, changed: Document) -> Iterator[tuple[str, Table | None, Table]]:
    """Yield the path of each part that a proposal changes or adds, it as found and as changed."""
    for name, info in Document.model_fields.items():
        old, new = getattr(job, name), getattr(changed, name)
        if isinstance(new, tuple):
            # The figures of a driver that only the plan has are its sheet's all the same.
            given = new if info.alias in TARGET_LISTS else ()
            before = {part.id: part for part in old} if given else {}
            for part in given:
                was = before.get(part.id)
                if part is not was and (was is not None or info.alias != "driver"):
                    yield part.id, was, part
        elif old is not new and name != "about":
            yield info.alias or name, old, new


def _leaves(node: object, path: str = "") -> Iterator[tuple[str, object]]:
    """Yield what stands in a job's plain values under the paths that values have."""
    if isinstance(node, dict):
        for name, item in node.items():
            yield from _leaves(item, f"{path}.{name}" if path else name)
    elif isinstance(node, list):
        for name, item in _named(node, path):
            yield from _leaves(item, name)
    else:
        yield path, node


def _named(entries: list[object], path: str) -> Iterator[tuple[str, object]]:
    """Yield the entries of a list with their paths: by id, by axis, or counted from 1."""
    axes = path.endswith((".at", ".ear"))
    for index, entry in enumerate(entries):
        if isinstance(entry, dict) and "id" in entry:
            yield entry["id"], entry
        else:
            yield f"{path}.{'xyz'[index] if axes else index + 1}", entry
