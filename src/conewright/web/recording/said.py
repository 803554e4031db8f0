"""What recordings hold as a page says it, and their pictures."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import asdict, dataclass
from json import dumps

from starlette.responses import Response

from conewright.errors import BadInputError
from conewright.stages.find.faults.trade import TEST_IDS
from conewright.stages.find.faults.trade import test as test_kind
from conewright.stages.report.data import HeardReading, HeardValue, Report, Severity
from conewright.stages.report.words import odds
from conewright.version import __version__
from conewright.views.numbers import percent, points
from conewright.web.base.errors import Refusal
from conewright.web.base.headers import FOREVER
from conewright.web.frame.answer import (
    Group,
    NumberView,
    TableView,
    VerdictView,
    number_view,
    verdict_views,
)
from conewright.web.frame.page import address
from conewright.web.frame.picture import in_dark, outline, written

__all__ = ["HeardView", "drawing", "heard_view", "picture_at"]

MOST_ROWS = 40


@dataclass(frozen=True, slots=True)
class ReadingView:
    """A reading that recordings make: its test, its place, what it says, the odds of each word."""

    title: str
    at: str
    said: str
    odds: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class HeardView:
    """A report about recordings in the order of every page."""

    answer: str
    usable: bool
    stops: tuple[VerdictView, ...]
    verdicts: tuple[VerdictView, ...]
    figures: tuple[Group, ...]
    bands: tuple[Group, ...]
    readings: tuple[ReadingView, ...]
    values: tuple[HeardValue, ...]
    tables: tuple[TableView, ...]


def heard_view(report: Report) -> HeardView:
    """Return a report of stage listen for its page."""
    stops = [each for each in report.verdicts if each.severity is Severity.STOP]
    others = [each for each in report.verdicts if each.severity is not Severity.STOP]
    single = [each for each in report.figures if each.frequency_hz is None]
    bands = [each for each in report.figures if each.frequency_hz is not None]
    return HeardView(
        answer=report.answer,
        usable=not stops,
        stops=verdict_views(stops),
        verdicts=verdict_views(others),
        figures=_grouped(map(number_view, single)),
        bands=_grouped(map(number_view, bands)),
        readings=tuple(map(_reading, report.heard)),
        values=report.values,
        tables=tuple(_tables(report)),
    )


def _grouped(numbers: Iterable[NumberView]) -> tuple[Group, ...]:
    groups: dict[str, list[NumberView]] = {}
    for each in numbers:
        groups.setdefault(each.id.partition(".")[0], []).append(each)
    return tuple(Group(id, id, tuple(held)) for id, held in groups.items())


def _reading(heard: HeardReading) -> ReadingView:
    value = heard.value
    if isinstance(value, dict):
        value = ", ".join(f"{name} {each}" for name, each in value.items())
    title = test_kind(heard.test).title if heard.test in TEST_IDS else heard.test.replace("-", " ")
    weights = heard.odds or {}
    whole = sum(weights.values())
    ranked = sorted(weights.items(), key=lambda entry: -entry[1]) if whole > 0.0 else []
    shares = tuple((word, percent(each / whole), odds(each / whole)) for word, each in ranked)
    return ReadingView(title, heard.at, value, shares)


def _tables(report: Report) -> Iterable[TableView]:
    for curve in report.series:
        step = max(1, -(-len(curve.x.values) // MOST_ROWS))
        heads = tuple(f"{axis.name} [{axis.unit}]" if axis.unit else axis.name
                      for axis in (curve.x, curve.y))  # fmt: skip
        columns = (points(curve.x)[::step], points(curve.y)[::step])
        caption = curve.id.replace(".", ", ").replace("_", " ")
        yield TableView(caption, heads, tuple(zip(*columns, strict=True)))


# --- Its picture ----------------------------------------------------------------------------------


def picture_at(
    report: Report, key: Hashable, place: str, *, revision: int | None = None
) -> dict[str, object] | None:
    """Return a report's picture in both widths with its addresses; None where there is none.

    Args:
        report: about recordings.
        key: what tells it from all others.
        place: address of the picture, without a query.
        revision: of the job, that what is at the address never changes.

    """
    try:
        wide, narrow = (outline(report, key=key, narrow=each) for each in (False, True))
    except BadInputError:
        return None

    def at(**more: object) -> str:
        return address(place, revision=revision, **more, by=__version__)

    return {
        "title": wide.title,
        "wide": wide,
        "narrow": narrow,
        "wide_light": at(),
        "wide_dark": at(dark=1),
        "narrow_light": at(narrow=1),
        "narrow_dark": at(narrow=1, dark=1),
        "wide_panels": dumps([asdict(panel) for panel in wide.panels]),
        "narrow_panels": dumps([asdict(panel) for panel in narrow.panels]),
    }


def drawing(report: Report, key: Hashable, *, narrow: bool, dark: bool) -> Response:
    """Answer with a report's picture; raises Refusal where there is none."""
    try:
        svg = written(report, key=key, narrow=narrow)
    except BadInputError as error:
        raise Refusal(404, str(error)) from None
    headers = {"Cache-Control": FOREVER}
    kind = "image/svg+xml; charset=utf-8"
    return Response(in_dark(svg) if dark else svg, media_type=kind, headers=headers)
