"""Stage choose: the best whole plan for the money, proved, and what stands beside it."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from math import isfinite
from typing import TYPE_CHECKING

from conewright.catalogue.driver_columns import driver_columns
from conewright.errors import BadInputError
from conewright.job.builds.draws import DEFAULT_SAMPLES
from conewright.phrases import listed
from conewright.stages.choose.engine.solve import Limits, Search
from conewright.stages.choose.finals.finalists import Panel
from conewright.stages.choose.finals.outcome import Rules, shown_of, sought
from conewright.stages.choose.finals.plan_answers import CatalogueUsed, Choice, SearchTold
from conewright.stages.choose.mounted.prepared import Prepared
from conewright.stages.choose.plans import Told
from conewright.stages.choose.space.gates import Allowed
from conewright.stages.choose.space.knobs import KNOBS, space_of
from conewright.stages.choose.telling import told
from conewright.stages.compare.wishes import seat_that_counts
from conewright.stages.find.talk.inquiry import inquire
from conewright.stages.find.talk.mending import established

if TYPE_CHECKING:
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.stages.choose.space.explicit import GivenOptions
    from conewright.stages.choose.space.groups import Space

__all__ = ["choose", "space_to_choose_from", "wished"]

UNASKED = "matters"
"""How much bass counts where nobody said what is wished."""


def choose(
    job: Job,
    offer: Offer,
    *,
    options: GivenOptions | None = None,
    money: float | None = None,
    hours: float | None = None,
    may: Iterable[str] | None = None,
    cut: bool | None = None,
    lead_days: float | None = None,
    unmeasured: bool = False,
    sure: bool = False,
    seat: str | None = None,
    gap: float = 0.0,
    trust: bool = False,
    samples: int = DEFAULT_SAMPLES,
) -> Choice:
    """Return the best whole plan that a catalogue allows, with the proof and what stands beside it.

    Args:
        job: with its wishes; what is left out below is as they say.
        offer: the parts to choose from.
        options: an explicit space in the place of what the job and the catalogue span.
        money: most that a plan may cost, in the job's currency; its budget when left out.
        hours: most hours of work.
        may: what may be changed; to mend what is broken is always allowed.
        cut: whether panels may be cut.
        lead_days: most days that a part may be on its way; without it nothing out of stock is
            waited for.
        unmeasured: whether places that nobody measured take larger parts than were there.
        sure: whether the money holds at the high end of a quote.
        seat: id of the seat that counts.
        gap: points within which the best is good enough.
        trust: whether figures of a sheet get the spread that their origin deserves.
        samples: number of draws behind the careful values, a power of two.

    Raises:
        BadInputError: nothing can be chosen: a channel whose load is not known, a seat, wish or
            limit that cannot be.

    >>> import conewright as cw
    >>> parts = cw.offer("invented")
    >>> choice = cw.choose(cw.demo_job(), parts, money=150, may=("wiring",), samples=16)
    >>> choice.plan_of("best").options["wiring rear-left+rear-right"].id
    'series'
    >>> choice.plan_of("best").cures
    ('reversed@door-fr',)
    """
    started, unasked = time.process_time(), not job.wishes.weights
    may = None if may is None else tuple(may)
    job = wished(job, money=money, hours=hours, cut=cut, lead_days=lead_days, seat=seat, may=may)
    limits = Limits(job.most_money, job.wishes.hours)
    _hold(job, gap)
    space = space_to_choose_from(
        job, offer, options=options, may=may, unmeasured=unmeasured, money=limits.money is not None
    )
    ready = Prepared(space, driver_columns(offer.compiled), seat_that_counts(job))
    search = Search(ready, gap=gap)
    rules = Rules(limits, sure, trust, samples, unasked)
    outcome = sought(search, space, rules)
    shown = shown_of(outcome, space, rules)
    panel = Panel(space.job, shown, limits, samples)
    answer = told(Told(space, search, outcome, panel, rules))
    checked = search.tally.checked
    return answer.model_copy(
        update={
            "catalogue": CatalogueUsed(
                name=offer.name,
                version=offer.version,
                sha256=offer.sha256,
                parts=len(offer.compiled),
            ),
            "search": SearchTold(
                frames=search.tally.frames,
                options=space.options,
                plans=space.plans,
                bounded=max(space.plans - checked, 0.0),
                checked=checked,
                gap=outcome.gap,
                bound=None if outcome.best is None else outcome.best.value + outcome.gap,
                seconds=round(time.process_time() - started, 3),
            ),
        }
    )


def space_to_choose_from(
    job: Job,
    offer: Offer,
    *,
    options: GivenOptions | None = None,
    may: Iterable[str] | None = None,
    unmeasured: bool = False,
    money: bool = False,
) -> Space:
    """Return what may be combined: the options that are given, else those that job and parts span.

    Args:
        job: with the wishes that count.
        offer: the parts.
        options: an explicit space.
        may: what may be changed.
        unmeasured: whether places that nobody measured take larger parts.
        money: whether a limit of money is set.

    """
    build = job.build()
    if build.unknown:
        names = listed([channel.id for channel in build.unknown])
        raise BadInputError(
            f"choose: nobody knows what hangs on {names}; nothing is chosen on a guess: take the "
            "reading that find asks for first, or write the load"
        )
    if not build.channels:
        raise BadInputError("choose: found no channel that drives a place; write one first")
    known = job.about.complaints or job.readings or job.findings
    faults = established(job, inquire(build).chances()) if known else ()
    if options is not None:
        from conewright.stages.choose.space.explicit import space_given

        return space_given(job, offer, options, established=faults)
    wishes = job.wishes
    allowed = Allowed(
        cut=bool(wishes.cut),
        unmeasured=unmeasured,
        money=money,
        currency=job.about.currency or "",
        lead_days=wishes.lead_days,
    )
    turned = wishes.may if may is None else tuple(may)
    knobs = KNOBS if turned is None else (*turned, "repair")
    return space_of(
        job,
        offer,
        driver_columns(offer.compiled),
        established=faults,
        allowed=allowed,
        may=knobs,
    )


def wished(
    job: Job,
    *,
    money: float | None,
    hours: float | None,
    cut: bool | None,
    lead_days: float | None,
    seat: str | None,
    may: Iterable[str] | None,
) -> Job:
    """Return the job with the wishes that count."""
    given: dict[str, object] = {
        name: value
        for name, value in (
            ("money", money),
            ("hours", hours),
            ("cut", cut),
            ("lead_days", lead_days),
            ("seat", seat),
        )
        if value is not None
    }
    if may is not None:
        _hold_knobs(tuple(may))
        given["may"] = tuple(each for each in may if each not in ("repair", "swap"))
    if not job.wishes.weights:
        given["bass"] = UNASKED
    for name in ("money", "hours", "lead_days"):
        value = given.get(name)
        if isinstance(value, float | int) and not (isfinite(value) and value >= 0.0):
            raise BadInputError(f"{name}: found {value}; a number from 0 on is wanted")
    if seat is not None and seat not in {each.id for each in job.seats}:
        known = ", ".join(each.id for each in job.seats)
        raise BadInputError(f'seat: found "{seat}"; this job has {known}')
    return job.model_copy(update={"wishes": job.wishes.model_copy(update=given)})


def _hold_knobs(may: Sequence[str]) -> None:
    unknown = [each for each in may if each not in KNOBS]
    if unknown:
        raise BadInputError(f'may: found "{unknown[0]}"; allowed: {", ".join(KNOBS)}')


def _hold(job: Job, gap: float) -> None:
    if not job.seats:
        raise BadInputError("choose: found no seat; write whose ears count as [[seat]]")
    if not (isfinite(gap) and gap >= 0.0):
        raise BadInputError(f"gap: found {gap}; points from 0 on are wanted")
