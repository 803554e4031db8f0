"""How a figure is said by its kind, and that text, page, picture and paper say it alike."""

from typing import Any

import pytest

import conewright
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin
from conewright.papers.press.answers import Answers
from conewright.papers.work.checks import expected
from conewright.pictures.curves import said
from conewright.stages.report.data import Axis, Figure, Kind, Report
from conewright.stages.report.words import with_band
from conewright.views.cells import number_cell
from conewright.views.numbers import Said, brief_odds, minutes, money, points, relief, say
from conewright.web.frame.answer import number_view

BAND = {"low": 1.2, "high": 2.9}


def _figure(kind: Kind, value: float | None, **more: Any) -> Figure:
    given: dict[str, Any] = {"id": "a.b", "subject": "a", "name": "b", "unit": "", "label": "b"}
    return Figure(kind=kind, value=value, origin=Origin.SHEET, **(given | more))


# Closed form: what a person would write down for that value, band and kind.
@pytest.mark.parametrize(
    ("figure", "told"),
    [
        (_figure(Kind.NUMBER, 2.0, unit="degC", **BAND), Said("2.0", "°C", "1.2 to 2.9")),
        (_figure(Kind.NUMBER, -2.0, unit="ohm"), Said("−2", "ohm")),
        (_figure(Kind.CHANGE, 2.0, unit="dB", **BAND), Said("+2.0", "dB", "+1.2 to +2.9")),
        (_figure(Kind.CHANGE, 0.2, low=-1.4, high=3.0), Said("0", "", "−1 to +3")),
        (_figure(Kind.CHANGE, 0.0, unit="mm"), Said("0", "mm")),
        (_figure(Kind.SHARE, 0.5, low=0.4, high=0.6), Said("50", "%", "40 to 60")),
        (_figure(Kind.ODDS, 0.26, **BAND), Said("1 in 4")),
        (_figure(Kind.ODDS, 0.0), Said("<1 in 200")),
        (_figure(Kind.ODDS, 1.0), Said("certain")),
        (_figure(Kind.YES, 1.0), Said("yes")),
        (_figure(Kind.YES, 0.0), Said("no")),
        (_figure(Kind.COUNT, 1234.0), Said("1234")),
        (
            _figure(Kind.TIME, 90.0, unit="min", low=60.0, high=150.0),
            Said("90", "min", "60 to 150"),
        ),
        (_figure(Kind.MONEY, 1234.4, unit="EUR"), Said("1234", "EUR")),
        (
            _figure(Kind.MONEY, 3.25, unit="EUR", low=2.0, high=8.0),
            Said("3.2", "EUR", "2.0 to 8.0"),
        ),
        (_figure(Kind.MONEY, 0.0, unit="EUR"), Said("0", "EUR")),
        (_figure(Kind.NUMBER, None, text="open"), Said("open")),
        (_figure(Kind.CHANGE, float("inf")), Said("no answer")),
    ],
)
def test_each_kind_is_said_its_own_way(figure: Figure, told: Said) -> None:
    assert say(figure) == told


@pytest.mark.parametrize("ends", [(2.0, 2.0), (2.0, 2.0 + 1e-15), (2.0, float("inf"))])
@pytest.mark.parametrize("kind", [Kind.NUMBER, Kind.CHANGE, Kind.TIME])
def test_a_band_that_is_none_is_not_said(kind: Kind, ends: tuple[float, float]) -> None:
    assert say(_figure(kind, 2.0, low=ends[0], high=ends[1])).band == ""


def test_a_band_whose_ends_are_written_alike_is_not_said() -> None:
    # Two decimals of a decibel are all that anybody writes.
    figure = _figure(Kind.NUMBER, 0.1234, unit="dB", low=0.1233, high=0.1236)
    assert say(figure).full == with_band(figure) == "0.12 dB"


def test_odds_in_few_words_keep_the_number() -> None:
    assert brief_odds(0.05) == "1 in 20"


def test_money_side_by_side_has_the_decimals_of_the_highest() -> None:
    assert [money(each, highest=9.0) for each in (0.25, 9.0)] == ["0.2", "9.0"]
    assert [money(each, highest=12.0) for each in (0.75, 12.0)] == ["1", "12"]


def test_a_reading_takes_whole_minutes_and_saves_about_so_much() -> None:
    assert minutes(12.4) == "12 min"
    assert relief(0.417) == "42 %"


@pytest.mark.parametrize(
    ("kind", "unit", "values", "told"),
    [
        (Kind.NUMBER, "ohm", ((3.0, 4.0), (0.0, -1.5), (None, 1.0)), ["5", "1.5", "–"]),
        (Kind.NUMBER, "dB", (-3.0, None, float("inf")), ["−3.0", "–", "–"]),
        (Kind.CHANGE, "dB", (3.04, -3.0, 0.0), ["+3.0", "−3.0", "0.0"]),
        (Kind.ODDS, "", (0.001, 0.34, 1.0), ["<1 %", "34 %", ">99 %"]),
        (Kind.COUNT, "", (0, 1, 1200), ["0", "1", "1200"]),
        (Kind.NUMBER, "", ("travel", "volts"), ["travel", "volts"]),
    ],
)
def test_points_of_a_curve(kind: Kind, unit: str, values: tuple[Any, ...], told: list[str]) -> None:
    assert points(Axis(name="y", unit=unit, kind=kind, values=values)) == told


# --- Answers of the demo ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def build() -> Build:
    return conewright.demo_job().build("put-right")


@pytest.fixture(scope="module")
def reports(build: Build) -> list[Report]:
    job = conewright.demo_job()
    found = job.build()
    stages = (conewright.feed, conewright.hear, conewright.fit)
    return [*(stage(build, against=found) for stage in stages), conewright.compare(job)]


def test_figures_of_the_stages_have_their_kind(reports: list[Report]) -> None:
    kinds = {
        "clean_power_change": Kind.CHANGE,
        "chip_temperature_change": Kind.CHANGE,
        "level_change_31_5hz": Kind.CHANGE,
        "change_bass_from_wiring": Kind.CHANGE,
        "bass_change_driver": Kind.CHANGE,
        "rear_clearance_change": Kind.CHANGE,
        "power_share": Kind.SHARE,
        "rear_odds": Kind.ODDS,
        "front_touch_odds": Kind.ODDS,
        "fit_odds": Kind.ODDS,
        "screws_match": Kind.YES,
        "ring": Kind.YES,
        "hearing_time": Kind.TIME,
        "hours": Kind.TIME,
        "cost": Kind.MONEY,
        "minimum_impedance": Kind.NUMBER,
    }
    figures = [figure for report in reports for figure in report.figures]
    assert kinds.keys() <= {figure.name for figure in figures}
    assert all(figure.kind is kinds.get(figure.name, figure.kind) for figure in figures)
    # What is called a change, odds or a share is one.
    called = [(Kind.CHANGE, "change"), (Kind.ODDS, "odds"), (Kind.SHARE, "share")]
    for figure in figures:
        for kind, word in called:
            assert (word in figure.name.split("_")) == (figure.kind is kind), figure.id


def test_figures_of_find_have_their_kind() -> None:
    report = conewright.find(conewright.demo_job().build())
    for figure in report.figures:
        timed = figure.name == "minutes" or figure.name.endswith(".minutes")
        likely = figure.subject in ("cause", "wiring") or figure.id == "plan.chance"
        kind = Kind.TIME if timed else Kind.ODDS if likely else Kind.NUMBER
        assert figure.kind is kind, figure.id
    assert {curve.y.kind for curve in report.series} == {Kind.ODDS}
    assert {curve.x.kind for curve in report.series} == {Kind.COUNT}


def test_text_page_picture_and_paper_say_every_figure_alike(
    build: Build, reports: list[Report]
) -> None:
    for figure in (figure for report in reports for figure in report.figures):
        told, cell, page = say(figure), number_cell(figure), number_view(figure)
        assert cell[0].removesuffix(f" {figure.origin.value[0].upper()}") == told.number
        assert (page.number, page.unit, page.band) == (told.number, told.unit, told.band)
        assert said(figure).replace("\N{NO-BREAK SPACE}", " ") == told.short
    seat = build.seats[0].id
    change = next(f for f in reports[1].figures if f.id == f"{seat}.bass_change")
    assert expected(Answers(build), "{bass_change}", seat) == f"bass {say(change).full}"
