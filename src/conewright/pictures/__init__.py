"""Pictures of reports, one builder for notebook, page and paper.

`draw` gives a matplotlib figure, `save` writes it, `as_svg` gives it as text. The data behind every
picture are the series and figures of its report.
"""

from __future__ import annotations

from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from conewright.errors import BadInputError
from conewright.shown import view_of
from conewright.stages.choose.finals.plan_answers import Choice
from conewright.stages.report.data import Report
from conewright.whole_file import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["as_svg", "draw", "save"]

WIDE, NARROW = 7.1, 3.75
"""Inches: the print area of A4 and Letter within 15 mm margins, and a phone of 360 px."""
TWO_COLUMNS_FROM = 5.5
NARROWEST = 3.0
# Without at least one of these there is nothing to draw.
STAGES = {
    "feed": ("curve", "impedance"),
    "hear": ("curve", "level"),
    "fit": ("figure", "rear_odds"),
    "compare": ("figure", "minimum_load"),
    "find": ("figure", "chance"),
    "listen": ("curve", "level"),
    "choose": ("plan", "value"),
}
# No date in any file: the same report gives the same bytes.
NO_DATE: dict[str, dict[str, Any]] = {
    ".svg": {"Date": None, "Creator": "Conewright"},
    ".pdf": {"CreationDate": None, "Creator": "Conewright", "Producer": None},
    ".png": {"Software": "Conewright"},
}


@view_of(Report, "drawing")
def draw(report: Report, *, narrow: bool = False, width_inches: float | None = None) -> Figure:
    """Draw a report.

    Args:
        report: of stage feed, hear, fit, compare, find, listen or choose.
        narrow: draw for a phone: 3.75 in wide, panels in one column, text of 9 pt.
        width_inches: width [in], 3 or more, instead of 3.75 or 7.1; below 5.5 panels are in one
            column.

    Returns:
        A matplotlib figure, on an Agg canvas and in no window; a notebook shows it by itself.

    Raises:
        BadInputError: the stage has no picture, there is nothing in the report to draw, or the
            width is too small.

    """
    from conewright.pictures.axes import drawing_settings

    width = (NARROW if narrow else WIDE) if width_inches is None else width_inches
    if not NARROWEST <= width < float("inf"):
        raise BadInputError(f"picture width {width} in; allowed is {NARROWEST} in or more")
    _refuse_empty(report)
    columns = 1 if narrow or width < TWO_COLUMNS_FROM else 2
    with drawing_settings(width=width):
        return _draw_stage(report, width=width, columns=columns)


def save(
    report: Report,
    path: str | Path,
    *,
    narrow: bool = False,
    width_inches: float | None = None,
    dpi: float = 150.0,
) -> Path:
    """Draw a report and write it to a file; the same report gives the same bytes.

    Args:
        report: as for `draw`.
        path: file to write; its suffix, .svg, .png or .pdf, says the kind.
        narrow: as for `draw`.
        width_inches: as for `draw`.
        dpi: dots per inch of a .png.

    Returns:
        The path written.

    Raises:
        BadInputError: another suffix, a file that cannot be written, or as for `draw`.

    """
    file = Path(path)
    suffix = file.suffix.lower()
    if suffix not in NO_DATE:
        found = f"suffix {file.suffix!r}" if file.suffix else "no suffix"
        raise BadInputError(f"{file}: found {found}; allowed are {', '.join(NO_DATE)}")
    drawing = draw(report, narrow=narrow, width_inches=width_inches)
    sheet = BytesIO()
    _write(drawing, sheet, kind=suffix, dpi=dpi)
    write_whole({file: sheet.getvalue()})
    return file


def as_svg(report: Report, *, width_inches: float | None = None) -> str:
    """Return the drawing of a report as SVG, for a paper that holds it; as `draw` and `save`."""
    sheet = StringIO()
    _write(draw(report, width_inches=width_inches), sheet, kind=".svg")
    return sheet.getvalue()


def _write(drawing: Figure, to: BytesIO | StringIO, *, kind: str, dpi: float = 150.0) -> None:
    """Write a drawing with its title and without a date."""
    from conewright.pictures.axes import drawing_settings

    title = next(text.get_text() for text in drawing.texts if text.get_gid() == "title")
    metadata = NO_DATE[kind] | {"Title": " ".join(title.split())}
    with drawing_settings(width=drawing.get_figwidth()):
        drawing.savefig(to, format=kind[1:], dpi=dpi, metadata=metadata)


def _refuse_empty(report: Report) -> None:
    from conewright.pictures.curves import curve, figure_of, subjects

    if report.stage not in STAGES:
        raise BadInputError(
            f"stage {report.stage!r} has no picture; allowed are {', '.join(STAGES)}"
        )
    if report.stage == "listen":
        if any(any(y is not None for y in each.y.values) for each in report.series):
            return
        raise BadInputError(f"nothing to draw in these recordings: {report.answer}")
    drawn_as, name = STAGES[report.stage]
    found: list[object] = [
        curve(report, f"{subject}.{name}")
        if drawn_as == "curve"
        else figure_of(report, subject, name)
        for subject in subjects(report, name)
    ]
    if isinstance(report, Choice):
        found = [plan for plan in report.plans if plan.value is not None]
    if not any(found):
        raise BadInputError(
            f"nothing to draw in the {report.stage} report of {report.build!r}: {report.answer}"
        )


def _draw_stage(report: Report, *, width: float, columns: int) -> Figure:
    from conewright.pictures.choose import draw_choose
    from conewright.pictures.compare import draw_compare
    from conewright.pictures.feed import draw_feed
    from conewright.pictures.find import draw_find
    from conewright.pictures.fit import draw_fit
    from conewright.pictures.hear import draw_hear
    from conewright.pictures.listen import draw_listen

    builders = {
        "feed": draw_feed,
        "hear": draw_hear,
        "fit": draw_fit,
        "compare": draw_compare,
        "find": draw_find,
        "listen": draw_listen,
        "choose": draw_choose,
    }
    return builders[report.stage](report, width=width, columns=columns)
