"""What a proposal may change, as choices: at which place or on both sides, and to what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from conewright.job.builds.job import Job
from conewright.job.quantity.expression import Load, format_load
from conewright.job.text.labels import field_at, part_of, text_of
from conewright.job.wildcards import matches
from conewright.physics.electrics.wiring import Parallel, Series

__all__ = ["Group", "Pick", "driver_places", "picked_groups"]

RING, COVER = "mount.ring", "cavity.cover"
OFFERED = {
    "box": ("cavity.fill",),
    "open": ("mount.facing",),
    "free": ("mount.facing",),
    "boot-shelf": (),
    "dash": (),
    "pillar": (),
}
"""What of its surroundings a plan may change at places that have neither ring nor panel holes."""

CORNERS = ("off", "60 Hz", "80 Hz", "100 Hz", "120 Hz", "150 Hz")
RATINGS = ("2 ohm", "3 ohm", "4 ohm", "8 ohm")
"""What is offered as a high-pass, and as a radio's rating: common practice, no source."""
Whole = Mapping[str, Any]
MOST_PLACES = 40
"""Of a job with more places only the channels and the radio are picked; the rest by path."""


@dataclass(frozen=True, slots=True)
class Pick:
    """One field that a proposal may change.

    path: the key of its change; choices: each value with its words, none for a field to write in;
    found: what it says as found; value: what is chosen, empty for as found; error: what is wrong.
    """

    path: str
    label: str
    found: str
    choices: tuple[tuple[str, str], ...] = ()
    value: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """What belongs together: both sides, one place, a channel, the radio."""

    title: str
    picks: tuple[Pick, ...]
    open: bool = False


def picked_groups(
    job: Job, whole: Whole, changes: Mapping[str, str], errors: Mapping[str, str]
) -> tuple[Group, ...]:
    """Return everything that is picked, with what is chosen of it.

    Args:
        job: as found.
        whole: the same as plain values.
        changes: new values as a form holds them, by the key of the change.
        errors: what is wrong, by that key.

    """
    return tuple(
        Group(
            title,
            tuple(_chosen(pick, changes, errors) for pick in picks),
            open=shown or any(pick.path in changes for pick in picks),
        )
        for title, picks, shown in _groups(job, whole)
    )


def driver_places(job: Job) -> dict[str, tuple[str, ...]]:
    """Return where a driver is picked: both sides by their glob, and each place by its id."""
    single = {place.id: (place.id,) for place in job.locations[:MOST_PLACES]}
    return {**_pairs(job), **single}


def _chosen(pick: Pick, changes: Mapping[str, str], errors: Mapping[str, str]) -> Pick:
    value = changes.get(pick.path, "")
    same = (each for each, _ in pick.choices if _plain(each) == _plain(value))
    shown = next(same, value)
    # What is written there another way than any choice is one more choice.
    more = ((shown, shown),) if shown and shown not in dict(pick.choices) else ()
    choices = (*pick.choices, *more) if pick.choices else ()
    return replace(pick, value=shown, choices=choices, error=errors.get(pick.path, ""))


def _plain(text: str) -> str:
    return "".join(text.split())


def _groups(job: Job, whole: Whole) -> Iterator[tuple[str, list[Pick], bool]]:
    for glob, ids in _pairs(job).items():
        yield f"Both sides: {' and '.join(ids)}", _of_places(job, whole, glob, ids), True
    for place in job.locations[:MOST_PLACES]:
        yield (
            f"One place: {place.name or place.id}",
            _of_places(job, whole, place.id, (place.id,)),
            False,
        )
    for channel in job.channels:
        loads = tuple(_loads(channel.wiring))
        wired = Pick(f"{channel.id}.load", f"How it is wired, {channel.id}", channel.load, loads)
        corner = Pick(
            f"{channel.id}.high_pass",
            f"High-pass of the radio, {channel.id}",
            _said(job, whole, f"{channel.id}.high_pass"),
            tuple((each, each) for each in CORNERS),
        )
        yield f"Channel {channel.id}", [wired, corner], False
    yield "The radio", _of_radio(job, whole), False


def _of_places(job: Job, whole: Whole, key: str, ids: tuple[str, ...]) -> list[Pick]:
    first = ids[0]
    offered_here = OFFERED.get(job.location(first).kind, (RING, COVER))
    choices = {
        name: (("yes", "yes"), ("no", "no"))
        if name == RING
        else tuple((each, each) for each in field_at(job, f"{first}.{name}").choices)
        for name in offered_here
    }
    return [
        Pick(
            f"{key}.{name}",
            f"{field_at(job, f'{first}.{name}').label}, {' and '.join(ids)}",
            _all_said(job, whole, [f"{id}.{name}" for id in ids]),
            offered,
        )
        for name, offered in choices.items()
    ]


def _of_radio(job: Job, whole: Whole) -> list[Pick]:
    said = {name: f"head_unit.{name}" for name in ("name", "minimum_load", "price")}
    rated = tuple((each, each) for each in RATINGS)
    return [
        Pick(
            path,
            field_at(job, path).label,
            _said(job, whole, path),
            rated if "load" in name else (),
        )
        for name, path in said.items()
    ]


def _said(job: Job, whole: Whole, path: str) -> str:
    """Return what a field says as found; empty where nobody wrote it."""
    field = field_at(job, path)
    return text_of(field, part_of(job, path.partition(".")[0]), whole)


def _all_said(job: Job, whole: Whole, paths: list[str]) -> str:
    """Return what fields say as found, that of both sides where it differs."""
    said = dict.fromkeys(_said(job, whole, path) for path in paths)
    return " and ".join(each or "not said" for each in said) if any(said) else ""


def _pairs(job: Job) -> dict[str, tuple[str, ...]]:
    """Return the places on both sides of the vehicle by the glob that means just these two."""
    ids = [place.id for place in job.locations[:MOST_PLACES]]
    found: dict[str, tuple[str, ...]] = {}
    for id in ids:
        for at, letter in enumerate(id):
            other = f"{id[:at]}r{id[at + 1 :]}"
            glob = f"{id[:at]}?{id[at + 1 :]}"
            if letter == "l" and other in ids:
                meant = tuple(each for each in ids if matches(each, glob))
                if set(meant) == {id, other}:
                    found[glob] = meant
    return found


def _loads(load: Load | None) -> Iterator[tuple[str, str]]:
    """Yield other ways to wire what hangs on a channel, each with its words."""
    if load is None:
        return
    upright = Load(load.tree, frozenset(), load.parts)
    yield _way(upright, "all the right way round")
    for turned in load.locations if len(load.locations) > 1 else ():
        yield _way(replace(upright, reversed=frozenset({turned})), f"{turned} turned round")
    if isinstance(load.tree, Series | Parallel):
        if not load.parts:
            yield _way(replace(upright, tree=Series(load.tree.parts)), "in series")
            yield _way(replace(upright, tree=Parallel(load.tree.parts)), "in parallel")
        for branch in load.tree.parts:
            alone = replace(upright, tree=branch)
            if alone.locations:
                yield _way(alone, "nothing else")


def _way(load: Load, words: str) -> tuple[str, str]:
    text = format_load(load)
    return text, f"{words}: {text}"
