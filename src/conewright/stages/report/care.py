"""Cautions and the restraint gate: data files with where they apply, chosen for one build.

Every text defers to local codes, the maker's service information and licensed practice. No text
gives a restraint procedure or a waiting time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from conewright.data_files import data_rows
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.phrases import listed
from conewright.stages.common.changes import as_found, changes, opened_places
from conewright.stages.report.data import Caution, Severity, Verdict

__all__ = [
    "cautions_for",
    "minded_at",
    "reading_gate",
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


def minded_at(build: Build, caution: str, subjects: Sequence[str]) -> bool:
    """Whether a caution is about any of the subjects of a step; one without places always is.

    Args:
        build: the plan.
        caution: its id.
        subjects: ids of the places, channels or cables that the step is done at.

    """
    known = {place.id: place.kind for place in (*as_found(build).locations, *build.locations)}
    kinds = {known[name] for name in subjects if name in known}
    rule = next(rule for rule in _caution_rules() if rule.id == caution)
    return not kinds or "any" in rule.kinds or not kinds.isdisjoint(rule.kinds)


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
    return tuple(
        Verdict(
            id=f"vehicle.{gate.part}",
            subject="vehicle",
            severity=gate.severity,
            text=gate.text.format(places=listed([place.name for place in places])),
        )
        for gate, places in _standing(build, opened_places(build))
    )


def reading_gate(build: Build, closed: Sequence[LocationState]) -> tuple[Verdict, ...]:
    """Return what is said of restraint parts before places are opened for a reading."""
    said = [
        gate.reading.format(places=listed([place.name for place in places]))
        for gate, places in _standing(build, closed)
        if gate.reading
    ]
    if not said:
        return ()
    return (
        Verdict(
            id="vehicle.before-opening",
            subject="vehicle",
            severity=Severity.WARN,
            text=" ".join(said),
        ),
    )


def _standing(
    build: Build, opened: Sequence[LocationState]
) -> Iterator[tuple[_Gate, list[LocationState]]]:
    """Yield the gates that stand, each with the places that it stands before.

    What was found at a place by looking there goes before what is said of the whole vehicle.
    """
    for gate in _gates():
        places = [
            place
            for place in opened
            if place.kind in gate.kinds and _state(build, gate.part, place) == gate.state
        ]
        if places:
            yield gate, places


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
            opens="opens" in self.when,
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
    reading: str


@dataclass(frozen=True, slots=True)
class _Case:
    """What a condition is asked about: a build, and its places of the kinds a rule is about."""

    build: Build
    present: tuple[LocationState, ...]
    opened: tuple[LocationState, ...]
    opens: bool

    def sensors(self, *states: str) -> bool:
        """Whether a door sensor is in one of some states at a place that the rule is about."""
        return self._any("door_sensor", states)

    def curtains(self, *states: str) -> bool:
        """Whether a curtain bag is in one of some states at a place that the rule is about."""
        return self._any("curtain", states)

    def _any(self, part: str, states: tuple[str, ...]) -> bool:
        places = self.opened if self.opens else self.present
        return any(_state(self.build, part, place) in states for place in places)


def _new_driver(case: _Case) -> bool:
    return not {place.id for place in case.opened}.isdisjoint(changes(case.build).at("new-driver"))


def _made_at(*kinds: str) -> Callable[[_Case], bool]:
    """Return the condition that any of some kinds of change is made."""
    return lambda case: any(changes(case.build).at(kind) for kind in kinds)


def _cuts(case: _Case) -> bool:
    changed = changes(case.build)
    cut = [name for kind in CUTTING for name in changed.at(kind)]
    return not {place.id for place in case.opened}.isdisjoint(cut)


CUTTING = ("cuts", "holed", "grilled", "boxed", "boarded")

CONDITIONS: dict[str, Callable[[_Case], bool]] = {
    "always": lambda _: True,
    "present": lambda case: bool(case.present),
    # A plan is about what it opens, the vehicle as found about all of it.
    "met": lambda case: bool(case.opened if case.build.proposal else case.present),
    "opens": lambda case: bool(case.opened),
    "battery-off": lambda case: bool(changes(case.build).by_kind["battery-off"]),
    "cuts": _cuts,
    "glues": _made_at("surround-glued", "bench-mended", "repaired", "gap-cleaned", "boxed"),
    "solders": _made_at("bench-mended"),
    "new-driver": _new_driver,
    "sensor-unknown": lambda case: case.sensors("unknown"),
    "sensor-impact": lambda case: case.sensors("impact"),
    "sensor-pressure": lambda case: case.sensors("pressure"),
    "curtain-possible": lambda case: case.curtains("fitted", "unknown"),
    "restraint-possible": lambda case: (
        case.sensors("unknown", "impact", "pressure") or case.curtains("fitted", "unknown")
    ),
    "body-minus": lambda case: case.build.vehicle.ground == "negative",
    "body-plus": lambda case: case.build.vehicle.ground == "positive",
    "code-at-hand": lambda case: _code(case.build) == "at-hand",
    "code-missing": lambda case: _code(case.build) == "missing",
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
            reading=row["reading"],
        )
        for row in data_rows("stages.report", "restraints.csv")
    )


SENSORS = ("none", "impact", "pressure", "unknown")


def _state(build: Build, part: str, place: LocationState) -> str:
    """What is known of a restraint part at a place; any curtain that is fitted counts as `fitted`.

    What was found at the place itself counts; a curtain that was found in a door says nothing of a
    sensor there, nor a sensor of a curtain.
    """
    found = place.restraint
    if part == "door_sensor":
        return found if found in SENSORS else build.vehicle.door_sensor
    if found in ("none", "unknown"):
        return found
    curtain = "curtain" if found == "curtain" else build.vehicle.curtain
    return curtain if curtain in {"none", "unknown"} else "fitted"


def _code(build: Build) -> str | None:
    """Return whether the radio that stays in the vehicle asks for a code; None where none stays."""
    return None if changes(build).at("new-radio") else build.job.head_unit.code
