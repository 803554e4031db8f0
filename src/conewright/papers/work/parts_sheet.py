"""The parts list and the quote as a PDF, and the list beside it as CSV."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from conewright.papers.press.head import head
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.work.alternatives import Alternatives, alternatives
from conewright.papers.work.bill import Bill, bill, chosen_from
from conewright.phrases import capital
from conewright.stages.report.words import number, odds
from conewright.views.numbers import money

if TYPE_CHECKING:
    from conewright.papers.press.answers import Answers
    from conewright.stages.outlay.amounts import Amount, Line, LineKind

__all__ = ["bill_of", "hours_in_words", "parts_data", "parts_sheet"]

TITLE = "Parts and quote"
KINDS: dict[LineKind, str] = {
    "driver": "drivers",
    "radio": "radios",
    "material": "materials",
    "work": "work",
    "contingency": "contingency",
}
"""Kinds of line, and what the template calls them."""


def bill_of(answers: Answers) -> Bill:
    """Return the bill of a plan."""
    return bill(answers.build, answers.taken)


def parts_sheet(
    answers: Answers, made: Bill, *, paper: Paper = "A4", revision: str | None = None
) -> bytes:
    """Return the parts list and the quote as a PDF; the same job gives the same bytes.

    Args:
        answers: what the stages say of the plan.
        made: its bill.
        paper: what it is printed on.
        revision: as the keeper of the job calls it; a fingerprint of the job when None.

    """
    return typeset("parts.typ", parts_data(answers, made, revision=revision), paper=paper)


def parts_data(answers: Answers, made: Bill, *, revision: str | None = None) -> dict[str, Any]:
    """Return what stands on the parts list and the quote, as plain data."""
    build, taken = answers.build, made.taken
    of_kind = {kind: [_line(line) for line in taken.lines if line.kind == kind] for kind in KINDS}
    return {
        "head": head(build, TITLE, revision=revision),
        "plan": build.title,
        "vehicle": build.vehicle.name,
        "chosen_from": capital(chosen_from(taken)),
        "currency": taken.currency,
        **{name: of_kind[kind] for kind, name in KINDS.items()},
        "sums": {
            **{name: _sums(taken.sum_of(kind)) for kind, name in KINDS.items()},
            "total": _sums(taken.total),
        },
        "hours": hours_in_words(taken.hours),
        "rate": taken.rate,
        "surprises": [
            {
                "title": each.title,
                "chance": odds(each.chance),
                "hours": hours_in_words(each.hours),
                "cost": _sums(each.cost),
            }
            for each in taken.surprises
        ],
        "chance": odds(taken.chance),
        "alternates": list(made.alternates),
        "unpriced": list(taken.unpriced),
        "exclusions": list(made.exclusions),
        "notes": list(made.notes),
        "verdict": made.verdict,
        "choice": _choice(alternatives(build)),
        "steps": [{"title": step.title, "where": step.where} for step in taken.steps],
    }


def _choice(found: Alternatives) -> dict[str, Any]:
    """Return the plans to choose from, as plain data."""
    highest = max((plan.cost.high for plan in found.plans), default=0.0)
    return {
        "against": found.against,
        "undone": list(found.undone),
        "plans": [
            {
                **asdict(plan),
                "cost": {
                    name: money(each, highest=highest) for name, each in asdict(plan.cost).items()
                },
                "hours": hours_in_words(plan.hours),
            }
            for plan in found.plans
        ],
    }


def _line(line: Line) -> dict[str, Any]:
    plain = asdict(line)
    several = "s" if line.unit == "piece" and line.quantity != 1 else ""
    plain["quantity"] = number(line.quantity, line.unit) + several
    plain["cost"] = _sums(line.cost)
    return plain


def _sums(amount: Amount) -> dict[str, str]:
    return {name: money(each, highest=amount.high) for name, each in asdict(amount).items()}


def hours_in_words(amount: Amount) -> dict[str, str]:
    """Return hours to a tenth: low, as a rule and high."""
    return {name: f"{time:.1f}" for name, time in asdict(amount).items()}
