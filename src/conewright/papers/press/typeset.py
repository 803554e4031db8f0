"""Set a sheet: a typst template and plain data in, PDF bytes out.

The same input gives the same bytes: no date is written, system fonts are not looked at, and the
letters are those that come with matplotlib, so that paper and picture agree.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, get_args

from conewright.errors import BadInputError

__all__ = ["PAPERS", "PAPER_SIZE_MM", "Paper", "checked_paper", "typeset"]

Paper = Literal["A4", "Letter"]
PAPERS: tuple[Paper, ...] = get_args(Paper)
PAPER_SIZE_MM: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of the papers [mm]. Source: ISO 216 (A4); ANSI/ASME Y14.1 (Letter)."""
_SHEETS = Path(__file__).parent / "sheets"
_TYPST_NAMES: dict[Paper, str] = {"A4": "a4", "Letter": "us-letter"}


def checked_paper(name: str) -> Paper:
    """Return a paper by its name, in any case; refuse one that is no paper of ours."""
    for paper in PAPERS:
        if name.strip().casefold() == paper.casefold():
            return paper
    raise BadInputError(f'paper: found "{name}"; allowed: {", ".join(PAPERS)}')


def typeset(
    template: str,
    data: Mapping[str, Any],
    *,
    files: Mapping[str, bytes | str] | None = None,
    paper: Paper = "A4",
) -> bytes:
    """Set one sheet and return its PDF; the same input gives the same bytes.

    Args:
        template: name of a file among the sheets, such as "wiring.typ"; it reads "data.json".
        data: what the template shows, as plain JSON; "paper" is added to it.
        files: pictures beside the template, by the name under which it reads them.
        paper: what it is printed on.

    Raises:
        BadInputError: typst refuses the template, the data or a picture.

    """
    import typst

    texts = {"data.json": json.dumps({**data, "paper": _TYPST_NAMES[paper]}, ensure_ascii=False)}
    rooms: dict[str, str | bytes] = {**_sheets(), **texts, **(files or {})}
    if template not in rooms:
        raise BadInputError(f"{template}: there is no such sheet")
    with TemporaryDirectory() as folder:
        for name, content in rooms.items():
            Path(folder, name).write_bytes(_bytes(content))
        try:
            return typst.compile(
                str(Path(folder, template)),
                root=folder,
                format="pdf",
                font_paths=[_letters()],
                ignore_system_fonts=True,
            )
        except typst.TypstError as error:
            raise BadInputError(f"{template}: the sheet cannot be set: {error}") from error


def _bytes(text: str | bytes) -> bytes:
    return text.encode() if isinstance(text, str) else text


@cache
def _sheets() -> dict[str, str]:
    """Return every template of ours by name."""
    return {
        sheet.name: sheet.read_text(encoding="utf-8") for sheet in sorted(_SHEETS.glob("*.typ"))
    }


@cache
def _letters() -> str:
    """Return the folder of the fonts that come with matplotlib, without importing it."""
    spec = find_spec("matplotlib")
    assert spec is not None
    assert spec.origin is not None
    return str(Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf")
