"""The first steps that a good repairer takes come out first, complaint by complaint.

Workshop experience, from memory, worked out there for one place and one reading ahead.
"""

import pytest
from four_doors import Reading, car

from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.planning import Foresight, Proposal

SILENT: Reading = ("corner-solo", "fr", '"silent"')
WEAK: Reading = ("corner-solo", "fr", '"weaker"')
NO_TREBLE: Reading = ("treble-burst", "fr", '"missing"')
TREBLE: Reading = ("treble-burst", "fr", '"present"')
RASP: Reading = ("slow-bass", "door-fr", '"rasp"')
NO_RESET: Reading = ("settings-reset", "vehicle", '"no change"')
NO_SWING: Reading = ("door-swing", "fr", '"no change"')
ONLY_HERE: tuple[Reading, ...] = tuple(
    ("corner-solo", corner, '"equal"') for corner in ("fl", "rl", "rr")
)


def asked(*readings: Reading, complaint: str = "") -> tuple[Inquiry, list[Proposal]]:
    inquiry = inquire(car(*readings, complaints=(complaint,) if complaint else ()).build())
    foresight = Foresight(inquiry.case)
    return inquiry, foresight.next_readings(inquiry.odds, inquiry.asked, inquiry.opened)


def names(proposals: list[Proposal]) -> list[str]:
    return [proposal.question.id for proposal in proposals]


def test_a_dead_corner_first_has_its_door_swung() -> None:
    _, found = asked(SILENT, NO_TREBLE, complaint="silent-corner@fr")
    assert names(found)[0] == "door-swing@fr"
    # From memory, for one place: 0.36 bit in 3 minutes.
    assert found[0].bits == pytest.approx(0.36, abs=0.1)


def test_then_something_is_opened_that_parts_radio_wire_and_driver() -> None:
    _, found = asked(SILENT, NO_TREBLE, NO_SWING, *ONLY_HERE, complaint="silent-corner@fr")
    # From memory: the test loudspeaker, 0.59 bit. Two readings at the radio's plug, taken
    # together, part the same causes in fewer minutes here and may come before it.
    assert found[0].question.id in ("pair-resistance@fr", "cell-pulse@door-fr")
    swap = next(p for p in found if p.question.id == "swap-speaker@door-fr")
    assert swap.bits == pytest.approx(0.59, abs=0.2)
    assert swap.rate > 0.6 * found[0].rate


def test_a_corner_weak_in_bass_with_its_treble_is_first_listened_to() -> None:
    _, found = asked(WEAK, TREBLE, *ONLY_HERE)
    assert names(found)[0] == "slow-bass@door-fr"
    assert "settings-reset@vehicle" in names(found)[:5]
    _, told = asked(WEAK, TREBLE, *ONLY_HERE, complaint="silent-corner@fr")
    assert {"slow-bass@door-fr", "settings-reset@vehicle"} <= set(names(told)[:3])


def test_then_its_coil_is_measured() -> None:
    clean: Reading = ("slow-bass", "door-fr", '"clean"')
    inquiry, found = asked(
        WEAK, TREBLE, *ONLY_HERE, clean, NO_RESET, NO_SWING, complaint="silent-corner@fr"
    )
    ohms = next(p for p in found if p.question.id == "coil-resistance@door-fr")
    # From memory, for one place: 0.63 bit.
    assert ohms.bits == pytest.approx(0.63, abs=0.1)
    assert max(inquiry.chances(), key=inquiry.chances().__getitem__).fault == "coil-open"
    # Ohms are read first in any case: at the plug, as the pulse is given there too.
    assert found[0].question.test in ("pair-resistance", "cell-pulse", "coil-resistance")


def test_a_buzzing_door_is_pressed_before_it_is_opened() -> None:
    _, found = asked(complaint="buzz-one-corner@fr")
    assert names(found)[0] == "slow-bass@door-fr"
    _, found = asked(RASP, complaint="buzz-one-corner@fr")
    assert names(found)[0] == "press-trim@door-fr"
    # From memory: 0.21 bit in 5 minutes.
    assert found[0].bits == pytest.approx(0.21, abs=0.06)


@pytest.mark.parametrize("pressed", ["changes", "no change"])
def test_then_its_cone_is_pushed_and_looked_at_together(pressed: str) -> None:
    told = (RASP, ("press-trim", "door-fr", f'"{pressed}"'))
    _, found = asked(*told, complaint="buzz-one-corner@fr")
    first = found[0]
    assert first.then is not None
    assert {first.question.id, first.then.id} == {"look@door-fr", "cone-push@door-fr"}


def test_thin_bass_after_new_loudspeakers_is_a_reversed_one_before_anything_is_opened() -> None:
    _, found = asked(complaint="thin-after-change")
    assert found[0].question.test == "mono-bass"
    inquiry, _ = asked(("mono-bass", "front", '"weaker"'), NO_RESET, complaint="thin-after-change")
    reversed_ = {a.subject: c for a, c in inquiry.chances().items() if a.fault == "reversed"}
    assert not inquiry.opened.keys
    # From memory: 0.74. Which of the two it is, no mono test can say.
    assert reversed_["door-fl"] + reversed_["door-fr"] == pytest.approx(0.74, abs=0.03)
    assert reversed_["door-fl"] == pytest.approx(reversed_["door-fr"], rel=0.02)
