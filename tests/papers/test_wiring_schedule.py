"""The wiring schedule: pins, colours, joints, and what proves each wire."""

from collections.abc import Mapping

import pytest
from plain_demo import plain_job, plain_text

import conewright as cw
from conewright.data_files import data_rows
from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import from_dict
from conewright.papers.wiring.schedule import Conductor, corners, schedule
from conewright.stages.common.nets import joints, parts_of


def rewritten(text: str, **parts: str) -> cw.Job:
    """The demonstration job with text put in front of its first reading, or things replaced."""
    demo = plain_text().replace("[[reading]]", f"{text}\n[[reading]]", 1)
    for old, new in parts.items():
        demo = demo.replace(old, new)
    return cw.loads(demo)


def by_title(build: Build) -> Mapping[str, Conductor]:
    return {row.title: row for row in schedule(build).conductors}


@pytest.fixture(scope="module")
def found() -> Mapping[str, Conductor]:
    return by_title(plain_job().build())


@pytest.fixture(scope="module")
def righted() -> Mapping[str, Conductor]:
    return by_title(plain_job().build("put-right"))


def test_a_wire_says_what_it_goes_to_and_which_way_round(
    found: Mapping[str, Conductor], righted: Mapping[str, Conductor]
) -> None:
    assert found["front-right +"].goes_to == "door-fr −, 4.7 µF (turned round: door-fr −)"
    assert righted["front-right +"].goes_to == "door-fr +, 4.7 µF"
    assert (righted["rear-left +"].goes_to, righted["rear-left −"].goes_to) == (
        "side-rl +",
        "roof-rl −",
    )
    assert (found["rear-left +"].size, found["rear-left +"].length) == ("0.5 mm²", "6.5 m")


def test_readings_prove_what_they_were_taken_of(
    found: Mapping[str, Conductor], righted: Mapping[str, Conductor]
) -> None:
    before, after = found["rear-left +"].proof, righted["rear-left +"].proof
    assert (before.found, before.state) == ("2.2 ohm ± 0.1 ohm", "proved")
    # two coils of 3.4 ohm: in series four times what they are in parallel, plus the cable
    assert before.expected == "1.9 to 2.6 ohm"
    low, _, high = after.expected.removesuffix(" ohm").partition(" to ")
    # own snapshot: the ends of what 128 samples of a meter tell move by a tenth with their order
    assert (float(low), float(high)) == pytest.approx((6.35, 8.2), abs=0.1)
    assert (after.found, after.state) == ("2.2 ohm ± 0.1 ohm before the work", "to read")
    assert found["front-left +"].proof.state == "to read"
    # the reversed driver goes inward, as it was read
    assert found["front-right −"].proof.state == "proved"
    assert righted["front-right −"].proof.expected == "door-fr outward"


def test_a_coil_found_open_leaves_its_twin_to_be_read() -> None:
    # Closed form: two coils of 3.4 ohm side by side read 1.7 ohm, one of them alone 3.4 ohm; the
    # cable is in both (1.9 to 2.6 ohm when all is well).
    raw = plain_job().to_dict()
    raw["finding"] = [{"fault": "coil-open", "at": "side-rl"}]
    raw["reading"] = [
        each | ({"value": "3.9 ohm"} if each["at"] == "rear-left" else {})
        for each in raw["reading"]
    ]
    raw["proposal"] = [{"id": "mend", "mends": ["coil-open@side-rl"]}]
    made = from_dict(raw)
    proof = by_title(made.build())["rear-left +"].proof
    low, high = (float(each) for each in proof.expected.split(" ohm")[0].split(" to "))
    assert 3.2 < low < 3.7
    assert 4.0 < high < 4.6
    assert proof.expected.endswith("with what was found; mended 1.9 to 2.6 ohm")
    assert proof.state == "proved"
    assert by_title(made.build("mend"))["rear-left +"].proof.expected == "1.9 to 2.6 ohm"


def test_an_open_pair_proves_no_wire() -> None:
    raw = plain_job().to_dict()
    raw["finding"] = [{"fault": "wire-broken", "at": "rear-left"}]
    raw["reading"] = [
        each | ({"value": "open"} if each["at"] == "rear-left" else {}) for each in raw["reading"]
    ]
    proof = by_title(from_dict(raw).build())["rear-left +"].proof
    assert proof.expected.startswith("open, with what was found")
    assert (proof.found, proof.state) == ("open", "to read")


@pytest.mark.parametrize("fault", ["wire-broken@rear-left", "joint-corroded@rear-left"])
def test_a_reading_before_a_mend_proves_nothing_after_it(fault: str) -> None:
    raw = plain_job().to_dict() | {"proposal": [{"id": "mend", "mends": [fault]}]}
    after = by_title(from_dict(raw).build("mend"))["rear-left +"].proof
    assert (after.found, after.state) == ("2.2 ohm ± 0.1 ohm before the work", "to read")


def test_a_colour_alone_proves_nothing() -> None:
    lead = """
[[lead]]
channel = "front-left"
function = "plus"
colour = "white"
joint = "crimp"
"""
    row = by_title(rewritten(lead).build())["front-left +"]
    assert (row.colour, row.joint, row.proof.state) == ("white", "crimp", "to read")
    assert by_title(plain_job().build())["front-left +"].colour == ""


@pytest.mark.parametrize(
    ("said", "state"),
    [
        ("3.6 ohm", "proved"),
        ("normal", "proved"),
        ("2.1 ohm", "DISAGREES"),
        ("open", "DISAGREES"),
        ("looked all right", "to read"),
    ],
)
def test_a_proof_written_beside_the_wire_is_judged(said: str, state: str) -> None:
    lead = f'[[lead]]\nchannel = "front-left"\nfunction = "minus"\nproof = "{said}"\n'
    assert by_title(rewritten(lead).build())["front-left +"].proof.state == state


@pytest.mark.parametrize(
    ("function", "said", "state"),
    [
        ("battery", "12.4 V", "proved"),
        ("battery", "0.1 V", "DISAGREES"),
        ("switched", "0 V, then 12.3 V", "proved"),
        ("ground", "0.2 ohm", "proved"),
        ("ground", "1.2 kohm", "DISAGREES"),
        ("data", "", "to read"),
    ],
)
def test_supply_wires_are_judged_too(function: str, said: str, state: str) -> None:
    proof = f'proof = "{said}"' if said else ""
    lead = f'[[lead]]\nfunction = "{function}"\n{proof}\n'
    rows_of_it = [
        row for row in schedule(rewritten(lead).build()).conductors if row.function == function
    ]
    assert [row.proof.state for row in rows_of_it] == [state]


def test_pins_of_the_standard_only_where_the_vehicle_has_its_blocks() -> None:
    job = rewritten("", **{'output = "bridge"': 'output = "bridge"\nconnector = "iso-10487"'})
    pins = {row.title: row.pin for row in schedule(job.build()).conductors}
    # ISO 10487 pin tables, second-hand; A2, B1, B2, B4, B8 from memory
    published = {
        "front-right +": "B3",
        "front-left +": "B5",
        "front-left −": "B6",
        "rear-left +": "B7",
        "+12 V, always live": "A4",
        "+12 V, by the ignition": "A7",
        "illumination": "A6",
        "ground": "A8",
        "speed signal": "A1",
        "reverse signal": "A3",
        "aerial supply, from the radio": "A5",
    }
    recalled = {"rear-right +": "B1", "rear-right −": "B2", "front-right −": "B4"}
    assert {title: pins[title] for title in published} == published
    assert {title: pins[title] for title in recalled} == recalled
    assert len(set(pins.values())) == 16
    assert {row.pin for row in schedule(plain_job().build()).conductors} == {""}


def test_a_pin_written_down_wins() -> None:
    lead = '[[lead]]\nchannel = "front-left"\nfunction = "plus"\npin = "7"\n'
    job = rewritten(lead, **{'output = "bridge"': 'output = "bridge"\nconnector = "iso-10487"'})
    row = by_title(job.build())["front-left +"]
    assert (row.pin, row.pin_source) == ("7", "as written")


def test_corners_are_where_the_drivers_sit() -> None:
    names = ("front-left", "front-right", "rear-left", "rear-right")
    assert corners(plain_job().build()) == {name: name for name in names}
    # two channels in one corner: no pin is guessed for either
    middle = rewritten(
        "", **{'at = ["-1.60 m", "-0.80 m", "1.30 m"]': 'at = ["-1.6 m", "2 m", "1 m"]'}
    )
    assert corners(middle.build())["rear-left"] == corners(middle.build())["rear-right"] == ""


def test_usual_colours_are_marked_as_practice() -> None:
    # trade practice, two installer guides
    usual = {
        (row["function"], row["corner"]): row["colour"]
        for row in data_rows("papers", "lead_colours.csv")
    }
    assert usual["plus", "front-left"] == "white"
    assert usual["minus", "front-left"] == "white/black"
    assert usual["amplifier", ""] == "blue/white"
    assert usual["ground", ""] == "black"
    assert all(
        row["source"].startswith("common practice")
        for row in data_rows("papers", "lead_colours.csv")
    )


def test_joints_hold_every_end_once() -> None:
    for channel in plain_job().build("put-right").channels:
        ends = [end for joint in joints(channel) for end in joint.ends]
        assert len(ends) == 2 * len(parts_of(channel))
        assert all(part.upper != part.lower for part in parts_of(channel))


def test_new_joints_are_told_from_old_ones() -> None:
    splices = schedule(plain_job().build("put-right")).splices
    new = {(each.channel, each.ends) for each in splices if each.new}
    assert ("rear-left", "side-rl −, roof-rl +") in new
    assert not any(each.new for each in schedule(plain_job().build()).splices)
    assert {each.channel for each in splices if each.new} == {
        "front-right",
        "rear-left",
        "rear-right",
    }


def test_a_wire_of_a_channel_that_is_not_there_is_refused() -> None:
    with pytest.raises(cw.JobError, match=r"lead\[1\]\.channel: found \"front-lef\""):
        rewritten('[[lead]]\nchannel = "front-lef"\nfunction = "plus"\n')
    with pytest.raises(cw.JobError, match="names its channel"):
        rewritten('[[lead]]\nfunction = "plus"\n')
    twice = '[[lead]]\nchannel = "front-left"\nfunction = "plus"\n'
    with pytest.raises(cw.JobError, match=r"lead\[1\] is the plus wire of front-left already"):
        rewritten(twice + twice)
