"""The picture of what each channel drives."""

import numpy as np
import pytest
from invented_reports import FREQUENCY, LOADS, feed_report
from looking import ends, found, line, panel, points, title, words
from matplotlib.text import Text

from conewright import pictures
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.report.data import Report

TICKS = [20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]
NUMBERS = ["20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"]


def _values(report: Report, id: str) -> FloatArray:
    pairs = np.array(report.curve(id).y.values, dtype=np.float64)
    return np.asarray(np.abs(pairs[:, 0] + 1j * pairs[:, 1]), dtype=np.float64)


def test_as_found_is_dashed_and_the_proposal_solid() -> None:
    drawing = pictures.draw(feed_report())
    before, now = (line(drawing, f"rear-left.impedance{end}") for end in ("_against", ""))
    assert before.is_dashed()
    assert not now.is_dashed()
    assert before.get_color() != now.get_color()
    alone = pictures.draw(feed_report(against=False))
    assert line(alone, "rear-left.impedance").is_dashed()


def test_a_curve_is_the_modulus_of_its_series_and_the_tint_its_band() -> None:
    report = feed_report(against=False)
    drawing = pictures.draw(report)
    x, y = points(drawing, "rear-left.impedance")
    np.testing.assert_allclose(x, FREQUENCY)
    np.testing.assert_allclose(y, _values(report, "rear-left.impedance"))
    (tint,) = panel(drawing, "rear-left").collections
    edges = np.asarray(tint.get_paths()[0].vertices, dtype=np.float64)
    own = report.curve("rear-left.impedance").y
    lows, highs = [[v for v in edge or () if v is not None] for edge in (own.low, own.high)]
    assert edges[:, 1].min() == pytest.approx(min(lows))
    assert edges[:, 1].max() == pytest.approx(max(highs))


def test_every_channel_has_a_panel_from_zero_ohm_and_all_have_the_same_top() -> None:
    drawing = pictures.draw(feed_report())
    limits = {channel: panel(drawing, channel).get_ylim() for channel in LOADS}
    assert {low for low, _ in limits.values()} == {0.0}
    assert len({high for _, high in limits.values()}) == 1
    assert {panel(drawing, c).get_yscale() for c in LOADS} == {"linear"}
    assert {panel(drawing, c).get_ylabel() for c in LOADS} == {"impedance, ohm"}


def test_frequency_is_logarithmic_with_the_usual_ticks() -> None:
    roomy = panel(pictures.draw(feed_report(), width_inches=12.0), "rear-left")
    assert roomy.get_xscale() == "log"
    assert roomy.get_xlim() == (20.0, 20000.0)
    assert roomy.get_xticks().tolist() == TICKS
    assert [label.get_text() for label in roomy.get_xticklabels()] == NUMBERS
    narrow = panel(pictures.draw(feed_report(), narrow=True), "rear-left")
    assert narrow.get_xticks().tolist() == TICKS
    assert [t.get_text() for t in narrow.get_xticklabels()][::2] == NUMBERS[::2]


def test_the_rated_load_is_a_labelled_line() -> None:
    drawing = pictures.draw(feed_report(rated=4.0))
    lines = found(drawing, "rated")
    assert len(lines) == len(LOADS)
    assert {height for rated in lines for height in ends(rated)[:, 1]} == {4.0}
    assert words(drawing).count("rated 4") == len(LOADS)
    assert found(pictures.draw(feed_report(rated=None)), "rated") == []


def test_the_minimum_is_marked_where_the_figure_says() -> None:
    report = feed_report()
    drawing = pictures.draw(report)
    least = report.figure("rear-left.minimum_impedance")
    x, y = points(drawing, "rear-left.minimum")
    assert (x[0], y[0]) == (least.frequency_hz, least.value)
    (label,) = found(drawing, "rear-left.minimum_label")
    assert isinstance(label, Text)
    assert label.get_text().split() == ["▼", "3.9", "ohm", "at", "1.06", "kHz"]


def test_lines_carry_their_names_at_their_ends() -> None:
    drawing = pictures.draw(feed_report())
    assert words(drawing).count("as found") == words(drawing).count("put-right") == len(LOADS)
    # One line alone needs no name beside the panel's own.
    assert "as found" not in words(pictures.draw(feed_report(against=False)))


def test_a_curve_far_above_the_rated_load_is_cut_and_says_so() -> None:
    report = feed_report(gain=9.0)
    drawing = pictures.draw(report)
    peak = _values(report, "rear-left.impedance").max()
    assert panel(drawing, "rear-left").get_ylim()[1] < peak
    assert f"↑ {peak:.0f}" in words(drawing)
    assert not [word for word in words(pictures.draw(feed_report())) if "↑" in word]


def test_a_gap_in_the_series_is_a_gap_in_the_line() -> None:
    report = feed_report(against=False)
    text = report.model_dump()
    values = text["series"][0]["y"]["values"]
    text["series"][0]["y"]["values"] = [*values[:200], *[(None, None)] * (len(values) - 200)]
    drawing = pictures.draw(Report.model_validate(text))
    y = points(drawing, "front-left.impedance")[1]
    assert np.isfinite(y).tolist() == [True] * 200 + [False] * (len(values) - 200)


def test_a_series_beyond_the_axis_is_cut_at_its_ends() -> None:
    x = np.array([10.0, 40.0, 1000.0, 40000.0])
    report = feed_report(frequency=x)
    y = _values(report, "rear-left.impedance")
    cut = points(pictures.draw(report), "rear-left.impedance")
    np.testing.assert_allclose(cut[0], [20.0, 40.0, 1000.0, 20000.0])
    # Closed form: 20 Hz is halfway from 10 to 40 on a logarithmic axis.
    np.testing.assert_allclose(cut[1][:3], [(y[0] + y[1]) / 2.0, y[1], y[2]])


def test_a_few_frequencies_are_dots() -> None:
    few = feed_report(frequency=np.array([20.0, 50.0, 100.0]))
    assert line(pictures.draw(few), "rear-left.impedance").get_marker() == "o"
    assert line(pictures.draw(feed_report()), "rear-left.impedance").get_marker() == ""


ALL = "All channels fall too low, the lowest to 1.9 ohm; the radio is rated for 4"


@pytest.mark.parametrize(
    ("gain", "rated", "said"),
    [
        (1.0, 4.0, ALL),
        (2.0, 4.0, "Front channels fall to 2.7 ohm; the radio is rated for 4"),
        (1.0, 3.0, "Rear channels fall to 1.9 ohm; the radio is rated for 3"),
        # IEC 60268-5: a load may fall to 80 % of what it is rated.
        (1.0, 2.4, "No channel falls below 1.9 ohm; the radio is rated for 2.4"),
        (1.0, 2.5, "Rear channels fall to 1.9 ohm; the radio is rated for 2.5"),
        (1.0, None, "rear-left falls lowest, to 1.9 ohm"),
    ],
)
def test_the_title_states_the_finding(gain: float, rated: float | None, said: str) -> None:
    assert title(pictures.draw(feed_report(gain=gain, rated=rated))) == said


def test_the_title_names_a_single_channel() -> None:
    report = feed_report(gain=2.0)
    figures = [f for f in report.figures if not f.id.startswith("front-right.")]
    drawing = pictures.draw(report.model_copy(update={"figures": tuple(figures)}))
    assert title(drawing) == "front-left falls to 2.7 ohm; the radio is rated for 4"
