"""What every page needs: templates, the store, the form that was sent, who sent it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote, unquote, urlencode

from fastapi import Depends, Query, Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import FormData
from starlette.responses import HTMLResponse, RedirectResponse, Response

from conewright.errors import JobError
from conewright.job.builds.states.value import Origin
from conewright.job.text.merging import merged
from conewright.stages.find.checked import hold_entries
from conewright.store import Conflict, Saved, Store
from conewright.views.cells import letter
from conewright.views.numbers import minutes
from conewright.views.text import QUESTIONS
from conewright.web.base.settings import LARGEST_NUMBER
from conewright.web.desk.reading import Reading
from conewright.web.doors.who import device_of, who_asks

__all__ = [
    "LONGEST_NAME",
    "Form",
    "Revision",
    "address",
    "carry_out",
    "form_texts",
    "hold_gained",
    "name_cookie",
    "number_in",
    "reading_of",
    "render",
    "save",
    "see_other",
    "store_of",
    "who",
]

WEB = Path(__file__).parents[1]
WHO = "conewright-who"

LONGEST_NAME = 60
MOST_FIELDS, LARGEST_FIELD = 2000, 2_000_000


async def _form(request: Request) -> AsyncIterator[FormData]:
    async with request.form(max_fields=MOST_FIELDS, max_part_size=LARGEST_FIELD) as form:
        yield form


Form = Annotated[FormData, Depends(_form)]
Revision = Annotated[int | None, Query(ge=1, le=LARGEST_NUMBER)]
"""A revision named in an address; none for the newest."""


def form_texts(form: FormData) -> dict[str, str]:
    """Return the fields of a form that are texts; of a name sent twice the last one counts."""
    return {
        name: value.replace("\r\n", "\n")
        for name, value in form.multi_items()
        if isinstance(value, str)
    }


def number_in(fields: Mapping[str, str], name: str) -> int:
    """Return a field that holds a revision's number, 0 where it holds none."""
    text = fields.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def store_of(request: Request) -> Store:
    """Return where the jobs are kept; their texts are read as those of forms are."""
    store: Store = request.app.state.store
    return store.reading_by(reading_of(request).run)


def reading_of(request: Request) -> Reading:
    """Return what reads and edits texts."""
    reading: Reading = request.app.state.reports.reading
    return reading


def who(request: Request) -> str:
    """Return the name of whoever asks: as they said, else that of their device or account.

    A paired device stays beside the name that somebody at it gives.
    """
    given = unquote(request.cookies.get(name_cookie(request), ""))
    told = "".join(each for each in given if _shows(each))
    told, paired = " ".join(told.split()), device_of(request)
    if not told or paired is None:
        return (told or who_asks(request))[:LONGEST_NAME]
    by = f" ({paired})"
    return f"{told.removesuffix(by)[: max(0, LONGEST_NAME - len(by))]}{by}"


def name_cookie(request: Request) -> str:
    """Return what the cookie is called that holds the name somebody wants on what they save.

    Over TLS it belongs to this very host, as its prefix makes a browser see to (RFC 6265bis).
    """
    return f"__Host-{WHO}" if request.url.scheme == "https" else WHO


def _shows(letter: str) -> bool:
    """Whether a letter is seen, or a space; one that turns the direction of others is not."""
    return letter.isprintable() or letter.isspace()


def see_other(path: str) -> Response:
    """Answer a form with the page to look at next, so that going back sends nothing twice."""
    return RedirectResponse(path, status_code=303)


def address(path: str, **query: object) -> str:
    """Return an address with what of a query is there."""
    given = {name: value for name, value in query.items() if value not in (None, "", False)}
    return f"{path}?{urlencode(given)}" if given else path


def render(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """Return a page from its template."""
    page = _templates().get_template(template)
    text = page.render(who=who(request), path=request.url.path, **context)
    return HTMLResponse(text, status_code=status)


def save(
    request: Request, before: Saved, text: str, *, then: str, note: str | None = None
) -> Response:
    """Save a changed text of a job as its next revision; answers as `carry_out`.

    A text that is as it was is no revision: the page at `then` is shown.

    Raises: JobError where it has gained a complaint or a reading that nobody can use.
    """
    if text == before.text:
        return see_other(then)
    hold_gained(before, text, reading_of(request))
    return carry_out(
        request,
        lambda store: store.save(
            before.job_id, text, base=before.revision, who=who(request), note=note
        ),
        then=then,
    )


def hold_gained(before: Saved, text: str, reading: Reading) -> None:
    """Raise JobError where a text has gained a complaint or a reading that nobody can use.

    A job that today's rules refuse as it stands is not held: whoever mends it begins somewhere.
    """
    try:
        job = before.job
    except JobError:
        return
    hold_entries(job, reading.job(text))


def carry_out(request: Request, change: Callable[[Store], object], *, then: str) -> Response:
    """Change a kept job and show the page at `then`.

    Where somebody else saved meanwhile, both sides are shown with what can be done; where they
    saved the very same, nothing is left to do: a button pressed twice is one change.
    """
    try:
        change(store_of(request))
    except Conflict as conflict:
        if conflict.theirs.deleted or conflict.mine != conflict.theirs.text:
            return _conflict_page(request, conflict)
    return see_other(then)


def _conflict_page(request: Request, conflict: Conflict) -> HTMLResponse:
    before, mine, theirs = conflict.before, conflict.mine, conflict.theirs
    read = reading_of(request).run
    both = None if mine is None else read(merged, before.text, mine, theirs.text)
    return render(request, "conflict.html", conflict=conflict, saved=theirs, both=both)


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(WEB / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["when"] = _when
    environment.filters["minutes"] = minutes
    environment.filters["part"] = lambda text: quote(str(text), safe="")
    environment.globals.update(
        address=address,
        questions=QUESTIONS,
        origins=[(letter(origin), origin.value) for origin in Origin],
    )
    return environment


def _when(moment: datetime) -> str:
    """Return a moment as the clock on the wall showed it."""
    local = moment.astimezone()
    return f"{local.day} {local:%b %Y, %H:%M}"
