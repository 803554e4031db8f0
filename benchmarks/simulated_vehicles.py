"""Simulated vehicles: drawn from the priors, complained of, and asked reading by reading.

The simulated world and the search for faults share their tables, so this measures inference and
planning, not whether the tables are true; `wobble` moves the world's chances away from them.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import TypeVar

import numpy as np

from benchmarks.invented_vehicles import AGES, Template, templates
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.instruments.meter import METER_TESTS
from conewright.stages.find.instruments.mixture import Mixture
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.odds.inference import PairFactor
from conewright.stages.find.odds.prior import model_of, twin_gone

__all__ = ["Vehicle", "World", "vehicles"]

T = TypeVar("T")

SECOND = 0.25
"""Share of the vehicles with two faults."""

SECOND_TOLD = 0.5
"""Share of the second faults that the owner speaks of, too."""

ROUNDS = 30
"""Rounds in which the commonness of the complaints is found."""

TRIES = 500
"""Draws of a number after which the reading is left at its word."""

RIGHT_PLACE, NO_PLACE = 0.7, 0.1
"""Shares of the owners who name the right corner, and no place at all; the rest is wrong."""


@dataclass(frozen=True)
class World:
    """How the simulated world differs from the tables.

    Attributes:
        seed: of everything drawn.
        common: whether some complaints are more common than others, or all as common.
        wobble: logarithm of the usual factor by which chances differ, on the scale of odds.

    """

    seed: int
    wobble: float = 0.0
    common: bool = True

    def factor(self, *key: str) -> float:
        """The factor on the odds of one chance of the tables; always the same for one key."""
        if self.wobble == 0.0:
            return 1.0
        return float(np.exp(self.wobble * _score(self.seed, key)))


@dataclass(frozen=True)
class Vehicle:
    """A vehicle in the shop: what is wrong, what the owner says, and luck with every reading.

    `grounded`: whether a fault brought the owner to his words.
    """

    world: World
    number: int
    template: Template
    age: int
    faults: frozenset[Atom]
    complaints: tuple[str, ...]
    grounded: bool = True

    def answer(self, question: Question) -> str | Quantity:
        """What a reading says, a number where a meter shows one; the same whenever it is asked."""
        rng = _rng(self.world.seed, str(self.number), question.id)
        word = self._word(question, rng)
        if question.test not in METER_TESTS or word in ("open", "unsteady"):
            return word
        shown = self._shown(question)
        for _ in range(TRIES):
            value = _drawn(shown, rng)
            if _word_for(value, shown, open_ends=word in ("low", "high")) == word:
                return Quantity.of(float(f"{value:.3g}"), _dimension(question))
        return word

    def _shown(self, question: Question) -> Mixture:
        case = self.template.case
        chain = case.chains[case.chain_of(question.subject)]
        return case.meter.predict(question.test, question.subject, self.faults, chain)

    def _word(self, question: Question, rng: np.random.Generator) -> str:
        words, chances = self._chances(question)
        moved = [
            chance * self.world.factor(question.test, word, *self._kinds)
            for word, chance in zip(words, chances, strict=True)
        ]
        return _one(rng, dict(zip(words, moved, strict=True)))

    @property
    def _kinds(self) -> tuple[str, ...]:
        return tuple(sorted(atom.fault for atom in self.faults))

    def _chances(self, question: Question) -> tuple[Sequence[str], Sequence[float]]:
        case = self.template.case
        if trade.test(question.test).target == "pair":
            words = trade.word_table(question.test).words
            return words, [self._of_pair(question, word) for word in words]
        words, table = case.outcomes(question)
        number = case.chain_of(question.subject)
        own = self._state(number) if number else 0
        return words, table[self._state(0), own].tolist()

    def _of_pair(self, question: Question, word: str) -> float:
        factor = self.template.case.of_word(question, word)
        assert isinstance(factor, PairFactor)
        left = factor.left_class[self._state(factor.left)]
        right = factor.right_class[self._state(factor.right)]
        return float(factor.table[left, right])

    def _state(self, number: int) -> int:
        own = self.faults & set(self.template.case.chains[number].atoms)
        return _states(self.template, number)[own]


def vehicles(world: World, count: int) -> Iterator[Vehicle]:
    """Draw vehicles: layout, age, faults by their prior weights, owner's words by the faults.

    Some owners complain of what is no fault; their vehicles have as many as any on the road.
    """
    nothing = _of_nothing(world)
    share = 1.0 - 1.0 / (1.0 + sum(nothing.values()))
    for number in range(count):
        rng = _rng(world.seed, "vehicle", str(number))
        template = templates()[int(rng.integers(len(templates())))]
        age = AGES[int(rng.integers(len(AGES)))]
        luck = _rng(world.seed, "nothing", str(number))
        grounded = bool(luck.random() >= share)
        faults: list[Atom] = []
        if grounded or luck.random() >= _sound(template, age):
            faults = _faults(rng, world, template, age)
        if grounded:
            first, *others = faults
            told = [_words(rng, world, template, first)]
            told += [_words(rng, world, template, o) for o in others if rng.random() < SECOND_TOLD]
        else:
            told = [_placed(_one(rng, nothing), "", rng, template)]
        kept = tuple(dict.fromkeys(told))
        yield Vehicle(world, number, template, age, frozenset(faults), kept, grounded)


def _faults(rng: np.random.Generator, world: World, template: Template, age: int) -> list[Atom]:
    weights = {
        atom: weight * world.factor("prior", atom.fault)
        for atom, weight in _weights(template, age).items()
    }
    first = _one(rng, weights)
    twin = _twin(template, first)
    # Of two surrounds one is named first, so that the chance of its twin is less than given one.
    if twin is not None and rng.random() < twin_gone() / (2.0 - twin_gone()):
        return [first, twin]
    if rng.random() >= SECOND:
        return [first]
    return [first, _one(rng, {a: w for a, w in weights.items() if _beside(template, first, a)})]


def _words(rng: np.random.Generator, world: World, template: Template, atom: Atom) -> str:
    """A complaint by its factor for the fault, and mostly a corner, mostly the right one."""
    words = _one(rng, _told(world, atom.fault))
    return _placed(
        words, template.case.chains[template.case.chain_of(atom.subject)].id, rng, template
    )


def _told(world: World, fault: str) -> dict[str, float]:
    """Weight of each complaint for a fault."""
    common = commonness() if world.common else dict.fromkeys(commonness(), 1.0)
    return {
        name: often * trade.complaint(name).factor(fault) * world.factor("told", name, fault)
        for name, often in common.items()
    }


def _placed(words: str, here: str, rng: np.random.Generator, template: Template) -> str:
    """Words with the corner that the owner names, if any."""
    luck = rng.random()
    if luck < NO_PLACE:
        return words
    corners = [chain.id for chain in template.case.chains[1:]]
    if here in corners and luck < NO_PLACE + RIGHT_PLACE:
        return f"{words}@{here}"
    return f"{words}@{rng.choice([corner for corner in corners if corner != here])}"


def _of_nothing(world: World) -> dict[str, float]:
    """Complaints with nothing behind them, by their words, for each one with a fault behind it."""
    found = dict.fromkeys(commonness(), 0.0)
    for fault in trade.faults():
        told = _told(world, fault.id)
        for name, weight in told.items():
            groundless = trade.complaint(name).groundless
            share = fault.prior * weight / sum(told.values())
            found[name] += share * groundless / (1.0 - groundless)
    return {name: weight * world.factor("nothing", name) for name, weight in found.items()}


@cache
def _sound(template: Template, age: int) -> float:
    """Share of the vehicles on the road that have no fault at all."""
    model = model_of(template.build(age), template.case.chains, (), {})
    return float(np.prod([weights[0] / weights.sum() for weights in model.weights]))


@cache
def commonness() -> dict[str, float]:
    """How common each complaint must be for shares and factors of the tables to fit together.

    Shares of complaints P(c) such that the sum of P(c) P(fault | c) comes as near to the share of
    every fault as it can, P(fault | c) being share times factor; as P(c | fault) is in proportion
    to factor(c, fault) P(c) / sum(share factor), that quotient is returned.
    """
    # What is known only where it is written down, a shared return, has no share.
    faults = [fault for fault in trade.faults() if fault.prior > 0.0]
    shares = np.array([fault.prior for fault in faults])
    factors = np.array([[each.factor(fault.id) for fault in faults] for each in trade.complaints()])
    given = shares * factors / (factors @ shares)[:, None]
    common = np.full(len(given), 1.0 / len(given))
    for _ in range(ROUNDS):  # expectation and maximisation of a mixture with known parts
        common = common * (given / (common @ given) @ shares)
    often = common / (factors @ shares)
    names = (complaint.id for complaint in trade.complaints())
    return dict(zip(names, often.tolist(), strict=True))


@cache
def _weights(template: Template, age: int) -> dict[Atom, float]:
    """Prior weight of every fault, whether alone or with its twin."""
    model = model_of(template.build(age), template.case.chains, (), {})
    found = {
        chain.atoms[state[0]]: float(weight)
        for chain, weights in zip(model.chains, model.weights, strict=True)
        for state, weight in zip(chain.states, weights, strict=True)
        if len(state) == 1
    }
    gone = twin_gone()
    for atom in found:
        if _twin(template, atom) is not None:
            found[atom] *= (1.0 - 0.5 * gone) / (1.0 - gone)
    return found


def _twin(template: Template, atom: Atom) -> Atom | None:
    """The surround on the other side, of the places that carry the bass."""
    chains = template.case.chains
    for pair in template.case.pairs.values():
        woofers = [place.id for place in (chains[n].woofer for n in pair) if place is not None]
        if atom.fault == "surround-torn" and atom.subject in woofers:
            return Atom(atom.fault, woofers[1 - woofers.index(atom.subject)])
    return None


def _beside(template: Template, first: Atom, other: Atom) -> bool:
    """Whether two different faults can be there together."""
    for number, chain in enumerate(template.case.chains):
        if first in chain.atoms and other in chain.atoms:
            return first != other and frozenset((first, other)) in _states(template, number)
    return True


@cache
def _states(template: Template, number: int) -> dict[frozenset[Atom], int]:
    chain = template.case.chains[number]
    return {frozenset(chain.faults(state)): n for n, state in enumerate(chain.states)}


def _drawn(shown: Mixture, rng: np.random.Generator) -> float:
    """A number that a meter shows [SI], read without its sign."""
    numbers = {part: part.weight for part in shown.components if part.kind.endswith("value")}
    part = _one(rng, numbers)
    error = float(shown.reader.error(np.array(part.centre), None))
    if part.kind == "value":
        return float(abs(part.centre + np.hypot(part.sigma, error) * rng.standard_normal()))
    return part.centre * float(
        np.exp(np.hypot(part.sigma, error / part.centre) * rng.standard_normal())
    )


def _word_for(value: float, shown: Mixture, *, open_ends: bool) -> str:
    """The word a plan has for a number."""
    if value >= shown.reader.open_from:
        return "open"
    if shown.normal is None:
        return "low"
    low, high = shown.normal
    if low <= value < high:
        return "normal"
    if not open_ends:
        return "abnormal"
    return "low" if value < low else "high"


def _dimension(question: Question) -> str:
    found = trade.test(question.test).dimension
    assert found is not None
    return found


def _one(rng: np.random.Generator, weights: Mapping[T, float]) -> T:
    """One of some things, by their weights."""
    cut: FloatArray = np.cumsum(list(weights.values()))
    return list(weights)[int(np.searchsorted(cut, rng.random() * cut[-1]))]


def _rng(seed: int, *key: str) -> np.random.Generator:
    """Random numbers that belong to a key, whatever was drawn before."""
    digest = sha256("|".join(key).encode()).digest()
    return np.random.default_rng([seed, int.from_bytes(digest[:8], "big")])


@cache
def _score(seed: int, key: tuple[str, ...]) -> float:
    return float(_rng(seed, "wobble", *key).standard_normal())
