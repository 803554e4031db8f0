"""What is bought whole: drivers, a radio, an amplifier, cables, fuses, parts by value."""

from __future__ import annotations

from collections import Counter
from math import ceil
from typing import TYPE_CHECKING

from conewright.catalogue.lists.usual_prices import typical_driver_price
from conewright.job.builds.fills import plain_text
from conewright.stages.common.changes import Changes, new_driver_places, new_parts, pairs_of
from conewright.stages.feed.components import PartBurden
from conewright.stages.outlay.amounts import Amount, Line, amount_of, exactly, line_of
from conewright.stages.outlay.consumables import material
from conewright.stages.outlay.needs import bought_drivers

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import CableState, FeedState, PartState
    from conewright.job.document.document import Document, DriverSheet

__all__ = [
    "BY_VALUE",
    "OR_ANOTHER",
    "THE_JOB",
    "fuses_and_cables",
    "new_drivers",
    "new_units",
    "parts_by_value",
    "used_drivers",
]

THE_JOB = "the job's price"
"""Source of a price that a sheet of the job has."""

OR_ANOTHER = ", or another of its size and ohms"
"""How the title of a new driver ends that nobody has chosen."""

GROMMETS = 2
SQUARE_MM = 1e6
BY_VALUE = ("resistor", "capacitor", "inductor")


def new_drivers(planned: Document, build: Build, changed: Changes) -> Iterator[Line]:
    """Yield new drivers: by the pair at the job's price, else one by one at a typical one.

    Args:
        planned: the job with the plan carried out.
        build: the plan.
        changed: what it changes.

    """
    bought = bought_drivers(build, changed)
    counts, chosen = (
        Counter(bought.values()),
        {bought[at] for at in new_driver_places(build) if at in bought},
    )
    for name, count in counts.items():
        sheet = planned.driver(name)
        title = sheet.name or name
        if name not in chosen:
            title += OR_ANOTHER
        if sheet.price is not None:
            price, pairs = exactly(sheet.price), ceil(count / 2)
            yield line_of(
                "driver", name, title, quantity=pairs, unit="pair", price=price, source=THE_JOB
            )
        elif (row := _typical_price(sheet)) is not None:
            price = amount_of(row)
            yield line_of("driver", name, title, quantity=count, price=price, source=row["source"])


def used_drivers(planned: Document, build: Build, changed: Changes) -> Iterator[Line]:
    """Yield used originals, one by one at a typical price, whatever a new one costs."""
    counts = Counter(build.location(place).driver.id for place in changed.at("used-driver"))
    usual = material("used", 1)
    for name, count in counts.items():
        title = f"{planned.driver(name).name or name}, a used original"
        yield line_of("driver", name, title, quantity=count, price=usual.price, source=usual.source)


def _typical_price(sheet: DriverSheet) -> Mapping[str, str] | None:
    if sheet.size is None:
        return None
    return typical_driver_price(sheet.size.minor, sheet.size.major)


def new_units(planned: Document, changed: Changes) -> Iterator[Line]:
    """Yield radio, converter and amplifiers that a plan buys, at the job's or a typical price."""
    for place in changed.at("new-radio"):
        title, price = f"radio: {planned.head_unit.name}", planned.head_unit.price
        yield _unit(place, title, price)
    for place in changed.at("radio-replaced"):
        yield _unit(place, f"replacement for the radio: {planned.head_unit.name}", None)
    for item in changed.at("new-converter"):
        name = planned.converter.name or "between vehicle and radio"
        yield _unit(item, f"converter: {name}", planned.converter.price)
    prices = {feed.id: feed.price for feed in planned.feeds}
    units = {each.id: each for each in planned.amplifiers}
    for id in changed.at("new-amplifier"):
        if id in units:
            yield _unit("amplifier", f"amplifier: {units[id].name or id}", units[id].price)
        else:
            yield _unit("amplifier", f"amplifier on {id}", prices[id])


def _unit(item: str, title: str, price: float | None) -> Line:
    if price is not None:
        return line_of("radio", item, title, price=exactly(price), source=THE_JOB)
    usual = material(item, 1)
    note = "typical price: write that of the one you mean"
    return line_of("radio", item, title, price=usual.price, note=note, source=usual.source)


def fuses_and_cables(build: Build, before: Build, changed: Changes) -> Iterator[Line]:
    """Yield cable, fuse and grommets of what is laid anew, and fuses that change or move.

    Args:
        build: the plan.
        before: the vehicle as found.
        changed: what it changes.

    """
    cables = {cable.id: cable for cable in build.feeds}
    for name in changed.at("recabled"):
        yield from _supply_cable(cables[name])
    then = {cable.id: cable for cable in before.feeds}
    for name in changed.at("fused"):
        cable, was = cables[name], then[name]
        moved = cable.fuse_distance != was.fuse_distance
        yield _fuse(cable, "fuse" if moved else "blade")
    channels = {channel.id: channel.cable for channel in pairs_of(build)}
    for name in changed.at("relaid"):
        yield from _pair(channels[name], name)
    for name in changed.at("return-laid"):
        yield from _pair(channels[name], name, conductors=1)
    for channel in build.channels:
        if channel.id in changed.at("new-parts"):
            for part in new_parts(channel, before):
                if part.wire is not None:
                    yield from _pair(part.wire, channel.id)


def _supply_cable(cable: FeedState) -> Iterator[Line]:
    if cable.length is not None and cable.size is not None:
        ways = 2.0 if cable.return_by == "cable" else 1.0
        title = f"{plain_text(cable.size.quantity)} {cable.metal.replace('-', ' ')} cable"
        metal = SQUARE_MM * cable.size.si
        yield material("cable", ways * cable.length.si, cable.id, title=title, times=metal)
    yield _fuse(cable, "fuse")
    yield material("grommet", GROMMETS, cable.id)


def _fuse(cable: FeedState, item: str) -> Line:
    words = "fuse" if item == "blade" else "fuse with its holder"
    rating = "" if cable.fuse is None else f"{plain_text(cable.fuse.quantity)} "
    return material(item, 1, cable.id, title=f"{rating}{words}")


def _pair(cable: CableState, channel: str, *, conductors: int = 2) -> Iterator[Line]:
    """Yield a loudspeaker cable, or one wire of it; none where its length is not written."""
    if cable.length is None or cable.size is None:
        return
    words = "loudspeaker cable" if conductors > 1 else "wire, the second of its pair"
    title = f"{plain_text(cable.size.quantity)} {words}"
    metal = conductors * SQUARE_MM * cable.size.si
    yield material("cable", cable.length.si, channel, title=title, times=metal)


def parts_by_value(bought: Sequence[tuple[PartState, PartBurden]]) -> Iterator[Line]:
    """Yield resistors, capacitors and inductors, each at the rating it needs, equal ones together.

    Args:
        bought: parts that a plan writes into loads, and what each bears.

    """
    counts = Counter(burden.title for _, burden in bought)
    for title, count in counts.items():
        alike = [burden for _, burden in bought if burden.title == title]
        rating = alike[0].rating
        if rating is None:
            continue
        where = ", ".join(dict.fromkeys(burden.channel for burden in alike))
        worst = max(alike, key=lambda burden: burden.needed)
        yield line_of(
            "material",
            alike[0].kind,
            title,
            quantity=count,
            price=Amount(*rating.price),
            note=f"{where}: {worst.reason}",
            source=rating.source,
        )
