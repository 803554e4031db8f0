"""Several faults heard at once: the chance of each word of a test.

Each fault lets a healthy sign through with its own chance, independent of the others; a wrong sign
is any one fault's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults import trade

__all__ = ["SLIP", "Mix", "Side", "chances_of", "pair_chances"]

SLIP = 0.01
"""Chance that an answer is a slip of the hand or pen, and means nothing."""


@dataclass(frozen=True, slots=True)
class Mix:
    """How much less likely some faults make the healthy word, and how the wrong ones split."""

    passed: float
    wrong: tuple[float, ...]
    words: tuple[str, ...]
    normal: str
    healthy: tuple[float, ...]

    @classmethod
    def of(cls, rows: Sequence[Mapping[str, float]], words: trade.WordTable) -> Mix:
        """Return the mix of rows of a word table, none for a sound vehicle."""
        sound = words.healthy[words.normal]
        passed = prod(row[words.normal] / sound for row in rows)
        wrong = [
            0.0 if word == words.normal else sum(row[word] for row in rows) for word in words.words
        ]
        healthy = tuple(words.healthy[word] for word in words.words)
        return cls(round(passed, 12), tuple(wrong), words.words, words.normal, healthy)

    def chances(self) -> FloatArray:
        """Chance of every word."""
        return _blend(np.array(self.passed), np.array(self.wrong), self)


@dataclass(frozen=True, slots=True)
class Side:
    """What a mono test hears of one side: turned round or not, and the other faults."""

    turned: bool
    mix: Mix


def chances_of(shared: list[Mix], own: list[Mix], words: trade.WordTable) -> FloatArray:
    """Chance of every word, shape (shared states, states, words)."""
    passed = np.outer([mix.passed for mix in shared], [mix.passed for mix in own])
    wrong = np.array([mix.wrong for mix in shared])[:, None, :] + np.array(
        [mix.wrong for mix in own]
    )
    return _blend(passed, wrong, Mix.of((), words))


def _blend(passed: FloatArray, wrong: FloatArray, healthy: Mix) -> FloatArray:
    """Chances of words from how much passes and how the wrong ones split; last axis words."""
    sound = np.array(healthy.healthy)
    normal = healthy.words.index(healthy.normal)
    right = np.minimum(sound[normal] * passed, 1.0 - 1e-6)
    alarm = sound.copy()
    alarm[normal] = 0.0
    split = np.where(wrong.sum(axis=-1, keepdims=True) > 0.0, wrong, alarm)
    total = split.sum(axis=-1, keepdims=True)
    chances = (1.0 - right[..., None]) * np.divide(split, total, where=total > 0.0, out=split * 0.0)
    chances[..., normal] = right
    return np.asarray((1.0 - SLIP) * chances + SLIP / sound.size)


def pair_chances(
    one: Side, other: Side, words: trade.WordTable, weaker: tuple[float, float]
) -> FloatArray:
    """Two turned round pull together again; one alone is what a mono test is for.

    Args: weaker: chance that the cabin makes both weaker than one, connected alike and one turned
    round. Where it does, people say so as often as the row `reversed` has it; where not, as often
    as on a sound vehicle.
    """
    heard = weaker[one.turned != other.turned]
    told, sound = words.chance["reversed"], words.healthy
    rows = Mix.of(({w: heard * told[w] + (1 - heard) * sound[w] for w in words.words},), words)
    passed = np.array(one.mix.passed * other.mix.passed * rows.passed)
    wrong = np.array(one.mix.wrong) + np.array(other.mix.wrong) + np.array(rows.wrong)
    return _blend(passed, wrong, rows)
