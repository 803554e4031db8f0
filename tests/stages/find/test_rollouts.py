"""What is promised of the readings to come."""

import pytest
from four_doors import Reading, car

from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.planning import Foresight
from conewright.stages.find.talk.rollouts import MOST, PLAYS, Promise, promised

OPEN: Reading = ("coil-resistance", "door-fr", '"open"')


def asked(*readings: Reading) -> Inquiry:
    return inquire(car(*readings, complaints=("silent-corner@fr",)).build())


def promise(inquiry: Inquiry) -> Promise:
    return promised(inquiry, Foresight(inquiry.case).questions)


def test_the_same_vehicle_is_promised_the_same() -> None:
    inquiry = asked()
    assert promise(inquiry) == promise(inquiry)


def test_nothing_is_promised_for_certain() -> None:
    # Jeffreys' rule, closed form: of n plays at least 1/2 and at most n + 1/2 of n + 1 get there.
    found = promise(asked())
    whole = PLAYS + 1.0
    assert 0.5 / whole <= found.chance <= 1.0 - 0.5 / whole
    assert found.chance * whole - 0.5 == pytest.approx(round(found.chance * whole - 0.5))
    assert found.minutes > 0.0


def test_what_is_found_takes_no_more_minutes() -> None:
    assert promise(asked(OPEN)) == Promise(0.0, MOST)


def test_where_nothing_is_left_to_read_nothing_is_promised() -> None:
    assert promised(asked(), ()) == Promise(0.0, 0.0)


def test_a_reading_on_the_way_shortens_it() -> None:
    # A corner that was heard to be silent leaves fewer causes to part.
    before = promise(asked())
    after = promise(asked(("corner-solo", "fr", '"silent"'), ("pair-resistance", "fr", '"open"')))
    assert after.minutes < before.minutes
    assert after.chance >= before.chance - 0.1
