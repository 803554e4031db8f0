"""What the readings to come will take: repairs played out on what the vehicle may turn out to be.

A crowd of states stands for the odds. One of them at a time is taken for the truth, the readings
worth most are taken as they would be proposed, and each is answered as that truth may answer it,
misreadings among them. The luck of a reading belongs to the play and the reading, so that plays
that ask alike share their steps, and a figure is the same on every run.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults import trade
from conewright.stages.find.odds.blame import UNSAID, group_of
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.odds.inference import PairFactor
from conewright.stages.find.talk.inquiry import Inquiry
from conewright.stages.find.talk.planning import (
    CERTAIN,
    HANDLING,
    UNLIKELY,
    Key,
    Opened,
    access_key,
    told_bits,
    top,
)

__all__ = ["FEW", "Promise", "promised"]

FEW = 25
"""Readings that a shop has the patience for."""

PLAYS, CROWD = 32, 768
"""Repairs that are played out, and states that stand for the odds."""

LEAST = 1e-5
"""States less likely than this are left out where a reading is chosen."""

SEED = 20260302

MOST = 0.99
"""Chance that a plan at its end got there."""


@dataclass(frozen=True, slots=True)
class Promise:
    """What the readings followed come to.

    Attributes:
        minutes: to a cause as good as certain, of the plays that get there.
        chance: to get there within FEW readings.

    """

    minutes: float
    chance: float


def promised(inquiry: Inquiry, questions: Iterable[Question]) -> Promise:
    """Return what it takes from here, over what the vehicle may turn out to be.

    Args: inquiry: all that is known; questions: the readings that make sense on this vehicle.
    """
    if top(inquiry.odds)[1] >= CERTAIN:
        return Promise(0.0, MOST)
    asked = set(inquiry.asked)
    crowd = _Crowd(inquiry, [question for question in questions if question not in asked])
    plays = [crowd.play(number) for number in range(PLAYS)]
    if not any(minutes for minutes, _ in plays):
        return Promise(0.0, 0.0)  # nothing is left that tells anything
    there = [minutes for minutes, reached in plays if reached]
    # Jeffreys' rule: so many plays do not tell an event apart that is rarer than one of them.
    chance = (len(there) + 0.5) / (len(plays) + 1.0)
    every = there or [minutes for minutes, _ in plays]
    return Promise(float(np.mean(every)), chance)


class _Crowd:
    """States drawn from the odds, and what every reading says in each of them."""

    def __init__(self, inquiry: Inquiry, questions: list[Question]) -> None:
        self._inquiry, self._questions = inquiry, questions
        self._members, self._weights = _drawn(inquiry)
        tables = [self._table(question) for question in questions]
        widths = [table.shape[1] for table in tables]
        self._edges = np.cumsum([0, *widths])
        self._told = np.concatenate(tables, axis=1) if tables else np.zeros((len(self._weights), 0))
        self._present, self._blamed = self._causes()
        self._minutes = np.array([trade.test(question.test).minutes for question in questions])
        self._keys = [access_key(question) for question in questions]
        self._next: dict[tuple[tuple[int, int], ...], int | None] = {}
        luck = np.random.default_rng(SEED)
        cut = np.cumsum(self._weights)
        # One truth from each of equally likely parts.
        parts = (np.arange(PLAYS) + luck.random(PLAYS)) / PLAYS
        self._truths = np.searchsorted(cut, parts * cut[-1])

    def play(self, number: int) -> tuple[float, bool]:
        """Return the minutes of one repair, and whether it gets there."""
        truth, weights = int(self._truths[number]), self._weights
        said: tuple[tuple[int, int], ...] = ()
        opened, minutes = self._inquiry.opened, 0.0
        case = self._inquiry.case
        while not self._certain(weights):
            if len(said) == FEW:
                return minutes, False
            if said not in self._next:
                self._next[said] = self._best(weights, {asked for asked, _ in said}, opened)
            chosen = self._next[said]
            if chosen is None:
                return minutes, False
            columns = self._told[:, self._edges[chosen] : self._edges[chosen + 1]]
            luck = _luck(number, self._questions[chosen])
            cut = np.cumsum(columns[truth])
            word = min(int(np.searchsorted(cut, luck * cut[-1])), columns.shape[1] - 1)
            minutes += float(self._minutes[chosen]) + opened.minutes(self._keys[chosen], case)
            opened = opened.with_(self._keys[chosen])
            weights = weights * columns[:, word]
            weights = weights / weights.sum()
            said = (*said, (chosen, word))
        return minutes, True

    def _certain(self, weights: FloatArray) -> bool:
        return bool(self._present.shape[1]) and float((weights @ self._present).max()) >= CERTAIN

    def _best(self, weights: FloatArray, done: set[int], opened: Opened) -> int | None:
        """The reading with most bits a minute, alone or with the best behind the same panel."""
        if len(done) == len(self._questions):
            return None
        live = np.flatnonzero(weights > LEAST)
        left = weights[live]
        causes = self._blamed[live] * left[:, None]
        held = causes[:, causes.sum(axis=0) > UNLIKELY]
        rest = np.maximum(left - held.sum(axis=1), 0.0)
        told = np.column_stack((held, rest)).T @ self._told[live]
        bits = told_bits(told, self._edges[:-1])
        bits[list(done)] = 0.0
        access = np.array([opened.minutes(key, self._inquiry.case) for key in self._keys])
        cost = self._minutes + HANDLING
        rates = bits / (cost + access)
        for here in self._behind.values():
            if access[here[0]] > 0.0:
                _with_follower(rates, bits, cost, access, here)
        best = int(np.argmax(rates))
        return best if bits[best] > 0.0 else None

    @cached_property
    def _behind(self) -> dict[Key, NDArray[np.intp]]:
        """Readings by what has to be opened for them."""
        found: dict[Key, list[int]] = {}
        for number, key in enumerate(self._keys):
            found.setdefault(key, []).append(number)
        return {key: np.array(numbers) for key, numbers in found.items()}

    def _table(self, question: Question) -> FloatArray:
        """Chance of every answer in each state of the crowd, shape (states, answers)."""
        case, members = self._inquiry.case, self._members
        if trade.test(question.test).target == "pair":
            words = trade.word_table(question.test).words
            return np.stack([_of_pair(case.of_word(question, w), members) for w in words], axis=1)
        _, table = case.outcomes(question)
        number = case.chain_of(question.subject)
        own = members[number] if number else np.zeros(len(self._weights), dtype=np.intp)
        return np.asarray(table[members[0], own])

    def _causes(self) -> tuple[FloatArray, FloatArray]:
        """Which causes each state holds, and which brought a complaint on, (states, causes)."""
        model = self._inquiry.model
        every = [(n, atom) for n, chain in enumerate(model.chains) for atom in chain.atoms]
        groups = list(dict.fromkeys(group_of(atom) for _, atom in every))
        of = np.array([groups.index(group_of(atom)) for _, atom in every], dtype=np.intp)
        atoms = np.column_stack(
            [c.members[m] for c, m in zip(model.chains, self._members, strict=True)]
        )
        member = np.eye(len(groups))[of]
        count = np.maximum(atoms.sum(axis=1, keepdims=True), 1.0)
        blamed = UNSAID * atoms / count if model.complaints else atoms / count
        for complaint in model.complaints:
            brings = atoms * np.array([complaint.causes.get(atom, 0.0) for _, atom in every])
            total = np.maximum(brings.sum(axis=1, keepdims=True) + complaint.groundless, 1e-12)
            blamed = blamed + (1.0 - UNSAID) / len(model.complaints) * brings / total
        return np.minimum(atoms @ member, 1.0), blamed @ member


def _with_follower(
    rates: FloatArray,
    bits: FloatArray,
    cost: FloatArray,
    access: FloatArray,
    here: NDArray[np.intp],
) -> None:
    """Weigh readings behind one panel with the best other one there, which opens nothing more."""
    both = bits[here, None] + bits[here]
    np.fill_diagonal(both, 0.0)
    pairs = both / (cost[here, None] + cost[here] + access[here[0]])
    rates[here] = np.where(bits[here] > 0.0, np.maximum(rates[here], pairs.max(axis=1)), 0.0)


def _of_pair(factor: object, members: list[NDArray[np.intp]]) -> FloatArray:
    assert isinstance(factor, PairFactor)
    left = factor.left_class[members[factor.left]]
    right = factor.right_class[members[factor.right]]
    return np.asarray(factor.table[left, right])


def _drawn(inquiry: Inquiry) -> tuple[list[NDArray[np.intp]], FloatArray]:
    """States of every chain, shape (states,) each, and their weights.

    Each chain's state is drawn by its own odds given what all share; how well the whole explains
    complaints and what was heard of two chains at once is made up for by the weight.
    """
    model, odds = inquiry.model, inquiry.odds
    likelihoods, pairs = inquiry.tables()
    luck = np.random.default_rng(SEED + 1)
    shared_odds = odds.of_states(0)
    members = [_chosen(np.tile(shared_odds, (CROWD, 1)), luck)]
    log = -np.log(np.maximum(shared_odds[members[0]], 1e-300))
    log += np.log(np.maximum(model.weights[0][members[0]], 1e-300))
    if 0 in likelihoods:
        log += np.log(np.maximum(np.ravel(likelihoods[0])[members[0]], 1e-300))
    missed = np.log(np.maximum(1.0 - model.brings[0][:, members[0]], 1e-300))
    for number in range(1, len(model.chains)):
        given = odds.joint[number] / np.maximum(
            odds.joint[number].sum(axis=1, keepdims=True), 1e-300
        )
        own = _chosen(given[members[0]], luck)
        members.append(own)
        log -= np.log(np.maximum(given[members[0], own], 1e-300))
        log += np.log(np.maximum(model.weights[number][own], 1e-300))
        if number in likelihoods:
            log += np.log(np.maximum(likelihoods[number][members[0], own], 1e-300))
        missed += np.log(np.maximum(1.0 - model.brings[number][:, own], 1e-300))
    for factor in (*model.pairs, *pairs):
        log += np.log(np.maximum(_of_pair(factor, members), 1e-300))
    log += np.log(np.maximum(-np.expm1(missed), 1e-300)).sum(axis=0)
    # What was drawn more than once counts as one, with the weight of all.
    once, which = np.unique(np.stack(members), axis=1, return_inverse=True)
    weights = np.bincount(np.ravel(which), np.exp(log - log.max()))
    return list(once), weights / weights.sum()


def _chosen(chances: FloatArray, luck: np.random.Generator) -> NDArray[np.intp]:
    """One column of every row by its chances, from equally likely parts in any order."""
    cut = np.cumsum(chances, axis=1)
    parts = luck.permutation((np.arange(len(chances)) + luck.random(len(chances))) / len(chances))
    found = (cut < (parts * cut[:, -1])[:, None]).sum(axis=1)
    return np.asarray(np.minimum(found, chances.shape[1] - 1), dtype=np.intp)


def _luck(number: int, question: Question) -> float:
    """The luck of a reading in a play, from 0 to 1."""
    digest = sha256(f"{number}|{question.id}".encode()).digest()
    return int.from_bytes(digest[:6], "big") / 2.0**48
