"""The parts list and the quote as a PDF, and the list beside it as CSV."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from conewright.papers.press.head import head
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.templates.drawings import Templates, drawings
from conewright.papers.wiring.schedule import schedule
from conewright.papers.work.bill import Bill, Line, bill
from conewright.papers.work.money import Amount
from conewright.papers.work.steps import work_steps
from conewright.stages.report.words import number, odds
from conewright.views.numbers import money

if TYPE_CHECKING:
    from conewright.papers.press.answers import Answers

__all__ = ["bill_of", "parts_data", "parts_sheet"]

TITLE = "Parts and quote"
NOT_SAID = ("note", "before", "power-up")
"""Steps that the owner is not told of one by one."""


def bill_of(answers: Answers, drawn: Templates | None = None) -> Bill:
    """Return the bill of a plan; `drawn` are its drawings, made here when None."""
    build = answers.build
    return bill(build, drawn or drawings(build), schedule(build), answers.supply)


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
    build = answers.build
    return {
        "head": head(build, TITLE, revision=revision),
        "plan": build.title,
        "vehicle": build.vehicle.name,
        "currency": made.currency,
        "drivers": [_line(line) for line in made.lines if line.kind == "driver"],
        "materials": [_line(line) for line in made.lines if line.kind == "material"],
        "work": [_line(line) for line in made.lines if line.kind == "work"],
        "contingency": [_line(line) for line in made.lines if line.kind == "contingency"],
        "sums": {
            "drivers": _sums(made.sum_of("driver")),
            "materials": _sums(made.sum_of("material")),
            "work": _sums(made.sum_of("work")),
            "contingency": _sums(made.sum_of("contingency")),
            "total": _sums(made.total),
        },
        "hours": _hours(made.hours),
        "rate": made.rate,
        "surprises": [
            {
                "title": each.title,
                "chance": odds(each.chance),
                "hours": _hours(each.hours),
                "cost": _sums(each.cost),
            }
            for each in made.surprises
        ],
        "chance": odds(made.chance),
        "alternates": list(made.alternates),
        "unpriced": list(made.unpriced),
        "exclusions": list(made.exclusions),
        "notes": list(made.notes),
        "verdict": made.verdict,
        "steps": [
            {"title": step.title, "where": step.where}
            for step in work_steps(build)
            if step.id not in NOT_SAID
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


def _hours(amount: Amount) -> dict[str, str]:
    return {name: f"{time:.1f}" for name, time in asdict(amount).items()}
