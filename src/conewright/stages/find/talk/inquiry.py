"""A vehicle, what its owner said, what was read, and the odds that follow."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from conewright.errors import BadInputError, QuantityError
from conewright.job.builds.draws import Draws, draw
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.document.document import Reading
from conewright.job.document.fault_names import AMPLIFIER_OFF
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import planned_job
from conewright.stages.common.circuit import Solver
from conewright.stages.common.load import radio_load
from conewright.stages.common.nets import source_of
from conewright.stages.common.observations import EXPLAINED
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import VEHICLE, Atom, chains_of, shared_returns
from conewright.stages.find.faults.effects import variants
from conewright.stages.find.faults.entries import LOW_LOAD, SHARED_RETURN
from conewright.stages.find.instruments.meter import METER_TESTS
from conewright.stages.find.instruments.mixture import UNEXPLAINED
from conewright.stages.find.instruments.readouts import (
    COIL,
    PAIR,
    SLEEP,
    drains_asleep,
    knows_ohms,
    usual_asleep,
)
from conewright.stages.find.instruments.sweep import SweepReading
from conewright.stages.find.odds.evidence import SWEEP, Case, ChainEvidence, Evidence, Question
from conewright.stages.find.odds.inference import Model, Odds, PairFactor, infer
from conewright.stages.find.odds.prior import (
    low_load_odds,
    model_of,
    said_by_owner,
    starved_odds,
)
from conewright.stages.find.odds.remedy import blameless
from conewright.stages.find.talk.planning import Opened, access_key

__all__ = ["SWEEP_FIGURES", "Inquiry", "Said", "Taken", "heard", "inquire"]

KNOWN_FROM = 0.5
"""A load computed to be too low with more than this chance is taken as a fact."""

SAMPLES = 64
"""Draws behind the computed loads."""

TURN_ON, LEAST_TURN_ON = "turn-on", 8.0
"""The test of an amplifier's turn-on wire, and the least volts that do it [V]; from memory."""

SWEEP_FIGURES = {
    "resonance": ("resonance", "frequency"),
    "peak": ("peak", "resistance"),
    "coil": ("resistance", "resistance"),
}
"""Figures of a sweep by the name they have in a reading; the rest are frequencies."""

Said = tuple[Question, str | Quantity]


@dataclass(frozen=True)
class Taken:
    """One reading of the job, and what it says of the states; nothing if it told nothing.

    `read` is the number, of a test that was answered with one.
    """

    number: int
    question: Question
    said: str
    evidence: Evidence | None
    read: Quantity | None = None


@dataclass(frozen=True)
class Inquiry:
    """All that is known of a vehicle's faults."""

    case: Case
    model: Model
    taken: tuple[Taken, ...]
    low_load: Mapping[str, float]
    written: tuple[ChainEvidence, ...] = ()
    """What values of the job say that are as good as readings."""

    @property
    def asked(self) -> tuple[Question, ...]:
        """The readings that need not be taken again."""
        return tuple(reading.question for reading in self.taken)

    @cached_property
    def opened(self) -> Opened:
        """What has been opened for the readings so far."""
        opened = Opened()
        for question in self.asked:
            opened = opened.with_(access_key(question))
        return opened

    @cached_property
    def odds(self) -> Odds:
        """The odds after all readings."""
        return self.after(self.taken)

    @staticmethod
    def latest(taken: Sequence[Taken]) -> list[Taken]:
        """Return the readings that count: one that was taken again takes the place of the first.

        Of the two legs of a channel the worse one counts.
        """
        last: dict[Question, Taken] = {}
        for reading in taken:
            before = last.get(reading.question)
            legs = reading.question.test in trade.EACH_LEG and before is not None
            if reading.evidence is not None and not (
                legs and _soundness(before) < _soundness(reading)
            ):
                last[reading.question] = reading
        return [reading for reading in taken if last.get(reading.question) is reading]

    def after(self, taken: Sequence[Taken], said: Sequence[Said] = ()) -> Odds:
        """Return the odds after some readings of the job and some further answers."""
        found = [reading.evidence for reading in self.latest(taken)]
        found += [self.evidence(question, answer) for question, answer in said]
        return infer(self.model, *self._told(found))

    def evidence(self, question: Question, said: str | Quantity) -> Evidence:
        """Return what a number, or one of the answers a plan reckons with, says."""
        if isinstance(said, Quantity):
            return self.case.of_number(question, said)
        if trade.test(question.test).target == "pair":
            return self.case.of_word(question, said)
        words, chances = self.case.outcomes(question)
        return ChainEvidence(self.case.chain_of(question.subject), chances[..., words.index(said)])

    def chances(self, odds: Odds | None = None) -> dict[Atom, float]:
        """Chance of every fault; of a computed load the chance that it is too low."""
        found = (odds or self.odds).of_atoms()
        known = (atom for chain in self.case.chains for atom in chain.known)
        loads = {atom: self.low_load[atom.subject] for atom in known if atom.fault == LOW_LOAD}
        return found | loads

    def cure_odds(self, ends: Callable[[Atom], bool]) -> float | None:
        """Chance that no complaint has a cause that a plan leaves; None where nobody complains.

        Args:
            ends: whether the plan ends a fault.

        """
        return self._cured(self.model, self.odds, ends) if self.model.complaints else None

    def help_odds(self, ends: Callable[[Atom], bool]) -> float:
        """Chance that the complaint which a plan helps most has no cause left; 0 without any."""
        return max((self._cured(*said, ends) for said in self._each_alone), default=0.0)

    @cached_property
    def _each_alone(self) -> list[tuple[Model, Odds]]:
        """For every complaint the model in which nothing else was said, and its odds."""
        models = (replace(self.model, complaints=(each,)) for each in self.model.complaints)
        return [(model, infer(model, *self.tables())) for model in models]

    def _cured(self, model: Model, odds: Odds, ends: Callable[[Atom], bool]) -> float:
        healed, left = blameless(model, ends)
        try:
            cured = infer(healed, *self.tables())
        except BadInputError:
            return 0.0  # nothing that it ends could bring that on
        return min(left * float(np.exp(cured.log_evidence - odds.log_evidence)), 1.0)

    def at_odds(self, reading: Taken) -> Taken | None:
        """The other reading without which this one surprises least; None if it does by itself."""
        others = [entry for entry in self.latest(self.taken) if entry.question != reading.question]
        found = {
            number: self.chance_of(reading, without=entry) for number, entry in enumerate(others)
        }
        if not found or reading.evidence is None or not self.chance_of(reading):
            return None
        alone = self.after([reading]).log_evidence - self.after(()).log_evidence
        if np.exp(alone) / reading.evidence.table.max() < 2.0 * self.chance_of(reading):
            return None  # it surprises by itself
        return others[max(found, key=lambda number: found[number])]

    def chance_of(self, reading: Taken, *, without: Taken | None = None) -> float:
        """Chance of a reading given all the others, over that in the state it fits best.

        A number has a density, not a chance of its own; the ratio makes both comparable.
        """
        if reading.evidence is None or reading not in self.latest(self.taken):
            return 1.0
        if reading.evidence.table.max() <= UNEXPLAINED:
            return 0.0
        others = [
            entry
            for entry in self.taken
            if entry.question != reading.question and entry is not without
        ]
        every = self.odds if without is None else self.after([*others, reading])
        given = float(np.exp(every.log_evidence - self.after(others).log_evidence))
        return given / float(reading.evidence.table.max())

    def tables(self) -> tuple[dict[int, FloatArray], list[PairFactor]]:
        """What all readings say: tables of the chains that they touch, and of pairs of them."""
        return self._told([reading.evidence for reading in self.latest(self.taken)])

    def _told(
        self, found: Sequence[Evidence | None]
    ) -> tuple[dict[int, FloatArray], list[PairFactor]]:
        likelihoods: dict[int, FloatArray] = {}
        pairs: list[PairFactor] = []
        for evidence in (*self.written, *found):
            if evidence is None:
                continue
            if isinstance(evidence, PairFactor):
                pairs.append(evidence)
                continue
            before = likelihoods.get(evidence.chain)
            table = evidence.table
            likelihoods[evidence.chain] = table if before is None else before * table
        return likelihoods, pairs


def inquire(build: Build) -> Inquiry:
    """Read complaints and readings of a build's job.

    Raises:
        BadInputError: a complaint, a test or an answer nobody knows; names the place in the job.

    """
    low_load = _low_load(build)
    known = frozenset(
        Atom(LOW_LOAD, channel) for channel, chance in low_load.items() if chance > KNOWN_FROM
    )
    known |= {Atom(SHARED_RETURN, channel) for channel in shared_returns(build)}
    low_load |= _starved(build)
    found, mended = _findings(build, "found"), _findings(build, "mended")
    chains = chains_of(build, known | found)
    case = Case(build, chains)
    job = planned_job(build)  # without what was said and read of parts that a plan takes out
    said = said_by_owner(job.about.complaints)
    model = model_of(build, chains, said, low_load, mended=mended)
    taken = tuple(_take(case, job.readings))
    return Inquiry(case, model, taken, low_load, tuple(_written(case)))


def _findings(build: Build, state: str) -> frozenset[Atom]:
    findings = (each for each in planned_job(build).findings if each.state == state)
    return frozenset(Atom(each.fault, each.at) for each in findings)


def _low_load(build: Build) -> dict[str, float]:
    """Chance of a low load by channel, of those of which anything is known.

    A coil of which nobody knows the ohms is taken as a usual one: ignorance is no evidence. What
    hangs in parallel asks for too much even so, of a radio of which the rating is written down.
    """
    drivers = (place.driver for place in build.locations)
    guessed = {driver.id for driver in drivers if not knows_ohms(driver)}
    drawn = draw(build.axes, samples=SAMPLES)
    held = [axis.partition(".")[0] in guessed for axis in drawn.axes]
    usual = Draws(drawn.axes, np.where(held, 0.0, drawn.scores))
    asked = [
        channel.id
        for channel in build.channels
        if source_of(build, channel).rated or not guessed & _drivers(build, channel)
    ]
    if not asked:
        return {}
    found = low_load_odds(radio_load(build, Solver(usual, bands.band_centres())))
    return {channel: found[channel] for channel in asked}


def _starved(build: Build) -> dict[str, float]:
    """Chance that the converter before the radio gives too little, under the vehicle's own name."""
    if build.converter is None or not build.channels:
        return {}
    drawn = draw(build.axes, samples=SAMPLES)
    return {VEHICLE: starved_odds(radio_load(build, Solver(drawn, bands.band_centres())))}


def _drivers(build: Build, channel: ChannelState) -> set[str]:
    return {build.location(name).driver.id for name, _ in channel.polarity}


def _written(case: Case) -> Iterable[ChainEvidence]:
    """What values of the job say: a radio's own current, where it alone is too much asleep, and
    the ohms of a driver of its own, where nobody read them since and no finding explains another.
    """
    radio = case.build.head_unit.sleep_current
    if radio is not None and drains_asleep(case.build):
        rest = usual_asleep(case.build, "vehicle").value
        read = Quantity.of(radio.si + rest, "current", "A")
        yield case.of_number(Question(SLEEP, VEHICLE), read)
    yield from _turned_on(case)
    yield from _none_between(case)
    for chain in case.chains:
        for place in chain.places:
            own = dict(place.driver.own).get("re")
            explained = any(fault.fault in EXPLAINED for fault in place.faults)
            since = case.build.job.last_reading(COIL, place.id)
            if own is not None and not explained and since is None:
                yield case.of_number(Question(COIL, place.id), own.quantity)


def _none_between(case: Case) -> Iterable[ChainEvidence]:
    """What ohms of a loudspeaker at an output of unknown load say of an amplifier after it: its
    input would have shown, but for the times that it does not.
    """
    fault, build = Atom(AMPLIFIER_OFF, VEHICLE), case.build
    shared = case.chains[0]
    if fault not in shared.atoms:
        return
    shown = variants(PAIR, AMPLIFIER_OFF)
    inputs = [each for each in shown if each.effects.get("replace") is not None]
    unseen = 1.0 - sum(each.chance for each in inputs)
    lows = (each.effects["replace"] for each in inputs)
    least = min((low.low or low.value for low in lows if low is not None), default=0.0)
    table = np.array([[unseen if fault in shared.faults(s) else 1.0] for s in shared.states])
    for channel in build.unknown:
        reading = build.job.last_reading(PAIR, channel.id)
        read = None if reading is None else heard(PAIR, reading.value)
        if isinstance(read, Quantity) and read.value < least:
            yield ChainEvidence(0, table)


def _turned_on(case: Case) -> Iterable[ChainEvidence]:
    """What the proof of the turn-on lead says of the one amplifier, where nobody read it since."""
    job, units = case.build.job, case.build.amplifiers
    proofs = [each.proof for each in job.leads if each.function == "amplifier" and each.proof]
    if len(units) != 1 or not proofs or job.last_reading(TURN_ON, units[0].id) is not None:
        return
    try:
        # Of "0 V, then 12.4 V" the last one counts.
        volts = parse_quantity(
            re.split(r",|;|\bthen\b", proofs[-1])[-1].strip(), dimension="voltage"
        )
    except QuantityError:
        return
    word = "present" if volts.value >= LEAST_TURN_ON else "missing"
    found = case.of_word(Question(TURN_ON, units[0].id), word)
    assert isinstance(found, ChainEvidence)
    yield found


def _take(case: Case, readings: Iterable[Reading]) -> Iterable[Taken]:
    unknown = {channel.id for channel in case.build.unknown}
    findings = case.build.job.findings
    # What was read while a fault was there that has been mended since says nothing any more.
    past = {each.since for each in findings if each.state == "mended"}
    for number, reading in enumerate(readings, start=1):
        if reading.at in unknown or f"{reading.test}@{reading.at}" in past:
            continue  # its wiring is asked for, not its faults
        try:
            yield _read(case, number, reading)
        except BadInputError as error:
            raise BadInputError(f"reading[{number}] ({reading.test}): {error}") from None


def _read(case: Case, number: int, reading: Reading) -> Taken:
    question = case.question(reading.test, reading.at)
    text, read = _in_words(reading.value), heard(reading.test, reading.value)
    match read:
        case None:
            return Taken(number, question, text, None)
        case SweepReading():
            return Taken(number, question, text, case.of_sweep(question, read))
        case Quantity():
            return Taken(number, question, text, case.of_number(question, read), read)
    words = {read: 1.0} if reading.odds is None else reading.odds
    return Taken(number, question, text, case.of_words(question, words))


def heard(test: str, said: str | float | Mapping[str, str]) -> str | Quantity | SweepReading | None:
    """Return what a reading says by the tables: a word, a number, a sweep, None for nothing.

    Raises:
        BadInputError: nobody knows the test, it is not answered so, or no instrument shows that.

    """
    kind = trade.test(test)
    if isinstance(said, Mapping):
        return _sweep(test, said)
    text = _in_words(said)
    if text.strip().lower() == trade.INCONCLUSIVE:
        return None
    if text in kind.words:
        return text
    if test not in METER_TESTS:
        allowed = ", ".join(kind.words)
        raise BadInputError(f"{test} is not answered with {text!r}, but: {allowed}")
    return _number(test, text)


def _in_words(said: str | float | Mapping[str, str]) -> str:
    if isinstance(said, Mapping):
        return ", ".join(f"{name} {text}" for name, text in said.items())
    return said if isinstance(said, str) else f"{said:g}"


def _sweep(test: str, said: Mapping[str, str]) -> SweepReading:
    if test != SWEEP:
        raise BadInputError(f"only {SWEEP} is answered with several figures")
    figures = {
        name: _figure(key, said[key], dimension)
        for key, (name, dimension) in SWEEP_FIGURES.items()
        if key in said
    }
    series = tuple(
        (_figure("frequency", key, "frequency"), _figure("impedance", text, "resistance"))
        for key, text in said.items()
        if key not in SWEEP_FIGURES
    )
    return SweepReading(**figures, series=series)


def _figure(name: str, text: str, dimension: str) -> float:
    read = parse_quantity(text, dimension=dimension, positive=True)
    return _held(f"{SWEEP} {name}", text, read).value


def _number(test: str, text: str) -> Quantity:
    kind = trade.test(test)
    assert kind.dimension is not None
    try:
        read = parse_quantity(text, dimension=kind.dimension)
    except QuantityError as error:
        words = ", ".join(kind.words)
        raise BadInputError(f"{error}; {test} is read in {kind.unit}, or as {words}") from None
    return _held(test, text, read)


def _held(name: str, text: str, read: Quantity) -> Quantity:
    """Return a number that an instrument can show; raises BadInputError for any other."""
    limit = trade.limit(name)
    if not limit.low <= read.value <= limit.high:
        raise BadInputError(f"no {name} is {text}: {limit.told} is possible")
    return read


def _soundness(reading: Taken | None) -> float:
    """Chance of a reading of one chain with nothing wrong there, over that where it fits best."""
    assert reading is not None
    assert isinstance(reading.evidence, ChainEvidence)
    table = reading.evidence.table
    return float(table[..., 0].max() / table.max())
