"""What a hand-held meter shows in a state of the vehicle, and what it should show.

Each combination of the ways in which the faults may show that day is one network; what the meter
shows is their mixture. What a test cannot see makes no difference to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import product
from math import inf, prod
from typing import NamedTuple

from conewright.errors import BadInputError
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import VEHICLE, Atom, Chain
from conewright.stages.find.faults.effects import ALARM, LEADS, effects_of, variants
from conewright.stages.find.faults.entries import LOW_LOAD
from conewright.stages.find.instruments.mixture import (
    Component,
    Mixture,
    Reader,
    components,
    normal_range,
    with_slips,
)
from conewright.stages.find.instruments.readouts import COIL, LEG, PAIR, Bench, Shown
from conewright.stages.report.words import number

__all__ = ["METER_TESTS", "Expectation", "Meter"]

METER_TESTS = (
    *(PAIR, COIL, LEG),
    *("leg-bias", "pair-offset", "feed-drop", "sleep-current"),
)
"""Tests that are answered with a number from a hand-held meter."""

OPEN_SLIPS_ABOUT = 1000.0
"""Middle of what slips of the hand read where a sound vehicle reads open [ohm]; assumed."""

RETURNS_BY_CHASSIS = "near 0 ohm on its −, which comes back through the body; open on its +"

# What a reading is said in: unit, and how many of it make one of the SI.
SHOWN = {"leg-bias": "V", "pair-offset": "V", "feed-drop": "V", "sleep-current": "mA"}
SCALES = {"ohm": 1.0, "V": 1.0, "mA": 1e3}


class Expectation(NamedTuple):
    """The healthy reading on this vehicle: in words, and its ends in the unit it is said in."""

    text: str
    low: float
    high: float
    unit: str


class Meter:
    """A hand-held meter at one vehicle: what it may show under any faults, and when all is well."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self._bench = Bench(build)
        self._low: dict[str, bool] = {}
        self._direct: dict[str, bool] = {}
        self._known: dict[tuple[str, str, frozenset[Atom]], Mixture] = {}

    def predict(self, test: str, subject: str, state: Iterable[Atom], chain: Chain) -> Mixture:
        """Return what the meter may show.

        Args:
            test: one of METER_TESTS.
            subject: the channel or location it is done at, or the vehicle.
            state: the faults, of this chain and of the vehicle; what the test cannot see is
                left aside.
            chain: of that channel; the vehicle's for a test on the vehicle.

        Raises:
            BadInputError: no such test, or no driver there to measure at.

        """
        if test not in METER_TESTS:
            raise BadInputError(f'"{test[:40]}" is no meter test; {", ".join(METER_TESTS)} are')
        seen = frozenset(self._seen(test, subject, state, chain))
        key = (test, subject, seen)
        if key not in self._known:
            self._known[key] = self._mixture(test, subject, seen, chain)
        return self._known[key]

    def expected(
        self, test: str, subject: str, chain: Chain, faults: Iterable[Atom] = ()
    ) -> Expectation:
        """Return the reading on this very vehicle: the healthy one, or that with some faults.

        The ends are those that part `low`, `normal` and `high`; 0 and inf where there is none. A
        fault is taken to show as it does most often.
        """
        seen = frozenset(self._seen(test, subject, faults, chain))
        normal = self.predict(test, subject, (), chain).normal
        if seen:
            normal = normal_range(self._usual(test, subject, seen, chain), Reader.of(test))
        unit = SHOWN.get(test, "ohm")
        if test == LEG and chain.channel is not None and chain.channel.return_by == "chassis":
            return Expectation(RETURNS_BY_CHASSIS, 0.0, inf, unit)
        if normal is None:
            return Expectation("open", inf, inf, unit)
        low, high = (float(end) * SCALES[unit] for end in (max(normal[0], 0.0), normal[1]))
        top = number(high, unit, spread=high - low)
        if low == 0.0:
            return Expectation(f"below {top}", low, high, unit)
        return Expectation(f"{number(low, spread=high - low)} to {top}", low, high, unit)

    def loaded_too_low(self, channel: str) -> bool:
        """Whether a channel's load, as it is written down, is below what the radio is made for."""
        if channel not in self._low:
            self._low[channel] = self._bench.loaded_too_low(self.build.channel(channel))
        return self._low[channel]

    def _seen(self, test: str, subject: str, state: Iterable[Atom], chain: Chain) -> Iterator[Atom]:
        """The faults of a state that make a difference to a test."""
        visible, here = effects_of(test), self._subjects(test, subject, chain)
        for atom in state:
            if atom.fault not in visible or (here is not None and atom.subject not in here):
                continue
            if not self._is_without_effect(test, atom, chain):
                yield atom

    def _subjects(self, test: str, subject: str, chain: Chain) -> frozenset[str] | None:
        """Places whose faults a test can see; None for all."""
        if chain.channel is None:
            return None
        places = (self._place(subject, chain),) if test == COIL else chain.places
        unit = chain.channel.driven_by
        ahead = {VEHICLE, unit} if unit is not None else {VEHICLE}
        return frozenset({chain.id, *ahead, *(place.id for place in places)})

    def _is_without_effect(self, test: str, atom: Atom, chain: Chain) -> bool:
        channel = chain.channel
        if atom.fault == LOW_LOAD and channel is not None:
            # The wiring that is written down is the fault, and is reckoned with already.
            return self.loaded_too_low(chain.id)
        if test != PAIR or channel is None:
            return False
        if atom.subject == channel.driven_by:
            return True  # its pair leaves from the amplifier, not from the radio
        if atom.subject in (chain.id, VEHICLE):
            return False
        if atom.subject not in self._direct:
            self._direct[atom.subject] = self._bench.in_direct_path(channel, atom.subject)
        return not self._direct[atom.subject]

    def _place(self, subject: str, chain: Chain) -> LocationState:
        """The location a test on a driver is done at; at a channel it is the woofer."""
        for place in chain.places:
            if place.id == subject:
                return place
        found = chain.woofer or chain.tweeter
        if found is None:
            raise BadInputError(f"{subject} has no driver to measure at")
        return found

    def _mixture(self, test: str, subject: str, seen: frozenset[Atom], chain: Chain) -> Mixture:
        reader, parts = Reader.of(test), self._parts(test, subject, seen, chain)
        if seen:
            normal = self.predict(test, subject, (), chain).normal
        else:
            sound = self._parts(test, subject, seen, chain, alarms=False)
            normal = None if test == LEG else normal_range(sound, reader)
        about = OPEN_SLIPS_ABOUT if normal is None else _middle(*normal)
        return with_slips(parts, reader, about=about, normal=normal)

    def _parts(
        self,
        test: str,
        subject: str,
        seen: frozenset[Atom],
        chain: Chain,
        *,
        alarms: bool = True,
    ) -> tuple[Component, ...]:
        sources = [(atom.subject, variants(test, atom.fault)) for atom in sorted(seen)]
        sources.append((chain.id, variants(test, LEADS)))
        if alarms:
            sources.append((chain.id, variants(test, ALARM)))
        subjects = [subject for subject, _ in sources]
        parts: list[Component] = []
        for chosen in product(*(ways for _, ways in sources)):
            weight = prod(variant.chance for variant in chosen)
            if any("unsteady" in variant.effects for variant in chosen):
                parts.append(Component(weight, "unsteady"))
            else:
                shown = self._bench.shown(subjects, chosen)
                parts += components(self._values(test, subject, shown, chain), weight)
        return tuple(parts)

    def _usual(
        self, test: str, subject: str, seen: frozenset[Atom], chain: Chain
    ) -> tuple[Component, ...]:
        """What the meter reads with some faults, each as it shows most often."""
        atoms = sorted(seen)
        chosen = [max(variants(test, each.fault), key=lambda way: way.chance) for each in atoms]
        shown = self._bench.shown([each.subject for each in atoms], chosen)
        return components(self._values(test, subject, shown, chain), 1.0)

    def _values(
        self, test: str, subject: str, shown: tuple[Shown, ...], chain: Chain
    ) -> FloatArray:
        """Samples of the reading [SI], inf for open."""
        if test == COIL:
            return self._bench.coil(self._place(subject, chain), shown)
        if test == PAIR:
            if chain.channel is None:
                raise BadInputError(f"{PAIR} is read at a channel, not at {subject}")
            return self._bench.pair(chain.channel, shown)
        return self._bench.value(test, shown, chain.channel)


def _middle(low: float, high: float) -> float:
    """Middle of a normal range that may be without end on one side [SI]."""
    if low <= 0.0:
        return 0.5 * high
    return low if high == inf else 0.5 * (low + high)
