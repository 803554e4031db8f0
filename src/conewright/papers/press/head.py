"""The running head of every sheet: which job, which state of it, which sheet."""

from __future__ import annotations

import json
from hashlib import sha256

from conewright.job.builds.states.build import Build

__all__ = ["fingerprint", "head"]

LETTERS_OF_HASH = 8
UNTITLED = "Job without a title"


def fingerprint(build: Build) -> str:
    """Return a few letters that change whenever anything in the job does."""
    text = json.dumps(build.job.to_dict(), sort_keys=True, ensure_ascii=False)
    return sha256(text.encode()).hexdigest()[:LETTERS_OF_HASH]


def head(build: Build, sheet: str, *, revision: str | None = None) -> dict[str, str]:
    """Return what stands on top of each page of a sheet, for `d.head` of base.typ.

    Args:
        build: what the paper is about.
        sheet: title of the sheet.
        revision: as the keeper of the job calls it; a fingerprint of the job when None.

    """
    return {
        "job": build.job.about.title or build.vehicle.name or UNTITLED,
        "state": build.id if build.title == build.id else f"{build.id}: {build.title}",
        "revision": revision or f"job {fingerprint(build)}",
        "sheet": sheet,
    }
