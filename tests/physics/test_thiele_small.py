"""Data-sheet relations: completion, both ways round."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air
from conewright.physics.drivers.thiele_small import (
    RELATIONS,
    SHEET_NAMES,
    Relation,
    complete,
    derivable,
    derivation,
    sensitivity,
)

AIR = Air()
# from memory: a usual replacement woofer of the 165 mm class
WOOFER = {"re": 3.4, "fs": 62.0, "qms": 5.0, "qes": 0.72, "mms": 0.015, "sd": 0.013}


def exact_sheet() -> dict[str, float]:
    return {name: float(value) for name, value in complete(WOOFER, air=AIR).items()}


def test_a_usual_set_gives_everything() -> None:
    sheet = complete(WOOFER, air=AIR)
    assert set(sheet) == set(SHEET_NAMES)
    # closed form
    assert sheet["qts"] == pytest.approx(5.0 * 0.72 / 5.72, rel=1e-12)
    assert sheet["cms"] == pytest.approx(1.0 / ((2.0 * np.pi * 62.0) ** 2 * 0.015), rel=1e-12)
    assert sheet["bl"] == pytest.approx((2 * np.pi * 62 * 0.015 * 3.4 / 0.72) ** 0.5, rel=1e-12)
    assert sheet["vas"] == pytest.approx(1.4184e5 * 0.013**2 * sheet["cms"], rel=1e-4)


def test_both_forms_of_efficiency_agree() -> None:
    s = exact_sheet()
    # closed form: the two are one relation (Small 1972)
    by_volume = 4.0 * np.pi**2 * s["fs"] ** 3 * s["vas"] / (343.21**3 * s["qes"])
    by_motor = 1.2041 * (s["bl"] * s["sd"] / s["mms"]) ** 2 / (2.0 * np.pi * 343.21 * s["re"])
    assert by_volume == pytest.approx(by_motor, rel=1e-12)
    assert s["eta0"] == pytest.approx(by_motor, rel=1e-12)


def test_figures_given_are_never_changed() -> None:
    contradictory = WOOFER | {"qts": 0.5, "vas": 0.02}
    sheet = complete(contradictory, air=AIR)
    assert {name: sheet[name] for name in contradictory} == contradictory


@pytest.mark.parametrize("relation", RELATIONS, ids=lambda r: f"{r.target}-{'-'.join(r.inputs)}")
def test_every_relation_returns_the_exact_sheet(relation: Relation) -> None:
    sheet = exact_sheet()
    # two routes agree: each relation against the sheet completed from another start
    found = relation.solve(sheet, AIR)
    assert found == pytest.approx(sheet[relation.target], rel=1e-10)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    re=st.floats(1.5, 8.0),
    fs=st.floats(25.0, 2000.0),
    qms=st.floats(1.0, 12.0),
    qes=st.floats(0.2, 3.0),
    mms=st.floats(2e-4, 0.2),
    sd=st.floats(5e-4, 0.1),
    start=st.sampled_from(
        [
            ("re", "fs", "qms", "qes", "vas", "sd"),
            ("re", "fs", "qts", "qes", "vas", "diameter"),
            ("re", "bl", "mms", "cms", "rms", "sd"),
            ("fs", "qts", "qms", "mms", "vas", "sensitivity"),
            ("re", "qts", "rms", "mms", "cms", "eta0", "fs"),
        ]
    ),
)
def test_any_full_start_leads_back(
    re: float, fs: float, qms: float, qes: float, mms: float, sd: float, start: tuple[str, ...]
) -> None:
    first = {"re": re, "fs": fs, "qms": qms, "qes": qes, "mms": mms, "sd": sd}
    sheet = complete(first, air=AIR)
    again = complete({name: sheet[name] for name in start}, air=AIR)
    assert derivable(start) >= set(first)
    for name, value in sheet.items():
        assert again[name] == pytest.approx(value, rel=1e-8)


def test_too_few_figures_stop_where_they_must() -> None:
    assert derivable({"fs", "qms"}) == {"fs", "qms"}
    assert derivable({"fs", "mms"}) == {"fs", "mms", "cms"}
    assert complete({"fs": 60.0}, air=AIR) == {"fs": 60.0}


def test_derivation_names_what_was_used() -> None:
    assert derivation(["diameter", "vas"]) == {"sd": ("diameter",), "cms": ("vas", "sd")}


def test_array_equals_scalar_loop() -> None:
    sheet = {name: np.array([[value], [1.1 * value]]) for name, value in WOOFER.items()}
    whole = complete(sheet, air=AIR)
    for row in range(2):
        single = complete({name: float(v[row, 0]) for name, v in sheet.items()}, air=AIR)
        for name, value in whole.items():
            assert np.asarray(value)[row, 0] == pytest.approx(single[name], rel=1e-13)


def test_sensitivity_falls_with_distance_and_rises_with_voltage() -> None:
    near = sensitivity(eta0=0.003, re=3.4, air=AIR)
    # closed form
    far = sensitivity(eta0=0.003, re=3.4, air=AIR, distance=2.0)
    loud = sensitivity(eta0=0.003, re=3.4, air=AIR, voltage=5.66)
    assert near - far == pytest.approx(6.0206, abs=1e-4)
    assert loud - near == pytest.approx(6.0206, abs=1e-4)


@pytest.mark.parametrize(
    ("sheet", "message"),
    [
        ({"fs": 0.0}, "fs must be above zero"),
        ({"re": np.array([[3.0], [-1.0]])}, "re must be above zero"),
        ({"mms": float("nan")}, "mms must be above zero"),
        ({"vas": float("inf")}, "vas must be finite"),
        ({"qts": 0.8, "qms": 0.8}, "qts must be below qms"),
        ({"qts": 0.8, "qes": 0.7}, "qts must be below qes"),
        ({"qts": 0.9, "fs": 60.0, "mms": 0.01, "rms": 5.0, "re": 3.0}, "qts must be below qms"),
        ({"colour": 1.0}, "not figures of a driver sheet: colour"),
    ],
)
def test_impossible_sheets_are_refused(sheet: dict[str, float], message: str) -> None:
    with pytest.raises(OutOfRangeError, match=message):
        complete(sheet, air=AIR)
