"""Builds: every rule by which a gap of a job is filled, and what the builds of one job share."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import JobError
from conewright.job.builds.draws import draw
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.drivers import DriverState
from conewright.job.builds.states.location import CavityState, LocationState, TrimState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import demo_text
from conewright.physics.basics.air import Air
from conewright.physics.drivers.thiele_small import complete, derivable

AIR = Air()


def small_job(
    *,
    driver: dict[str, Any] | None = None,
    location: dict[str, Any] | None = None,
    channel: dict[str, Any] | None = None,
    head_unit: dict[str, Any] | None = None,
    vehicle: dict[str, Any] | None = None,
    others: tuple[dict[str, Any], ...] = (),
    **more: Any,
) -> Job:
    """The least that a job may say, and whatever a test adds to it."""
    place = {"id": "door", "kind": "door", "at": ["0.9 m", "0.8 m", "0.3 m"], "driver": "d"}
    return from_dict(
        {
            "format": 1,
            "head_unit": {"name": "radio", **(head_unit or {})},
            "vehicle": vehicle or {},
            "channel": [{"id": "left", "load": "door", **(channel or {})}],
            "location": [{**place, **(location or {})}],
            "driver": [{"id": "d", "size": "165 mm", "age": "new", **(driver or {})}, *others],
            **more,
        }
    )


def driver_of(job: Job, proposal: str | None = None) -> DriverState:
    return job.build(proposal).locations[0].driver


def door_of(job: Job) -> LocationState:
    return job.build().locations[0]


def cavity_of(job: Job) -> CavityState:
    cavity = door_of(job).cavity
    assert cavity is not None
    return cavity


def trim_of(job: Job) -> TrimState:
    trim = door_of(job).trim
    assert trim is not None
    return trim


def points(value: Value | None) -> tuple[float | None, float, float | None]:
    assert value is not None
    return value.quantity.low, value.si, value.quantity.high


def whole(driver: DriverState) -> dict[str, float]:
    known = {name: value.si for name, value in driver.basis}
    return {name: float(value) for name, value in complete(known, air=AIR).items()}


def filled(build: Build) -> dict[str, tuple[str, Origin]]:
    return {fill.path: (fill.text, fill.origin) for fill in build.fills}


@pytest.fixture(scope="module")
def demo() -> Job:
    return loads(demo_text())


# Drivers ----------------------------------------------------------------------------------------


def test_a_driver_with_a_size_alone_is_the_typical_set() -> None:
    driver = driver_of(small_job())
    sheet = whole(driver)
    # From memory: the row of a new 165 mm driver; Vas follows from it.
    assert sheet["re"] == 3.4
    assert sheet["fs"] == 62.0
    assert sheet["mms"] == pytest.approx(15e-3)
    assert sheet["qts"] == pytest.approx(0.63, rel=1e-9)
    assert sheet["vas"] == pytest.approx(10.5e-3, rel=0.02)
    assert {value.origin for _, value in driver.basis} == {Origin.TYPICAL}


def test_a_two_ohm_rating_keeps_the_set_consistent() -> None:
    usual = driver_of(small_job(driver={"age": "ageing", "rated_impedance": "4 ohm"}))
    low = driver_of(small_job(driver={"age": "ageing", "rated_impedance": "2 ohm"}))
    four, two = whole(usual), whole(low)
    assert (four["re"], two["re"]) == (3.4, 1.75)
    assert two["qes"] == pytest.approx(four["qes"], rel=1e-12)
    # Closed form: at the same Qes Bl goes with the root of the coil resistance, and the level at
    # the same volts with its inverse: 10 log10(3.4/1.75) = 2.884 dB.
    assert two["bl"] == pytest.approx(four["bl"] * math.sqrt(1.75 / 3.4), rel=1e-12)
    assert two["sensitivity"] - four["sensitivity"] == pytest.approx(2.884, abs=1e-3)
    # From memory: the usual coil of a 2 ohm 165 is 0.18 mH where that of a 4 ohm one is 0.35.
    assert usual.coil.le is not None
    assert low.coil.le is not None
    assert usual.coil.le.si == pytest.approx(0.35e-3, rel=1e-9)
    assert low.coil.le.si == pytest.approx(0.18e-3, rel=0.03)


def test_without_a_rating_the_coil_is_as_unsure_as_the_size() -> None:
    re = dict(driver_of(small_job()).basis)["re"]
    rated = dict(driver_of(small_job(driver={"rated_impedance": "4 ohm"})).basis)["re"]
    # From memory: the table's range for the size, and the narrower one of the rating.
    assert points(re) == (2.4, 3.4, 3.8)
    assert points(rated) == (3.2, 3.4, 3.6)


def test_a_sheet_is_used_in_order_of_trust_and_only_as_far_as_it_is_needed() -> None:
    given = {
        "re": "3.4 ohm", "fs": "78 Hz", "qes": 0.78, "qms": 5.0, "qts": 0.9, "vas": "4.6 L",
        "sd": "84 cm2", "mms": "20 g", "bl": "9 T m",
    }  # fmt: skip
    basis = dict(driver_of(small_job(driver=given)).basis)
    assert set(basis) == {"re", "fs", "qms", "qes", "sd", "vas"}
    assert {value.origin for value in basis.values()} == {Origin.SHEET}
    assert basis["vas"].si == pytest.approx(4.6e-3)


@pytest.mark.parametrize(
    ("given", "filled_in"),
    [
        ({"re": "3.3 ohm", "fs": "60 Hz"}, {"sd", "qms", "qes", "mms"}),
        ({"qts": 0.6, "vas": "10 L"}, {"re", "sd", "fs", "qms"}),
        ({"qes": 0.7, "mms": "14 g", "cms": "0.5 mm/N"}, {"re", "sd", "qms"}),
        ({"bl": "5 T m", "mms": "14 g", "rms": "1.1 kg/s"}, {"re", "sd", "fs"}),
        ({"bl": "5 T m", "diameter": "126 mm"}, {"re", "fs", "qms", "qes"}),
    ],
)
def test_only_what_does_not_follow_is_filled(given: dict[str, Any], filled_in: set[str]) -> None:
    driver = driver_of(small_job(driver=given))
    basis = dict(driver.basis)
    assert {name for name, value in basis.items() if value.origin == Origin.TYPICAL} == filled_in
    assert set(given) | filled_in == set(basis)
    assert derivable(basis) >= {"re", "fs", "qms", "qes", "sd", "vas", "mms", "cms", "rms", "bl"}


CONSISTENT = complete(
    {"re": 3.4, "fs": 62.0, "qms": 5.0, "qes": 0.72, "mms": 15e-3, "sd": 130e-4}, air=AIR
)
UNITS = {
    "re": "ohm", "fs": "Hz", "qms": "", "qes": "", "qts": "", "sd": "m2", "diameter": "m",
    "vas": "m3", "mms": "kg", "cms": "m/N", "rms": "kg/s", "bl": "T m",
}  # fmt: skip


@settings(max_examples=60)
@given(names=st.sets(st.sampled_from(sorted(UNITS))))
def test_any_part_of_a_consistent_sheet_is_kept_and_completed(names: set[str]) -> None:
    written = {name: f"{float(CONSISTENT[name])!r} {UNITS[name]}".strip() for name in names}
    driver = driver_of(small_job(driver=written))
    sheet = whole(driver)
    assert set(UNITS) <= set(sheet)
    for name in names:
        # Closed form: a figure that is given, or follows from those that are, comes out again.
        assert sheet[name] == pytest.approx(float(CONSISTENT[name]), rel=1e-9)
    sources = {value.origin for _, value in driver.basis}
    assert sources <= {Origin.SHEET, Origin.TYPICAL}


@pytest.mark.parametrize("age", ["ageing", "new"])
@pytest.mark.parametrize(
    "size",
    [
        "25 mm",
        "77 mm",
        "87 mm",
        "100 mm",
        "4x6 in",
        "130 mm",
        "165 mm",
        "5x7 in",
        "200 mm",
        "6x9 in",
    ],
)
def test_every_draw_of_a_typical_driver_is_a_driver(size: str, age: str) -> None:
    build = small_job(driver={"size": size, "age": age}).build()
    draws = draw(build.axes, samples=256)
    basis = build.locations[0].driver.basis
    sheet = complete({name: draws(value) for name, value in basis}, air=AIR)
    assert np.all(np.isfinite(sheet["sensitivity"]))
    assert np.all(sheet["qts"] < sheet["qms"])


def test_the_typical_mass_follows_the_typical_area() -> None:
    job = small_job()
    build = job.build()
    basis = dict(build.locations[0].driver.basis)
    draws = draw(build.axes, samples=1024)
    mass, area = (np.log(draws(basis[name])[1:, 0]) for name in ("mms", "sd"))
    # From memory: correlation of ln Mms with ln Sd.
    assert np.corrcoef(mass, area)[0, 1] == pytest.approx(0.9, abs=0.03)
    given = dict(driver_of(small_job(driver={"sd": "130 cm2"})).basis)
    assert given["mms"].follows == ""


def test_a_total_q_above_the_typical_mechanical_one_leaves_room() -> None:
    build = small_job(driver={"size": "25 mm", "qts": "2.8 ± 0.4"}).build()
    driver = build.locations[0].driver
    basis = dict(driver.basis)
    # Own rule: twice the highest Qts stated, since the table's 3 would leave almost nothing.
    assert basis["qms"].si == pytest.approx(6.4)
    draws = draw(build.axes, samples=1024)
    sheet = complete({name: draws(value) for name, value in driver.basis}, air=AIR)
    assert np.all(sheet["qes"] > 0.0)


def test_a_total_q_that_crosses_the_mechanical_one_is_refused() -> None:
    job = small_job(driver={"qts": 1.2, "qms": "1.5 ± 0.4"})
    with pytest.raises(JobError, match=r"driver\[d\]\.qts.*qts is below qms"):
        job.build()


def test_a_size_between_the_rows_takes_the_nearest() -> None:
    assert whole(driver_of(small_job(driver={"size": "6 1/2 in"})))["fs"] == 62.0
    assert whole(driver_of(small_job(driver={"size": "6x8 in"})))["fs"] == 65.0


def test_a_driver_without_size_is_placed_by_its_cone() -> None:
    by_area = driver_of(small_job(driver={"size": None, "sd": "84 cm2"}))
    by_width = driver_of(small_job(driver={"size": None, "diameter": "104 mm"}))
    # From memory: the row of a new 130 mm driver.
    assert whole(by_area)["fs"] == 80.0
    assert whole(by_width)["fs"] == 80.0
    assert whole(by_width)["sd"] == pytest.approx(math.pi / 4 * 0.104**2, rel=1e-12)


def test_nothing_to_place_a_driver_by_is_an_error_that_says_what_helps() -> None:
    with pytest.raises(JobError, match=r"driver\[d\]\.size.*give the size, or sd"):
        small_job(driver={"size": None, "re": "3.4 ohm"}).build()
    with pytest.raises(JobError, match=r'"500 mm".*fs, qms, qes, mms'):
        small_job(driver={"size": "500 mm", "re": "3.4 ohm", "sd": "1300 cm2"}).build()


def test_a_complete_sheet_needs_no_size() -> None:
    sheet = {
        "re": "3.3 ohm", "fs": "28 Hz", "qes": 0.5, "qms": 4.0, "vas": "120 L", "sd": "850 cm2",
    }  # fmt: skip
    basis = dict(driver_of(small_job(driver={"size": "380 mm", **sheet})).basis)
    assert set(basis) == set(sheet)


def test_all_drivers_that_fail_are_named_at_once() -> None:
    raw = small_job(driver={"size": None}, others=({"id": "other"},)).to_dict()
    raw["location"].append({**raw["location"][0], "id": "second", "driver": "other"})
    with pytest.raises(JobError, match="give the size, or sd") as caught:
        from_dict(raw).build()
    paths = [problem.path for problem in caught.value.problems]
    assert paths == ["driver[d].size", "driver[other].size"]


def test_an_age_not_given_is_taken_as_ageing() -> None:
    build = small_job(driver={"age": None}).build()
    assert build.locations[0].driver.age == "ageing"
    assert filled(build)["d.age"] == ("ageing", Origin.ASSUMED)


@pytest.mark.parametrize(
    ("given", "model", "names"),
    [
        ({}, "power-law", {"le", "n"}),
        ({"n": 0.6}, "power-law", {"le", "n"}),
        ({"le": "0.5 mH"}, "power-law", {"le", "n"}),
        ({"le": "0.5 mH", "n": 0.6}, "power-law", {"le", "n"}),
        ({"le": "0.5 mH", "n": 1}, "inductor", {"le"}),
        ({"k": "0.02 ohm s^n"}, "power-law", {"k", "n"}),
        ({"k": "0.02 ohm s^n", "n": 0.8}, "power-law", {"k", "n"}),
        ({"le": "0.3 mH", "l2": "0.4 mH", "r2": "3 ohm"}, "shunted", {"le", "l2", "r2"}),
    ],
)
def test_the_coil_is_modelled_by_what_is_known_of_it(
    given: dict[str, Any], model: str, names: set[str]
) -> None:
    coil = driver_of(small_job(driver=given)).coil
    values = {
        name: getattr(coil, name)
        for name in ("le", "k", "n", "l2", "r2")
        if getattr(coil, name) is not None
    }
    assert coil.model == model
    assert set(values) == names
    for name, value in values.items():
        assert value.origin == (
            Origin.SHEET if name in given else Origin.ASSUMED if name == "n" else Origin.TYPICAL
        )
    if "n" in values:
        # Common practice: 0.7 for an iron motor (Leach 2002 gives the law).
        assert values["n"].si == given.get("n", 0.7)


def test_a_basket_has_the_spread_of_a_calliper_and_the_rest_is_typical() -> None:
    build = small_job(driver={"frame": {"depth": "62 mm", "cutout": "146 mm ± 0.5 mm"}}).build()
    frame = build.locations[0].driver.frame
    assert points(frame.depth) == pytest.approx((0.0608, 0.062, 0.0632))
    assert frame.depth.origin == Origin.SHEET
    assert points(frame.cutout) == pytest.approx((0.1455, 0.146, 0.1465))
    # From memory: the typical 165 mm basket.
    assert points(frame.outer) == pytest.approx((0.158, 0.167, 0.176))
    assert frame.outer.origin == Origin.TYPICAL
    assert frame.screw_count == 4
    fills = filled(build)
    assert fills["d.frame.depth"] == ("62 mm ± 1.2 mm", Origin.ASSUMED)
    assert "d.frame.cutout" not in fills


def test_screws_that_are_given_are_not_mixed_with_typical_ones() -> None:
    frame = driver_of(small_job(driver={"frame": {"screws": {"count": 3}}})).frame
    assert (frame.screw_count, frame.screw_circle) == (3, None)


# Places -----------------------------------------------------------------------------------------


def test_a_door_that_says_nothing_is_a_typical_front_door() -> None:
    job = small_job()
    cavity, trim = cavity_of(job), trim_of(job)
    # From memory: numbers of front doors.
    assert points(cavity.volume) == pytest.approx((0.02, 0.04, 0.07))
    assert points(cavity.steel) == pytest.approx((0.6e-3, 0.8e-3, 1.2e-3))
    assert points(cavity.drains) == pytest.approx((2e-4, 6e-4, 20e-4))
    assert (cavity.drain_count, cavity.panel_hole_count) == (3, 1)
    assert points(cavity.panel_holes) == pytest.approx((0.2e-4, 2e-4, 10e-4))
    assert cavity.cover == "film"
    assert points(cavity.cover_mass) == pytest.approx((0.07, 0.1, 0.3))
    # A trim that nobody wrote down is taken to be sealed to the driver, without a gap around it.
    assert not trim.present
    assert trim.edge_gap.si == 0.0
    assert points(trim.volume) == pytest.approx((3e-3, 6e-3, 12e-3))
    assert points(trim.gap) == pytest.approx((0.012, 0.022, 0.040))
    door = door_of(job)
    assert door.mount.ring
    assert [value.si for value in door.mount.glass_depths] == [pytest.approx(0.062)]
    assert door.mount.cutout is None


@pytest.mark.parametrize(
    ("kind", "x", "litres"),
    [
        ("door", "0 m", (20, 40, 70)),
        ("door", "-0.1 m", (15, 30, 50)),
        ("panel", "0.5 m", (8, 25, 60)),
        ("shelf", "-1 m", (8, 25, 60)),
        ("roof", "-1 m", (4, 9, 15)),
    ],
)
def test_the_air_behind_is_that_of_the_kind_of_place(
    kind: str, x: str, litres: tuple[float, float, float]
) -> None:
    job = small_job(location={"kind": kind, "at": [x, "0.5 m", "1 m"]})
    # From memory: volumes by kind of place; the middle of the cabin parts front from rear.
    assert points(cavity_of(job).volume) == pytest.approx([each / 1000 for each in litres])


@pytest.mark.parametrize("kind", ["dash", "pillar", "free"])
def test_a_cup_or_the_bench_has_no_cavity_and_no_trim(kind: str) -> None:
    location = door_of(small_job(location={"kind": kind}))
    assert location.cavity is None
    assert location.trim is None
    assert location.mount.steel is None
    assert not location.mount.ring


def test_a_panel_without_trim_looks_into_the_cabin_through_a_ring() -> None:
    job = small_job(location={"kind": "panel"})
    trim = trim_of(job)
    assert not trim.present
    assert trim.edge_gap.si == 0.0
    assert not trim.edge_gap.spreads
    assert door_of(job).mount.ring
    bare = door_of(small_job(location={"kind": "panel", "mount": {"ring": False}}))
    assert not bare.mount.ring
    assert bare.mount.ring_origin == Origin.MEASURED


def test_a_trim_that_is_written_without_a_ring_has_none() -> None:
    build = small_job(location={"trim": {"volume": "5 L"}}).build()
    assert not build.locations[0].mount.ring
    assert filled(build)["door.mount.ring"] == ("not fitted", Origin.ASSUMED)


@pytest.mark.parametrize(
    ("given", "cover", "mass"),
    [
        ({"panel_holes": "60 cm2"}, "none", None),
        ({"panel_holes": "60 cm2", "cover": "film"}, "film", (0.07, 0.1, 0.3)),
        ({"panel_holes": "60 cm2", "cover": "patch"}, "patch", (2.5, 4.0, 7.0)),
        ({"cover": "patch", "cover_mass": "5 kg/m2"}, "patch", (None, 5.0, None)),
        ({"cover": "none"}, "none", None),
    ],
)
def test_the_cover_of_the_panel_holes(
    given: dict[str, Any], cover: str, mass: tuple[float | None, ...] | None
) -> None:
    cavity = cavity_of(small_job(location={"cavity": given}))
    assert cavity.cover == cover
    # From memory: films and bonded patches.
    assert (cavity.cover_mass and points(cavity.cover_mass)) == mass


def test_a_closed_group_of_openings_is_closed_and_fills_nothing() -> None:
    build = small_job(
        location={"cavity": {"drains": "0 cm2", "panel_holes": "0 cm2", "volume": "30 L"}}
    ).build()
    cavity = build.locations[0].cavity
    assert cavity is not None
    assert (cavity.drains.si, cavity.panel_holes.si, cavity.cover) == (0.0, 0.0, "none")
    assert not cavity.drain_q.spreads
    assert not [path for path in filled(build) if "drain" in path or "panel" in path]


def test_mount_dimensions_have_the_spread_of_a_ruler() -> None:
    mount = {
        "cutout": "122 mm", "land": "13 mm", "glass_depth": ["60 mm", "57 mm ± 1 mm"],
        "trim_gap": "24 mm", "spacer": "6 mm",
    }  # fmt: skip
    build = small_job(location={"mount": mount}).build()
    found = build.locations[0].mount
    margins = {
        value.path: round((value.quantity.high - value.si) * 1e3, 6)
        for value in (found.cutout, found.land, *found.glass_depths, found.trim_gap, found.spacer)
        if value is not None and value.quantity.high is not None
    }
    # Common practice, no source: a ruler reads to 1 mm (sigma), a calliper on plastic to 0.6 mm.
    assert margins == {
        "door.mount.cutout": 2.0,
        "door.mount.land": 2.0,
        "door.mount.glass_depth.1": 2.0,
        "door.mount.glass_depth.2": 1.0,
        "door.mount.trim_gap": 2.0,
        "door.mount.spacer": 1.2,
    }
    assert found.spacer.origin == Origin.MEASURED
    assert filled(build)["door.mount.trim_gap"] == ("24 mm ± 2 mm", Origin.ASSUMED)


def test_no_spacer_is_no_spacer() -> None:
    for mount in ({}, {"spacer": "0 mm"}):
        spacer = door_of(small_job(location={"mount": mount})).mount.spacer
        assert spacer.si == 0.0
        assert not spacer.spreads


def test_the_grille_is_that_of_the_driver_the_vehicle_came_with() -> None:
    job = small_job(
        driver={"sd": "62 cm2"},
        others=({"id": "large", "size": "200 mm", "age": "new"},),
        proposal=[{"id": "larger", "set": {"door.driver": "large"}}],
    )
    trims = [job.build(name).locations[0].trim for name in (None, "larger")]
    assert trims[0] == trims[1]
    # From memory: 60..90..130 cm2 for the 124 cm2 cone of a 165 mm driver, so half of that here.
    assert trims[0] is not None
    assert points(trims[0].grille_area) == pytest.approx((30e-4, 45e-4, 65e-4))


@pytest.mark.parametrize(
    "area", [{}, {"grille_area": "85 cm2 ± 10 cm2"}, {"grille_area": "90 cm2"}]
)
def test_the_grille_field_follows_the_grille(area: dict[str, str]) -> None:
    job = small_job(location={"trim": area})
    trim = trim_of(job)
    draws = draw(job.build().axes, samples=64)
    # From memory: 45 % of the field is open.
    np.testing.assert_allclose(draws(trim.grille_area) / draws(trim.grille_extent), 0.45, rtol=1e-9)


def test_a_grille_field_that_was_measured_stands() -> None:
    job = small_job(location={"trim": {"grille_area": "85 cm2", "grille_extent": "170 cm2"}})
    assert trim_of(job).grille_extent.si == pytest.approx(170e-4)


def test_a_grille_without_openings_is_refused() -> None:
    job = small_job(location={"trim": {"grille_area": "0 cm2"}})
    with pytest.raises(JobError, match=r"location\[door\]\.trim\.grille_area"):
        job.build()


# Radio, channels, cabin -------------------------------------------------------------------------


def test_a_radio_with_a_name_is_a_typical_one() -> None:
    unit = small_job().build().head_unit
    assert unit.output == "bridge"
    assert not unit.rated
    # Published or from memory, as the table says row by row.
    assert points(unit.supply) == (13.2, 13.8, 14.4)
    assert points(unit.feed_resistance) == (0.05, 0.1, 0.3)
    assert points(unit.output_resistance) == (0.03, 0.1, 0.3)
    assert points(unit.clip_loss) == (0.3, 0.35, 0.6)
    assert unit.minimum_load.si == 4.0
    assert unit.peak_current.si == 4.5
    assert points(unit.junction_to_dash) == (2.5, 3.2, 4.5)
    assert unit.dash.si == pytest.approx(323.15)
    assert points(unit.limit) == pytest.approx((423.15, 428.15, 438.15))
    assert unit.advertised_power is None


def test_a_radio_for_two_ohm_has_the_current_for_it() -> None:
    unit = small_job(head_unit={"minimum_load": "2 ohm"}).build().head_unit
    assert unit.rated
    # From memory: output chips made for 2 ohm.
    assert unit.peak_current.si == 9.0
    given = small_job(head_unit={"minimum_load": "2 ohm", "peak_current": "6 A"}).build()
    assert given.head_unit.peak_current.si == 6.0


@pytest.mark.parametrize(("x", "metres"), [("0.9 m", (2, 3.5, 5.5)), ("-0.9 m", (3, 5, 7))])
def test_a_cable_run_is_longer_to_the_rear(x: str, metres: tuple[float, float, float]) -> None:
    job = small_job(location={"at": [x, "0.8 m", "0.3 m"]})
    cable = job.build().channel("left").cable
    # From memory: radio to front and rear doors, factory wire.
    assert points(cable.length) == metres
    assert points(cable.size) == pytest.approx((0.35e-6, 0.5e-6, 0.75e-6))
    assert cable.resistance is None


def test_a_measured_cable_needs_no_length() -> None:
    cable = small_job(channel={"cable": {"resistance": "0.4 ohm"}}).build().channel("left").cable
    assert (cable.length, cable.size) == (None, None)
    assert cable.resistance is not None
    assert cable.resistance.si == 0.4


def test_a_load_becomes_a_tree_with_polarity_and_parts() -> None:
    load = "wire(1.2 m, 0.75 mm2) + (-door | 4.7 uF + 2 ohm | 10 uF)"
    channel = small_job(channel={"load": load}).build().channel("left")
    assert channel.polarity == (("door", -1),)
    assert [part.kind for part in channel.parts] == ["wire", "capacitor", "resistor", "capacitor"]
    values = [part.value for part in channel.parts if part.value is not None]
    assert {value.path: value.si for value in values} == pytest.approx(
        {
            "left.load.capacitor.1": 4.7e-6,
            "left.load.resistor.1": 2.0,
            "left.load.capacitor.2": 10e-6,
        }
    )
    wire = channel.parts[0].wire
    assert wire is not None
    assert wire.length is not None
    assert wire.length.si == pytest.approx(1.2)


def test_channel_settings() -> None:
    plain = small_job().build().channel("left")
    settings = plain.settings
    assert (settings.gain.si, settings.high_pass, settings.low_pass) == (0.0, None, None)
    cut = small_job(channel={"high_pass": "80 Hz", "gain": "-3 dB"}).build().channel("left")
    high = cut.settings.high_pass
    assert high is not None
    # Common practice, no source: radios cut at 12 dB/oct unless they say otherwise.
    assert (cut.settings.gain.si, high.corner.si, high.slope) == (-3.0, 80.0, 12)
    steep = small_job(channel={"high_pass": "80 Hz", "high_pass_slope": "24 dB/oct"})
    filtered = steep.build().channel("left").settings.high_pass
    assert filtered is not None
    assert filtered.slope == 24


@pytest.mark.parametrize(
    ("body", "volume", "length"),
    [
        ("compact", 2.2, 2.2),
        ("saloon", 2.6, 2.5),
        ("estate", 3.0, 2.9),
        # A door 0.9 m before the middle is inside: at least 1.8 m.
        ("pickup-cab", 1.6, 1.8),
        ("van", 8.0, 3.2),
    ],
)
def test_the_cabin_is_that_of_the_body(body: str, volume: float, length: float) -> None:
    vehicle = small_job(vehicle={"class": body}).build().vehicle
    assert (vehicle.cabin_volume.si, vehicle.cabin_length.si) == (volume, length)  # from memory


def test_a_cabin_nobody_described() -> None:
    vehicle = small_job().build().vehicle
    assert vehicle.vehicle_class == "other"
    assert (vehicle.curtain, vehicle.door_sensor) == ("unknown", "unknown")
    assert points(vehicle.leak_resistance) == (100.0, 200.0, 400.0)
    # Closed form: Sabine, A = 0.163 V/T, for 3 m3 and 0.12, 0.08 and 0.05 s.
    assert points(vehicle.absorption_area) == pytest.approx((4.075, 6.1125, 9.78))
    assert vehicle.temperature.si == pytest.approx(293.15)
    assert vehicle.battery.capacity is None


def test_what_is_given_is_measured_and_not_on_the_record() -> None:
    build = small_job(vehicle={"cabin_volume": "3.1 m3", "temperature": "5 degC"}).build()
    assert build.vehicle.cabin_volume.origin == Origin.MEASURED
    assert build.vehicle.temperature.si == pytest.approx(278.15)
    assert not {"vehicle.cabin_volume", "vehicle.temperature"} & set(filled(build))


# Builds of one job ------------------------------------------------------------------------------


def test_the_demo_builds_as_found_and_for_every_proposal(demo: Job) -> None:
    assert [demo.build(each.id).id for each in demo.proposals] == [
        "put-right", "put-right-patched", "slim-fronts", "larger-fronts",
    ]  # fmt: skip
    found = demo.build()
    assert (found.id, found.proposal, found.title) == ("as-found", None, "as found")
    assert demo.build("as-found") is found
    assert found.location("door-fl").driver.id == "budget-130"
    assert found.channel("front-right").polarity == (("door-fr", -1), ("pillar-fr", 1))
    slim = demo.build("slim-fronts")
    assert slim.location("door-fr").driver.id == "slim-130"
    assert slim.location("door-fr").mount.ring
    assert slim.channel("front-right").polarity == (("door-fr", 1), ("pillar-fr", 1))
    assert slim.seat("driver").ear[2].si == 1.25


def test_builds_of_one_job_share_their_axes(demo: Job) -> None:
    builds = [demo.build(), *(demo.build(each.id) for each in demo.proposals)]
    assert len({build.axes for build in builds}) == 1
    axes = builds[0].axes
    assert list(axes) == sorted(set(axes))
    needed = {axis for build in builds for value in build.values() for axis in value.axes}
    assert set(axes) == needed
    # The spread of a dimension that only one proposal fits is an axis everywhere.
    assert "slim-130.frame.depth" in axes
    assert "slim-130.frame.depth" not in {value.path for value in builds[0].values()}


def test_an_unchanged_value_is_drawn_alike_in_every_build(demo: Job) -> None:
    found, changed = demo.build(), demo.build("put-right-patched")
    first, second = draw(found.axes, samples=64), draw(changed.axes, samples=64)
    drawn = {value.path: first(value) for value in found.values()}
    shared = [value for value in changed.values() if value.path in drawn]
    assert len(shared) > 100
    for value in shared:
        if not value.path.endswith("cover_mass"):
            np.testing.assert_array_equal(second(value), drawn[value.path])


def test_every_value_can_be_drawn_and_row_zero_is_the_centre(demo: Job) -> None:
    for name in (None, "larger-fronts"):
        build = demo.build(name)
        draws = draw(build.axes, samples=16)
        for value in build.values():
            samples = draws(value)
            assert samples.shape in ((1, 1), (17, 1))
            assert samples[0, 0] == value.si
            assert np.all(np.isfinite(samples))


def test_paths_are_unique_and_every_filled_value_is_on_the_record(demo: Job) -> None:
    build = demo.build("larger-fronts")
    values = list(build.values())
    assert len({value.path for value in values}) == len(values)
    record = {fill.path for fill in build.fills}
    quiet = {"gain", "drain_q", "panel_hole_q"}
    for value in values:
        if value.origin in (Origin.TYPICAL, Origin.ASSUMED):
            assert value.path in record or value.path.rsplit(".", 1)[-1] in quiet, value.path


def test_what_a_proposal_sets_is_planned_and_not_measured(demo: Job) -> None:
    mass = demo.build("put-right-patched").location("door-fl").cavity
    assert mass is not None
    assert mass.cover_mass is not None
    assert mass.cover_mass.origin == Origin.ASSUMED
    assert mass.cover_mass.source == "planned in proposal put-right-patched"
    assert demo.build("put-right").location("door-fr").mount.ring_origin == Origin.ASSUMED
    assert demo.build().location("door-fr").mount.ring_origin == Origin.MEASURED


def test_states_can_be_used_as_keys(demo: Job) -> None:
    found, changed = demo.build(), demo.build("put-right")
    places = {location: location.id for build in (found, changed) for location in build.locations}
    # Both doors change; pillars, sides and roof are the same place in both builds.
    assert len(places) == 8 + 2
    assert hash(found) != hash(changed)
    assert len({found, changed, demo.build()}) == 2
    name = "name"
    with pytest.raises(dataclasses.FrozenInstanceError, match=name):
        setattr(found.locations[0], name, "other")


def test_a_proposal_that_is_not_there_is_refused_with_those_that_are(demo: Job) -> None:
    with pytest.raises(JobError, match=r'"put-wrong".*as-found, put-right'):
        demo.build("put-wrong")


def test_parts_of_a_build_that_are_not_there(demo: Job) -> None:
    for lookup in (demo.build().location, demo.build().channel, demo.build().seat):
        with pytest.raises(KeyError, match="nowhere"):
            lookup("nowhere")


def test_a_channel_of_which_nobody_knows_what_it_drives() -> None:
    job = loads(
        'format = 1\n[head_unit]\nname = "radio"\n'
        '[[channel]]\nid = "left"\nload = "unknown"\ncable = { length = "4 m" }\n'
        '[[channel]]\nid = "right"\nload = "door"\n'
        '[[location]]\nid = "door"\nkind = "door"\nat = ["0.9 m", "0.8 m", "0.3 m"]\n'
        'driver = "cone"\n[[driver]]\nid = "cone"\nsize = "165 mm"\n'
    )
    build = job.build()
    assert [channel.id for channel in build.channels] == ["right"]
    (unknown,) = build.unknown
    assert unknown.id == "left"
    assert unknown.cable.length is not None
    assert unknown.cable.length.si == 4.0
    assert job.channel("left").wiring is None
