"""What may be answered to a reading, and what of it is written down."""

import pytest

import conewright as cw
from conewright.errors import BadInputError
from conewright.job.text.readings import with_reading
from conewright.stages.find.faults import trade
from conewright.stages.find.talk.answering import Answered, allowed_answers, read_answer


@pytest.mark.parametrize("test", trade.TEST_IDS)
def test_every_word_of_every_test_is_an_answer_however_it_is_joined(test: str) -> None:
    for word in trade.test(test).words:
        for typed in (word, word.upper(), f" {word.replace(' ', '-')}", word.replace(" ", "   ")):
            assert read_answer(test, typed) == Answered(word)
        assert word in allowed_answers(test)
    assert read_answer(test, "Not conclusive") == Answered("not conclusive")


@pytest.mark.parametrize(
    ("test", "typed", "value", "assumed"),
    [
        ("pair-resistance", "3.4 ohm", "3.4 ohm", ""),
        ("pair-resistance", "3,4  ohm ± 0,1 ohm", "3,4 ohm ± 0,1 ohm", ""),
        ("pair-resistance", "3.4", "3.4 ohm", "ohm"),
        ("pair-resistance", "3.3..3.5", "3.3..3.5 ohm", "ohm"),
        ("pair-resistance", "4R7", "4R7", ""),
        ("pair-resistance", "0", "0 ohm", "ohm"),
        ("coil-resistance", "OL", "open", ""),
        ("leg-to-chassis", "120", "120 kohm", "kohm"),
        ("leg-to-chassis", "2 Mohm", "2 Mohm", ""),
        ("sleep-current", "0.03 A", "0.03 A", ""),
        ("pair-offset", "12 mV", "12 mV", ""),
    ],
)
def test_a_number_stays_as_typed_and_gets_the_usual_unit(
    test: str, typed: str, value: str, assumed: str
) -> None:
    assert read_answer(test, typed) == Answered(value, assumed)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("resonance 62 Hz", {"resonance": "62 Hz"}),
        (
            "Peak: 19 ohm; resonance = 62 Hz, coil 3,4 ohm",
            {"peak": "19 ohm", "resonance": "62 Hz", "coil": "3,4 ohm"},
        ),
        ("100 Hz 5.8 ohm, 10kHz: 13 ohm", {"100 Hz": "5.8 ohm", "10 kHz": "13 ohm"}),
    ],
)
def test_the_figures_of_a_sweep_are_told_apart(typed: str, value: dict[str, str]) -> None:
    answered = read_answer("impedance-sweep", typed)
    assert answered.value == value
    assert str(answered) == ", ".join(f"{name} {said}" for name, said in value.items())
    assert read_answer("impedance-sweep", str(answered)) == answered


@pytest.mark.parametrize(
    ("test", "typed", "said"),
    [
        ("look", "fine", 'found "fine"; allowed is one of: torn surround, loose cap'),
        ("look", "OL", 'found "OL"; allowed is one of'),
        ("pair-resistance", "3 V", "V is a unit of a voltage.*; a number, in ohm where no unit"),
        ("pair-resistance", "-2", "must not be below zero; a number, in ohm"),
        ("pair-resistance", "opn", '"opn" does not start with a number; .* open, unsteady'),
        ("feed-drop", "resonance 62 Hz", "does not start with a number; a number, in V"),
        ("impedance-sweep", "3.4 ohm", 'found "3.4 ohm"; figures as in resonance 62 Hz, peak'),
        ("impedance-sweep", "peak 19 Hz", "Hz is a unit of a frequency"),
        ("impedance-sweep", "peak 19 ohm; peak 20 ohm", '"peak" twice'),
        ("impedance-sweep", "0 Hz 20 ohm", "must be above zero"),
        ("lok", "fine", 'is no test; did you mean "look"'),
    ],
)
def test_anything_else_is_refused_with_what_is_allowed(test: str, typed: str, said: str) -> None:
    with pytest.raises(BadInputError, match=said):
        read_answer(test, typed)


def test_what_is_read_is_what_a_search_can_use() -> None:
    """Every kind of answer, written into a job, is understood by find."""
    said: list[tuple[str, str, str]] = [
        ("pair-resistance", "front-left", "3.9"),
        ("coil-resistance", "door-fr", "OL"),
        ("impedance-sweep", "door-fl", "resonance 62 Hz, peak 19 ohm, coil 3.4 ohm"),
        ("look", "door-fl", "not conclusive"),
    ]
    text = cw.starter_text()
    for test, at, typed in said:
        value = read_answer(test, typed).value
        text = with_reading(text, "toml", test=test, at=at, value=value)
    report = cw.find(cw.loads(text).build())
    taken = len(report.curve(f"{report.figures[0].id}.odds").x.values) - 1
    # The starter's own reading of that pair is replaced.
    assert taken == len(said)
    # From memory: nothing else reads open at the driver's own terminals as often.
    assert (report.figure("cause.coil-open@door-fr").value or 0.0) > 0.5
