"""`conewright parts`: the parts that can be bought, and the lists they come from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from conewright.cli.base.console import busy, say
from conewright.errors import BadInputError

if TYPE_CHECKING:
    from datetime import datetime

    from conewright.catalogue.lists.forms import Table
    from conewright.catalogue.lists.part_rows import Catalogue
    from conewright.store import FoundCatalogue

__all__ = ["parts"]

WIDTH = 80
MOST_LISTED, MOST_FINDINGS = 60, 40


def parts(
    search: Annotated[
        str, typer.Option("--search", metavar="WORDS", help="List those that hold all the words.")
    ] = "",
    kind: Annotated[
        str,
        typer.Option("--kind", metavar="KIND", help="List those of a kind: driver, capacitor ..."),
    ] = "",
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
    taken_in: Annotated[
        Path | None,
        typer.Option(
            "--import",
            metavar="FILE",
            help="Keep a list as the next version of its catalogue.",
            show_default=False,
        ),
    ] = None,
    check: Annotated[
        Path | None,
        typer.Option(
            "--check", metavar="FILE", help="Say what a list has in it.", show_default=False
        ),
    ] = None,
    guess: Annotated[
        Path | None,
        typer.Option(
            "--guess",
            metavar="FILE",
            help="Guess the map of somebody else's list; into MAP with --map.",
            show_default=False,
        ),
    ] = None,
    map_file: Annotated[
        Path | None,
        typer.Option(
            "--map",
            metavar="MAP",
            help="With --import, --check: which column is which, TOML.",
            show_default=False,
        ),
    ] = None,
    name: Annotated[
        str | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="With --import: name of the catalogue; that of the file without.",
            show_default=False,
        ),
    ] = None,
    accept: Annotated[
        bool,
        typer.Option(
            "--accept",
            help="With --import, --check: take parts whose figures contradict each other by more "
            "than half, or that cost over 3 times the usual.",
            show_default=False,
        ),
    ] = False,
    history: Annotated[
        str | None,
        typer.Option(
            "--history", metavar="NAME", help="Versions of a catalogue.", show_default=False
        ),
    ] = None,
    export: Annotated[
        Path | None,
        typer.Option(
            "--export",
            metavar="FILE",
            help="Write a catalogue to a new file: .csv, .toml or .sqlite.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """List parts that can be bought, or do one thing with a list of them."""
    wanted = {"--import": taken_in, "--check": check, "--guess": guess, "--history": history}
    wanted["--export"] = export
    asked = [option for option, value in wanted.items() if value is not None]
    narrowed = [
        option for option, value in (("--search", search), ("--kind", kind)) if value and asked
    ]
    if len(asked) + len(narrowed) > 1:
        raise BadInputError(f"parts: found {' and '.join([*asked, *narrowed])}; give one at a time")
    _hold_company(
        asked, {"--map": map_file, "--name": name, "--accept": accept, "--catalogue": catalogue}
    )
    if guess is not None:
        say(_guessed(guess, map_file))
    elif check is not None:
        say(_lines(_checked(_read(check, map_file, accept=accept))))
    elif taken_in is not None:
        say(_imported(taken_in, map_file, name=name, accept=accept))
    elif history is not None:
        say(_history(history))
    elif export is not None:
        say(_exported(export, catalogue))
    else:
        say(_listed(catalogue, kind=kind, search=search))


COMPANY = {
    "--map": ("--import", "--check", "--guess"),
    "--name": ("--import",),
    "--accept": ("--import", "--check"),
    "--catalogue": ("--export",),
}
"""What an option goes with; --catalogue with a list as well."""


def _hold_company(asked: list[str], beside: Mapping[str, object]) -> None:
    for option, value in beside.items():
        alone = option == "--catalogue" and not asked
        if value and not alone and not set(asked) & set(COMPANY[option]):
            allowed = " or ".join(COMPANY[option])
            raise BadInputError(f"parts: found {option}; it goes with {allowed} only")


# --- Files ----------------------------------------------------------------------------------------


def _read(file: Path, map_file: Path | None, *, accept: bool) -> Catalogue:
    from conewright.catalogue.lists.part_rows import read_catalogue

    with busy(f"{file}: reading the parts"):
        return read_catalogue(_table(file, map_file), accept=accept)


def _table(file: Path, map_file: Path | None) -> Table:
    from conewright.catalogue.lists.column_map import foreign_table, parse_map
    from conewright.catalogue.lists.forms import table_of
    from conewright.cli.base.files import read_bytes, read_text

    if map_file is None:
        return table_of(read_bytes(file), file=str(file))
    used = parse_map(read_text(map_file), file=str(map_file))
    return foreign_table(read_bytes(file), used, file=str(file), map_file=str(map_file))


def _guessed(file: Path, map_file: Path | None) -> str:
    from conewright.catalogue.lists.column_map import map_text
    from conewright.catalogue.lists.guessing import guess_map
    from conewright.cli.base.files import read_bytes, write_job

    guess = guess_map(read_bytes(file), file=str(file))
    text = "".join(f"# {each}\n" for each in guess.told) + map_text(guess.map)
    if map_file is None:
        return text
    write_job(map_file, text)
    then = f"conewright parts --check {quote(str(file))} --map {quote(str(map_file))}"
    return _lines([f"{map_file} is written. Look it through, then: {then}", *guess.told])


def _exported(file: Path, catalogue: str | None) -> str:
    from conewright.catalogue.lists.forms import FORMS, table_of, written
    from conewright.whole_file import write_new

    ending = file.suffix.lower()
    if ending not in FORMS:
        allowed = ", ".join(FORMS)
        raise BadInputError(f'{file}: found a name ending in "{ending}"; it ends in {allowed}')
    found = _found(catalogue)
    rows = table_of(found.text, file=f"{found.offer.name}.csv").rows
    write_new({file: written(rows, ending=ending)})
    return _lines([f"{file} holds {_told(found)}."])


# --- Looking ----------------------------------------------------------------------------------


def _checked(catalogue: Catalogue) -> Iterator[str]:
    from conewright.catalogue.lists.listing import findings_in_words
    from conewright.phrases import counted

    yield f"{counted(len(catalogue.rows), 'part')} can be used."
    yield from findings_in_words(catalogue.findings, most=MOST_FINDINGS)
    asked = len({finding.row for finding in catalogue.findings if finding.asked})
    if asked:
        yield f"{counted(asked, 'refused row')} would be used after a yes: --accept"


def _listed(catalogue: str | None, *, kind: str, search: str) -> str:
    from conewright.catalogue.lists.listing import chosen, part_in_words
    from conewright.phrases import counted

    found = _found(catalogue)
    compiled = found.offer.compiled
    rows = chosen(compiled, kind=kind, search=search)
    lines = [f"{_told(found)}: {counted(len(rows), 'part')}"]
    lines += [part_in_words(compiled, row) for row in rows[:MOST_LISTED]]
    if len(rows) > MOST_LISTED:
        lines.append(f"and {len(rows) - MOST_LISTED} more; --kind and --search narrow it down")
    return _lines(lines)


def _found(catalogue: str | None) -> FoundCatalogue:
    """Return the catalogue that is meant."""
    from conewright.store import find_catalogue

    with busy(f"{catalogue or 'the catalogue'}: reading the parts"):
        return find_catalogue(catalogue)


def _told(found: FoundCatalogue) -> str:
    """Return what a catalogue is called in a sentence."""
    from conewright.store import INVENTED

    offer = found.offer
    if offer.version is not None and found.imported_at is not None:
        return _called(offer.name, offer.version, found.imported_at)
    return f"{offer.name} parts" if offer.name == INVENTED else offer.name


def _history(name: str) -> str:
    from conewright.phrases import counted
    from conewright.store import Store

    with Store.open() as store:
        versions = store.catalogue_versions(name)
    lines = (
        f"{note.number:>4}  {note.imported_at.astimezone():%Y-%m-%d %H:%M}  {note.who}: "
        f"{counted(note.parts, 'part')} from {note.source}, sha256 {note.sha256[:12]}"
        for note in versions
    )
    return _lines([f"{name}, newest first", *lines], rest="      ")


# --- Changing -------------------------------------------------------------------------------------


def _imported(file: Path, map_file: Path | None, *, name: str | None, accept: bool) -> str:
    from conewright.cli.base.files import read_text
    from conewright.cli.base.kept import who
    from conewright.store import Store

    read = _read(file, map_file, accept=accept)
    map_text = "" if map_file is None else read_text(map_file)
    with Store.open() as store:
        before = {(note.name, note.number) for note in store.catalogues()}
        note = store.add_catalogue(
            name or file.stem, read, who=who(), source=file.name, map_text=map_text
        )
        place = store.place
    called = _called(note.name, note.number, note.imported_at)
    if (note.name, note.number) in before:
        told = f"{file} is kept already, as {called}. Nothing was added."
    else:
        told = f"{file} is kept as {called} in {place}."
    return _lines([told, *_checked(read)])


def _called(name: str, number: int, imported_at: datetime) -> str:
    return f"{name}, version {number} of {imported_at.astimezone():%Y-%m-%d}"


def _lines(texts: Iterable[str], *, rest: str = "    ") -> str:
    from conewright.views.layout import paragraph

    folded = (paragraph(text, width=WIDTH, rest=rest) for text in texts)
    return "".join(f"{line}\n" for lines in folded for line in lines)
