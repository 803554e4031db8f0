"""What choose answers beside the report: plans, what money buys, what was rejected, the search."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from conewright.stages.choose.space.gates import Rejection
from conewright.stages.report.data import Report

__all__ = [
    "BEST",
    "DO_NOTHING",
    "FIX_ONLY",
    "RECOMMENDED",
    "CatalogueUsed",
    "Choice",
    "Chosen",
    "FrontStep",
    "PlanAnswer",
    "Rejection",
    "SearchTold",
]

BEST, RECOMMENDED, DO_NOTHING, FIX_ONLY = "best", "recommended", "do-nothing", "fix-only"
"""What a plan of the answer can be, besides `front-1`, `quicker-1`, `near-1`, `next-20`, `next-50`
and the proposals that the job has already, each under its own id."""


class _Data(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Chosen(_Data):
    """The option that a plan takes of one group."""

    id: str = Field(description="Of the option; as-found where nothing is changed.")
    words: str = Field(description="What it is, in a few plain words.")
    where: str = Field("", description="What its group is called, `front doors`; empty for its id.")
    set: dict[str, JsonValue] = Field(description="What it changes, as a proposal says it.")
    add: dict[str, JsonValue] = Field(
        default_factory=dict, description="What it adds to lists of the job, as a proposal says it."
    )
    buy: dict[str, float] = Field(description="Ids of parts, and how many of each.")


class PlanAnswer(_Data):
    """One whole plan: what it takes of every group, what it is worth, takes and breaks."""

    id: str = Field(description="best, recommended, do-nothing, fix-only, front-1, a proposal ...")
    roles: tuple[str, ...] = Field(description="Every id under which the same plan is told.")
    title: str = Field(description="What is done, in one line.")
    value: float | None = Field(description="Points of 100; null where the vehicle is silent.")
    careful_value: float | None = Field(
        None, description="The same with every figure at the careful end of its band."
    )
    better_odds: float | None = Field(
        None, description="Chance that it is worth more than the runner-up, 0 to 1."
    )
    money: float = Field(description="Of parts, work and what is kept for surprises, as a rule.")
    money_low: float = Field(description="The low end, as on the quote.")
    money_high: float = Field(description="The high end, as on the quote.")
    hours: float = Field(description="Of work, as a rule [h].")
    options: dict[str, Chosen] = Field(description="What it takes, by group.")
    points: dict[str, float] = Field(
        description="What each wish adds to the value, by its name: they add up to the value."
    )
    shares: dict[str, float] = Field(
        description="How much of each wish is fulfilled, 0 to 1, by its name."
    )
    cures: tuple[str, ...] = Field((), description="Faults that it ends, each as fault@place.")
    leaves: tuple[str, ...] = Field((), description="Established faults that it leaves as found.")
    breaks: tuple[str, ...] = Field((), description="Limits that it breaks, in words.")
    why_not: str | None = Field(None, description="Why it is not recommended; null where it is.")
    proposal: dict[str, JsonValue] = Field(
        default_factory=dict, description="The plan as an entry of `[[proposal]]`."
    )
    drivers: tuple[dict[str, JsonValue], ...] = Field(
        (), description="Drivers of the list that it fits, as entries of `[[driver]]`."
    )


class FrontStep(_Data):
    """The best that a limit of money or of hours allows: no plan with less is worth as much."""

    plan: str = Field(description="Id of the plan.")
    money: float = Field(description="What it costs.")
    hours: float = Field(description="What it takes [h].")
    value: float = Field(description="Points of 100.")


class CatalogueUsed(_Data):
    """The parts that were chosen from."""

    name: str = Field(description="What it is called.")
    version: int | None = Field(description="Its version in the store; null for a file.")
    sha256: str = Field(description="Of its content.")
    parts: int = Field(description="How many parts it has.")


class SearchTold(_Data):
    """How the answer was proved."""

    frames: int = Field(description="Ways to wire, turn and filter that were searched.")
    options: int = Field(description="Options of all groups, as found not counted.")
    plans: float = Field(description="Whole plans that may be put together of them.")
    bounded: float = Field(description="Of these, how many a bound ruled out.")
    checked: int = Field(description="How many were worked out exactly.")
    gap: float = Field(description="Points within which the best is proved.")
    bound: float | None = Field(
        description="The highest bound of what was not worked out; null where all was."
    )
    seconds: float = Field(description="Time that the search took [s of CPU].")


class Choice(Report):
    """The report of choose, with the plans behind it."""

    plans: tuple[PlanAnswer, ...] = Field((), description="The plans that are told, best first.")
    front: tuple[FrontStep, ...] = Field(
        (), description="What less money would buy, dearest first; the first is the best plan."
    )
    quicker: tuple[FrontStep, ...] = Field(
        (), description="What fewer hours would do, longest first; the first is the best plan."
    )
    rejected: tuple[Rejection, ...] = Field(
        (), description="Parts that do not go in, the first 200; figures have the full counts."
    )
    catalogue: CatalogueUsed | None = Field(None, description="The parts that were chosen from.")
    search: SearchTold | None = Field(None, description="How the answer was proved.")

    def plan_of(self, role: str) -> PlanAnswer:
        """Return the plan that is told under an id, `recommended` or `front-2`.

        Raises:
            KeyError: there is none.

        >>> import conewright as cw
        >>> job = cw.loads(cw.starter_text())
        >>> choice = cw.choose(job, cw.offer("invented"), money=150, may=("polarity",), samples=16)
        >>> choice.plan_of("do-nothing").title, choice.plan_of("do-nothing").money
        ('Nothing is done', 0.0)
        """
        for plan in self.plans:
            if role == plan.id or role in plan.roles:
                return plan
        raise KeyError(f"no plan {role!r}; there are {[plan.id for plan in self.plans]}")
