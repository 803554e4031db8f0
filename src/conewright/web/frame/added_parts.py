"""Parts that a proposal adds or buys, as its form sends and shows them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from conewright.errors import JobError
from conewright.job.document.lists import BUY, LISTS, entries_by_key, spoken
from conewright.job.quantity.values import with_unit
from conewright.job.text.parsing import job_text

__all__ = ["AddedPart", "added_parts", "added_views", "bought_parts", "bought_views", "words_in"]

AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True)
class AddedPart:
    """One part that a proposal adds or buys: what its box is called, and what it is in words."""

    key: str
    words: str


def words_in(text: str) -> tuple[str, ...]:
    """Return the words of a field that has semicolons or commas between them."""
    return tuple(filter(None, (each.strip() for each in text.replace(",", ";").split(";"))))


def added_parts(fields: Mapping[str, str]) -> dict[str, tuple[Mapping[str, Any], ...]]:
    """Return what a proposal adds as its form sent it: what it had, less what is ticked, and more.

    Args: fields: of the form; `added` holds the parts so far as JSON.
    """
    found: dict[str, tuple[Mapping[str, Any], ...]] = {}
    for name, entries in _so_far(fields.get("added", "")).items():
        keyed = entries_by_key(name, entries)
        left = (e for key, e in keyed.items() if f"unadd:{_key(name, key)}" not in fields)
        found[name] = tuple(left)
    for name, entry in (("location", _place(fields)), ("channel", _pair(fields))):
        if entry:
            found[name] = (*found.get(name, ()), entry)
    return {name: entries for name, entries in found.items() if entries}


def added_views(add: Mapping[str, tuple[Mapping[str, Any], ...]]) -> tuple[AddedPart, ...]:
    """Return the parts that a proposal adds, each with a box to take it back."""
    return tuple(
        AddedPart(_key(name, key), _words(name, entry))
        for name, entries in add.items()
        if name in LISTS
        for key, entry in entries_by_key(name, [dict(each) for each in entries]).items()
    )


def bought_parts(
    fields: Mapping[str, str], buy: Sequence[Mapping[str, Any]]
) -> tuple[Mapping[str, Any], ...]:
    """Return what is bought for a proposal, less what is ticked in its form."""
    keyed = entries_by_key(BUY, list(map(dict, buy)))
    return tuple(e for key, e in keyed.items() if f"unbuy:{_key(BUY, key)}" not in fields)


def bought_views(buy: Sequence[Mapping[str, Any]]) -> tuple[AddedPart, ...]:
    """Return what is bought for a proposal, each with a box to take it back."""
    keyed = entries_by_key(BUY, list(map(dict, buy)))
    return tuple(AddedPart(_key(BUY, key), _bought(entry)) for key, entry in keyed.items())


def _bought(entry: Mapping[str, Any]) -> str:
    per = entry.get("per", "piece")
    price = entry.get("price")
    paid = " ".join(filter(None, ("at", f"{price or 0:.2f}", entry.get("currency", ""))))
    cost = "without a price" if price is None else f"{paid} a {per}"
    return f"{entry['name']}, {entry['part']}: {entry['count']:g} by the {per}, {cost}"


def _so_far(text: str) -> dict[str, list[Any]]:
    """Return the parts that a form carries along; none where somebody has changed the text."""
    try:
        tables = job_text(text, "json").tables if text else {}
    except JobError:
        return {}
    if not isinstance(tables, dict):
        return {}
    return {
        name: entries
        for name, entries in tables.items()
        if name in LISTS and isinstance(entries, list)
    }


def _key(name: str, key: tuple[str, ...]) -> str:
    return ":".join((name, *key))


def _words(name: str, entry: Mapping[str, Any]) -> str:
    told = [str(entry[each]) for each in ("name", "kind", "driver", "load") if entry.get(each)]
    told += [f"like {entry['like']}"] if entry.get("like") else []
    id = entry.get("id") or "@".join(str(entry.get(each, "")) for each in LISTS[name].told_by)
    return f"{spoken(name)} {id}" + (f": {', '.join(told)}" if told else "")


def _place(fields: Mapping[str, str]) -> dict[str, Any]:
    """Return the place that is written into the form; empty for none."""
    entry: dict[str, Any] = dict(_texts(fields, "place", ("id", "name", "like", "kind", "driver")))
    at = [fields.get(f"place:{axis}", "").strip() for axis in AXES]
    if any(at):
        entry["at"] = [with_unit(each, dimension="length", like="1 m") for each in at]
    return entry


def _pair(fields: Mapping[str, str]) -> dict[str, Any]:
    """Return the channel that is written into the form; empty for none."""
    entry: dict[str, Any] = dict(_texts(fields, "pair", ("id", "load")))
    length = fields.get("pair:length", "").strip()
    if length:
        entry["cable"] = {"length": with_unit(length, dimension="length", like="1 m")}
    return entry


def _texts(
    fields: Mapping[str, str], start: str, names: tuple[str, ...]
) -> Iterator[tuple[str, str]]:
    for name in names:
        text = fields.get(f"{start}:{name}", "").strip()
        if text:
            yield name, text
