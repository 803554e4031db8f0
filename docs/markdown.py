"""Small pieces of Markdown that say what they are given, whatever characters it holds."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import takewhile
from textwrap import dedent

__all__ = ["docstring", "paragraph", "slug", "table"]

CODE = re.compile(r"(`[^`]*`)")
MARKED = re.compile(r"([\\*_<>\[\]|#])")
BAR = re.compile(r"(?<!\\)\|")
SECTION = re.compile(r"(?P<title>Args|Attributes|Returns|Raises|Source|Equation):\s*")
TITLES = {"Args": "Arguments"}
ENTRY = re.compile(r"(?P<name>[\w*]+): (?P<text>.*)")


def paragraph(text: str) -> str:
    """Return a text in one line, as it is to be read; what stands in backticks is code."""
    pieces = CODE.split(" ".join(text.split()))
    return "".join(p if CODE.fullmatch(p) else MARKED.sub(r"\\\1", p) for p in pieces)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Yield the lines of a table whose cells are Markdown already."""
    yield f"| {' | '.join(heads)} |"
    yield f"|{'---|' * len(heads)}"
    for row in rows:
        # A bar ends a cell, also where it stands in code.
        cells = (BAR.sub(r"\\|", cell) for cell in row)
        yield f"| {' | '.join(cells)} |"


def slug(heading: str) -> str:
    """Return the anchor of a heading, as sites for code and the built site make it."""
    return re.sub(r"[^\w\- ]", "", heading.casefold()).replace(" ", "-")


def docstring(text: str) -> Iterator[str]:
    """Yield a docstring in the project's style as lines: prose, sections as lists, examples."""
    for block in re.split(r"\n{2,}", text.strip()):
        first, *rest = block.split("\n")
        found = SECTION.fullmatch(first)
        if block.startswith(">>>"):
            yield from ("```pycon", block, "```")
        elif found and rest:
            yield f"**{TITLES.get(found['title'], found['title'])}**"
            yield ""
            yield from _entries(dedent("\n".join(rest)).split("\n"))
        else:
            yield paragraph(block)
        yield ""


def _entries(lines: Sequence[str]) -> Iterator[str]:
    """Yield the entries of a section; a line that stands further in goes on from the one before."""
    for index, line in enumerate(lines):
        if line.startswith(" ") and index:
            continue
        whole = " ".join([line, *takewhile(lambda each: each.startswith(" "), lines[index + 1 :])])
        named = ENTRY.fullmatch(" ".join(whole.split()))
        yield f"- `{named['name']}`: {paragraph(named['text'])}" if named else paragraph(whole)
