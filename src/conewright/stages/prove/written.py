"""Recordings and the readings that they make, written into the text of a job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from conewright.errors import BadInputError
from conewright.job.text.editing import with_values
from conewright.job.text.parsing import Format, loads
from conewright.job.text.readings import with_reading, with_recording
from conewright.stages.report.data import Report

__all__ = ["NamedFile", "with_heard"]


class NamedFile(Protocol):
    """A file that was listened to: a recording, a curve, or what is known of one."""

    @property
    def name(self) -> str:
        """Name of the file as it came."""

    @property
    def sha256(self) -> str:
        """SHA-256 of its bytes."""


def with_heard(
    text: str,
    format: Format,
    *,
    report: Report,
    recordings: Sequence[NamedFile],
    at: str,
    side: str = "",
    when: str = "",
    volume: str = "",
    details: Mapping[str, str] | None = None,
    note: str = "",
) -> str:
    """Return the text of a job with recordings, and the readings that they make.

    Args:
        text, format: of the job.
        report: of `listen` about these recordings.
        recordings: in their order.
        at: where they were made.
        side: that played; nothing leaves it out, as with the next three.
        when: `before`, `after` or a day.
        volume: where it stood.
        details: what no recording tells, as `listen` was given it.
        note: anything else.

    Raises:
        BadInputError: there is no place for them in this text.
        JobError: it is no job.

    Values that were measured on the bench take the place of the sheet's, and of what follows from
    those. A recording that the job has already keeps its id; a reading of the same test and place
    is replaced.
    """
    test = report.title
    known = {each.sha256: each.id for each in loads(text, format=format).recordings}
    for take, recording in enumerate(recordings, start=1):
        id = known.get(recording.sha256) or _free(set(known.values()), f"{test}-{at}")
        known[recording.sha256] = id
        told = {
            "id": id,
            "file": recording.name,
            "sha256": recording.sha256,
            "test": test,
            "at": at,
            "side": side,
            "when": when,
            "take": take if len(recordings) > 1 else 0,
            "volume": volume,
            "details": dict(details or {}),
            "note": note,
        }
        entry = {name: value for name, value in told.items() if value}
        text = with_recording(text, format, entry=entry)
    for reading in report.heard:
        text = with_reading(
            text,
            format,
            test=reading.test,
            at=reading.at,
            value=reading.value,
            recordings=[known[sha] for sha in reading.recordings if sha in known],
            odds=reading.odds,
        )
    return _with_values(text, format, report)


FOLLOWING = ("qts", "cms", "rms", "bl", "vas", "sensitivity")
"""What a sheet says that follows from what was measured, and would speak against it."""


def _with_values(text: str, format: Format, report: Report) -> str:
    """Return a text with values that were measured on the bench in their places."""
    if not report.values:
        return text
    if format != "toml":
        raise BadInputError("values of a driver are written into a job in TOML only")
    values: dict[str, object] = {each.path: each.text for each in report.values}
    driver = report.values[0].path.partition(".")[0]
    sheet = loads(text).driver(driver)
    values |= {
        f"{driver}.{name}": None for name in FOLLOWING if getattr(sheet, name, None) is not None
    }
    return with_values(text, values)


def _free(taken: set[str], wanted: str) -> str:
    number = 1
    while f"{wanted}-{number}" in taken:
        number += 1
    return f"{wanted}-{number}"
