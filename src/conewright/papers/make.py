"""Stage make: every paper of a plan, as files with a manifest."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from conewright.errors import BadInputError, PlanRefusedError
from conewright.job.builds.states.build import Build
from conewright.papers.drawing.bars import Bars, measured_bars
from conewright.papers.drawing.write_dxf import dxf
from conewright.papers.drawing.write_svg import svg
from conewright.papers.press.answers import Answers
from conewright.papers.press.folder import write_papers
from conewright.papers.press.head import head
from conewright.papers.press.manifest import Entry, Manifest, PaperFile, Sum, Use
from conewright.papers.press.typeset import PAPER_SIZE_MM, Paper, checked_paper
from conewright.papers.templates.drawings import Templates, drawings
from conewright.papers.templates.sheet import template_sheets
from conewright.papers.wiring.flags import flag_sheet, has_flags
from conewright.papers.wiring.sheet import wiring_sheet
from conewright.papers.work.bill import csv_text
from conewright.papers.work.job_sheet import job_sheet
from conewright.papers.work.parts_sheet import bill_of, parts_sheet
from conewright.stages.report.care import restraint_gate
from conewright.stages.report.data import Report, Severity, Verdict
from conewright.views.text import spoken_verdicts
from conewright.whole_file import unwritten

__all__ = ["KINDS", "Papers", "make", "papers", "reasons_against"]


@dataclass(frozen=True, slots=True)
class Papers:
    """The papers of a plan, not yet written, and their manifest."""

    files: tuple[PaperFile, ...]
    manifest: Manifest


class Order:
    """What is to be made, and how; what several papers need is worked out once."""

    def __init__(
        self,
        build: Build,
        *,
        paper: Paper,
        bars: Bars | None,
        revision: str | None,
        address: str | None,
    ) -> None:
        self.answers = Answers(build)
        self.paper = paper
        self.bars = bars
        self.revision = revision
        self.address = address

    @property
    def build(self) -> Build:
        """The plan."""
        return self.answers.build

    @property
    def page(self) -> tuple[float, float]:
        """Width and height of the paper [mm]."""
        return PAPER_SIZE_MM[self.paper]

    @cached_property
    def templates(self) -> Templates:
        """The drawings of the plan."""
        return drawings(self.build)


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
        out: the folder, made if it was not there; what an earlier make left in it goes, unless
            somebody changed it since.
        paper: "A4" or "Letter".
        only: one kind of paper; all when None.
        bar_measured: what the 100 mm bars of a proof print measure [mm], one number or
            "across,down"; templates are drawn so much larger that they print true. None for that
            proof print, from which nothing is cut.

    Raises:
        PlanRefusedError: the plan may not go to the bench; with every reason.
        BadInputError: a paper or kind that there is not, a stage without an answer, or a folder
            that cannot be written or holds a manifest of something else.

    >>> import conewright as cw
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     papers = cw.make(cw.demo_job().build("put-right"), folder, only="parts")
    >>> [entry.name for entry in papers.files]
    ['parts.pdf', 'parts.csv']
    """
    order = _ordered(build, paper=paper, bar_measured=bar_measured)
    kinds = _kinds(only)
    _hold_gates(order.answers)
    folder = Path(out)
    made = _made(order, kinds)
    try:
        return write_papers(folder, made.files, made.manifest, whole=only is None)
    except OSError as error:
        raise unwritten(error.filename or folder, error) from error


def papers(
    build: Build,
    *,
    paper: str = "A4",
    only: str | None = None,
    bar_measured: str | float | None = None,
    revision: str | None = None,
    address: str | None = None,
) -> Papers:
    """Make the papers of a plan without writing them.

    Args:
        build: the plan.
        paper: as for `make`.
        only: as for `make`.
        bar_measured: as for `make`.
        revision: as the keeper of the job calls it; a fingerprint of the job when None.
        address: of the job's page, where it is served; printed on the flags as a square code.

    Raises:
        PlanRefusedError, BadInputError: as `make`.

    """
    order = _ordered(
        build, paper=paper, bar_measured=bar_measured, revision=revision, address=address
    )
    kinds = _kinds(only)
    _hold_gates(order.answers)
    return _made(order, kinds)


def _hold_gates(answers: Answers) -> None:
    """Do nothing for a plan that may go to the bench.

    Raises:
        PlanRefusedError: it may not; with every reason.

    """
    reasons = reasons_against(answers)
    if reasons:
        raise PlanRefusedError(reasons, plan=answers.build.id)


def reasons_against(answers: Answers) -> tuple[str, ...]:
    """Return why no paper is made of a plan, each reason a sentence; none for a sound plan.

    Restraint parts that nobody has ruled out, parts that do not go in, a load that a radio does
    not bear, a supply cable without a fuse at its source end. The vehicle as found is no plan:
    nothing is opened or changed, nothing refused.
    """
    build = answers.build
    if build.proposal is None:
        return ()
    verdicts = (*restraint_gate(build), *_with_way_out(answers.fit), *answers.feed.verdicts)
    said = spoken_verdicts(verdict for verdict in verdicts if verdict.severity is Severity.STOP)
    return tuple(dict.fromkeys(text for _, text in said))


def _with_way_out(report: Report) -> Iterator[Verdict]:
    """Yield the verdicts of fit; a stop at a place says as well which spacer would do, if any."""
    spacers = {v.subject: v.text for v in report.verdicts if v.id == f"{v.subject}.spacer"}
    for verdict in report.verdicts:
        way_out = spacers.get(verdict.subject)
        if verdict.severity is Severity.STOP and way_out is not None:
            yield verdict.model_copy(update={"text": f"{verdict.text} {way_out}"})
        else:
            yield verdict


def _ordered(
    build: Build,
    *,
    paper: str,
    bar_measured: str | float | None,
    revision: str | None = None,
    address: str | None = None,
) -> Order:
    return Order(
        build,
        paper=checked_paper(paper),
        bars=measured_bars(bar_measured),
        revision=revision,
        address=address,
    )


def _kinds(only: str | None) -> tuple[str, ...]:
    """Return the kinds that are wanted; raises BadInputError for one that there is not."""
    if only is not None and only not in KINDS:
        raise BadInputError(f'only: found "{only}"; allowed: {", ".join(KINDS)}')
    return KINDS if only is None else (only,)


def _made(order: Order, kinds: tuple[str, ...]) -> Papers:
    files = tuple(file for kind in kinds for file in MAKERS[kind](order))
    top = head(order.build, "", revision=order.revision)
    manifest = Manifest(
        job=top["job"],
        plan=top["state"],
        revision=top["revision"],
        paper=order.paper,
        hours=Sum.of(order.answers.taken.hours, "h"),
        cost=Sum.of(order.answers.taken.total, order.answers.taken.currency),
        files=tuple(Entry.of(file) for file in files),
        refusals=tuple(_refusals(order, kinds)),
        notes=order.templates.notes if "templates" in kinds else (),
    )
    return Papers(files, manifest)


def _refusals(order: Order, kinds: tuple[str, ...]) -> Iterator[str]:
    """Yield what is not made although the plan is sound, with the nearest that can be."""
    if "templates" in kinds:
        for each in order.templates.refusals:
            yield f"{each.sentence} {each.nearest}"
    if "wiring" in kinds:
        for cable, text in order.answers.supply.refused:
            yield f"feed {cable}: {text}"


# --- The papers of each kind --------------------------------------------------------------------


def _templates(order: Order) -> Iterator[PaperFile]:
    made = order.templates
    if made.drawings or made.refusals:
        content = template_sheets(
            order.build, made, paper=order.paper, bars=order.bars, revision=order.revision
        )
        purpose = _purpose_of_templates(made, proved=order.bars is not None)
        yield PaperFile("templates.pdf", purpose, "print", order.page, content)
    for drawing in made.drawings:
        use: Use = "send out" if drawing.sends == "send out" else "keep"
        purpose = f"{drawing.title}: {drawing.purpose}".rstrip(".")
        for ending, text in ((".svg", svg(drawing)), (".dxf", dxf(drawing))):
            yield PaperFile(drawing.name + ending, purpose, use, drawing.size, text.encode())


def _purpose_of_templates(made: Templates, *, proved: bool) -> str:
    if not any(each.sends == "print" for each in made.drawings):
        return "what is not cut at the bench, and why"
    if proved:
        return "every template in tiles, true to size on the printer whose bars were measured"
    return (
        "proof print of every template: print its first page, measure the bars, make the papers "
        "again with what they measure, and cut nothing before"
    )


def _wiring(order: Order) -> Iterator[PaperFile]:
    answers, paper, revision = order.answers, order.paper, order.revision
    content = wiring_sheet(answers, paper=paper, revision=revision)
    purpose = "schedule and diagram of every wire, its proof reading, supply and fuse"
    yield PaperFile("wiring.pdf", purpose, "print", order.page, content)
    if not has_flags(answers):
        return
    content = flag_sheet(answers, paper=paper, revision=revision, address=order.address)
    purpose = "flags to wrap round each pair and driver, and the label beside the fuse"
    yield PaperFile("flags.pdf", purpose, "print", order.page, content)


def _parts(order: Order) -> Iterator[PaperFile]:
    if not order.answers.taken.lines:
        return
    bill = bill_of(order.answers)
    content = parts_sheet(order.answers, bill, paper=order.paper, revision=order.revision)
    purpose = "parts, consumables, hours and a quote with what it leaves out"
    yield PaperFile("parts.pdf", purpose, "print", order.page, content)
    purpose = "the same lines as a table (RFC 4180)"
    yield PaperFile("parts.csv", purpose, "keep", None, csv_text(bill.taken).encode())


def _sheet(order: Order) -> Iterator[PaperFile]:
    content = job_sheet(order.answers, paper=order.paper, revision=order.revision)
    purpose = "the job from complaint to hand-over: work in order, settings, checks, signatures"
    yield PaperFile("job-sheet.pdf", purpose, "print", order.page, content)


MAKERS: dict[str, Callable[[Order], Iterator[PaperFile]]] = {
    "sheet": _sheet,
    "templates": _templates,
    "wiring": _wiring,
    "parts": _parts,
}
KINDS = tuple(MAKERS)
"""Kinds of paper, in the order in which they are made."""
