"""Which impedance is printed on a driver of which the ohms were read: odds, and what settles it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from conewright.errors import OutOfRangeError
from conewright.job.builds.draws import draw
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin
from conewright.job.quantity.values import Quantity
from conewright.phrases import listed
from conewright.stages.common.load import lowest_borne
from conewright.stages.find.faults.chains import Atom, behind_capacitor
from conewright.stages.find.faults.effects import effects_of
from conewright.stages.find.faults.entries import LOW_LOAD
from conewright.stages.find.instruments.rated import rated_odds
from conewright.stages.find.instruments.readouts import COIL, PAIR
from conewright.stages.find.instruments.topology import context_of
from conewright.stages.find.talk.inquiry import Inquiry, Taken
from conewright.stages.find.talk.planning import CERTAIN
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number, odds

__all__ = ["printed_verdicts"]

LEAST_SAID = 0.02
"""A printed impedance less likely than this is not named."""

DOUBTED = 0.1
"""A label less likely than this by the reading is doubted."""


class _Coil(NamedTuple):
    """A driver whose ohms were read, and what lies in series with it there."""

    place: LocationState
    at: str
    in_series: Quantity | None


def printed_verdicts(answer: Answer, inquiry: Inquiry, chances: Mapping[Atom, float]) -> None:
    """Say, of every reading of a coil that seems sound, what is printed on the driver."""
    for reading in inquiry.taken:
        coil = _coil(answer.build, reading)
        if coil is None or reading.read is None or _is_faulty(inquiry, reading, chances):
            continue
        try:
            ranked = rated_odds(
                reading.read.value,
                temperature=_temperature(answer.build),
                in_series=coil.in_series,
            )
        except OutOfRangeError:
            continue  # no sound coil of a usual impedance reads like that
        for ohm, chance in ranked.items():
            label = f"{ohm:g} ohm printed on the driver at {coil.place.id}"
            answer.figure("printed", f"{coil.place.id}.{ohm:g}", chance, unit="", label=label)
        _verdict(answer, reading, coil, ranked)


def _coil(build: Build, reading: Taken) -> _Coil | None:
    """The one driver that an ohm-meter sees in a reading; None where there are more."""
    if reading.question.test == COIL:
        return _Coil(build.location(reading.question.subject), "at its terminals", None)
    if reading.question.test != PAIR:
        return None
    channel = build.channel(reading.question.subject)
    seen = [place for place, _ in channel.polarity if not behind_capacitor(place, channel)]
    if len(seen) != 1 or any(part.kind != "capacitor" for part in channel.parts):
        return None
    cable = context_of(build, channel).cable
    return _Coil(build.location(seen[0]), "at the radio plug", cable)


def _is_faulty(inquiry: Inquiry, reading: Taken, chances: Mapping[Atom, float]) -> bool:
    """Whether a fault that this reading shows is likelier than none.

    A load that is too low is none here: a sound driver of fewer ohms makes it so.
    """
    chain = inquiry.case.chains[inquiry.case.chain_of(reading.question.subject)]
    shown = effects_of(reading.question.test) - {LOW_LOAD}
    return sum(chances[atom] for atom in chain.atoms if atom.fault in shown) > 0.5


def _temperature(build: Build) -> float | None:
    value = build.vehicle.temperature
    return value.si if value.origin is Origin.MEASURED else None


def _verdict(answer: Answer, reading: Taken, coil: _Coil, chances: Mapping[float, float]) -> None:
    ranked = sorted(chances.items(), key=lambda entry: -entry[1])
    label = coil.place.driver.rated_impedance
    doubted = label is not None and chances.get(label.si, 1.0) < DOUBTED
    answer.verdict(
        coil.place.id,
        "printed",
        Severity.WARN if doubted else Severity.NOTE,
        " ".join(_sentences(answer.build, reading, coil, ranked)),
        f"printed.{coil.place.id}.{ranked[0][0]:g}",
    )


def _sentences(
    build: Build, reading: Taken, coil: _Coil, ranked: list[tuple[float, float]]
) -> Iterator[str]:
    told = [f"{ohm:g} ohm ({odds(chance)})" for ohm, chance in ranked if chance >= LEAST_SAID]
    yield f"{coil.place.id} read {reading.said} {coil.at}; printed on it is {listed(told)}."
    label = coil.place.driver.rated_impedance
    if label is not None and dict(ranked).get(label.si, 1.0) < DOUBTED:
        yield f"Its sheet says {number(label.si, 'ohm')}: look at the label again."
    if ranked[0][1] >= CERTAIN:
        return
    radio = build.head_unit
    allowed = lowest_borne(radio, draw(build.axes, samples=1))
    yield (
        "The ohms alone cannot tell: read the lowest impedance between 150 and 500 Hz. The radio's "
        f"limit decides, not the label: made for {number(radio.minimum_load.si, 'ohm')}, it wants "
        f"{number(float(allowed[0, 0]), 'ohm')} at least."
    )
    if _temperature(build) is None:
        yield "Copper reads 0.4 % more a kelvin: the temperature (vehicle.temperature) helps."
