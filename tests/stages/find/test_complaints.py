"""Many complaints of one vehicle: each counted once, in any order, at a bounded cost."""

from cProfile import Profile
from itertools import product

import pytest
from four_doors import car

from conewright.errors import BadInputError
from conewright.job.builds.draws import draw
from conewright.job.builds.states.build import Build
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.odds import blocks
from conewright.stages.find.odds.covering import Step
from conewright.stages.find.odds.prior import MOST_TOLD
from conewright.stages.find.stage import find
from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.sentences import aside_verdict
from conewright.stages.report.assembly import Answer

WORDS = tuple(complaint.id for complaint in trade.complaints())
PLACED = tuple(f"{word}@{place}" for word, place in product(WORDS, ("door-fl", "rear")))

CALL = 100
"""Numbers of an array that are made in the time of one call; assumed, usual in Python."""


def asked(*complaints: str) -> Inquiry:
    return inquire(car(complaints=complaints).build())


def chances(*complaints: str) -> dict[Atom, float]:
    return asked(*complaints).chances()


def test_the_same_complaint_counts_once_however_often_it_is_written() -> None:
    once = chances("dull@door-fl", "flat-battery")
    for copies in (2, 4, 16):
        assert chances(*["dull@door-fl"] * copies, "flat-battery") == once


def test_two_names_of_one_place_are_one_place() -> None:
    # The channel fl drives door-fl alone, which is all that is in front on the left.
    once = chances("dull@door-fl")
    assert chances("dull@fl", "dull@door-fl", "dull@front-left") == pytest.approx(once, abs=1e-12)
    assert chances("dull@door-fl", "dull@door-fr") != pytest.approx(once, abs=1e-3)


def test_other_words_or_another_place_count_besides() -> None:
    assert len(asked("dull@front", "dull@rear", "flat-battery").model.complaints) == 3


def test_words_of_a_place_say_all_that_the_same_words_of_a_wider_one_say() -> None:
    # The rear holds rr, and everywhere holds the rear: what is said nearer counts alone.
    once = chances("dull@rr")
    assert chances("dull", "dull@rear", "dull@rr") == once
    assert chances("flat-battery", "dull@rr") != once


def test_order_of_complaints_does_not_matter() -> None:
    told = (*WORDS[:9], "dull@rear")
    assert chances(*told[::-1]) == chances(*told)
    assert asked(*PLACED[::-1]).model.aside == asked(*PLACED).model.aside


def test_of_too_many_complaints_those_that_tell_least_are_put_aside_and_named() -> None:
    told = PLACED
    inquiry = asked(*told)
    kept = [complaint.id for complaint in inquiry.model.complaints]
    assert len(kept) == MOST_TOLD
    assert sorted((*kept, *inquiry.model.aside)) == sorted(told)
    # There are as many words as are reckoned with: each stays once, at its most telling place,
    # as whoever names the corner besides tells more of where the fault is.
    assert sorted(name.partition("@")[0] for name in kept) == sorted(WORDS)
    assert {"dull@door-fl", "silent-corner@door-fl", "buzz-one-corner@door-fl"} <= set(kept)
    answer = Answer("find", inquiry.case.build, None, draw(()))
    aside_verdict(answer, inquiry)
    assert all(name in answer.verdicts[0].text for name in inquiry.model.aside)


def test_twelve_complaints_are_all_reckoned_with() -> None:
    inquiry = asked(*WORDS)
    assert not inquiry.model.aside
    answer = Answer("find", inquiry.case.build, None, draw(()))
    aside_verdict(answer, inquiry)
    assert not answer.verdicts


def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Numbers that sums over states make from now on: each goes one complaint at a time."""
    numbers: list[int] = []
    parted, leaving, brought = blocks._parted, blocks.Side.leaving, blocks.Block.brought

    def counted_parted(
        found: FloatArray, step: tuple[Step, Step, Step]
    ) -> tuple[FloatArray, FloatArray]:
        every, without = parted(found, step)
        numbers.append(every.size)
        return every, without

    def counted_leaving(side: blocks.Side, table: FloatArray, early: int) -> FloatArray:
        found = leaving(side, table, early)
        numbers.append(found.size)
        return found

    def counted_brought(block: blocks.Block) -> FloatArray:
        one, other = (side.alike.steps for side in block.sides)
        pairs = [len(a.chance) * len(b.chance) for a, b in zip(one, other, strict=True)]
        shared = len(block.sides[0].weights)
        numbers.append(shared * sum(2**n * each for n, each in enumerate(pairs)))
        return brought(block)

    monkeypatch.setattr(blocks, "_parted", counted_parted)
    monkeypatch.setattr(blocks.Side, "leaving", counted_leaving)
    monkeypatch.setattr(blocks.Block, "brought", counted_brought)
    return numbers


def test_cost_is_bounded_however_many_complaints_there_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    numbers = counted(monkeypatch)
    work = {}
    for told in (4, 8, 12, 36):
        inquiry = asked(*(*WORDS, *PLACED)[:told])
        numbers.clear()
        assert inquiry.odds
        work[told] = sum(numbers)
    assert work[4] < work[8] < work[12]
    # By hand: every state of every chain with every set of twelve complaints, one by one, there
    # and back.
    states = sum(len(chain.states) for chain in inquiry.case.chains[1:])
    assert max(work.values()) <= 2 * states * 2**12


def calls(build: Build) -> int:
    """How often anything is called while find answers."""
    with Profile() as profile:
        find(build)
    return sum(entry.callcount for entry in profile.getstats())


def test_work_of_an_answer_grows_no_faster_than_the_complaints(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    numbers = counted(monkeypatch)

    def work(*complaints: str) -> int:
        build = car(complaints=complaints).build()
        numbers.clear()
        return CALL * calls(build) + sum(numbers)

    work("dull")  # what is read once stays
    one = work("silent-corner@door-fl")
    for told in (WORDS, PLACED[::2]):
        assert work(*told) <= len(told) * one


def test_unknown_words_are_refused_by_name() -> None:
    with pytest.raises(BadInputError, match="dul"):
        asked("dul@rear")
