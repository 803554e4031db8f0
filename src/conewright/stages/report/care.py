"""Cautions and the restraint gate: data files with where they apply, chosen for one build.

Every text defers to local codes, the maker's service information and licensed practice. No text
gives a restraint procedure or a waiting time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

from conewright.data_files import data_rows
from conewright.job.builds.state import Build, LocationState
from conewright.phrases import listed
from conewright.stages.common.changes import as_found, changes, opened_places
from conewright.stages.report.data import Caution, Severity, Verdict

__all__ = [
    "cautions_for",
    "opening_gate",
    "restraint_gate",
]


def cautions_for(stage: str, build: Build) -> tuple[Caution, ...]:
    """Return the cautions that apply to a stage's answer about a build.

    Args:
        stage: name of the stage, as in the report.
        build: the build the answer is about; the work starts from the vehicle as found.

    Returns:
        The cautions in the order of their data file.

    """
    opened = opened_places(build)
    return tuple(
        Caution(id=rule.id, text=rule.text, source=rule.source)
        for rule in _caution_rules()
        if stage in rule.stages and rule.applies(build, opened)
    )


def restraint_gate(build: Build) -> tuple[Verdict, ...]:
    """Return what stands between a plan and the restraint parts in the places that it opens.

    A door with a pressure sensor, or with one nobody has ruled out, stops the plan; an impact
    sensor, or a curtain behind a pillar or roof trim, warns.

    Whatever build an answer compares with, the work starts from the vehicle as found.

    Args:
        build: the plan; the vehicle as found opens nothing.

    Returns:
        At most one verdict for door sensors and one for curtains, with `vehicle` as subject.

    """
    return opening_gate(build, opened_places(build))


def opening_gate(build: Build, opened: Sequence[LocationState]) -> tuple[Verdict, ...]:
    """Return what stands between the opening of some places and the restraint parts in them."""
    return tuple(
        Verdict(
            id=f"vehicle.{gate.part}",
            subject="vehicle",
            severity=gate.severity,
            text=gate.text.format(places=listed([place.name for place in places])),
        )
        for gate in _gates()
        if _state(build, gate.part) == gate.state
        and (places := [place for place in opened if place.kind in gate.kinds])
    )


@dataclass(frozen=True, slots=True)
class _Rule:
    id: str
    stages: frozenset[str]
    kinds: frozenset[str]
    when: tuple[str, ...]
    text: str
    source: str

    def applies(self, build: Build, opened: tuple[LocationState, ...]) -> bool:
        case = _Case(
            build=build,
            present=tuple(place for place in build.locations if self._covers(place)),
            opened=tuple(place for place in opened if self._covers(place)),
        )
        return all(CONDITIONS[word](case) for word in self.when)

    def _covers(self, place: LocationState) -> bool:
        return "any" in self.kinds or place.kind in self.kinds


@dataclass(frozen=True, slots=True)
class _Gate:
    part: str
    state: str
    kinds: frozenset[str]
    severity: Severity
    text: str


@dataclass(frozen=True, slots=True)
class _Case:
    """What a condition is asked about: a build, and its places of the kinds a rule is about."""

    build: Build
    present: tuple[LocationState, ...]
    opened: tuple[LocationState, ...]


def _new_driver(case: _Case) -> bool:
    return not {place.id for place in case.opened}.isdisjoint(changes(case.build).at("new-driver"))


def _made_at(*kinds: str) -> Callable[[_Case], bool]:
    """Return the condition that any of some kinds of change is made."""
    return lambda case: any(changes(case.build).at(kind) for kind in kinds)


def _cuts(case: _Case) -> bool:
    changed = changes(case.build)
    cut = (*changed.at("cuts"), *changed.at("holed"), *changed.at("grilled"))
    return not {place.id for place in case.opened}.isdisjoint(cut)


CONDITIONS: dict[str, Callable[[_Case], bool]] = {
    "always": lambda _: True,
    "present": lambda case: bool(case.present),
    "opens": lambda case: bool(case.opened),
    "battery-off": lambda case: bool(changes(case.build).by_kind["battery-off"]),
    "cuts": _cuts,
    "glues": _made_at("surround-glued", "bench-mended", "repaired", "gap-cleaned"),
    "solders": _made_at("bench-mended"),
    "new-driver": _new_driver,
    "sensor-possible": lambda case: case.build.vehicle.door_sensor != "none",
    "sensor-pressure": lambda case: case.build.vehicle.door_sensor == "pressure",
    "curtain-possible": lambda case: case.build.vehicle.curtain != "none",
    "restraint-possible": lambda case: (
        {case.build.vehicle.door_sensor, case.build.vehicle.curtain} != {"none"}
    ),
    "bridge": lambda case: case.build.head_unit.output == "bridge",
    "common-ground": lambda case: (
        "common-ground" in {case.build.head_unit.output, as_found(case.build).head_unit.output}
    ),
}
"""The words of the column `when`; all the words of a row must hold."""


@cache
def _caution_rules() -> tuple[_Rule, ...]:
    return tuple(
        _Rule(
            id=row["id"],
            stages=frozenset(row["stages"].split()),
            kinds=frozenset(row["kinds"].split()),
            when=tuple(row["when"].split()),
            text=row["text"],
            source=row["source"],
        )
        for row in data_rows("stages.report", "cautions.csv")
    )


@cache
def _gates() -> tuple[_Gate, ...]:
    return tuple(
        _Gate(
            part=row["part"],
            state=row["state"],
            kinds=frozenset(row["kinds"].split()),
            severity=Severity(row["severity"]),
            text=row["text"],
        )
        for row in data_rows("stages.report", "restraints.csv")
    )


def _state(build: Build, part: str) -> str:
    """What is known of a restraint part; any curtain that is fitted counts as `fitted`."""
    if part == "door_sensor":
        return build.vehicle.door_sensor
    curtain = build.vehicle.curtain
    return curtain if curtain in {"none", "unknown"} else "fitted"
