"""Pages of a paper as pictures, to be looked at before it is printed."""

from __future__ import annotations

import re
from pathlib import Path
from tempfile import TemporaryDirectory

__all__ = ["DOTS_PER_INCH", "pages_of", "previews"]

DOTS_PER_INCH = 80.0
PAPER = "paper.pdf"
_PAGES = re.compile(rb"/Type\s*/Pages\s*/Count\s+(\d+)")


def pages_of(pdf: bytes) -> int:
    """Return how many pages a PDF of ours has, as its own list of pages says."""
    found = _PAGES.search(pdf)
    return int(found[1]) if found else 0


def previews(pdf: bytes, *, dots_per_inch: float = DOTS_PER_INCH) -> tuple[bytes, ...]:
    """Return the pages of a PDF of ours as PNG pictures."""
    import typst

    count = pages_of(pdf)
    pages = "".join(f'#page(image("{PAPER}", page: {page}))' for page in range(1, count + 1))
    with TemporaryDirectory() as folder:
        Path(folder, PAPER).write_bytes(pdf)
        sheet = Path(folder, "pages.typ")
        sheet.write_text(f"#set page(width: auto, height: auto, margin: 0mm)\n{pages}")
        made: bytes | list[bytes] = typst.compile(
            str(sheet),
            root=folder,
            format="png",
            ppi=dots_per_inch,
            ignore_system_fonts=True,
        )
    return tuple(made) if isinstance(made, list) else (made,)
