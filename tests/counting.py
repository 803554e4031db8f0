"""How often a job's text is parsed, and its parts are checked, while something is done."""

import tomllib
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
import tomlkit

from conewright.job.builds.job import Job
from conewright.job.document.parts import Table


def counted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Return what is counted from now on, none of it with a zero.

    parsed: texts read as TOML; edited: texts opened to be changed in place; whole: jobs checked;
    parts: parts of jobs checked alone; dictionaries: whole jobs turned into plain values.
    """
    work: Counter[str] = Counter()

    def counting(word: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def count(*args: Any, **more: Any) -> Any:
            work[word] += 1
            return real(*args, **more)

        return count

    def check(table: type[Table], *args: Any, **more: Any) -> Any:
        work["whole" if table is Job else "parts"] += 1
        return real_check(table, *args, **more)

    # What is bound to the class it is called on.
    real_check = Table.model_validate.__func__  # type: ignore[attr-defined]
    monkeypatch.setattr(tomllib, "loads", counting("parsed", tomllib.loads))
    monkeypatch.setattr(tomlkit, "parse", counting("edited", tomlkit.parse))
    monkeypatch.setattr(Job, "to_dict", counting("dictionaries", Job.to_dict))
    monkeypatch.setattr(Table, "model_validate", classmethod(check))
    return work


def parts_changed(job: Job) -> int:
    """Return how many parts all proposals together change."""
    return sum(
        old != new
        for proposal in job.proposals
        for name in ("seats", "channels", "locations", "drivers", "feeds")
        for old, new in zip(
            getattr(job, name), getattr(job.with_proposal(proposal.id), name), strict=True
        )
    )
