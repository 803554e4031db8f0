"""The templates on paper: true to size, in tiles, with bars to check the printer by.

What is cut is drawn to be cut along only for a printer whose bars somebody measured; before, the
same drawing is a proof print, dashed and crossed with words.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from conewright.job.builds.states.build import Build
from conewright.papers.drawing.bars import BAR_MM, MOST_OFF_MM, Bars
from conewright.papers.drawing.geometry import Drawing
from conewright.papers.drawing.tiles import OVERLAP, Tiling, map_of, room_on, scale_of, tiling_of
from conewright.papers.drawing.write_svg import svg
from conewright.papers.press.head import head
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.templates.drawings import Templates
from conewright.stages.report.care import cautions_for

__all__ = ["template_sheets"]

TITLE = "Templates"
CAUTIONS = (
    *("restraints-plan", "impact-sensor-plan", "pressure-sensor", "curtain", "curtain-door"),
    *("cutting", "edges", "defer"),
)
"""Cautions that stand on the first page of the templates, by their ids."""


def template_sheets(
    build: Build,
    templates: Templates,
    *,
    paper: Paper = "A4",
    bars: Bars | None = None,
    revision: str | None = None,
) -> bytes:
    """Return the templates that are printed at the bench as a PDF, and what is refused.

    Args:
        build: what they are for.
        templates: its drawings.
        paper: what it is printed on.
        bars: what the bars of an earlier print measured; the templates are set so much larger
            that they print true. None for a proof print, from which nothing is cut.
        revision: as the keeper of the job calls it.

    """
    printed = [each for each in templates.drawings if each.sends == "print"]
    tilings = [tiling_of(each, room=room_on(paper, bars=bars)) for each in printed]
    proved = bars is not None
    files = {
        name: text for tiling in tilings for name, text in _pictures(tiling, proved=proved).items()
    }
    across, down = scale_of(bars)
    data = {
        "head": head(build, TITLE, revision=revision),
        "plan": build.title,
        "cautions": [each.text for each in cautions_for("make", build) if each.id in CAUTIONS],
        "drawings": [_page(tiling, scale=(across, down)) for tiling in tilings],
        "sheets": [
            {"title": each.title, "purpose": each.purpose, "notes": list(each.notes)}
            for each in templates.drawings
            if each.sends == "send out"
        ],
        "refusals": [
            {"sentence": each.sentence, "nearest": each.nearest} for each in templates.refusals
        ],
        "notes": list(templates.notes),
        "bar": {"mm": BAR_MM, "across": BAR_MM * across, "down": BAR_MM * down},
        "measured": None if bars is None else {"across": bars[0], "down": bars[1]},
        "allowed": {"low": BAR_MM - MOST_OFF_MM, "high": BAR_MM + MOST_OFF_MM},
        "overlap": OVERLAP,
    }
    return typeset("templates.typ", data, files=files, paper=paper)


# --- Underneath ---------------------------------------------------------------------------------


def _pictures(tiling: Tiling, *, proved: bool) -> dict[str, str]:
    """Return the pictures of a drawing by their file names: each tile, and the map of them."""
    drawing = tiling.drawing
    pictures = {
        _tile_file(drawing, tile.name): svg(
            replace(drawing, entities=tiling.entities(tile)), window=tile.window, proved=proved
        )
        for tile in tiling.tiles
    }
    if len(tiling.tiles) > 1:
        pictures[_map_file(drawing)] = svg(map_of(tiling))
    return pictures


def _tile_file(drawing: Drawing, tile: str) -> str:
    return f"{drawing.name}-{tile}.svg"


def _map_file(drawing: Drawing) -> str:
    return f"{drawing.name}-map.svg"


def _page(tiling: Tiling, *, scale: tuple[float, float]) -> dict[str, Any]:
    drawing, (across, down) = tiling.drawing, scale
    several = len(tiling.tiles) > 1
    return {
        "title": drawing.title,
        "purpose": drawing.purpose,
        "material": drawing.material,
        "pieces": drawing.pieces,
        "notes": list(drawing.notes),
        "map": _map_file(drawing) if several else None,
        "columns": tiling.columns,
        "tiles": [
            {
                "name": tile.name if several else None,
                "file": _tile_file(drawing, tile.name),
                "width": (tile.window[2] - tile.window[0]) * across,
                "height": (tile.window[3] - tile.window[1]) * down,
            }
            for tile in tiling.tiles
        ],
    }
