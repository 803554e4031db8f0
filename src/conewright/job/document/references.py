"""What the parts of a job say about each other: ids, loads, drivers, places of readings.

All of it works on plain values, so that it is checked even where other fields are refused.
"""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import islice
from typing import Any

from conewright.errors import LoadError, Problem
from conewright.job.document.fault_names import (
    CHANNEL_FAULTS,
    FAULTS,
    PLACE_FAULTS,
    VEHICLE_FAULTS,
)
from conewright.job.document.lists import LISTS
from conewright.job.document.parts import AS_FOUND, UNKNOWN
from conewright.job.document.paths import Steps, inside, known_names, path_text, show
from conewright.job.document.problems import MOST_PROBLEMS, Found
from conewright.job.quantity.expression import parse_load

__all__ = ["TARGET_LISTS", "TARGET_TABLES", "ids_of", "names_in_load", "reference_problems"]

# A proposal changes what has an id, but no proposal.
TARGET_LISTS = tuple(
    name for name, each in LISTS.items() if each.told_by == ("id",) and name != "proposal"
)
TARGET_TABLES = ("head_unit", "vehicle")
RESERVED = (*TARGET_TABLES, "job", "wishes")
SIDES = ("left", "right")
ROWS = ("front", "rear")
GROUPS = (*ROWS, *SIDES, *(f"{row}-{side}" for row in ROWS for side in SIDES), "all")


def reference_problems(raw: Mapping[str, Any]) -> list[Found]:
    """Return everything that names something wrongly in a file's tables."""
    checks = (
        _id_problems,
        _proposal_id_problems,
        _driver_problems,
        _load_problems,
        _lead_problems,
        _place_problems,
        _finding_problems,
        _wish_problems,
    )
    told = (each for check in checks for each in check(raw))
    return [Found(steps, _problem(raw, steps, text)) for steps, text in islice(told, MOST_PROBLEMS)]


def ids_of(raw: Mapping[str, Any], table: str) -> dict[str, int]:
    """Return the ids in a list of tables with the index of the first entry that has it."""
    ids: dict[str, int] = {}
    for index, name in _texts(raw, table, "id"):
        ids.setdefault(name, index)
    return ids


Complaint = tuple[Steps, str]


def _problem(raw: Mapping[str, Any], steps: Steps, allowed: str) -> Problem:
    return Problem(path_text(steps, raw), show(inside(raw, *steps)), allowed)


def _texts(raw: Mapping[str, Any], table: str, field: str) -> Iterator[tuple[int, str]]:
    """Yield the entries of a list of tables that have a text in a field."""
    entries = raw.get(table)
    for index, entry in enumerate(entries if isinstance(entries, list) else ()):
        value = inside(entry, field)
        if isinstance(value, str):
            yield index, value


def _id_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Ids of everything a proposal can change are unique, and no reserved word."""
    seen: dict[str, str] = {}
    for table in TARGET_LISTS:
        for index, name in _texts(raw, table, "id"):
            steps = (table, index, "id")
            taken = (*RESERVED, UNKNOWN) if table == "location" else RESERVED
            if name in taken:
                yield steps, f"this word is taken; choose an id other than {', '.join(taken)}"
            elif name in seen:
                yield steps, f"an id is used once, and {seen[name]} has it already"
            seen.setdefault(name, f"{table}[{index + 1}]")


def _proposal_id_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    first = ids_of(raw, "proposal")
    for index, name in _texts(raw, "proposal", "id"):
        if name == AS_FOUND:
            yield ("proposal", index, "id"), "this word is taken for the vehicle as it stands"
        elif first[name] != index:
            text = f"an id is used once, and proposal[{first[name] + 1}] has it already"
            yield ("proposal", index, "id"), text


def _driver_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Every location names a driver of the file."""
    drivers = ids_of(raw, "driver")
    for index, name in _texts(raw, "location", "driver"):
        if drivers and name not in drivers:
            yield (
                ("location", index, "driver"),
                f"it takes the id of a driver; {known_names(name, drivers)}",
            )


def _load_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Loads name locations, and no location hangs on two channels."""
    locations = ids_of(raw, "location")
    taken: dict[str, int] = {}
    for index, text in _texts(raw, "channel", "load"):
        steps = ("channel", index, "load")
        for name in names_in_load(text):
            if locations and name not in locations:
                yield steps, f'"{name}" is no location; {known_names(name, locations)}'
            elif taken.setdefault(name, index) != index:
                first = f"channel[{taken[name] + 1}]"
                yield steps, f"{name} hangs on {first} already; a location has one channel"


def _lead_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Every wire of a pair names a channel, and is written down once."""
    channels = ids_of(raw, "channel")
    functions = dict(_texts(raw, "lead", "function"))
    seen: dict[tuple[str, str | None], int] = {}
    for index, name in _texts(raw, "lead", "channel"):
        if channels and name not in channels:
            text = f"it takes the id of a channel; {known_names(name, channels)}"
            yield ("lead", index, "channel"), text
        function = functions.get(index)
        if seen.setdefault((name, function), index) != index:
            first = f"lead[{seen[name, function] + 1}]"
            yield ("lead", index, "channel"), f"{first} is the {function} wire of {name} already"


@lru_cache(maxsize=1024)
def names_in_load(text: str) -> tuple[str, ...]:
    """Return the names in a load; none where it cannot be read, which the field reports."""
    if text == UNKNOWN:
        return ()
    try:
        return parse_load(text).locations
    except LoadError:
        return ()


def _place_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Readings and complaints are about something that is there."""
    places = [*RESERVED[:-1], *(name for table in TARGET_LISTS for name in ids_of(raw, table))]
    places += [word for word in GROUPS if word not in places]
    for index, name in _texts(raw, "reading", "at"):
        if name not in places:
            yield (
                ("reading", index, "at"),
                f"it takes a place in the job; {known_names(name, places)}",
            )
    complaints = inside(raw, "job", "complaints")
    for index, text in enumerate(complaints if isinstance(complaints, list) else ()):
        name = text.partition("@")[2] if isinstance(text, str) else ""
        if name and name not in places:
            steps = ("job", "complaints", index)
            yield steps, f"the word behind @ is a place in the job; {known_names(name, places)}"


def _finding_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Findings, and what plans mend, are at what such a fault can be at; a finding is told once."""
    seen: dict[tuple[str, str | None], int] = {}
    places = dict(_texts(raw, "finding", "at"))
    for index, fault in _texts(raw, "finding", "fault"):
        at = places.get(index)
        if at is not None and (wrong := _wrong_place(raw, fault, at)):
            yield ("finding", index, "at"), wrong
        first = seen.setdefault((fault, at), index)
        if first != index:
            yield ("finding", index, "fault"), f"finding[{first + 1}] says that already"
    plans = raw.get("proposal")
    for plan, entry in enumerate(plans if isinstance(plans, list) else ()):
        mends = inside(entry, "mends")
        for index, text in enumerate(mends if isinstance(mends, list) else ()):
            fault, _, at = text.partition("@") if isinstance(text, str) else ("", "", "")
            wrong = _wrong_place(raw, fault, at)
            if fault not in FAULTS:
                wrong = f"it takes fault@place, coil-open@door-fl; {known_names(fault, FAULTS)}"
            if wrong:
                yield ("proposal", plan, "mends", index), wrong


def _wrong_place(raw: Mapping[str, Any], fault: str, at: str) -> str:
    """Return what a fault can be at, where it cannot be at that; empty where it can."""
    for faults, table, kind in (
        (PLACE_FAULTS, "location", "a place"),
        (CHANNEL_FAULTS, "channel", "a channel"),
    ):
        known = ids_of(raw, table)
        if fault in faults and at not in known:
            return f"{fault} is at {kind}; {known_names(at, known)}"
    if fault in VEHICLE_FAULTS and at != "vehicle":
        return f'{fault} is at "vehicle"'
    return ""


def _wish_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """The seat that counts is one of the file's."""
    seat, seats = inside(raw, "wishes", "seat"), ids_of(raw, "seat")
    if isinstance(seat, str) and seat not in seats:
        yield ("wishes", "seat"), f"it takes the id of a seat; {known_names(seat, seats)}"
