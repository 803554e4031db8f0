"""Odds before any reading: shares of faults in ageing vehicles, the owner's words, known loads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from conewright.job.state import Build, LocationState
from conewright.physics.amplifier import lowest_impedance
from conewright.physics.arrays import FloatArray
from conewright.stages.find import tables
from conewright.stages.find.chains import VEHICLE, Atom, Chain
from conewright.stages.find.inference import Complained, Model, PairFactor
from conewright.stages.load import RadioLoad
from conewright.stages.twins import mirrored

__all__ = ["Said", "in_group", "low_load_odds", "model_of", "said_by_owner", "twin_chains"]

GROUNDLESS = 0.1
"""Chance of a complaint without any fault: ordinary clipping, a new seat, another tune."""

OWNER_RIGHT = 0.7
"""Chance that the owner names the right corner; workshop experience, from memory."""

PRIME_AGE = 18.0
"""Age of the vehicles that the shares of faults were counted on [years]."""

AGEING = frozenset(
    {
        "surround-torn", "coil-rubbing", "capacitor-dried", "lead-intermittent", "wire-broken",
        "joint-corroded", "leg-to-chassis", "grit-or-water", "cap-unglued", "trim-rattle",
    }
)  # fmt: skip
"""Faults that years bring; others come with work, heat or use."""

NEW_DRIVER = 0.3
"""Weight of an ageing fault of a driver that is new; workshop experience, from memory."""

WRITTEN_REVERSED = 20.0
"""Weight of a reversed driver that the job itself writes down as reversed."""

TWIN_GONE = 0.5
"""Share of the twins that go within two years that have gone already."""


@dataclass(frozen=True, slots=True)
class Said:
    """One complaint of the owner: the words and where, empty for nowhere in particular."""

    complaint: tables.Complaint
    where: str


def said_by_owner(complaints: Iterable[str]) -> tuple[Said, ...]:
    """Read complaints like `thin-after-change@front`; raises BadInputError for unknown words."""
    told = []
    for text in complaints:
        name, _, where = text.partition("@")
        told.append(Said(tables.complaint(name), where))
    return tuple(told)


def low_load_odds(load: RadioLoad) -> dict[str, float]:
    """Chance, over the spreads of the job, that each channel dips below what the radio bears."""
    allowed = lowest_impedance(rated=load.draws(load.build.head_unit.minimum_load))
    return {
        name: float(np.mean(channel.minimum_impedance < allowed))
        for name, channel in load.channels.items()
    }


def model_of(
    build: Build,
    chains: tuple[Chain, ...],
    said: tuple[Said, ...],
    low_load: Mapping[str, float],
) -> Model:
    """Return the chains with their prior odds.

    The share of a fault is spread over the places it can be at, scaled by the vehicle's and the
    driver's age, and multiplied by what each complaint makes of it.
    """
    counts = Counter(atom.fault for chain in chains for atom in (*chain.atoms, *chain.known))
    weights = []
    for chain in chains:
        atoms = [
            _weight(atom, chain, build, said, low_load) / counts[atom.fault] for atom in chain.atoms
        ]
        weights.append(
            np.array([float(np.prod([atoms[i] for i in state])) for state in chain.states])
        )
    return Model(
        chains=chains,
        weights=tuple(weights),
        pairs=_twins_rot_together(chains, weights),
        complaints=tuple(_with_a_cause(chains, said)),
    )


def twin_chains(chains: tuple[Chain, ...]) -> tuple[tuple[int, int], ...]:
    """Return the pairs of chains whose woofers mirror each other, left first."""
    pairs: list[tuple[int, int]] = []
    for one, chain in enumerate(chains):
        here = chain.woofer
        for other in range(one + 1, len(chains)):
            there = chains[other].woofer
            free = not any({one, other} & set(pair) for pair in pairs)
            if free and here is not None and there is not None and mirrored(here, there):
                pairs.append((one, other) if here.at[1].si > 0.0 else (other, one))
    return tuple(pairs)


def in_group(place: LocationState, words: str) -> bool:
    """Whether a place lies in `front`, `rear`, `left`, `right`, or `front-left` and so on."""
    x, y = place.at[0].si, place.at[1].si
    sides = {"front": x >= 0.0, "rear": x < 0.0, "left": y > 0.0, "right": y < 0.0, "all": True}
    return all(sides.get(word, False) for word in words.split("-"))


def _weight(
    atom: Atom,
    chain: Chain,
    build: Build,
    said: tuple[Said, ...],
    low_load: Mapping[str, float],
) -> float:
    weight = tables.fault(atom.fault).prior
    if atom.fault == "load-too-low":
        # What the job's own wiring asks of the radio is computed; the share of the table stands
        # for the chance that the wiring is not what the job says.
        chance = low_load.get(chain.id, 0.0)
        weight = weight * (1.0 - chance) + chance
    if atom.fault in AGEING:
        weight *= _age_factor(atom, chain, build)
    if atom.fault == "reversed" and _written_reversed(atom, chain):
        weight *= WRITTEN_REVERSED
    for words in said:
        weight *= _factor(words, atom, chain)
    return weight


def _age_factor(atom: Atom, chain: Chain, build: Build) -> float:
    built = build.job.vehicle.built
    age = build.job.about.opened.year - built if built and build.job.about.opened else PRIME_AGE
    factor = min(max(age, 2.0) / PRIME_AGE, 1.5)
    drivers = [place.driver for place in chain.places if place.id == atom.subject]
    return factor * NEW_DRIVER if drivers and drivers[0].age == "new" else factor


def _written_reversed(atom: Atom, chain: Chain) -> bool:
    return chain.channel is not None and dict(chain.channel.polarity).get(atom.subject) == -1


def _factor(words: Said, atom: Atom, chain: Chain) -> float:
    """What a complaint makes of a fault: its factor where the owner points, less elsewhere."""
    factor = words.complaint.factor(atom.fault)
    if not words.where or atom.subject == VEHICLE or _points_at(words.where, atom, chain):
        return factor
    return factor * (1.0 - OWNER_RIGHT) / OWNER_RIGHT


def _points_at(where: str, atom: Atom, chain: Chain) -> bool:
    if where in (atom.subject, chain.id):
        return True
    if atom.subject == chain.id:
        places = chain.places
    else:
        places = tuple(place for place in chain.places if place.id == atom.subject)
    return any(place.id == where or in_group(place, where) for place in places)


def _with_a_cause(chains: tuple[Chain, ...], said: tuple[Said, ...]) -> Iterable[Complained]:
    known = {atom.fault for chain in chains for atom in chain.known}
    for words in said:
        if any(words.complaint.factor(fault) > 1.0 for fault in known):
            continue  # what is known already explains it
        causes = frozenset(
            atom
            for chain in chains
            for atom in chain.atoms
            if words.complaint.factor(atom.fault) > 1.0
        )
        if causes:
            yield Complained(words.complaint.id, causes, GROUNDLESS)


def _twins_rot_together(
    chains: tuple[Chain, ...], weights: list[FloatArray]
) -> tuple[PairFactor, ...]:
    """Couple the surrounds of twins: where one has gone, the other often has, too."""
    gone = tables.fault("surround-torn").twin * TWIN_GONE
    factors = []
    for left, right in twin_chains(chains):
        classes, odds = [], []
        for number in (left, right):
            torn = _torn(chains[number])
            classes.append(np.array(torn, dtype=np.intp))
            odds.append(float(weights[number][torn].sum()))
        # Given one, the other is gone with this chance: odds times boost = gone / (1 - gone).
        boost = max(gone / (1.0 - gone) / max(np.sqrt(odds[0] * odds[1]), 1e-12), 1.0)
        table = np.array([[1.0, 1.0], [1.0, boost]])
        factors.append(PairFactor(left, right, classes[0], classes[1], table))
    return tuple(factors)


def _torn(chain: Chain) -> list[bool]:
    woofer = chain.woofer
    subject = woofer.id if woofer is not None else ""
    return [
        any(atom == Atom("surround-torn", subject) for atom in chain.faults(state))
        for state in chain.states
    ]
