"""The dialogue of find, for a phone beside the vehicle: one reading, its answers, what they mean.

Every answer is a new revision that names the one it started from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from conewright.errors import BadInputError, ConewrightError
from conewright.job.document.document import Reading
from conewright.job.document.fault_names import FAULTS
from conewright.job.text.readings import with_reading, without_reading
from conewright.sound.played.sounds import LIMIT, sounds_for
from conewright.stages.find.faults.entries import TestKind
from conewright.stages.find.faults.trade import EACH_LEG, INCONCLUSIVE, fault
from conewright.stages.find.faults.trade import test as test_kind
from conewright.stages.find.talk.answering import SWEEP_EXAMPLE, Answered, read_answer
from conewright.stages.find.talk.cards import card_of, minutes_of
from conewright.stages.find.talk.planning import CERTAIN
from conewright.stages.prove.recorded_tests import heard_instead
from conewright.stages.report.data import Figure, ReadingCard, Report, Severity
from conewright.stages.report.words import odds
from conewright.views.numbers import minutes, percent
from conewright.views.search import cause_name, split_cause
from conewright.web.base.errors import Refusal, reasons
from conewright.web.base.settings import LARGEST_NUMBER
from conewright.web.desk.workers import Question
from conewright.web.frame.answer import verdict_views
from conewright.web.frame.context import JobPage, open_page, plan_of, report_of, view_of
from conewright.web.frame.page import (
    Form,
    Revision,
    address,
    form_texts,
    number_in,
    reading_of,
    render,
    save,
    see_other,
)
from conewright.web.frame.rendered import kept
from conewright.web.pages.stage import picture_view, refused_page

__all__ = ["router"]

router = APIRouter()

LEAST_CAUSE, MOST_CAUSES = 0.01, 5
"""From which odds on causes are shown, and how many."""

PLACES = {
    "none": "from the seat, nothing is opened",
    "radio": "at the radio's plug, radio out",
    "trim": "at the driver, trim off",
}


@dataclass(frozen=True, slots=True)
class Typed:
    """What somebody answers: shown again with what is wrong with it.

    number: of the reading that is changed, counted from 1; 0 for none.
    beside: what was read has changed by itself: both readings stay.
    """

    reading: str = ""
    value: str = ""
    error: str = ""
    number: int = 0
    beside: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer: what it means, how likely it is, and the cause it would put first."""

    word: str
    meaning: str = ""
    chance: str = ""
    cause: str = ""
    odds: str = ""


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause with its odds now and before the last reading, as chance and in words."""

    title: str
    place: str
    chance: float
    percent: str
    words: str
    before: str
    fault: str
    is_state: bool


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading of the job as it is listed."""

    test: str
    at: str
    said: str

    @property
    def id(self) -> str:
        """`test@place`."""
        return f"{self.test}@{self.at}"


@dataclass(frozen=True, slots=True)
class Found:
    """A finding of the job as it is listed."""

    fault: str
    at: str
    title: str
    state: str
    since: str


Change = Annotated[int, Query(ge=0, le=LARGEST_NUMBER)]


@router.get("/jobs/{job_id}/find")
def find_page(
    request: Request,
    job_id: str,
    revision: Revision = None,
    reading: str = "",
    change: Change = 0,
) -> Response:
    """Show the reading worth taking next, a chosen one or one to change, and what is known."""

    def show() -> Response:
        page = open_page(request, job_id, revision=revision)
        return _shown(request, page, _changed(page, change) or Typed(reading))

    return kept(request, job_id, show)


@router.post("/jobs/{job_id}/readings")
def answer(request: Request, job_id: str, form: Form) -> Response:
    """Write the answer to a reading down; one taken again replaces the first, where asked so."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base"))
    test, at = fields.get("test", ""), fields.get("at", "")
    typed, word = fields.get("value", "").strip(), fields.get("word", "").strip()
    number, beside = number_in(fields, "number"), "beside" in fields
    before = _changed(page, number)
    try:
        # A value that only stands there because it is to be changed was not typed.
        shown = before is not None and typed == before.value
        said = _said(test, "" if word and shown else typed, word)
        text = reading_of(request).run(
            with_reading,
            page.saved.text,
            "toml",
            test=test,
            at=at,
            value=said.value,
            beside=beside or (test in EACH_LEG and not number),
            number=number,
        )
        then = f"{page.base}/find#reading"
        if text == page.saved.text:
            return see_other(then)
        _hold_usable(request, text)
        return save(request, page.saved, text, then=then, note=f"{test} at {at}: {said}")
    except BadInputError as error:
        return _shown(request, page, Typed(f"{test}@{at}", typed, reasons(error), number, beside))


@router.post("/jobs/{job_id}/readings/undo")
def undo(request: Request, job_id: str, form: Form) -> Response:
    """Take a reading back, the last one where no number is named, as a new revision."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base"))
    number = number_in(fields, "number")
    try:
        text = reading_of(request).run(without_reading, page.saved.text, number=number)
    except BadInputError as error:
        raise Refusal(422, f"Nothing was taken back: {error}.") from None
    gone = page.job.readings[number - 1]
    note = f"took back {gone.test} at {gone.at}: {_told(gone)}"
    return save(request, page.saved, text, then=f"{page.base}/find#taken", note=note)


# --- Taking an answer -----------------------------------------------------------------------------


def _changed(page: JobPage, number: int) -> Typed | None:
    """Return a reading of the job as it is changed, None where there is none of that number."""
    if not 0 < number <= len(page.job.readings):
        return None
    old = page.job.readings[number - 1]
    return Typed(f"{old.test}@{old.at}", _told(old), number=number)


def _said(test: str, typed: str, word: str) -> Answered:
    """Return what was answered; a word was pressed, or a value typed, never both."""
    if typed and word:
        raise BadInputError(
            f'"{typed[:60]}" is written here and "{word[:60]}" was pressed: save the reading as '
            "written, or empty the field and press again"
        )
    if not typed and not word:
        raise BadInputError("nothing is written here yet: write the value, or press an answer")
    return read_answer(test, typed or word)


def _hold_usable(request: Request, text: str) -> None:
    """Raise BadInputError for a text that find cannot use; works out what is shown next."""
    try:
        request.app.state.reports.answer(text, Question("find"))
    except Refusal:
        # It took too long. That is no fault of the reading, which must not be lost for it.
        return


# --- Showing it -----------------------------------------------------------------------------------


def _shown(request: Request, page: JobPage, typed: Typed) -> Response:
    try:
        report = report_of(request, page, "find")
    except (ConewrightError, Refusal) as error:
        return refused_page(request, page, "find", error)
    card = _chosen(typed.reading, report, page)
    lost = typed.reading if card is None and typed.reading else ""
    card = card or (report.readings[0] if report.readings else None)
    view = view_of(page, report)
    stops = [verdict for verdict in report.verdicts if verdict.severity is Severity.STOP]
    return render(
        request,
        "dialogue.html",
        page=page,
        stage="find",
        view=view,
        card=card,
        asked=None if card is None else _asked(card, report, page),
        best=bool(card and report.readings and card.id == report.readings[0].id),
        lost=lost,
        typed=typed,
        others=[each for each in report.readings if card is None or each.id != card.id],
        every=_every(report),
        taken=[Taken(each.test, each.at, _told(each)) for each in page.job.readings],
        before=_before(card, typed, page),
        found=_found(page),
        certain=any(cause.is_state and cause.chance >= CERTAIN for cause in _causes(report)),
        causes=_causes(report),
        loads=[
            (_named(each.name, report), percent(each.value or 0.0))
            for each in report.figures
            if each.subject == "wiring" and (each.value or 0.0) >= LEAST_CAUSE
        ],
        stops=verdict_views(stops),
        steps=[_step(step.reading, step.minutes, step.likely) for step in report.plan],
        limit=LIMIT,
        inconclusive=INCONCLUSIVE,
        picture=picture_view(page, "find", report),
        plan=plan_of(page, [report]),
    )


def _asked(card: ReadingCard, report: Report, page: JobPage) -> dict[str, object]:
    """Return what a card says beside its own fields."""
    kind = test_kind(card.test)
    return {
        "choices": _choices(card, kind, report),
        "outlooks": _outlooks(card, kind, report),
        "where": f"{_place_name(card.subject, page)}, {PLACES.get(kind.access, kind.access)}",
        "part": card.subject in _parts(page),
        "hint": _hint(kind),
        "words": (*kind.words, INCONCLUSIVE),
        "misleads": kind.misleads,
        "general": not any(each.id == card.id for each in report.readings),
        "sounds": sounds_for(card.test),
        "record": _recorded(card, page),
    }


def _recorded(card: ReadingCard, page: JobPage) -> str:
    """Return the address where a recording answers instead; empty where none can."""
    instead = heard_instead(card.test)
    if instead is None:
        return ""
    return address(f"{page.base}/record", test=instead.test.id, at=card.subject)


def _parts(page: JobPage) -> set[str]:
    """Return the ids of what has a page of its own."""
    return {each.id for each in page.job.locations} | {each.id for each in page.job.channels}


def _hint(kind: TestKind) -> str:
    if kind.number == "quantity":
        return f"In {kind.unit} where no unit stands behind it. Doubt may follow, as in 2.2 ± 0.1."
    return f"As in {SWEEP_EXAMPLE}; or as in 100 Hz 5.8 ohm." if kind.number == "sweep" else ""


def _place_name(subject: str, page: JobPage) -> str:
    for place in page.job.locations:
        if place.id == subject:
            return f"{subject} ({place.name})" if place.name else subject
    for channel in page.job.channels:
        if channel.id == subject:
            return f"the pair of {subject} (drives {channel.load})"
    return subject


def _choices(card: ReadingCard, kind: TestKind, report: Report) -> list[Choice]:
    """Return the words that answer a test; a healthy vehicle's first."""
    known = {each.word: each for each in _outlooks(card, kind, report)}
    ranked = sorted(kind.answers, key=lambda each: not each.healthy)
    return [known.get(each.word) or Choice(each.word, each.meaning) for each in ranked]


def _outlooks(card: ReadingCard, kind: TestKind, report: Report) -> list[Choice]:
    meanings = {each.word: each.meaning for each in kind.answers}
    return [
        Choice(
            each.word,
            meanings.get(each.word, ""),
            percent(each.chance),
            _named(each.cause, report),
            percent(each.odds) if each.cause else "",
        )
        for each in card.answers
    ]


def _named(cause: str, report: Report) -> str:
    """Return a cause, or what hangs on a channel of which nobody knows, in words."""
    loads = {each.id: each for each in report.figures if each.subject == "wiring"}
    load = loads.get(f"wiring.{cause}")
    if load is not None:
        return f"{load.label} on {load.name.partition('.')[0]}"
    return cause_name(report, cause) if cause else ""


def _chosen(id: str, report: Report, page: JobPage) -> ReadingCard | None:
    """Return the card of a reading; None where it cannot be taken on this vehicle."""
    test, _, place = id.partition("@")
    again = any((each.test, each.at) == (test, place) for each in page.job.readings)
    if minutes_of(report, id) is None and not again:
        return None
    try:
        return card_of(report, id)
    except BadInputError:
        return None


def _before(card: ReadingCard | None, typed: Typed, page: JobPage) -> str:
    """Return what a reading that is taken again said before; empty where it was not taken yet."""
    if card is None:
        return ""
    if (changed := _changed(page, typed.number)) is not None:
        return changed.value
    last = page.job.last_reading(card.test, card.subject)
    return "" if last is None else _told(last)


def _found(page: JobPage) -> list[Found]:
    return [
        Found(each.fault, each.at, fault(each.fault).title, each.state, each.since or "")
        for each in page.job.findings
    ]


def _every(report: Report) -> Mapping[str, list[tuple[str, str]]]:
    """Return every reading that can still be taken, its id and place, by the title of its test."""
    found: dict[str, list[tuple[str, str]]] = {}
    for figure in report.figures:
        if figure.subject == "next" and figure.unit == "bit/min":
            place = figure.name.partition("@")[2]
            found.setdefault(figure.label, []).append((figure.name, place))
    return {title: sorted(found[title], key=lambda entry: entry[1]) for title in sorted(found)}


def _causes(report: Report) -> list[Cause]:
    found = [each for each in report.figures if each.subject == "cause"]
    likely = [each for each in found if (each.value or 0.0) >= LEAST_CAUSE]
    before = {
        curve.id.removesuffix(".odds"): curve.y.values[-2]
        for curve in report.series
        if len(curve.y.values) > 1
    }
    return [_cause(figure, before.get(figure.id)) for figure in likely[:MOST_CAUSES]]


def _cause(figure: Figure, before: float | None) -> Cause:
    title, place = split_cause(figure)
    chance = figure.value or 0.0
    was = "" if before is None or percent(before) == percent(chance) else percent(before)
    name = figure.name.partition("@")[0]
    is_state = name in FAULTS
    return Cause(title, place, chance, percent(chance), odds(chance), was, name, is_state)


def _step(reading: str, taken: float, likely: str) -> str:
    test, _, place = reading.partition("@")
    return f"{test_kind(test).title} at {place}, {minutes(taken)}: most likely {likely}"


def _told(reading: Reading) -> str:
    said = reading.value
    if isinstance(said, Mapping):
        return ", ".join(f"{name} {value}" for name, value in said.items())
    return str(said)
