"""The tests that recordings are made for: where, with which sounds, how many, in which order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from conewright.data_files import data_rows
from conewright.errors import BadInputError
from conewright.job.document.paths import known_names

__all__ = ["RecordedTest", "recorded_test", "recorded_tests", "test_of"]


@dataclass(frozen=True, slots=True)
class RecordedTest:
    """A test that is answered by recordings.

    at: kinds of place it is done at. sounds: what is played, nothing for a call. fewest, most: how
    many recordings it takes; order: what each of them is.
    """

    id: str
    title: str
    at: tuple[str, ...]
    sounds: tuple[str, ...]
    fewest: int
    most: int
    order: str


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
        )
        for row in data_rows("stages.prove", "recorded_tests.csv")
    }


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part for part in text.split("; ") if part)
