"""The job as one works with it: the document, and the states of the vehicle it describes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from conewright.errors import JobError
from conewright.job.builds.building import build_job
from conewright.job.builds.states.build import Build
from conewright.job.document.document import Document
from conewright.job.document.lists import LISTS, alike, counts_in_words, placed
from conewright.job.plausible.doubts import Doubt, doubts_of
from conewright.job.proposals import apply_proposal, whole_job
from conewright.shown import Shown

__all__ = ["Job"]

COUNTED = ("channel", "location", "driver", "seat", "reading", "proposal")


class Job(Shown, Document):
    """A job file: one vehicle on the bench, as found, with proposals to put it right."""

    @property
    def contents(self) -> str:
        """What is in it, counted: `4 channels, 8 locations, 2 proposals`."""
        return counts_in_words({name: LISTS[name].count(self) for name in COUNTED})

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What is asked back: values that seldom are so, of the job and of its proposals.

        >>> import conewright as cw
        >>> text = cw.starter_text().replace('supply = "13.8 V"', 'supply = "45 V"')
        >>> [doubt.text for doubt in cw.loads(text).doubts]
        ['head_unit.supply: is it really 45 V? Usual is 5.8 to 29 V.']
        """
        found = doubts_of(self.to_dict())
        asked = {(each.path, each.found) for each in found}
        for proposal in self.proposals:
            planned = doubts_of(self.with_proposal(proposal.id).to_dict())
            found += [
                replace(each, proposal=proposal.id)
                for each in planned
                if (each.path, each.found) not in asked
            ]
        return tuple(found)

    def build(self, proposal: str | None = None) -> Build:
        """Return the vehicle as found, or with a proposal applied, every gap filled.

        Raises: JobError for a proposal the job does not have, or a driver without enough figures.

        >>> import conewright as cw
        >>> cw.demo_job().build("put-right")
        <Build put-right: 4 channels, 8 locations, 2 seats; ... values filled in>
        """
        return build_job(self, proposal)

    def __repr__(self) -> str:
        """Return what the job is about and what is in it."""
        title = self.about.title or self.vehicle.name or "without a title"
        return f"<Job {title}: {self.contents}>"

    def with_reading(
        self, test: str, at: str, value: str | dict[str, str], *, beside: bool = False
    ) -> Job:
        """Return the job with a reading, in the place of an earlier one of that test there.

        Args:
            test: id of the test.
            at: where it was done.
            value: what it said: words, a value with its unit, or the values of a sweep.
            beside: keep the earlier one, as what was read has changed by itself.

        Raises: JobError for a place that the job does not have.

        >>> import conewright as cw
        >>> job = cw.demo_job().with_reading("coil-resistance", "door-fr", "open")
        >>> cw.find(job.build()).figure("cause.coil-open@door-fr").value > 0.2
        True
        """
        same = {} if beside else {"test": test, "at": at}
        return self._with("reading", {"test": test, "at": at, "value": value}, same)

    def without_reading(self, test: str, at: str) -> Job:
        """Return the job without its latest reading of a test at a place; raises KeyError."""
        return self._without("reading", {"test": test, "at": at})

    def with_finding(self, fault: str, at: str, *, state: str = "found", since: str = "") -> Job:
        """Return the job with a fault that is taken as established, or has been mended.

        Args:
            fault, at: what is wrong, and at which place, channel, or `vehicle`.
            state: `found` or `mended`.
            since: the reading it was taken from, or words.

        Raises: JobError for a fault that nobody knows, or one that cannot be at that place.

        >>> import conewright as cw
        >>> job = cw.demo_job().with_finding("coil-open", "door-fr")
        >>> [fault.id for fault in job.build("slim-fronts").faults]
        []
        """
        entry = {"fault": fault, "at": at, "state": state} | ({"since": since} if since else {})
        return self._with("finding", entry, {"fault": fault, "at": at})

    def without_finding(self, fault: str, at: str) -> Job:
        """Return the job without a finding; raises KeyError."""
        return self._without("finding", {"fault": fault, "at": at})

    def _with(self, name: str, entry: Mapping[str, Any], same: Mapping[str, Any]) -> Job:
        """Return the job with an entry of a list, in the place of the last that is the same."""
        tables = self.to_dict()
        entries = tables.get(name, [])
        index = next(reversed(alike(entries, same)), None)
        return _checked({**tables, name: placed(entries, entry, index)})

    def _without(self, name: str, same: Mapping[str, Any]) -> Job:
        tables = self.to_dict()
        entries = list(tables.get(name, []))
        there = alike(entries, same)
        if not there:
            raise KeyError("@".join(same.values()))
        del entries[there[-1]]
        return _checked({**tables, name: entries})

    def with_proposal(self, name: str) -> Job:
        """Return the job with one of its proposals carried out; raises JobError."""
        return apply_proposal(self, name)


def _checked(tables: Mapping[str, Any]) -> Job:
    job, problems = whole_job(tables, Job)
    if job is None or problems:
        raise JobError([each.problem for each in problems])
    return job
