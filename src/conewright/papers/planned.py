"""The job as it stands once a proposal is carried out: what the papers read beside the build."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conewright.job.document import Job, Reading
    from conewright.job.state import Build

__all__ = ["last_reading", "planned_job"]


def planned_job(build: Build) -> Job:
    """Return the job with the build's proposal applied; the job itself as found."""
    return build.job if build.proposal is None else build.job.with_proposal(build.proposal)


def last_reading(build: Build, test: str, at: str) -> Reading | None:
    """Return the latest reading of a test at a place, None where none was taken."""
    found = [reading for reading in build.job.readings if (reading.test, reading.at) == (test, at)]
    return found[-1] if found else None
