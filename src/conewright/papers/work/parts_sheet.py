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
            "drivers": _amount(made.sum_of("driver")),
            "materials": _amount(made.sum_of("material")),
            "work": _amount(made.sum_of("work")),
            "contingency": _amount(made.sum_of("contingency")),
            "total": _amount(made.total),
        },
        "hours": _amount(made.hours, digits=1),
        "rate": made.rate,
        "surprises": [
            {
                "title": each.title,
                "chance": odds(each.chance),
                "hours": _amount(each.hours, digits=1),
                "cost": _amount(each.cost),
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
    plain["cost"] = _amount(line.cost)
    return plain


def _amount(amount: Amount, *, digits: int = 0) -> dict[str, str]:
    """Write an amount; below ten to a tenth, so that small parts do not vanish."""
    places = max(digits, 1) if amount.high < 10.0 else digits
    return {
        "low": f"{amount.low:.{places}f}",
        "typical": f"{amount.typical:.{places}f}",
        "high": f"{amount.high:.{places}f}",
    }
