"""The document: every field of the demo job, what a table refuses, freezing, the way back."""

import json
import tomllib
from datetime import date
from operator import attrgetter
from typing import Any

import pytest
from pydantic import ValidationError

from conewright.job.builds.job import Job
from conewright.job.document.document import (
    Cable,
    Cavity,
    Channel,
    DriverSheet,
    HeadUnit,
    Seat,
    Trim,
    Vehicle,
)
from conewright.job.quantity.values import Quantity
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import demo_text
from conewright.physics.electrics.wiring import Leaf, Parallel, Series


@pytest.fixture(scope="module")
def job() -> Job:
    return loads(demo_text())


# Closed form: SI values of what the demo job says, by the definition of each unit.
PHYSICAL = [
    ("vehicle.cabin_volume", 7.5, (6.5, 8.5)),
    ("vehicle.battery.capacity", 70 * 3600.0, None),
    ("vehicle.battery.health", 0.7, None),
    ("vehicle.battery.rest_voltage", 12.5, None),
    ("head_unit.supply", 13.8, None),
    ("head_unit.feed_resistance", 0.10, (0.08, 0.20)),
    ("head_unit.output_resistance", 0.10, (0.05, 0.30)),
    ("head_unit.clip_loss", 0.35, None),
    ("head_unit.peak_current", 4.5, None),
    ("head_unit.minimum_load", 4.0, None),
    ("head_unit.advertised_power", 45.0, None),
    ("head_unit.sleep_current", 3e-3, None),
    ("head_unit.thermal.junction_to_dash", 3.2, None),
    ("head_unit.thermal.dash", 323.15, None),
    ("head_unit.thermal.limit", 428.15, None),
    ("front_left.cable.length", 3.8, None),
    ("front_left.cable.size", 0.5e-6, None),
    ("door_fl.mount.cutout", 0.122, (0.121, 0.123)),
    ("door_fl.mount.screws.circle", 0.138, None),
    ("door_fl.mount.land", 0.013, None),
    ("door_fl.mount.steel", 0.8e-3, None),
    ("door_fl.mount.trim_gap", 0.024, (0.0225, 0.0255)),
    ("door_fl.cavity.volume", 0.042, (0.034, 0.050)),
    ("door_fl.cavity.drains", 6e-4, None),
    ("door_fl.cavity.panel_holes", 60e-4, (45e-4, 75e-4)),
    ("door_fl.trim.volume", 6e-3, None),
    ("door_fl.trim.grille_area", 85e-4, None),
    ("door_fl.trim.edge_gap", 12e-4, None),
    ("side_rl.mount.land", 0.020, None),
    ("side_rl.cavity.drains", 0.0, None),
    ("slim.rated_impedance", 4.0, None),
    ("slim.re", 3.4, None),
    ("slim.fs", 78.0, None),
    ("slim.qes", 0.78, None),
    ("slim.qms", 5.0, None),
    ("slim.vas", 4.6e-3, None),
    ("slim.sd", 84e-4, None),
    ("slim.le", 0.35e-3, None),
    ("slim.xmax", 3e-3, None),
    ("slim.power", 45.0, None),
    ("slim.sensitivity", 90.0, None),
    ("slim.frame.depth", 0.047, None),
    ("slim.frame.cutout", 0.118, None),
    ("slim.frame.outer", 0.136, None),
    ("slim.frame.front_height", 0.009, None),
    ("slim.frame.screws.circle", 0.138, None),
    ("budget.re", 3.4, (3.2, 3.6)),
]


def _part(job: Job, name: str) -> Any:
    parts = {
        "vehicle": job.vehicle,
        "head_unit": job.head_unit,
        "front_left": job.channel("front-left"),
        "door_fl": job.location("door-fl"),
        "side_rl": job.location("side-rl"),
        "slim": job.driver("slim-130"),
        "budget": job.driver("budget-130"),
    }
    return parts[name]


@pytest.mark.parametrize(("path", "value", "ends"), PHYSICAL)
def test_demo_values(job: Job, path: str, value: float, ends: tuple[float, float] | None) -> None:
    part, _, field = path.partition(".")
    quantity: Quantity = attrgetter(field)(_part(job, part))
    assert quantity.value == pytest.approx(value, rel=1e-12)
    assert (quantity.low is None) == (ends is None)
    if ends is not None:
        assert (quantity.low, quantity.high) == pytest.approx(ends, rel=1e-12)


def test_demo_words(job: Job) -> None:
    assert job.format == 1
    assert job.about.title == "Mobile library van: thin bass up front, rear cuts out on warm days"
    assert job.about.opened == date(2026, 3, 2)
    assert (job.about.currency, job.about.hour_rate, job.about.budget) == ("EUR", 38, 180)
    assert job.about.complaints == ("thin-after-change@front", "cuts-out-hot@rear")
    assert job.about.notes is not None
    assert (job.vehicle.name, job.vehicle.built) == ("Mobile library van", 2009)
    assert job.vehicle.class_ == "van"
    assert job.vehicle.restraints.curtain == job.vehicle.restraints.door_sensor == "none"
    assert (job.head_unit.name, job.head_unit.output) == ("radio as fitted", "bridge")
    door = job.location("door-fl")
    assert (door.name, door.kind, door.driver) == ("front left door", "door", "budget-130")
    assert (door.mount.ring, door.mount.screws.count, door.cavity.cover) == (False, 4, "none")
    slim = job.driver("slim-130")
    assert (slim.name, slim.age, slim.price) == ("130 mm coaxial, slim basket", "new", 58)
    assert slim.frame.screws.count == 4
    assert [seat.id for seat in job.seats] == ["driver", "story-corner"]
    assert [channel.id for channel in job.channels] == [
        "front-left", "front-right", "rear-left", "rear-right",
    ]  # fmt: skip


def test_demo_positions(job: Job) -> None:
    # Closed form: metres as written.
    assert [each.value for each in job.seat("story-corner").ear] == [-1.10, 0.0, 1.0]
    assert [each.value for each in job.location("door-fr").at] == [0.95, -0.82, 0.35]
    depths = job.location("door-fl").mount.glass_depth
    assert depths is not None
    assert [depth.value for depth in depths] == pytest.approx([0.060, 0.057, 0.059])


def test_demo_sizes(job: Job) -> None:
    size = job.driver("old-tweeter").size
    assert size is not None
    assert (size.minor, size.major, size.oval) == (0.025, 0.025, False)


def test_demo_load_is_read(job: Job) -> None:
    load = job.channel("front-right").wiring
    assert load is not None
    assert load.tree == Parallel((Leaf("door-fr"), Series((Leaf("part:1"), Leaf("pillar-fr")))))
    assert load.reversed == {"door-fr"}


def test_demo_readings_and_proposals(job: Job) -> None:
    first, second = job.readings[:2]
    assert (first.test, first.at, first.value) == ("mono-bass", "front", "weaker")
    assert (second.at, second.value) == ("rear-left", "2.2 ohm ± 0.1 ohm")
    patched = job.proposal("put-right-patched")
    assert (patched.hours, patched.extra_cost) == (2.5, 33)
    assert patched.set["door-f?.cavity.cover_mass"] == "4 kg/m2"
    assert [proposal.id for proposal in job.proposals] == [
        "put-right", "put-right-patched", "slim-fronts", "larger-fronts",
    ]  # fmt: skip


def test_like_copies_what_is_not_overridden(job: Job) -> None:
    left, right = job.location("door-fl"), job.location("door-fr")
    assert right.name == "front right door"
    assert right.at[1].value == -0.82
    assert (right.kind, right.driver) == (left.kind, left.driver)
    assert (right.mount, right.cavity, right.trim) == (left.mount, left.cavity, left.trim)


def test_dict_reads_back_equal(job: Job) -> None:
    assert from_dict(job.to_dict()) == job


def test_dict_holds_what_the_file_holds(job: Job) -> None:
    raw = tomllib.loads(demo_text())
    written = job.to_dict()
    assert set(written) == set(raw)
    for table in ("seat", "channel", "driver", "reading", "proposal"):
        assert [set(each) for each in written[table]] == [set(each) for each in raw[table]]


def test_json_reads_back_equal(job: Job) -> None:
    assert loads(json.dumps(job.to_dict()), "json") == job


@pytest.mark.parametrize("field", ["name", "thermal"])
def test_frozen(job: Job, field: str) -> None:
    with pytest.raises(ValidationError, match="frozen"):
        setattr(job.head_unit, field, "another")


def test_unknown_id_is_a_key_error(job: Job) -> None:
    with pytest.raises(KeyError, match="nowhere"):
        job.location("nowhere")


@pytest.mark.parametrize(
    ("text", "minor", "major"),
    # Closed form: the inch is 25.4 mm.
    [
        ("6x9 in", 0.1524, 0.2286),
        ("4 × 6 in", 0.1016, 0.1524),
        ("100x150 mm", 0.1, 0.15),
        ("9x6in", 0.1524, 0.2286),
        ("6 1/2 in", 0.1651, 0.1651),
        ("16,5 cm", 0.165, 0.165),
    ],
)
def test_sizes(text: str, minor: float, major: float) -> None:
    size = DriverSheet.model_validate({"id": "d", "size": text}).size
    assert size is not None
    assert (size.minor, size.major) == pytest.approx((minor, major), rel=1e-12)
    assert size.oval == (minor != major)


DRIVER = {"id": "d"}
CHANNEL = {"id": "c", "load": "a"}
POINT = ["0 m", "0 m", "0 m"]


@pytest.mark.parametrize(
    ("table", "fields", "match"),
    [
        (DriverSheet, DRIVER | {"re": 3.4}, "text in quotes with a unit"),
        (DriverSheet, DRIVER | {"re": True}, "text in quotes with a unit"),
        (DriverSheet, DRIVER | {"re": "3.4"}, "the unit is missing"),
        (DriverSheet, DRIVER | {"re": "0 ohm"}, "above zero"),
        (DriverSheet, DRIVER | {"re": "3.4 ohm ± 4 ohm"}, "whole of its spread"),
        (DriverSheet, DRIVER | {"re": "3.4 mm"}, "resistance"),
        (DriverSheet, DRIVER | {"qes": True}, "a number is wanted"),
        (DriverSheet, DRIVER | {"qes": "0.7 mm"}, "number"),
        (DriverSheet, DRIVER | {"qes": float("nan")}, "a number is wanted"),
        (DriverSheet, DRIVER | {"qes": 10**400}, "a number is wanted"),
        (DriverSheet, DRIVER | {"qes": -0.7}, "above zero"),
        (DriverSheet, DRIVER | {"size": "165 mm ± 1 mm"}, "nominal"),
        (DriverSheet, DRIVER | {"size": 165}, "size with a unit"),
        (DriverSheet, DRIVER | {"size": "6x0 in"}, "above zero"),
        (DriverSheet, DRIVER | {"price": "58"}, "valid number"),
        (DriverSheet, DRIVER | {"l2": "0.3 mH"}, "belong together"),
        (DriverSheet, DRIVER | {"l2": "0.3 mH", "r2": "2 ohm"}, "belong together"),
        (DriverSheet, DRIVER | {"qms": 0.6, "qts": 0.7}, "no driver is like this sheet"),
        (DriverSheet, {"id": "2nd"}, "pattern"),
        (DriverSheet, {"id": "a--b"}, "pattern"),
        (Channel, CHANNEL | {"load": "a | (b"}, "never closed"),
        (Channel, CHANNEL | {"load": ""}, "at least 1 character"),
        (Channel, CHANNEL | {"gain": "3"}, "the unit is missing"),
        (Channel, CHANNEL | {"high_pass_slope": "12 dB/oct"}, "needs a high_pass"),
        (Channel, CHANNEL | {"high_pass": "80 Hz", "high_pass_slope": "10 dB/oct"}, "6 dB/oct"),
        (Cable, {"length": "3 m", "resistance": "0.2 ohm"}, "not both"),
        (Cavity, {"cover_mass": "4 kg/m2"}, "needs a cover"),
        (Cavity, {"drains": "-1 cm2"}, "below zero"),
        (Cavity, {"drain_count": 0}, "greater than or equal to 1"),
        (Cavity, {"drain_count": 3.0}, "valid integer"),
        (Trim, {"grille_area": "80 cm2", "grille_extent": "60 cm2"}, "cannot be smaller"),
        (Vehicle, {"built": True}, "valid integer"),
        (Vehicle, {"colour": "red"}, "Extra inputs"),
        (HeadUnit, {}, "Field required"),
        (Seat, {"id": "s", "ear": POINT[:2]}, "Field required"),
        (Seat, {"id": "s", "ear": [*POINT, "0 m"]}, "at most 3"),
    ],
)
def test_tables_refuse(table: type[Any], fields: dict[str, Any], match: str) -> None:
    with pytest.raises(ValidationError, match=match):
        table.model_validate(fields)


def test_zero_where_zero_means_something() -> None:
    assert Cable.model_validate({"resistance": "0 ohm"}).resistance == Quantity(
        0.0, "resistance", "ohm"
    )
    assert Cavity.model_validate({"cover": "none", "cover_mass": "4 kg/m2"}).cover == "none"


def test_high_pass_off_is_kept_as_off() -> None:
    channel = Channel.model_validate(CHANNEL | {"high_pass": "off", "high_pass_slope": "12 dB/oct"})
    assert channel.high_pass is None
    again = Channel.model_validate(channel.model_dump(mode="json", exclude_unset=True))
    assert again == channel


def test_percent_and_spread_of_plain_numbers() -> None:
    # Closed form: 70 % is 0.7, and ± 0.1 about 0.7 ends at 0.6 and 0.8.
    vehicle = Vehicle.model_validate({"battery": {"health": "70 %"}})
    assert vehicle.battery.health is not None
    assert vehicle.battery.health.value == pytest.approx(0.7)
    sheet = DriverSheet.model_validate(DRIVER | {"qts": "0.7 ± 0.1"})
    assert sheet.qts is not None
    assert (sheet.qts.low, sheet.qts.high) == pytest.approx((0.6, 0.8))
    assert DriverSheet.model_validate(sheet.model_dump(mode="json", exclude_unset=True)) == sheet
