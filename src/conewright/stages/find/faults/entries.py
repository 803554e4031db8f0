"""The entries of the data files of the search for faults, and how each file is read.

Every function takes the text of a file and raises BadInputError that names file and row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeVar, cast, get_args

from conewright.errors import BadInputError
from conewright.job.document.document import Kind
from conewright.job.quantity.expression import Load, parse_load
from conewright.job.quantity.size import Size, parse_size
from conewright.job.quantity.units import unit_named
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.stages.find.faults.rows import Row, hold_sum, one_of_each, read_rows, split_text
from conewright.stages.report.data import Caution

__all__ = [
    "FAULT_IDS",
    "LOW_LOAD",
    "SAG",
    "SHARED_RETURN",
    "TEST_IDS",
    "Access",
    "Answer",
    "Complaint",
    "Fault",
    "Limit",
    "Placeholder",
    "TestKind",
    "Thing",
    "Topology",
    "parse_access",
    "parse_answers",
    "parse_cautions",
    "parse_complaints",
    "parse_faults",
    "parse_limits",
    "parse_tests",
    "parse_topologies",
]

LOW_LOAD, SAG = "load-too-low", "supply-sag"
"""Follows from the load that is written down, and is no state of a part."""

SHARED_RETURN = "shared-return"
"""Follows from the return and the radio that are written down; nothing else is suspected of it."""

FAULT_IDS = (
    *("surround-torn", "coil-open", "coil-rubbing", "coil-shorted", "tweeter-open"),
    *("capacitor-dried", "lead-intermittent", "wire-broken", "joint-corroded", "leg-to-chassis"),
    *("pair-shorted", "reversed", "channel-dead", "channel-offset", "amplifier-off"),
    *("supply-sag", "trim-rattle", "mount-loose", "grit-or-water", LOW_LOAD),
    SHARED_RETURN,
    *("cap-unglued", "panel-open", "sleep-drain", "microphone", "settings"),
)
"""Each of these is also a change to the build, so no table can add one."""

TEST_IDS = (
    *("corner-solo", "slow-bass", "treble-burst", "mono-bass", "door-swing", "press-trim"),
    *("settings-reset", "call-test", "feed-drop", "sleep-current", "pair-resistance"),
    *("leg-to-chassis", "leg-bias", "pair-offset", "cell-pulse", "cone-push", "look"),
    *("coil-resistance", "swap-speaker", "impedance-sweep", "turn-on"),
)

SWEEP_LIMITS = {
    f"impedance-sweep {name}": dimension
    for name, dimension in (
        *(("resonance", "frequency"), ("peak", "resistance"), ("coil", "resistance")),
        *(("frequency", "frequency"), ("impedance", "resistance")),
    )
}
"""Figures of a sweep, and the two of each of its points, with their dimensions."""

Scope = Literal["location", "channel", "vehicle"]
Places = Literal["any", "woofer", "tweeter", "panel"]
Thing = Literal["balance", "amplifier", "hands-free", "twin", "memory"]
Ages = Literal["none", "driver", "vehicle"]
TestNeeds = Literal["corners", "door", "woofer", "treble", "settings", "microphone", "amplifier"]
Target = Literal["location", "channel", "pair", "vehicle"]
TestAccess = Literal["none", "radio", "trim"]
Number = Literal["none", "quantity", "sweep"]
Return = Literal["own", "shared"]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that can be wrong.

    prior: share of the complaints in ageing vehicles that it is behind, all faults adding to 1.
    places: the places it can be at, `panel` a woofer behind an inner panel (a door or a side
    panel). needs: a thing without which there is nothing to fail, empty where it is always there;
    since: year from which it is there if nothing else tells. ages: what grows old, if anything
    does. off_doors: share of it outside doors, of that in one [1]. if_so: it as a clause, @ for the
    place. repair_group: faults of one group are cured by the same repair. twin: chance that the
    same goes at the mirrored place within two years.
    """

    id: str
    title: str
    scope: Scope
    places: Places
    needs: Thing | None
    since: int
    ages: Ages
    off_doors: float
    prior: float
    about: str
    if_so: str
    repair: str
    repair_group: str
    twin: float
    budget: str
    source: str


@dataclass(frozen=True, slots=True)
class Complaint:
    """Words of an owner: what they multiply the prior odds of each fault by.

    groundless: share of these words without any fault. shows: things that whoever says so has.
    stop: what is done before anything else, empty where nothing is.
    """

    id: str
    words: str
    factors: Mapping[str, float]
    other: float
    groundless: float
    shows: tuple[str, ...]
    first_tests: tuple[str, ...]
    stop: str
    source: str

    def factor(self, fault: str) -> float:
        """Return the factor on the prior odds of a fault."""
        return self.factors.get(fault, self.other)


@dataclass(frozen=True, slots=True)
class Answer:
    """A word that answers a test, and what it means."""

    word: str
    healthy: bool
    meaning: str


@dataclass(frozen=True, slots=True)
class TestKind:
    """A test: how it is done and what it may answer.

    needs: without which it cannot be done, or has nothing to find; None where it always can.
    access: `trim` is whatever covers the place it is done at. minutes: without opening anything.
    number: whether a number may answer it, `sweep` an impedance sweep; dimension and unit are
    those of a `quantity`. misleads: what a wrong answer is caused by.
    """

    id: str
    title: str
    target: Target
    needs: TestNeeds | None
    access: TestAccess
    minutes: float
    equipment: str
    how: str
    healthy: str
    misleads: str
    answers: tuple[Answer, ...]
    number: Number
    dimension: str | None
    unit: str | None
    cautions: tuple[Caution, ...]
    source: str

    @property
    def words(self) -> tuple[str, ...]:
        """The words that answer it."""
        return tuple(answer.word for answer in self.answers)

    @property
    def normal(self) -> str:
        """The word of a healthy vehicle."""
        return next(answer.word for answer in self.answers if answer.healthy)


@dataclass(frozen=True, slots=True)
class Access:
    """Minutes to open something, once; the first of its kind takes `first_minutes`."""

    id: str
    title: str
    minutes: float
    first_minutes: float
    source: str


@dataclass(frozen=True, slots=True)
class Limit:
    """What an instrument can show at all [SI], and the same in words."""

    low: float
    high: float
    told: str


@dataclass(frozen=True, slots=True)
class Placeholder:
    """A driver of which only the nominal size and the printed impedance are assumed."""

    id: str
    size: Size
    rated: Quantity


@dataclass(frozen=True, slots=True)
class Topology:
    """What may hang on a channel: a load whose drivers are placeholders.

    prior: odds before any reading, all topologies adding to 1. shared_return: its minus wire is
    also that of other channels. apart: what tells it from those that read alike.
    """

    id: str
    title: str
    load: Load
    drivers: tuple[Placeholder, ...]
    prior: float
    shared_return: bool
    apart: str
    source: str


def parse_faults(text: str) -> tuple[Fault, ...]:
    """Return the faults of faults.csv: each of FAULT_IDS, their priors adding to 1."""
    file = "faults.csv"
    rows = read_rows(
        text,
        file=file,
        columns=(
            *("fault", "title", "prior", "scope", "places"),
            *("needs", "since", "ages", "off_doors"),
            *("about", "if_so", "repair", "repair_group", "twin", "budget"),
        ),
    )
    one_of_each(rows, file=file, known=FAULT_IDS)
    total = hold_sum((row.value("prior") for row in rows), where=file, what="the priors")
    return tuple(_fault(row, total) for row in rows)


def _fault(row: Row, total: float) -> Fault:
    return Fault(
        id=row.key,
        title=row.text("title"),
        scope=cast(Scope, row.choice("scope", get_args(Scope))),
        places=cast(Places, row.choice("places", get_args(Places))),
        needs=cast(Thing | None, _choice_or_none(row, "needs", get_args(Thing))),
        since=int(row.value("since")) if row.cells["since"] else 0,
        ages=cast(Ages, row.choice("ages", get_args(Ages))),
        off_doors=row.share("off_doors"),
        prior=row.value("prior") / total,
        about=row.text("about"),
        if_so=row.text("if_so"),
        repair=row.text("repair"),
        repair_group=row.text("repair_group"),
        twin=row.share("twin"),
        budget=row.text("budget"),
        source=row.text("source"),
    )


def parse_complaints(text: str) -> tuple[Complaint, ...]:
    """Return the owner's words of complaints.csv; a shop may add its own."""
    file = "complaints.csv"
    columns = (
        *("complaint", "words", "factors", "other", "groundless", "shows", "first_tests", "stop"),
    )
    rows = read_rows(text, file=file, columns=columns)
    one_of_each(rows, file=file)
    return tuple(
        Complaint(
            id=row.key,
            words=row.text("words"),
            factors=row.numbers("factors", FAULT_IDS),
            other=row.value("other"),
            groundless=row.share("groundless"),
            shows=row.names("shows", get_args(Thing)),
            first_tests=row.names("first_tests", TEST_IDS),
            stop=row.cells["stop"],
            source=row.text("source"),
        )
        for row in rows
    )


def parse_cautions(text: str) -> dict[str, Caution]:
    """Return the cautions of cautions.csv by their ids."""
    file = "cautions.csv"
    rows = read_rows(text, file=file, columns=("caution", "text"))
    one_of_each(rows, file=file)
    return {
        row.key: Caution(id=row.key, text=row.text("text"), source=row.text("source"))
        for row in rows
    }


def parse_answers(text: str) -> dict[str, tuple[Answer, ...]]:
    """Return the words that answer each test, in the order of answers.csv, one of them healthy."""
    file = "answers.csv"
    found: dict[str, list[Answer]] = {test: [] for test in TEST_IDS}
    for row in read_rows(text, file=file, columns=("test", "word", "healthy", "meaning")):
        answers = found[row.choice("test", TEST_IDS)]
        word = row.text("word")
        if any(word == answer.word for answer in answers):
            row.fail("word", "this test has the word already")
        healthy = row.choice("healthy", ("yes", "no")) == "yes"
        answers.append(Answer(word, healthy, row.text("meaning")))
    for test, answers in found.items():
        if sum(answer.healthy for answer in answers) != 1 or len(answers) < 2:
            raise BadInputError(f"{file}: {test} needs one healthy word and at least one other")
    return {test: tuple(answers) for test, answers in found.items()}


def parse_tests(
    text: str, *, answers: Mapping[str, tuple[Answer, ...]], cautions: Mapping[str, Caution]
) -> tuple[TestKind, ...]:
    """Return the tests of tests.csv: each of TEST_IDS, with its answers and cautions."""
    file = "tests.csv"
    rows = read_rows(
        text,
        file=file,
        columns=(
            *(
                "test",
                "title",
                "target",
                "needs",
                "access",
                "minutes",
                "equipment",
                "how",
                "healthy",
            ),
            *("misleads", "number", "dimension", "unit", "cautions"),
        ),
    )
    one_of_each(rows, file=file, known=TEST_IDS)
    return tuple(_test(row, answers[row.key], cautions) for row in rows)


def _test(row: Row, answers: tuple[Answer, ...], cautions: Mapping[str, Caution]) -> TestKind:
    dimension, unit = _measure(row)
    return TestKind(
        id=row.key,
        title=row.text("title"),
        target=cast(Target, row.choice("target", get_args(Target))),
        needs=cast(TestNeeds | None, _choice_or_none(row, "needs", get_args(TestNeeds))),
        access=cast(TestAccess, row.choice("access", get_args(TestAccess))),
        minutes=row.value("minutes") or row.fail("minutes", "a test takes some time"),
        equipment=row.text("equipment"),
        how=row.text("how"),
        healthy=row.text("healthy"),
        misleads=row.text("misleads"),
        answers=answers,
        number=cast(Number, row.choice("number", get_args(Number))),
        dimension=dimension,
        unit=unit,
        cautions=tuple(cautions[name] for name in row.names("cautions", cautions)),
        source=row.text("source"),
    )


def _choice_or_none(row: Row, column: str, known: tuple[str, ...]) -> str | None:
    return row.choice(column, known) if row.cells[column] else None


def _measure(row: Row) -> tuple[str, str] | tuple[None, None]:
    """Return the dimension and unit of the number that answers a test."""
    if row.cells["number"] != "quantity":
        for column in ("dimension", "unit"):
            if row.cells[column]:
                row.fail(column, "only a test answered by a quantity has one")
        return None, None
    dimension, unit = row.text("dimension"), row.text("unit")
    _read(row, "unit", lambda text: unit_named(text, dimension=dimension))
    return dimension, unit


def parse_access(text: str) -> tuple[Access, ...]:
    """Return what it takes to open things: nothing, the radio, the trim of each kind of place."""
    file = "access.csv"
    rows = read_rows(text, file=file, columns=("access", "title", "minutes", "first_minutes"))
    one_of_each(rows, file=file, known=("none", "radio", *get_args(Kind)))
    return tuple(
        Access(
            id=row.key,
            title=row.text("title"),
            minutes=row.value("minutes"),
            first_minutes=row.value("first_minutes"),
            source=row.text("source"),
        )
        for row in rows
    )


def parse_limits(text: str, *, tests: Mapping[str, TestKind]) -> dict[str, Limit]:
    """Return what the number of each test, and each figure of a sweep, can be, by its name."""
    file = "limits.csv"
    rows = read_rows(text, file=file, columns=("reading", "low", "high", "unit"))
    numbers = {kind.id: kind.dimension for kind in tests.values() if kind.dimension}
    one_of_each(rows, file=file, known=(*numbers, *SWEEP_LIMITS))
    return {row.key: _limit(row, (numbers | SWEEP_LIMITS)[row.key] or "") for row in rows}


def _limit(row: Row, dimension: str) -> Limit:
    low, high = (
        _read(
            row,
            column,
            lambda text: parse_quantity(f"{text} {row.cells['unit']}", dimension=dimension),
        )
        for column in ("low", "high")
    )
    if not low.value < high.value:
        row.fail("high", "it is above low")
    told = f"{row.cells['low']} to {row.cells['high']} {row.cells['unit']}"
    return Limit(low.value, high.value, told)


def parse_topologies(text: str) -> tuple[Topology, ...]:
    """Return the loads of topologies.csv, their prior odds adding to 1."""
    file = "topologies.csv"
    columns = ("topology", "title", "load", "drivers", "prior", "return", "apart")
    rows = read_rows(text, file=file, columns=columns)
    one_of_each(rows, file=file)
    total = hold_sum((row.value("prior") for row in rows), where=file, what="the priors")
    return tuple(_topology(row, total) for row in rows)


def _topology(row: Row, total: float) -> Topology:
    load = _read(row, "load", parse_load)
    drivers = _read(row, "drivers", _placeholders)
    if sorted(load.locations) != sorted(driver.id for driver in drivers):
        row.fail("drivers", f"the load has the drivers {', '.join(load.locations) or 'none'}")
    return Topology(
        id=row.key,
        title=row.text("title"),
        load=load,
        drivers=drivers,
        prior=row.value("prior") / total,
        shared_return=row.choice("return", get_args(Return)) == "shared",
        apart=row.text("apart"),
        source=row.text("source"),
    )


def _placeholders(text: str) -> tuple[Placeholder, ...]:
    """Read drivers written like `main: 165 mm, 4 ohm; small: 25 mm, 4 ohm`."""
    drivers = []
    for part in split_text(text):
        name, _, sheet = part.partition(":")
        size, _, rated = sheet.partition(",")
        quantity = parse_quantity(rated.strip(), dimension="resistance", positive=True)
        drivers.append(Placeholder(name.strip(), parse_size(size.strip()), quantity))
    return tuple(drivers)


def _read(row: Row, column: str, read: Callable[[str], T]) -> T:
    """Return what a reader of the job's own notation makes of a cell."""
    try:
        return read(row.cells[column])
    except BadInputError as error:
        row.fail(column, str(error))
