"""A motorhome with eight loudspeakers on four outputs, rear half weak: what a good hand would say.

Written down before the job was run:

- Eight loudspeakers, four outputs: two hang on each. Whether side by side or one after the other
  the ohms at the radio's plug tell, and a look at fader and tone costs nothing before it is out.
- Rear first, since the rear is what is weak.
- 7.2 ohm at the plug of either rear output: two of 4 ohm in series. 2.1 ohm in front: two in
  parallel.
- Then nothing is broken behind: in series each gets half of the volts, 6 dB less from each.
- The front is the hard end: two in parallel fall below what a radio made for 4 ohm bears. That is
  what is to be said of it; the rear is no load at all.
- At one setting of the knob each one behind gets half of the volts of one in front. (At first this
  said a quarter of the power at the loudest, too; but there the front is held by the current that
  the output can give, and the gap shrinks.)
- Putting the rear in parallel as well makes it as loud, and loads the radio below what it bears on
  all four: never. The fader alone leaves the front as hard as it is. What is left for no money but
  an afternoon is the front in series, too: all four outputs are alike then, and the radio bears
  them. (Compare bars the other ones for it; that the wiring is what the owner hears it cannot know,
  since his words are those of a fault.)
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import conewright as cw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.papers.make import papers
from conewright.stages.report.data import Report, Severity

FILE = Path(__file__).parents[2] / "examples" / "motorhome.toml"
JOB = cw.load(FILE)
FRONT, REAR = ("front-left", "front-right"), ("rear-left", "rear-right")
WIRED = {
    "front-left": "door-front-l | dash-l",
    "front-right": "door-front-r | dash-r",
    "rear-left": "roof-l + shelf-l",
    "rear-right": "roof-r + shelf-r",
}
SERIES = {
    "front-left.load": "door-front-l + dash-l",
    "front-right.load": "door-front-r + dash-r",
}
PARALLEL = {"rear-left.load": "roof-l | shelf-l", "rear-right.load": "roof-r | shelf-r"}


def unread() -> Job:
    return from_dict(JOB.to_dict() | {"reading": []})


def wired() -> Job:
    raw: dict[str, Any] = JOB.to_dict()
    channels = [{**each, "load": WIRED[each["id"]]} for each in raw["channel"]]
    plans = [
        {"id": "parallel", "set": PARALLEL},
        {"id": "fader", "set": {f"{name}.gain": "-6 dB" for name in FRONT}},
        {"id": "all-series", "set": SERIES},
    ]
    return from_dict(raw | {"channel": channels, "proposal": plans})


def wiring(report: Report, channel: str) -> dict[str, float]:
    start = f"wiring.{channel}."
    found = [each for each in report.figures if each.id.startswith(start)]
    return {each.id.removeprefix(start): each.value or 0.0 for each in found}


@pytest.fixture(scope="module")
def at_first() -> Report:
    return cw.find(unread().build())


@pytest.fixture(scope="module")
def read() -> Report:
    return cw.find(JOB.build())


def test_it_checks() -> None:
    assert not JOB.doubts
    vehicle = JOB.build().vehicle
    assert (vehicle.vehicle_class, vehicle.cabin_length.si) == ("motorhome", 5.5)
    assert JOB.build().seat("dinette").ear[0].si < -1.0


def test_two_hang_on_each_output_before_anything_is_read(at_first: Report) -> None:
    for channel in (*FRONT, *REAR):
        odds = wiring(at_first, channel)
        two = odds["two-parallel"] + odds["two-series"] + odds["with-large-tweeter"]
        assert two > 0.45
        assert max(odds, key=odds.__getitem__) == "two-parallel"
        assert odds["one-4-ohm"] < 0.15


def test_settings_first_then_the_plugs_of_the_rear(at_first: Report) -> None:
    assert at_first.readings[0].id == "settings-reset@vehicle"
    plugs = [card for card in at_first.readings if card.test == "pair-resistance"]
    assert {card.subject for card in plugs[:2]} == set(REAR)
    assert {card.test for card in at_first.readings[:5]} == {"settings-reset", "pair-resistance"}


def test_the_ohms_say_series_behind_and_parallel_in_front(read: Report) -> None:
    for channel in REAR:
        assert wiring(read, channel)["two-series"] > 0.95
        said = next(v.text for v in read.verdicts if v.id == f"wiring.{channel}")
        assert "6 dB less from each" in said
        assert "nothing broken" in said
    for channel in FRONT:
        assert wiring(read, channel)["two-parallel"] > 0.8


def test_four_pairs_that_read_as_loudspeakers_have_no_amplifier_before_them(
    at_first: Report, read: Report
) -> None:
    # The input of an amplifier is tens of ohm and more; these are coils. What was likely before
    # the plug was read is out of the question after four of them.
    def dead(report: Report) -> float:
        figures = [f for f in report.figures if f.id == "cause.amplifier-off@vehicle"]
        return figures[0].value or 0.0 if figures else 0.0

    assert dead(at_first) > 0.05
    assert dead(read) < 0.01
    raw = JOB.to_dict()
    high = [
        each | ({"value": "2 kohm"} if each["test"] == "pair-resistance" else {})
        for each in raw["reading"]
    ]
    # Ohms of an input say nothing against one.
    assert dead(cw.find(from_dict(raw | {"reading": high}).build())) > 0.05


def test_the_front_is_the_hard_end() -> None:
    fed = cw.feed(JOB.build())
    text = {each.subject: each.text for each in fed.verdicts if each.subject in (*FRONT, *REAR)}
    for channel in FRONT:
        assert "below the 3.2 ohm that the radio bears" in text[channel]
    for channel in REAR:
        assert "which the radio bears" in text[channel]


def test_behind_each_gets_half_of_the_volts() -> None:
    # Closed form: two alike in series share the volts; in parallel each has them all.
    fed = cw.feed(wired().build())
    volts = {}
    for name in ("door-front-l", "dash-l", "roof-l", "shelf-l"):
        curve = fed.curve(f"{name}.drive")
        volts[name] = float(np.median(np.abs(curve.value)))
    assert volts["roof-l"] + volts["shelf-l"] == pytest.approx(0.97, abs=0.05)
    assert volts["door-front-l"] == pytest.approx(volts["dash-l"], rel=1e-6)
    for name in ("roof-l", "shelf-l"):
        assert volts[name] / volts["door-front-l"] == pytest.approx(0.53, abs=0.07)


def test_only_the_front_in_series_too_is_borne() -> None:
    table = cw.compare(wired())
    lowest = {
        plan: table.figure(f"{plan}.minimum_load").value or 0.0
        for plan in ("as-found", "parallel", "fader", "all-series")
    }
    assert max(lowest["as-found"], lowest["parallel"], lowest["fader"]) < 3.2
    assert lowest["all-series"] > 6.0
    for plan in ("as it is", "parallel", "fader"):
        assert f"{plan}: " in table.answer.replace("As it is", "as it is")
    assert "all-series: " not in table.answer
    assert "parallel" in {each.subject for each in table.verdicts if each.severity is Severity.STOP}


def test_hear_plays_the_likeliest_wiring_at_both_seats() -> None:
    heard = cw.hear(JOB.build())
    for seat in ("driver", "dinette"):
        level = heard.figure(f"{seat}.level").value
        assert level is not None
        assert 75.0 < level < 105.0
    said = {each.id: each.text for each in heard.verdicts}
    assert "roof-l" in said["rear-left.likely-wiring"]


@pytest.mark.parametrize("job", [JOB, wired()], ids=["unknown", "wired"])
def test_the_papers_are_made(job: Job) -> None:
    made = papers(job.build())
    # What is left as it was found has no quote.
    assert {"job-sheet.pdf", "wiring.pdf"} <= {each.name for each in made.files}
