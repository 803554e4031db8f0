"""What the pages of one job share: the revision looked at, its reports, the nav, the vehicle."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, partial
from threading import Lock
from typing import Any, get_args

from fastapi import Request

from conewright.errors import ConewrightError, JobError
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.document.parts import AS_FOUND
from conewright.job.text.editing import in_words
from conewright.job.text.labels import parts_of
from conewright.job.text.parsing import TEXTS_KEPT
from conewright.stages.common.changes import changed_parts
from conewright.stages.report.data import Report, Severity
from conewright.store import Saved
from conewright.views.cells import MARKS
from conewright.web.base.errors import Refusal
from conewright.web.desk.cache import Kept
from conewright.web.desk.waiting import together
from conewright.web.desk.workers import Stage
from conewright.web.frame.answer import StageView, places_states, stage_view
from conewright.web.frame.page import address, reading_of, store_of
from conewright.web.frame.plan import Plan, State, draw_plan

__all__ = [
    "STAGES",
    "JobPage",
    "NavEntry",
    "NoAnswer",
    "is_known",
    "job_of",
    "note_passing",
    "open_page",
    "passes",
    "plan_of",
    "report_of",
    "reports_of",
    "view_of",
]

STAGES: tuple[Stage, ...] = tuple(stage for stage in get_args(Stage) if stage != "compare")
"""The stages that are built, in working order."""

_views: Kept[StageView] = Kept(TEXTS_KEPT)


@dataclass(frozen=True, slots=True)
class NavEntry:
    """A stage in the navigation: what it has to say, or what it lacks."""

    stage: str
    mark: str = ""
    kind: str = ""
    count: int = 0
    lacks: str = ""


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """Why there is no answer: what the job lacks, a fault, or that there was no time just now."""

    error: ConewrightError | Refusal

    @property
    def told(self) -> str:
        """The reason in words."""
        return str(self.error)

    @property
    def passes(self) -> bool:
        """Whether there may be one when it is asked for again."""
        return isinstance(self.error, Refusal) and self.error.status == 503


@dataclass(frozen=True)
class JobPage:
    """One revision of a job as a page shows it."""

    saved: Saved
    job: Job
    old: bool
    newest: int
    proposal: str | None
    against: str | None

    @property
    def base(self) -> str:
        """The address of the job."""
        return f"/jobs/{self.saved.job_id}"

    @cached_property
    def built(self) -> Build | JobError:
        """The vehicle as found, or why it cannot be worked with."""
        try:
            return self.job.build()
        except JobError as error:
            return error

    @cached_property
    def whole(self) -> dict[str, Any]:
        """The job as plain values under the names of the file."""
        return self.job.to_dict()

    @property
    def problems(self) -> list[str]:
        """What keeps every stage from an answer, in words."""
        if isinstance(self.built, JobError):
            return [in_words(str(each)) for each in self.built.problems]
        return []

    @property
    def title(self) -> str:
        """The job in one line."""
        return self.job.about.title or self.job.vehicle.name or self.saved.name

    @property
    def revision(self) -> int | None:
        """The revision to keep in addresses: none while the newest is looked at."""
        return self.saved.revision if self.old else None

    def at(self, path: str = "", **query: object) -> str:
        """Return an address below the job that stays with revision and proposal."""
        kept: dict[str, object] = {"revision": self.revision, "proposal": self.proposal}
        return address(f"{self.base}{path}", **(kept | query))

    @property
    def nav(self) -> list[NavEntry]:
        """The stages with what is known of them already."""
        told = _known(self.saved.text).entries
        return [told.get(stage, NavEntry(stage)) for stage in STAGES]


def open_page(
    request: Request,
    job_id: str,
    *,
    revision: int | None = None,
    proposal: str | None = None,
    against: str | None = None,
) -> JobPage:
    """Return a job's page; raises NotFound, JobError for a proposal that it does not have."""
    store = store_of(request)
    newest = store.get(job_id)
    saved = newest if revision in (None, newest.revision) else store.get(job_id, revision)
    job = job_of(request, saved)
    proposal, against = (
        None if each in ("", AS_FOUND) else each for each in (proposal, against or None)
    )
    if proposal is not None:
        job.build(proposal)
    return JobPage(
        saved=saved,
        job=job,
        old=saved.revision != newest.revision,
        newest=newest.revision,
        proposal=proposal,
        against=against,
    )


def job_of(request: Request, saved: Saved) -> Job:
    """Return the job of a revision; raises JobError where today's rules refuse it, Refusal."""
    return reading_of(request).job(saved.text, file=saved.name)


def report_of(
    request: Request,
    page: JobPage,
    stage: Stage,
    *,
    proposal: str | None = None,
    against: str | None = None,
) -> Report:
    """Return a report of a job; raises BadInputError, Refusal."""
    report: Report = request.app.state.reports.report(page.saved, stage, proposal, against)
    return report


def reports_of(request: Request, page: JobPage) -> dict[Stage, Report | NoAnswer]:
    """Return the report of every stage as found, or why there is none."""

    def ask(stage: Stage) -> Report | NoAnswer:
        try:
            return report_of(request, page, stage)
        except (ConewrightError, Refusal) as error:
            return NoAnswer(error)

    asked = (partial(ask, stage) for stage in STAGES)
    found = dict(zip(STAGES, together(asked, most=len(STAGES)), strict=True))
    for each in found.values():
        if isinstance(each, NoAnswer):
            note_passing(request, each)
    if not passes(request):
        _learn(page, found)
    return found


def note_passing(request: Request, lack: NoAnswer) -> None:
    """Mark a request whose page tells that there was no time just now: it says nothing of a job."""
    request.state.passes = passes(request) or lack.passes


def passes(request: Request) -> bool:
    """Whether what a page tells may be otherwise when it is asked for again."""
    return bool(getattr(request.state, "passes", False))


def view_of(page: JobPage, report: Report, *, against: str | None = None) -> StageView:
    """Return a report of a page as it is shown, made once for each text of a job."""

    def make() -> StageView:
        return stage_view(report, page.job, page.job.build(page.proposal))

    return _views.get((page.saved.text, report.stage, page.proposal, against), make)


def plan_of(
    page: JobPage,
    reports: Iterable[Report] | None = None,
    *,
    selected: str | None = None,
) -> Plan:
    """Return the vehicle of a page, with its proposal carried out.

    Args:
        page: of the job.
        reports: what is said of the places; None for what all stages were known to say before.
        selected: id of what is looked at.

    """
    job = page.job.with_proposal(page.proposal) if page.proposal else page.job
    known = _known(page.saved.text).states
    states = known if reports is None else places_states(page.job, reports)
    written = {part.id for part in parts_of(page.job)}
    return draw_plan(
        job,
        states=states,
        # What only the proposal has is written there, and has no page of its own.
        href=lambda id: page.at(f"/part/{id}" if id in written else f"/proposals/{page.proposal}"),
        changed=changed_parts(page.job, job),
        selected=selected,
    )


# --- What was found out before --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Known:
    """What the reports of a text said: for the navigation, and for the vehicle."""

    entries: dict[str, NavEntry]
    states: dict[str, State]


_lock = Lock()
_kept: OrderedDict[str, Known] = OrderedDict()


def is_known(text: str) -> bool:
    """Whether all stages were asked about a text before."""
    return bool(_known(text).entries)


def _known(text: str) -> Known:
    with _lock:
        return _kept.get(text, Known({}, {}))


def _learn(page: JobPage, reports: dict[Stage, Report | NoAnswer]) -> None:
    """Keep what the reports of a text say, for pages that do not ask for all of them."""
    entries = {str(stage): _entry(stage, report) for stage, report in reports.items()}
    given = [report for report in reports.values() if isinstance(report, Report)]
    with _lock:
        _kept[page.saved.text] = Known(entries, places_states(page.job, given))
        _kept.move_to_end(page.saved.text)
        while len(_kept) > TEXTS_KEPT:
            _kept.popitem(last=False)


def _entry(stage: str, report: Report | NoAnswer) -> NavEntry:
    if isinstance(report, NoAnswer):
        return NavEntry(stage, lacks=report.told)
    loud = [each for each in report.verdicts if each.severity.rank >= Severity.WARN.rank]
    if not loud:
        lacks = "" if report.verdicts else report.answer
        mildest = Severity.GOOD if _all_good(report) else Severity.NOTE
        return NavEntry(stage, "" if lacks else MARKS[mildest], mildest.value, 0, lacks)
    worst = max(loud, key=lambda verdict: verdict.severity.rank).severity
    return NavEntry(stage, MARKS[worst], worst.value, len(loud))


def _all_good(report: Report) -> bool:
    return any(verdict.severity is Severity.GOOD for verdict in report.verdicts)
