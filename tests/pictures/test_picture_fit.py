"""The section drawing: true to scale, both clearances dimensioned, nothing made up."""

import numpy as np
import pytest
from invented_reports import GLASS, PLAY, fit_report
from looking import corners, found, patches, points, title, words
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from conewright import pictures
from conewright.pictures.fit import section_of
from conewright.stages.report.data import Report, Severity, Verdict


def _scale(axes: Axes) -> tuple[float, float]:
    """Inches per mm, across and up."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    figure.draw_without_rendering()
    box, (x0, x1), (y0, y1) = axes.get_position(), axes.get_xlim(), axes.get_ylim()
    width, height = figure.get_size_inches()
    return box.width * width / (x1 - x0), box.height * height / (y1 - y0)


def _extent(drawing: Figure, gid: str) -> tuple[float, float]:
    """First and last x of the patches of that part."""
    x = np.concatenate([corners(patch)[:, 0] for patch in patches(drawing, gid)])
    return float(x.min()), float(x.max())


def _clearances(drawing: Figure) -> list[Annotation]:
    """Those of one section, from the back to the front."""
    every = [text for text in found(drawing, "clearance") if isinstance(text, Annotation)]
    return sorted(every, key=lambda text: text.xy[0])


@pytest.mark.parametrize("narrow", [False, True])
def test_a_millimetre_is_as_long_across_as_up_and_in_every_section(narrow: bool) -> None:
    drawing = pictures.draw(fit_report("slim", "deep", "tight"), narrow=narrow)
    scales = [scale for axes in drawing.axes for scale in _scale(axes)]
    assert len(scales) == 6
    np.testing.assert_allclose(scales, scales[0], rtol=1e-9)
    assert {axes.get_xlabel() for axes in drawing.axes} == {"mm from the steel's face"}


def test_parts_stand_where_the_figures_say() -> None:
    drawing = pictures.draw(fit_report("tight"))
    # Closed form: depth 54 and front 10 on a spacer of 5, trim at 24, steel 0.8.
    assert _extent(drawing, "driver") == pytest.approx((5.0 - 54.0, 5.0 + 10.0))
    assert _extent(drawing, "steel") == pytest.approx((-0.8, 0.0))
    assert _extent(drawing, "spacer") == pytest.approx((0.0, 5.0))
    assert _extent(drawing, "ring") == pytest.approx((0.0, 24.0))
    assert _extent(drawing, "trim")[0] == pytest.approx(24.0)
    x, y = points(drawing, "glass")
    for depth in GLASS:
        assert -depth in x
    assert np.interp(0.0, y, x) == pytest.approx(-58.0)


def test_diameters_are_those_of_the_figures() -> None:
    drawing = pictures.draw(fit_report("tight"))
    (driver,) = patches(drawing, "driver")
    outline = np.unique(corners(driver), axis=0)
    assert np.ptp(outline[:, 1]) == pytest.approx(136.0)
    at_steel = outline[outline[:, 0] == 5.0][:, 1]
    assert sorted(abs(at_steel)) == pytest.approx([59.0, 59.0, 68.0, 68.0])
    edges = [abs(p.get_y()) for p in patches(drawing, "steel") if isinstance(p, Rectangle)]
    assert min(edges) == pytest.approx(61.0)


def test_both_clearances_are_dimensioned() -> None:
    rear, front = _clearances(pictures.draw(fit_report("tight")))
    # In as many digits as their bands, 2 mm wide, allow.
    assert (rear.get_text(), front.get_text()) == ("8.2", "5.0")
    # Closed form: from -49 to where glass at -58 may come, from 15 and 4 of travel to 24 in front.
    assert rear.xy[0] == pytest.approx((-49.0 - 58.0 + PLAY) / 2.0)
    assert front.xy[0] == pytest.approx((19.0 + 24.0) / 2.0)


def test_the_odds_are_said_in_words() -> None:
    said = " ".join(words(pictures.draw(fit_report("tight"), narrow=True)))
    said = said.replace("\n", " ")
    assert "behind: 8.2 mm (7.2 to 9.2); under 5 mm: about 1 in 100" in said
    assert "in front: 5.0 mm (4.0 to 6.0); under 3 mm: about 1 in 8" in said


def test_an_overlap_stands_out() -> None:
    drawing = pictures.draw(_warned(fit_report("deep"), "deep-fl"))
    rear, front = _clearances(drawing)
    assert front.get_text() == "−5.0"
    assert front.get_color() != rear.get_color()
    assert "5 mm short of room, the driver meets the trim" in title(drawing)
    assert _extent(drawing, "cut") == pytest.approx((-0.8, 0.0))
    assert "cut the hole 24 mm wider" in " ".join(words(drawing))
    assert patches(pictures.draw(fit_report("tight")), "cut") == []


def _warned(report: Report, place: str) -> Report:
    """The report with a warning of the front of a place: a driver that is still to go in."""
    verdict = Verdict(
        id=f"{place}.front", subject=place, severity=Severity.WARN, text="Tight in front."
    )
    return report.model_copy(update={"verdicts": (verdict,)})


@pytest.mark.parametrize(
    ("chance", "warned", "start", "odds"),
    [
        (0.12, False, "There is room; tightest at", "about 1 in 8"),
        (0.33, True, "Too tight at", "about 1 in 3"),
        (0.33, False, "Tightest at", "about 1 in 3"),
    ],
)
def test_the_title_names_the_tightest_place(
    chance: float, warned: bool, start: str, odds: str
) -> None:
    report = fit_report("slim", "tight")
    figures = [
        f.model_copy(update={"value": chance}) if f.value == 0.12 else f for f in report.figures
    ]
    report = report.model_copy(update={"figures": tuple(figures)})
    drawing = pictures.draw(_warned(report, "tight-fl") if warned else report)
    assert title(drawing) == (f"{start} tight-fl, tight-fr: {odds} for less than 3 mm to the trim")


def test_places_with_the_same_figures_share_a_drawing() -> None:
    drawing = pictures.draw(fit_report("slim", "deep"))
    assert len(drawing.axes) == 2
    assert {"slim-fl, slim-fr", "deep-fl, deep-fr"} <= set(words(drawing))


def test_sampling_noise_does_not_part_places_that_mirror_each_other() -> None:
    report = fit_report("slim")
    figures = [
        f.model_copy(update={"low": f.low - 0.01}) if f.low and f.subject == "slim-fr" else f
        for f in report.figures
    ]
    drawing = pictures.draw(report.model_copy(update={"figures": tuple(figures)}))
    assert len(drawing.axes) == 1


def test_what_is_not_known_is_not_drawn_but_named() -> None:
    report = fit_report("tight")
    figures = [f for f in report.figures if f.name not in {"driver_depth", "front_clearance"}]
    bare = report.model_copy(update={"figures": tuple(figures)})
    assert section_of(bare, "tight-fl") is None
    drawing = pictures.draw(bare)
    assert drawing.axes == []
    said = " ".join(words(drawing)).replace("\n", " ")
    assert "not drawn, missing: driver depth" in said
    assert "in front: not known" in said


def test_without_glass_there_is_no_clearance_behind() -> None:
    drawing = pictures.draw(fit_report("tight", glass=()))
    assert [text.get_text() for text in _clearances(drawing)] == ["5.0"]
    assert found(drawing, "glass") == []
    assert "glass" not in words(drawing)


def test_one_measured_depth_is_a_straight_glass() -> None:
    drawing = pictures.draw(fit_report("tight", glass=(58.0,)))
    assert set(points(drawing, "glass")[0].tolist()) == {-58.0}


def test_the_cone_has_no_travel_where_the_clearance_keeps_none() -> None:
    report = fit_report("tight")
    figures = [
        f.model_copy(update={"value": 9.0}) if f.name == "front_clearance" else f
        for f in report.figures
    ]
    drawing = pictures.draw(report.model_copy(update={"figures": tuple(figures)}))
    assert "travel" not in words(drawing)
    assert _clearances(drawing)[1].xy[0] == pytest.approx((15.0 + 24.0) / 2.0)
