"""Repairs that a plan chooses by name: what each ends, what it leaves behind, how long it holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from conewright.data_files import data_rows
from conewright.errors import Problem
from conewright.job.document.paths import inside, known_names, path_text, show
from conewright.job.document.problems import Found
from conewright.job.document.references import ids_of

if TYPE_CHECKING:
    from conewright.job.document.document import Document, Location, Proposal

__all__ = [
    "KEEP",
    "REPAIR_KINDS",
    "SWAP",
    "Repair",
    "Way",
    "changes_by",
    "mended_by",
    "opposite",
    "plan_problems",
    "repair_names",
    "repairs_of",
    "swapped_place",
    "twin_of",
    "ways_of",
]

KEEP, SWAP = "keep", "swap"
NEAR = 0.05
"""Places that mirror each other differ by less than this [m]; a tape measure, common practice."""

ANOTHER = ("used-driver", "new-driver")
"""Kinds of change that put another driver of the same type in."""


@dataclass(frozen=True, slots=True)
class Repair:
    """One way to deal with one fault.

    Attributes:
        name: as a plan writes it, `re-edge`.
        title: in words.
        fault: that it is for; nothing for one that ends none.
        usual: whether a fault on a plan's list is mended this way where the plan says no other.
        kind: of change, by which its parts and minutes are told.
        effect: how the driver is afterwards: a row of the typical values; nothing for as it was.
        holds: chance that it holds two years, low, typical, high.
        back: what comes back where it does not.

    """

    name: str
    title: str
    fault: str
    usual: bool
    kind: str
    effect: str
    holds: tuple[float, float, float]
    back: str
    source: str


@dataclass(frozen=True, slots=True)
class Way:
    """A repair that a plan does at a place, by name or for a fault on its list."""

    repair: Repair
    at: str

    @property
    def fault(self) -> str:
        """What it is for, as fault@place."""
        return f"{self.repair.fault}@{self.at}"


@cache
def _rows() -> tuple[Repair, ...]:
    return tuple(
        Repair(
            name=row["repair"],
            title=row["title"],
            fault=row["fault"],
            usual=row["usual"] == "yes",
            kind=row["kind"],
            effect=row["effect"],
            holds=(float(row["low"]), float(row["typical"]), float(row["high"])),
            back=row["back"],
            source=row["source"],
        )
        for row in data_rows("job", "repairs.csv")
    )


REPAIR_KINDS = tuple(dict.fromkeys(repair.kind for repair in _rows()))
"""The kinds of change that repairs are."""


def repair_names() -> tuple[str, ...]:
    """Return the names of all repairs, as a plan writes them."""
    return tuple(dict.fromkeys(repair.name for repair in _rows()))


def repairs_of(fault: str) -> tuple[Repair, ...]:
    """Return every way to deal with a fault, the usual one first, leaving it last."""
    ways = [repair for repair in _rows() if repair.fault == fault]
    return tuple(sorted(ways, key=lambda repair: (not repair.usual, repair.name == KEEP)))


def ways_of(proposal: Proposal, job: Document) -> tuple[Way, ...]:
    """Return the repairs that a plan does: those it names, then the usual ones of its list.

    One that is named without its fault being there is done all the same, as on a healthy twin.
    """
    found = {(each.fault, each.at) for each in job.findings if each.state == "found"}
    ways = [
        Way(repair, at)
        for text in dict.fromkeys(proposal.repairs)
        for name, _, at in (text.partition("@"),)
        for repair in _meant(name, at, found)
    ]
    listed = [
        Way(repair, at)
        for text in dict.fromkeys(proposal.mends)
        for fault, _, at in (text.partition("@"),)
        for repair in repairs_of(fault)[:1]
        if repair.usual and not any(w.at == at and w.repair.fault == fault for w in ways)
    ]
    return (*ways, *listed)


def _meant(name: str, at: str, found: Iterable[tuple[str, str]]) -> tuple[Repair, ...]:
    """Return the rows of a repair that a place's findings ask for, else the first."""
    rows = tuple(repair for repair in _rows() if repair.name == name)
    wanted = tuple(repair for repair in rows if (repair.fault, at) in found)
    return wanted or rows[:1]


def mended_by(proposal: Proposal) -> frozenset[str]:
    """Return the faults that a plan says it mends, each as fault@place: listed, or by repairs."""
    named = (text.partition("@") for text in proposal.repairs)
    ended = (
        f"{repair.fault}@{at}"
        for name, _, at in named
        for repair in _rows()
        if repair.name == name and name not in (KEEP, SWAP)
    )
    return frozenset((*proposal.mends, *ended))


def changes_by(job: Document, repairs: Iterable[str], gone: object) -> dict[str, object]:
    """Return the fields of a job that repairs change: what was measured of a driver goes with it.

    Args:
        job: as it stands.
        repairs: each as repair@place.
        gone: stands for a field that is taken out.

    """
    changed: dict[str, object] = {}
    for text in repairs:
        name, _, at = text.partition("@")
        kinds = {repair.kind for repair in _rows() if repair.name == name}
        places = {place.id: place for place in job.locations}
        if at in places and not kinds.isdisjoint(ANOTHER) and places[at].own.given:
            changed[f"{at}.own"] = gone
        other = twin_of(job, at) if name == SWAP and at in places else None
        if other is not None:
            changed |= _swapped(places[at], places[other], gone)
            changed |= _swapped(places[other], places[at], gone)
    return changed


def _swapped(place: Location, other: Location, gone: object) -> dict[str, object]:
    """Return the fields of a place that take the driver of another."""
    changed: dict[str, object] = {}
    if place.driver != other.driver:
        changed[f"{place.id}.driver"] = other.driver
    if place.own != other.own:
        changed[f"{place.id}.own"] = other.own.to_dict() if other.own.given else gone
    return changed


def swapped_place(proposal: Proposal, job: Document, at: str) -> str:
    """Return the place that the driver of a place sits in after a plan changed them over."""
    for text in proposal.repairs:
        name, _, one = text.partition("@")
        other = twin_of(job, one) if name == SWAP else None
        if other is not None and at in (one, other):
            return other if at == one else one
    return at


def twin_of(job: Document, id: str) -> str | None:
    """Return the id of the place that mirrors one; None where none does."""
    places = {place.id: place for place in job.locations}
    here = places.get(id)
    for place in job.locations if here is not None else ():
        if here is not None and place.kind == here.kind:
            one, other = ([c.value for c in each.at] for each in (here, place))
            if opposite(one, other):
                return place.id
    return None


def opposite(one: Iterable[float], other: Iterable[float]) -> bool:
    """Whether two points [m] lie on opposite sides of the vehicle, one the mirror of the other."""
    (x1, y1, z1), (x2, y2, z2) = one, other
    return y1 * y2 < 0 and max(abs(x1 - x2), abs(y1 + y2), abs(z1 - z2)) < NEAR


def plan_problems(raw: Mapping[str, Any]) -> list[Found]:
    """Return what is wrong with the repairs of a job's plans, and plans that do nothing at all."""
    found: list[Found] = []
    plans = raw.get("proposal")
    for plan, entry in enumerate(plans if isinstance(plans, list) else ()):
        if isinstance(entry, dict) and not any(entry.get(name) for name in DOING):
            words = f"a plan does something: give one of {', '.join(DOING)}"
            path = path_text(("proposal", plan), raw)
            found.append(Found(("proposal", plan), Problem(path, "an empty plan", words)))
        repairs = inside(entry, "repairs")
        texts = repairs if isinstance(repairs, list) else []
        told = [(index, _wrong(text, raw)) for index, text in enumerate(texts)]
        told += _conflicts([text if isinstance(text, str) else "" for text in texts])
        for index, words in told:
            steps = ("proposal", plan, "repairs", index)
            if words:
                problem = Problem(path_text(steps, raw), show(texts[index]), words)
                found.append(Found(steps, problem))
    return found


DOING = ("set", "add", "remove", "repairs", "mends")
"""The fields of a plan that do something."""


def _wrong(text: object, raw: Mapping[str, Any]) -> str:
    """Return what a repair of a plan may be, where it is none; empty where it can be done."""
    names = repair_names()
    name, _, at = text.partition("@") if isinstance(text, str) else ("", "", "")
    if name not in names:
        return f"it takes repair@place, re-edge@door-fl; {known_names(name, names)}"
    ids = [*ids_of(raw, "location")]
    if name == KEEP:
        # What is left as it is may be at a channel, too.
        ids += ids_of(raw, "channel")
    return "" if at in ids else f"{name} is done at a place; {known_names(at, ids)}"


def _conflicts(repairs: Iterable[str]) -> Iterator[tuple[int, str]]:
    """Yield, by number, a repair of a plan that cannot be done with one before it."""
    before: dict[str, set[str]] = {}
    for index, text in enumerate(repairs):
        name, _, at = text.partition("@")
        others = before.setdefault(at, set())
        if name in others:
            yield index, f"{name} at {at} stands there already"
        elif others and (name in ALONE or others & ALONE):
            yield index, f"{' and '.join(sorted(others))} at {at} is done already, and is enough"
        others.add(name)


ALONE = frozenset({"used", "new", KEEP, SWAP})
"""Repairs beside which nothing else is done at a place."""
