"""Stage find: what is wrong, and which reading to take next."""

from __future__ import annotations

from collections.abc import Iterable

from conewright.job.builds.draws import draw
from conewright.job.builds.states.build import Build
from conewright.stages.common.conditioned import disagreements
from conewright.stages.find.direct_current import offset_verdicts, pulse_figures, with_pulse
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.faults.told import disagreement_verdicts, return_verdicts
from conewright.stages.find.instruments.unknown import unknown_loads
from conewright.stages.find.printed import printed_verdicts
from conewright.stages.find.talk.cards import reading_card, reading_figures
from conewright.stages.find.talk.courses import Step, likeliest_course
from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.loads import wiring_cards, wiring_figures
from conewright.stages.find.talk.planning import CERTAIN, Foresight, Proposal, top
from conewright.stages.find.talk.rollouts import FEW, Promise, promised
from conewright.stages.find.talk.sentences import (
    aside_verdict,
    cause_verdicts,
    conflict_verdicts,
    find_sentence,
    stop_verdicts,
)
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import (
    Axis,
    Kind,
    Outlook,
    PlanStep,
    ReadingCard,
    Report,
    Series,
)

__all__ = ["find"]

LEAST_ODDS = 0.001
"""Causes less likely than this are not listed."""

CARDS, FORESEEN = 8, 3
"""How many readings are proposed, and for how many of them each answer is followed."""

DRAWN = 4
"""Causes whose odds are drawn after each reading."""


def find(build: Build) -> Report:
    """Answer what is wrong with a vehicle, from the owner's words and the readings of its job.

    Args:
        build: the vehicle as found.

    Returns:
        Causes with odds, the readings worth taking, and the plan to certainty.

    Raises:
        BadInputError: a complaint, test or answer that nobody knows; names its place in the job.

    >>> import conewright as cw
    >>> report = cw.find(cw.demo_job().build())
    >>> report.figures[0].label
    "load below the radio's rating at rear-left"
    >>> report.readings[0].id
    'settings-reset@vehicle'
    """
    inquiry = inquire(build)
    answer = Answer("find", build, None, draw(()))
    chances = inquiry.chances()
    foresight = Foresight(inquiry.case)
    proposals = foresight.next_readings(inquiry.odds, inquiry.asked, inquiry.opened)
    _cause_figures(answer, chances)
    _next_figures(answer, proposals)
    for proposal in proposals:
        pulse_figures(answer, inquiry, proposal.question)
    unknown = unknown_loads(build)
    wiring_figures(answer, unknown)
    way = likeliest_course(inquiry, foresight)
    promise = promised(inquiry, foresight.questions)
    _plan_figures(answer, promise)
    _odds_series(answer, inquiry, chances)
    wiring = wiring_cards(answer, unknown, inquiry.opened)
    every = (*wiring, *_cards(inquiry, proposals))
    cards = tuple(
        with_pulse(answer, inquiry, card)
        for card in sorted(every, key=lambda card: _rank(card, build))
    )
    return_verdicts(answer)
    stop_verdicts(answer, inquiry, chances)
    offset_verdicts(answer, inquiry)
    cause_verdicts(answer, inquiry, chances)
    conflict_verdicts(answer, inquiry)
    disagreement_verdicts(answer, disagreements(build))
    aside_verdict(answer, inquiry)
    printed_verdicts(answer, inquiry, chances)
    answer.sentence = find_sentence(inquiry, chances, cards)
    report = answer.report(headlines={})
    plan = tuple(_plan_step(step) for step in way.steps) if way else ()
    return report.model_copy(update={"readings": cards, "plan": plan, "fills": ()})


def _cause_figures(answer: Answer, chances: dict[Atom, float]) -> None:
    for atom, chance in ranked(chances):
        if chance >= LEAST_ODDS:
            label = f"{title_of(atom)} at {atom.subject}"
            answer.figure("cause", atom.id, chance, unit="", kind=Kind.ODDS, label=label)


def ranked(chances: dict[Atom, float]) -> list[tuple[Atom, float]]:
    """Return the causes, the likeliest first."""
    return sorted(chances.items(), key=lambda entry: (-entry[1], entry[0]))


def title_of(atom: Atom) -> str:
    """Return the plain name of a fault."""
    return trade.fault(atom.fault).title


def _next_figures(answer: Answer, proposals: Iterable[Proposal]) -> None:
    for proposal in proposals:
        reading_figures(
            answer,
            proposal.question.id,
            title=trade.test(proposal.question.test).title,
            rate=proposal.rate,
            bits=proposal.bits,
            minutes=proposal.minutes,
        )


def _plan_figures(answer: Answer, promise: Promise) -> None:
    label = f"expected to {100 * CERTAIN:.0f} % certainty"
    answer.figure("plan", "minutes", promise.minutes, unit="min", kind=Kind.TIME, label=label)
    label = f"chance that the next {FEW} readings get there"
    answer.figure("plan", "chance", promise.chance, unit="", kind=Kind.ODDS, label=label)


def _odds_series(answer: Answer, inquiry: Inquiry, chances: dict[Atom, float]) -> None:
    """Odds of the leading causes after each reading, in the order of the job."""
    leading = [atom for atom, _ in ranked(chances)[:DRAWN]]
    courses: dict[Atom, list[float]] = {atom: [] for atom in leading}
    for count in range(len(inquiry.taken) + 1):
        after = inquiry.chances(inquiry.after(inquiry.taken[:count]))
        for atom in leading:
            courses[atom].append(after[atom])
    for atom, course in courses.items():
        answer.series.append(
            Series(
                id=f"cause.{atom.id}.odds",
                subject="cause",
                x=Axis(
                    name="readings",
                    unit="",
                    kind=Kind.COUNT,
                    values=tuple(range(len(course))),
                ),
                y=Axis(name="odds", unit="", kind=Kind.ODDS, values=tuple(course)),
            )
        )


def _cards(inquiry: Inquiry, proposals: list[Proposal]) -> Iterable[ReadingCard]:
    for number, proposal in enumerate(proposals[:CARDS]):
        question = proposal.question
        yield reading_card(
            question.test,
            question.subject,
            minutes=proposal.minutes,
            bits=proposal.bits,
            rate=proposal.rate,
            healthy=inquiry.case.healthy_words(question),
            answers=_outlooks(inquiry, proposal, followed=number < FORESEEN),
            then=proposal.then.id if proposal.then else None,
            in_door=_may_be_in_door(inquiry, question.subject),
        )


def _rank(card: ReadingCard, build: Build) -> tuple[float, bool]:
    """Order readings by what they tell a minute, of equal ones first what the owner points at."""
    pointed = {text.partition("@")[2] for text in build.job.about.complaints} - {""}
    words = set(card.subject.split("-"))
    named = any(words >= set(where.split("-")) for where in pointed)
    return -round(card.bits_per_minute, 3), not named


def _may_be_in_door(inquiry: Inquiry, subject: str) -> bool:
    """Whether what a reading is done at may be a door; a channel may pass one."""
    return any(
        place.kind == "door" or subject != place.id
        for chain in inquiry.case.chains
        for place in chain.places
        if subject in (place.id, chain.id)
    )


def _outlooks(inquiry: Inquiry, proposal: Proposal, *, followed: bool) -> Iterable[Outlook]:
    for word, chance in proposal.answers.items():
        cause, odds = "", 0.0
        if followed and chance > LEAST_ODDS:
            cause, odds = top(inquiry.after(inquiry.taken, [(proposal.question, word)]))
        yield Outlook(word=word, chance=chance, cause=cause, odds=odds)


def _plan_step(step: Step) -> PlanStep:
    return PlanStep(
        reading=step.question.id,
        minutes=step.minutes,
        likely=step.said,
        cause=step.cause,
        odds=step.odds,
    )
