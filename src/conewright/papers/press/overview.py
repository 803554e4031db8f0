"""What there is to do with the papers that were made, for command, notebook and print."""

from __future__ import annotations

from collections.abc import Iterator

from conewright.papers.press.manifest import Entry, Manifest, Use
from conewright.shown import view_of
from conewright.views.html import as_html
from conewright.views.layout import Paragraph, Section, as_lines

__all__ = ["manifest_as_html", "manifest_as_text"]

WIDTH = 80
HEADINGS: dict[Use, str] = {
    "print": "To print, at 100 % and not fitted to the page",
    "send out": "To send out, to a shop that cuts",
    "keep": "To keep beside them",
}


@view_of(Manifest, "text")
def manifest_as_text(manifest: Manifest) -> str:
    """Write what was made for reading: each file with what it is for below it."""
    files = (
        Section(title, tuple(line for each in entries for line in _apart(*each)))
        for title, entries in _files(manifest)
    )
    return as_lines((*files, *_remarks(manifest)), width=WIDTH)


@view_of(Manifest, "html")
def manifest_as_html(manifest: Manifest) -> str:
    """Write what was made as a piece of HTML: each file with what it is for beside it."""
    head = Section("", (Paragraph(f"Papers of {manifest.plan}, {manifest.paper}"),))
    files = (
        Section(title, tuple(Paragraph(purpose, first=name) for name, purpose in entries))
        for title, entries in _files(manifest)
    )
    return as_html((head, *files, *_remarks(manifest)))


def _files(manifest: Manifest) -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """Yield what to do with files, and the files by name and size with what each is for."""
    for use, title in HEADINGS.items():
        yield title, [(_name(entry), entry.purpose) for entry in manifest.used(use)]


def _name(entry: Entry) -> str:
    if entry.size_mm is None:
        return entry.name
    return f"{entry.name}, {entry.size_mm[0]:g} x {entry.size_mm[1]:g} mm"


def _apart(name: str, purpose: str) -> Iterator[Paragraph]:
    yield Paragraph(name, first="  ", rest="    ")
    yield Paragraph(purpose, first="    ", rest="    ")


def _remarks(manifest: Manifest) -> Iterator[Section]:
    """Yield what could not be made, and what there is to know."""
    yield _listed("Not made", manifest.refusals, mark="\N{BLACK SQUARE}")
    yield _listed("To know", manifest.notes, mark="\N{WHITE CIRCLE}")


def _listed(title: str, texts: tuple[str, ...], *, mark: str) -> Section:
    return Section(title, tuple(Paragraph(text, first=f"{mark} ", rest="  ") for text in texts))
