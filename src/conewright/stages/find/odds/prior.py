"""Odds before any reading: shares of faults in ageing vehicles, the owner's words, known loads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.states.build import Build
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.load import HARD, RadioLoad, supply_limit
from conewright.stages.common.together import in_group, mirrored
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import VEHICLE, Atom, Chain, State
from conewright.stages.find.faults.entries import LOW_LOAD, SAG
from conewright.stages.find.instruments.readouts import knows_ohms
from conewright.stages.find.odds.inference import Complained, Model, PairFactor

__all__ = [
    "Said",
    "low_load_odds",
    "model_of",
    "said_by_owner",
    "starved_odds",
    "twin_chains",
    "twin_gone",
]

TOLD = 1.0 / 40.0
"""Chance that a fault brings its owner to words whose factor is 1.

Only the ratios of the factors matter as long as it is small.
"""

EXPECTED = 0.54
"""Faults to expect in a vehicle of the usual age, before a word is said.

With so many, a quarter of the vehicles that have a fault have a second one; assumed.
"""

OWNER_RIGHT = 0.7
"""Chance that the owner names the right corner; workshop experience, from memory."""

PRIME_AGE = 18.0
"""Age of the vehicles that the shares of faults were counted on [years]."""

NEW_DRIVER = 0.3
"""Weight of an ageing fault of a driver that is new; workshop experience, from memory."""

MADE_ANEW = frozenset({"new", "repaired"})
"""Ages of drivers whose surround and glue are new; of a repaired one the rest is as old as ever,
which is left out: assumed."""

UNSEEN, UNREAD = 0.25, 0.25
"""Shares of the low loads that wiring written down does not show: something hangs there of which
nobody knows, or a coil has fewer ohms than usual, unless its ohms are known; assumed."""

WRITTEN = 20.0
"""Weight of a fault that the job itself writes down: a driver as reversed."""

GONE_ALREADY = 0.5
"""Share of the twins that go within two years that have gone already; assumed."""

TORN = "surround-torn"

MOST_TOLD = 12
"""Different complaints that are reckoned with: sets of them double with each."""

MOST_COMPUTED, SURE = 0.9, 0.95
"""Most that a chance counts for that a table or a computation gives."""


@dataclass(frozen=True, slots=True)
class Said:
    """One complaint of the owner: the words and where, empty for nowhere in particular."""

    complaint: trade.Complaint
    where: str


def said_by_owner(complaints: Iterable[str]) -> tuple[Said, ...]:
    """Read complaints like `thin-after-change@front`, each once, in an order of their own.

    Raises:
        BadInputError: unknown words; suggests the nearest.

    """
    told = {}
    for text in dict.fromkeys(complaints):
        name, _, where = text.partition("@")
        told[name, where] = Said(trade.complaint(name), where)
    return tuple(told[key] for key in sorted(told))


def low_load_odds(load: RadioLoad) -> dict[str, float]:
    """Chance, over the spreads of the job, that each channel dips below what the radio bears."""
    return {
        name: float(np.mean(channel.minimum_impedance < load.allowed_of(name)))
        for name, channel in load.channels.items()
    }


def starved_odds(load: RadioLoad) -> float:
    """Chance, over the spreads of the job, that a converter gives less than hard music asks for."""
    return float(np.mean(load.supply_current(HARD) > supply_limit(load.build, load.draws)))


def model_of(
    build: Build,
    chains: tuple[Chain, ...],
    said: tuple[Said, ...],
    low_load: Mapping[str, float],
    *,
    mended: Collection[Atom] = (),
) -> Model:
    """Return the chains with their prior odds.

    The share of a fault is spread over the places it can be at and scaled by the vehicle's and
    the driver's age. Each complaint comes from some fault: the likelier from one, the larger its
    factor, and the likelier from the place that the owner names. Of more complaints than can be
    reckoned with, those that tell least are put aside, places before words.
    """
    counts = Counter(atom.fault for chain in chains for atom in (*chain.atoms, *chain.known))
    usual = {
        atom: _share(atom, chain, build, counts[atom.fault])
        for chain in chains
        for atom in (*chain.atoms, *chain.known)
    }
    alone = {
        atom: _weight(atom, chain, low_load, usual[atom])
        for chain in chains
        for atom in (*chain.atoms, *chain.known)
    }
    # What the job itself says is there is no likelier to bring on what it does not explain.
    unsaid = {atom: min(usual[atom] / alone[atom], 1.0) if alone[atom] else 1.0 for atom in alone}
    for pair in twin_chains(chains):
        for atom in (_surround(chains[number]) for number in pair):
            # Weighed so that the share of the vehicles with a torn surround stays what it is.
            alone[atom] *= (1.0 - twin_gone()) / (1.0 - 0.5 * twin_gone())
    weights = [
        np.array(
            [float(np.prod([alone[atom] for atom in _of(chain, state)])) for state in chain.states]
        )
        for chain in chains
    ]
    told = _different(
        _complained(words, chains, alone, unsaid, mended) for words in _narrowest(said, chains)
    )
    telling = _most_telling(told, alone)[:MOST_TOLD]
    return Model(
        chains=chains,
        weights=tuple(weights),
        pairs=_twins_rot_together(chains, weights),
        complaints=tuple(complaint for complaint in told if complaint in telling),
        aside=tuple(complaint.id for complaint in told if complaint not in telling),
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


def twin_gone() -> float:
    """Chance that a torn surround's twin has gone, too."""
    return trade.fault(TORN).twin * GONE_ALREADY


def _of(chain: Chain, state: State) -> Iterable[Atom]:
    return (chain.atoms[index] for index in state)


def _share(atom: Atom, chain: Chain, build: Build, places: int) -> float:
    """Share of a fault at one of so many places, by the table, by age, and by where it is."""
    fault = trade.fault(atom.fault)
    share = EXPECTED * fault.prior / places * _age_factor(atom, chain, build)
    if atom.fault == LOW_LOAD:
        share *= UNSEEN + (
            0.0 if all(knows_ohms(place.driver) for place in chain.places) else UNREAD
        )
    here = [place for place in chain.places if place.id == atom.subject]
    in_door = here[0].kind == "door" if here else chain.in_door
    return share if in_door or chain.id == VEHICLE else share * fault.off_doors


def _weight(atom: Atom, chain: Chain, low_load: Mapping[str, float], share: float) -> float:
    """Prior odds of a fault at a place: its share, or what the job itself says of it."""
    if atom.fault == "reversed" and _written_reversed(atom, chain):
        return share * WRITTEN
    if atom.fault in (LOW_LOAD, SAG):
        # What the job's own wiring asks of the radio, and its radio of a converter, is computed;
        # the share of the table stands for the chance that they are not what the job says.
        chance = min(low_load.get(chain.id, 0.0), MOST_COMPUTED)
        return (1.0 - chance) * share + chance / (1.0 - chance)
    return share


def _age_factor(atom: Atom, chain: Chain, build: Build) -> float:
    """How much likelier years make a fault; those of a driver that is new count from its own."""
    ages = trade.fault(atom.fault).ages
    if ages == "none":
        return 1.0
    drivers = [place.driver for place in chain.places if place.id == atom.subject]
    if ages == "driver" and drivers and drivers[0].age in MADE_ANEW:
        return NEW_DRIVER
    built = build.job.vehicle.built
    age = build.job.about.opened.year - built if built and build.job.about.opened else PRIME_AGE
    return min(max(age, 2.0) / PRIME_AGE, 1.5)


def _written_reversed(atom: Atom, chain: Chain) -> bool:
    return chain.channel is not None and dict(chain.channel.polarity).get(atom.subject) == -1


def _complained(
    words: Said,
    chains: tuple[Chain, ...],
    alone: Mapping[Atom, float],
    unsaid: Mapping[Atom, float],
    mended: Collection[Atom],
) -> Complained:
    """What brings a complaint on, faults that are known among it."""
    named = words.complaint.factors
    told = {
        atom: min(
            TOLD
            * words.complaint.factor(atom.fault)
            * heard
            * (1.0 if atom.fault in named else unsaid[atom]),
            SURE,
        )
        for atom, heard in _placed(words.where, chains).items()
    }
    causes = {atom: told[atom] for chain in chains for atom in chain.atoms}
    found = sum(told[atom] * _chance(atom, alone[atom]) for atom in causes)
    groundless = words.complaint.groundless
    nothing = groundless / (1.0 - groundless) * min(found, SURE)
    certain = (*(atom for chain in chains for atom in chain.known), *mended)
    known = {atom: told[atom] for atom in certain if atom in told}
    name = f"{words.complaint.id}@{words.where}" if words.where else words.complaint.id
    return Complained(name, causes, nothing, known)


def _chance(atom: Atom, odds: float) -> float:
    """Chance of a fault by its odds, which for the rare ones are as good as the chance itself.

    A supply that sags by a converter's rating is no rare one.
    """
    return odds / (1.0 + odds) if atom.fault == SAG else odds


def _narrowest(said: Iterable[Said], chains: tuple[Chain, ...]) -> list[Said]:
    """Complaints without those that the same words say again, of fewer places."""
    places = [(words, _pointed(words.where, chains)) for words in said]
    return [
        words
        for words, wide in places
        if not any(
            narrow < wide and other.complaint.id == words.complaint.id for other, narrow in places
        )
    ]


def _different(told: Iterable[Complained]) -> list[Complained]:
    """The complaints that differ: the same words of two names for one place are said once."""
    found: dict[tuple[str | float, ...], Complained] = {}
    for complaint in told:
        words = complaint.id.partition("@")[0]
        found.setdefault((words, *complaint.causes.values()), complaint)
    return list(found.values())


def _most_telling(told: Iterable[Complained], alone: Mapping[Atom, float]) -> list[Complained]:
    """All complaints, each words once at their most telling place before any come again."""
    ranked = sorted(told, key=lambda complaint: -_bits(complaint, alone))
    times: Counter[str] = Counter()
    turn = {}
    for complaint in ranked:
        words = complaint.id.partition("@")[0]
        turn[complaint.id] = times[words]
        times[words] += 1
    return sorted(ranked, key=lambda complaint: turn[complaint.id])


def _bits(complaint: Complained, alone: Mapping[Atom, float]) -> float:
    """Bits that a complaint tells of its cause, if one fault is behind it [bit]."""
    causes = [atom for atom, brings in complaint.causes.items() if brings > 0.0]
    found = np.array([alone[atom] * complaint.causes[atom] for atom in causes])
    prior = np.array([alone[atom] for atom in causes]) / sum(
        alone[atom] for atom in complaint.causes
    )
    found = found / found.sum()
    return float(found @ np.log2(found / prior))


def _placed(where: str, chains: tuple[Chain, ...]) -> dict[Atom, float]:
    """Chance that the owner names this place for each fault, against that for one right here.

    An owner who is wrong about the place names any other of its kind; one whose vehicle has a
    fault that is nowhere in particular names any at all.
    """
    atoms = _every(chains)
    here = _pointed(where, chains) if where else frozenset()
    pointed = len({atoms[atom].id for atom in here})
    if not pointed:
        return dict.fromkeys(atoms, 1.0)
    share = pointed / (len(chains) - 1)
    elsewhere = (1.0 - OWNER_RIGHT) / OWNER_RIGHT * share / max(1.0 - share, share)
    anywhere = share / OWNER_RIGHT
    return {
        atom: 1.0 if atom in here else anywhere if atoms[atom].id == VEHICLE else elsewhere
        for atom in atoms
    }


def _every(chains: tuple[Chain, ...]) -> dict[Atom, Chain]:
    return {atom: chain for chain in chains for atom in (*chain.atoms, *chain.known)}


def _pointed(where: str, chains: tuple[Chain, ...]) -> frozenset[Atom]:
    """The faults at what the owner names; all where he names nothing."""
    every = _every(chains).items()
    return frozenset(atom for atom, chain in every if not where or _points_at(where, atom, chain))


def _points_at(where: str, atom: Atom, chain: Chain) -> bool:
    if where in (atom.subject, chain.id):
        return True
    if atom.subject == chain.id:
        places = chain.places
    else:
        places = tuple(place for place in chain.places if place.id == atom.subject)
    return any(place.id == where or in_group(place, where) for place in places)


def _twins_rot_together(
    chains: tuple[Chain, ...], weights: list[FloatArray]
) -> tuple[PairFactor, ...]:
    """Couple the surrounds of twins: where one has gone, the other often has, too."""
    gone, factors = twin_gone(), []
    for left, right in twin_chains(chains):
        torn = [_torn(chains[number]) for number in (left, right)]
        odds = [float(weights[n][gone].sum()) for n, gone in zip((left, right), torn, strict=True)]
        # Given one, the other is gone with this chance: odds times boost = gone / (1 - gone).
        boost = gone / (1.0 - gone) / max(np.sqrt(odds[0] * odds[1]), 1e-12)
        table = np.array([[1.0, 1.0], [1.0, max(boost, 1.0)]])
        factors.append(
            PairFactor(left, right, torn[0].astype(np.intp), torn[1].astype(np.intp), table)
        )
    return tuple(factors)


def _torn(chain: Chain) -> NDArray[np.bool_]:
    surround = _surround(chain)
    return np.array([surround in chain.faults(state) for state in chain.states])


def _surround(chain: Chain) -> Atom:
    woofer = chain.woofer
    assert woofer is not None
    return Atom(TORN, woofer.id)
