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
    from conewright.catalogue.compiled import Compiled
    from conewright.catalogue.forms import Row, Table
    from conewright.catalogue.part_rows import Catalogue
    from conewright.store import CatalogueNote

__all__ = ["parts"]

WIDTH = 80
MOST_LISTED, MOST_FINDINGS = 60, 40
INVENTED = "invented"
"""The name of the parts that come with the program."""


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


def _content(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise BadInputError(f"{file}: cannot be read ({error.strerror or error})") from error


def _read(file: Path, map_file: Path | None, *, accept: bool) -> Catalogue:
    from conewright.catalogue.part_rows import read_catalogue

    with busy(f"{file}: reading the parts"):
        return read_catalogue(_table(file, map_file), accept=accept)


def _table(file: Path, map_file: Path | None) -> Table:
    from conewright.catalogue.column_map import foreign_table, parse_map
    from conewright.catalogue.forms import table_of
    from conewright.cli.base.files import read_text

    if map_file is None:
        return table_of(_content(file), file=str(file))
    used = parse_map(read_text(map_file), file=str(map_file))
    return foreign_table(_content(file), used, file=str(file), map_file=str(map_file))


def _guessed(file: Path, map_file: Path | None) -> str:
    from conewright.catalogue.column_map import map_text
    from conewright.catalogue.guessing import guess_map
    from conewright.cli.base.files import write_job

    guess = guess_map(_content(file), file=str(file))
    text = "".join(f"# {each}\n" for each in guess.told) + map_text(guess.map)
    if map_file is None:
        return text
    write_job(map_file, text)
    then = f"conewright parts --check {quote(str(file))} --map {quote(str(map_file))}"
    return _lines([f"{map_file} is written. Look it through, then: {then}", *guess.told])


def _exported(file: Path, catalogue: str | None) -> str:
    from conewright.catalogue.forms import FORMS, written
    from conewright.whole_file import write_new

    ending = file.suffix.lower()
    if ending not in FORMS:
        allowed = ", ".join(FORMS)
        raise BadInputError(f'{file}: found a name ending in "{ending}"; it ends in {allowed}')
    told, rows = _rows(catalogue)
    write_new({file: written(rows, ending=ending)})
    return _lines([f"{file} holds {told}."])


# --- Looking ----------------------------------------------------------------------------------


def _checked(catalogue: Catalogue) -> Iterator[str]:
    from conewright.catalogue.listing import findings_in_words
    from conewright.phrases import counted

    yield f"{counted(len(catalogue.rows), 'part')} can be used."
    yield from findings_in_words(catalogue.findings, most=MOST_FINDINGS)
    asked = len({finding.row for finding in catalogue.findings if finding.asked})
    if asked:
        yield f"{counted(asked, 'refused row')} would be used after a yes: --accept"


def _listed(catalogue: str | None, *, kind: str, search: str) -> str:
    from conewright.catalogue.listing import chosen, part_in_words
    from conewright.phrases import counted

    told, compiled = _compiled(catalogue)
    rows = chosen(compiled, kind=kind, search=search)
    lines = [f"{told}: {counted(len(rows), 'part')}"]
    lines += [part_in_words(compiled, row) for row in rows[:MOST_LISTED]]
    if len(rows) > MOST_LISTED:
        lines.append(f"and {len(rows) - MOST_LISTED} more; --kind and --search narrow it down")
    return _lines(lines)


def _compiled(catalogue: str | None) -> tuple[str, Compiled]:
    """Return what a catalogue is called and its columns."""
    from conewright.catalogue.forms import FORMS
    from conewright.catalogue.listing import invented_catalogue
    from conewright.store import Store

    name, number = _named(catalogue)
    if Path(name).suffix.lower() in FORMS:
        return name, _read(Path(name), None, accept=False).compiled
    if name == INVENTED:
        return "invented parts", invented_catalogue().compiled
    with Store.open() as store:
        kept = store.catalogue(name, number)
        return _called(kept.note), kept.compiled


def _rows(catalogue: str | None) -> tuple[str, tuple[Row, ...]]:
    """Return what a catalogue is called and its rows."""
    from conewright.catalogue.forms import FORMS, table_of
    from conewright.catalogue.listing import invented_catalogue
    from conewright.store import Store

    name, number = _named(catalogue)
    if Path(name).suffix.lower() in FORMS:
        return name, _read(Path(name), None, accept=False).rows
    if name == INVENTED:
        return "the invented parts", invented_catalogue().rows
    with Store.open() as store:
        kept = store.catalogue(name, number)
        return _called(kept.note), table_of(kept.text, file=f"{name}.csv").rows


def _named(catalogue: str | None) -> tuple[str, int | None]:
    """Return the name and version of the catalogue that is meant: the last imported where None."""
    from conewright.store import Store, store_is_there

    if catalogue is not None:
        name, _, number = catalogue.partition("@")
        if number and not (number.isascii() and number.isdecimal() and len(number) < 10):
            raise BadInputError(f'--catalogue: found "{catalogue}"; a version is like {name}@2')
        return name, int(number) if number else None
    if store_is_there():
        with Store.open() as store:
            kept = store.catalogues()
            if kept:
                return kept[0].name, kept[0].number
    return INVENTED, None


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
    if (note.name, note.number) in before:
        told = f"{file} is kept already, as {_called(note)}. Nothing was added."
    else:
        told = f"{file} is kept as {_called(note)} in {place}."
    return _lines([told, *_checked(read)])


def _called(note: CatalogueNote) -> str:
    return f"{note.name}, version {note.number} of {note.imported_at.astimezone():%Y-%m-%d}"


def _lines(texts: Iterable[str], *, rest: str = "    ") -> str:
    from conewright.views.layout import paragraph

    folded = (paragraph(text, width=WIDTH, rest=rest) for text in texts)
    return "".join(f"{line}\n" for lines in folded for line in lines)
