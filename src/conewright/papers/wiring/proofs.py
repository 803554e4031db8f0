"""Proof readings: what each wire should read on this vehicle, and what it did read.

A colour proves nothing. A wire is `proved` by a reading on this vehicle that lies where a sound one
does; a reading taken before the work changed the channel proves nothing of what comes after.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, Literal

from conewright.data_files import data_rows
from conewright.errors import QuantityError
from conewright.job.builds.fills import plain_text
from conewright.job.document.parts import nominal_volts
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.phrases import listed
from conewright.stages.common.changes import changes
from conewright.stages.find.faults.chains import Atom, behind_capacitor, chains_of
from conewright.stages.find.instruments.meter import Expectation, Meter
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState

__all__ = ["Proof", "Proofs", "State"]

State = Literal["proved", "to read", "DISAGREES"]

PAIR, PULSE = "pair-resistance", "cell-pulse"
PAIR_HOW = "ohms across the pair, radio unplugged, leads zeroed"
UNUSED_HOW = "ohms across the pair and of each wire to bare metal, radio unplugged"
OPEN = "open"
FED_HOW = "ohms across the pair, radio and amplifier unplugged from power"
FED = "50 ohm to 50 kohm, the amplifier's input"
INPUT_OHMS = (50.0, 50e3)
"""What an input at loudspeaker level reads [ohm]; workshop experience, from memory."""

PULSE_HOW = "1.5 V cell, its + on this pair's +, a touch"
OUTWARD, INWARD = "outward", "inward"
WRONG = ("open", "low", "high", "unsteady")
_LAST = re.compile(r",|;|\bthen\b")
DIMENSIONS = {"V": "voltage", "ohm": "resistance"}

OF_RADIO = ("battery", "switched", "amplifier", "antenna")
"""Wires that have the radio's volts; the others come from the vehicle as they are."""

HELD = (0.9, 1.1)
"""Within this share of its usual volts a converter holds its output; common practice, no source."""

USUAL_REST = 12.5
"""What a 12 V battery reads at rest as a rule [V]; workshop experience, from memory."""

DONE_TO_A_PAIR = (
    *("rewired", "turned", "new-driver", "wire-mended", "joint-renewed"),
    *("bench-mended", "capacitor-renewed"),
)
"""Kinds of change after which a reading of a pair is of the vehicle as it was."""


@dataclass(frozen=True, slots=True)
class Proof:
    """How a wire is proved: the reading, what it should say here, what it said, and the verdict."""

    how: str
    expected: str
    found: str
    state: State


class Proofs:
    """The proof readings of one build; the meter is reckoned once for all its wires."""

    def __init__(self, build: Build) -> None:
        self._build = build
        self._meter = Meter(build)
        self._chains = {chain.id: chain for chain in chains_of(build)}
        done = changes(build).by_kind
        self._changed = {at for kind in DONE_TO_A_PAIR for at in done[kind]}

    def pair(self, channel: ChannelState, written: str | None = None) -> Proof:
        """Return the proof that two wires are this channel's pair: their resistance, with what was
        found there and stands.
        """
        wanted = self._as_found(channel)
        found = written or ""
        state: State = _judged(found, wanted) if found else "to read"
        reading = self._build.job.last_reading(PAIR, channel.id)
        if not found and reading is not None:
            said = reading.value if isinstance(reading.value, str) else f"{reading.value} ohm"
            found, state = self._dated(said, channel, _judged(said, wanted))
        if wanted.low == inf and state == "proved":
            state = "to read"  # an open pair may be any
        return Proof(PAIR_HOW, wanted.text, found, state)

    def _as_found(self, channel: ChannelState) -> Expectation:
        chain, names = self._chains[channel.id], {channel.id, *dict(channel.polarity)}
        found = [Atom(each.fault, each.at) for each in self._build.faults if each.at in names]
        sound = self._meter.expected(PAIR, channel.id, chain)
        wanted = self._meter.expected(PAIR, channel.id, chain, found)
        if wanted == sound:
            return sound
        return wanted._replace(text=f"{wanted.text}, with what was found; mended {sound.text}")

    def unused(self, written: str | None) -> Proof:
        """Return the proof that the pair of an output that drives nothing is open."""
        wanted = Expectation(OPEN, inf, inf, "ohm")
        state = _judged(written, wanted) if written else "to read"
        return Proof(UNUSED_HOW, OPEN, written or "", state)

    def fed(self, written: str | None) -> Proof:
        """Return the proof that the pair of an output ends at an amplifier's input."""
        wanted = Expectation(FED, INPUT_OHMS[0], INPUT_OHMS[1], "ohm")
        state = _judged(written, wanted) if written else "to read"
        return Proof(FED_HOW, FED, written or "", state)

    def polarity(self, channel: ChannelState) -> Proof:
        """Return the proof of which wire is +: where the cones go under a cell."""
        wanted = {
            place: OUTWARD if sign > 0 else INWARD
            for place, sign in channel.polarity
            if not behind_capacitor(place, channel)
        }
        readings = {place: self._build.job.last_reading(PULSE, place) for place in wanted}
        said = {place: str(each.value) for place, each in readings.items() if each is not None}
        found = "; ".join(f"{place} {word}" for place, word in said.items())
        state: State = "to read"
        if said and said.keys() == wanted.keys():
            state = "proved" if said == wanted else "DISAGREES"
        if found:
            found, state = self._dated(found, channel, state)
        return Proof(PULSE_HOW, _cones(wanted), found, state)

    def lead(self, function: str, written: str | None) -> Proof:
        """Return the proof of a supply or control wire."""
        row = next(
            row for row in data_rows("papers", "lead_proofs.csv") if row["function"] == function
        )
        expected = row["expected"].format(rest_voltage=self._rest_voltage(function))
        state: State = "to read"
        if written is not None and row["low"]:
            low, high = self._limits(function, row)
            state = _judged(written, Expectation("", low, high, row["unit"]))
        return Proof(row["proof"], expected, written or "", state)

    def _limits(self, function: str, row: Mapping[str, str]) -> tuple[float, float]:
        """Ends between which a sound reading of a wire lies, in the unit of its row."""
        ends = [float(row["low"]), float(row["high"])]
        if self._behind(function):
            ends = [share * self._build.head_unit.supply.si for share in HELD]
        times = self._times(function) if row["unit"] == "V" else 1.0
        low, high = sorted(times * end for end in ends)
        return low, high

    def title(self, function: str, words: str) -> str:
        """Return what a wire is called, with the volts that are on it."""
        sign = "−" if self._build.vehicle.ground == "positive" else "+"
        behind = self._behind(function)
        system = self._build.head_unit.system if behind else self._build.vehicle.system
        return words.format(live=f"{sign}{system}")

    def _behind(self, function: str) -> bool:
        """Whether a wire is one of the radio's behind a converter, not one of the vehicle's."""
        return self._build.converter is not None and function in OF_RADIO

    def _times(self, function: str) -> float:
        """Volts of a wire against the body over those on 12 V, body minus."""
        sign = -1.0 if self._build.vehicle.ground == "positive" else 1.0
        system = "12 V" if self._behind(function) else self._build.vehicle.system
        return sign * nominal_volts(system) / 12.0

    def _rest_voltage(self, function: str) -> str:
        times = self._times(function)
        sign = "−" if times < 0.0 else ""
        if self._behind(function):
            return f"{sign}{number(self._build.head_unit.supply.si, 'V')}"
        rest = self._build.vehicle.battery.rest_voltage
        if rest is None:
            return f"about {sign}{number(abs(USUAL_REST * times), 'V', most=1)}"
        return f"{sign}{plain_text(rest.quantity)}"

    def _dated(self, said: str, channel: ChannelState, state: State) -> tuple[str, State]:
        """What was read before the work says nothing of a channel that it changes."""
        places = {place for place, _ in channel.polarity}
        if self._changed & {channel.id, *places}:
            return f"{said} before the work", "to read"
        return said, state


def _judged(said: str, wanted: Expectation) -> State:
    """Say whether a reading lies where a sound one does; other words are left to the repairer."""
    word = said.strip().lower()
    if word == "normal" or (word == "open" and wanted.low == inf):
        return "proved"
    if word in WRONG or wanted.low == inf:
        return "DISAGREES"
    try:
        # Of "0 V, then 12.4 V" the last one counts.
        read = parse_quantity(_LAST.split(said)[-1].strip(), dimension=DIMENSIONS[wanted.unit])
    except QuantityError:
        return "to read"
    low, high = _ends(read)
    return "proved" if high >= wanted.low and low <= wanted.high else "DISAGREES"


def _ends(read: Quantity) -> tuple[float, float]:
    return (
        read.value if read.low is None else read.low,
        read.value if read.high is None else read.high,
    )


def _cones(wanted: dict[str, str]) -> str:
    if not wanted:
        return "a click only: behind a capacitor"
    out = [place for place, way in wanted.items() if way == OUTWARD]
    turned = [place for place, way in wanted.items() if way == INWARD]
    words = [f"{listed(out)} outward"] if out else []
    words += [f"{listed(turned)} INWARD, wired the other way round"] if turned else []
    return "; ".join(words)
