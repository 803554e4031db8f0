"""The commands. Each parses, calls one stage and prints; nothing is worked out here."""

from __future__ import annotations

import json as json_text
from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from conewright.cli.base.console import busy, say
from conewright.cli.base.options import (
    Against,
    AsJson,
    At,
    BarMeasured,
    By,
    Drop,
    JobFile,
    Mended,
    NoOpen,
    OnlyKind,
    OutFolder,
    PaperName,
    PictureFile,
    Port,
    ProposalId,
    Side,
    Take,
)
from conewright.cli.commands.choose import choose
from conewright.cli.commands.jobs import jobs
from conewright.cli.commands.parts import parts
from conewright.cli.commands.serve import serve
from conewright.errors import BadInputError

__all__ = ["app"]

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _show_version(wanted: bool) -> None:
    if wanted:
        from conewright.version import __version__

        say(f"conewright {__version__}\n")
        raise typer.Exit


@app.callback()
def conewright(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Print the version and leave."
        ),
    ] = False,
) -> None:
    """Bring the sound of an ageing vehicle back: what drives what, what is heard, what fits."""


@app.command()
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Job file to write, .toml; a folder of tables.")
    ],
    force: Annotated[
        bool, typer.Option("--force", help="Write over files that are there already.")
    ] = False,
    answers: Annotated[
        list[str] | None,
        typer.Option(
            "--answer",
            metavar="NAME=TEXT",
            help="Start from the survey: class=saloon, place:dash-centre, seat:passenger, "
            "complaint:dull; once for each. A name nobody knows lists those there are.",
            show_default=False,
        ),
    ] = None,
    tables: Annotated[
        bool,
        typer.Option(
            "--tables",
            help="Write the tables of faults, tests and minutes that find reckons with, to edit.",
            show_default=False,
        ),
    ] = False,
) -> None:
    """Write a job file to start from, commented or from the survey, or the trade's tables."""
    from conewright.cli.base.files import write_job
    from conewright.job.text.starter import starter_text

    if tables:
        from conewright.cli.commands.new import write_tables

        say(write_tables(file, force=force))
        return
    text = starter_text()
    if answers:
        from conewright.cli.commands.new import surveyed

        text = surveyed(answers)
    write_job(file, text, force=force)
    say(f"{file} is written. Put your vehicle in, then: conewright check {quote(str(file))}\n")


@app.command()
def check(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="Job file (.toml, .json), or a kept job's name.",
            show_default=False,
        ),
    ] = None,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the JSON Schema of a job file instead.")
    ] = False,
    json: Annotated[
        bool, typer.Option("--json", help="Print what is asked back as one line of JSON.")
    ] = False,
) -> None:
    """Find all errors of a job file, ask what is unusual, and list what was filled in."""
    from conewright.cli.commands.check import checked, checked_in_json

    if schema:
        from conewright.job.text.starter import job_schema

        say(json_text.dumps(job_schema(), indent=2, ensure_ascii=False) + "\n")
    elif file is None:
        raise BadInputError("check: found no FILE; give a job file, or --schema")
    else:
        say(checked_in_json(file) if json else checked(file))


@app.command()
def find(
    file: JobFile,
    ask: Annotated[
        bool,
        typer.Option(
            "--ask",
            help="Ask for one reading after another, and write each answer into FILE.",
            show_default=False,
        ),
    ] = False,
    take: Take = None,
    mended: Mended = None,
    drop: Drop = None,
    plan: Annotated[
        bool,
        typer.Option(
            "--plan", help="Write the proposal that mends what was found.", show_default=False
        ),
    ] = False,
    by: By = None,
    json: AsJson = False,
    picture: PictureFile = None,
) -> None:
    """What is wrong, and which reading to take next."""
    from conewright.cli.base.case import answer, naming
    from conewright.cli.base.kept import read_job
    from conewright.stages.find.stage import find as answered

    if ask:
        from conewright.cli.commands.find import ask_for_readings

        if json or picture is not None:
            raise BadInputError("find: found --ask with --json or --picture; ask first")
        ask_for_readings(file)
        return
    if by and not plan:
        raise BadInputError("find: found --by without --plan; it says how the plan mends")
    if take or mended or drop or plan:
        from conewright.cli.commands.take import dropped, planned, taken

        with naming(file):
            for told in (
                *(dropped(file, each) for each in drop or ()),
                *(taken(file, each) for each in take or ()),
                *(taken(file, each, state="mended") for each in mended or ()),
                *((planned(file, by or ()),) if plan else ()),
            ):
                say(told)
        return
    with busy(f"{file}: weighing causes and readings"):
        job = read_job(file)
        with naming(file):
            report = answered(job.build())
        answer(report, json=json, picture=picture)


@app.command()
def feed(
    file: JobFile,
    proposal: ProposalId = None,
    against: Against = None,
    at: At = None,
    json: AsJson = False,
    picture: PictureFile = None,
) -> None:
    """What each radio channel drives, and what radio and cable take."""
    from conewright.cli.base.case import answer, asked, naming
    from conewright.stages.feed.stage import feed as answered

    with busy(f"{file}: working out what each channel drives"):
        case = asked(file, proposal=proposal, against=against, at=at)
        with naming(file):
            report = answered(case.build, case.against, at=case.at)
        answer(report, json=json, picture=picture)


@app.command()
def hear(
    file: JobFile,
    proposal: ProposalId = None,
    against: Against = None,
    at: At = None,
    json: AsJson = False,
    picture: PictureFile = None,
) -> None:
    """What is heard at the seats, and with --against where each decibel comes from."""
    from conewright.cli.base.case import answer, asked, naming
    from conewright.stages.hear.stage import hear as answered

    with busy(f"{file}: listening at every seat"):
        case = asked(file, proposal=proposal, against=against, at=at)
        with naming(file):
            report = answered(case.build, case.against, at=case.at)
        answer(report, json=json, picture=picture)


@app.command()
def fit(
    file: JobFile,
    proposal: ProposalId = None,
    against: Against = None,
    at: At = None,
    json: AsJson = False,
    picture: PictureFile = None,
) -> None:
    """Whether the parts go in, behind and in front. It has no curves, so --at changes nothing."""
    from conewright.cli.base.case import answer, asked, naming
    from conewright.stages.fit.stage import fit as answered

    with busy(f"{file}: measuring up"):
        case = asked(file, proposal=proposal, against=against, at=at)
        with naming(file):
            report = answered(case.build, case.against)
        answer(report, json=json, picture=picture)


@app.command()
def compare(file: JobFile, json: AsJson = False, picture: PictureFile = None) -> None:
    """The vehicle as found and every proposal, side by side."""
    from conewright.cli.base.case import answer, naming
    from conewright.cli.base.kept import read_job
    from conewright.stages.compare.stage import compare as answered

    with busy(f"{file}: comparing as found and every proposal"):
        job = read_job(file)
        with naming(file):
            report = answered(job)
        answer(report, json=json, picture=picture)


app.command()(choose)


@app.command()
def make(
    file: JobFile,
    proposal: ProposalId = None,
    out: OutFolder = Path("papers"),
    paper: PaperName = "A4",
    only: OnlyKind = None,
    bar_measured: BarMeasured = None,
    json: AsJson = False,
) -> None:
    """The papers for the bench: job sheet, templates, wiring and parts, in a folder."""
    from conewright.cli.base.case import asked, naming
    from conewright.papers.make import make as made
    from conewright.papers.press.overview import manifest_as_text

    with busy(f"{file}: making the papers"):
        case = asked(file, proposal=proposal, against=None, at=None)
        with naming(file):
            manifest = made(case.build, out, paper=paper, only=only, bar_measured=bar_measured)
    if json:
        say(manifest.to_json())
    else:
        say(f"{manifest_as_text(manifest)}\nFolder: {out}\n")


@app.command()
def sounds(
    out: Annotated[Path, typer.Argument(metavar="DIR", help="Folder for the WAV files.")],
    only: Annotated[
        str | None,
        typer.Option("--only", metavar="NAME", help="One sound alone.", show_default=False),
    ] = None,
    side: Side = "both",
    loudspeakers_unplugged: Annotated[
        bool,
        typer.Option(
            "--loudspeakers-unplugged",
            help="No loudspeaker hangs on the radio: write the ladders and the knob too, which "
            "reach full scale.",
            show_default=False,
        ),
    ] = False,
    force: Annotated[
        bool, typer.Option("--force", help="Write over files that are there already.")
    ] = False,
) -> None:
    """Write the test sounds for a phone or a stick, with the loudest safe setting of each."""
    from conewright.cli.commands.new import write_sounds

    with busy(f"{out}: writing the test sounds"):
        told = write_sounds(
            out,
            only=only,
            side=side,
            loudspeakers_unplugged=loudspeakers_unplugged,
            force=force,
        )
    say(told)


@app.command()
def sound(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The test sound.")],
    side: Side = "both",
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", metavar="FILE", help="WAV file.", show_default=False),
    ] = None,
    loudspeakers_unplugged: Annotated[
        bool,
        typer.Option(
            "--loudspeakers-unplugged",
            help="No loudspeaker hangs on the radio: for a sound that reaches full scale.",
            show_default=False,
        ),
    ] = False,
    force: Annotated[
        bool, typer.Option("--force", help="Write over a file that is there already.")
    ] = False,
) -> None:
    """Write one test sound, with the loudest safe setting of it."""
    from conewright.cli.commands.listen import play

    with busy(f"{name}: writing it"):
        told = play(name, side=side, out=out, unplugged=loudspeakers_unplugged, force=force)
    say(told)


@app.command()
def listen(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", help="Recordings, or a curve, in the order the test asks for."
        ),
    ],
    test: Annotated[
        str | None,
        typer.Option("--as", metavar="TEST", help="What they were made for.", show_default=False),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            "--at",
            metavar="ID",
            help="Where: a place, channel, seat, front, rear, or a driver on the bench.",
            show_default=False,
        ),
    ] = None,
    job: Annotated[
        Path | None,
        typer.Option(
            "--job",
            metavar="JOB",
            help="Job file, or a kept job's name, of the vehicle they were made in.",
            show_default=False,
        ),
    ] = None,
    details: Annotated[
        list[str] | None,
        typer.Option(
            "--with",
            metavar="NAME=VALUE",
            help="What no recording tells, like resistor=10 ohm or load=4 ohm.",
            show_default=False,
        ),
    ] = None,
    when: Annotated[
        str,
        typer.Option(
            "--when",
            metavar="WHEN",
            help="With --keep: before or after the work, or the day.",
            show_default=False,
        ),
    ] = "",
    keep: Annotated[
        bool,
        typer.Option("--keep", help="Write recordings and readings into the job."),
    ] = False,
    json: AsJson = False,
    picture: PictureFile = None,
) -> None:
    """What recordings hold, what spoils them, and the readings that they make."""
    from conewright.cli.commands.listen import heard

    with busy(f"{files[0]}: listening"):
        usable = heard(
            files,
            test=test,
            at=at,
            job=job,
            details=details or (),
            when=when,
            keep=keep,
            json=json,
            picture=picture,
        )
    if not usable:
        raise typer.Exit(2)


@app.command()
def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder for its job file and pictures.")
    ] = Path("conewright-demo"),
    once: Annotated[
        bool, typer.Option("--once", help="Leave after the answers: no pages.", show_default=False)
    ] = False,
    port: Port = None,
    no_open: NoOpen = False,
) -> None:
    """Run an invented job from beginning to end, then open it in the pages, until Ctrl-C."""
    from conewright.cli.commands.demo import demonstrate, open_demo

    demonstrate(out)
    if not once:
        open_demo(port=port, browser=not no_open)


app.command()(jobs)
app.command()(parts)
app.command()(serve)
