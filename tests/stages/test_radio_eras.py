"""What a radio can do by its era: what is not there cannot be set, fail, or be asked about."""

from typing import Any

import pytest

import conewright as cw
from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.papers.press.answers import Answers
from conewright.papers.work.checks import settings
from conewright.phrases import counted
from conewright.stages.find.faults.presence import can_fail
from conewright.stages.report.data import Severity

THINGS = ("settings", "microphone", "amplifier-off", "sleep-drain", "reversed")


def job(*loads: str, **more: Any) -> Job:
    """Doors on as many outputs as there are loads."""
    names = sorted({name for load in loads for name in load.split(" | ")})
    vehicle = {"class": "saloon", "restraints": {"door_sensor": "none", "curtain": "none"}}
    return from_dict(
        {
            "format": 1,
            "vehicle": vehicle | more.pop("vehicle", {}),
            "seat": [{"id": "driver", "ear": ["0.15 m", "0.36 m", "1.05 m"]}],
            "head_unit": {"name": "radio"} | more.pop("head_unit", {}),
            "channel": [
                {"id": f"out-{n}", "load": load} | more.get("channel", {})
                for n, load in enumerate(loads)
            ],
            "location": [
                {
                    "id": name,
                    "kind": "door",
                    "driver": "d",
                    "at": ["0.75 m", f"{0.7 - 1.4 * n} m", "0.3 m"],
                }
                for n, name in enumerate(names)
            ],
            "driver": [{"id": "d", "size": "165 mm", "age": "ageing"}],
            **{name: each for name, each in more.items() if name != "channel"},
        }
    )


@pytest.mark.parametrize(
    ("era", "there"),
    [
        # Common practice, no source: what came with radios of each kind.
        ("mono", set()),
        ("stereo", {"settings", "amplifier-off", "sleep-drain"}),
        ("digital", {"settings", "amplifier-off", "sleep-drain"}),
        ("connected", {"settings", "amplifier-off", "sleep-drain", "microphone"}),
        (None, {"settings", "amplifier-off", "sleep-drain", "microphone"}),
    ],
)
def test_what_there_can_be_follows_the_era(era: str | None, there: set[str]) -> None:
    unit = {} if era is None else {"era": era}
    build = job("fl", head_unit=unit).build()
    assert {each for each in THINGS if can_fail(each, build, cones=1)} == there


def test_what_the_job_says_counts_before_the_era() -> None:
    told = job("fl", job={"complaints": ["callers-cannot-hear"]}, head_unit={"era": "digital"})
    assert can_fail("microphone", told.build(), cones=1)
    carries = job("fl", head_unit={"era": "connected", "carries": []})
    assert not can_fail("microphone", carries.build(), cones=1)
    # A radio of today in a vehicle of 1972.
    new = job("fl", head_unit={"era": "connected"}, vehicle={"built": 1972})
    assert can_fail("microphone", new.build(), cones=1)


def test_old_radios_have_a_side_on_chassis_unless_somebody_looked() -> None:
    # From memory: single-ended and booster outputs before the bridge.
    assert job("fl", head_unit={"era": "stereo"}).build().head_unit.output == "common-ground"
    assert job("fl", head_unit={"era": "digital"}).build().head_unit.output == "bridge"
    seen = {"era": "mono", "output": "bridge"}
    assert job("fl", head_unit=seen).build().head_unit.output == "bridge"
    fill = next(
        each
        for each in job("fl", head_unit={"era": "mono"}).build().fills
        if each.path == "head_unit.output"
    )
    assert "of the era mono" in fill.source


def said_of_travel(made: Job, plan: str | None = None) -> str:
    return " ".join(v.text for v in cw.hear(made.build(plan)).verdicts if v.id.endswith(".travel"))


WEAK = [{"id": "d", "size": "165 mm", "age": "old", "xmax": "2.5 mm"}]


@pytest.mark.parametrize(
    ("unit", "built", "menu"),
    [
        # Written, or following from the vehicle's year: one answer. From memory: the first radios
        # with a menu came in the middle of the 1990s.
        ({"era": "stereo"}, 1984, False),
        ({}, 1984, False),
        ({}, 2009, True),
        ({}, None, True),
        # Bridge outputs in a vehicle of 1972: the radio is not its first one.
        ({"output": "bridge"}, 1972, True),
        ({"era": "connected"}, 1972, True),
    ],
)
def test_an_old_radio_is_not_told_to_set_what_it_has_not(
    unit: dict[str, str], built: int | None, *, menu: bool
) -> None:
    vehicle = {} if built is None else {"built": built}
    made = job("fl", head_unit=unit, vehicle=vehicle, driver=WEAK)
    told = said_of_travel(made)
    assert told
    assert ("set a high-pass" in told) is menu
    assert ("no filter" in told) is not menu
    card = settings(Answers(made.build())).high_pass[0].expect
    assert ("none" in card) is not menu
    # A side on chassis goes with radios that old, unless somebody looked.
    usual = "bridge" if menu else "common-ground"
    assert made.build().head_unit.output == usual


def test_another_radio_is_not_of_the_era_of_the_first() -> None:
    plan = {"id": "radio", "set": {"head_unit.name": "another", "head_unit.price": 120.0}}
    made = job("fl", head_unit={"era": "mono"}, driver=WEAK, proposal=[plan])
    assert "no filter" in said_of_travel(made)
    assert "set a high-pass" in said_of_travel(made, "radio")
    same = plan["set"] | {"head_unit.era": "stereo"}  # type: ignore[operator]
    old = job("fl", head_unit={"era": "mono"}, driver=WEAK, proposal=[plan | {"set": same}])
    assert "no filter" in said_of_travel(old, "radio")


def test_an_old_radio_in_a_new_vehicle_draws_its_own_asleep() -> None:
    made = job("fl", head_unit={"era": "mono"}, vehicle={"built": 2009})
    current = cw.feed(made.build()).figure("vehicle.sleep_current").value
    # 16 mA of the vehicle, and next to none of a radio that a switch parts from the battery.
    assert current == pytest.approx(16.05)


def test_what_an_era_cannot_have_is_named_at_the_door() -> None:
    with pytest.raises(JobError, match=r"head_unit\.era.*a mono radio has one output"):
        job("fl", "fr", head_unit={"era": "mono"})
    with pytest.raises(JobError, match="one of mono, stereo, digital, connected is wanted"):
        job("fl", head_unit={"era": "valves"})
    with pytest.raises(JobError, match=r"high_pass.*knobs, and no high-pass"):
        job("fl", head_unit={"era": "stereo"}, channel={"high_pass": "80 Hz"})
    job("fl", head_unit={"era": "digital"}, channel={"high_pass": "80 Hz"})


def test_the_settings_card_has_only_what_the_radio_has() -> None:
    cards = {
        era: settings(Answers(job(*places, head_unit={"era": era}).build()))
        for era, places in (("mono", ["fl"]), ("digital", ["fl", "fr"]))
    }
    assert "none" in cards["mono"].high_pass[0].expect
    assert "none" not in cards["digital"].high_pass[0].expect
    assert not cards["mono"].off
    assert len(cards["digital"].off) == 4
    assert "Tone control in its middle" in cards["mono"].set[0]
    assert "balance and fader" in cards["digital"].set[0]


def test_a_channel_that_plays_the_sum_is_said_to_be_special() -> None:
    plan = {"id": "radio", "set": {"head_unit.name": "another", "head_unit.price": 120.0}}
    whole = job("fl", "fr", channel={"signal": "sum"}, proposal=[plan])
    found = {v.id: v for v in cw.feed(whole.build()).verdicts}
    planned = {v.id: v for v in cw.hear(whole.build("radio")).verdicts}
    assert found["out-0.signal"].severity is Severity.NOTE
    assert "the sum of left and right" in found["out-0.signal"].text
    assert planned["out-0.signal"].severity is Severity.WARN
    assert "has no such output" in planned["out-0.signal"].text
    assert not [v for v in cw.feed(job("fl", "fr").build()).verdicts if v.id.endswith(".signal")]


@pytest.mark.parametrize(
    ("advertised", "says"),
    [
        # Closed form: a square wave has twice the power of the clean sine, 10 % of distortion 1.29.
        ("45 W", "a square wave"),
        ("25 W", "taken well into clipping"),
        ("20 W", "an honest one"),
        ("10 W", "the figure on the box is low"),
    ],
)
def test_what_is_on_the_box_is_called_what_it_is(advertised: str, says: str) -> None:
    unit = {"advertised_power": advertised, "minimum_load": "4 ohm", "supply": "13.8 V"}
    report = cw.feed(job("fl", head_unit=unit).build())
    text = next(v.text for v in report.verdicts if v.id == "head_unit.advertised")
    assert says in text


def test_one_is_not_several() -> None:
    assert [counted(n, "driver") for n in (0, 1, 2)] == ["0 drivers", "1 driver", "2 drivers"]
    assert counted(2, "box", "boxes") == "2 boxes"
    assert "1 channel, 1 location, 1 seat" in repr(job("fl").build())
