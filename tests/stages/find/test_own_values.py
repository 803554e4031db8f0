"""A place may have values of its own over its driver's sheet: left and right age apart.

What each case must give was written down before it was run: closed forms where they are named,
else common practice, no source.
"""

import json
import math

import numpy as np
import pytest
from four_doors import Reading, car

import conewright as cw
from bands import band
from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.text.editing import with_values
from conewright.job.text.labels import fields_of, part_of
from conewright.job.text.parsing import loads
from conewright.physics.basics.air import Air
from conewright.physics.drivers.thiele_small import complete, remeasured

SHEET = """fs = "70 Hz"
qms = 5
qes = 1.25
mms = "9.5 g"
sd = "124 cm2"
le = "0.35 mH"
"""
PLAN = """
[[seat]]
id = "driver"
ear = ["0.2 m", "0.4 m", "1.1 m"]
[[proposal]]
id = "new"
set = { "door-fl.driver" = "fresh" }
[[proposal]]
id = "ring"
set = { "door-fl.mount.ring" = true }
[[driver]]
id = "fresh"
size = "165 mm"
age = "new"
re = "3.3 ohm"
"""


def door(own: str, *readings: Reading, complaints: tuple[str, ...] = ()) -> Job:
    """The car, with values of its own at the front left door."""
    tables = car(*readings, complaints=complaints, sheet=SHEET, more=PLAN).to_dict()
    [place] = [each for each in tables["location"] if each["id"] == "door-fl"]
    place["own"] = loads_own(own)
    return loads(json.dumps(tables), "json")


def loads_own(own: str) -> object:
    """Values as a job file has them, `re = "3.6 ohm", fs = "62 Hz"`."""
    import tomllib

    return tomllib.loads(f"own = {{ {own} }}")["own"]


def told(job: Job) -> list[str]:
    """Where feed says that a reading cannot be so."""
    return [each.id for each in cw.feed(job.build()).verdicts if each.id.endswith("disagrees")]


def test_the_ohms_of_one_side_are_its_own() -> None:
    report = cw.feed(door('re = "3.0 ohm"').build())
    left, right = (band(report.figure(f"{name}.plug_resistance"))[1] for name in ("fl", "fr"))
    # Closed form: the copper of both is as warm, so the plugs differ by as much as the coils.
    assert right - left == pytest.approx(3.4 - 3.0, rel=1e-9)


def test_another_resonance_leaves_mass_and_motor_and_changes_the_suspension() -> None:
    whole = complete(
        {"re": 3.4, "fs": 70.0, "qms": 5.0, "qes": 1.25, "mms": 9.5e-3, "sd": 0.0124}, air=Air()
    )
    aged = remeasured(whole, own={"fs": 62.0}, air=Air())
    assert aged["mms"] == whole["mms"]
    assert aged["bl"] == whole["bl"]
    # Small 1972: fs = 1/(2 pi sqrt(Mms Cms)), Qes = 2 pi fs Mms Re/Bl^2, Qms = 2 pi fs Mms/Rms.
    assert aged["cms"] == pytest.approx(1.0 / ((2 * math.pi * 62.0) ** 2 * 9.5e-3), rel=1e-12)
    assert aged["qes"] == pytest.approx(1.25 * 62.0 / 70.0, rel=1e-12)
    assert aged["qms"] == pytest.approx(5.0 * 62.0 / 70.0, rel=1e-12)
    assert aged["vas"] == pytest.approx(whole["vas"] * (70.0 / 62.0) ** 2, rel=1e-12)


@pytest.mark.parametrize(
    ("own", "moved", "held"),
    [
        ({"re": 3.1}, {"qes", "qts"}, {"fs", "bl", "mms", "cms", "rms", "qms"}),
        ({"qes": 1.6}, {"bl", "qts"}, {"fs", "re", "mms", "cms", "rms", "qms"}),
        ({"qms": 3.0}, {"rms", "qts"}, {"fs", "re", "bl", "mms", "cms", "qes"}),
        ({"bl": 3.0}, {"qes", "qts"}, {"fs", "re", "mms", "cms", "rms", "qms"}),
        ({"mms": 10e-3}, {"fs"}, {"re", "bl", "cms", "rms", "sd", "vas"}),
        ({"cms": 4e-4}, {"fs", "vas"}, {"re", "bl", "mms", "rms", "sd"}),
        ({"rms": 1.2}, {"qms", "qts"}, {"fs", "re", "bl", "mms", "cms", "qes"}),
        ({"fs": 62.0, "qms": 4.0, "qes": 1.0}, {"bl", "rms", "cms"}, {"mms", "re", "sd"}),
    ],
)
def test_what_was_not_measured_is_held(
    own: dict[str, float], moved: set[str], held: set[str]
) -> None:
    whole = complete(
        {"re": 3.4, "fs": 70.0, "qms": 5.0, "qes": 1.25, "mms": 9.5e-3, "sd": 0.0124}, air=Air()
    )
    found = remeasured(whole, own=own, air=Air())
    assert {name for name in moved if math.isclose(found[name], whole[name], rel_tol=1e-9)} == set()
    for name in held:
        assert found[name] == pytest.approx(whole[name], rel=1e-12)
    for name, value in own.items():
        assert found[name] == value


def test_it_is_heard_as_a_driver_of_a_type_of_its_own() -> None:
    tables = door('fs = "62 Hz", re = "3.1 ohm"').to_dict()
    figures = cw.loads(json.dumps(tables), "json").build().location("door-fl").driver.figures()
    alone = json.loads(json.dumps(tables))
    [place] = [each for each in alone["location"] if each["id"] == "door-fl"]
    del place["own"]
    place["driver"] = "aged"
    units = (("re", "ohm"), ("fs", "Hz"), ("cms", "m/N"), ("rms", "kg/s"), ("bl", "T m"))
    sheet = {name: f"{figures[name]:.15g} {unit}" for name, unit in units if name != "cms"}
    [cone] = [each for each in alone["driver"] if each["id"] == "cone"]
    kept = {name: cone[name] for name in ("size", "age", "sd", "mms", "le")}
    alone["driver"].append({"id": "aged", **kept, **sheet})
    one, other = (
        cw.hear(loads(json.dumps(each), "json").build()).curve("driver.level").value
        for each in (tables, alone)
    )
    assert np.max(np.abs(one - other)) < 1e-6
    untouched = cw.hear(car(sheet=SHEET, more=PLAN).build()).curve("driver.level").value
    assert np.max(np.abs(one - untouched)) > 0.5


def test_a_plan_for_another_driver_ends_them_and_any_other_plan_keeps_them() -> None:
    job = door('re = "3.0 ohm"')
    assert dict(job.build("ring").location("door-fl").driver.own)["re"].si == 3.0
    assert job.build("new").location("door-fl").driver.own == ()
    plug = cw.feed(job.build("new")).figure("fl.plug_resistance").value
    same = cw.feed(car(sheet=SHEET, more=PLAN).build("new")).figure("fl.plug_resistance").value
    assert plug == same


def test_a_plan_may_bring_values_of_its_own() -> None:
    tables = door('re = "3.0 ohm"').to_dict()
    tables["proposal"][0]["set"]["door-fl.own.re"] = "3.5 ohm"
    own = dict(loads(json.dumps(tables), "json").build("new").location("door-fl").driver.own)
    assert {name: value.si for name, value in own.items()} == {"re": 3.5}


def test_a_place_like_another_has_none_of_its_own() -> None:
    text = """
    format = 1
    [head_unit]
    name = "radio"
    [[channel]]
    id = "l"
    load = "door-l"
    [[channel]]
    id = "r"
    load = "door-r"
    [[location]]
    id = "door-l"
    kind = "door"
    at = ["0.9 m", "0.8 m", "0.3 m"]
    driver = "cone"
    own = { re = "3.6 ohm" }
    [[location]]
    id = "door-r"
    like = "door-l"
    at = ["0.9 m", "-0.8 m", "0.3 m"]
    [[driver]]
    id = "cone"
    size = "165 mm"
    """
    build = loads(text).build()
    assert dict(build.location("door-l").driver.own)["re"].si == 3.6
    assert build.location("door-r").driver.own == ()


def test_a_reading_that_disagrees_with_it_is_told_by_name() -> None:
    reading = ("coil-resistance", "door-fl", '"2.9 ohm"')
    assert told(door('re = "3.6 ohm"', reading)) == ["door-fl.coil-resistance-disagrees"]
    swept = ("impedance-sweep", "door-fl", '{ resonance = "95 Hz", coil = "3.6 ohm" }')
    assert told(door('re = "3.6 ohm", fs = "50 Hz"', swept)) == [
        "door-fl.impedance-sweep-resonance-disagrees"
    ]


def test_a_reading_that_agrees_narrows_it() -> None:
    loose = 're = "3.6 ohm ± 0.6 ohm"'
    read = ("coil-resistance", "door-fl", '"3.75 ohm ± 0.05 ohm"')
    assert told(door(loose, read)) == []
    before, after = (
        band(cw.feed(job.build()).figure("fl.plug_resistance"))
        for job in (door(loose), door(loose, read))
    )
    assert after[2] - after[0] < (before[2] - before[0]) / 2
    assert after[1] > before[1]


@pytest.mark.parametrize(
    ("own", "said"),
    [
        ('re = "3600 ohm"', r"location\[door-fl\]\.own\.re: .*0\.1 to 1000 ohm is possible"),
        ('re = "3.6 kg"', r"location\[door-fl\]\.own\.re"),
        ('qts = "0.9"', r'location\[door-fl\]\.own.*"?qts'),
        ('fs = "62 Hz", mms = "9 g", cms = "0.7 mm/N"', "cms follows from fs, mms: leave one"),
    ],
)
def test_what_cannot_be_is_refused_by_name(own: str, said: str) -> None:
    with pytest.raises(JobError, match=said):
        door(own)


def test_what_is_seldom_so_is_asked_back_until_it_is_sure() -> None:
    job = door('re = "2.6 ohm"')
    assert [each.path for each in job.doubts if "own" in each.path] == ["door-fl.own.re"]
    tables = job.to_dict()
    tables["job"]["sure"] = ["door-fl.own.re"]
    assert not [each for each in loads(json.dumps(tables), "json").doubts if "own" in each.path]
    assert not [each for each in door('re = "3.5 ohm", fs = "64 Hz"').doubts if "own" in each.path]


def test_it_stands_on_the_page_of_the_place_and_is_edited_there() -> None:
    text = cw.starter_text()
    job = loads(text)
    place = job.locations[0].id
    paths = [field.path for field in fields_of(part_of(job, place))]
    assert {f"{place}.own.re", f"{place}.own.fs", f"{place}.own.le"} <= set(paths)
    changed = with_values(text, {f"{place}.own.re": "3.6 ohm"})
    assert loads(changed).location(place).own.re is not None
    assert loads(with_values(changed, {f"{place}.own.re": None})).location(place).own.re is None


def test_json_and_toml_hold_it_alike() -> None:
    job = door('re = "3.6 ohm ± 0.1 ohm", fs = "62 Hz"')
    again = loads(json.dumps(job.to_dict()), "json")
    assert again.location("door-fl").own == job.location("door-fl").own
    assert again.to_dict() == job.to_dict()


def test_own_ohms_count_as_a_reading_of_the_coil() -> None:
    silent = ("silent-corner@fl",)
    blank = cw.find(car(complaints=silent, sheet=SHEET, more=PLAN).build())
    known = cw.find(door('re = "3.5 ohm"', complaints=silent).build())
    cause = "cause.coil-open@door-fl"
    likely, less = (
        max((each.value or 0.0 for each in report.figures if each.id == cause), default=0.0)
        for report in (blank, known)
    )
    assert likely > 0.15
    assert less <= 0.03


def test_a_finding_comes_on_top_of_it() -> None:
    job = door('re = "3.0 ohm"').with_finding("coil-open", "door-fl")
    assert cw.feed(job.build()).figure("fl.plug_resistance").text == "open"
