"""Which fault brought a complaint on, against sums done by hand."""

from itertools import product

import numpy as np
import pytest

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom, Chain, State
from conewright.stages.find.odds.blame import UNSAID, Blame, group_of
from conewright.stages.find.odds.inference import Complained, Model, infer

SETTINGS = Atom("settings", "vehicle")
TORN, OPEN, RUBBING = (Atom(f, "door") for f in ("surround-torn", "coil-open", "coil-rubbing"))
TOLD = {SETTINGS: 0.02, TORN: 0.03, OPEN: 0.001, RUBBING: 0.005}
GROUNDLESS = 0.004


def chain(name: str, *atoms: Atom) -> Chain:
    states: list[State] = [(), *((n,) for n in range(len(atoms)))]
    return Chain(name, None, (), atoms, tuple(states))


def model(*, complaints: bool = True) -> Model:
    chains = (chain("vehicle", SETTINGS), chain("front", TORN, OPEN, RUBBING))
    weights: tuple[FloatArray, ...] = (np.array([1.0, 0.1]), np.array([1.0, 0.2, 0.1, 0.05]))
    said = (Complained("buzz", TOLD, GROUNDLESS),) if complaints else ()
    return Model(chains, weights, (), said)


def by_hand() -> dict[tuple[int, int], float]:
    """Chance of every pair of states, one by one."""
    told = model()
    found = {}
    for shared, own in product(range(2), range(4)):
        there = [SETTINGS] * shared + [told.chains[1].atoms[n] for n in told.chains[1].states[own]]
        quiet = np.prod([1.0 - TOLD[atom] for atom in there])
        weight = told.weights[0][shared] * told.weights[1][own]
        found[shared, own] = float(weight * (1.0 - (1.0 - GROUNDLESS) * quiet))
    total = sum(found.values())
    return {state: chance / total for state, chance in found.items()}


def test_a_fault_is_blamed_by_its_own_chance_to_bring_the_complaint_on() -> None:
    told = model()
    odds = infer(told, {})
    masses = Blame(told).masses(odds, 1).reshape(2, 4, -1)
    hand = by_hand()
    # Causes: surround, driver (coil open or rubbing), settings, anything else. With one fault
    # there, p of it against 1 - (1 - g)(1 - p) is its share; closed form.
    for state, cause, chance in ((1, 0, TOLD[TORN]), (2, 1, TOLD[OPEN]), (3, 1, TOLD[RUBBING])):
        share = chance / (1.0 - (1.0 - GROUNDLESS) * (1.0 - chance))
        share = (1.0 - UNSAID) * share + UNSAID
        assert masses[0, state, cause] == pytest.approx(share * hand[0, state], rel=1e-9)
    assert masses[0, 0, -1] == pytest.approx(hand[0, 0], rel=1e-9)
    assert masses[1, 0, 2] > 4 * masses[1, 0, -1]


def test_causes_of_a_state_add_up_to_its_chance() -> None:
    for told in (model(), model(complaints=False)):
        odds = infer(told, {})
        for number in (0, 1):
            masses = Blame(told).masses(odds, number)
            assert masses.sum(axis=1) == pytest.approx(odds.joint[number].ravel(), abs=1e-12)
            assert masses.min() >= 0.0


def test_without_a_complaint_every_fault_there_is_as_good_a_cause() -> None:
    told = model(complaints=False)
    odds = infer(told, {})
    masses = Blame(told).masses(odds, 1).reshape(2, 4, -1)
    both = odds.joint[1][1, 1]
    assert masses[1, 1] == pytest.approx([both / 2, 0.0, both / 2, 0.0], abs=1e-12)


def test_what_one_repair_cures_is_one_cause() -> None:
    assert group_of(OPEN) == group_of(RUBBING) != group_of(TORN)
    assert group_of(OPEN) != group_of(Atom("coil-open", "other door"))
