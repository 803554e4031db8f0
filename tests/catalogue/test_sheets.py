"""Sheets of many drivers at once, against closed forms and against the job's own completion."""

import numpy as np
import pytest
from benchmarks.invented_parts import invented

from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.catalogue.sheets import FIGURES, complete_sheets
from conewright.job.builds.fills import Filler
from conewright.job.builds.resolve_driver import resolve_driver
from conewright.job.document.places import DriverSheet

NAMES = ("re", "fs", "qms", "qes", "qts", "sd", "vas", "mms", "cms", "rms", "bl", "sensitivity")
# Density and speed of sound of the standard air the sheets are for, from the gas law at 20 degC.
RHO, C = 1.2041, 343.2


def _given(**figures: list[float]) -> dict[str, np.ndarray]:
    count = len(next(iter(figures.values())))
    names = (*NAMES, "minor", "major", "rated_impedance")
    return {name: np.array(figures.get(name, [np.nan] * count)) for name in names}


def test_a_sheet_follows_the_relations_of_small() -> None:
    # Small 1972: Qes = 2 pi fs Mms Re/Bl^2, Cms = 1/((2 pi fs)^2 Mms), Vas = rho c^2 Cms Sd^2.
    fs, mms, re, bl, sd, qms = 70.0, 0.012, 3.4, 4.2, 0.0133, 5.0
    sheets = complete_sheets(
        _given(re=[re], fs=[fs], qms=[qms], mms=[mms], bl=[bl], sd=[sd])
    ).figures
    qes = 2 * np.pi * fs * mms * re / bl**2
    cms = 1 / ((2 * np.pi * fs) ** 2 * mms)
    assert sheets["qes"][0] == pytest.approx(qes, rel=1e-12)
    assert sheets["qts"][0] == pytest.approx(qms * qes / (qms + qes), rel=1e-12)
    assert sheets["cms"][0] == pytest.approx(cms, rel=1e-12)
    assert sheets["vas"][0] == pytest.approx(RHO * C**2 * cms * sd**2, rel=0.005)
    # Piston held by its mass, half space, 2.83 V, 1 m: p = rho Bl V Sd/(2 pi r Re Mms).
    pressure = RHO * bl * 2.83 * sd / (2 * np.pi * re * mms)
    assert sheets["sensitivity"][0] == pytest.approx(20 * np.log10(pressure / 20e-6), abs=0.05)


def test_a_driver_is_completed_as_a_job_completes_it() -> None:
    rows = [row for row in invented(204) if row["kind"] == "driver"]
    # What a sheet of the trade leaves out, so that the typical figures are asked as well.
    for index, row in enumerate(rows):
        row = dict(row)
        for name in (("qes",), ("qms",), ("mms", "vas"), ("re",), ("sd", "vas", "cms"))[index % 5]:
            row.pop(name, None)
        rows[index] = row
    read = read_catalogue(table_of(written(rows, ending=".csv"), file="parts.csv")).compiled
    fields = ("size", "rated_impedance", *(name for name in NAMES if name != "sensitivity"))
    by_key = {(row["supplier"], row["part"]): row for row in rows}
    for index in range(0, len(read), 3):
        row = by_key[read.text("supplier", index), read.text("part", index)]
        told = {name: row[name] for name in fields if name in row}
        sheet = DriverSheet.model_validate({"id": "one", "age": "new", **told})
        figures = resolve_driver(sheet, Filler()).figures()
        for name in FIGURES:
            assert read.figures[name][index] == pytest.approx(figures[name], rel=1e-9), (row, name)


def test_figures_that_no_driver_has_touch_no_other_row() -> None:
    given = _given(
        re=[3.4, 3.4, 3.4],
        fs=[70.0, 70.0, 70.0],
        qms=[5.0, 0.5, 5.0],
        qts=[0.6, 0.6, 0.6],
        sd=[0.0133, 0.0133, 0.0133],
        vas=[0.01, 0.01, 0.01],
    )
    sheets = complete_sheets(given)
    assert list(sheets.faults) == [1]
    assert "qts must be below qms" in sheets.faults[1]
    assert np.isnan(sheets.figures["mms"]).tolist() == [False, True, False]


def test_a_second_figure_is_held_against_those_in_use() -> None:
    # 1/(1/5 + 1/0.6) = 0.5357: 0.6 lies 12 % above it, 0.54 less than 1 %.
    given = _given(
        re=[3.4] * 2,
        fs=[70.0] * 2,
        qms=[5.0] * 2,
        qes=[0.6] * 2,
        qts=[0.6, 0.54],
        sd=[0.0133] * 2,
        mms=[0.012] * 2,
    )
    differences = complete_sheets(given).differences
    assert [(each.row, each.name) for each in differences] == [(0, "qts")]
    assert differences[0].share == pytest.approx(0.12, abs=0.001)


def test_without_size_or_figures_nothing_is_made_up() -> None:
    sheets = complete_sheets(_given(fs=[70.0]))
    assert np.isnan(sheets.figures["eta0"][0])
    assert sheets.faults == {}


def test_no_driver_at_all_is_no_error() -> None:
    empty = {name: column[:0] for name, column in _given(fs=[70.0]).items()}
    assert all(len(column) == 0 for column in complete_sheets(empty).figures.values())
