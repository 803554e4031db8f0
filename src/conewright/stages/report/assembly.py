"""Putting an answer together: figures with their origin, and what every report carries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NoReturn

import numpy as np

from conewright.job.build.draws import Draws
from conewright.job.build.state import Build, Origin
from conewright.physics.arrays import FloatArray
from conewright.stages.report import data as parts
from conewright.stages.report.care import cautions_for, restraint_gate
from conewright.stages.report.data import (
    Figure,
    FillNote,
    Report,
    Series,
    Severity,
    Verdict,
    Working,
)
from conewright.stages.report.narrowing import narrowing
from conewright.stages.report.words import ROUNDING

__all__ = ["Answer"]


@dataclass
class Answer:
    """An answer being put together by a stage."""

    stage: str
    build: Build
    against: Build | None
    draws: Draws
    sentence: str = ""
    figures: list[Figure] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    series: list[Series] = field(default_factory=list)
    working: list[Working] = field(default_factory=list)

    def figure(
        self,
        subject: str,
        name: str,
        values: FloatArray | float | None,
        *,
        unit: str,
        label: str,
        frequency_hz: float | None = None,
        text: str | None = None,
        origin: Origin | None = None,
    ) -> Figure:
        """Add a figure; its origin is that of the input that carries most of its spread.

        A figure that is an input itself brings its own origin.
        """
        made = parts.figure(
            subject,
            name,
            values,
            unit=unit,
            origin=origin or self._origin(values),
            label=label,
            frequency_hz=frequency_hz,
            text=text,
        )
        self.figures.append(made)
        return made

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
    def _origins(self) -> Mapping[str, Origin]:
        builds = [self.build] if self.against is None else [self.against, self.build]
        return {value.path: value.origin for build in builds for value in build.values()}

    @cached_property
    def _settled(self) -> Origin:
        """Origin of a figure that no spread touches: the weakest of what was written down."""
        given = {origin for origin in self._origins.values() if origin in _WRITTEN}
        return Origin.SHEET if Origin.SHEET in given else Origin.MEASURED

    def _names(self) -> dict[str, str]:
        names = {place.id: place.name for place in self.build.locations}
        return names | {place.driver.id: place.driver.name for place in self.build.locations}

    def _origin(self, values: FloatArray | float | None) -> Origin:
        if values is None or self.draws.scores.shape[1] == 0:
            return self._settled
        draws = np.ravel(np.asarray(values, dtype=float))[1:]
        if draws.size == 0 or not np.all(np.isfinite(draws)) or _settles(draws):
            return self._settled
        pull = np.abs(self.draws.scores.T @ (draws - draws.mean()))
        return self._origins.get(self.draws.axes[int(pull.argmax())], self._settled)


def _settles(draws: FloatArray) -> bool:
    """Whether draws differ by rounding alone."""
    return bool(np.ptp(draws) <= ROUNDING * np.abs(draws).max())


def _missing(id: str) -> NoReturn:
    raise KeyError(id)


_WRITTEN = (Origin.MEASURED, Origin.SHEET)
