"""Up to three plans of a job side by side on the quote, so that the owner can choose.

Which may be taken, what each costs and cures is what compare says; nothing is judged here.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from conewright.job.text.parsing import from_dict
from conewright.phrases import listed
from conewright.stages.compare.advice import Candidate, advised
from conewright.stages.compare.stage import Compared, compared
from conewright.stages.find.faults.trade import fault
from conewright.stages.report.words import number, odds

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.document.document import Document
    from conewright.stages.outlay.amounts import Amount

__all__ = ["Alternative", "Alternatives", "alternatives"]

MOST = 3
KEPT = 2
"""Comparisons that are kept: the papers of several plans of one job share theirs."""
SAMPLES = 64
"""Draws: whether a plan may be taken, its money, hours and points follow from central values and
from the bands of the outlay, so that more would change nothing that stands here."""
ASIDE = frozenset({"always", "battery-off", "trimmed"})
"""Kinds of step that every plan has, or that lead to another one."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """A plan that may be taken, in an owner's words.

    this: whether the paper is of it. title: what is done, in one line. role: what it is among the
    others. catalogue: that its parts were chosen from, empty where nobody says.
    """

    id: str
    this: bool
    role: str
    title: str
    done: tuple[str, ...]
    cost: Amount
    hours: Amount
    cure: str
    cures: tuple[str, ...]
    leaves: tuple[str, ...]
    points: str
    catalogue: str


@dataclass(frozen=True, slots=True)
class Alternatives:
    """Plans to choose from; none where there is no choice.

    against: why the plan of this paper is not among them. undone: what is left by doing nothing.
    """

    plans: tuple[Alternative, ...]
    against: str
    undone: tuple[str, ...]


def alternatives(build: Build) -> Alternatives:
    """Return the plans that an owner can choose from instead of one: what compare lets be taken.

    The recommended one comes first, then the next best, then the one that only mends; the plan of
    the paper is among them wherever it may be taken.

    Args:
        build: the plan of the paper.

    Raises:
        BadInputError: the plans of the job cannot be compared.

    """
    job = build.job
    if build.proposal is None or len(job.proposals) < 2:
        return Alternatives((), "", ())
    found = _compared(json.dumps(job.to_dict()))
    best = advised(found.candidates)
    plans = _offered(found, build.id)
    own = next(each for each in found.candidates if each.build.id == build.id)
    if len(plans) < 2 and own in plans:
        return Alternatives((), "", ())
    told = tuple(_told(plan, best, found, plan is own, index) for index, plan in enumerate(plans))
    reasons = (*own.risks, *own.beyond)
    against = "" if own in plans else listed(reasons) or "it moves only what is not wrong"
    return Alternatives(told, against, _faults(found.candidates[0].leaves, job))


# --- Which ----------------------------------------------------------------------------------------


@lru_cache(maxsize=KEPT)
def _compared(text: str) -> Compared:
    """Return the plans of a job, as JSON, side by side."""
    return compared(from_dict(json.loads(text)), samples=SAMPLES)


def _offered(found: Compared, own: str) -> list[Candidate]:
    """Return the plans that may be taken, as many as there is room for, in their order."""
    free = [
        each
        for each in found.candidates
        if each.takeable and each.build.proposal is not None and not each.idle
    ]
    ranked = list(_ranked(free))
    chosen = ranked[:MOST]
    wanted = (each for each in ranked[MOST:] if _mends_only(each, found) or each.build.id == own)
    for each in wanted:
        # The first stays; of the others the last that is not wanted itself gives way.
        gone = [one for one in chosen[1:] if not _mends_only(one, found) and one.build.id != own]
        if gone:
            chosen[chosen.index(gone[-1])] = each
    return sorted(chosen, key=lambda each: (_mends_only(each, found), ranked.index(each)))


def _ranked(free: Sequence[Candidate]) -> Iterator[Candidate]:
    """Yield plans in the order in which compare would advise them."""
    left = list(free)
    while (best := advised(left)) is not None:
        yield best
        left.remove(best)


def _mends_only(each: Candidate, found: Compared) -> bool:
    if each.build.id == found.mend_only:
        return True
    plan = next((one for one in each.build.job.proposals if one.id == each.build.id), None)
    return plan is not None and not (plan.set or plan.add or plan.remove)


# --- In words -------------------------------------------------------------------------------------


def _told(
    plan: Candidate, best: Candidate | None, found: Compared, this: bool, index: int
) -> Alternative:
    job = plan.build.job
    proposal = job.proposal(plan.build.id)
    return Alternative(
        id=plan.build.id,
        this=this,
        role=_role(plan, best, found, index),
        title=plan.build.title,
        done=tuple(_done(plan)),
        cost=plan.taken.total,
        hours=plan.taken.hours,
        cure="" if plan.cure is None else odds(plan.cure),
        cures=_faults(plan.cures, job),
        leaves=_faults(plan.leaves, job),
        points="" if plan.points is None else number(plan.points, spread=3.0),
        catalogue=getattr(proposal, "catalogue", None) or "",
    )


def _role(plan: Candidate, best: Candidate | None, found: Compared, index: int) -> str:
    if plan is best:
        return "Recommended"
    if _mends_only(plan, found):
        return "Mends only"
    return "Next best" if index == 1 and best is not None else "Also possible"


def _done(plan: Candidate) -> Iterator[str]:
    """Yield what is done besides what every plan needs, each once with its places."""
    for step in plan.taken.steps:
        if step.kind not in ASIDE:
            yield f"{step.title}: {step.where}" if step.where else step.title


def _faults(ids: Sequence[str], job: Document) -> tuple[str, ...]:
    """Return faults in words, those of a kind together with their places."""
    names = {place.id: place.name or place.id for place in job.locations}
    places: dict[str, list[str]] = {}
    for id in ids:
        name, _, at = id.partition("@")
        places.setdefault(name, []).append(names.get(at, at))
    return tuple(f"{fault(name).title}: {listed(at)}" for name, at in places.items())
