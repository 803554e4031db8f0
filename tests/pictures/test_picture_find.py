"""The picture of the search for faults: odds after each reading, and the odds now."""

import numpy as np
import pytest
from looking import (
    colours,
    corners,
    cut_off,
    line,
    overlapping,
    patches,
    points,
    texts,
    title,
    words,
)

from conewright import pictures
from conewright.errors import BadInputError
from conewright.job.builds.states.value import Origin
from conewright.job.document.parts import AS_FOUND
from conewright.pictures.find import rows_of
from conewright.stages.report.data import Axis, Figure, Kind, Outcome, Report, Series, figures

COURSES = {
    "reversed@door-fr": ("one driver connected the wrong way round", (0.46, 0.89, 0.89, 0.99)),
    "wire-broken@front-left": ("wire broken on its way, mostly in the door's boot", (0.2, 0.1) * 2),
    "mount-loose@door-fl": (
        "driver loose, mount cracked or adapter leaking",
        (0.11, 0.1, 0.1, 0.09),
    ),
    "panel-open@door-fl": ("inner panel open or its shield missing", (0.1, 0.09, 0.09, 0.08)),
    "settings@vehicle": ("sound settings wrong", (0.1, 0.05, 0.05, 0.05)),
    "sleep-drain@vehicle": ("too much current with the key off", (0.009, 0.009, 0.009, 0.009)),
}
"""Invented odds of each cause, after none to three readings."""

WIRING = {"one-4-ohm": 0.6, "two-parallel": 0.3, "second-order": 0.004}


def _odds(subject: str, name: str, value: float, label: str) -> Figure:
    (made,) = figures(
        [Outcome(subject, name, np.array([value]), unit="", kind=Kind.ODDS, label=label)],
        [Origin.MEASURED],
    )
    return made


def find_report(*, readings: int = 3, last: float | None = None, unknown: bool = False) -> Report:
    """Odds as they stood after some readings; `last` takes the place of the first cause's."""
    figures: list[Figure] = []
    curves: list[Series] = []
    for cause, (name, odds) in COURSES.items():
        taken = (*odds[:readings], odds[readings] if last is None or curves else last)
        place = cause.partition("@")[2]
        figures.append(_odds("cause", cause, taken[-1], f"{name} at {place}"))
        x = Axis(name="readings", unit="", values=tuple(range(readings + 1)))
        y = Axis(name="odds", unit="", values=taken)
        curves.append(Series(id=f"cause.{cause}.odds", subject="cause", x=x, y=y))
    if unknown:
        for load, chance in WIRING.items():
            figures.append(_odds("wiring", f"rear-left.{load}", chance, load.replace("-", " ")))
    figures.append(_odds("plan", "chance", 1.0, "chance that the readings followed get there"))
    return Report(
        stage="find",
        job="van",
        build=AS_FOUND,
        answer="Something is wrong.",
        figures=tuple(figures),
        series=tuple(curves[:4]),
    )


REPORTS = {
    "three readings": find_report(),
    "none yet": find_report(readings=0),
    "unknown wiring": find_report(unknown=True, last=0.4),
    "one reading": find_report(readings=1, last=0.0),
}
every_report = pytest.mark.parametrize("name", REPORTS)
both_widths = pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])


@every_report
@both_widths
def test_it_is_readable_in_four_colours_and_black_and_white(name: str, narrow: bool) -> None:
    drawing = pictures.draw(REPORTS[name], narrow=narrow)
    assert len(texts(drawing)) > 5
    assert overlapping(drawing) == []
    assert cut_off(drawing) == []
    assert colours(drawing) <= {"#0072b2", "#d55e00", "#e69f00", "#000000"}
    assert min(float(text.get_fontsize()) for text in texts(drawing)) >= (9.0 if narrow else 10.0)


def test_odds_after_each_reading_are_lines_in_percent() -> None:
    report = find_report()
    drawing = pictures.draw(report)
    for curve in report.series:
        x, y = points(drawing, curve.id)
        assert x.tolist() == [0.0, 1.0, 2.0, 3.0]
        # Closed form: odds in percent.
        assert y.tolist() == pytest.approx([100.0 * odds for odds in curve.y.values])
    # One solid line, so that four are told apart without colours too.
    assert [line(drawing, curve.id).is_dashed() for curve in report.series] == [False, *[True] * 3]
    assert len({line(drawing, curve.id).get_color() for curve in report.series}) == 4


def test_each_line_is_named_at_its_end_and_85_percent_is_marked() -> None:
    said = [" ".join(text.split()) for text in words(pictures.draw(find_report()))]
    for name, _ in list(COURSES.values())[:4]:
        assert any(text.startswith(f"{name} at ") for text in said)
    assert "found: 85 %" in said
    _, y = points(pictures.draw(find_report()), "found")
    assert y.tolist() == [85.0, 85.0]
    assert {"readings taken", "odds, %", "odds now, %"} <= set(said)


def test_bars_are_as_long_as_the_odds_and_filled_where_found() -> None:
    report = find_report()
    drawing = pictures.draw(report)
    for figure_ in report.figures[:5]:
        (bar,) = patches(drawing, figure_.id)
        assert corners(bar)[:, 0].max() == pytest.approx(100.0 * (figure_.value or 0.0))
        assert bool(bar.get_hatch()) is ((figure_.value or 0.0) < 0.85)
    said = words(drawing)
    assert "99 %" in said
    assert "5 %" in said
    # Causes below 1 % are left out.
    assert patches(drawing, "cause.sleep-drain@vehicle") == []


def test_before_any_reading_there_are_bars_alone() -> None:
    drawing = pictures.draw(find_report(readings=0))
    assert len(drawing.axes) == 1
    assert "readings taken" not in words(drawing)
    assert len(patches(drawing, "cause.reversed@door-fr")) == 1


def test_unknown_wiring_has_rows_of_its_own() -> None:
    report = find_report(unknown=True)
    rows = [row.name for row in rows_of(report)]
    assert rows[-3:] == ["what rear-left drives", "one 4 ohm", "two parallel"]
    (bar,) = patches(pictures.draw(report), "wiring.rear-left.two-parallel")
    assert corners(bar)[:, 0].max() == pytest.approx(30.0)


def test_the_title_states_the_finding() -> None:
    found = "Found: one driver connected the wrong way round at door-fr"
    assert title(pictures.draw(find_report())) == found
    doubtful = title(pictures.draw(find_report(last=0.34)))
    assert doubtful == (
        "Nothing is certain yet; most likely: one driver connected the wrong way round at "
        "door-fr, 34 %"
    )


def test_many_readings_are_numbered_as_far_as_there_is_room() -> None:
    course = Series(
        id="cause.reversed@door-fr.odds",
        subject="cause",
        x=Axis(name="readings", unit="", values=tuple(range(41))),
        y=Axis(name="odds", unit="", values=tuple(0.02 * n for n in range(41))),
    )
    report = find_report().model_copy(update={"series": (course,)})
    drawing = pictures.draw(report, narrow=True)
    assert overlapping(drawing) == []
    numbers = [int(text.get_text()) for text in drawing.axes[0].get_xticklabels()]
    assert numbers[:2] == [0, numbers[1]]
    assert 4 <= len(numbers) < 20


def test_a_report_without_odds_is_nothing_to_draw() -> None:
    empty = Report(stage="find", job="van", build=AS_FOUND, answer="Nothing.")
    with pytest.raises(BadInputError, match="nothing to draw"):
        pictures.draw(empty)
