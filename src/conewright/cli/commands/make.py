"""What `conewright make` says of the papers it has written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from conewright.views.layout import paragraph

if TYPE_CHECKING:
    from conewright.papers.press.manifest import Manifest, Use

__all__ = ["made_in_words"]

WIDTH = 80
HEADINGS: dict[Use, str] = {
    "print": "To print, at 100 % and not fitted to the page",
    "send out": "To send out, to a shop that cuts",
    "keep": "To keep beside them",
}


def made_in_words(manifest: Manifest, out: Path) -> str:
    """Return what to print and what to send out, what could not be made, and where it all is."""
    sections = [
        *(list(_files(manifest, use)) for use in HEADINGS),
        _listed("Not made", manifest.refusals, mark="\N{BLACK SQUARE}"),
        _listed("To know", manifest.notes, mark="\N{WHITE CIRCLE}"),
        [f"Folder: {out}"],
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def _files(manifest: Manifest, use: Use) -> Iterator[str]:
    entries = manifest.used(use)
    if entries:
        yield HEADINGS[use]
    for entry in entries:
        size = ""
        if entry.size_mm is not None:
            size = f", {entry.size_mm[0]:g} x {entry.size_mm[1]:g} mm"
        yield from paragraph(f"{entry.name}{size}", width=WIDTH, first="  ", rest="    ")
        yield from paragraph(entry.purpose, width=WIDTH, first="    ", rest="    ")


def _listed(title: str, texts: tuple[str, ...], *, mark: str) -> list[str]:
    lines = [
        line for text in texts for line in paragraph(text, width=WIDTH, first=f"{mark} ", rest="  ")
    ]
    return [title, *lines] if lines else []
