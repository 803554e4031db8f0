"""A report about recordings while it is put together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import isfinite

import numpy as np

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin
from conewright.job.document.places import DriverSheet
from conewright.job.quantity.units import to_unit
from conewright.job.quantity.values import Quantity, format_quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.impedance_fit import WITHIN_95, Width
from conewright.sound.measured.legs import divider_ratio
from conewright.stages.report.data import (
    Axis,
    Figure,
    HeardReading,
    HeardValue,
    Kind,
    Report,
    Series,
    Severity,
    Verdict,
)

__all__ = ["WITHIN_80", "Details", "Draft"]

WITHIN_80 = 1.2816
"""Half width that holds 80 % over the standard deviation, of a normal distribution."""


@dataclass(frozen=True, slots=True)
class Details:
    """What no recording tells.

    resistor: of the jig, or the known one [ohm]. input: resistance of the recorder's input [ohm].
    metered, step: rms volts that a meter read, and at which step of a ladder, from 1. load: that
    hung on the channel [ohm]. divider: volts of a leg over the recorder's. full_scale: volts at
    the recorder's input for full scale. re: of the coil, by an ohm-meter [ohm]. top, bottom: of a
    divider, leg to node and node to ground [ohm]. mass: stuck on a cone [kg]. volume: of a box
    [m3]. area: of the cone [m2]. mouth_before, mouth_after: of the microphone from the mouth [m].
    """

    resistor: float = 10.0
    input: float = float("inf")
    metered: float | None = None
    step: int | None = None
    load: float | None = None
    divider: float = 1.0
    full_scale: float | None = None
    re: float | None = None
    top: float | None = None
    bottom: float | None = None
    mass: float | None = None
    volume: float | None = None
    area: float | None = None
    mouth_before: float | None = None
    mouth_after: float | None = None

    @property
    def ratio(self) -> float:
        """Volts of a leg over the recorder's, by the divider's resistors where they are given."""
        if self.top is None or self.bottom is None:
            return self.divider
        found = divider_ratio(top=self.top, bottom=self.bottom, input_resistance=self.input)
        return float(found)


@dataclass
class Draft:
    """Figures, curves, verdicts and readings of recordings, added one by one."""

    at: str
    build: Build | None
    details: Details
    sentences: list[str] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    series: list[Series] = field(default_factory=list)
    heard: list[HeardReading] = field(default_factory=list)
    values: list[HeardValue] = field(default_factory=list)

    def figure(
        self,
        name: str,
        value: float | None,
        *,
        unit: str,
        label: str,
        subject: str = "",
        spread: float | None = None,
        ends: tuple[float, float] | None = None,
        kind: Kind = Kind.NUMBER,
        frequency: float | None = None,
        text: str | None = None,
    ) -> None:
        """Add a figure, with its standard deviation or the ends of its 80 % band."""
        known = value is not None and isfinite(value)
        if known and spread is not None and isfinite(spread):
            assert value is not None
            ends = (value - WITHIN_80 * spread, value + WITHIN_80 * spread)
        low, high = ends if known and ends is not None else (None, None)
        subject = subject or self.at
        self.figures.append(
            Figure(
                id=f"{subject}.{name}",
                subject=subject,
                name=name,
                value=value if known else None,
                low=low,
                median=value if low is not None else None,
                high=high,
                unit=unit,
                kind=kind,
                origin=Origin.MEASURED,
                label=label,
                frequency_hz=frequency,
                text=text,
            )
        )

    def within(self, name: str, found: Width, *, unit: str, label: str, scale: float = 1.0) -> None:
        """Add a figure that is known by its 95 % width, in units that are `scale` times finer."""
        value, half = scale * found.value, scale * found.width * WITHIN_80 / WITHIN_95
        self.figure(name, value, unit=unit, label=label, ends=(value - half, value + half))

    def verdict(
        self, name: str, severity: Severity, text: str, *figures: str, subject: str = ""
    ) -> None:
        """Add a verdict, with the names of the figures of the same subject behind it."""
        subject = subject or self.at
        self.verdicts.append(
            Verdict(
                id=f"{subject}.{name}",
                subject=subject,
                severity=severity,
                text=text,
                figures=tuple(f"{subject}.{each}" for each in figures),
            )
        )

    def curve(
        self,
        name: str,
        x: FloatArray,
        y: FloatArray,
        *,
        quantity: str,
        unit: str,
        half_width: FloatArray | None = None,
        over: tuple[str, str] = ("frequency", "Hz"),
        subject: str = "",
    ) -> None:
        """Add a curve; what is not known in it is left open."""
        low = high = None
        if half_width is not None:
            low, high = _open(y - half_width), _open(y + half_width)
        subject = subject or self.at
        self.series.append(
            Series(
                id=f"{subject}.{name}",
                subject=subject,
                x=Axis(name=over[0], unit=over[1], values=_open(x)),
                y=Axis(name=quantity, unit=unit, values=_open(y), low=low, high=high),
            )
        )

    def reading(
        self,
        test: str,
        value: str | dict[str, str],
        recordings: Iterable[str],
        *,
        odds: Mapping[str, float] | None = None,
        at: str = "",
    ) -> None:
        """Add a reading that the recordings make."""
        self.heard.append(
            HeardReading(
                test=test,
                at=at or self.at,
                value=value,
                odds=None if odds is None else dict(odds),
                recordings=tuple(recordings),
            )
        )

    def sheet_value(self, name: str, found: Width, *, dimension: str, unit: str) -> None:
        """Add a value of the driver on the bench, and say where its sheet says another."""
        sheet = self._sheet()
        if sheet is None:
            return
        value, width = (
            to_unit(each, dimension=dimension, unit=unit) if unit else each
            for each in (found.value, found.width)
        )
        text = f"{value:.4g} {unit} ± {width:.2g} {unit}" if unit else f"{value:.4g} ± {width:.2g}"
        written = getattr(sheet, name)
        said = "" if written is None else format_quantity(written)
        self.values.append(HeardValue(path=f"{sheet.id}.{name}", text=text, found=said))
        if written is not None and not _agree(written, found):
            self.verdict(
                f"sheet_{name}",
                Severity.WARN,
                f"Its {name} is {text}; the job says {said}: a driver that aged or another one, "
                "or a sheet that flatters.",
                name,
            )

    def _sheet(self) -> DriverSheet | None:
        """Return the driver on the bench as the job has it; None where it is none of a job."""
        drivers = () if self.build is None else self.build.job.drivers
        return next((each for each in drivers if each.id == self.at), None)

    def report(self, *, names: Iterable[str], test: str) -> Report:
        """Close the report about files of some names, made for a test; its id is the title."""
        build = self.build
        return Report(
            stage="listen",
            job="" if build is None else build.job.about.title or build.vehicle.name,
            build=", ".join(names),
            title=test,
            answer=" ".join(self.sentences),
            figures=tuple(self.figures),
            verdicts=tuple(self.verdicts),
            series=tuple(self.series),
            heard=tuple(self.heard),
            values=tuple(self.values),
        )


def _agree(written: Quantity, found: Width) -> bool:
    """Whether two values lie no farther apart than both their widths together."""
    low, high = written.low, written.high
    own = 0.0 if low is None or high is None else (high - low) / 2.0
    return abs(written.value - found.value) <= own + found.width


def _open(values: FloatArray) -> tuple[float | None, ...]:
    """Return numbers, None for those that are none."""
    return tuple(float(each) if np.isfinite(each) else None for each in np.asarray(values))
