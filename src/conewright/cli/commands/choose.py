"""`conewright choose`: the best whole plan for the money, out of parts that can be bought."""

from __future__ import annotations

import json as json_text
from collections.abc import Sequence
from math import isfinite
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated, Any, TypedDict

import typer

from conewright.cli.base.console import busy, complain, say
from conewright.cli.base.options import AsJson, JobFile, PictureFile
from conewright.errors import BadInputError, JobError, Problem

if TYPE_CHECKING:
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.job.text.job_file import JobFile as OpenFile
    from conewright.stages.choose.finals.plan_answers import Choice

__all__ = ["choose"]

CUT = "cut"
MENDING = ("repair", "swap")
"""What may be done to a place besides the changes that a job's wishes name."""


class Limits(TypedDict):
    """What a plan is held to; the job's own wishes where None."""

    money: float | None
    hours: float | None
    may: tuple[str, ...] | None
    cut: bool | None
    lead_days: float | None
    unmeasured: bool
    sure: bool
    seat: str | None


def choose(
    file: JobFile,
    catalogue: Annotated[
        str | None,
        typer.Option(
            "--catalogue",
            metavar="NAME",
            help="Kept catalogue (NAME@2: its version 2), a file, or invented; else the one "
            "imported last.",
            show_default=False,
        ),
    ] = None,
    money: Annotated[
        float | None,
        typer.Option(
            "--money",
            metavar="SUM",
            help="Most that it may cost, in the job's currency; as the job says when left out.",
            show_default=False,
        ),
    ] = None,
    hours: Annotated[
        float | None,
        typer.Option(
            "--hours",
            metavar="H",
            help="Most hours of work; as the job says when left out.",
            show_default=False,
        ),
    ] = None,
    may: Annotated[
        str | None,
        typer.Option(
            "--may",
            metavar="LIST",
            help="Change only these, as in driver,ring; as the job says when left out.",
            show_default=False,
        ),
    ] = None,
    allow: Annotated[
        str | None,
        typer.Option("--allow", metavar="CUT", help="cut: panels may be cut.", show_default=False),
    ] = None,
    lead_days: Annotated[
        float | None,
        typer.Option(
            "--lead-days",
            metavar="DAYS",
            help="Most days that a part may be on its way; as the job says when left out.",
            show_default=False,
        ),
    ] = None,
    unmeasured: Annotated[
        bool,
        typer.Option(
            "--unmeasured",
            help="Let larger parts into places that nobody measured, with `measure first`.",
            show_default=False,
        ),
    ] = False,
    sure: Annotated[
        bool,
        typer.Option(
            "--sure",
            help="Hold the limit of money at the high end of a quote.",
            show_default=False,
        ),
    ] = False,
    seat: Annotated[
        str | None,
        typer.Option(
            "--seat",
            metavar="ID",
            help="The seat that counts; as the job says when left out.",
            show_default=False,
        ),
    ] = None,
    gap: Annotated[
        float,
        typer.Option(
            "--gap", metavar="POINTS", help="Be content within so many points of the best."
        ),
    ] = 0.0,
    trust: Annotated[
        bool,
        typer.Option(
            "--trust",
            help="Widen the figures of a sheet by how far its source is to be trusted.",
            show_default=False,
        ),
    ] = False,
    options: Annotated[
        Path | None,
        typer.Option(
            "--options",
            metavar="FILE",
            help="Choose among these options alone, as --list-options writes them.",
            show_default=False,
        ),
    ] = None,
    list_options: Annotated[
        bool,
        typer.Option(
            "--list-options",
            help="Print every option that may be taken as JSON, and choose nothing.",
            show_default=False,
        ),
    ] = False,
    json: AsJson = False,
    picture: PictureFile = None,
    write: Annotated[
        int | None,
        typer.Option(
            "--write",
            metavar="N",
            min=1,
            help="Write the first N plans into FILE as proposals, with their parts.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """The best whole plan for the money, proved, out of parts that can be bought."""
    from conewright.cli.base.case import answer, naming
    from conewright.cli.base.kept import open_job
    from conewright.store import offer

    _hold_alone(list_options, {"--options": options, "--picture": picture, "--write": write})
    limits = Limits(
        money=_at_least_nothing("--money", money),
        hours=_at_least_nothing("--hours", hours),
        may=None if may is None else _knobs(may),
        cut=_may_cut(allow),
        lead_days=_at_least_nothing("--lead-days", lead_days),
        unmeasured=unmeasured,
        sure=sure,
        seat=seat,
    )
    within = _at_least_nothing("--gap", gap) or 0.0
    with busy(f"{file}: choosing among the parts"):
        space = None if options is None else _space(options)
        opened = open_job(file)
        with naming(file):
            _hold_seat(opened.job, seat)
        parts = offer(catalogue)
        if list_options:
            with naming(file):
                say(_options(opened.job, parts, limits))
            return
        from conewright.stages.choose.stage import choose as answered

        with naming(file):
            choice = answered(opened.job, parts, options=space, **limits, gap=within, trust=trust)
        answer(choice, json=json, picture=picture)
    if write is not None:
        tell = complain if json else say
        tell(_written(opened, choice, write))


def _space(options: Path) -> Any:
    """Return the options in a file."""
    from conewright.cli.base.files import read_text
    from conewright.stages.choose.options_file import parse_options

    return parse_options(read_text(options), file=str(options))


def _options(job: Job, offer: Offer, limits: Limits) -> str:
    """Return every option that may be taken, one a line, as one JSON list."""
    from conewright.stages.choose.options_file import options_json

    found = options_json(job, offer, **limits)
    lines = ",\n".join(json_text.dumps(each, ensure_ascii=True) for each in found)
    return f"[\n{lines}\n]\n" if lines else "[]\n"


def _written(opened: OpenFile, choice: Choice, count: int) -> str:
    """Write plans into the job as proposals; return what to tell of it."""
    from conewright.cli.base.kept import write_text
    from conewright.phrases import listed
    from conewright.stages.choose.writing import text_with_plans

    text = text_with_plans(opened.text, opened.format, choice, count)
    if text == opened.text:
        return f"\n{opened.path}: nothing is written; no plan changes anything.\n"
    before = {each.id for each in opened.job.proposals}
    after = write_text(opened, text)
    added = [each.id for each in after.job.proposals if each.id not in before]
    are = "proposal is" if len(added) == 1 else "proposals are"
    then = f"conewright compare {quote(str(opened.path))}"
    return f"\n{opened.path}: {are} written: {listed(added)}.\nNext: {then}\n"


# --- What cannot be asked ----------------------------------------------------------------------


def _hold_alone(listing: bool, beside: dict[str, object]) -> None:
    found = [option for option, value in beside.items() if value is not None]
    if listing and found:
        raise BadInputError(f"choose: found --list-options and {found[0]}; give one at a time")


def _at_least_nothing(option: str, value: float | None) -> float | None:
    if value is None or (isfinite(value) and value >= 0.0):
        return value
    raise BadInputError(f"{option}: found {value:g}; 0 or more is allowed")


def _may_cut(allow: str | None) -> bool | None:
    if allow is None:
        return None
    if allow != CUT:
        raise BadInputError(f'--allow: found "{allow}"; allowed: {CUT}')
    return True


def _knobs(may: str) -> tuple[str, ...]:
    from typing import get_args

    from conewright.job.document.document import Knob

    known = tuple(dict.fromkeys((*get_args(Knob), *MENDING)))
    found = tuple(word.strip() for word in may.split(","))
    strange = [word for word in found if word not in known]
    if strange:
        raise BadInputError(f'--may: found "{strange[0]}"; allowed: {", ".join(known)}')
    return found


def _hold_seat(job: Job, seat: str | None) -> None:
    seats: Sequence[str] = [each.id for each in job.seats]
    if seat is not None and seat not in seats:
        allowed = f"known are {', '.join(seats)}" if seats else "the job has no seat"
        raise JobError([Problem("--seat", f'"{seat}"', allowed)])
