"""What commands can be asked, once for all of them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = [
    "Against",
    "AsJson",
    "At",
    "BarMeasured",
    "By",
    "Drop",
    "JobFile",
    "Mended",
    "NoOpen",
    "OnlyKind",
    "OutFolder",
    "PaperName",
    "PictureFile",
    "Port",
    "ProposalId",
    "Side",
    "Take",
]

JobFile = Annotated[
    Path,
    typer.Argument(
        metavar="FILE",
        help="Job file (.toml, .json), or a kept job's name.",
        show_default=False,
    ),
]
ProposalId = Annotated[
    str | None,
    typer.Option(
        "--proposal",
        metavar="ID",
        help="Proposal to look at; the vehicle as found when left out.",
        show_default=False,
    ),
]
Against = Annotated[
    str | None,
    typer.Option(
        "--against",
        metavar="ID",
        help="Proposal to compare it with, or as-found.",
        show_default=False,
    ),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="LIST",
        help="Give the curves at exactly these frequencies [Hz], as in 20,50,1.2k.",
        show_default=False,
    ),
]
AsJson = Annotated[
    bool, typer.Option("--json", help="Print the whole report as JSON.", show_default=False)
]
PictureFile = Annotated[
    Path | None,
    typer.Option(
        "--picture",
        metavar="FILE",
        help="Draw the report into this .svg, .png or .pdf.",
        show_default=False,
    ),
]
Port = Annotated[
    int | None,
    typer.Option(
        "--port",
        metavar="N",
        min=1,
        max=65_535,
        help="Port to listen at; 8420 when left out, the next free one where it is taken.",
        show_default=False,
    ),
]
NoOpen = Annotated[bool, typer.Option("--no-open", help="Open no browser.", show_default=False)]
OutFolder = Annotated[
    Path, typer.Option("--out", metavar="DIR", help="Folder for the papers and their manifest.")
]
PaperName = Annotated[
    str, typer.Option("--paper", metavar="NAME", help="What it is printed on: A4 or Letter.")
]
OnlyKind = Annotated[
    str | None,
    typer.Option(
        "--only",
        metavar="KIND",
        help="Only templates, wiring, parts or sheet; all when left out.",
        show_default=False,
    ),
]
BarMeasured = Annotated[
    str | None,
    typer.Option(
        "--bar-measured",
        metavar="MM",
        help="What the 100 mm bars of the proof print measure, one number or across,down: corrects "
        "the templates and gives them their cut lines.",
        show_default=False,
    ),
]
Take = Annotated[
    list[str] | None,
    typer.Option(
        "--take",
        metavar="FAULT@PLACE",
        help="Write a fault down as found: every answer is with it from then on.",
        show_default=False,
    ),
]
Mended = Annotated[
    list[str] | None,
    typer.Option(
        "--mended",
        metavar="FAULT@PLACE",
        help="Write a fault down as mended.",
        show_default=False,
    ),
]
By = Annotated[
    list[str] | None,
    typer.Option(
        "--by",
        metavar="REPAIR@PLACE",
        help="With --plan: the repair that is chosen, used@door-fl; several times for several.",
        show_default=False,
    ),
]
Drop = Annotated[
    list[str] | None,
    typer.Option(
        "--drop",
        metavar="WHAT@PLACE",
        help="Take a fault that was found, or a reading, out again.",
        show_default=False,
    ),
]
Side = Annotated[
    str, typer.Option("--side", metavar="SIDE", help="left or right alone, both, or opposed.")
]
