"""A catalogue to look at: its list and search, one part, the kept ones and their history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from conewright.catalogue.columns import KINDS, column_words, columns
from conewright.catalogue.lists.listing import (
    chosen,
    figure_in_words,
    in_its_unit,
    invented_catalogue,
    part_line,
)
from conewright.web.base.errors import Refusal
from conewright.web.desk.cache import Kept
from conewright.web.frame.page import Revision, render, store_of

if TYPE_CHECKING:
    from conewright.catalogue.compiled import Compiled
    from conewright.store import CatalogueNote, KeptCatalogue

__all__ = ["INVENTED", "Number", "router"]

router = APIRouter()

INVENTED: Final = "invented"
"""The name of the parts that come with the program."""
PER_PAGE: Final = 25
LONGEST_SEARCH: Final = 200
MOST_PAGES: Final = 1_000_000

Number = Annotated[int, Query(ge=1, le=MOST_PAGES)]


@dataclass(frozen=True, slots=True)
class Shelf:
    """A version of a catalogue that is looked at; the invented parts have no note."""

    name: str
    note: CatalogueNote | None
    newest: int | None
    compiled: Compiled

    @property
    def version(self) -> int | None:
        """Number of the version where another than the newest is looked at."""
        return None if self.note is None or self.note.number == self.newest else self.note.number


@dataclass(frozen=True, slots=True)
class Said:
    """What is known of a part in one column: as its list says, and as it is reckoned with."""

    label: str
    given: str
    used: str


@router.get("/parts")
def parts(
    request: Request,
    q: str = "",
    kind: str = "",
    catalogue: str = "",
    version: Revision = None,
    page: Number = 1,
    kept: str = "",
) -> Response:
    """Show the parts of a catalogue that are of a kind and hold every word of a search."""
    shelf = _shelf(request, catalogue, version)
    q = "".join(letter if letter.isprintable() else " " for letter in q)[:LONGEST_SEARCH]
    kind = kind if kind in KINDS else ""
    rows = chosen(shelf.compiled, kind=kind, search=q)
    pages = max(1, -(-len(rows) // PER_PAGE))
    page = min(page, pages)
    shown = rows[(page - 1) * PER_PAGE : page * PER_PAGE]
    return render(
        request,
        "parts.html",
        shelf=shelf,
        lists=[each.name for each in store_of(request).catalogues()],
        kinds=KINDS,
        q=q,
        kind=kind,
        found=len(rows),
        lines=[part_line(shelf.compiled, row) for row in shown],
        page=page,
        pages=pages,
        kept=kept,
    )


@router.get("/parts/part/{part_id}")
def one_part(
    request: Request, part_id: str, catalogue: str = "", version: Revision = None
) -> Response:
    """Show a part: what its list says, what is reckoned with, and who else sells the same works."""
    shelf = _shelf(request, catalogue, version)
    compiled = shelf.compiled
    if part_id not in compiled.texts["id"]:
        raise Refusal(404, f"There is no such part in {shelf.name}.")
    row = compiled.texts["id"].index(part_id)
    others = [part_line(compiled, other) for other in compiled.alternates(row)]
    return render(
        request,
        "part_sold.html",
        shelf=shelf,
        line=part_line(compiled, row),
        groups=_said(compiled, row),
        others=others,
    )


@router.get("/parts/lists")
def lists(request: Request) -> Response:
    """Show the kept catalogues."""
    return render(request, "lists.html", notes=store_of(request).catalogues())


@router.get("/parts/lists/{name}")
def history(request: Request, name: str) -> Response:
    """Show every version of a catalogue, and the map that the next one may be read by."""
    notes = store_of(request).catalogue_versions(name)
    newest = _kept(request, name, notes[0].number)
    return render(request, "list_history.html", name=name, notes=notes, map=newest.map)


def _shelf(request: Request, name: str, version: int | None) -> Shelf:
    """Return the catalogue that is meant: the one imported last where none is named."""
    store = store_of(request)
    if not name:
        name = next((each.name for each in store.catalogues()), INVENTED)
    if name == INVENTED:
        return Shelf(INVENTED, None, None, _invented(request))
    newest = store.catalogue_versions(name)[0].number
    kept = _kept(request, name, version or newest)
    return Shelf(name, kept.note, newest, kept.compiled)


def _kept(request: Request, name: str, number: int) -> KeptCatalogue:
    """Return a version of a catalogue, which never changes, so that it is unpacked once."""
    unpacked: Kept[KeptCatalogue] = request.app.state.catalogues
    return unpacked.get((name, number), lambda: store_of(request).catalogue(name, number))


def _invented(request: Request) -> Compiled:
    unpacked: Kept[Compiled] = request.app.state.catalogues
    return unpacked.get(INVENTED, lambda: invented_catalogue().compiled)


def _said(compiled: Compiled, row: int) -> dict[str, tuple[Said, ...]]:
    """Return what is known of a part, by group of columns; groups without anything are left out."""
    told = {
        group: tuple(
            said
            for name, label in labels.items()
            if (said := _one_said(compiled, row, name, label)) is not None
        )
        for group, labels in column_words().items()
    }
    return {group: each for group, each in told.items() if each}


def _one_said(compiled: Compiled, row: int, name: str, label: str) -> Said | None:
    form = columns()[name].form
    if not columns()[name].numeric:
        given = compiled.text(name, row)
    elif form == "size":
        short, long = compiled.number("size", row), compiled.number("size_long", row)
        axes = [each for each in dict.fromkeys((short, long)) if each is not None]
        given = " x ".join(in_its_unit(each, name, "") for each in axes)
    elif form == "yes":
        number = compiled.number(name, row)
        given = "" if number is None else "yes" if number else "no"
    else:
        given = figure_in_words(compiled, row, name)
    used = _used(compiled, row, name)
    if not given and not used:
        return None
    return Said(label, given, "" if used == given else used)


def _used(compiled: Compiled, row: int, name: str) -> str:
    """Return the figure of the completed sheet of a driver, empty for anything else."""
    column = compiled.figures.get(name)
    value = float("nan") if column is None else float(column[row])
    return "" if value != value else in_its_unit(value, name, "driver")
