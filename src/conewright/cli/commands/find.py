"""`conewright find --ask`: one reading after another, each written into the job file at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from conewright.cli.base.case import naming
from conewright.cli.base.console import busy, read_line, say
from conewright.cli.base.kept import open_job, put_back, write_reading, write_text
from conewright.cli.commands.replies import (
    COMMANDS,
    chosen_card,
    chosen_reply,
    explained,
    listed_cards,
    picked,
)
from conewright.errors import BadInputError
from conewright.job.text.job_file import JobFile
from conewright.job.text.parsing import kept_job
from conewright.job.text.readings import with_reading
from conewright.phrases import counted
from conewright.stages.find.faults.trade import INCONCLUSIVE, test
from conewright.stages.find.stage import find
from conewright.stages.find.talk.answering import Answered
from conewright.stages.find.talk.mending import sure_faults, text_with_found
from conewright.stages.report.data import Figure, ReadingCard, Report, Severity, Verdict
from conewright.views.cells import MARKS
from conewright.views.layout import paragraph
from conewright.views.numbers import percent
from conewright.views.search import card_in_words

__all__ = ["ask_for_readings"]

WIDTH = 80
WORTH = 0.005
"""Bits below which no reading is worth taking."""

LINES = 3
"""Causes that are told after each reading."""

SETTLED = 0.995
"""A cause that likely before and after a reading is no news."""

CERTAIN = "A cause is as good as certain."
TAKEN = "What is certain is written down as found."
NOTHING_WORTH = "No reading that is left tells enough to be worth its minutes."
FOUND = "what was taken as found"
BEFORE_OPENING = "vehicle.before-opening"


class _StopError(EOFError):
    """Whoever answers has had enough, as if there were nothing more to read."""


@dataclass(frozen=True)
class State:
    """The job file, what is found with the readings in it, and the reading taken last."""

    file: JobFile
    report: Report
    taken: str = ""


def ask_for_readings(file: Path) -> None:
    """Ask for the readings worth taking until a cause is found, or whoever answers stops.

    Raises:
        BadInputError: the file cannot be used or written, or somebody else has changed it.

    """
    opened = open_job(file)
    with naming(file):
        dialogue = Dialogue(State(opened, _found(opened)))
    with suppress(EOFError, KeyboardInterrupt):
        dialogue.run()
    dialogue.close()


class Dialogue:
    """One sitting at a job: its states, the latest last."""

    def __init__(self, start: State) -> None:
        self.states = [start]

    @property
    def now(self) -> State:
        """Where the search stands."""
        return self.states[-1]

    def run(self) -> None:
        """Ask until it is enough."""
        _tell(f"Job: {self.now.report.job or self.now.file.path}")
        _tell(self.now.report.answer)
        _tell_verdicts(filter(_is_urgent, self.now.report.verdicts))
        wanted: ReadingCard | None = None
        while True:
            reason = "" if wanted else _enough(self.now.report)
            if reason and not self._more(reason):
                continue
            wanted = self._read(wanted or self.now.report.readings[0])

    def close(self) -> None:
        """Say what was written, what was found, and what to budget for."""
        count = sum(state.taken != FOUND for state in self.states[1:])
        say("\n")
        _tell(
            f"{self.now.file.path}: {counted(count, 'reading')} written."
            if count
            else f"{self.now.file.path}: nothing was written."
        )
        results = list(filter(_is_result, self.now.report.verdicts))
        if not any(verdict.subject == "cause" for verdict in results):
            _tell(self.now.report.answer)
        _tell_verdicts(results)

    def _more(self, reason: str) -> bool:
        """Ask whether to go on although it is enough; return whether a reading is wanted."""
        # Who says nothing stops.
        commands = ("stop", "undo", *(("more",) if self.now.report.readings else ()))
        if reason == CERTAIN:
            commands = ("take", *commands)
        say("\n")
        _tell(f"{reason} Say {' or '.join(commands)}.")
        while True:
            typed = read_line("> ")
            command = picked(typed, commands) if typed else "stop"
            if command == "stop":
                raise _StopError
            if command is not None:
                if command == "take":
                    self._take()
                    return self._more(TAKEN)
                if command == "undo":
                    self._undo()
                return command == "more"
            _tell(f"Say one of: {', '.join(commands)}.")

    def _take(self) -> None:
        """Write every cause that is as good as certain down as found."""
        file = self.now.file
        text, sure = file.text, sure_faults(file.job)
        for fault, at in sure:
            text = text_with_found(text, file.format, fault=fault, at=at)
        file = write_text(file, text)
        for fault, at in sure:
            _tell(f"Written: {fault} at {at}, as found.")
        self.states.append(State(file, _found(file), FOUND))
        _tell("Every answer is with it from now on; find with --plan writes the plan that mends.")

    def _read(self, card: ReadingCard) -> ReadingCard | None:
        """Ask for one reading; return the one that is wanted next, None for the best."""
        say("\n")
        numbered = test(card.test).number != "quantity"
        for said in card_in_words(card, self.now.report, numbered=numbered):
            say("".join(f"{line}\n" for line in said.lines(width=WIDTH)))
        _tell(explained(card))
        while True:
            typed = read_line("> ")
            try:
                reply = chosen_reply(typed, card)
            except BadInputError as error:
                _tell(f"{error}; or say {', '.join(COMMANDS)}.")
                continue
            if isinstance(reply, Answered):
                if self._write(card, reply):
                    return None
            elif reply == "stop":
                raise _StopError
            elif reply == "undo":
                self._undo()
                return None
            else:
                return self._other()

    def _write(self, card: ReadingCard, answer: Answered) -> bool:
        """Write an answer and say what it changes; return whether it could be used."""
        before = self.now
        file = write_reading(before.file, test=card.test, at=card.subject, value=answer.value)
        try:
            report = _found(file)
        except BadInputError as error:
            put_back(file, before.file)
            _tell(f"Taken back, it cannot be used: {error}.")
            return False
        taken = f"{card.test} at {card.subject}: {answer}"
        self.states.append(State(file, report, taken))
        unit = f" (taken in {answer.assumed}, as no unit was named)" if answer.assumed else ""
        _tell(f"Written: {taken}{unit}.")
        self._tell_news(before.report)
        return True

    def _undo(self) -> None:
        if len(self.states) == 1:
            _tell("Nothing was written in this sitting; older readings are changed in the file.")
            return
        gone = self.states.pop()
        file = put_back(gone.file, self.now.file)
        self.states[-1] = State(file, self.now.report, self.now.taken)
        _tell(f"Taken back: {gone.taken}.")
        self._tell_news(gone.report)

    def _tell_news(self, before: Report) -> None:
        for line in _news(before, self.now.report):
            say(f"{line}\n")
        known = {verdict.id for verdict in before.verdicts}
        urgent = filter(_is_urgent, self.now.report.verdicts)
        _tell_verdicts(verdict for verdict in urgent if verdict.id not in known)

    def _other(self) -> ReadingCard | None:
        """Let another reading be chosen; None where the best one is wanted after all."""
        for line in listed_cards(self.now.report, width=WIDTH):
            say(f"{line}\n")
        while True:
            typed = read_line("> ")
            if not typed:
                return None
            if picked(typed, ("stop",)):
                raise _StopError
            try:
                card = chosen_card(typed, self.now.report)
                self._hold_possible(card)
            except BadInputError as error:
                _tell(str(error))
            else:
                return card

    def _hold_possible(self, card: ReadingCard) -> None:
        """Raise BadInputError for a test that cannot be done at that place."""
        if any(figure.id == f"next.{card.id}" for figure in self.now.report.figures):
            return
        file = self.now.file
        text = with_reading(
            file.text, file.format, test=card.test, at=card.subject, value=INCONCLUSIVE
        )
        find(kept_job(text, file.format, file=str(file.path)).build())


def _found(file: JobFile) -> Report:
    with busy(f"{file.path}: weighing causes and readings"):
        return find(file.job.build())


def _enough(report: Report) -> str:
    """Say why no further reading is needed; empty where one is."""
    reached = any(figure.id == "plan.chance" and figure.value for figure in report.figures)
    if reached and not report.plan:
        return CERTAIN
    if max((card.bits for card in report.readings), default=0.0) < WORTH:
        return NOTHING_WORTH
    return ""


def _news(before: Report, now: Report) -> Iterator[str]:
    """Yield what is most likely now and how likely that was, leaving out what is settled."""
    old, new = ({figure.id: figure for figure in _causes(report)} for report in (before, now))
    open_ones = [
        figure
        for figure in new.values()
        if min(figure.value or 0.0, _odds(old.get(figure.id))) < SETTLED
    ]
    for figure in open_ones[:LINES]:
        was = percent(_odds(old.get(figure.id)))
        start = f"  {percent(_odds(figure)):>5}  "
        yield from paragraph(
            f"{figure.label} (was {was})", width=WIDTH, first=start, rest=" " * len(start)
        )


def _causes(report: Report) -> list[Figure]:
    return [figure for figure in report.figures if figure.subject == "cause"]


def _odds(figure: Figure | None) -> float:
    return 0.0 if figure is None else figure.value or 0.0


def _is_urgent(verdict: Verdict) -> bool:
    """Whether a verdict must be read before the next reading is taken."""
    return verdict.id == BEFORE_OPENING or _is_alarm(verdict)


def _is_alarm(verdict: Verdict) -> bool:
    return verdict.subject == "conflict" or verdict.severity is Severity.STOP


def _is_result(verdict: Verdict) -> bool:
    """Whether a verdict belongs to what the sitting ends with."""
    found = verdict.subject == "cause" and verdict.severity is Severity.WARN
    return found or verdict.subject in ("budget", "wiring") or _is_alarm(verdict)


def _tell(text: str) -> None:
    for line in paragraph(text, width=WIDTH):
        say(f"{line}\n")


def _tell_verdicts(verdicts: Iterable[Verdict]) -> None:
    for verdict in verdicts:
        start = f"{MARKS[verdict.severity]} {verdict.severity.value:<5}"
        for line in paragraph(verdict.text, width=WIDTH, first=start, rest=" " * len(start)):
            say(f"{line}\n")
