"""Putting an answer together: figures with their origin, and what every report carries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin, Value
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.report import data as parts
from conewright.stages.report.care import cautions_for, restraint_gate
from conewright.stages.report.data import (
    Figure,
    FillNote,
    Kind,
    Outcome,
    Report,
    Series,
    Severity,
    Verdict,
    Working,
)
from conewright.stages.report.narrowing import narrowing
from conewright.stages.report.words import ROUNDING

__all__ = ["Answer"]


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A figure still to be made, and the draws that its origin is looked for in."""

    outcome: Outcome
    carrier: FloatArray | None
    origin: Origin | None


@dataclass
class Answer:
    """An answer being put together by a stage."""

    stage: str
    build: Build
    against: Build | None
    draws: Draws
    sentence: str = ""
    verdicts: list[Verdict] = field(default_factory=list)
    series: list[Series] = field(default_factory=list)
    working: list[Working] = field(default_factory=list)
    _made: list[Figure] = field(default_factory=list)
    _waiting: list[_Waiting] = field(default_factory=list)

    @property
    def figures(self) -> Sequence[Figure]:
        """The figures so far; those added since anybody looked are made together."""
        waiting, self._waiting = self._waiting, []
        if waiting:
            carried = iter(self._carried([each.carrier for each in waiting if not each.origin]))
            origins = [each.origin or next(carried) for each in waiting]
            self._made += parts.figures([each.outcome for each in waiting], origins)
        return self._made

    def figure(
        self,
        subject: str,
        name: str,
        values: FloatArray | float | None,
        *,
        unit: str,
        kind: Kind = Kind.NUMBER,
        label: str,
        frequency_hz: float | None = None,
        text: str | None = None,
        origin: Origin | None = None,
        carrier: FloatArray | None = None,
        band: tuple[float, float] | None = None,
    ) -> None:
        """Add a figure; its origin is that of the input that carries most of its spread.

        A figure that is an input itself brings its own origin; one that is made from the spread
        of something else names that as its carrier. One whose ends come from a table of prices
        or minutes has them as its `band`.
        """
        draws = _row(values)
        outcome = Outcome(subject, name, draws, unit, kind, label, frequency_hz, text, band)
        self._waiting.append(_Waiting(outcome, draws if carrier is None else _row(carrier), origin))

    def take(self, figure: Figure) -> None:
        """Add a figure that another answer has made."""
        self._made = [*self.figures, figure]

    def __getitem__(self, id: str) -> Figure:
        """Return the figure of that id; raise KeyError if it has not been added."""
        return next((entry for entry in self.figures if entry.id == id), None) or _missing(id)

    def value(self, id: str) -> float:
        """Return the central value of a figure; raise KeyError if it has none."""
        value = self[id].value
        return _missing(id) if value is None else value

    def verdict(
        self, subject: str, name: str, severity: Severity, text: str, *figures: str
    ) -> None:
        """Add a verdict about a subject, with the ids of the figures behind it."""
        self.verdicts.append(
            Verdict(
                id=f"{subject}.{name}",
                subject=subject,
                severity=severity,
                text=text,
                figures=figures,
            )
        )

    def work(self, figure: str, formula: str, numbers: str, source: str, *inputs: str) -> None:
        """Add the working of a figure."""
        self.working.append(
            Working(figure=figure, formula=formula, numbers=numbers, source=source, inputs=inputs)
        )

    def report(self, *, headlines: Mapping[str, FloatArray]) -> Report:
        """Close the answer.

        Args:
            headlines: draws of the figures that matter most, by figure id; the measurements that
                would narrow them are named.

        """
        gate = restraint_gate(self.build)
        return Report(
            stage=self.stage,
            job=self.build.job.about.title or self.build.vehicle.name,
            build=self.build.id,
            title=self.build.title,
            against=self.against.id if self.against else None,
            answer=self.sentence,
            figures=tuple(self.figures),
            verdicts=(*gate, *self.verdicts),
            series=tuple(self.series),
            narrowing=narrowing(headlines, self.draws, self.build.values(), names=self._names()),
            cautions=cautions_for(self.stage, self.build),
            fills=tuple(
                FillNote(path=fill.path, value=fill.text, origin=fill.origin, source=fill.source)
                for fill in self.build.fills
            ),
            working=tuple(self.working),
        )

    @cached_property
    def _values(self) -> tuple[Value, ...]:
        builds = [self.build] if self.against is None else [self.against, self.build]
        values = (value for build in builds for value in build.values())
        return (*values, *self.draws.own.values())

    @cached_property
    def _origins(self) -> Mapping[str, Origin]:
        return {value.path: value.origin for value in self._values}

    @cached_property
    def _own_axes(self) -> NDArray[np.intp]:
        """Columns of the draws without those that only other builds of the job have."""
        others = set(self.build.axes).difference(*(value.axes for value in self._values))
        return np.flatnonzero([axis not in others for axis in self.draws.axes])

    @cached_property
    def _settled(self) -> Origin:
        """Origin of a figure that no spread touches: the weakest of what was written down."""
        given = {origin for origin in self._origins.values() if origin in _WRITTEN}
        return Origin.SHEET if Origin.SHEET in given else Origin.MEASURED

    def _names(self) -> dict[str, str]:
        small = [place.tweeter for place in self.build.locations]
        places = [*self.build.locations, *(place for place in small if place is not None)]
        names = {place.id: place.name for place in places}
        return names | {place.driver.id: place.driver.name for place in places}

    def _carried(self, carriers: Sequence[FloatArray | None]) -> list[Origin]:
        """Return the origin of what pulls most at each of some draws, of all in one product."""
        origins = [self._settled] * len(carriers)
        rows = [row for row, draws in enumerate(carriers) if draws is not None and draws.size > 1]
        if not rows or self._own_axes.size == 0:
            return origins
        table = np.stack([draws[1:] for draws in carriers if draws is not None and draws.size > 1])
        spread = np.flatnonzero(_spreads(table))
        table = table[spread]
        table -= table.mean(axis=1, keepdims=True)
        pulls = np.abs(table @ self.draws.scores[:, self._own_axes])
        for row, column in zip(spread, pulls.argmax(axis=1), strict=True):
            axis = self.draws.axes[self._own_axes[column]]
            origins[rows[row]] = self._origins.get(axis, self._settled)
        return origins


def _row(values: FloatArray | float | None) -> FloatArray | None:
    """Return draws of any shape in one row, row 0 central."""
    return None if values is None else np.ravel(np.asarray(values, dtype=float))


def _spreads(table: FloatArray) -> NDArray[np.bool_]:
    """Whether the draws of each row are finite and differ by more than rounding."""
    low, high = table.min(axis=1), table.max(axis=1)
    finite = np.isfinite(low) & np.isfinite(high)
    width = np.subtract(high, low, where=finite, out=np.zeros_like(low))
    return np.asarray(finite & (width > ROUNDING * np.maximum(np.abs(low), np.abs(high))))


def _missing(id: str) -> NoReturn:
    raise KeyError(id)


_WRITTEN = (Origin.MEASURED, Origin.SHEET)
