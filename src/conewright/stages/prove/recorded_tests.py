"""The tests that recordings are made for: where, with which sounds, how many, in which order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from conewright.data_files import data_rows
from conewright.errors import BadInputError
from conewright.job.document.paths import known_names

__all__ = [
    "HeardInstead",
    "RecordedTest",
    "heard_instead",
    "recorded_test",
    "recorded_tests",
    "test_of",
]


@dataclass(frozen=True, slots=True)
class RecordedTest:
    """A test that is answered by recordings.

    at: kinds of place it is done at. sounds: what is played, nothing for a call. fewest, most: how
    many recordings it takes; order: what each of them is. details: names of what no recording
    tells that it may need. phone: where the phone lies, or what records instead.
    """

    id: str
    title: str
    at: tuple[str, ...]
    sounds: tuple[str, ...]
    fewest: int
    most: int
    order: str
    details: tuple[str, ...]
    phone: str


@dataclass(frozen=True, slots=True)
class HeardInstead:
    """A reading that a recording can make instead of an ear or a meter.

    test: that is recorded. sound: what is best played for it, nothing where none is.
    """

    test: RecordedTest
    sound: str


def recorded_test(name: str) -> RecordedTest:
    """Return the test of that name; raises BadInputError for one that nobody knows."""
    known = recorded_tests()
    if name not in known:
        raise BadInputError(f'as: found "{name}"; {known_names(name, known)}')
    return known[name]


def test_of(sound: str) -> RecordedTest | None:
    """Return the test that a sound is most often played for."""
    return next((each for each in recorded_tests().values() if sound in each.sounds), None)


@cache
def recorded_tests() -> Mapping[str, RecordedTest]:
    """Return every test, by its id."""
    return {
        row["test"]: RecordedTest(
            id=row["test"],
            title=row["title"],
            at=_listed(row["at"]),
            sounds=_listed(row["sounds"]),
            fewest=int(row["fewest"]),
            most=int(row["most"]),
            order=row["order"],
            details=_listed(row["details"]),
            phone=row["phone"],
        )
        for row in data_rows("stages.prove", "recorded_tests.csv")
    }


def heard_instead(reading: str) -> HeardInstead | None:
    """Return what can be recorded instead of a reading of find; None for most."""
    return _instead().get(reading)


@cache
def _instead() -> Mapping[str, HeardInstead]:
    return {
        row["reading"]: HeardInstead(recorded_test(row["test"]), row["sound"])
        for row in data_rows("stages.prove", "heard_instead.csv")
    }


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part for part in text.split("; ") if part)
