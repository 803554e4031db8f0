"""Sections as HTML for a notebook: the words and numbers of the text, set as a page sets them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from html import escape
from importlib.resources import files

from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.shown import view_of
from conewright.stages.report.data import Report
from conewright.views.contents import build_sections, job_sections
from conewright.views.layout import Cell, Folded, Paragraph, Section, Table
from conewright.views.text import report_head, report_sections

__all__ = ["as_html", "build_as_html", "job_as_html", "report_as_html"]

CODE = re.compile(r"`([^`]*)`")


@view_of(Report, "html")
def report_as_html(report: Report) -> str:
    """Write a report as a piece of HTML; its picture is `report.plot()`."""
    head = Section("", tuple(report_head(report)))
    return as_html((head, *report_sections(report)))


@view_of(Job, "html")
def job_as_html(job: Job) -> str:
    """Write what is in a job as a piece of HTML."""
    return as_html(job_sections(job))


@view_of(Build, "html")
def build_as_html(build: Build) -> str:
    """Write what was filled in to build a vehicle as a piece of HTML."""
    return as_html(build_sections(build))


def as_html(sections: Iterable[Section]) -> str:
    """Return sections as a piece of HTML that stands by itself; the first one is their head."""
    pieces = ["".join(_section(section)) for section in sections]
    body = "".join(f"<section>{piece}</section>" for piece in pieces if piece)
    return f'<div class="conewright"><style>{_style()}</style>{body}</div>'


def _section(section: Section) -> Iterator[str]:
    pieces = [piece for block in section.blocks if (piece := _block(block))]
    if pieces and section.title:
        yield f"<h4>{escape(section.title)}</h4>"
    yield from pieces


def _block(block: Paragraph | Table) -> str:
    if isinstance(block, Table):
        return "".join(_table(block)) if block.rows else ""
    # What a first line begins with is a mark, a number or a name.
    mark = f"<b>{escape(' '.join(block.first.split()))}</b> " if block.first.strip() else ""
    return f"<p>{mark}{_words(block.text)}</p>"


def _words(text: str) -> str:
    """Return a text with what stands in backticks as code."""
    return CODE.sub(r"<code>\1</code>", escape(text))


def _table(table: Table) -> Iterator[str]:
    yield "<table><thead><tr>"
    yield from (f'<th scope="col">{_lines(cell)}</th>' for cell in table.head)
    yield "</tr></thead><tbody>"
    for first, *others in table.rows:
        cells = (f"<td>{_number(cell)}</td>" for cell in others)
        yield f'<tr><th scope="row">{_lines(first)}</th>{"".join(cells)}</tr>'
    yield "</tbody></table>"
    if table.note:
        yield f"<p>{_words(table.note)}</p>"


def _lines(cell: Cell) -> str:
    return escape(cell.text) if isinstance(cell, Folded) else "<br>".join(map(escape, cell))


def _number(cell: Cell) -> str:
    """Return a number with what stands below it, its band or where it is, in smaller letters."""
    if isinstance(cell, Folded) or len(cell) < 2:
        return _lines(cell)
    return f"{escape(cell[0])}<br><small>{_lines(cell[1:])}</small>"


@cache
def _style() -> str:
    style = files("conewright.views").joinpath("notebook.css").read_text(encoding="utf-8")
    return " ".join(style.split())
