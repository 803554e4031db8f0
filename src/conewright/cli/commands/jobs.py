"""`conewright jobs`: what is kept, what was changed, and the way in and out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from conewright.cli.base.console import say, say_bytes
from conewright.errors import BadInputError, JobError

if TYPE_CHECKING:
    from conewright.store import Listed, Saved, Store

__all__ = ["jobs"]

WIDTH = 80
INDENT = "  "
JOB_ENDINGS = (".toml", ".json")


def jobs(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="With --export: file to write, .toml, .json, or .zip with its recordings; to "
            "standard output without.",
            show_default=False,
        ),
    ] = None,
    search: Annotated[
        str, typer.Option("--search", metavar="WORDS", help="List those that hold all the words.")
    ] = "",
    deleted: Annotated[bool, typer.Option("--deleted", help="List the deleted ones.")] = False,
    taken_in: Annotated[
        Path | None,
        typer.Option("--import", metavar="FILE", help="Keep a job file.", show_default=False),
    ] = None,
    again: Annotated[
        bool,
        typer.Option(
            "--again",
            help="With --import: keep a second job of the same text.",
            show_default=False,
        ),
    ] = False,
    export: Annotated[
        str | None,
        typer.Option("--export", metavar="NAME", help="Give a job's text.", show_default=False),
    ] = None,
    history: Annotated[
        str | None,
        typer.Option("--history", metavar="NAME", help="Who changed what.", show_default=False),
    ] = None,
    compare: Annotated[
        tuple[str, int, int] | None,
        typer.Option(
            "--compare",
            metavar="NAME A B",
            help="What changed from revision A to B.",
            show_default=False,
        ),
    ] = None,
    restore: Annotated[
        tuple[str, int] | None,
        typer.Option(
            "--restore",
            metavar="NAME REV",
            help="Make an older revision the newest; a deleted job comes back.",
            show_default=False,
        ),
    ] = None,
    delete: Annotated[
        str | None,
        typer.Option(
            "--delete", metavar="NAME", help="Take a job off the list.", show_default=False
        ),
    ] = None,
) -> None:
    """List the kept jobs, or do one thing with them."""
    wanted = {
        "--import": taken_in,
        "--export": export,
        "--history": history,
        "--compare": compare,
        "--restore": restore,
        "--delete": delete,
    }
    _hold_one_thing(wanted, file, listing=bool(search) or deleted)
    if again and taken_in is None:
        raise BadInputError("jobs: found --again; it goes with --import FILE only")
    from conewright.store import Store

    with Store.open() as store:
        if taken_in is not None:
            say(_imported(store, taken_in, again=again))
        elif export is not None:
            _export(_named(store, export), file)
        elif history is not None:
            say(_history(store, _named(store, history)))
        elif compare is not None:
            say(_compared(store, *compare))
        elif restore is not None:
            say(_restored(store, *restore))
        elif delete is not None:
            say(_deleted(store, _named(store, delete)))
        else:
            say(_list(store, search=search, deleted=deleted))


def _hold_one_thing(wanted: Mapping[str, object], file: Path | None, *, listing: bool) -> None:
    """Raise BadInputError where more is asked than one thing."""
    asked = [option for option, value in wanted.items() if value is not None]
    if listing and asked:
        asked.append("--search or --deleted")
    if len(asked) > 1:
        raise BadInputError(f"jobs: found {' and '.join(asked)}; give one at a time")
    if file is not None and asked != ["--export"]:
        raise BadInputError(f"jobs: found {file}; a FILE goes with --export NAME only")


def _named(store: Store, name: str) -> Saved:
    """Return the newest revision of a job, also of a deleted one by its id; raises NotFound."""
    return store.get(store.find_by_name(name) or name, include_deleted=True)


# --- In and out ---------------------------------------------------------------------------------


def _imported(store: Store, file: Path, *, again: bool) -> str:
    from conewright.cli.base.files import read_text
    from conewright.job.text.conversion import toml_from_json
    from conewright.stages.find.checked import entry_problems

    try:
        text = _unpacked(file) if file.suffix.lower() == ".zip" else read_text(file)
        if file.suffix.lower() == ".json":
            text = toml_from_json(text)
        twin = None if again else store.twin_of(text)
        if twin is not None:
            return _kept_already(file, twin)
        saved = store.create(text, who=_who(), note=f"imported from {file.name}")
    except JobError as error:
        raise JobError(error.problems, file=str(file)) from None
    told = f"{file} is kept as {saved.name} in {store.place}."
    asked = [doubt.text for doubt in saved.job.doubts]
    unusable = [f"Find cannot use this: {each}" for each in entry_problems(saved.job)]
    return _lines([told, *unusable, *asked, f"Next: conewright feed {quote(saved.name)}"])


def _unpacked(file: Path) -> str:
    """Keep the recordings that come with a job; return its text."""
    from conewright.cli.base.files import read_bytes
    from conewright.store.recordings import Recordings, unpacked

    try:
        return unpacked(read_bytes(file), Recordings.beside())
    except BadInputError as error:
        raise BadInputError(f"{file}: {error}") from None


def _kept_already(file: Path, twin: Saved) -> str:
    """Say that a text is kept, where, and how to keep it once more."""
    since = "" if twin.revision == 1 else f", by now at revision {twin.revision}"
    return _lines(
        [
            f"{file} is kept already, as {twin.name}{since}. Nothing was added.",
            f"Next: conewright feed {quote(twin.name)}",
            f"A second job of it: conewright jobs --import {quote(str(file))} --again",
        ]
    )


def _export(saved: Saved, file: Path | None) -> None:
    from conewright.cli.base.files import write_job
    from conewright.job.text.conversion import json_from_toml

    if file is None:
        say_bytes(saved.text.encode("utf-8"))
        return
    told = [f"{file} holds {saved.name} as of revision {saved.revision}."]
    ending = file.suffix.lower()
    if ending == ".zip":
        told += _packed(saved, file)
    else:
        as_json = ending == ".json"
        write_job(file, json_from_toml(saved.text) if as_json else saved.text, endings=JOB_ENDINGS)
        if saved.job.recordings:
            told.append("Its recordings stay here; a name ending in .zip takes them along.")
    say(_lines(told))


def _packed(saved: Saved, file: Path) -> list[str]:
    """Write a job with its recordings; return which of them are not kept here."""
    from conewright.store.recordings import Recordings, packed
    from conewright.whole_file import write_new

    made = {each.sha256: each for each in saved.job.recordings}
    archive, missing = packed(saved.text, made, Recordings.beside())
    write_new({file: archive})
    return [f"Not in it, as it is not kept here: {made[sha].id} ({sha})" for sha in missing]


# --- Looking ------------------------------------------------------------------------------------


def _list(store: Store, *, search: str, deleted: bool) -> str:
    found = store.jobs(search=search, deleted=deleted)
    if found:
        return _lines(_told(found))
    kind = "deleted job" if deleted else "job"
    if search:
        return _lines([f'No {kind} in {store.place} holds "{search}".'])
    advice = "" if deleted else " conewright jobs --import FILE keeps one."
    return _lines([f"No {kind} is in {store.place}.{advice}"])


def _told(found: Iterable[Listed]) -> Iterator[str]:
    for job in found:
        yield f"{job.name}: {job.title}"
        yield f"{INDENT}revision {job.revision}, {_time(job.saved_at)}, {job.who}: {job.note}"
        if job.state:
            yield f"{INDENT}{job.state}"


def _history(store: Store, saved: Saved) -> str:
    notes = store.revisions(saved.job_id)
    lines = (
        f"{note.revision:>4}  {_time(note.saved_at)}  {note.who}: {note.note}" for note in notes
    )
    return _lines([f"{saved.name}, newest first", *lines], rest="      ")


def _compared(store: Store, name: str, first: int, second: int) -> str:
    from conewright.job.text.differences import compare

    job_id = _named(store, name).job_id
    old, new = store.get(job_id, first), store.get(job_id, second)
    changes = compare(old.text, new.text) or ("nothing changed",)
    return _lines([f"{new.name}, from revision {first} to {second}", *changes])


# --- Changing -----------------------------------------------------------------------------------


def _restored(store: Store, name: str, revision: int) -> str:
    newest = _named(store, name)
    saved = store.restore(newest.job_id, revision, base=newest.revision, who=_who())
    told = f"{saved.name} is as it was in revision {revision}; that is revision {saved.revision}."
    return _lines([told])


def _deleted(store: Store, saved: Saved) -> str:
    store.delete(saved.job_id, base=saved.revision, who=_who())
    back = f"conewright jobs --restore {saved.job_id} {saved.revision}"
    return _lines([f"{saved.name} is off the list. It comes back with: {back}"])


# --- Words --------------------------------------------------------------------------------------


def _lines(texts: Iterable[str], *, rest: str = INDENT * 2) -> str:
    from conewright.views.layout import paragraph

    folded = (paragraph(text, width=WIDTH, rest=rest) for text in texts)
    return "".join(f"{line}\n" for lines in folded for line in lines)


def _time(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"


def _who() -> str:
    from conewright.cli.base.kept import who

    return who()
