"""What find suspects is told by feed and hear: what would be different, and nothing else is moved.

What each answer must say was written down before it was run: common practice, no source.
"""

import pytest
from four_doors import Reading, car

import conewright as cw
from conewright.job.builds.job import Job
from conewright.stages.report.data import Report

SEATS = """
[[seat]]
id = "driver"
ear = ["0.2 m", "0.4 m", "1.1 m"]
[[seat]]
id = "passenger"
ear = ["0.2 m", "-0.4 m", "1.1 m"]
[[proposal]]
id = "new-fronts"
set = { "door-f?.driver" = "new" }
[[driver]]
id = "new"
size = "165 mm"
age = "new"
"""
SUSPECTED = "find: "
NO_LOAD = "the 3.9 ohm of fr become no load"


def seated(*readings: Reading, complaints: tuple[str, ...] = (), tweeters: bool = False) -> Job:
    """The car with two seats and a plan for new front loudspeakers."""
    return car(*readings, complaints=complaints, tweeters=tweeters, more=SEATS)


def plain(report: Report) -> dict[str, tuple[float | None, float | None, float | None]]:
    """The figures that have nothing to do with a suspicion."""
    return {
        figure.id: (figure.value, figure.low, figure.high)
        for figure in report.figures
        if figure.subject != "suspected"
    }


OPEN_COIL = seated(("coil-resistance", "door-fr", '"open"'), complaints=("silent-corner@fr",))


# Reading and complaint, then what feed and what hear must say would be different; empty: nothing.
CASES = (
    (("coil-resistance", "door-fr", '"open"'), "silent-corner@fr", NO_LOAD, "the bass"),
    (("pair-resistance", "fr", '"open"'), "silent-corner@fr", NO_LOAD, "the bass"),
    (("pair-resistance", "fr", '"0.2 ohm"'), "silent-corner@fr", "nothing plays there", "the bass"),
    (("look", "door-fr", '"torn surround"'), "buzz-one-corner@fr", "", "loudest clean programme"),
    (("coil-resistance", "door-fr", '"unsteady"'), "comes-and-goes@fr", "at times", "at times"),
    (("cell-pulse", "door-fr", '"inward"'), "thin-after-change@front", "", "the bass"),
    (("feed-drop", "vehicle", '"0.9 V"'), "distorts-loud", "all channels at once", "loudest clean"),
    (("sleep-current", "vehicle", '"abnormal"'), "flat-battery", "mA", ""),
    (("call-test", "vehicle", '"poor"'), "callers-cannot-hear", "", ""),
    (("look", "door-fr", '"nothing"'), "buzz-one-corner@fr", "", None),
)


@pytest.mark.parametrize(("reading", "complaint", "feed", "hear"), CASES)
def test_the_first_sentence_says_what_would_be_different(
    reading: Reading, complaint: str, feed: str, hear: str | None
) -> None:
    build = seated(reading, complaints=(complaint,)).build()
    for said, report in ((feed, cw.feed(build)), (hear, cw.hear(build))):
        if said is None:
            continue
        first = report.answer.partition(". ")[0]
        assert (SUSPECTED in first) == bool(said), first
        assert said in first


def test_missing_treble_is_told_as_treble() -> None:
    job = seated(("treble-burst", "post-fr", '"missing"'), complaints=("dull@fr",), tweeters=True)
    assert "if the tweeter coil at post-fr is open" in cw.hear(job.build()).answer
    assert "the treble at passenger changes by −" in cw.hear(job.build()).answer


def test_a_vehicle_nobody_complains_of_has_no_suspicion() -> None:
    build = seated().build()
    for report in (cw.feed(build), cw.hear(build)):
        assert SUSPECTED not in report.answer
        assert not [figure for figure in report.figures if figure.subject == "suspected"]


def test_nothing_else_is_moved_by_a_suspicion() -> None:
    silent = seated().build()
    for stage in (cw.feed, cw.hear):
        assert plain(stage(OPEN_COIL.build())) == plain(stage(silent))


def test_what_would_be_different_is_what_is_shown_once_it_is_found() -> None:
    job = seated(("coil-resistance", "door-fr", '"2.6 ohm"'), complaints=("smell-or-smoke@fr",))
    found = job.with_finding("coil-shorted", "door-fr")
    told = cw.feed(job.build()).figure("suspected.coil-shorted@door-fr.fr.minimum_impedance")
    shown = cw.feed(found.build()).figure("fr.minimum_impedance")
    assert told.value == pytest.approx(shown.value, rel=1e-12)
    assert told.low == pytest.approx(shown.low, rel=0.03)


def test_a_change_that_would_be_different_is_that_of_the_same_plan_once_it_is_found() -> None:
    found = OPEN_COIL.with_finding("coil-open", "door-fr")
    plan, before = OPEN_COIL.build("new-fronts"), OPEN_COIL.build()
    told = next(
        figure
        for figure in cw.hear(plan, before).figures
        if figure.id.startswith("suspected.coil-open@door-fr.")
    )
    shown = cw.hear(found.build("new-fronts"), found.build()).figure(told.id.split(".", 2)[2])
    assert told.value == pytest.approx(shown.value, abs=1e-9)
    assert told.value is not None
    assert told.value > 1.0


def test_what_is_taken_as_found_is_suspected_no_more() -> None:
    found = OPEN_COIL.with_finding("coil-open", "door-fr").build()
    assert SUSPECTED not in cw.feed(found).answer
    assert SUSPECTED not in cw.hear(found).answer


def test_a_plan_that_ends_it_would_be_no_different() -> None:
    plan = OPEN_COIL.build("new-fronts")
    assert SUSPECTED not in cw.feed(plan).answer
    assert SUSPECTED not in cw.hear(plan).answer


def test_what_has_the_same_end_is_said_once_with_the_chance_of_each() -> None:
    read = ("pair-resistance", "fr", '"open"')
    answer = cw.feed(seated(read, complaints=("silent-corner@fr",)).build()).answer
    assert answer.count(NO_LOAD) == 1
    assert "the voice coil at door-fr is open (find: about 3 in 5) or a wire of fr" in answer


def test_the_chance_is_that_of_find_and_never_below_a_quarter() -> None:
    report = cw.feed(OPEN_COIL.build())
    chance = report.figure("suspected.coil-open@door-fr").value
    assert chance == cw.find(OPEN_COIL.build()).figure("cause.coil-open@door-fr").value
    for _, complaint, *_ in CASES:
        for figure in cw.feed(seated(complaints=(complaint,)).build()).figures:
            if figure.subject == "suspected" and figure.unit == "" and figure.kind == "odds":
                assert figure.value is not None
                assert figure.value >= 0.25


def test_a_complaint_that_find_cannot_read_is_for_find_to_refuse() -> None:
    build = seated(complaints=("no-such-words",)).build()
    assert SUSPECTED not in cw.feed(build).answer
