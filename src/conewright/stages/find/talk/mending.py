"""The plan that mends what was found: its faults, and what it is called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.errors import BadInputError
from conewright.job.document.document import Proposal
from conewright.job.document.fault_names import FAULTS
from conewright.job.repairs import mended_by, repairs_of
from conewright.job.text.parsing import Format, from_dict, kept_job
from conewright.job.text.readings import with_finding, with_plan
from conewright.phrases import listed
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.talk.inquiry import inquire
from conewright.stages.find.talk.planning import CERTAIN

if TYPE_CHECKING:
    from conewright.job.builds.job import Job

__all__ = [
    "Mending",
    "established",
    "mend",
    "sure_faults",
    "text_with_found",
    "text_with_mending",
    "with_mending",
]

ID = "mend"
"""Of the proposal; counted on where that is taken by another plan."""

SPEAKS = 0.7
"""A reading speaks for a fault that would be this much less likely without it, or less."""


@dataclass(frozen=True, slots=True)
class Mending:
    """A proposal that only mends: its id, its name, the faults that are mended the usual way, each
    as fault@place, and the repairs that were chosen, each as repair@place.
    """

    id: str
    name: str
    mends: tuple[str, ...]
    repairs: tuple[str, ...] = ()


def mend(job: Job, *repairs: str) -> Job:
    """Return the job with the plan that mends what was found, in the ways that are chosen.

    Args:
        job: with findings, or readings that make a fault certain.
        repairs: each as repair@place, `used@door-fl`; what none is named for is mended as usual.

    Raises: BadInputError: nothing is established yet, or a repair cannot be done there.

    >>> import conewright as cw
    >>> job = cw.demo_job().with_finding("surround-torn", "door-fl")
    >>> cw.mend(job, "used@door-fl").proposal("mend").repairs
    ('used@door-fl',)
    """
    plan = _mending(job, repairs)
    others = tuple(each for each in job.proposals if each.id != plan.id)
    entry = Proposal(id=plan.id, name=plan.name, mends=plan.mends, repairs=plan.repairs)
    tables = job.model_copy(update={"proposals": (*others, entry)}).to_dict()
    return from_dict(tables)


def established(job: Job, chances: Mapping[Atom, float]) -> tuple[str, ...]:
    """Return the faults to mend: those that were taken as found, else those that are certain.

    Args:
        job: the job.
        chances: of every fault, by find.

    """
    found = tuple(each.id for each in job.findings if each.state == "found")
    return found or tuple(atom.id for atom in _sure(chances))


def _sure(chances: Mapping[Atom, float]) -> list[Atom]:
    """Return the faults that are certain; a load that is too low is none of a part."""
    sure = (atom for atom, chance in chances.items() if chance >= CERTAIN)
    return [atom for atom in sure if atom.fault in FAULTS]


def _mending(job: Job, repairs: Sequence[str] = ()) -> Mending:
    """Return the proposal that mends what was found; raises as `text_with_mending`."""
    chances = inquire(job.build()).chances()
    faults = established(job, chances)
    if not faults:
        best = max(chances, key=chances.__getitem__, default=None)
        told = "" if best is None else f"; likeliest is {best.id} with {100 * chances[best]:.0f} %"
        raise BadInputError(
            f"found nothing that is established{told}; take the next reading, or take a fault as "
            "found first"
        )
    return _named(job, faults, repairs)


def sure_faults(job: Job) -> tuple[tuple[str, str], ...]:
    """Return the faults, and where, that find is certain of and nobody has taken as found yet."""
    chances = inquire(job.build()).chances()
    known = {each.id for each in job.findings}
    return tuple((a.fault, a.subject) for a in _sure(chances) if a.id not in known)


def _evidence_for(job: Job, fault: str, at: str) -> str:
    """Return the reading, test@place, that speaks most for a fault; empty where none does."""
    inquiry, atom = inquire(job.build()), Atom(fault, at)
    now = inquiry.chances().get(atom, 0.0)
    before = {
        reading.question.id: inquiry.chances(
            inquiry.after([each for each in inquiry.taken if each is not reading])
        ).get(atom, 0.0)
        for reading in inquiry.taken
    }
    best = min(before, key=before.__getitem__, default="")
    return best if best and before[best] < SPEAKS * now else ""


def _named(job: Job, faults: tuple[str, ...], repairs: Sequence[str] = ()) -> Mending:
    """Return the proposal for some faults, under an id that no other plan has."""
    chosen = {
        fault
        for fault in faults
        for name, _, at in (fault.partition("@"),)
        if any(f"{repair.name}@{at}" in repairs for repair in repairs_of(name))
    }
    told = (fault.split("@") for fault in faults)
    words = listed([f"{trade.fault(name).title} at {at}" for name, at in told])
    # One that only mends is made anew.
    taken = {plan.id for plan in job.proposals if plan.set or plan.add or plan.remove}
    free = (ID if number == 1 else f"{ID}-{number}" for number in range(1, len(taken) + 2))
    left = tuple(fault for fault in faults if fault not in chosen)
    id = next(id for id in free if id not in taken)
    return Mending(id, f"{words} {'put right' if left else 'dealt with'}", left, tuple(repairs))


def with_mending(job: Job, chances: Mapping[Atom, float]) -> tuple[Job, str | None]:
    """Return the job with the plan that only mends, and the id of that, where nobody wrote it.

    None where nothing is established that could be mended, or a plan of the job does just that.

    Args:
        job: the job.
        chances: of every fault, by find.

    """
    faults = established(job, chances)
    written = any(
        not (plan.set or plan.add or plan.remove) and mended_by(plan) >= set(faults)
        for plan in job.proposals
    )
    if not faults or written:
        return job, None
    plan = _named(job, faults)
    only = Proposal(id=plan.id, name=plan.name, mends=plan.mends)
    return job.model_copy(update={"proposals": (*job.proposals, only)}), plan.id


def text_with_found(text: str, format: Format, *, fault: str, at: str) -> str:
    """Return the text of a job with a fault taken as found, and with what speaks for it.

    One that is written already keeps what it was taken from.

    Raises:
        BadInputError: the text is none of a job, or has no place for it.

    """
    job = kept_job(text, format)
    known = any((each.fault, each.at) == (fault, at) for each in job.findings)
    since = "" if known else _evidence_for(job, fault, at)
    return with_finding(text, format, fault=fault, at=at, since=since)


def text_with_mending(
    text: str, format: Format, *, repairs: Sequence[str] = ()
) -> tuple[str, Mending]:
    """Return the text of a job with the proposal that mends what was found, and that proposal.

    Args:
        text, format: of the job.
        repairs: that are chosen, each as repair@place; what none is named for is mended as usual.

    Raises:
        BadInputError: nothing is established yet, and what is likeliest is named; or the text has
            no place for it.

    """
    plan = _mending(kept_job(text, format), repairs)
    written = with_plan(
        text, format, id=plan.id, name=plan.name, mends=plan.mends, repairs=plan.repairs
    )
    kept_job(written, format)
    return written, plan
