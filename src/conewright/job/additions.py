"""What a plan puts into a job and takes out of it: whole entries of the job's lists."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from conewright.errors import Problem
from conewright.job.document.likeness import expand_likeness
from conewright.job.document.lists import LISTS, spoken
from conewright.job.document.parts import UNKNOWN, UNUSED
from conewright.job.document.paths import Steps, inside, known_names, path_text, show
from conewright.job.document.problems import MOST_PROBLEMS
from conewright.job.document.references import TARGET_LISTS, ids_of, names_in_load

__all__ = ["PLANNED_LISTS", "Altered", "altered", "idle_problems", "is_field", "named_in"]

PLANNED_LISTS = (*(name for name in TARGET_LISTS if name != "seat"), "lead")
"""Lists of a job whose entries a plan may add and remove: whoever listens stays."""

STANDALONE = ("channel", "feed", "lead")
"""What is of use without anything that names it; all else that a plan adds is named somewhere."""

AT = {"reading": "at", "finding": "at", "lead": "channel"}
"""What goes with a part that is taken out: the list, and its field that names the part."""

_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)*")


@dataclass(frozen=True)
class Altered:
    """A job's plain values with entries added and removed.

    Attributes:
        raw: the tables.
        kept: of each list with other entries than before, which of the old ones stay, by index.
        added: where each added entry stands, and how a problem names what was written of it.
        gone: the ids that are taken out.
        problems: what cannot be done.

    """

    raw: dict[str, Any]
    kept: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    added: Mapping[Steps, str] = field(default_factory=dict)
    gone: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


def altered(
    raw: Mapping[str, Any], *, add: object, remove: Sequence[str], owner: str, known: bool
) -> Altered:
    """Return a job's tables with a plan's entries in them, and without what it takes out.

    Args:
        raw: plain values under the names of the file, `like` expanded.
        add: entries by the name of their list.
        remove: ids of entries, a wire as function@channel; fields (`id.field`) are passed over.
        owner: what the plan is called in a problem: `proposal[rear-pair]`.
        known: whether the job is one: then its lists hold what they must.

    """
    problems: list[Problem] = []
    gone = _gone(raw, remove, owner, problems, known=known)
    new = dict(_entries(raw, add, gone, owner, problems))
    if problems or not (gone or new):
        return Altered(dict(raw), problems=tuple(problems[:MOST_PROBLEMS]))
    names = tuple(_told(raw, steps) for steps in gone)
    whole, unlike = _made_whole(raw, new, owner)
    out = {*gone, *_going_with(raw, names)}
    lists = {str(steps[0]) for steps in out} | set(new)
    kept = {
        name: tuple(i for i in range(len(_listed(raw, name))) if (name, i) not in out)
        for name in lists
    }
    tables = dict(raw)
    added: dict[Steps, str] = {}
    for name in lists:
        entries = [raw[name][index] for index in kept[name]]
        for entry in whole.get(name, ()):
            told = path_text(("add", name, 0), {"add": {name: [entry]}})
            added[name, len(entries)] = f"{owner}.{told}"
            entries.append(entry)
        tables[name] = entries
    told_of = _without_what_names(tables, names)
    return Altered(told_of, kept, added, names, tuple(unlike))


def is_field(word: str) -> bool:
    """Whether what is to be taken out is one field, `id.field`, and no whole entry."""
    return "." in word


def named_in(value: object, names: Sequence[str]) -> str | None:
    """Return the first of some names that stands as a word in a text of the file; None for none."""
    words = set(_WORD.findall(value)) if isinstance(value, str) else set()
    return next((name for name in names if name in words), None)


def idle_problems(raw: Mapping[str, Any], plan: Altered) -> Iterator[Problem]:
    """Yield what is added and of no use: a place that no load names, a channel that drives none.

    Args:
        raw: the tables with all that the plan does.
        plan: what it adds.

    """
    loads = [inside(each, "load") for each in _listed(raw, "channel")]
    naming = _naming(raw) if plan.added else {}
    for steps, where in plan.added.items():
        name, entry = str(steps[0]), inside(raw, *steps)
        load = inside(entry, "load")
        used = bool(naming.get(str(inside(entry, "id")), set()) - {steps})
        if name == "channel" and isinstance(load, str) and not names_in_load(load):
            # An output that drives no place may feed an amplifier.
            if load == UNUSED and used:
                continue
            allowed = "a channel that is added drives a place: name one in its load"
            yield Problem(f"{where}.load", show(load), allowed)
        if name in STANDALONE or (name == "location" and UNKNOWN in loads):
            continue
        if not used:
            yield Problem(where, f"a {spoken(name)} that nothing uses", USED_BY.get(name, NAMED))


NAMED = "something else of the job names it"
USED_BY = {
    "location": "name it in the load of a channel",
    "driver": "a place takes it: location.driver",
}


# --- Taking out -----------------------------------------------------------------------------------


def _gone(
    raw: Mapping[str, Any],
    remove: Sequence[str],
    owner: str,
    problems: list[Problem],
    *,
    known: bool,
) -> tuple[Steps, ...]:
    """Return where what is taken out stands; what cannot be goes to the problems."""
    places = {
        told: steps for name in PLANNED_LISTS for steps, told in _told_of_list(raw, name) if told
    }
    gone: dict[Steps, None] = {}
    for word in remove:
        if is_field(word):
            continue
        if word not in places:
            problems.append(Problem(f"{owner}.remove", show(word), known_names(word, places)))
        else:
            gone[places[word]] = None
    for name in ("channel", "location", "driver") if known else ():
        left = len(raw.get(name, ())) - sum(steps[0] == name for steps in gone)
        if gone and left < 1:
            allowed = f"at least one {spoken(name)} stays"
            problems.append(Problem(f"{owner}.remove", f"every {spoken(name)} of the job", allowed))
    return tuple(gone)


def _listed(raw: Mapping[str, Any], name: str) -> list[Any]:
    """Return the entries of a list; none where the file has something else there."""
    entries = raw.get(name)
    return entries if isinstance(entries, list) else []


def _told_of_list(raw: Mapping[str, Any], name: str) -> Iterator[tuple[Steps, str]]:
    for index, _ in enumerate(_listed(raw, name)):
        yield (name, index), _told(raw, (name, index))


def _told(raw: Mapping[str, Any], steps: Steps) -> str:
    """Return what an entry is called: its id, or what tells it apart with an @ between."""
    told = (inside(raw, *steps, each) for each in LISTS[str(steps[0])].told_by)
    return "@".join(each for each in told if isinstance(each, str))


def _going_with(raw: Mapping[str, Any], names: Sequence[str]) -> Iterator[Steps]:
    """Yield what goes with parts that are taken out: readings, findings and wires there."""
    for name, at in AT.items():
        for index, entry in enumerate(_listed(raw, name)):
            if inside(entry, at) in names:
                yield name, index


def _without_what_names(tables: dict[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """Return tables whose job says nothing of what is gone: complaints there, values made sure."""
    about = tables.get("job")
    if not names or not isinstance(about, dict):
        return tables
    left = dict(about)
    for key, between in (("complaints", "@"), ("sure", ".")):
        if isinstance(texts := about.get(key), list):
            left[key] = [each for each in texts if not _names(each, between, names)]
    return {**tables, "job": left}


def _names(text: object, between: str, names: Sequence[str]) -> bool:
    if not isinstance(text, str):
        return False
    before, _, behind = text.partition(between)
    return (behind if between == "@" else before) in names


# --- Putting in -----------------------------------------------------------------------------------


def _entries(
    raw: Mapping[str, Any],
    add: object,
    gone: Sequence[Steps],
    owner: str,
    problems: list[Problem],
) -> Iterator[tuple[str, list[Any]]]:
    """Yield the entries to be put in, by list; what cannot be goes to the problems."""
    taken = {
        id: name
        for name in TARGET_LISTS
        for id, index in ids_of(raw, name).items()
        if (name, index) not in gone
    }
    for name, entries in add.items() if isinstance(add, Mapping) else ():
        where = f"{owner}.add.{show(name) if name not in LISTS else name}"
        if name not in PLANNED_LISTS:
            problems.append(Problem(where, "a list", known_names(name, PLANNED_LISTS)))
            continue
        if not isinstance(entries, Sequence) or not entries or isinstance(entries, str):
            allowed = f"entries are wanted, each as [[proposal.add.{name}]]"
            problems.append(Problem(where, show(entries), allowed))
            continue
        for entry in entries:
            id = inside(entry, "id")
            if isinstance(id, str) and id in taken:
                allowed = f"an id is used once, and a {spoken(taken[id])} has it already"
                problems.append(Problem(f"{where}[{id}].id", show(id), allowed))
            elif isinstance(id, str):
                taken[id] = name
        yield name, list(entries)


def _made_whole(
    raw: Mapping[str, Any], new: Mapping[str, list[Any]], owner: str
) -> tuple[Mapping[str, list[Any]], list[Problem]]:
    """Return added entries with what each copies from a place of the job or of the plan."""
    places = new.get("location", [])
    old = _listed(raw, "location")
    count = len(old)
    expanded = expand_likeness({"location": [*old, *places]})
    problems = [
        Problem(f"{owner}.add.{each.problem.path}", each.problem.found, each.problem.allowed)
        for each in expanded.problems
        if isinstance(each.steps[1], int) and each.steps[1] >= count
    ]
    if "location" not in new:
        return new, problems
    return {**new, "location": expanded.raw["location"][count:]}, problems


def _naming(raw: Mapping[str, Any]) -> dict[str, set[Steps]]:
    """Return the entries and tables in whose texts each word stands, those of plans left out."""
    found: dict[str, set[Steps]] = {}
    for name, value in raw.items():
        for index, entry in enumerate(value if isinstance(value, list) else [value]):
            for text in _texts(entry) if name != "proposal" else ():
                for word in _WORD.findall(text):
                    found.setdefault(word, set()).add((name, index))
    return found


def _texts(node: object) -> Iterator[str]:
    if isinstance(node, str):
        yield node
    elif isinstance(node, Mapping):
        for each in node.values():
            yield from _texts(each)
    elif isinstance(node, list):
        for each in node:
            yield from _texts(each)
