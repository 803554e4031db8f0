"""Places that are like another: `like` copies a location, then its own fields override."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from conewright.errors import Problem
from conewright.job.document.paths import Steps, known_names, path_text, show
from conewright.job.document.problems import Found

__all__ = ["Expanded", "expand_likeness", "merged"]

NOT_COPIED = ("id", "name", "like", "own")
"""What a place has for itself: left and right age apart."""


@dataclass(frozen=True, slots=True)
class Expanded:
    """A file's tables without any `like`, and what was wrong with those there were.

    own: for each entry of `location` that copies another, the table as it was written.
    """

    raw: dict[str, Any]
    own: Mapping[int, Mapping[str, Any]]
    problems: tuple[Found, ...]

    def is_news(self, found: Found) -> bool:
        """Whether a problem stands where it was written, not in a copy of that place."""
        if found.steps[:1] != ("location",) or len(found.steps) < 3:
            return True
        index = found.steps[1]
        if not isinstance(index, int) or index not in self.own:
            return True
        # What a copy lacks, its original lacks too.
        if found.missing:
            return found.steps[2] in NOT_COPIED
        return _written(self.own[index], found.steps[2:])


def expand_likeness(raw: Mapping[str, Any]) -> Expanded:
    """Replace every `like` by a copy of the place it names."""
    entries = raw.get("location")
    if not isinstance(entries, list):
        return Expanded(dict(raw), {}, ())
    reader = _Reader(entries)
    whole = [reader.whole(index) for index in range(len(entries))]
    own = {i: entry for i, entry in enumerate(entries) if _has_like(entry)}
    found = tuple(Found(("location", i, "like"), bad) for i, bad in reader.problems.items())
    return Expanded({**raw, "location": whole}, own, found)


def merged(base: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Return `base` with the fields of `over` in place of its own, table by table."""
    result = dict(base)
    for key, value in over.items():
        old = result.get(key)
        if isinstance(old, dict) and isinstance(value, dict):
            result[key] = merged(old, value)
        else:
            result[key] = value
    return result


class _Reader:
    """The entries of `location`, made whole one after the other."""

    def __init__(self, entries: list[Any]) -> None:
        self._entries = entries
        self._by_id: dict[str, int] = {
            entry["id"]: index
            for index, entry in reversed(list(enumerate(entries)))
            if isinstance(entry, dict) and isinstance(entry.get("id"), str)
        }
        self._done: dict[int, Any] = {}
        self.problems: dict[int, Problem] = {}

    def whole(self, index: int) -> Any:
        """Return an entry with what it copies; problems are kept beside."""
        chain = self._chain(index)
        for step in reversed(chain):
            self._done[step] = self._filled(step)
        return self._done[index]

    def _chain(self, index: int) -> list[int]:
        """Return the entries from this one to the first that is whole already."""
        chain: list[int] = []
        at: int | None = index
        while at is not None and at not in self._done:
            if at in chain:
                for step in chain[chain.index(at) :]:
                    self._refuse(step, "it takes a place that is not itself like this one")
                break
            chain.append(at)
            at = self._target(at)
        return chain

    def _target(self, index: int) -> int | None:
        """Return the entry this one copies; None, with a problem kept, where there is none."""
        entry = self._entries[index]
        if not _has_like(entry):
            return None
        target = entry["like"]
        if isinstance(target, str) and target in self._by_id:
            return self._by_id[target]
        others = [name for name, at in self._by_id.items() if at != index]
        self._refuse(index, f"it takes the id of another location; {known_names(target, others)}")
        return None

    def _refuse(self, index: int, allowed: str) -> None:
        steps = ("location", index, "like")
        path = path_text(steps, {"location": self._entries})
        self.problems[index] = Problem(path, show(self._entries[index]["like"]), allowed)

    def _filled(self, index: int) -> Any:
        entry = self._entries[index]
        if not _has_like(entry):
            return entry
        target = None if index in self.problems else self._target(index)
        base = self._done[target] if target is not None else {}
        copied = {key: value for key, value in base.items() if key not in NOT_COPIED}
        whole = merged(copied, entry)
        del whole["like"]
        return whole


def _has_like(entry: object) -> bool:
    return isinstance(entry, dict) and "like" in entry


def _written(own: object, steps: Steps) -> bool:
    """Whether the entry itself wrote what stands at those steps."""
    for step in steps:
        if not isinstance(own, dict):
            return True
        if step not in own:
            return False
        own = own[step]
    return True
