"""The report: an answer as data. Text, JSON, page, paper and picture are views of it.

A figure's id is `<subject>.<name>`. Its `value` is the answer with every quantity at its central
value; `low`, `median` and `high` are the 10, 50 and 90 % points over the spreads of what was
measured or assumed. The band always contains the value.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from conewright.errors import BadInputError
from conewright.job.builds.states.value import Origin
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.shown import Shown, shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Drawing

__all__ = [
    "HIGH",
    "LOW",
    "Axis",
    "Caution",
    "Figure",
    "FillNote",
    "HeardReading",
    "HeardValue",
    "Kind",
    "Narrowing",
    "Outcome",
    "Outlook",
    "PlanStep",
    "ReadingCard",
    "Report",
    "Series",
    "Severity",
    "Verdict",
    "Working",
    "figures",
    "series",
]

LOW, MEDIAN, HIGH = 0.1, 0.5, 0.9


class Severity(StrEnum):
    """How much a verdict matters, mildest first."""

    GOOD = "good"
    NOTE = "note"
    WARN = "warn"
    STOP = "stop"

    @property
    def rank(self) -> int:
        """0 for good to 3 for stop."""
        return list(Severity).index(self)


class Kind(StrEnum):
    """What a figure or an axis holds; how it is said follows from that."""

    NUMBER = "number"
    ODDS = "odds"
    """A probability, 0 to 1."""
    SHARE = "share"
    """A part of a whole, 1 for all of it."""
    CHANGE = "change"
    """A difference; its sign says which way."""
    COUNT = "count"
    TIME = "time"
    MONEY = "money"
    """In the currency that is its unit."""
    YES = "yes"
    """1 for yes and 0 for no."""


class _Data(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Figure(_Data):
    """One number of the answer, with its band and where it comes from."""

    id: str = Field(description="`<subject>.<name>`; published, so added and never renamed.")
    subject: str = Field(
        description="A channel, place, seat or build by its id; head_unit, vehicle, cause or plan; "
        "suspected: what would be different if what find suspects were so."
    )
    name: str = Field(description="Name of the figure, the same for every subject that has it.")
    value: float | None = Field(
        description="The answer with every quantity at its central value; null where there is none."
    )
    low: float | None = Field(
        None,
        description="10 % point over the spreads, in `unit`; of a plan's cost and hours the 5 % "
        "point, as on the quote.",
    )
    median: float | None = Field(None, description="50 % point over the spreads, in `unit`.")
    high: float | None = Field(
        None,
        description="90 % point over the spreads, in `unit`; of a plan's cost and hours the 95 % "
        "point, as on the quote.",
    )
    unit: str = Field(description="Unit of value and band; empty for odds and plain numbers.")
    kind: Kind = Field(Kind.NUMBER, description="What it holds; how it is said follows from it.")
    origin: Origin = Field(description="Origin of the input that carries most of the spread.")
    label: str = Field(description="What it is, in a few plain words.")
    frequency_hz: float | None = Field(
        None, description="The frequency it belongs to [Hz], if it has one."
    )
    text: str | None = Field(
        None, description="Words that say more than the number, or why there is none."
    )


class Verdict(_Data):
    """One sentence in the repairer's words, and the figures behind it."""

    id: str = Field(description="`<subject>.<name>`; published, so added and never renamed.")
    subject: str = Field(description="What the sentence is about.")
    severity: Severity = Field(description="How much it matters.")
    text: str = Field(description="One sentence in the repairer's words.")
    figures: tuple[str, ...] = Field((), description="Ids of the figures behind it.")


class Axis(_Data):
    """One axis of a series; a complex value is a pair (re, im)."""

    name: str = Field(description="The quantity, like frequency or level.")
    unit: str = Field(description="Its unit; empty for words and plain numbers.")
    kind: Kind = Field(Kind.NUMBER, description="What the values hold.")
    values: tuple[Any, ...] = Field(
        description="Central values: numbers, pairs (re, im) or words; null for no answer."
    )
    low: tuple[float | None, ...] | None = Field(
        None, description="10 % points, of the modulus where the values are complex."
    )
    high: tuple[float | None, ...] | None = Field(
        None, description="90 % points, of the modulus where the values are complex."
    )

    def __repr__(self) -> str:
        """Return what it is; the values are for arrays."""
        return f"<Axis {_with_unit(self.name, self.unit)}: {len(self.values)} values>"


class Series(_Data):
    """A curve: x and y of the same length, as lists in `x` and `y` and as arrays by name."""

    id: str = Field(description="`<subject>.<name>`; published, so added and never renamed.")
    subject: str = Field(description="Id of a channel, place or seat, or `cause`.")
    x: Axis = Field(description="What it is drawn over, frequency but for odds.")
    y: Axis = Field(description="What is drawn.")

    @property
    def frequency(self) -> FloatArray:
        """Where the values are, shape (F,) [Hz]; for odds the number of readings before them."""
        return _floats(self.x.values)

    @property
    def value(self) -> NDArray[Any]:
        """Central values, shape (F,) [unit]: real, complex, or words; NaN for no answer.

        >>> import conewright as cw
        >>> curve = cw.feed(cw.demo_job().build()).curve("rear-left.impedance")
        >>> curve.frequency.shape == curve.value.shape == curve.low.shape
        True
        >>> round(float(abs(curve.value).min()), 2)
        2.23
        """
        values = self.y.values
        if any(isinstance(each, str) for each in values):
            return np.asarray(values, dtype=str)
        numbers = _floats(values)
        return numbers if numbers.ndim == 1 else numbers[:, 0] + 1j * numbers[:, 1]

    @property
    def low(self) -> FloatArray:
        """10 % points, shape (F,) [unit], of the modulus of complex values; NaN without a band."""
        return self._edge(self.y.low)

    @property
    def high(self) -> FloatArray:
        """90 % points, as `low`."""
        return self._edge(self.y.high)

    @property
    def unit(self) -> str:
        """Unit of value and band; empty for words and plain numbers."""
        return self.y.unit

    def to_frame(self) -> Any:
        """Return it as a pandas DataFrame with the columns x, value, low, high and unit.

        Raises:
            BadInputError: pandas is not installed.

        """
        return _frame(
            {
                self.x.name: self.frequency,
                "value": self.value,
                "low": self.low,
                "high": self.high,
                "unit": [self.unit] * len(self.x.values),
            }
        )

    def _edge(self, edge: Sequence[float | None] | None) -> FloatArray:
        return np.full(len(self.x.values), np.nan) if edge is None else _floats(edge)

    def __repr__(self) -> str:
        """Return what it is; the values are for arrays."""
        x, y = (_with_unit(axis.name, axis.unit) for axis in (self.x, self.y))
        return f"<Series {self.id}: {y} over {x}, {len(self.x.values)} values>"


def _with_unit(name: str, unit: str) -> str:
    return f"{name} [{unit}]" if unit else name


class Caution(_Data):
    """A warning that applies to this answer."""

    id: str = Field(description="Id of the caution.")
    text: str = Field(description="What to take care of.")
    source: str = Field(description="Where it is from.")


class FillNote(_Data):
    """A value nobody gave, and what was put in its place."""

    path: str = Field(description="Place of the value in the job.")
    value: str = Field(description="What was put there, with its unit.")
    origin: Origin = Field(description="What kind of value that is.")
    source: str = Field(description="Where it is from.")


class Working(_Data):
    """How a headline figure came about, to be followed with a pencil."""

    figure: str = Field(description="Id of the figure.")
    formula: str = Field(description="How it is reckoned, in symbols.")
    numbers: str = Field(description="The same with the central values put in.")
    source: str = Field(description="Where the formula is from.")
    inputs: tuple[str, ...] = Field(
        (), description="Places in the job, and ids of other figures, that went in."
    )


class Narrowing(_Data):
    """A measurement, and the share of a figure's spread that it would remove."""

    path: str = Field(description="Place in the job of the value to measure.")
    label: str = Field(description="What to measure, in a few plain words.")
    origin: Origin = Field(description="What is known of it so far.")
    share: float = Field(
        description="Share of the width of the figure's band that would go, 0 to 1."
    )
    figure: str = Field(description="Id of the figure that it would narrow.")


class Outlook(_Data):
    """What an answer would change: how likely it is, and the cause it would put first."""

    word: str = Field(description="The answer.")
    chance: float = Field(description="How likely it is, 0 to 1.")
    cause: str = Field(
        description="The cause it would put first; empty where that was not followed."
    )
    odds: float = Field(description="How likely that cause would be then, 0 to 1.")


class ReadingCard(_Data):
    """One reading worth taking: what to do, what a healthy vehicle says, what each answer means."""

    id: str = Field(description="`<test>@<subject>`.")
    test: str = Field(description="The test, as a reading in the job names it.")
    subject: str = Field(description="Where it is taken.")
    title: str = Field(description="The test in plain words.")
    how: str = Field(description="How it is done.")
    equipment: str = Field(description="What it takes.")
    minutes: float = Field(description="How long it takes, with what must be opened first [min].")
    bits: float = Field(description="How much it is expected to tell of the cause [bit].")
    bits_per_minute: float = Field(description="The same for its minutes: cards are in this order.")
    healthy: str = Field(description="What a healthy vehicle says.")
    unit: str = Field(description="Unit of its answer; empty where the answer is a word.")
    cautions: tuple[str, ...] = Field(description="What to take care of.")
    answers: tuple[Outlook, ...] = Field(description="What each answer would change.")
    then: str | None = Field(None, description="Id of the reading that follows best, if one does.")


class PlanStep(_Data):
    """One reading of a plan, with the answer it most likely gets and what is certain then."""

    reading: str = Field(description="Id of the reading.")
    minutes: float = Field(description="How long it takes [min].")
    likely: str = Field(description="The answer it most likely gets.")
    cause: str = Field(description="The cause that is first then.")
    odds: float = Field(description="How likely that cause is then, 0 to 1.")


class HeardReading(_Data):
    """A reading that recordings make, as it would be written into the job."""

    test: str = Field(description="The test it answers.")
    at: str = Field(description="Where it was done; empty where nobody said.")
    value: str | dict[str, str] = Field(
        description="What it says: a word, a value with its unit, or the figures of a sweep."
    )
    odds: dict[str, float] | None = Field(
        None, description="How well the recordings go with each answer in words, as weights."
    )
    recordings: tuple[str, ...] = Field(description="SHA-256 of the files it was taken from.")


class HeardValue(_Data):
    """A value of a part that was measured by itself, as it would be written into the job."""

    path: str = Field(description="Place of the value in the job.")
    text: str = Field(description="The value with its unit and its 95 % width.")
    found: str = Field(description="What stands there so far; empty where nothing does.")


class Report(Shown, _Data):
    """The answer of one stage about one build, or about one build against another."""

    stage: str = Field(description="find, feed, hear, fit, compare or listen.")
    job: str = Field(description="What the job is about, in one line.")
    build: str = Field(description="Id of the build: as-found, or a proposal.")
    title: str = Field("", description="Name of the build in words.")
    against: str | None = Field(None, description="Id of the build it is compared with, if it is.")
    answer: str = Field(description="The answer in one or two sentences.")
    figures: tuple[Figure, ...] = Field((), description="The numbers.")
    verdicts: tuple[Verdict, ...] = Field((), description="What the numbers mean.")
    series: tuple[Series, ...] = Field((), description="The curves.")
    narrowing: tuple[Narrowing, ...] = Field(
        (), description="The measurements that would narrow the headlines most."
    )
    cautions: tuple[Caution, ...] = Field((), description="What to take care of.")
    fills: tuple[FillNote, ...] = Field((), description="Values that nobody gave.")
    working: tuple[Working, ...] = Field((), description="How the headline figures came about.")
    readings: tuple[ReadingCard, ...] = Field(
        (), description="Of find: the readings worth taking, the best first."
    )
    plan: tuple[PlanStep, ...] = Field(
        (), description="Of find: the readings to certainty, each with its likeliest answer."
    )
    heard: tuple[HeardReading, ...] = Field(
        (), description="Of listen: the readings that the recordings make."
    )
    values: tuple[HeardValue, ...] = Field(
        (), description="Of listen: values of a driver that was measured on the bench."
    )

    def figure(self, id: str) -> Figure:
        """Return the figure of that id.

        Raises:
            KeyError: there is none; the message lists the ids of the same subject.

        >>> import conewright as cw
        >>> load = cw.feed(cw.demo_job().build()).figure("rear-left.minimum_impedance")
        >>> f"{load.value:.2f} {load.unit}, {load.low:.2f} to {load.high:.2f}, {load.origin}"
        '2.24 ohm, 2.19 to 2.29, typical'
        """
        for entry in self.figures:
            if entry.id == id:
                return entry
        subject = id.split(".", 1)[0]
        near = [entry.id for entry in self.figures if entry.subject == subject]
        raise KeyError(f"no figure {id!r} in this report; of {subject!r} there are {near}")

    def curve(self, id: str) -> Series:
        """Return the series of that id.

        Raises:
            KeyError: there is none; the message lists those there are.

        >>> import conewright as cw
        >>> cw.feed(cw.demo_job().build()).curve("rear-left.impedance")
        <Series rear-left.impedance: impedance at the radio plug [ohm] over frequency [Hz]...
        """
        for entry in self.series:
            if entry.id == id:
                return entry
        raise KeyError(f"no series {id!r} in this report; there are {[s.id for s in self.series]}")

    def __repr__(self) -> str:
        """Return what the report is about; its figures are for `print`."""
        against = f" against {self.against}" if self.against else ""
        return f"<Report {self.stage} of {self.build}{against}: {self.answer}>"

    @property
    def worst(self) -> Verdict | None:
        """The most severe verdict, the first of equals."""
        return max(self.verdicts, key=lambda verdict: verdict.severity.rank, default=None)

    def to_dict(self) -> dict[str, Any]:
        """Return the report as plain data, as written by `--json`."""
        return dict(json.loads(self.model_dump_json()))

    def to_frame(self) -> Any:
        """Return the figures as a pandas DataFrame, one row each under its id.

        >>> import conewright as cw
        >>> frame = cw.feed(cw.demo_job().build()).to_frame()
        >>> row = frame.loc["rear-left.minimum_impedance"]
        >>> [round(float(row[name]), 2) for name in ("value", "low", "high")]
        [2.24, 2.19, 2.29]

        Raises:
            BadInputError: pandas is not installed.

        """
        rows = [dict(figure) for figure in self.figures]
        return _frame(
            {name: [row[name] for row in rows] for name in Figure.model_fields}, index="id"
        )

    def plot(self) -> Drawing:
        """Draw the report; returns a matplotlib figure.

        Raises:
            BadInputError: there is nothing to draw in it.
            LookupError: `conewright.pictures` has not been imported; the names of `conewright`
                import it.

        """
        drawing: Drawing | None = shown(self, "drawing")
        if drawing is None:
            raise LookupError("nothing draws reports: import conewright.pictures")
        return drawing


def _frame(columns: Mapping[str, Sequence[Any] | NDArray[Any]], *, index: str | None = None) -> Any:
    """Return columns as a DataFrame."""
    try:
        import pandas
    except ModuleNotFoundError:
        raise BadInputError("to_frame: found no pandas; `pip install pandas` brings it") from None
    frame = pandas.DataFrame(dict(columns))
    return frame if index is None else frame.set_index(index)


def _floats(values: Sequence[Any]) -> FloatArray:
    # None becomes NaN.
    return np.asarray(values, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The draws that a figure is made from, and what is said of it.

    Attributes:
        subject: id of the channel, location, seat or `head_unit`.
        name: name of the figure; its id becomes `<subject>.<name>`.
        draws: shape (draws,), row 0 central, a single row for no spread; None without an answer.
        unit: unit of the draws.
        kind: what it is; from it follows how it is said.
        label: what it is, in a few plain words.
        frequency_hz: the frequency it belongs to, if it has one.
        text: words that say more than the number.
        band: low and high end where no draws give them.

    """

    subject: str
    name: str
    draws: FloatArray | None
    unit: str
    kind: Kind
    label: str
    frequency_hz: float | None = None
    text: str | None = None
    band: tuple[float, float] | None = None


def figures(outcomes: Sequence[Outcome], origins: Sequence[Origin]) -> list[Figure]:
    """Make figures from their draws, all at once.

    Args:
        outcomes: what the figures are made from.
        origins: of each, the weakest among the inputs that carry it.

    """
    answered = [each.draws for each in outcomes if each.draws is not None]
    bands = iter(_bands(answered))
    told = [{"value": None} if each.draws is None else next(bands) for each in outcomes]
    return [
        Figure(
            id=f"{each.subject}.{each.name}",
            subject=each.subject,
            name=each.name,
            unit=each.unit,
            kind=each.kind,
            origin=origin,
            label=each.label,
            frequency_hz=each.frequency_hz,
            text=each.text,
            **{**values, **_ends(each)},
        )
        for each, values, origin in zip(outcomes, told, origins, strict=True)
    ]


def _ends(outcome: Outcome) -> dict[str, float]:
    """Return the ends of a band that no draws give."""
    return {} if outcome.band is None else {"low": outcome.band[0], "high": outcome.band[1]}


def _bands(draws: Sequence[FloatArray]) -> list[dict[str, float]]:
    """Return central value and 10, 50 and 90 % points of draws, those of one length in one go.

    A band is widened, where needed, so that the central value lies inside.
    """
    found: list[dict[str, float]] = [{} for _ in draws]
    for size in {each.size for each in draws}:
        rows = [row for row, each in enumerate(draws) if each.size == size]
        table = np.stack([draws[row] for row in rows])
        central = table[:, 0]
        points = [central] * 3
        if size > 1:
            points = [*_quantiles(table[:, 1:], (LOW, MEDIAN, HIGH), axis=1)]
        columns = (central.tolist(), *(each.tolist() for each in points))
        for row, value, low, median, high in zip(rows, *columns, strict=True):
            found[row] = {
                "value": value,
                "low": min(low, value),
                "median": median,
                "high": max(high, value),
            }
    return found


def _quantiles(draws: FloatArray, chances: Sequence[float], *, axis: int) -> FloatArray:
    """Return quantiles along an axis, one row for each chance."""
    # In sorted draws they are found in a fraction of the time that it takes without.
    return np.asarray(np.quantile(np.sort(draws, axis=axis), chances, axis=axis))


def series(
    subject: str,
    name: str,
    frequency: FloatArray,
    values: FloatArray | ComplexArray,
    *,
    quantity: str,
    unit: str,
    kind: Kind = Kind.NUMBER,
) -> Series:
    """Make a frequency series from draws (rows) by frequency (columns).

    Real draws give central values with a band; complex draws give central pairs (re, im), and the
    band is that of the modulus.
    """
    table = np.atleast_2d(values)
    modulus = np.abs(table) if np.iscomplexobj(table) else np.real(table)
    low = high = None
    if table.shape[0] > 1:
        edges = _quantiles(modulus[1:], (LOW, HIGH), axis=0)
        low = tuple(np.minimum(edges[0], modulus[0]).tolist())
        high = tuple(np.maximum(edges[1], modulus[0]).tolist())
    central: tuple[Any, ...]
    if np.iscomplexobj(table):
        central = tuple((float(z.real), float(z.imag)) for z in table[0])
    else:
        central = tuple(table[0].tolist())
    return Series(
        id=f"{subject}.{name}",
        subject=subject,
        x=Axis(name="frequency", unit="Hz", values=tuple(frequency.tolist())),
        y=Axis(name=quantity, unit=unit, kind=kind, values=central, low=low, high=high),
    )
