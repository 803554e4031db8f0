"""Exact odds against the plain sum over every combination of states."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product
from math import expm1, log1p

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom, Chain, State
from conewright.stages.find.odds.inference import Complained, Model, PairFactor, infer


def small_chain(name: str, faults: int) -> Chain:
    atoms = tuple(Atom(f"fault-{number}", name) for number in range(faults))
    states: list[State] = [(), *((n,) for n in range(faults))]
    states += list(combinations(range(faults), 2))
    return Chain(name, None, (), atoms, tuple(states))


def bench(seed: int, *, complaints: int = 1) -> tuple[Model, dict[int, FloatArray], PairFactor]:
    """A vehicle of one shared chain and three others, the first two of them twins."""
    rng = np.random.default_rng(seed)
    chains = tuple(small_chain(name, 2 if name == "shared" else 3) for name in NAMES)
    weights = tuple(
        np.concatenate(([1.0], rng.uniform(0.01, 0.5, len(chain.states) - 1))) for chain in chains
    )
    likelihoods = {
        number: rng.uniform(0.05, 1.0, (len(chains[0].states), len(chains[number].states)))
        for number in (1, 2, 3)
    }
    likelihoods[0] = rng.uniform(0.05, 1.0, len(chains[0].states))
    atoms = [atom for chain in chains for atom in chain.atoms]
    said = tuple(
        Complained(
            f"complaint-{n}",
            {atoms[i]: float(rng.uniform(0.01, 1.0)) for i in rng.choice(len(atoms), 3, False)},
            from_nothing=float(rng.uniform(0.02, 0.4)),
        )
        for n in range(complaints)
    )
    twin, reading = _pair(rng, chains), _pair(rng, chains)
    return Model(chains, weights, (twin,), said), likelihoods, reading


NAMES = ("shared", "left", "right", "alone")


def _pair(rng: np.random.Generator, chains: tuple[Chain, ...]) -> PairFactor:
    classes = [rng.integers(0, 3, len(chains[number].states)) for number in (1, 2)]
    return PairFactor(1, 2, classes[0], classes[1], rng.uniform(0.1, 2.0, (3, 3)))


def worlds(
    model: Model, likelihoods: dict[int, FloatArray], reading: PairFactor
) -> Iterator[tuple[float, set[Atom]]]:
    """Yield every combination of states: its weight before anybody complains, and its faults."""
    for states in product(*(range(len(chain.states)) for chain in model.chains)):
        chance = 1.0
        for number, state in enumerate(states):
            chance *= model.weights[number][state]
            table = likelihoods[number]
            chance *= table[states[0]] if number == 0 else table[states[0], state]
        for factor in (*model.pairs, reading):
            left = factor.left_class[states[factor.left]]
            chance *= factor.table[left, factor.right_class[states[factor.right]]]
        there = {
            chain.atoms[index]
            for chain, state in zip(model.chains, states, strict=True)
            for index in chain.states[state]
        }
        yield chance, there


def brute_force(
    model: Model, likelihoods: dict[int, FloatArray], reading: PairFactor
) -> tuple[float, dict[Atom, float]]:
    """Sum over every combination of states, one by one."""
    total, present = 0.0, {atom: 0.0 for chain in model.chains for atom in chain.atoms}
    for chance, there in worlds(model, likelihoods, reading):
        for complaint in model.complaints:
            brings = [chance for atom, chance in complaint.causes.items() if atom in there]
            chance *= -expm1(sum(log1p(-each) for each in (complaint.groundless, *brings)))
        total += chance
        for atom in there:
            present[atom] += chance
    return total, {atom: chance / total for atom, chance in present.items()}


@pytest.mark.parametrize("complaints", [0, 1, 2, 3, 7, 12])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_odds_equal_the_sum_over_all_combinations(seed: int, complaints: int) -> None:
    # Closed form: the definition, by enumeration.
    model, likelihoods, reading = bench(seed, complaints=complaints)
    odds = infer(model, likelihoods, [reading])
    total, expected = brute_force(model, likelihoods, reading)
    assert odds.log_evidence == pytest.approx(np.log(total), abs=1e-12)
    got = odds.of_atoms()
    for atom, chance in expected.items():
        assert got[atom] == pytest.approx(chance, abs=1e-12)


def rarer(model: Model, times: float) -> Model:
    """The same with complaints that every fault brings on so many times more rarely."""
    said = tuple(
        Complained(
            each.id,
            {atom: brings / times for atom, brings in each.causes.items()},
            each.groundless / times,
        )
        for each in model.complaints
    )
    return replace(model, complaints=said)


@pytest.mark.parametrize("complaints", [5, 9, 12])
def test_many_rare_complaints_lose_no_digits(complaints: int) -> None:
    # Closed form: the definition, by enumeration; all twelve together have a chance below 1e-30.
    model, likelihoods, reading = bench(11, complaints=complaints)
    model = rarer(model, 300.0)
    odds = infer(model, likelihoods, [reading])
    total, expected = brute_force(model, likelihoods, reading)
    assert total < 10.0 ** (-2.5 * complaints)
    assert odds.log_evidence == pytest.approx(np.log(total), abs=1e-12)
    got = odds.of_atoms()
    for atom, chance in expected.items():
        assert got[atom] == pytest.approx(chance, abs=1e-12)


def test_a_vehicle_without_a_channel_has_the_odds_of_what_all_share() -> None:
    # By hand: weights 1, 0.2, 0.1, 0.02 of none, one, the other and both; 0.3 and 0.5 are told.
    chain = small_chain("shared", 2)
    brings = dict(zip(chain.atoms, (0.3, 0.5), strict=True))
    said = (Complained("dull", brings, from_nothing=0.1),)
    odds = infer(Model((chain,), (np.array([1.0, 0.2, 0.1, 0.02]),), (), said), {})
    heard = np.array([0.1, 0.2 * 0.37, 0.1 * 0.55, 0.02 * 0.685])
    assert odds.of_states(0) == pytest.approx(heard / heard.sum(), rel=1e-12)
    silent = np.array([1.0, 0.2, 0.1, 0.02]) / heard.sum()
    assert odds.unsaid[0][0][:, 0] == pytest.approx(silent, rel=1e-12)


def test_order_of_complaints_does_not_matter() -> None:
    model, likelihoods, reading = bench(12, complaints=10)
    model = rarer(model, 100.0)
    one = infer(model, likelihoods, [reading])
    turned = replace(model, complaints=model.complaints[::-1])
    two = infer(turned, likelihoods, [reading])
    assert two.of_atoms() == pytest.approx(one.of_atoms(), abs=1e-12)
    for left, right in zip(one.unsaid, two.unsaid[::-1], strict=True):
        for table, other in zip(left, right, strict=True):
            assert other == pytest.approx(table, rel=1e-12)


@pytest.mark.parametrize("left_out", [0, 1])
def test_what_is_left_unsaid_is_the_sum_without_that_complaint(left_out: int) -> None:
    # Closed form: the same enumeration without the complaint, in the same proportion.
    model, likelihoods, reading = bench(2, complaints=2)
    odds = infer(model, likelihoods, [reading])
    fewer = replace(model, complaints=(model.complaints[1 - left_out],))
    total, present = brute_force(fewer, likelihoods, reading)
    times = total / brute_force(model, likelihoods, reading)[0]
    for number, chain in enumerate(model.chains):
        states = odds.unsaid[left_out][number].sum(axis=1 if number == 0 else 0)
        for atom, chance in zip(chain.atoms, states @ chain.members, strict=True):
            assert chance == pytest.approx(times * present[atom], rel=1e-9)


@given(st.integers(0, 10_000))
def test_chances_of_states_sum_to_one(seed: int) -> None:
    model, likelihoods, reading = bench(seed, complaints=2)
    odds = infer(model, likelihoods, [reading])
    for number in range(len(model.chains)):
        assert odds.of_states(number).sum() == pytest.approx(1.0, abs=1e-12)


def test_a_reading_that_says_nothing_changes_nothing() -> None:
    model, likelihoods, reading = bench(4)
    before = infer(model, likelihoods, [reading]).of_atoms()
    flat = {number: 0.37 * table for number, table in likelihoods.items()}
    empty = PairFactor(
        1, 2, reading.left_class, reading.right_class, np.full_like(reading.table, 0.2)
    )
    after = infer(model, flat, [reading, empty]).of_atoms()
    assert all(after[atom] == pytest.approx(before[atom], abs=1e-12) for atom in before)


def test_order_of_readings_does_not_matter() -> None:
    model, likelihoods, reading = bench(5)
    other = bench(6)[2]
    one = infer(model, likelihoods, [reading, other]).of_atoms()
    two = infer(model, likelihoods, [other, reading]).of_atoms()
    assert all(one[atom] == pytest.approx(two[atom], abs=1e-12) for atom in one)


def test_hundreds_of_readings_do_not_run_out_of_range() -> None:
    model, likelihoods, reading = bench(7)
    many = {number: table**300 for number, table in likelihoods.items()}
    odds = infer(model, many, [reading])
    assert np.isfinite(odds.log_evidence)
    assert odds.of_states(1).sum() == pytest.approx(1.0, abs=1e-9)


def test_impossible_readings_are_refused() -> None:
    model, likelihoods, reading = bench(8)
    with pytest.raises(BadInputError, match="cannot all come from this vehicle"):
        infer(model, likelihoods | {1: np.zeros_like(likelihoods[1])}, [reading])
