"""A proposal as a form holds it, all as typed, and a job's text with it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from conewright.errors import BadInputError
from conewright.job.builds.job import Job
from conewright.job.document.parts import AS_FOUND
from conewright.job.repairs import swapped_place
from conewright.job.text.editing import Refused, with_proposal, without_entries
from conewright.job.text.labels import field_at, fields_of, parts_of, plain_value, written
from conewright.job.text.parsing import kept_job
from conewright.job.wildcards import matches

__all__ = ["NEW", "ProposalForm", "Row", "alone", "offered_fields", "proposal_form", "with_form"]

NEW = "new"
"""Stands for the id of a proposal that has none yet."""

TRIED = 16
"""Texts with one proposal that are kept: while one types, they come again."""

_IDENTIFIER = re.compile(r"[A-Za-z][A-Za-z0-9_]*(-[A-Za-z0-9_]+)*")
_DRIVER = ".driver"
_OFFERED = ("location", "channel", "head_unit", "converter")
_TAKEN_OUT = "converter.kind"
_NOT_OFFERED = ("name", "kind", "driver", "x", "y", "z")


@dataclass(frozen=True, slots=True)
class Row:
    """One change of a proposal: what, and its new value."""

    what: str
    value: str


@dataclass(frozen=True, slots=True)
class ProposalForm:
    """A proposal as typed.

    rows: its changes, but for the drivers. drivers: by place, where another is chosen. mends:
    faults that it puts right, each as fault@place. repairs: that are chosen, each as repair@place.
    remove: what it takes out. add: entries that it puts in, by their list. catalogue: what it was
    chosen from. buy: what is bought for it.
    """

    id: str
    name: str
    hours: str
    extra_cost: str
    rows: tuple[Row, ...]
    drivers: Mapping[str, str]
    mends: tuple[str, ...] = ()
    repairs: tuple[str, ...] = ()
    remove: tuple[str, ...] = ()
    add: Mapping[str, tuple[Mapping[str, Any], ...]] = field(default_factory=dict)
    catalogue: str = ""
    buy: tuple[Mapping[str, Any], ...] = ()

    @property
    def changes_something(self) -> bool:
        """Whether there is anything in it to try."""
        listed = self.mends or self.repairs or self.remove or self.add
        return any(row.what for row in self.rows) or any(self.drivers.values()) or bool(listed)


def proposal_form(job: Job, id: str) -> ProposalForm:
    """Return a proposal of a job as a form holds it, an empty one for NEW; raises KeyError."""
    if id == NEW:
        return ProposalForm("", "", "", "", (), {})
    found = job.proposal(id)
    hours, cost = (
        ("" if each is None else f"{each:g}") for each in (found.hours, found.extra_cost)
    )
    return ProposalForm(
        id=found.id,
        name=found.name or "",
        hours=hours,
        extra_cost=cost,
        rows=tuple(
            Row(what, written(value))
            for what, value in found.set.items()
            if not what.endswith(_DRIVER)
        ),
        drivers=_placed(job, id),
        mends=found.mends,
        repairs=found.repairs,
        remove=found.remove,
        add=found.add,
        catalogue=found.catalogue or "",
        buy=tuple(each.to_dict() for each in found.buy),
    )


def with_form(text: str, form: ProposalForm, *, new: bool) -> str:
    """Return the text of a job with a proposal as typed.

    Args:
        text: of the job.
        form: the proposal.
        new: whether it is to be one that the job does not have yet.

    Raises:
        Refused: the text would be no job; what is wrong is named by the field or the row's key.

    """
    job = kept_job(text)
    id, known = form.id, {proposal.id for proposal in job.proposals}
    if new and (not _IDENTIFIER.fullmatch(id) or id in known | {NEW, AS_FOUND}):
        wanted = "A short name is wanted that no other proposal has: letters, digits and hyphens."
        raise Refused({"id": f'Found "{id[:60]}": {wanted}' if id else wanted}, ())
    rows = [row for row in form.rows if row.what]
    missing = {row.what: "Its new value is missing." for row in rows if not row.value}
    if missing:
        raise Refused(missing, ())
    changes = {row.what: _new_value(job, row) for row in rows}
    values: dict[str, object] = {
        "name": form.name.strip() or None,
        "hours": _amount(form.hours),
        "extra_cost": _amount(form.extra_cost),
        "catalogue": form.catalogue or None,
        "buy": [dict(each) for each in form.buy] or None,
        "mends": list(form.mends) or None,
        "repairs": list(form.repairs) or None,
        "remove": list(form.remove) or None,
        "add": {name: list(entries) for name, entries in form.add.items() if entries} or None,
        "set": (changes | _driver_changes(job, id, form.drivers)) or None,
    }
    return with_proposal(text, id, values)


@lru_cache(maxsize=TRIED)
def alone(text: str, id: str) -> str:
    """Return the text of a job without its other proposals, which would only cost time."""
    others = [each.id for each in kept_job(text).proposals if each.id != id]
    return without_entries(text, "proposal", *others) if others else text


def offered_fields(job: Job) -> list[tuple[str, str]]:
    """Return what a proposal may change, with its words: fields of places, channels, the radio."""
    return [
        (field.path, f"{field.label}, {part.title}")
        for part in parts_of(job)
        if part.kind in _OFFERED
        for field in fields_of(part)
        if field.path == _TAKEN_OUT or field.path.rsplit(".", 1)[-1] not in _NOT_OFFERED
    ]


# --- Underneath -----------------------------------------------------------------------------------


def _placed(job: Job, id: str) -> dict[str, str]:
    """Return the driver of each place where a proposal fits another."""
    found, plan = {place.id: place.driver for place in job.locations}, job.proposal(id)
    return {
        place.id: place.driver
        for place in job.with_proposal(id).locations
        if found.get(place.id, place.driver) != place.driver
        and swapped_place(plan, job, place.id) == place.id
    }


def _driver_changes(job: Job, id: str, chosen: Mapping[str, str]) -> dict[str, object]:
    """Return the changes that put drivers where they were chosen.

    What says the same already stays as it is written, one line for many places as well.
    """
    known = next((each for each in job.proposals if each.id == id), None)
    if known is not None and chosen == _placed(job, id):
        return {what: value for what, value in known.set.items() if what.endswith(_DRIVER)}
    return {f"{place}{_DRIVER}": driver for place, driver in chosen.items()}


def _new_value(job: Job, row: Row) -> object:
    """Return a row's value as the kind its field holds; a glob is read by the first it means."""
    head, _, rest = row.what.partition(".")
    for part in parts_of(job):
        if matches(part.id, head):
            try:
                return plain_value(field_at(job, f"{part.id}.{rest}"), row.value)
            except BadInputError:
                continue
    return row.value


def _amount(text: str) -> object:
    plain = text.strip().replace(",", ".")
    try:
        return float(plain) if plain else None
    except ValueError:
        return text.strip()
