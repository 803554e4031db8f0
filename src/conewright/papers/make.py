"""Stage make: every paper of a plan, as files with a manifest."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from conewright.errors import BadInputError
from conewright.job.state import Build
from conewright.papers.answers import Answers
from conewright.papers.bars import Bars, measured_bars
from conewright.papers.gates import hold_gates
from conewright.papers.head import head
from conewright.papers.job_sheet import job_sheet
from conewright.papers.manifest import MANIFEST, Entry, Manifest, PaperFile
from conewright.papers.typeset import PAPER_SIZE_MM, Paper, checked_paper

__all__ = ["KINDS", "Papers", "make", "papers"]


@dataclass(frozen=True, slots=True)
class Papers:
    """The papers of a plan, not yet written, and their manifest."""

    files: tuple[PaperFile, ...]
    manifest: Manifest


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be made, and how."""

    answers: Answers
    paper: Paper
    bars: Bars | None
    revision: str | None

    @property
    def page(self) -> tuple[float, float]:
        """Width and height of the paper [mm]."""
        return PAPER_SIZE_MM[self.paper]


def make(
    build: Build,
    out: str | Path,
    *,
    paper: str = "A4",
    only: str | None = None,
    bar_measured: str | float | None = None,
) -> Manifest:
    """Write the papers of a plan into a folder, and their manifest beside them.

    Args:
        build: the plan.
        out: the folder, made if it was not there; files of the same names are written over.
        paper: "A4" or "Letter".
        only: one kind of paper; all when None.
        bar_measured: what the 100 mm bars of a printed template measure [mm], one number or
            "across,down"; templates are drawn so much larger that they print true.

    Raises:
        PlanRefusedError: the plan may not go to the bench; with every reason.
        BadInputError: a paper or kind that there is not, a stage without an answer, or a folder
            that cannot be written.

    """
    order = _ordered(build, paper, bar_measured, None)
    kinds = _kinds(only)
    hold_gates(order.answers)
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        made = _made(order, kinds)
        for file in made.files:
            (folder / file.name).write_bytes(file.content)
        (folder / MANIFEST).write_text(made.manifest.to_json(), encoding="utf-8", newline="\n")
    except OSError as error:
        place = error.filename or folder
        raise BadInputError(f"{place}: cannot be written ({error.strerror or error})") from error
    return made.manifest


def papers(
    build: Build,
    *,
    paper: str = "A4",
    only: str | None = None,
    bar_measured: str | float | None = None,
    revision: str | None = None,
) -> Papers:
    """Make the papers of a plan without writing them; arguments and errors as `make`."""
    order = _ordered(build, paper, bar_measured, revision)
    kinds = _kinds(only)
    hold_gates(order.answers)
    return _made(order, kinds)


def _ordered(
    build: Build, paper: str, bar_measured: str | float | None, revision: str | None
) -> Order:
    return Order(Answers(build), checked_paper(paper), measured_bars(bar_measured), revision)


def _kinds(only: str | None) -> tuple[str, ...]:
    """Return the kinds that are wanted; raises BadInputError for one that there is not."""
    if only is not None and only not in KINDS:
        raise BadInputError(f'only: found "{only}"; allowed: {", ".join(KINDS)}')
    return KINDS if only is None else (only,)


def _made(order: Order, kinds: tuple[str, ...]) -> Papers:
    files = tuple(file for kind in kinds for file in MAKERS[kind](order))
    top = head(order.answers.build, "", revision=order.revision)
    manifest = Manifest(
        job=top["job"],
        plan=top["state"],
        revision=top["revision"],
        paper=order.paper,
        files=tuple(Entry.of(file) for file in files),
    )
    return Papers(files, manifest)


def _sheet(order: Order) -> Iterator[PaperFile]:
    content = job_sheet(order.answers, paper=order.paper, revision=order.revision)
    purpose = "the job from complaint to hand-over: work in order, settings, checks, signatures"
    yield PaperFile("job-sheet.pdf", purpose, "print", order.page, content)


MAKERS: dict[str, Callable[[Order], Iterator[PaperFile]]] = {
    "sheet": _sheet,
}
KINDS = tuple(MAKERS)
"""Kinds of paper, in the order in which they are made."""
