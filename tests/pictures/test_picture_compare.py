"""The picture of all builds side by side."""

import pytest
from invented_reports import BUILDS, SEATS, compare_report
from looking import found, panel, points, title, words

from conewright import pictures
from conewright.job.document.parts import AS_FOUND
from conewright.stages.report.data import Severity


def test_every_figure_is_a_dot_at_its_value() -> None:
    report = compare_report()
    drawing = pictures.draw(report)
    shown = [
        f
        for f in report.figures
        if f.name == "minimum_load" or ("change" in f.name and f.subject != AS_FOUND)
    ]
    for figure in shown:
        assert points(drawing, figure.id)[0] == [figure.value]
    assert len(shown) == len(BUILDS) + 2 * len(SEATS) * (len(BUILDS) - 1)


def test_as_found_has_no_change_against_itself() -> None:
    assert found(pictures.draw(compare_report()), f"{AS_FOUND}.bass_change_driver") == []


def test_a_seat_and_a_build_have_the_same_row_in_every_panel() -> None:
    drawing = pictures.draw(compare_report())
    for build in set(BUILDS) - {AS_FOUND}:
        rows = [
            points(drawing, f"{build}.{name}_change_driver")[1][0] for name in ("bass", "overall")
        ]
        assert rows[0] == rows[1] > points(drawing, f"{build}.minimum_load")[1][0]
    depths = [points(drawing, f"{build}.minimum_load")[1][0] for build in BUILDS]
    assert depths == sorted(depths)


def test_each_load_is_held_against_what_its_radio_is_rated_for() -> None:
    report = compare_report()
    drawing = pictures.draw(report)
    for build in BUILDS:
        x, y = points(drawing, f"{build}.rated_load")
        assert x.tolist() == [4.0, 4.0]
        assert y.mean() == points(drawing, f"{build}.minimum_load")[1][0]
    assert "┃rated 4" in words(drawing)
    assert panel(drawing, "lowest load").get_xlim()[0] == 0.0
    unrated = [f for f in report.figures if f.name != "rated_load"]
    bare = pictures.draw(report.model_copy(update={"figures": tuple(unrated)}))
    assert not [word for word in words(bare) if "rated" in word]


def test_a_build_wears_the_mark_of_its_worst_verdict() -> None:
    said = words(pictures.draw(compare_report()))
    assert {"■ as found", "● put-right", "○ slim-fronts", "▲ larger-fronts"} <= set(said)


def test_narrow_panels_carry_only_their_own_rows() -> None:
    said = words(pictures.draw(compare_report(), narrow=True))
    # Twice with seats, once for the load, which belongs to no seat.
    assert said.count("● put-right") == 3
    assert said.count("driver") == 2 * (len(BUILDS) - 1)


def test_numbers_stand_beside_their_dots() -> None:
    said = words(pictures.draw(compare_report(seats=("driver",))))
    assert "+6.9" in said
    assert "−1.0" in said
    assert said.count("1.9") == 2


def test_the_title_states_the_finding() -> None:
    report = compare_report()
    end = "as found falls to 1.9 ohm, the radio is rated for 4"
    assert title(pictures.draw(report)) == f"Most bass: larger-fronts, +6.9 dB at driver; {end}"
    # What is stopped is no plan to recommend.
    verdicts = tuple(
        v.model_copy(update={"severity": Severity.STOP}) if v.subject == "larger-fronts" else v
        for v in report.verdicts
    )
    stopped = pictures.draw(report.model_copy(update={"verdicts": verdicts}))
    assert title(stopped) == f"Most bass: slim-fronts, +4.8 dB at driver; {end}"


def test_a_gain_nobody_hears_is_no_finding() -> None:
    report = compare_report()
    faint = tuple(
        f.model_copy(update={"value": 3e-6}) if f.name.startswith("bass_change_") else f
        for f in report.figures
    )
    drawing = pictures.draw(report.model_copy(update={"figures": faint}))
    assert title(drawing) == "as found falls to 1.9 ohm, the radio is rated for 4"


def test_a_plan_that_changes_no_level_has_no_bars_of_nothing() -> None:
    report = compare_report()
    still = {"value": 0.0, "low": -0.01, "high": 0.01}
    figures = tuple(
        f.model_copy(update=still) if f.subject == "put-right" and "change" in f.name else f
        for f in report.figures
    )
    drawing = pictures.draw(report.model_copy(update={"figures": figures}))
    assert found(drawing, "put-right.bass_change_driver") == []
    assert words(drawing).count("no change of level") == 1
    assert found(drawing, "put-right.minimum_load")


def test_loads_alone_make_one_panel() -> None:
    drawing = pictures.draw(compare_report(seats=()))
    (only,) = drawing.axes
    assert only.get_title(loc="left") == "lowest load"
    assert title(drawing) == "as found falls to 1.9 ohm, the radio is rated for 4"
    assert points(drawing, "put-right.minimum_load")[0] == pytest.approx([3.0])
