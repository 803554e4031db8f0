"""Readings of find that a recording answers instead of an ear or a meter."""

import shlex

import pytest

import conewright as cw
from conewright.data_files import data_rows
from conewright.sound.played.sounds import SOUNDS
from conewright.stages.find.faults.trade import TEST_IDS
from conewright.stages.find.talk.cards import reading_card
from conewright.stages.prove.recorded_tests import RecordedTest, heard_instead, recorded_tests
from conewright.stages.prove.stage import DETAILS, places_for
from conewright.views.search import card_in_words

READINGS = [row["reading"] for row in data_rows("stages.prove", "heard_instead.csv")]
# Where each is taken on the demo, as its own kind of place asks.
TAKEN = {
    "slow-bass": "door-fl",
    "press-trim": "door-fl",
    "mono-bass": "front",
    "treble-burst": "pillar-fl",
    "pair-offset": "rear-left",
    "impedance-sweep": "door-fl",
}


def test_the_table_names_readings_tests_and_sounds_that_there_are() -> None:
    assert set(READINGS) <= set(TEST_IDS)
    assert set(READINGS) == set(TAKEN)
    for reading in READINGS:
        instead = heard_instead(reading)
        assert instead is not None
        # What is played is one of the sounds that the test knows; of some there is none.
        assert (instead.sound in instead.test.sounds) is bool(instead.test.sounds)
        assert not instead.sound or instead.sound in SOUNDS
    assert heard_instead("pair-resistance") is None


@pytest.mark.parametrize("reading", READINGS)
def test_a_recording_is_made_where_the_reading_is_taken(reading: str) -> None:
    instead = heard_instead(reading)
    assert instead is not None
    assert TAKEN[reading] in places_for(instead.test, cw.demo_job().build())


@pytest.mark.parametrize("reading", READINGS)
def test_its_card_names_commands_that_there_are(reading: str) -> None:
    report = cw.find(cw.demo_job().build())
    card = reading_card(reading, TAKEN[reading])
    said = " ".join(
        line for part in card_in_words(card, report) for line in part.lines(width=10_000)
    )
    command = said.partition("Hear it")[2].partition("--job JOB")[0]
    *played, listened = (shlex.split(each) for each in command.split(";"))
    instead = heard_instead(reading)
    assert instead is not None
    wanted = [["conewright", "sound", instead.sound]] if instead.sound else []
    assert played == wanted
    assert listened == [
        *("conewright", "listen", "FILE"),
        *("--as", instead.test.id, "--at", TAKEN[reading]),
    ]


def test_other_cards_name_none() -> None:
    report = cw.find(cw.demo_job().build())
    card = reading_card("pair-resistance", "rear-left")
    said = " ".join(line for part in card_in_words(card, report) for line in part.lines(width=200))
    assert "Hear it" not in said


@pytest.mark.parametrize("test", recorded_tests().values(), ids=recorded_tests())
def test_every_test_says_where_the_phone_lies_and_asks_for_details_that_there_are(
    test: RecordedTest,
) -> None:
    assert test.phone.endswith(".")
    assert set(test.details) <= set(DETAILS)
    assert set(test.sounds) <= set(SOUNDS)
