"""The picture of what is heard: level, the limit that binds, and where a change comes from."""

import numpy as np
import pytest
from invented_reports import FREQUENCY, SHARES, change_figures, hear_report, limit, some
from looking import found, line, panel, patches, points, title, words
from matplotlib.patches import Rectangle

from conewright import pictures
from conewright.pictures.curves import Curve
from conewright.pictures.hear import CURVE_ENDS, TREND_FROM, limit_runs, octave_levels
from conewright.pictures.waterfall import BANDS, change_groups
from conewright.stages.report.data import Report


def _flat(x: np.ndarray, y: np.ndarray) -> Curve:
    return Curve(x=x, y=y, low=y - 1.0, high=y + 2.0)


# --- Level -----------------------------------------------------------------------------------


def test_as_found_is_dashed_and_the_proposal_solid_in_both_parts() -> None:
    drawing = pictures.draw(hear_report())
    for part in ("", "_octaves"):
        assert line(drawing, f"driver.level_against{part}").is_dashed()
        assert not line(drawing, f"driver.level{part}").is_dashed()


def test_a_curve_ends_at_500_hz_and_octave_means_follow() -> None:
    drawing = pictures.draw(hear_report())
    x, y = points(drawing, "driver.level")
    assert x.max() == FREQUENCY[FREQUENCY <= CURVE_ENDS].max()
    np.testing.assert_allclose(y, hear_report().curve("driver.level").y.values[: x.size])
    steps = points(drawing, "driver.level_octaves")[0]
    # Closed form: the octave of 1 kHz starts at 1000/sqrt(2).
    assert steps.min() == pytest.approx(707.1, abs=0.1)
    assert steps.max() == 20000.0


def test_octave_means_are_means_of_power() -> None:
    x = np.array([800.0, 1000.0, 1200.0, 3000.0, 4000.0, 5000.0, 9000.0])
    y = np.array([80.0, 80.0, 80.0, 90.0, 80.0, 70.0, 60.0])
    steps = octave_levels(_flat(x, y))
    # Closed form: (1 + 0.1 + 0.01)/3 of the power at 90 dB; one point makes no octave.
    mean = 90.0 + 10.0 * np.log10(1.11 / 3.0)
    expected = [80.0, 80.0, np.nan, mean, mean, np.nan]
    np.testing.assert_allclose(steps.y, expected)
    np.testing.assert_allclose(steps.low, np.array(expected) - 1.0)
    np.testing.assert_allclose(steps.high, np.array(expected) + 2.0)
    np.testing.assert_allclose(steps.x[3:5], [4000.0 / np.sqrt(2.0), 4000.0 * np.sqrt(2.0)])


def test_a_point_that_is_not_given_counts_in_no_octave() -> None:
    x = np.array([800.0, 900.0, 1000.0, 1200.0])
    gap = np.array([80.0, 80.0, 80.0, np.nan])
    np.testing.assert_allclose(octave_levels(_flat(x, gap)).y, [80.0, 80.0, np.nan])
    assert octave_levels(_flat(x[1:], gap[1:])).y.size == 0


def test_the_trend_region_is_hatched_and_says_so() -> None:
    drawing = pictures.draw(hear_report())
    for hatched in patches(drawing, "trend"):
        assert isinstance(hatched, Rectangle)
        assert hatched.get_hatch()
        assert hatched.get_x() == TREND_FROM
    assert words(drawing).count("trend only") == len(patches(drawing, "trend")) == 2
    assert any("Above 500 Hz: octave means" in word.replace("\n", " ") for word in words(drawing))


def test_levels_have_a_three_decibel_grid_and_one_scale() -> None:
    drawing = pictures.draw(hear_report())
    driver, corner = panel(drawing, "driver"), panel(drawing, "story-corner")
    assert driver.get_ylim() == corner.get_ylim()
    assert driver.get_ylabel() == "level, dB"
    every = sorted({*driver.get_yticks(), *driver.get_yticks(minor=True)})
    np.testing.assert_allclose(np.diff(every), 3.0)
    highs = [s.y.high or () for s in hear_report().series if ".level" in s.id]
    top = max(level for high in highs for level in high if level is not None)
    assert driver.get_ylim()[1] >= top


def test_a_deep_fall_does_not_flatten_the_rest() -> None:
    report = hear_report(against=False, seats=("driver",))
    data = report.model_dump()
    data["series"][0]["y"]["values"] = [-200.0, *data["series"][0]["y"]["values"][1:]]
    data["series"][0]["y"]["low"] = None
    low, high = panel(pictures.draw(Report.model_validate(data)), "driver").get_ylim()
    assert high - low == 54.0


# --- Which limit binds -----------------------------------------------------------------------


def test_the_strip_shows_each_limit_with_its_own_pattern_and_word() -> None:
    drawing = pictures.draw(hear_report(seats=("driver",)))
    hatches = {}
    for word in ("volts", "amps", "travel", "heat"):
        own = patches(drawing, f"driver.limit.{word}")
        assert own
        hatches[word] = {patch.get_hatch() for patch in own}
        assert words(drawing).count(word) == 1
    assert len({tuple(kinds) for kinds in hatches.values()}) == 4


def test_the_strip_covers_the_axis_without_gap() -> None:
    runs = limit_runs(FREQUENCY, limit("driver").y.values)
    assert [run.word for run in runs] == ["travel", "heat", "amps", "volts", "amps"]
    assert (runs[0].start, runs[-1].end) == (20.0, 20000.0)
    assert [run.end for run in runs[:-1]] == [run.start for run in runs[1:]]


def test_limits_meet_halfway_between_two_frequencies() -> None:
    runs = limit_runs(np.array([10.0, 100.0, 400.0]), ("travel", "travel", "volts"))
    # Closed form: halfway on a logarithmic axis is the geometric mean.
    assert [(run.start, run.end) for run in runs] == [(20.0, 200.0), (200.0, 400.0)]


def test_a_limit_that_lies_outside_the_axis_is_not_drawn() -> None:
    runs = limit_runs(np.array([5.0, 10.0, 100.0]), ("travel", "heat", "volts"))
    assert [run.word for run in runs] == ["heat", "volts"]


# --- Where the change comes from ---------------------------------------------------------------


def test_bars_start_where_the_one_before_ended_and_end_at_the_total() -> None:
    report = hear_report()
    drawing = pictures.draw(report)
    for band in BANDS:
        id = f"driver.change_{band}"
        (total,) = points(drawing, id)[0]
        assert total == report.figure(id).value
        reached = 0.0
        for cause in next(g for g in change_groups(report, "driver") if g.band == band).shares:
            (bar,) = patches(drawing, f"{id}_from_{cause}")
            assert isinstance(bar, Rectangle)
            assert bar.get_x() == pytest.approx(reached)
            reached = bar.get_x() + bar.get_width()
        assert reached == pytest.approx(total, abs=1e-9)


def test_a_bar_is_as_long_as_its_share_and_loss_looks_different_from_gain() -> None:
    drawing = pictures.draw(hear_report())
    (gain,) = patches(drawing, "driver.change_bass_from_polarity")
    (loss,) = patches(drawing, "driver.change_bass_from_driver")
    assert isinstance(gain, Rectangle)
    assert isinstance(loss, Rectangle)
    assert gain.get_width() == pytest.approx(SHARES["bass"]["polarity"])
    assert loss.get_width() == pytest.approx(SHARES["bass"]["driver"])
    assert loss.get_hatch()
    assert not gain.get_hatch()


def test_small_shares_are_put_together() -> None:
    (voice,) = [g for g in change_groups(hear_report(), "driver") if g.band == "voice"]
    assert voice.shares == {
        "driver": 1.1,
        "wiring": -0.6,
        "polarity": 0.3,
        "small shares": pytest.approx(-0.07),
    }
    (upper,) = [g for g in change_groups(hear_report(), "driver") if g.band == "upper_bass"]
    assert "driver" not in upper.shares
    assert "small shares" not in upper.shares


def test_a_band_without_answer_is_left_out() -> None:
    figures = [f for f in change_figures("driver") if "treble" not in f.name]
    figures.append(some("driver", "change_treble", None, unit="dB"))
    report = hear_report().model_copy(update={"figures": tuple(figures)})
    assert [group.band for group in change_groups(report, "driver")] == list(BANDS[:-1])
    assert "treble" not in words(pictures.draw(report))


def test_without_another_build_there_are_no_bars() -> None:
    drawing = pictures.draw(hear_report(against=False))
    assert "where the change comes from" not in words(drawing)
    assert found(drawing, "driver.change_bass") == []
    assert len(drawing.axes) == 2 * 2


def test_where_nothing_changes_there_are_no_bars_of_nothing() -> None:
    report = hear_report(seats=("driver",))
    still = {"value": 0.0, "low": 0.0, "high": 0.0}
    figures = tuple(f.model_copy(update=still) if "change" in f.name else f for f in report.figures)
    drawing = pictures.draw(report.model_copy(update={"figures": figures}))
    assert "where the change comes from" not in words(drawing)
    assert title(drawing) == "No change of level in the bass at any seat"


# --- Title -----------------------------------------------------------------------------------


def test_the_title_states_the_finding() -> None:
    assert title(pictures.draw(hear_report())) == "Bass +5.2 dB at driver, −0.4 dB at story-corner"
    three = hear_report(seats=("driver", "passenger", "story-corner"))
    assert title(pictures.draw(three)) == "Bass from −6.0 dB at story-corner to +5.2 dB at driver"
    alone = hear_report(against=False, seats=("driver",))
    assert title(pictures.draw(alone)) == "driver: bass down to 62 Hz, clean up to 101 dB(A)"
    bare = alone.model_copy(update={"figures": ()})
    assert title(pictures.draw(bare)) == bare.answer
