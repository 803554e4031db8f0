"""Bits and minutes of the next reading against sums done by hand."""

import numpy as np
import pytest
from four_doors import car

from conewright.stages.find.faults import trade
from conewright.stages.find.odds.blame import Blame
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.planning import HANDLING, Foresight, Opened


def inquiry() -> Inquiry:
    return inquire(car(complaints=("silent-corner@fr",)).build())


def entropy(chances: list[float]) -> float:
    return -float(sum(p * np.log2(p) for p in chances if p > 0.0))


def test_bits_are_the_fall_of_doubt_about_the_cause() -> None:
    # Closed form: I = H(answer) - sum over causes of P(cause) H(answer | cause), one by one.
    found = inquiry()
    question = Question("corner-solo", "fr")
    proposals = Foresight(found.case).next_readings(found.odds, (), Opened())
    bits = next(p.bits for p in proposals if p.question == question)
    words, table = found.case.outcomes(question)
    masses = Blame(found.model).masses(found.odds, found.case.chain_of("fr"))
    told = np.einsum("sc,sw->cw", masses, table.reshape(-1, len(words)))
    noise = sum(float(row.sum()) * entropy(list(row / row.sum())) for row in told if row.sum() > 0)
    # Causes that are hardly possible count as one in a plan.
    assert bits == pytest.approx(entropy(list(told.sum(axis=0))) - noise, rel=0.02)


def test_a_plan_never_expects_an_answer_without_a_chance() -> None:
    found = inquiry()
    for proposal in Foresight(found.case).next_readings(found.odds, (), Opened()):
        assert sum(proposal.answers.values()) == pytest.approx(1.0, abs=1e-6)
        assert proposal.bits >= 0.0
        assert proposal.rate >= proposal.bits / (proposal.minutes + HANDLING) - 1e-12


def test_a_reading_of_another_corner_tells_less_of_a_complaint() -> None:
    found = inquiry()
    proposals = Foresight(found.case).next_readings(found.odds, (), Opened())
    bits = {p.question.subject: p.bits for p in proposals if p.question.test == "corner-solo"}
    assert bits["fr"] > 2 * max(bits[other] for other in ("fl", "rl", "rr"))


def test_readings_behind_one_panel_are_weighed_together() -> None:
    found = inquiry()
    proposals = Foresight(found.case).next_readings(found.odds, (), Opened())
    behind = next(p for p in proposals if p.question == Question("coil-resistance", "door-fr"))
    assert behind.then is not None
    assert trade.test(behind.then.test).access in ("trim", "none")
    assert behind.minutes == trade.test("coil-resistance").minutes + 30.0


def test_what_was_asked_is_not_proposed() -> None:
    found = inquiry()
    asked = [Question("corner-solo", "fr"), Question("mono-bass", "front")]
    proposals = Foresight(found.case).next_readings(found.odds, asked, Opened())
    assert not {p.question for p in proposals} & set(asked)


def test_a_second_door_is_quicker_than_the_first() -> None:
    case = inquiry().case
    opened = Opened().with_(("trim", "door-fl"))
    assert Opened().minutes(("trim", "door-fr"), case) == 30.0
    assert opened.minutes(("trim", "door-fr"), case) == 20.0
    assert opened.minutes(("trim", "door-fl"), case) == 0.0
    assert opened.minutes(("none", ""), case) == 0.0
