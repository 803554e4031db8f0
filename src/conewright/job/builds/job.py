"""The job as one works with it: the document, and the states of the vehicle it describes."""

from __future__ import annotations

from dataclasses import replace

from conewright.job.builds.building import build_job
from conewright.job.builds.state import Build
from conewright.job.document.document import Document
from conewright.job.document.lists import LISTS, counts_in_words
from conewright.job.plausible.doubts import Doubt, doubts_of
from conewright.job.proposals import apply_proposal
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
        ['head_unit.supply: is it really 45 V? Usual is 10.5 to 29 V.']
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

    def with_proposal(self, name: str) -> Job:
        """Return the job with one of its proposals carried out; raises JobError."""
        return apply_proposal(self, name)
