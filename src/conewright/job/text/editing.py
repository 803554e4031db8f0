"""Changing the text of a job from a form: only the values change, every comment stays.

Each change is checked against what it should give: where the edited text does not read as exactly
the wanted values, nothing of it is used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, cast

import tomlkit
from tomlkit.items import AoT, InlineTable

from conewright.errors import BadInputError, JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.document.likeness import merged
from conewright.job.document.lists import BUY, entries_by_key
from conewright.job.document.paths import Steps, inside
from conewright.job.text.labels import PAGED_TABLES, Field, Part, field_at, part_of, place_in_file
from conewright.job.text.parsing import MARK, job_text

__all__ = [
    "Refused",
    "found_words",
    "in_words",
    "update_field",
    "with_entry",
    "with_proposal",
    "with_values",
    "without_entries",
    "without_place",
]

_REWORDED = (
    (", without quotes or unit", ""),
    (", without quotes", ""),
    ("a text in quotes with a unit", "a value with its unit"),
    ("a text in quotes", "a text"),
    ("a list in [ ]", "a list"),
    ("true or false", "yes or no"),
)


@dataclass(eq=False)
class Refused(Exception):
    """A form whose values make no job: words for each field, and what belongs to none of them."""

    beside: Mapping[str, str]
    others: tuple[str, ...]

    def __str__(self) -> str:
        return "; ".join((*self.beside.values(), *self.others))


def with_values(text: str, values: Mapping[str, object]) -> str:
    """Return the text of a job with some fields changed.

    Args:
        text: of a job in TOML that can be read.
        values: path of a field (`door-fl.mount.cutout`) to its new plain value, None for none.

    Raises:
        BadInputError: a path leads nowhere.
        Refused: the changed text is no job.

    """
    job = job_text(text).job
    fields = {path: field_at(job, path) for path in values}
    wanted, document = _opened(text)
    for path, value in values.items():
        part = part_of(job, path.partition(".")[0])
        place = _in_list(fields[path], path)
        steps = fields[path].steps if place is None else place[0]
        if place is not None:
            value = _whole_list(job, part, steps, values, fields)
            # A list of values of its own may be empty, one that is a single thing may not.
            value = value or (None if steps != fields[path].steps else value)
        for tables in (wanted, document):
            _set(_owner(tables, part), steps, value)
    changed = _checked(text, tomlkit.dumps(document), wanted)
    _hold(
        changed, [(field, part_of(job, path.partition(".")[0])) for path, field in fields.items()]
    )
    return changed


def with_proposal(text: str, id: str, values: Mapping[str, object]) -> str:
    """Return the text of a job with a proposal changed, or added where there is none of that id.

    Args:
        text: of a job in TOML that can be read.
        id: of the proposal.
        values: its fields; None takes one out; `set` is a table of changes.

    Raises:
        Refused: the changed text is no job; a row of `set` is named by its key.

    """
    entries = job_text(text).tables.get("proposal", [])
    index = next((i for i, entry in enumerate(entries) if entry.get("id") == id), None)
    if index is None:
        given = {name: value for name, value in values.items() if value is not None}
        changed = with_entry(text, "proposal", {"id": id, **given})
    elif all(entries[index].get(name) == value for name, value in values.items()):
        return text
    else:
        wanted, document = _opened(text)
        for tables in (wanted, document):
            for name, value in values.items():
                update_field(tables["proposal"][index], name, value)
        changed = _checked(text, tomlkit.dumps(document), wanted)
    _hold_proposal(changed, id, values)
    return changed


def with_entry(text: str, kind: str, entry: Mapping[str, object]) -> str:
    """Return the text of a job with an entry at the end of one of its lists.

    Raises:
        Refused: the changed text cannot be written; whether it is a job is not looked at.

    """
    wanted, document = _opened(text)
    wanted[kind] = [*wanted.get(kind, []), dict(entry)]
    there = document.get(kind)
    if there is None or isinstance(there, AoT):
        entries = there if there is not None else tomlkit.aot()
        entries.append(_table(entry))
        document[kind] = entries
    else:
        there.append(_inline(entry))
    return _checked(text, tomlkit.dumps(document), wanted)


def without_entries(text: str, kind: str, *ids: str) -> str:
    """Return the text of a job without some entries of a list; a list without entries goes too.

    Raises:
        BadInputError: there is no such entry.
        Refused: the text would not be a job any more.

    """
    return _without(text, kind, ids)


def without_place(text: str, id: str) -> str:
    """Return the text of a job without one place; those that are like it keep what they copied.

    Raises:
        BadInputError: there is no such place.
        Refused: something else of the job still names it.

    """
    return _without(text, "location", [id], before=lambda tables: _let_copies_stand(tables, id))


def _without(
    text: str, kind: str, ids: Sequence[str], *, before: Callable[[Any], None] | None = None
) -> str:
    wanted, document = _opened(text)
    known = [entry.get("id") for entry in wanted.get(kind, [])]
    for id in ids:
        if id not in known:
            raise BadInputError(f"there is no {kind} {id!r} in this job")
    for tables in (wanted, document):
        if before is not None:
            before(tables)
        for index in sorted(map(known.index, ids), reverse=True):
            del tables[kind][index]
        if not tables[kind]:
            del tables[kind]
    changed = _checked(text, tomlkit.dumps(document), wanted)
    _hold(changed, [])
    return changed


def _let_copies_stand(tables: Any, id: str) -> None:
    """Write what each place copies from one that goes into it."""
    entries = tables["location"]
    goes = _plain(next(entry for entry in entries if entry.get("id") == id))
    copied = {name: value for name, value in goes.items() if name not in ("id", "name")}
    for entry in entries:
        if entry.get("like") == id:
            own = {name: value for name, value in _plain(entry).items() if name != "like"}
            for name, value in {"like": None, **merged(copied, own)}.items():
                _set(entry, (name,), value)


def _plain(table: Any) -> dict[str, Any]:
    """Return a table without what TOML writes around it."""
    return dict(table.unwrap() if hasattr(table, "unwrap") else table)


# --- Setting ------------------------------------------------------------------------------------


def _opened(text: str) -> tuple[dict[str, Any], tomlkit.TOMLDocument]:
    """Return the plain values in a text and the same with all its comments, both to be changed."""
    read = job_text(text)
    return deepcopy(read.tables), tomlkit.parse(read.text)


def _owner(tables: Any, part: Part) -> Any:
    """Return the table of a part, made where a table that stands alone is missing."""
    if part.kind in PAGED_TABLES:
        if part.kind not in tables:
            tables[part.kind] = tomlkit.table() if isinstance(tables, tomlkit.TOMLDocument) else {}
        return tables[part.kind]
    return next(entry for entry in tables[part.kind] if entry.get("id") == part.id)


def _in_list(field: Field, path: str) -> tuple[Steps, int] | None:
    """Return the steps to the list that one value stands in, and where; None for a whole field."""
    *above, last = field.steps
    if field.kind == "list" and path != field.path:
        return field.steps, int(path.rpartition(".")[2]) - 1
    return (tuple(above), last) if isinstance(last, int) else None


def _whole_list(
    job: Job, part: Part, steps: Steps, values: Mapping[str, object], fields: Mapping[str, Field]
) -> list[object]:
    """Return a list of a part with all of its values that are changed."""
    old = inside(_owner(job.to_dict(), part), *steps)
    entries = list(old) if isinstance(old, list) else []
    for path, value in values.items():
        place = _in_list(fields[path], path)
        if place is not None and (path.partition(".")[0], place[0]) == (part.id, steps):
            entries += [None] * (place[1] + 1 - len(entries))
            entries[place[1]] = value
    return [each for each in entries if each is not None]


def _set(table: Any, steps: Sequence[str | int], value: object) -> None:
    """Put a value below a table; tables on the way are made, None takes the field out."""
    *above, last = steps
    for step in above:
        if step not in table:
            if value is None:
                return
            table[step] = {} if type(table) is dict else tomlkit.inline_table()
        table = table[step]
    if value is None:
        table.pop(last, None)
    elif last not in table or table[last] != value or type(table[last]) is bool:
        table[last] = value if type(table) is dict else _item(value)


def update_field(table: Any, name: str, value: object) -> None:
    """Change one field of a proposal; of its changes and entries only those that differ."""
    if name == "add" and isinstance(value, Mapping):
        _update_added(table, value)
        return
    if name == BUY and value:
        _update_bought(table, cast(Sequence[Mapping[str, object]], value))
        return
    if name != "set" or name not in table or not isinstance(value, Mapping):
        _set(table, (name,), value)
        return
    inner = table[name]
    for key in [key for key in inner if key not in value]:
        del inner[key]
    for key, each in value.items():
        _set(inner, (key,), each)


def _update_added(table: Any, wanted: Mapping[str, Sequence[Mapping[str, object]]]) -> None:
    """Change what a proposal adds: entries that stay are as they were written."""
    plain = type(table) is dict
    if not wanted or isinstance(table, InlineTable):
        _set(table, ("add",), wanted or None)
        return
    if "add" not in table:
        table["add"] = {} if plain else tomlkit.table(is_super_table=True)
    there = table["add"]
    for name in [name for name in there if name not in wanted]:
        del there[name]
    for name, entries in wanted.items():
        if plain or name not in there or not isinstance(there[name], AoT):
            there[name] = list(map(dict, entries)) if plain else _added(wanted)[name]
        else:
            _update_entries(there[name], name, entries)


def _update_bought(table: Any, wanted: Sequence[Mapping[str, object]]) -> None:
    """Change what is bought for a proposal: entries that stay are as they were written."""
    if isinstance(table.get(BUY), AoT):
        _update_entries(table[BUY], BUY, wanted)
    elif type(table) is dict:
        table[BUY] = list(map(dict, wanted))
    elif BUY not in table and not isinstance(table, InlineTable):
        table[BUY] = _entries(wanted)
    elif table.get(BUY) != wanted:
        table[BUY] = tomlkit.array()
        for entry in wanted:
            table[BUY].append(_inline(entry))


def _update_entries(there: AoT, name: str, wanted: Sequence[Mapping[str, object]]) -> None:
    """Change the entries of a list; those that stay, by what tells them apart, stay in place."""
    now = entries_by_key(name, list(wanted))
    old = entries_by_key(name, [_plain(entry) for entry in there])
    places = list(old)
    for index in reversed(range(len(places))):
        if places[index] not in now:
            del there[index]
    left = [key for key in places if key in now]
    for key, entry in now.items():
        if key not in old:
            there.append(_table(entry))
            continue
        for field in (*(field for field in old[key] if field not in entry), *entry):
            _set(there[left.index(key)], (field,), entry.get(field))


def _item(value: object) -> Any:
    """Return a plain value as TOML: tables in one line, whole amounts without a point."""
    if isinstance(value, Mapping):
        return _inline(value)
    if isinstance(value, float) and value.is_integer():
        return tomlkit.item(int(value))
    return tomlkit.item(value)


def _inline(entry: Mapping[str, object]) -> Any:
    table = tomlkit.inline_table()
    for name, value in entry.items():
        table[name] = _item(value)
    return table


def _table(entry: Mapping[str, object]) -> Any:
    table = tomlkit.table()
    for name, value in entry.items():
        if name == "set" and isinstance(value, Mapping):
            changes = tomlkit.table()
            for key, each in value.items():
                changes[key] = _item(each)
            table[name] = changes
        elif name == "add" and isinstance(value, Mapping):
            table[name] = _added(value)
        elif name == BUY:
            table[name] = _entries(cast(Sequence[Mapping[str, object]], value))
        else:
            table[name] = _item(value)
    return table


def _entries(entries: Sequence[Mapping[str, object]]) -> AoT:
    """Return entries as TOML, each under a header of its own."""
    found = tomlkit.aot()
    for entry in entries:
        found.append(_table(entry))
    return found


def _added(lists: Mapping[str, Sequence[Mapping[str, object]]]) -> Any:
    """Return what a proposal adds as TOML: each entry under a header of its own."""
    table = tomlkit.table(is_super_table=True)
    for name, entries in lists.items():
        table[name] = _entries(entries)
    return table


def _checked(old: str, new: str, wanted: Mapping[str, Any]) -> str:
    """Return the new text where it reads as it should, with the mark that the old one had."""
    try:
        right = job_text(new).tables == wanted
    except JobError:
        right = False
    if not right:
        told = "this file is written in a way that cannot be edited here; download it and edit it"
        raise Refused({}, (told,))
    return MARK + new if old.startswith(MARK) else new


# --- Refusing -----------------------------------------------------------------------------------


def _hold(text: str, fields: Iterable[tuple[Field, Part]]) -> None:
    """Raise Refused where a text is no job, with the words for each field beside it."""
    try:
        _ = job_text(text).job
    except JobError as error:
        places = {place_in_file(field, part): field.path for field, part in fields}
        raise _refused(error.problems, places) from None


def _hold_proposal(text: str, id: str, values: Mapping[str, object]) -> None:
    try:
        _ = job_text(text).job
    except JobError as error:
        start = f"proposal[{id}]"
        # What is wrong in a part added or bought is told with its path: it has no field of its own.
        places = {f"{start}.{name}": name for name in values if name not in ("set", "add", BUY)}
        changes = values.get("set")
        keys = changes if isinstance(changes, Mapping) else {}
        places |= {f'{start}.set."{key}"': key for key in keys}
        raise _refused(error.problems, places) from None


def _refused(problems: Iterable[Problem], places: Mapping[str, str]) -> Refused:
    beside: dict[str, str] = {}
    others: list[str] = []
    for problem in problems:
        path = _field_of(problem.path, places)
        if path is None:
            others.append(in_words(str(problem)))
        else:
            beside.setdefault(path, in_words(found_words(problem.found, problem.allowed)))
    return Refused(beside, tuple(others))


def _field_of(path: str, places: Mapping[str, str]) -> str | None:
    """Return the field a problem belongs to: its own, the list or table it stands in, or its first.

    A list whose values have a field each has none itself.
    """
    if path in places:
        return places[path]
    above = [place for place in places if path.startswith((f"{place}[", f"{place}."))]
    within = [place for place in places if place.startswith(f"{path}[")]
    return places[max(above, key=len)] if above else places[within[0]] if within else None


def found_words(found: str, allowed: str) -> str:
    """Return what was found and what is wanted as one sentence that quotes it once."""
    return allowed if allowed.startswith(found) else f"Found {found}: {allowed}"


def in_words(text: str) -> str:
    """Return what a job file refuses in the words of a form, which has no quotes to put."""
    for written, said in _REWORDED:
        text = text.replace(written, said)
    return text
