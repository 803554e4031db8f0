"""What holds for every picture: it is readable, it is reproducible, it disturbs nothing."""

import subprocess
import sys
from collections.abc import Callable
from operator import attrgetter
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_reports import compare_report, feed_report, fit_report, hear_report, limit
from looking import colours, cut_off, overlapping, texts, title

from conewright import pictures
from conewright.errors import BadInputError
from conewright.pictures.axes import spread_out
from conewright.stages.report.data import Report
from invented_choice import BEST, NOTHING, choice

FEW = np.array([20.0, 50.0, 100.0])
IDLE = NOTHING.model_copy(update={"roles": ("best", "recommended", "do-nothing", "fix-only")})
REPORTS: dict[str, Callable[[], Report]] = {
    "feed": feed_report,
    "feed-as-found": lambda: feed_report(against=False),
    "feed-unrated": lambda: feed_report(against=False, rated=None),
    "feed-far": lambda: feed_report(gain=9.0),
    "feed-few": lambda: feed_report(frequency=FEW),
    "hear": hear_report,
    "hear-as-found": lambda: hear_report(against=False),
    "hear-one-seat": lambda: hear_report(seats=("driver",)),
    "hear-three-seats": lambda: hear_report(seats=("driver", "passenger", "story-corner")),
    "hear-few": lambda: hear_report(frequency=FEW),
    "fit": lambda: fit_report("tight"),
    "fit-three": lambda: fit_report("slim", "deep", "tight"),
    "fit-one-point": lambda: fit_report("slim", glass=(58.0,)),
    "fit-open-behind": lambda: fit_report("slim", glass=()),
    "compare": compare_report,
    "compare-one-seat": lambda: compare_report(seats=("driver",)),
    "choose": choice,
    "choose-idle": lambda: choice(IDLE),
    "choose-one": lambda: choice(BEST),
}
# Okabe and Ito, Color Universal Design, 2008 (from memory).
OKABE_ITO = {
    *("#000000", "#e69f00", "#56b4e9", "#009e73"),
    *("#f0e442", "#0072b2", "#d55e00", "#cc79a7"),
}

every_report = pytest.mark.parametrize("name", REPORTS)
both_widths = pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
# A small report, and quick to draw.
ONE_SEAT = hear_report(seats=("driver",), against=False)


@every_report
@both_widths
def test_no_text_covers_another_or_leaves_the_sheet(name: str, narrow: bool) -> None:
    drawing = pictures.draw(REPORTS[name](), narrow=narrow)
    assert len(texts(drawing)) > 5
    assert overlapping(drawing) == []
    assert cut_off(drawing) == []
    # Letters are a little wider on a coarse grid of pixels.
    drawing.set_dpi(72.0)
    assert cut_off(drawing) == []


def test_the_tests_see_covered_and_cut_off_words() -> None:
    drawing = pictures.draw(feed_report())
    drawing.text(0.5, 0.5, "one")
    drawing.text(0.501, 0.501, "two")
    drawing.text(0.99, 0.3, "three")
    assert overlapping(drawing) == [("one", "two")]
    assert cut_off(drawing) == ["three"]


@every_report
@both_widths
def test_four_colours_at_most_and_nine_points_at_least(name: str, narrow: bool) -> None:
    drawing = pictures.draw(REPORTS[name](), narrow=narrow)
    seen = colours(drawing)
    assert seen <= OKABE_ITO
    assert 1 <= len(seen) <= 4
    assert min(float(text.get_fontsize()) for text in texts(drawing)) >= (9.0 if narrow else 10.0)
    assert [axes.get_legend() for axes in drawing.axes if axes.get_legend()] == []


def test_a_narrow_picture_fits_a_phone_in_one_column() -> None:
    drawing = pictures.draw(feed_report(), narrow=True)
    assert drawing.get_figwidth() * 96.0 == pytest.approx(360.0)  # closed form: CSS pixels
    assert len({round(axes.get_position().x0, 6) for axes in drawing.axes}) == 1
    wide = pictures.draw(feed_report())
    assert len({round(axes.get_position().x0, 6) for axes in wide.axes}) == 2


def test_the_width_can_be_chosen() -> None:
    assert pictures.draw(feed_report(), width_inches=9.0).get_figwidth() == 9.0
    for width in (2.9, float("nan"), float("inf")):
        with pytest.raises(BadInputError, match="allowed is 3"):
            pictures.draw(feed_report(), width_inches=width)


# --- Files -----------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".svg", ".png", ".pdf", ".PNG"])
def test_the_same_report_gives_the_same_bytes(tmp_path: Path, suffix: str) -> None:
    first = pictures.save(ONE_SEAT, tmp_path / f"first{suffix}").read_bytes()
    # A user's own settings change nothing.
    with mpl.rc_context({"font.size": 20.0, "lines.linewidth": 9.0, "svg.hashsalt": "other"}):
        second = pictures.save(ONE_SEAT, tmp_path / f"second{suffix}").read_bytes()
    other = pictures.save(feed_report(rated=None), tmp_path / f"other{suffix}").read_bytes()
    assert first == second
    assert first != other


def test_a_file_says_what_it_shows(tmp_path: Path) -> None:
    text = pictures.save(feed_report(), tmp_path / "feed.svg").read_text(encoding="utf-8")
    assert "the radio is rated for 4" in text
    assert "dc:date" not in text


@pytest.mark.parametrize("name", ["feed.jpg", "feed", "feed.svg.gz"])
def test_another_suffix_is_refused_with_those_allowed(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInputError, match=r"allowed are \.svg, \.pdf, \.png"):
        pictures.save(feed_report(), tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"nowhere/feed\.png: cannot be written"):
        pictures.save(feed_report(), tmp_path / "nowhere" / "feed.png")


# --- What cannot be drawn --------------------------------------------------------------------


def test_a_stage_without_picture_is_refused() -> None:
    with pytest.raises(BadInputError, match="'prove' has no picture; allowed are feed, hear"):
        pictures.draw(feed_report().model_copy(update={"stage": "prove"}))


@pytest.mark.parametrize("stage", ["feed", "hear", "fit", "compare"])
def test_a_report_with_nothing_to_draw_is_refused(stage: str) -> None:
    empty = Report(stage=stage, job="van", build="as-found", answer="Nothing.")
    with pytest.raises(BadInputError, match=r"nothing to draw in the .* 'as-found': Nothing\.$"):
        pictures.draw(empty)


def test_a_curve_without_one_finite_value_is_nothing_to_draw() -> None:
    report = hear_report(against=False, seats=("driver",))
    only = report.curve("driver.level")
    gone = only.y.model_copy(
        update={"values": (None,) * len(only.y.values), "low": None, "high": None}
    )
    empty = report.model_copy(
        update={"series": (only.model_copy(update={"y": gone}), limit("driver"))}
    )
    with pytest.raises(BadInputError, match="nothing to draw"):
        pictures.draw(empty)


# --- Manners ---------------------------------------------------------------------------------


def test_drawing_opens_no_window_and_leaves_the_settings_alone(tmp_path: Path) -> None:
    before = dict(mpl.rcParams)
    pictures.draw(feed_report())
    assert dict(mpl.rcParams) == before
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); import invented_reports as r; "
        "from conewright import pictures; assert 'matplotlib' not in sys.modules; "
        "pictures.save(r.feed_report(), sys.argv[2] + '/a.svg'); "
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    here = str(Path(__file__).parent)
    subprocess.run(
        [sys.executable, "-c", code, here, str(tmp_path)], check=True, capture_output=True
    )


def test_a_notebook_shows_a_picture_by_itself() -> None:
    shown = attrgetter("_repr_png_")(pictures.draw(feed_report()))
    assert shown().startswith(b"\x89PNG")


def test_dollar_signs_and_underscores_in_names_are_text() -> None:
    report = feed_report(rated=None)
    renamed = report.model_dump_json().replace("rear-left", "rear_$1$")
    drawing = pictures.draw(Report.model_validate_json(renamed), narrow=True)
    assert "rear_$1$" in title(drawing) + " ".join(a.get_title(loc="left") for a in drawing.axes)
    assert cut_off(drawing) == []


# --- Keeping labels apart --------------------------------------------------------------------

labels = st.lists(st.tuples(st.floats(0.0, 10.0), st.floats(0.01, 1.0)), max_size=8)


@given(labels)
def test_labels_never_overlap_and_stay_in_their_room(wanted: list[tuple[float, float]]) -> None:
    centres = [centre for centre, _ in wanted]
    sizes = np.array([size for _, size in wanted])
    places = spread_out(centres, sizes, low=0.0, high=10.0)
    order = np.argsort(centres, kind="stable")
    low, high = (places - sizes / 2.0)[order], (places + sizes / 2.0)[order]
    assert np.all(low[1:] >= high[:-1] - 1e-9)
    assert np.all(low >= -1e-9)
    assert np.all(high <= 10.0 + 1e-9)


def test_labels_with_room_stay_where_they_are_and_others_share_the_way() -> None:
    sizes = np.ones(3)
    kept = spread_out([5.0, 1.0, 3.0], sizes, low=0.0, high=9.0)
    assert kept.tolist() == [5.0, 1.0, 3.0]
    # Closed form: two labels of size 1 that want the same place each move by a half.
    moved = spread_out([4.0, 4.0], sizes[:2], low=0.0, high=9.0)
    assert moved.tolist() == [3.5, 4.5]
