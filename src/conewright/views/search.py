"""The search for faults as text: causes with odds, the card of a reading, the plan to certainty."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from conewright.phrases import capital, counted
from conewright.stages.find.faults import trade
from conewright.stages.find.talk.planning import CERTAIN
from conewright.stages.prove.recorded_tests import heard_instead
from conewright.stages.report.data import Figure, Outlook, PlanStep, ReadingCard, Report
from conewright.stages.report.words import number, odds
from conewright.views.layout import Cell, Paragraph, Section, Table, fold
from conewright.views.numbers import minutes, percent, points

__all__ = [
    "card_in_words",
    "cause_name",
    "find_tables",
    "reading_sections",
    "split_cause",
    "time_in_words",
]

MOST_CAUSES, LEAST_SHOWN = 10, 0.01
"""How many causes are shown, and from which odds on."""

PLACE_WIDTH = 18
FIELD = 9
"""Room for the name of a line of a card."""


def split_cause(figure: Figure) -> tuple[str, str]:
    """Return what is wrong and where, of the figure that holds a cause's odds."""
    place = figure.name.partition("@")[2]
    return figure.label.removesuffix(f" at {place}"), place


def cause_name(report: Report, cause: str) -> str:
    """Return a cause, `fault@subject`, in the words that its figure has in this report."""
    known = (figure.label for figure in report.figures if figure.id == f"cause.{cause}")
    return next(known, cause.replace("@", " at "))


def find_tables(report: Report, figures: Mapping[str, Figure]) -> Iterator[Table]:
    """Yield the tables: causes, odds of unknown wiring, odds after each reading."""
    causes = [figure for figure in figures.values() if figure.subject == "cause"]
    if causes:
        yield _causes(causes)
    wiring = [figure for figure in figures.values() if figure.subject == "wiring"]
    if wiring:
        yield _wiring(wiring)
    if any(len(curve.x.values) > 1 for curve in report.series):
        yield _course(report)


def _causes(causes: Sequence[Figure]) -> Table:
    shown = [figure for figure in causes[:MOST_CAUSES] if (figure.value or 0.0) >= LEAST_SHOWN]
    rows: list[list[Cell]] = []
    for figure in shown or causes[:1]:
        cause, place = split_cause(figure)
        rows.append([(cause,), _place(place), *_odds(figure)])
    rest = causes[len(rows) :]
    most = percent(max((figure.value or 0.0 for figure in rest), default=0.0))
    others, each = counted(len(rest), "other"), " each" if len(rest) > 1 else ""
    note = f"Less likely: {others}, {most} and below{each}." if rest else ""
    return Table([("cause",), ("at",), ("odds",), ("in words",)], rows, note=note)


def _place(name: str) -> Cell:
    return fold(name, width=PLACE_WIDTH)


def _odds(figure: Figure) -> Iterator[Cell]:
    value = figure.value or 0.0
    yield (percent(value),)
    yield (odds(value),)


def _wiring(wiring: Sequence[Figure]) -> Table:
    rows: list[list[Cell]] = []
    for figure in wiring:
        channel = figure.name.partition(".")[0]
        rows.append([(figure.label,), _place(channel), *_odds(figure)])
    head = [("what hangs there",), ("channel",), ("odds",), ("in words",)]
    return Table(head, rows)


def _course(report: Report) -> Table:
    """Return the odds of the leading causes after each reading, those of the job in its order."""
    head: list[Cell] = [("odds after reading",)]
    head += [(str(count or "none"),) for count in report.series[0].x.values]
    rows = [
        [
            (_of_course(report, curve.id),),
            *((text,) for text in points(curve.y)),
        ]
        for curve in report.series
    ]
    return Table(head, rows)


def _of_course(report: Report, id: str) -> str:
    return cause_name(report, id.removeprefix("cause.").removesuffix(".odds"))


# --- Readings and the plan --------------------------------------------------------------------


def reading_sections(report: Report) -> Iterator[Section]:
    """Yield what to do next: the card of the best reading, other readings, the plan."""
    if not report.readings:
        return
    first, *others = report.readings
    yield Section("The next reading", tuple(card_in_words(first, report)))
    yield Section("", (_others(others),))
    yield Section("", tuple(_plan(report)))


def card_in_words(
    card: ReadingCard, report: Report, *, numbered: bool = False
) -> Iterator[Paragraph]:
    """Yield a reading worth taking: what to do, what is healthy, what each answer would change.

    Args:
        card: of the reading.
        report: that it belongs to; gives causes their names.
        numbered: put a number before each answer, from 1.

    """
    yield Paragraph(f"{_named(card)}, {time_in_words(card)}", rest="  ")
    yield _field("How", card.how)
    yield _field("With", card.equipment)
    yield _field("Healthy", card.healthy)
    if command := _listening(card):
        yield _field("Hear it", command)
    if card.then:
        yield _field("Then", f"best followed by {_reading_name(report, card.then)}")
    for caution in card.cautions:
        yield Paragraph(caution, first="  ! ", rest="    ")
    yield from _answers(card, report, numbered)


def _listening(card: ReadingCard) -> str:
    """Return the commands by which a recording answers a reading; empty where none can."""
    instead = heard_instead(card.test)
    if instead is None:
        return ""
    listen = f"conewright listen FILE --as {instead.test.id} --at {card.subject} --job JOB"
    return f"conewright sound {instead.sound}; {listen}" if instead.sound else listen


def time_in_words(card: ReadingCard) -> str:
    """Return how long a reading takes, and how much of it is to get there."""
    taken = minutes(card.minutes)
    opening = card.minutes - trade.test(card.test).minutes
    return f"{taken}, {number(opening)} of them to get there" if opening > 0.0 else taken


def _named(card: ReadingCard) -> str:
    return f"{capital(card.title)} at {card.subject}"


def _field(name: str, text: str) -> Paragraph:
    return Paragraph(text, first=f"  {name:<{FIELD}}", rest=" " * (FIELD + 2))


def _answers(card: ReadingCard, report: Report, numbered: bool) -> Iterator[Paragraph]:
    meanings = {answer.word: answer.meaning for answer in trade.test(card.test).answers}
    longest = max((len(outlook.word) for outlook in card.answers), default=0)
    for place, outlook in enumerate(card.answers, start=1):
        mark = f"{place}" if numbered else "-"
        start = f"  {mark} {outlook.word:<{longest}}  {percent(outlook.chance):>5}  "
        told = [meanings.get(outlook.word, ""), _outlook(outlook, report)]
        said = "; ".join(part for part in told if part)
        yield Paragraph(said, first=start, rest=" " * len(start))


def _outlook(outlook: Outlook, report: Report) -> str:
    if not outlook.cause:
        return ""
    return f"then most likely {cause_name(report, outlook.cause)} ({percent(outlook.odds)})"


def _others(cards: Sequence[ReadingCard]) -> Table:
    rows: list[list[Cell]] = [
        [
            (card.title,),
            _place(card.subject),
            (number(card.minutes),),
            (number(card.bits_per_minute, spread=0.003),),
        ]
        for card in cards
    ]
    head = [("other readings",), ("at",), ("min",), ("bit/min",)]
    return Table(head, rows)


def _plan(report: Report) -> Iterator[Paragraph]:
    """Yield the cheapest plan to certainty with its minutes, and each of its steps."""
    figures = {figure.name: figure.value for figure in report.figures if figure.subject == "plan"}
    needed, chance = figures.get("minutes") or 0.0, figures.get("chance") or 0.0
    if not report.plan:
        sure = f"certain ({percent(CERTAIN)})"
        certain = f"The plan: nothing more is needed, a cause is as good as {sure}."
        short = f"The plan: no few readings make a cause {sure}."
        yield Paragraph(certain if chance > 0.0 else short, rest="  ")
        return
    title = (
        f"The plan: {minutes(needed)} expected, and in {percent(chance)} of all cases a cause is "
        f"certain ({percent(CERTAIN)}) then. The likeliest course:"
    )
    yield Paragraph(title, rest="  ")
    for place, step in enumerate(report.plan, start=1):
        yield Paragraph(_step(step, report), first=f"{place}. ", rest="   ")


def _step(step: PlanStep, report: Report) -> str:
    reading = f"{_reading_name(report, step.reading)}, {minutes(step.minutes)}"
    cause = f"{cause_name(report, step.cause)} ({percent(step.odds)})"
    return f"{reading}: most likely {step.likely}, and then {cause}"


def _reading_name(report: Report, reading: str) -> str:
    """Return a reading, `test@subject`, in words."""
    test, _, place = reading.partition("@")
    known = (figure.label for figure in report.figures if figure.id == f"next.{reading}")
    return f"{next(known, test)} at {place}"
