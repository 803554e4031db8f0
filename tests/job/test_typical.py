"""The typical tables: consistent with themselves, complete, and each row with its source."""

import csv
from importlib.resources import files

import numpy as np
import pytest

from conewright.job.builds.typical import (
    Typical,
    driver_typical,
    nearest_area,
    nearest_size,
    rated_resistance,
    scaled,
    typical,
    typical_or_none,
)
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.air import Air
from conewright.physics.drivers.thiele_small import complete

SIZES = (
    "25 mm", "77 mm", "87 mm", "100 mm", "4x6 in", "130 mm", "165 mm", "5x7 in", "200 mm", "6x9 in",
    "3x5 in", "4x10 in", "250 mm", "300 mm", "380 mm",
)  # fmt: skip
DRIVERS = [f"{size}/{age}" for size in SIZES for age in ("ageing", "new")]
WARM = Air(temperature=298.15)  # the level column was written for 1.184 kg/m3
TABLES = ("ages", "cabin", "cable", "door", "drivers", "frames", "head_unit", "rated_impedance")


def central(key: str, name: str) -> float:
    return typical("drivers", key, name).quantity.value


def completed(key: str) -> dict[str, float]:
    """The typical set as it is used: Re, fs, Qts, Qms, Mms and Sd; everything else follows."""
    known = {name: central(key, name) for name in ("re", "fs", "qts", "qms", "mms", "sd")}
    return {name: float(value) for name, value in complete(known, air=WARM).items()}


@pytest.mark.parametrize("key", DRIVERS)
def test_a_typical_driver_agrees_with_its_own_level(key: str) -> None:
    # From memory: the level column of the same table, 2.83 V at 1 m in half space.
    assert completed(key)["sensitivity"] == pytest.approx(central(key, "sensitivity"), abs=0.3)


@pytest.mark.parametrize("key", [key for key in DRIVERS if not key.startswith("25 mm")])
def test_a_typical_driver_agrees_with_its_own_vas(key: str) -> None:
    # From memory: the Vas column of the same table; a dome's is too small to be listed.
    assert completed(key)["vas"] == pytest.approx(central(key, "vas"), rel=0.05)


@pytest.mark.parametrize("table", TABLES)
def test_every_row_has_a_source_and_points_in_order(table: str) -> None:
    text = (
        files("conewright.job.builds").joinpath("data", f"{table}.csv").read_text(encoding="utf-8")
    )
    rows = list(csv.DictReader(text.splitlines()))
    assert rows
    for row in rows:
        quantity = typical(table, row["key"], row["quantity"]).quantity
        assert row["source"], row
        assert quantity.dimension == row["dimension"]
        assert (quantity.low is None) == (row["low"] == "")
        if quantity.low is not None and quantity.high is not None:
            assert 0.0 < quantity.low < quantity.value < quantity.high


def test_the_factory_165_is_the_size_that_was_measured() -> None:
    # Published: a factory 165 mm driver measured at 125.5 mm effective diameter, 123.7 cm2.
    assert central("165 mm/ageing", "sd") == pytest.approx(np.pi / 4 * 0.1255**2, rel=0.005)


@pytest.mark.parametrize(
    ("rated", "points"),
    [
        # From memory: the usual coils of the usual ratings.
        (2.0, (1.6, 1.75, 1.85)),
        (3.0, (2.5, 2.75, 2.9)),
        (4.0, (3.2, 3.4, 3.6)),
        (6.0, (4.8, 5.2, 5.6)),
        # Published: data sheets of 8 ohm drivers give 5.5 to 6.2 ohm.
        (8.0, (5.5, 5.8, 6.2)),
        # Published (IEC 60268-5): the lowest impedance is at least 80 % of the rated one; ends by
        # the shares of 8 and 3 ohm drivers.
        (16.0, (11.04, 12.8, 14.4)),
    ],
)
def test_a_rated_impedance_picks_the_coil(rated: float, points: tuple[float, float, float]) -> None:
    quantity = rated_resistance(rated).quantity
    assert quantity.dimension == "resistance"
    found = (quantity.low, quantity.value, quantity.high)
    assert found == pytest.approx(points, rel=1e-12)


def test_a_higher_rating_has_a_coil_of_more_ohms() -> None:
    ratings = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 16.0)
    coils = [rated_resistance(rated).quantity.value for rated in ratings]
    assert coils == sorted(set(coils))
    # Closed form: no coil has more ohms than is printed on its magnet.
    assert all(coil < rated for coil, rated in zip(coils, ratings, strict=True))


def test_a_6x9_is_as_deep_as_fitment_tables_say() -> None:
    # Published: fitment tables commonly give 3.2 to 3.6 in, 81 to 91 mm.
    assert 81e-3 < typical("frames", "6x9 in", "depth").quantity.value < 91e-3


@pytest.mark.parametrize(
    ("minor", "major", "size"),
    [
        (0.165, 0.165, "165 mm"),
        (0.16, 0.16, "165 mm"),
        (0.1651, 0.1651, "165 mm"),
        (0.13335, 0.13335, "130 mm"),
        (0.12, 0.12, "130 mm"),
        (0.019, 0.019, None),
        (0.3, 0.3, "300 mm"),
        (0.254, 0.254, "250 mm"),
        (0.381, 0.381, "380 mm"),
        (0.46, 0.46, None),
        (0.0889, 0.127, "3x5 in"),
        (0.1016, 0.254, "4x10 in"),
        (0.1524, 0.2286, "6x9 in"),
        (0.1524, 0.2032, "5x7 in"),
        (0.1016, 0.1524, "4x6 in"),
        (0.0762, 0.3048, None),
    ],
)
def test_a_nominal_size_finds_its_row(minor: float, major: float, size: str | None) -> None:
    assert nearest_size(minor=minor, major=major) == size


def test_a_cone_area_finds_the_round_size_with_that_cone() -> None:
    assert nearest_area(126e-4, age="new") == "165 mm"
    assert nearest_area(60e-4, age="ageing") == "100 mm"
    assert nearest_area(500e-4, age="new") == "300 mm"
    assert nearest_area(120e-4, age="old") == "165 mm"


OVALS = ("3x5 in", "4x6 in", "5x7 in", "6x9 in", "4x10 in")


@pytest.mark.parametrize("size", OVALS)
@pytest.mark.parametrize("age", ["ageing", "new"])
def test_an_oval_row_has_the_area_of_its_two_axes(size: str, age: str) -> None:
    # Closed form: an oval is pi/4 a b. Of the opening the cone takes 60 to 92 %, as round ones do
    # (165 mm: 75 %); the rest is half of the surround, and the rim of the basket.
    short, long = (
        typical("frames", size, name).quantity.value for name in ("cutout", "cutout_long")
    )
    share = central(f"{size}/{age}", "sd") / (np.pi / 4 * short * long)
    assert 0.6 < share < 0.92
    assert short < long


def test_frames_above_200_mm_are_known_widely_only() -> None:
    # From memory: fitted loudspeakers come in steady frames, bought woofers in any. The band of
    # depths is wider than that of 165 mm, where 50 to 72 mm is known.
    for size in ("250 mm", "300 mm", "380 mm"):
        depth = typical("frames", size, "depth").quantity
        assert depth.low is not None
        assert depth.high is not None
        assert depth.high / depth.low > 1.8
        outer = typical("frames", size, "outer").quantity.value
        assert outer > float(size.split()[0]) / 1e3


def test_ages_change_the_resonance_as_stiffness_does() -> None:
    # Closed form: fs goes with the root of the stiffness, so 1.12 is a stiffness of 1.25.
    old, ageing = (driver_typical("165 mm", age, "fs").quantity for age in ("old", "ageing"))
    assert old.value / ageing.value == pytest.approx(1.25**0.5, rel=2e-3)
    # Spreads that have nothing to do with each other add as squares, in logarithms.
    assert old.high is not None
    assert ageing.high is not None
    spread = np.hypot(np.log(ageing.high / ageing.value), np.log(1.35 / 1.12))
    assert np.log(old.high / old.value) == pytest.approx(spread, rel=1e-12)
    # What no row of an age names is as the age it is taken from.
    assert driver_typical("165 mm", "old", "sd") == driver_typical("165 mm", "ageing", "sd")
    repaired = driver_typical("165 mm", "repaired", "fs").quantity
    assert ageing.value < repaired.value < old.value


def test_scaling_keeps_the_kind_of_spread() -> None:
    kinds = (
        Quantity.of(2.0, "area"),
        Quantity.of(2.0, "area", margin=0.5),
        Quantity.of(None, "area", low=1.0, high=4.0),
        Quantity.of(1.5, "area", low=1.0, high=4.0),
    )
    for quantity in kinds:
        large = scaled(Typical(quantity, "own"), 3.0, source="scaled").quantity
        assert large.spread == quantity.spread
        assert large.value == pytest.approx(3.0 * quantity.value, rel=1e-12)
        if quantity.high is not None:
            assert large.high == pytest.approx(3.0 * quantity.high, rel=1e-12)


def test_a_row_that_is_not_there_is_told_from_one_that_is() -> None:
    assert typical_or_none("frames", "25 mm", "screw_circle") is None
    assert typical_or_none("frames", "165 mm", "screw_circle") is not None
    with pytest.raises(KeyError, match="screw_circle"):
        typical("frames", "25 mm", "screw_circle")
