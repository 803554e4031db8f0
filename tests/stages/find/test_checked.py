"""What a job says of faults, held against the tables of tests and complaints."""

from typing import Any

import pytest

from conewright.errors import BadInputError, JobError
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import demo_text, starter_text
from conewright.stages.find.checked import entry_problems, hold_entries
from conewright.stages.find.talk.answering import read_answer


def job(*readings: tuple[str, str, Any], complaints: tuple[str, ...] = ()) -> Job:
    raw = loads(demo_text()).to_dict()
    raw["job"]["complaints"] = list(complaints)
    raw["reading"] = [{"test": test, "at": at, "value": said} for test, at, said in readings]
    return from_dict(raw)


@pytest.mark.parametrize("text", [demo_text(), starter_text()])
def test_the_examples_pass(text: str) -> None:
    assert entry_problems(loads(text)) == []


@pytest.mark.parametrize(
    ("reading", "field", "allowed"),
    [
        (("pair-resistanse", "front-left", "2 ohm"), "test", '"pair-resistance"'),
        (("pair-resistance", "vehicle", "2 ohm"), "at", "at a channel or a driver"),
        (("mono-bass", "driver", "weaker"), "at", "front, rear"),
        (("corner-solo", "front-left", "silet"), "value", "silent, weaker, equal"),
        (("pair-resistance", "front-left", "2 V"), "value", "read in ohm"),
        (("pair-resistance", "front-left", 2.0), "value", "the unit is missing"),
        (("sleep-current", "vehicle", "500 A"), "value", "0 to 20000 mA"),
        (("leg-bias", "front-left", "6.5 kV"), "value", "-60 to 60 V"),
        (("cone-push", "door-fl", {"peak": "9 ohm"}), "value", "only impedance-sweep"),
        (("impedance-sweep", "door-fl", {"resonance": "1 Hz"}), "value", "5 to 20000 Hz"),
        (("impedance-sweep", "door-fl", {"loud": "9 ohm"}), "value", "a frequency"),
    ],
)
def test_what_find_cannot_use_is_named(
    reading: tuple[str, str, Any], field: str, allowed: str
) -> None:
    (problem,) = entry_problems(job(("corner-solo", "front-left", "equal"), reading))
    assert problem.path == f"reading[2].{field}"
    assert allowed in problem.allowed


def test_what_find_can_use_passes() -> None:
    sweep = {"resonance": "62 Hz", "peak": "19 ohm", "coil": "3.4 ohm", "100 Hz": "5.8 ohm"}
    assert not entry_problems(
        job(
            ("pair-offset", "front-left", "-20 mV"),
            ("leg-to-chassis", "front-left", "20 Mohm"),
            ("coil-resistance", "door-fl", "open"),
            ("corner-solo", "rear-left", "Not conclusive"),
            ("impedance-sweep", "door-fl", sweep),
            complaints=("thin-after-change@front", "dull"),
        )
    )


@pytest.mark.parametrize(
    ("test", "typed"), [("sleep-current", "500 A"), ("impedance-sweep", "resonance 1 Hz")]
)
def test_an_answer_beyond_any_instrument_is_not_taken(test: str, typed: str) -> None:
    with pytest.raises(BadInputError, match="is possible"):
        read_answer(test, typed)


def test_an_unknown_complaint_is_led_to_a_known_one() -> None:
    (problem,) = entry_problems(job(complaints=("dull", "thin-after-chang@front")))
    assert problem.path == "job.complaints[2]"
    assert 'did you mean "thin-after-change"?' in problem.allowed


def test_a_shop_s_own_words_count(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    from conewright.stages.find.faults import shop, trade

    own = tmp_path_factory.mktemp("tables")
    text = trade.table_texts()["limits.csv"]
    own.joinpath("limits.csv").write_text(
        text.replace("sleep-current,0,20000,mA", "sleep-current,0,100,mA"), encoding="utf-8"
    )
    reading = job(("sleep-current", "vehicle", "5 A"))
    assert not entry_problems(reading)
    monkeypatch.setenv(shop.VARIABLE, str(own))
    trade._tables.cache_clear()
    try:
        (problem,) = entry_problems(reading)
        assert "0 to 100 mA" in problem.allowed
    finally:
        monkeypatch.undo()
        trade._tables.cache_clear()


def test_what_was_there_is_kept_and_what_is_new_is_refused() -> None:
    old = job(("sleep-curent", "vehicle", "30 mA"), complaints=("nonsense",))
    assert len(entry_problems(old)) == 2
    hold_entries(old, old)
    mended = job(("sleep-current", "vehicle", "30 mA"), complaints=("nonsense",))
    hold_entries(old, mended)
    with pytest.raises(JobError, match=r"reading\[2\].test"):
        hold_entries(
            old,
            job(
                ("sleep-curent", "vehicle", "30 mA"),
                ("sleep-curent", "vehicle", "30 mA"),
                complaints=("nonsense",),
            ),
        )
    with pytest.raises(JobError, match=r"job.complaints\[2\]"):
        hold_entries(old, job(complaints=("nonsense", "nonsence")))


def test_a_job_that_cannot_be_worked_with_is_still_checked() -> None:
    raw = job(("corner-solo", "front-left", "silet")).to_dict()
    raw["seat"][0]["ear"] = raw["location"][0]["at"]
    (problem,) = entry_problems(from_dict(raw))
    assert problem.path == "reading[1].value"
