"""Lists of parts brought in: sent, read by a map that somebody confirms, looked through, kept."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import PurePath
from typing import Final

from fastapi import APIRouter, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from conewright.catalogue.columns import KINDS, column_words
from conewright.catalogue.lists.column_map import ColumnMap, map_text, parse_map
from conewright.catalogue.lists.part_cells import Finding
from conewright.errors import BadInputError
from conewright.phrases import counted
from conewright.store import NotFound
from conewright.store.texts import slug
from conewright.web.desk.held_lists import HeldList, HeldLists
from conewright.web.frame.page import (
    Form,
    address,
    form_texts,
    reading_of,
    render,
    see_other,
    store_of,
    who,
)
from conewright.web.parts.list_reading import Heads, ListReading
from conewright.web.parts.map_form import (
    CUT,
    MARKS,
    PER,
    head_fields,
    sent_map,
    words_of,
)
from conewright.web.parts.shelf import INVENTED, Number

__all__ = ["router"]

router = APIRouter()

AT: Final = "/parts/import"
SQLITE: Final = b"SQLite format 3\0"
NO_CSV: Final = (".toml", ".sqlite")
PER_PAGE: Final = 60
LONGEST_FILE_NAME: Final = 120
YES: Final = "yes:"


def _lists(request: Request) -> HeldLists:
    lists: HeldLists = request.app.state.reports.lists
    return lists


def _reading(request: Request) -> ListReading:
    return ListReading(reading_of(request))


# --- A list comes in ------------------------------------------------------------------------------


@router.get(AT)
def bring_in(request: Request, of: str = "") -> Response:
    """Show where a list is sent."""
    return _asked(request, of, "")


@router.post(AT)
def take_in(request: Request, form: Form) -> Response:
    """Take a list in; what it would be is shown before anything is kept."""
    of = form_texts(form).get("of", "")
    name, content = _sent(form)
    if not content:
        told = f"{name}: it is empty" if name else "choose the file of a list"
        return _asked(request, of, told)
    reading = _reading(request)
    try:
        before = _map_of(request, of)
        if reading.is_own(content, name):
            looked = reading.look(content, name, None)
            held = _lists(request).hold(content, name=name, catalogue=of)
            _lists(request).change(held, settled=True, looked=looked)
            return see_other(f"{AT}/{held.token}/findings")
        used = before or reading.heads(content, name).guess
    except BadInputError as error:
        return _asked(request, of, str(error))
    held = _lists(request).hold(content, name=name, catalogue=of)
    _lists(request).change(held, used=used, known=before is not None)
    return see_other(f"{AT}/{held.token}")


def _asked(request: Request, of: str, error: str) -> Response:
    names = [each.name for each in store_of(request).catalogues()]
    most = request.app.state.settings.largest_list // 1_000_000
    return render(request, "list_new.html", names=names, of=of, error=error, most=most)


def _sent(form: FormData) -> tuple[str, bytes]:
    """Return the name and the content of the file that was sent, both empty without one."""
    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        return "", b""
    content = file.file.read()
    last = file.filename.replace("\\", "/").rpartition("/")[2]
    name = " ".join("".join(each if each.isprintable() else " " for each in last).split())
    name = name[-LONGEST_FILE_NAME:] or "list"
    if content.startswith(SQLITE):
        # Other programs end the names of their databases otherwise.
        name = f"{PurePath(name).stem}.sqlite"
    return name, content


def _map_of(request: Request, catalogue: str) -> ColumnMap | None:
    """Return the map that the newest version of a catalogue was read by; None without one."""
    if not catalogue:
        return None
    try:
        text = store_of(request).catalogue(catalogue).map
    except NotFound:
        return None
    return parse_map(text, file=f"map of {catalogue}") if text else None


# --- Its map --------------------------------------------------------------------------------------


@router.get(f"{AT}/{{token}}")
def show_map(request: Request, token: str) -> Response:
    """Show which column is taken for which, to be confirmed or changed."""
    held = _lists(request).held(token)
    if held.used is None and PurePath(held.name).suffix.lower() in NO_CSV:
        return see_other(f"{AT}/{token}/findings")
    try:
        heads = _heads(request, held)
    except BadInputError as error:
        # A map that was kept reads another list: the guess is begun anew.
        heads = _reading(request).heads(held.content, held.name)
        return _map_page(request, held, heads, heads.guess, {"cut": str(error)})
    return _map_page(request, held, heads, held.used or heads.guess, {})


@router.post(f"{AT}/{{token}}")
def confirm_map(request: Request, token: str, form: Form) -> Response:
    """Cut the list otherwise where that is asked, else read it by the map that was confirmed."""
    held, fields = _lists(request).held(token), form_texts(form)
    cut = {name: fields.get(name, "") for name in CUT}
    cut = {name: text if text in CUT[name] else "" for name, text in cut.items()}
    before = held.used
    try:
        heads = _reading(request).heads(held.content, held.name, **cut)
    except BadInputError as error:
        heads = _heads(request, held)
        return _map_page(request, held, heads, before or heads.guess, {"cut": str(error)})
    if fields.get("do") == "cut" or fields.get("cut") != _cut(heads.guess):
        _lists(request).change(held, used=heads.guess, settled=False, known=False)
        return see_other(f"{AT}/{token}")
    found, errors = sent_map(fields, heads, before or heads.guess)
    if not errors:
        try:
            looked = _reading(request).look(held.content, held.name, found)
        except BadInputError as error:
            errors = {"whole": str(error)}
        else:
            _lists(request).change(held, used=found, settled=True, looked=looked)
            return see_other(f"{AT}/{token}/findings")
    return _map_page(request, held, heads, found, errors)


def _heads(request: Request, held: HeldList) -> Heads:
    encoding = "" if held.used is None else held.used.encoding
    delimiter = "" if held.used is None else held.used.delimiter
    return _reading(request).heads(held.content, held.name, encoding, delimiter)


def _cut(used: ColumnMap) -> str:
    """Return how a list is cut, as its form remembers it: a tab does not come back from one."""
    return f"{used.encoding} {ord(used.delimiter)}"


def _map_page(
    request: Request, held: HeldList, heads: Heads, used: ColumnMap, errors: Mapping[str, str]
) -> Response:
    there = {head.name for head in heads.heads}
    return render(
        request,
        "list_map.html",
        held=held,
        heads=heads,
        used=used,
        errors=errors,
        cut=_cut(heads.guess),
        cuts=CUT,
        marks=MARKS,
        per=PER,
        kinds=KINDS,
        groups=column_words(),
        fields=head_fields(heads, used),
        words=words_of(heads, used),
        missing=[each.column for each in used.columns.values() if each.column not in there],
    )


# --- What it holds --------------------------------------------------------------------------------


@router.get(f"{AT}/{{token}}/findings")
def findings(request: Request, token: str, page: Number = 1, done: str = "") -> Response:
    """Show what the list holds: what is used, left out and refused, and why."""
    held = _lists(request).held(token)
    if not held.settled:
        return see_other(f"{AT}/{token}")
    return _findings_page(request, held, page=page, done=done)


@router.post(f"{AT}/{{token}}/keep")
def keep(request: Request, token: str, form: Form) -> Response:
    """Keep the list as the next version of a catalogue, with the rows that got a yes."""
    held, fields = _lists(request).held(token), form_texts(form)
    if not held.settled:
        return see_other(f"{AT}/{token}")
    name = fields.get("name", "").strip()
    if not re.search(r"\w", name) or slug(name) == INVENTED:
        told = f"a name is wanted, another than {INVENTED}: those parts come with the program"
        return _findings_page(request, held, name=name, error=told)
    yes = {int(each[len(YES) :]) for each in fields if re.fullmatch(rf"{YES}\d{{1,7}}", each)}
    read = _reading(request).read(held.content, held.name, held.used, frozenset(yes))
    store = store_of(request)
    before = {(each.name, each.number) for each in store.catalogues()}
    text = "" if held.used is None else map_text(held.used)
    note = store.add_catalogue(name, read, who=who(request), source=held.name, map_text=text)
    _lists(request).let_go(held)
    told = "again" if (note.name, note.number) in before else "new"
    return see_other(address("/parts", catalogue=note.name, kept=told))


@router.post(f"{AT}/{{token}}/discard")
def discard(request: Request, token: str) -> Response:
    """Throw the list away."""
    _lists(request).let_go(_lists(request).held(token))
    return see_other("/parts")


def _findings_page(
    request: Request,
    held: HeldList,
    *,
    page: int = 1,
    done: str = "",
    name: str | None = None,
    error: str = "",
) -> Response:
    looked = held.looked
    found: list[Finding] = [each for each in looked.findings if done in ("", each.done)]
    pages = max(1, -(-len(found) // PER_PAGE))
    page = min(page, pages)
    names = [each.name for each in store_of(request).catalogues()]
    return render(
        request,
        "list_findings.html",
        held=held,
        looked=looked,
        counts={each: looked.counts[each] for each in ("refused", "left out", "used")},
        said=_said(looked.counts),
        found=found[(page - 1) * PER_PAGE : page * PER_PAGE],
        most=len(found),
        done=done,
        page=page,
        pages=pages,
        names=names,
        name=held.catalogue or slug(PurePath(held.name).stem) if name is None else name,
        error=error,
        is_csv=PurePath(held.name).suffix.lower() not in NO_CSV,
    )


def _said(counts: Mapping[str, int]) -> str:
    """Return how many findings there are of each sort, in words."""
    sorts = {
        "refused": ("row is refused", "rows are refused"),
        "left out": ("cell is left out", "cells are left out"),
        "used": ("cell is used with a remark", "cells are used with a remark"),
    }
    told = [counted(counts[done], *words) for done, words in sorts.items() if counts[done]]
    return ", ".join(told)
