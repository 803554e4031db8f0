"""What the trade knows of faults, tests and owner's words: data files, checked when they load.

The chance of each word under each fault comes from two files: yes_no.csv holds how often a test
shows a wrong sign, words.csv into which words that sign splits. A sign is a test, or one side of
a test that can be wrong in two ways, as `pair-resistance low`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from math import fsum
from typing import Protocol, TypeVar

from conewright.data_files import data_text
from conewright.errors import BadInputError
from conewright.job.document.paths import known_names
from conewright.stages.find.faults.entries import (
    FAULT_IDS,
    TEST_IDS,
    Access,
    Answer,
    Complaint,
    Fault,
    Limit,
    Placeholder,
    TestKind,
    Topology,
    parse_access,
    parse_answers,
    parse_cautions,
    parse_complaints,
    parse_faults,
    parse_limits,
    parse_tests,
    parse_topologies,
)
from conewright.stages.find.faults.rows import HEALTHY, Row, hold_sum, one_of_each, read_rows
from conewright.stages.find.faults.shop import VARIABLE, own_texts

__all__ = [
    "EACH_LEG",
    "FAULT_IDS",
    "INCONCLUSIVE",
    "TEST_IDS",
    "Access",
    "Answer",
    "Complaint",
    "Fault",
    "Placeholder",
    "Tables",
    "TestKind",
    "Topology",
    "WordTable",
    "access",
    "complaint",
    "complaints",
    "fault",
    "faults",
    "in_owners_words",
    "limit",
    "parse_tables",
    "table_texts",
    "test",
    "tests",
    "topologies",
    "topology",
    "word_table",
    "words_of_complaints",
]

INCONCLUSIVE = "not conclusive"
"""What a reading says that was taken and told nothing."""

EACH_LEG = frozenset({"leg-bias", "leg-to-chassis"})
"""Tests with a reading for each leg of a channel: both stand in the job."""

# A rest nearer to 0 than this, on either side, is the rounding of a sum.
TINY = 1e-9

_FILES = (
    *("faults.csv", "complaints.csv", "cautions.csv", "answers.csv", "tests.csv"),
    *("yes_no.csv", "words.csv", "access.csv", "topologies.csv", "limits.csv"),
)

Chances = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class WordTable:
    """The chance of each word that answers a test, under each fault at the place tested.

    Every row adds up to 1 over `words`. A chance may be 0: whoever multiplies them allows for
    slips of the hand on top.
    """

    test: str
    words: tuple[str, ...]
    normal: str
    chance: Mapping[str, Chances]
    healthy: Chances


@dataclass(frozen=True, slots=True)
class Tables:
    """All the tables, by the ids of their entries and in the order of the files."""

    faults: Mapping[str, Fault]
    complaints: Mapping[str, Complaint]
    tests: Mapping[str, TestKind]
    words: Mapping[str, WordTable]
    access: Mapping[str, Access]
    topologies: Mapping[str, Topology]
    limits: Mapping[str, Limit]


def faults() -> tuple[Fault, ...]:
    """Return every fault, in the order of the table."""
    return tuple(_tables().faults.values())


def fault(name: str) -> Fault:
    """Return the fault of that id; raises BadInputError that suggests the nearest."""
    return _entry(_tables().faults, name, "fault")


def complaints() -> tuple[Complaint, ...]:
    """Return all owner's words, in the order of the table."""
    return tuple(_tables().complaints.values())


def words_of_complaints() -> dict[str, str]:
    """Return every complaint that is known by its id, with the owner's words for it."""
    return {complaint.id: complaint.words for complaint in complaints()}


def in_owners_words(complaint: str) -> str:
    """Return what `thin-after-change@front` says; one that nobody knows as it is written."""
    id, _, where = complaint.partition("@")
    words = words_of_complaints().get(id, id.replace("-", " ")).rstrip(".")
    return f"{words} ({where})" if where else words


def complaint(name: str) -> Complaint:
    """Return the owner's words of that id; raises BadInputError that suggests the nearest."""
    return _entry(_tables().complaints, name, "complaint")


def tests() -> tuple[TestKind, ...]:
    """Return every test, in the order of the table."""
    return tuple(_tables().tests.values())


def test(name: str) -> TestKind:
    """Return the test of that id; raises BadInputError that suggests the nearest."""
    return _entry(_tables().tests, name, "test")


def word_table(name: str) -> WordTable:
    """Return the chances of the words of a test; raises BadInputError that suggests the nearest."""
    return _entry(_tables().words, name, "test")


def access(name: str) -> Access:
    """Return what it takes to open something.

    Args: name: `none`, `radio`, or the kind of the place whose trim comes off. Raises:
    BadInputError that suggests the nearest.
    """
    return _entry(_tables().access, name, "access")


def limit(name: str) -> Limit:
    """Return what the number of a test can be, or a figure of a sweep: `impedance-sweep peak`.

    Raises: BadInputError that suggests the nearest.
    """
    return _entry(_tables().limits, name, "limit")


def topologies() -> tuple[Topology, ...]:
    """Return every load that an unknown channel may have, in the order of the table."""
    return tuple(_tables().topologies.values())


def topology(name: str) -> Topology:
    """Return the load of that id; raises BadInputError that suggests the nearest."""
    return _entry(_tables().topologies, name, "topology")


def table_texts() -> dict[str, str]:
    """Return the texts of the files that came with the program, by file name."""
    return {name: data_text("stages.find", name) for name in _FILES}


def parse_tables(texts: Mapping[str, str]) -> Tables:
    """Read and check all tables.

    Args: texts: the text of each file, by file name.
    Raises: BadInputError that names the file, the row and what is wanted there.
    """
    answers = parse_answers(texts["answers.csv"])
    cautions = parse_cautions(texts["cautions.csv"])
    tests = _by_id(parse_tests(texts["tests.csv"], answers=answers, cautions=cautions))
    return Tables(
        faults=_by_id(parse_faults(texts["faults.csv"])),
        complaints=_by_id(parse_complaints(texts["complaints.csv"])),
        tests=tests,
        words=_word_tables(texts["yes_no.csv"], texts["words.csv"], tests),
        access=_by_id(parse_access(texts["access.csv"])),
        topologies=_by_id(parse_topologies(texts["topologies.csv"])),
        limits=parse_limits(texts["limits.csv"], tests=tests),
    )


class _Named(Protocol):
    @property
    def id(self) -> str: ...


N = TypeVar("N", bound=_Named)
T = TypeVar("T")


def _by_id(entries: Iterable[N]) -> dict[str, N]:
    return {entry.id: entry for entry in entries}


@cache
def _tables() -> Tables:
    own = own_texts(_FILES)
    try:
        return parse_tables(table_texts() | own)
    except BadInputError as error:
        if not own:
            raise
        raise BadInputError(f"{VARIABLE}: {error}") from None


def _entry(entries: Mapping[str, T], name: str, what: str) -> T:
    try:
        return entries[name]
    except KeyError:
        hint = known_names(name, entries)
        raise BadInputError(f'"{name[:80]}" is no {what}; {hint}') from None


# --- The chance of each word ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Split:
    """Into which words a sign splits, shares adding to 1, under each fault that has its own."""

    by_fault: Mapping[str, Chances]

    def under(self, fault: str) -> Chances:
        # A wrong word under a fault without a row of its own is a false alarm like any other.
        return self.by_fault.get(fault, self.by_fault[HEALTHY])


def _word_tables(yes_no: str, words: str, tests: Mapping[str, TestKind]) -> dict[str, WordTable]:
    signs = _signs(words, tests)
    rows = _yes_no_rows(yes_no, tuple(signs))
    tables = {}
    for name, test in tests.items():
        own = {sign: split for sign, split in signs.items() if _test_of(sign) == name}
        _hold_words(test, own)
        chance = {row.key: _chances(row, test, own) for row in rows}
        tables[name] = WordTable(
            test=name,
            words=test.words,
            normal=test.normal,
            chance={fault: chance[fault] for fault in FAULT_IDS},
            healthy=chance[HEALTHY],
        )
    return tables


def _signs(text: str, tests: Mapping[str, TestKind]) -> dict[str, _Split]:
    """Return the splits of words.csv by sign."""
    found: dict[str, dict[str, Chances]] = {}
    for row in read_rows(text, file="words.csv", columns=("sign", "fault", "split")):
        test = tests.get(_test_of(row.key))
        if test is None:
            row.fail("sign", f"it starts with a test; {known_names(_test_of(row.key), tests)}")
        splits = found.setdefault(row.key, {})
        fault = row.choice("fault", (HEALTHY, *FAULT_IDS))
        if fault in splits:
            row.fail("fault", "this sign has a row for it already")
        wrong = [answer.word for answer in test.answers if not answer.healthy]
        splits[fault] = _shares(row, wrong)
    for sign, splits in found.items():
        _hold_same_words(sign, splits)
    return {sign: _Split(splits) for sign, splits in found.items()}


def _shares(row: Row, words: list[str]) -> Chances:
    numbers = row.numbers("split", words)
    total = hold_sum(numbers.values(), where=row.where, what="the parts of split")
    return {word: number / total for word, number in numbers.items()}


def _hold_same_words(sign: str, splits: Mapping[str, Chances]) -> None:
    if HEALTHY not in splits:
        raise BadInputError(f"words.csv: {sign} has no row for {HEALTHY}")
    for fault, shares in splits.items():
        if set(shares) != set(splits[HEALTHY]):
            wanted = ", ".join(splits[HEALTHY])
            raise BadInputError(f"words.csv: {sign} under {fault} must split into {wanted}")


def _hold_words(test: TestKind, signs: Mapping[str, _Split]) -> None:
    """Hold that every wrong word of a test belongs to one of its signs."""
    split = [word for each in signs.values() for word in each.under(HEALTHY)]
    wrong = [answer.word for answer in test.answers if not answer.healthy]
    if sorted(split) != sorted(wrong):
        raise BadInputError(
            f"words.csv: the signs of {test.id} split into {', '.join(split) or 'nothing'}; each "
            f"of {', '.join(wrong)} is wanted once"
        )


def _yes_no_rows(text: str, signs: tuple[str, ...]) -> tuple[Row, ...]:
    file = "yes_no.csv"
    rows = read_rows(text, file=file, columns=("fault", *signs))
    one_of_each(rows, file=file, known=(*FAULT_IDS, HEALTHY))
    return rows


def _chances(row: Row, test: TestKind, signs: Mapping[str, _Split]) -> Chances:
    """Return the chance of each word of a test in one row of yes_no.csv."""
    chance = {
        word: row.share(sign) * part
        for sign, split in signs.items()
        for word, part in split.under(row.key).items()
    }
    rest = 1.0 - fsum(chance.values())
    if rest < -TINY:
        total = ", ".join(f"{sign} {row.cells[sign]}" for sign in signs)
        raise BadInputError(f"{row.where}: {total} are more than 100 together")
    chance[test.normal] = rest if rest > TINY else 0.0
    return {word: chance[word] for word in test.words}


def _test_of(sign: str) -> str:
    return sign.partition(" ")[0]
