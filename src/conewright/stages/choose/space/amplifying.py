"""Amplifiers that may be added: what each drives, its gain, and the cable and fuse that feed it.

An amplifier of a list is taken to give its peak current into the lowest load that it bears: what it
is built for. Its gain is set so that it and the radio clip together, as is usual. Its supply runs
from the battery behind a fuse of the list that protects the cable; where the list has no such pair
the amplifier is refused.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count
from typing import TYPE_CHECKING, Literal

import numpy as np

from conewright.catalogue.job_entries import AmplifierEntry, amplifier_entry, in_words
from conewright.job.builds.draws import draw
from conewright.phrases import listed
from conewright.physics.basics.levels import decibel
from conewright.stages.choose.space.gates import Rejection
from conewright.stages.choose.space.groups import Change, ChannelGroup, RadioOption
from conewright.stages.choose.space.seen import Seen, built
from conewright.stages.feed.run import Run, central, protection, run_of
from conewright.stages.feed.supply import MUSIC_SHARE
from conewright.stages.feed.supply_verdicts import MOST_LOST
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from pydantic import JsonValue

    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build

__all__ = ["amplified"]

FEED = "amplifier-feed"
LENGTH = "3..4..6 m"
"""From the battery to an amplifier under a seat or the dash; common practice, no source."""

TO_FUSE = "300 mm"
"""Of cable before its fuse; common practice, no source."""

ANY: dict[str, JsonValue] = {"size": "4 mm2", "fuse": "20 A"}
"""Of a cable of which only what lies round it is asked."""

SYSTEM = "12 V"
"""Supply that the amplifiers of a list are for."""


@dataclass(frozen=True)
class _Supply:
    """What feeds an amplifier: rows of the list, and what they say [A, m2]."""

    fuse: int
    cable: int
    rating: float
    area: float
    metal: Literal["copper", "clad-aluminium"]


def amplified(
    seen: Seen, channels: Sequence[ChannelGroup]
) -> tuple[list[RadioOption], list[Rejection]]:
    """Return what may be added to the radio, and the amplifiers that may not.

    Args:
        seen: what options are made from.
        channels: groups of channels, each of which an amplifier may drive, or all of them.

    """
    found: list[RadioOption] = []
    refused: list[Rejection] = []
    if "amplifier" not in seen.may or seen.base.vehicle.system != SYSTEM:
        return found, refused
    sets = list(_sets(seen.base, channels))
    usual: _Usual | None = None
    for row in map(int, seen.rows("amplifier")):
        entry = amplifier_entry(seen.offer.compiled, row)
        outputs = seen.offer.compiled.number("channels", row) or 0
        for names in (each for each in sets if len(each) <= outputs):
            if entry is None:
                words = "its peak current or the load that it bears is not told"
                refused.append(_refused(seen, row, names, "figures", words))
                continue
            usual = usual or _usual(seen, entry, names, _free(seen.job, FEED))
            option = _option(seen, row, entry, names, usual)
            if isinstance(option, RadioOption):
                found.append(option)
            else:
                refused.append(option)
    return found, refused


def _sets(base: Build, channels: Sequence[ChannelGroup]) -> Iterator[tuple[str, ...]]:
    """Yield channels of the radio that an amplifier may take over together."""
    by_radio = [
        group.channels
        for group in channels
        if all(base.channel(name).driven_by is None for name in group.channels)
    ]
    yield from by_radio
    if len(by_radio) > 1:
        yield tuple(name for names in by_radio for name in names)


def _option(
    seen: Seen, row: int, entry: AmplifierEntry, names: Sequence[str], usual: _Usual
) -> RadioOption | Rejection:
    compiled = seen.offer.compiled
    volts = np.sqrt(entry.power * entry.load)
    radio = seen.base.head_unit
    gain = float(decibel((volts / (radio.swing * radio.supply.si / np.sqrt(2.0))) ** 2))
    sheet = {**entry.fields, "gain": f"{gain:.1f} dB", "feed": usual.feed}
    asked = len(names) * entry.power / usual.efficiency / radio.supply.si + usual.rest
    supply = _supply(seen, usual, asked)
    if supply is None:
        words = (
            f"it asks for up to {number(asked, 'A')}: the list has no fuse with a cable that it "
            "protects and that loses little"
        )
        return _refused(seen, row, names, "fuse", words, asked)
    feed = {
        **_feed(usual.feed),
        "fuse": f"{supply.rating:g} A",
        "size": f"{1e6 * supply.area:.6g} mm2",
        "metal": supply.metal,
    }
    buy = {row: 1.0, supply.cable: central(usual.run.length), supply.fuse: 1.0}
    name = in_words(compiled, row)
    words = (
        f"{name} for {listed(list(names))}, on {1e6 * supply.area:g} mm2 from the battery behind "
        f"a fuse of {supply.rating:g} A"
    )
    whole = _change(seen.job, sheet, feed, names)
    change = Change(whole.set, add=whole.add, buy=buy)
    return RadioOption(f"{compiled.text('id', row)}@{'+'.join(names)}", words, change)


def _change(
    job: Job,
    sheet: Mapping[str, JsonValue],
    feed: Mapping[str, JsonValue],
    names: Sequence[str],
) -> Change:
    """Return an amplifier put between the radio's outputs and what they drive."""
    fields: dict[str, JsonValue] = {}
    # What the radio's own outputs are called, now that they feed an amplifier.
    outputs = [_free(job, f"{name}-output") for name in names]
    sheet = {**sheet, "id": _free(job, str(sheet["id"]))}
    for name, output in zip(names, outputs, strict=True):
        fields[f"{name}.driven_by"] = sheet["id"]
        fields[f"{name}.input"] = output
    return Change(
        fields,
        add={
            "amplifier": (sheet,),
            "feed": (feed,),
            "channel": tuple({"id": output, "load": "none"} for output in outputs),
        },
    )


def _free(job: Job, name: str) -> str:
    """Return an id that nothing of a job has, the name itself if it may be."""
    lists = (job.locations, job.channels, job.amplifiers, job.feeds, job.drivers, job.seats)
    taken = {each.id for entries in lists for each in entries}
    names = (name if n == 1 else f"{name}-{n}" for n in count(1))
    return next(each for each in names if each not in taken)


def _feed(id: str) -> dict[str, JsonValue]:
    return {"id": id, "to": "amplifier", "fuse_distance": TO_FUSE, "length": LENGTH}


@dataclass(frozen=True)
class _Usual:
    """What a job fills in where nobody knows an amplifier and its cable better.

    Attributes:
        run: of its cable, of any size behind any fuse.
        feed: what that is called.
        efficiency: of a full sine [1].
        rest: current with nothing played [A].

    """

    run: Run
    feed: str
    efficiency: float
    rest: float


def _usual(seen: Seen, entry: AmplifierEntry, names: Sequence[str], feed: str) -> _Usual:
    cable = {**_feed(feed), **ANY}
    change = _change(seen.job, {**entry.fields, "feed": feed}, cable, names)
    build = built(seen.job, {"usual": change})["usual"]
    unit = next(each for each in build.amplifiers if each.feed == feed)
    state = next(each for each in build.feeds if each.id == feed)
    run = run_of(state, build, draw(build.axes, samples=1))
    assert run is not None, "length, size and fuse are written"
    return _Usual(run, feed, unit.efficiency.si, unit.quiescent_current.si)


def _supply(seen: Seen, usual: _Usual, asked: float) -> _Supply | None:
    """Return the cheapest fuse and cable that feed so much [A], None where the list has none."""
    compiled = seen.offer.compiled
    fuses, cables = seen.rows("fuse"), seen.rows("cable")
    value = compiled.numbers.get("value", np.full(len(compiled), np.nan))
    price = np.nan_to_num(compiled.numbers.get("price", np.zeros(len(compiled))))
    length = central(usual.run.length)
    found: list[tuple[float, int, int]] = []
    for fuse in (int(each) for each in fuses if value[each] >= asked):
        for cable in map(int, cables):
            run = replace(
                usual.run,
                fuse=np.full((1, 1), value[fuse]),
                area=np.full((1, 1), value[cable]),
                metal=_metal(compiled.text("metal", cable)),
            )
            if protection(run).safe and central(run.drop(MUSIC_SHARE * asked)) <= MOST_LOST:
                found.append((float(price[fuse] + length * price[cable]), fuse, cable))
    if not found:
        return None
    _, fuse, cable = min(found)
    return _Supply(
        fuse, cable, float(value[fuse]), float(value[cable]), _metal(compiled.text("metal", cable))
    )


def _metal(told: str) -> Literal["copper", "clad-aluminium"]:
    return "clad-aluminium" if told == "clad-aluminium" else "copper"


def _refused(
    seen: Seen,
    row: int,
    names: Sequence[str],
    reason: str,
    words: str,
    asked: float | None = None,
) -> Rejection:
    return Rejection(
        part=seen.offer.compiled.text("id", row),
        place="+".join(names),
        reason=reason,
        number=asked,
        limit=None,
        words=words,
    )
