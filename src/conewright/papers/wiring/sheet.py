"""The wiring sheet as a PDF: schedule, diagram, joints, supply, what the old radio carried."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from conewright.data_files import data_rows
from conewright.papers.press.head import head
from conewright.papers.press.supply_plan import FeedPlan, SupplyPlan, said_of_cable
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.wiring.diagram import diagrams
from conewright.papers.wiring.losses import losses
from conewright.papers.wiring.schedule import Schedule, has_usual_leads, schedule
from conewright.phrases import capital
from conewright.stages.report.care import cautions_for
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.papers.press.answers import Answers
    from conewright.stages.report.data import Figure, Verdict

__all__ = ["wiring_data", "wiring_sheet"]

TITLE = "Wiring"
CAUTIONS = (
    "restraints-plan",
    "impact-sensor-plan",
    "curtain",
    "battery",
    "battery-plus",
    "floating",
    "shared-return",
    "fuse",
    "defer",
)
DIGITS = {"V": 2, "degC": 0, "short_circuit_current": 0, "short_circuit_ratio": 1}
"""Decimals of a cable's figures by name or unit; three significant digits otherwise."""

FUNCTION_WORDS = {"plus": "+", "minus": "−"}


def wiring_sheet(answers: Answers, *, paper: Paper = "A4", revision: str | None = None) -> bytes:
    """Return the wiring sheet of a plan as a PDF; the same job gives the same bytes.

    Args:
        answers: what the stages say of the plan.
        paper: what it is printed on.
        revision: as the keeper of the job calls it; a fingerprint of the job when None.

    """
    plan = schedule(answers.build)
    drawn = diagrams(answers.build, plan)
    files = {f"channel-{index}.svg": each.svg for index, each in enumerate(drawn)}
    data = wiring_data(answers, plan, revision=revision)
    data["diagrams"] = [
        {"file": name, "title": each.title, "width_mm": each.width_mm}
        for name, each in zip(files, drawn, strict=True)
    ]
    return typeset("wiring.typ", data, files=files, paper=paper)


def wiring_data(answers: Answers, plan: Schedule, *, revision: str | None = None) -> dict[str, Any]:
    """Return what stands on the wiring sheet beside its drawings, as plain data."""
    build = answers.build
    lost = losses(build)
    return {
        "head": head(build, TITLE, revision=revision),
        "notes": list(plan.notes),
        "cautions": [each.text for each in cautions_for("make", build) if each.id in CAUTIONS],
        "pairs": [asdict(row) for row in plan.conductors if row.sign],
        "controls": [asdict(row) for row in plan.conductors if not row.sign],
        "unknown": list(plan.unknown),
        "usual": [list(_usual(pairs=pairs)) for pairs in (False, True)]
        if has_usual_leads(build)
        else [],
        "splices": [asdict(each) for each in plan.splices],
        "supply": _supply(answers.supply),
        "losses": {
            "show": bool(lost.rows)
            and (lost.radio_changes or build.job.head_unit.carries is not None),
            "radio_changes": lost.radio_changes,
            "rows": [asdict(row) for row in lost.rows],
        },
    }


def _usual(*, pairs: bool) -> Iterator[dict[str, str]]:
    """Yield the usual colours of the supply's leads, or of those of the pairs."""
    for row in data_rows("papers", "lead_colours.csv"):
        if bool(row["corner"]) is not pairs:
            continue
        name = f"{row['corner']} {FUNCTION_WORDS.get(row['function'], row['function'])}"
        yield {"name": name.strip().replace("-", " "), "colour": row["colour"]}


def _supply(plan: SupplyPlan) -> dict[str, Any]:
    return {
        "feeds": [
            {
                "title": f"{each.cable.id}: {each.rating} at the source, {each.size}",
                "rows": list(_figures(each)),
                "findings": [_finding(verdict) for verdict in each.verdicts],
            }
            for each in plan.feeds
        ],
        "refusals": [{"subject": subject, "text": text} for subject, text in plan.refused],
        "unwritten": plan.unwritten,
        "notes": list(plan.notes),
        "drain": plan.drain
        and {
            **_finding(plan.drain),
            "charge": with_band(plan.charge),
            "source": "; ".join(each.text for each in (plan.current, plan.charge) if each.text),
        },
    }


def _finding(verdict: Verdict) -> dict[str, str]:
    return {"severity": verdict.severity.value, "text": said_of_cable(verdict)}


def _figures(plan: FeedPlan) -> Iterator[dict[str, str]]:
    """Yield the lines of a cable's table: what was written down, then feed's figures."""
    cable = plan.cable
    assert cable.length is not None
    colour = f", {plan.colour}" if plan.colour else ""
    yield _row("Fuse at the source end", f"{plan.rating}{colour}")
    length = number(cable.length.si, "m")
    yield _row("Cable", f"{plan.size}, {plan.metal}, {length} one way, {cable.route}")
    for figure in plan.figures.values():
        if figure.name == "fuse" or figure.value is None or figure.name.endswith("_most"):
            continue
        value, most = _said(figure), plan.figures.get(f"{figure.name}_most")
        yield _row(capital(figure.label), value, "" if most is None else _said(most))


def _said(figure: Figure) -> str:
    assert figure.value is not None
    digits = DIGITS.get(figure.name, DIGITS.get(figure.unit))
    return number(figure.value if digits is None else round(figure.value, digits), figure.unit)


def _row(name: str, value: str, most: str = "") -> dict[str, str]:
    return {"name": name, "value": value, "most": most}
