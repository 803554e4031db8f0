"""The wiring sheet as a PDF: schedule, diagram, joints, supply, what the old radio carried."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from conewright.papers.press.data_rows import rows
from conewright.papers.press.head import head
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.wiring.diagram import diagrams
from conewright.papers.wiring.drain import Finding
from conewright.papers.wiring.losses import losses
from conewright.papers.wiring.schedule import Schedule, schedule
from conewright.papers.wiring.supply import FeedPlan, SupplyPlan, supply
from conewright.stages.report.care import cautions_for
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.papers.press.answers import Answers
    from conewright.papers.wiring.run import Range

__all__ = ["wiring_data", "wiring_sheet"]

TITLE = "Wiring"
CAUTIONS = ("restraints-plan", "curtain", "battery", "floating", "shared-return", "fuse", "defer")
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
        "usual": [list(_usual(pairs=pairs)) for pairs in (False, True)],
        "splices": [asdict(each) for each in plan.splices],
        "supply": _supply(supply(build, report=answers.feed)),
        "losses": {
            "show": lost.radio_changes or build.job.head_unit.carries is not None,
            "radio_changes": lost.radio_changes,
            "rows": [asdict(row) for row in lost.rows],
        },
    }


def _usual(*, pairs: bool) -> Iterator[dict[str, str]]:
    """Yield the usual colours of the supply's leads, or of those of the pairs."""
    for row in rows("lead_colours.csv"):
        if bool(row["corner"]) is not pairs:
            continue
        name = f"{row['corner']} {FUNCTION_WORDS.get(row['function'], row['function'])}"
        yield {"name": name.strip().replace("-", " "), "colour": row["colour"]}


def _supply(plan: SupplyPlan) -> dict[str, Any]:
    drain = plan.drain
    return {
        "feeds": [
            {
                "title": f"{cable.id}: {cable.run.fuse:g} A at the source, {cable.size}",
                "rows": list(_figures(cable)),
                "findings": [_finding(each) for each in cable.findings],
            }
            for cable in plan.feeds
        ],
        "refusals": [asdict(refusal) for refusal in plan.refusals],
        "unwritten": plan.unwritten,
        "notes": list(plan.notes),
        "drain": drain
        and {
            **_finding(drain.finding),
            "charge": number(drain.charge_ah, "Ah"),
            "source": drain.source,
        },
    }


def _finding(finding: Finding) -> dict[str, str]:
    return {"severity": finding.severity.value, "text": finding.text}


def _figures(cable: FeedPlan) -> Iterator[dict[str, str]]:
    """Yield the lines of a cable's table."""
    run = cable.run
    colour = f", {cable.fuse_colour}" if cable.fuse_colour else ""
    metal = run.metal.replace("-", " ")
    yield _row("Fuse at the source end", f"{run.fuse:g} A{colour}")
    yield _row("Along the cable to it", number(1e3 * cable.fuse_distance_m, "mm"))
    yield _row("Cable", f"{cable.size}, {metal}, {number(run.length, 'm')} one way, {run.route}")
    if cable.asked_a is not None:
        yield _row("Asked for at most", number(cable.asked_a, "A"))
    yield _ranged(f"Drop in the cable at {run.fuse:g} A", cable.drop_v, "V")
    if cable.music_drop_v is not None:
        yield _row("Drop with loud music", number(cable.music_drop_v, "V"))
    yield _ranged(f"At {run.fuse:g} A for good, alone in air of 40 °C", cable.free_c, "degC")
    yield _ranged(f"At {run.fuse:g} A for good, bundled in 60 °C", cable.bundled_c, "degC")
    yield _ranged(f"At {1.35 * run.fuse:.3g} A, as its fuse may hold", cable.overload_c, "degC")
    yield _row("Insulation is for", number(run.limit - 273.15, "degC"))
    yield _row("Dead short at the far end", f"{run.short_current:.0f} A")
    yield _row("That is, of the fuse's rating", f"{run.short_current / run.fuse:.1f} times")
    yield _row("The fuse ends it within", number(run.opening, "s"))
    yield _row("The insulation stands it for", number(run.withstand, "s"))


def _row(name: str, value: str, most: str = "") -> dict[str, str]:
    return {"name": name, "value": value, "most": most}


def _ranged(name: str, figure: Range, unit: str) -> dict[str, str]:
    digits = 2 if unit == "V" else 0
    return _row(
        name,
        number(round(figure.value, digits), unit),
        number(round(figure.most, digits), unit),
    )
