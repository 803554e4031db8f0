"""What the parts of a job say about each other: ids, loads, drivers, places of readings.

All of it works on plain values, so that it is checked even where other fields are refused.
"""

from collections.abc import Collection, Iterator, Mapping
from functools import lru_cache
from itertools import islice
from typing import Any

from conewright.errors import LoadError, Problem
from conewright.job.document.fault_names import (
    AMPLIFIER_OFF,
    CHANNEL_FAULTS,
    FAULTS,
    PLACE_FAULTS,
    VEHICLE_FAULTS,
)
from conewright.job.document.lists import LISTS
from conewright.job.document.parts import (
    AS_FOUND,
    LINE,
    RADIO,
    UNKNOWN,
    UNUSED,
    eras_without,
)
from conewright.job.document.paths import Steps, inside, known_names, path_text, show
from conewright.job.document.places import on_frame
from conewright.job.document.problems import MOST_PROBLEMS, Found
from conewright.job.quantity.expression import parse_load

__all__ = [
    "GROUPS",
    "TARGET_LISTS",
    "TARGET_TABLES",
    "ids_of",
    "names_in_load",
    "reference_problems",
]

# A proposal changes what has an id, but no proposal, and no recording: that has been made.
TARGET_LISTS = tuple(
    name
    for name, each in LISTS.items()
    if each.told_by == ("id",) and name not in ("proposal", "recording")
)
TARGET_TABLES = ("head_unit", "vehicle", "converter")
ON_FRAME_FAULTS = frozenset({"tweeter-open", "capacitor-dried", "lead-intermittent"})
"""Faults of a tweeter that sits on the frame of another driver."""
RESERVED = (*TARGET_TABLES, "job", "wishes")
TAKEN = {
    "location": (UNKNOWN, UNUSED),
    "channel": (LINE,),
    "amplifier": (RADIO,),
}
"""Words that mean something where such an id may stand."""

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
        _source_problems,
        _amplifier_problems,
        _place_problems,
        _recording_problems,
        _finding_problems,
        _wish_problems,
        _era_problems,
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
            taken = (*RESERVED, *TAKEN.get(table, ()))
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


def _source_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """What drives a channel is an amplifier of the file, and what feeds it the radio."""
    amplifiers, channels = ids_of(raw, "amplifier"), ids_of(raw, "channel")
    driven = dict(_driven(raw))
    for index, name in _texts(raw, "channel", "driven_by"):
        if name != RADIO and name not in amplifiers:
            known = known_names(name, (RADIO, *amplifiers))
            yield ("channel", index, "driven_by"), f"it takes the id of an amplifier; {known}"
    for index, name in _texts(raw, "channel", "input"):
        here, there = driven.get(index), driven.get(channels.get(name, -1))
        steps = ("channel", index, "input")
        if name != LINE and name not in channels:
            known = known_names(name, (LINE, *channels))
            yield steps, f"it takes the id of a channel of the radio, or {LINE}; {known}"
        elif here is not None and there == here:
            yield steps, f"a loop: {name} is driven by {here} itself, which would feed itself"
        elif here is not None and there is not None:
            yield steps, f"{name} is driven by {there}; an amplifier is fed by the radio"


def _driven(raw: Mapping[str, Any]) -> Iterator[tuple[int, str]]:
    """Yield the channels that an amplifier drives, each with its id."""
    for index, name in _texts(raw, "channel", "driven_by"):
        if name != RADIO:
            yield index, name


def _amplifier_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """An amplifier drives something, and what feeds it is a cable to an amplifier."""
    used = {name for _, name in _driven(raw)}
    for index, name in _texts(raw, "amplifier", "id"):
        if name not in used:
            text = f'it drives nothing: no channel has driven_by = "{name}"'
            yield ("amplifier", index, "id"), text
    feeds, to = ids_of(raw, "feed"), dict(_texts(raw, "feed", "to"))
    for index, name in _texts(raw, "amplifier", "feed"):
        steps = ("amplifier", index, "feed")
        if name not in feeds:
            yield steps, f"it takes the id of a supply cable; {known_names(name, feeds)}"
        elif to.get(feeds[name]) != "amplifier":
            yield steps, f'{name} feeds the radio: a cable to an amplifier has to = "amplifier"'


@lru_cache(maxsize=1024)
def names_in_load(text: str) -> tuple[str, ...]:
    """Return the names in a load; none where it cannot be read, which the field reports."""
    if text in (UNKNOWN, UNUSED):
        return ()
    try:
        return parse_load(text).locations
    except LoadError:
        return ()


def _place_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """Readings and complaints are about something that is there."""
    places = [*RESERVED[:-1], *(name for table in TARGET_LISTS for name in ids_of(raw, table))]
    places += _on_frames(raw)
    places += [word for word in GROUPS if word not in places]
    for index, name in _texts(raw, "reading", "at"):
        if name not in places:
            yield (
                ("reading", index, "at"),
                f"it takes a place in the job; {known_names(name, places)}",
            )
    for index, name in _texts(raw, "recording", "at"):
        if name not in places:
            text = f"it takes a place in the job; {known_names(name, places)}"
            yield ("recording", index, "at"), text
    complaints = inside(raw, "job", "complaints")
    for index, text in enumerate(complaints if isinstance(complaints, list) else ()):
        name = text.partition("@")[2] if isinstance(text, str) else ""
        if name and name not in places:
            steps = ("job", "complaints", index)
            yield steps, f"the word behind @ is a place in the job; {known_names(name, places)}"


def _recording_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """A recording is told once, and readings are taken from those of the file."""
    known = ids_of(raw, "recording")
    for index, name in _texts(raw, "recording", "id"):
        if known[name] != index:
            yield ("recording", index, "id"), f"recording[{known[name] + 1}] has this id already"
    entries = raw.get("reading")
    for number, entry in enumerate(entries if isinstance(entries, list) else ()):
        taken = inside(entry, "from")
        for index, name in enumerate(taken if isinstance(taken, list) else ()):
            if isinstance(name, str) and name not in known:
                text = f"it takes the id of a recording; {known_names(name, known)}"
                yield ("reading", number, "from", index), text


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
        known: Collection[str] = ids_of(raw, table)
        if table == "location" and fault in ON_FRAME_FAULTS:
            known = [*known, *_on_frames(raw)]
        if fault in faults and at not in known:
            return f"{fault} is at {kind}; {known_names(at, known)}"
    amplifiers = ids_of(raw, "amplifier")
    if fault == AMPLIFIER_OFF and amplifiers:
        wrong = f"{fault} is at an amplifier; {known_names(at, amplifiers)}"
        return "" if at in amplifiers else wrong
    if fault in VEHICLE_FAULTS and at != "vehicle":
        return f'{fault} is at "vehicle"'
    return ""


def _on_frames(raw: Mapping[str, Any]) -> list[str]:
    """Return the ids that a tweeter on the frame at each place has, if any driver carries one.

    Which driver sits there is another matter: a plan may have taken it out.
    """
    entries = raw.get("driver")
    drivers = entries if isinstance(entries, list) else ()
    if all(inside(each, "tweeter") is None for each in drivers):
        return []
    return [on_frame(name) for name in ids_of(raw, "location")]


def _is_radios(channel: object) -> bool:
    return inside(channel, "driven_by") in (None, RADIO)


def _era_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """A mono radio has one output, and nothing to set but its knobs."""
    era, channels = inside(raw, "head_unit", "era"), raw.get("channel")
    entries = channels if isinstance(channels, list) else ()
    if era == "mono" and sum(map(_is_radios, entries)) > 1:
        text = "a mono radio has one output: write all that hangs on it into one channel's load"
        yield ("head_unit", "era"), text
    if era in eras_without("high-pass"):
        for index, entry in enumerate(entries):
            if _is_radios(entry) and inside(entry, "high_pass") not in (None, "off"):
                text = f"a radio of the era {era} has knobs, and no high-pass to set"
                yield ("channel", index, "high_pass"), text


def _wish_problems(raw: Mapping[str, Any]) -> Iterator[Complaint]:
    """The seat that counts is one of the file's."""
    seat, seats = inside(raw, "wishes", "seat"), ids_of(raw, "seat")
    if isinstance(seat, str) and seat not in seats:
        yield ("wishes", "seat"), f"it takes the id of a seat; {known_names(seat, seats)}"
