"""The tables of each stage: which figures carry its answer, and in which order."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from conewright.physics.basics.bands import NOMINAL_BANDS, band_centres
from conewright.stages.report.data import Figure, Kind, Report, Series
from conewright.stages.report.shares import CAUSES, OF_WHICH
from conewright.stages.report.words import number
from conewright.views.cells import MARKS, NOTHING, Column, number_cell
from conewright.views.choice import choice_tables
from conewright.views.layout import Cell, Section, Table, fold
from conewright.views.numbers import TENTHS, WHOLE, points, say, summing
from conewright.views.search import find_tables

__all__ = ["stage_tables"]

ID_WIDTH = 18
LABELS = 0.58
"""Part of the width that the labels of a list of figures take."""
FEW_POINTS = 16
"""Curves of at most this many points are shown as numbers."""

CHANNELS = (
    Column("minimum_impedance", "lowest\nload\n[ohm]", note="frequency"),
    Column("plug_resistance", "meter\nat plug\n[ohm]"),
    Column("equivalent_resistance", "with\nmusic\n[ohm]"),
    Column("clean_power", "clean\npower\n[W]"),
    Column("cable_loss", "lost in\ncable\n[dB]"),
    Column("minimum_impedance_change", "change of\nlowest\n[ohm]"),
    Column("clean_power_change", "change of\npower\n[dB]"),
)
PLACES_FED = (
    Column("power_share", "share of its\nchannel's music [%]"),
    Column("clean_power", "clean power\nit gets [W]"),
)
CABLES_FED = (
    Column("fuse", "fuse\n[A]", note="text"),
    Column("fuse_distance", "fuse\nat\n[mm]"),
    Column("drop", "drop at\nits fuse\n[V]"),
    Column("conductor_temperature", "warm at\nit, free\n[°C]"),
    Column("conductor_temperature_bundled", "warm at it,\nbundled\n[°C]"),
    Column("short_circuit_current", "dead\nshort\n[A]"),
)
SEATS = (
    Column("level", "at 2.83 V\n[dB(A)]"),
    Column("bass_level", "bass\n[dB]"),
    Column("bass_corner", "bass from\n[Hz]", note="text"),
    Column("max_clean_level", "clean up\nto [dB(A)]", note="text"),
    Column("hearing_time", "noise dose\nin [min]"),
)
SEAT_CHANGES = (
    Column("level_change", "programme\n[dB]"),
    Column("bass_change", "bass, 40 to\n100 Hz [dB]"),
    Column("treble_change", "treble, 3 to\n16 kHz [dB]"),
    Column("max_clean_level_change", "clean ceiling\n[dB]"),
)
THIRDS = ("25", "31_5", "40", "50", "63", "80", "100", "125", "160", "200")
BANDS = {
    "deep_bass": "deep bass\n20–50 Hz",
    "bass": "bass\n50–100 Hz",
    "upper_bass": "upper bass\n125–250 Hz",
    "voice": "voice\n0.3–2.5 kHz",
    "treble": "treble\n3–16 kHz",
}
PLACES_DRIVEN = (
    Column("excursion_ratio", "cone travel at\nceiling / Xmax"),
    Column("excursion_ratio", "at [Hz]", "frequency"),
    Column("high_pass", "high-pass needed", "words"),
    Column("crossover", "takes over\nat [Hz]"),
    Column("crossover_sum", "adds up to\n[dB]"),
)
PLACES_FITTED = (
    Column("rear_clearance", "behind\n[mm]"),
    Column("rear_odds", "odds of\nless than\n5 mm"),
    Column("front_clearance", "in front\n[mm]"),
    Column("front_odds", "odds of\nless than\n3 mm"),
    Column("enlarge", "cut\nout by\n[mm]", "origin"),
    Column("land_left", "land\nleft\n[mm]", "origin"),
    Column("screws_match", "screws\nmatch"),
)
COMPARED = (
    Column("minimum_load", "lowest load\n[ohm]"),
    Column("chip_temperature", "chip, loud\nmusic [°C]"),
    Column("chip_temperature_hard", "chip, pressed\nhard [°C]"),
    Column("conductor_temperature", "supply cable\nat its fuse\n[°C]"),
    Column("fit_odds", "odds that it\nis too tight"),
    Column("hold_odds", "odds that\nwhat it mends\nholds 2 years"),
    Column("cost", "cost", note="text"),
    Column("hours", "hours of work"),
)
WHERE_PLANS_DIFFER = {"conductor_temperature", "hold_odds"}
"""Rows of the comparison that are left out where every plan is alike in them."""

ROW_WIDTH, BUILD_WIDTH = 15, 11


def stage_tables(report: Report) -> Iterator[Section]:
    """Yield the tables of a report, each by itself."""
    figures = {figure.id: figure for figure in report.figures}
    tables = TABLES.get(report.stage, _no_tables)
    for table in (*tables(report, figures), *_few_points(report)):
        yield Section("", (table,))


def _feed(report: Report, figures: Mapping[str, Figure]) -> Iterator[Table]:
    channels = _subjects(report, "minimum_impedance")
    yield _subject_table("channel", channels, CHANNELS, figures)
    yield _subject_table("place", _subjects(report, "power_share"), PLACES_FED, figures)
    yield _listed("radio", "head_unit", report)
    if "converter.output" in figures:
        yield _listed("converter", "converter", report)
    for name in _subjects(report, "supply_volts_sine"):
        yield _listed(name, name, report)
    yield _subject_table("supply cable", _subjects(report, "fuse_distance"), CABLES_FED, figures)
    yield _listed("battery", "vehicle", report)


def _hear(report: Report, figures: Mapping[str, Figure]) -> Iterator[Table]:
    seats = _subjects(report, "level")
    yield _subject_table("seat", seats, SEATS, figures)
    yield _thirds("2.83 V sine [dB]", seats, "level", figures)
    if report.against is not None:
        yield _subject_table("change", seats, SEAT_CHANGES, figures)
        yield _thirds("change [dB]", seats, "level_change", figures)
        yield from (_causes(seat, figures) for seat in seats)
    driven = _subjects(report, "excursion_ratio")
    yield _subject_table("place", driven, PLACES_DRIVEN, figures)


def _fit(report: Report, figures: Mapping[str, Figure]) -> Iterator[Table]:
    places = _subjects(report, "rear_odds")
    yield _subject_table("place", places, PLACES_FITTED, figures)
    spacers = [(fold(place, width=ID_WIDTH), (_spacer(place, figures),)) for place in places]
    yield Table([("place",), ("spacers that leave room on both sides",)], spacers)


def _spacer(place: str, figures: Mapping[str, Figure]) -> str:
    """Return the window of spacers in words."""
    low, high = figures[f"{place}.spacer_low"], figures[f"{place}.spacer_high"]
    if low.value is None and high.value is None:
        return (low.text or "no answer").split(":")[0]
    if low.value is None or high.value is None:
        known = f"to {_tenths(high.value)} mm" if high.value is not None else ""
        return known or f"from {_tenths(low.value or 0.0)} mm"
    return f"{_tenths(low.value)} to {_tenths(high.value)} mm"


def _tenths(millimetres: float) -> str:
    return number(millimetres, spread=TENTHS)


def _compare(report: Report, figures: Mapping[str, Figure]) -> Iterator[Table]:
    builds = _subjects(report, "minimum_load")
    rows: list[list[Cell]] = [
        [_row_title(column, builds, figures), *_across(column, builds, figures)]
        for column in (*_seat_rows(report), *COMPARED)
        if column.name not in WHERE_PLANS_DIFFER or _differ(column, builds, figures)
    ]
    rows.append([("worst verdict",), *(_worst(report, build) for build in builds)])
    head: list[Cell] = [(), *(fold(build, width=BUILD_WIDTH) for build in builds)]
    yield Table(head, rows if builds else (), gap=1)


def _differ(column: Column, builds: Sequence[str], figures: Mapping[str, Figure]) -> bool:
    found = (figures.get(f"{build}.{column.name}") for build in builds)
    return len({None if figure is None else figure.value for figure in found}) > 1


def _across(column: Column, builds: Sequence[str], figures: Mapping[str, Figure]) -> Iterator[Cell]:
    return (column.cell(figures.get(f"{build}.{column.name}")) for build in builds)


def _row_title(column: Column, builds: Sequence[str], figures: Mapping[str, Figure]) -> Cell:
    """Return a row's title; money is in the job's own currency."""
    found = [figures[id] for build in builds if (id := f"{build}.{column.name}") in figures]
    unit = next((figure.unit for figure in found if figure.kind is Kind.MONEY), "")
    return (f"{column.head} [{unit}]",) if unit else column.heading


def _listen(report: Report, _: Mapping[str, Figure]) -> Iterator[Table]:
    """Yield single figures by what they are of, then curves in third octaves side by side."""
    single = [each for each in report.figures if each.frequency_hz is None and not _step(each)]
    for subject in dict.fromkeys(each.subject for each in single):
        yield _listed(subject, subject, report, only={each.id for each in single})
    whole = len(band_centres())
    drawn = [each for each in report.series if each.x.unit == "Hz"]
    curves = [each for each in drawn if len(each.x.values) == whole]
    if curves:
        names = [_short_name(each) for each in curves]
        head: list[Cell] = [("third", "octave", "[Hz]"), *(fold(name, width=12) for name in names)]
        columns = [points(curve.y) for curve in curves]
        yield Table(
            head,
            [
                [(band,), *((text,) for text in row)]
                for band, *row in zip(NOMINAL_BANDS, *columns, strict=True)
                if any(text.strip() not in ("", *NOTHING) for text in row)
            ],
        )


def _short_name(curve: Series) -> str:
    """Return a curve's name without what it is of: `left level [dB]`."""
    return f"{curve.id.partition('.')[2].replace('_', ' ')} [{curve.y.unit}]"


def _step(figure: Figure) -> bool:
    return "_step_" in figure.name


def _no_tables(_: Report, __: Mapping[str, Figure]) -> Iterator[Table]:
    return iter(())


Tables = Callable[[Report, Mapping[str, Figure]], Iterator[Table]]
TABLES: dict[str, Tables] = {
    "find": find_tables,
    "feed": _feed,
    "hear": _hear,
    "fit": _fit,
    "compare": _compare,
    "listen": _listen,
    "choose": choice_tables,
}


def _subjects(report: Report, name: str) -> list[str]:
    """Return the subjects that have a figure of this name, in the order of the report."""
    return [figure.subject for figure in report.figures if figure.name == name]


def _subject_table(
    title: str,
    subjects: Sequence[str],
    columns: Sequence[Column],
    figures: Mapping[str, Figure],
) -> Table:
    """Return a table with a row for each subject; columns nobody has a figure for are left out."""
    there = [
        column
        for column in columns
        if any(f"{subject}.{column.name}" in figures for subject in subjects)
    ]
    rows = [
        [
            fold(subject, width=ID_WIDTH),
            *(column.cell(figures.get(f"{subject}.{column.name}")) for column in there),
        ]
        for subject in subjects
    ]
    head = [(title,), *(column.heading for column in there)]
    return Table(head, rows if there else ())


def _listed(
    title: str, subject: str, report: Report, *, only: Collection[str] | None = None
) -> Table:
    """Return one subject's figures under each other: what it is, number and band."""
    rows: list[list[Cell]] = []
    for figure in report.figures:
        if figure.subject != subject or figure.value is None:
            continue
        if only is not None and figure.id not in only:
            continue
        value, *edges = number_cell(figure)
        rows.append([(figure.label,), (value,), (say(figure).unit,), tuple(edges)])
    return Table([(title,), (), (), ("10 to 90 %",)], rows, first=LABELS)


def _thirds(title: str, seats: Sequence[str], name: str, figures: Mapping[str, Figure]) -> Table:
    """Return the bass of every seat in third octaves, central values only."""
    rows = [
        [
            fold(seat, width=ID_WIDTH),
            *(_third(figures.get(f"{seat}.{name}_{third}hz")) for third in THIRDS),
        ]
        for seat in seats
    ]
    head: list[Cell] = [(title,), *((third.replace("_", "."),) for third in THIRDS)]
    return Table(head, rows)


def _third(figure: Figure | None) -> Cell:
    if figure is None or figure.value is None:
        return NOTHING
    return (say(figure, spread=WHOLE).number,)


def _causes(seat: str, figures: Mapping[str, Figure]) -> Table:
    """Return where the change at a seat comes from, adding up as printed."""
    columns: list[list[str]] = []
    causes = [cause for cause in CAUSES if f"{seat}.change_bass_from_{cause}" in figures]
    for band in BANDS:
        parts = [figures[f"{seat}.change_{band}_from_{cause}"].value or 0.0 for cause in causes]
        texts, total = summing(parts, figures[f"{seat}.change_{band}"].value or 0.0)
        columns.append([*texts, total])
    told = (figures[f"{seat}.change_bass_from_{cause}"].label for cause in causes)
    titles = [*(label.removeprefix(OF_WHICH) for label in told), "all together"]
    rows = [
        [fold(title, width=ID_WIDTH), *((column[row],) for column in columns)]
        for row, title in enumerate(titles)
    ]
    head = [fold(f"at {seat} from [dB]", width=ID_WIDTH)]
    return Table([*head, *(tuple(words.split("\n")) for words in BANDS.values())], rows)


def _seat_rows(report: Report) -> Iterator[Column]:
    """Yield the rows of the comparison that there are for every seat."""
    names = list(dict.fromkeys(figure.name for figure in report.figures))
    stems = (
        *(("bass_change_", "bass"), ("treble_change_", "treble")),
        ("overall_change_", "programme"),
    )
    for stem, words in stems:
        for name in names:
            if name.startswith(stem):
                title = fold(f"{words}, {name.removeprefix(stem)} [dB]", width=ROW_WIDTH)
                yield Column(name, "\n".join(title))


def _worst(report: Report, build: str) -> Cell:
    ranked = [verdict.severity for verdict in report.verdicts if verdict.subject == build]
    if not ranked:
        return NOTHING
    worst = max(ranked, key=lambda severity: severity.rank)
    return (f"{MARKS[worst]} {worst.value}",)


def _few_points(report: Report) -> Iterator[Table]:
    """Yield the curves as numbers where they are asked for at few frequencies."""
    drawn = [curve for curve in report.series if curve.x.unit == "Hz"]
    curves = [curve for curve in drawn if 0 < len(curve.x.values) <= FEW_POINTS]
    if curves:
        head: list[Cell] = [("curve",), *((number(x, "Hz"),) for x in curves[0].x.values)]
        rows = [[_curve_name(curve), *((text,) for text in points(curve.y))] for curve in curves]
        yield Table(head, rows)


def _curve_name(curve: Series) -> Cell:
    unit = f" [{curve.y.unit}]" if curve.y.unit else ""
    return fold(f"{curve.id}{unit}", width=34)
