"""What a job says of faults, held against the tables: complaints, readings, findings; one rule.

Whoever opens a job still gets it with such entries in it, so that nothing is lost; whoever would
add one is told. Every way into a job asks here: the command `check`, pages, imports and the API.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from functools import cached_property
from typing import TypeVar

from conewright.errors import BadInputError, JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.document.document import Reading
from conewright.job.document.parts import UNKNOWN
from conewright.job.document.paths import known_names, show
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom, chains_of
from conewright.stages.find.odds.evidence import Case
from conewright.stages.find.talk.inquiry import heard, inquire

__all__ = ["entry_problems", "hold_entries"]

SPEAKS_AGAINST = 1.0 / 20.0
"""A reading that makes a fault so much less likely contradicts who takes it as found."""

T = TypeVar("T")


def entry_problems(job: Job, *, before: Job | None = None) -> list[Problem]:
    """Return every complaint, reading and finding that find cannot use, with its place.

    Args: job: a job; before: as it was, whose own entries are not looked at again.
    """
    desk = _Desk(job)
    return [problem for check in _CHECKS for problem in check(desk, before)]


def hold_entries(before: Job, job: Job) -> None:
    """Raise JobError where a job has gained a complaint, reading or finding that is of no use."""
    problems = entry_problems(job, before=before)
    if problems:
        raise JobError(problems)


class _Desk:
    """A job whose entries are looked at."""

    def __init__(self, job: Job) -> None:
        self.job = job

    @cached_property
    def case(self) -> Case | None:
        """Where each test can be done; None where the vehicle cannot be worked with."""
        try:
            build = self.job.build()
        except JobError:
            return None
        return Case(build, chains_of(build))

    @cached_property
    def unknown(self) -> frozenset[str]:
        """Channels of which the wiring is asked for."""
        return frozenset(each.id for each in self.job.channels if each.load == UNKNOWN)


def _complaints(desk: _Desk, before: Job | None) -> Iterator[Problem]:
    known = trade.words_of_complaints()
    old = before.about.complaints if before else ()
    for number, text in _news(desk.job.about.complaints, old):
        name = text.partition("@")[0]
        if name not in known:
            allowed = f"it is no complaint that is known; {known_names(name, known)}"
            yield Problem(f"job.complaints[{number}]", show(text), allowed)


def _readings(desk: _Desk, before: Job | None) -> Iterator[Problem]:
    for number, reading in _news(desk.job.readings, before.readings if before else ()):
        yield from _reading(desk, f"reading[{number}]", reading)


def _reading(desk: _Desk, path: str, reading: Reading) -> Iterator[Problem]:
    known = [kind.id for kind in trade.tests()]
    if reading.test not in known:
        allowed = f"it is no test that is known; {known_names(reading.test, known)}"
        yield Problem(f"{path}.test", show(reading.test), allowed)
        return
    if reading.at not in desk.unknown and desk.case is not None:
        try:
            desk.case.question(reading.test, reading.at)
        except BadInputError as error:
            yield Problem(f"{path}.at", show(reading.at), str(error))
    try:
        said = heard(reading.test, reading.value)
    except BadInputError as error:
        yield Problem(f"{path}.value", show(reading.value), str(error))
        return
    if reading.odds is not None:
        yield from _weighed(f"{path}.odds", reading, said)


def _weighed(path: str, reading: Reading, said: object) -> Iterator[Problem]:
    """What a recording weighs are answers of its test in words, and the value is the likeliest."""
    assert reading.odds is not None
    words = trade.test(reading.test).words
    for word in reading.odds:
        if word not in words:
            allowed = f"{reading.test} is not answered so; {known_names(word, words)}"
            yield Problem(path, show(word), allowed)
            return
    likeliest = max(reading.odds.values())
    if said is not None and (not isinstance(said, str) or reading.odds.get(said, 0.0) < likeliest):
        allowed = "the value is the answer that weighs most"
        yield Problem(path, show(reading.value), allowed)


def _findings(desk: _Desk, before: Job | None) -> Iterator[Problem]:
    news = [
        (number, each)
        for number, each in _news(desk.job.findings, before.findings if before else ())
        if each.state == "found"
    ]
    # What else was found is no evidence for or against one of them.
    bare = desk.job.model_copy(update={"findings": ()})
    if not news or desk.case is None or entry_problems(bare):
        return
    inquiry = inquire(bare.build())
    now = inquiry.chances()
    for number, finding in news:
        atom, path = Atom(finding.fault, finding.at), f"finding[{number}]"
        if atom not in now:
            silent = finding.at in desk.unknown or not _driven(desk.job, finding.at)
            if not silent:
                yield Problem(path, show(finding.id), "there is nothing there that could fail so")
            continue
        for reading in inquiry.taken:
            without = [each for each in inquiry.taken if each is not reading]
            ratio = _odds(now[atom]) / _odds(inquiry.chances(inquiry.after(without))[atom])
            if ratio < SPEAKS_AGAINST:
                yield Problem(
                    path,
                    show(finding.id),
                    f"reading[{reading.number}], {reading.question.id}: {reading.said}, makes it "
                    f"{1.0 / ratio:.0f} times less likely; take that again, or one of the two out",
                )


def _driven(job: Job, at: str) -> bool:
    """Whether a place, a channel or the vehicle is one that find has anything to say of."""
    places = {place.id for place in job.locations}
    driven = {name for each in job.channels if each.wiring for name in each.wiring.locations}
    return at not in places or at in driven


def _odds(chance: float) -> float:
    return max(chance, 1e-12) / max(1.0 - chance, 1e-12)


def _news(entries: tuple[T, ...], old: tuple[T, ...]) -> Iterator[tuple[int, T]]:
    """Yield the entries beyond those that were there, with their numbers from 1."""
    left = Counter(map(str, old))
    for number, entry in enumerate(entries, start=1):
        if left[str(entry)] > 0:
            left[str(entry)] -= 1
        else:
            yield number, entry


_CHECKS: tuple[Callable[[_Desk, Job | None], Iterator[Problem]], ...] = (
    _complaints,
    _readings,
    _findings,
)
"""One for each list of a job that the tables know."""
