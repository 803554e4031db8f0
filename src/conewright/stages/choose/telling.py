"""The answer of choose: figures, verdicts and the sentence, from what was found and looked at."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from conewright.job.builds.states.value import Origin
from conewright.job.quantity.units import to_unit
from conewright.phrases import capital, counted, listed
from conewright.stages.choose.finals.finalists import Finalist, unsafe
from conewright.stages.choose.finals.plan_answers import (
    BEST,
    DO_NOTHING,
    FIX_ONLY,
    RECOMMENDED,
    Choice,
    PlanAnswer,
)
from conewright.stages.choose.measuring import first_reading
from conewright.stages.choose.plans import (
    Told,
    behind,
    front_steps,
    plans_of,
    recommended_of,
    title_of,
)
from conewright.stages.choose.space.gates import MOST_TOLD
from conewright.stages.common.load import EASY
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.having import may_have
from conewright.stages.report.words import number

__all__ = ["GATES", "Told", "told"]

GATES: Mapping[str, str] = {
    "incomplete": "not told well enough to be judged",
    "restraint": "shut in by a restraint part",
    "tweeter": "a tweeter where the whole range is played",
    "price": "without a price",
    "currency": "priced in another currency",
    "stock": "not to be had in time",
    "hole": "wrong for the opening",
    "unmeasured": "larger than what was there, in a place that nobody measured",
    "fit-behind": "too deep behind",
    "fit-front": "too high in front",
}
PLAN_GATES: Mapping[str, str] = {
    "load": "load a channel below what it bears",
    "heat": "let the radio's chip protect itself",
    "travel": "let a cone meet its end",
    "stages": "are stopped by a stage",
}
"""What gates reject, in words."""


def told(given: Told) -> Choice:
    """Return the answer."""
    finalists = {each.id: each for each in given.panel.finalists}
    best = next(
        (
            each
            for each in finalists.values()
            if each.shown.found == given.outcome.best and each.shown.found is not None
        ),
        None,
    )
    recommended = recommended_of(given, best)
    answer = Answer("choose", given.panel.found, None, given.panel.draws)
    plans = plans_of(given, best, recommended)
    for plan in plans:
        for role in dict.fromkeys((plan.id, *plan.roles)):
            _figures(answer, given, finalists[_source(plan, finalists)], plan, role)
    _counts(answer, given)
    reading = first_reading(given.panel, [f for f in finalists.values() if f.shown.found])
    reading.tell(answer, given.outcome.front, given.space.job)
    _verdicts(answer, given, best, recommended, finalists)
    answer.sentence = _sentence(given, best, recommended, finalists)
    _working(answer, given, best)
    report = answer.report(headlines={})
    looked = [each for each in (best, recommended) if each is not None]
    cautions = {c.text: c for c in report.cautions}
    for each in looked:
        cautions |= {c.text: c for r in each.reports for c in r.cautions}
    return Choice.model_validate(
        {
            **dict(report),
            "cautions": tuple(cautions.values()),
            "plans": plans,
            "front": tuple(front_steps(given.outcome.front, finalists)),
            "quicker": tuple(front_steps(given.outcome.quicker, finalists)),
            "rejected": given.space.rejected[:MOST_TOLD],
        }
    )


def _source(plan: PlanAnswer, finalists: Mapping[str, Finalist]) -> str:
    return next(each for each in (plan.id, *plan.roles) if each in finalists)


# --- Figures --------------------------------------------------------------------------------------


def _figures(answer: Answer, given: Told, each: Finalist, plan: PlanAnswer, subject: str) -> None:
    none = "nothing plays" if each.value is None else None
    answer.figure(
        subject, "value", each.values, unit="points", label="worth, of 100 points", text=none
    )
    answer.figure(
        subject,
        "careful_value",
        plan.careful_value,
        unit="points",
        label="worth with every change at the low end of its band",
        text=none,
    )
    for wish, points in plan.points.items():
        answer.figure(
            subject,
            f"points_{wish}",
            points,
            unit="points",
            label=f"of these for {wish.replace('_', '-')}",
        )
    for name, wish, words in (
        ("bass_change", "bass", "change from 40 to 100 Hz"),
        ("max_clean_level_change", "loudness", "change of the loudest clean level"),
        ("treble_change", "clarity", "change from 3.15 to 16 kHz"),
    ):
        answer.figure(
            subject,
            name,
            each.changes.get(wish),
            unit="dB",
            kind=Kind.CHANGE,
            label=words,
            text=none,
        )
    _outlay_figures(answer, given, each, subject)
    _limit_figures(answer, each, plan, subject)
    answer.figure(
        subject,
        "better_odds",
        plan.better_odds,
        unit="",
        kind=Kind.ODDS,
        label="chance that it is worth more than the next best"
        if BEST in plan.roles
        else "chance that it is worth more than the best",
        text=None if plan.better_odds is not None else "not compared",
    )


def _outlay_figures(answer: Answer, given: Told, each: Finalist, subject: str) -> None:
    total, hours = each.taken.total, each.taken.hours
    answer.figure(
        subject,
        "money",
        total.typical,
        unit=given.currency,
        kind=Kind.MONEY,
        label="work, parts and what is kept for surprises",
        origin=None if total.low == total.high else Origin.TYPICAL,
        band=(total.low, total.high),
        text=f"without {'; '.join(each.taken.unpriced)}" if each.taken.unpriced else None,
    )
    answer.figure(
        subject,
        "hours",
        hours.typical,
        unit="h",
        kind=Kind.TIME,
        label="work",
        origin=None if hours.low == hours.high else Origin.TYPICAL,
        band=(hours.low, hours.high),
    )


def _limit_figures(answer: Answer, each: Finalist, plan: PlanAnswer, subject: str) -> None:
    live = [load.minimum_impedance for load in each.load.live.values()]
    answer.figure(
        subject,
        "minimum_load",
        np.min(np.stack(np.broadcast_arrays(*live)), axis=0) if live else None,
        unit="ohm",
        label="lowest impedance of all channels",
        text=None if live else "nothing plays",
    )
    there = may_have(each.build, "output-chip")
    celsius = to_unit(each.load.chip_temperature(EASY), dimension="temperature", unit="degC")
    answer.figure(
        subject,
        "chip_temperature",
        np.asarray(celsius) if there else None,
        unit="degC",
        label="the radio's chip, loud music",
        text=None if there else "no output chip",
    )
    answer.figure(
        subject,
        "travel",
        each.travel,
        unit="",
        label="peak travel over Xmax as loud as the radio goes, worst place",
    )
    near = each.shown.found is not None and each.shown.passed is None
    odds = None if near and RECOMMENDED not in plan.roles else each.fit_odds
    answer.figure(
        subject,
        "fit_odds",
        odds,
        unit="",
        kind=Kind.ODDS,
        label="chance that some place is tighter than it should be",
        text=None if odds is not None else "not judged",
    )


def _counts(answer: Answer, given: Told) -> None:
    search, space, outcome = given.search, given.space, given.outcome
    for name, count, label in (
        ("options", float(space.options), "options of all groups"),
        ("plans", space.plans, "whole plans of these"),
        ("plans_checked", float(search.tally.checked), "plans worked out exactly"),
        ("looked_at", float(space.counts.get("looked-at", 0)), "parts looked at, place by place"),
    ):
        answer.figure("choice", name, count, unit="", kind=Kind.COUNT, label=label)
    answer.figure(
        "choice",
        "proved_gap",
        given.outcome.gap,
        unit="points",
        label="no plan within the limits is worth more than the best by more than this",
    )
    for gate, words in GATES.items():
        rejected = space.counts.get(gate)
        if rejected:
            answer.figure(
                "choice", f"rejected_{gate}", rejected, unit="", kind=Kind.COUNT, label=words
            )
    broken = {**search.tally.rejected, "stages": len(outcome.stopped)}
    for gate, words in PLAN_GATES.items():
        if broken.get(gate):
            answer.figure(
                "choice",
                f"plans_rejected_{gate}",
                broken[gate],
                unit="",
                kind=Kind.COUNT,
                label=f"plans that {words}",
            )
    if given.rules.limits.money is not None:
        answer.figure(
            "choice",
            "money_limit",
            given.rules.limits.money,
            unit=given.currency,
            kind=Kind.MONEY,
            label="most that a plan may cost",
        )
    if given.rules.limits.hours is not None:
        answer.figure(
            "choice",
            "hours_limit",
            given.rules.limits.hours,
            unit="h",
            kind=Kind.TIME,
            label="most hours that a plan may take",
        )
    for more, found in outcome.more.items():
        gained = found.value - (outcome.best.value if outcome.best else 0.0)
        answer.figure(
            "choice",
            f"next_{more}_value",
            gained,
            unit="points",
            kind=Kind.CHANGE,
            label=f"what {more} {given.currency} more would buy".replace("  ", " "),
        )


# --- Words ----------------------------------------------------------------------------------------


def _verdicts(
    answer: Answer,
    given: Told,
    best: Finalist | None,
    recommended: Finalist | None,
    finalists: Mapping[str, Finalist],
) -> None:
    nothing = finalists[DO_NOTHING]
    if nothing.broken:
        answer.verdict(
            DO_NOTHING,
            "breaks",
            Severity.WARN,
            f"As it is, {listed(list(nothing.broken[:3]))}.",
            f"{DO_NOTHING}.minimum_load",
        )
    if best is None:
        answer.verdict("choice", "none", Severity.STOP, _none_meets(given, finalists))
        return
    ends = best.at_the_ends
    if ends:
        text = f"The best plan holds its limits as a rule; {'; '.join(ends)}."
        answer.verdict(BEST, "limits", Severity.NOTE, capital(text), f"{BEST}.money")
    else:
        text = "The best plan holds all limits, at the ends of the bands too."
        answer.verdict(BEST, "limits", Severity.GOOD, text, f"{BEST}.money")
    if recommended is not None and recommended is not best:
        why = unsafe(best) or (behind(best, recommended),)
        answer.verdict(
            RECOMMENDED,
            "differs",
            Severity.NOTE,
            f"The plan with most points is not the recommended one: {'; '.join(why)}.",
            f"{RECOMMENDED}.careful_value",
            f"{BEST}.careful_value",
        )
    if _is_fix(best):
        answer.verdict(
            BEST,
            "enough",
            Severity.NOTE,
            "To mend what is broken is enough: nothing that may be bought is worth more.",
            f"{BEST}.value",
        )
    if given.rules.unasked:
        answer.verdict(
            "choice",
            "unasked",
            Severity.NOTE,
            "Nobody said what is wished, so bass alone counts: write it under [wishes].",
        )
    left = [fault for fault in given.space.faults if fault in given.space.left]
    if left:
        answer.verdict(
            "choice", "left", Severity.WARN, f"Left as found by every plan: {listed(left)}."
        )


def _is_fix(best: Finalist) -> bool:
    plan = best.shown.plan
    return plan is not None and all(
        name.startswith("as-found") and not change.set for _, name, _, change in plan.choices
    )


def _none_meets(given: Told, finalists: Mapping[str, Finalist]) -> str:
    fix, limits = finalists.get(FIX_ONLY), given.rules.limits
    if fix is not None:
        total, hours = fix.taken.total.typical, fix.taken.hours.typical
        if limits.money is not None and total > limits.money:
            return (
                f"No plan meets the limits: to mend what is broken alone costs "
                f"{number(total, spread=1.0)} {given.currency}, and {number(limits.money)} is the "
                "most. Nothing was chosen."
            )
        if limits.hours is not None and hours > limits.hours:
            return (
                f"No plan meets the limits: to mend what is broken alone takes "
                f"{number(hours, 'h')}, and {number(limits.hours, 'h')} is the most."
            )
    broken = given.search.tally.rejected
    if broken:
        worst = max(broken, key=broken.__getitem__)
        return (
            f"No plan meets the limits: of {counted(given.search.tally.checked, 'plan')} that were "
            f"worked out {counted(broken[worst], 'plan')} {PLAN_GATES[worst]}."
        )
    asfound = finalists[DO_NOTHING].broken
    if asfound:
        return (
            f"No plan meets the limits: {asfound[0]}, and with what may be changed, and for this "
            "money and time, that stays so. Allow more to be changed, wiring first."
        )
    return "No plan meets the limits: give more money or hours, or allow more to be changed."


def _sentence(
    given: Told,
    best: Finalist | None,
    recommended: Finalist | None,
    finalists: Mapping[str, Finalist],
) -> str:
    nothing = finalists[DO_NOTHING]
    if best is None or recommended is None:
        return _none_meets(given, finalists)
    each = recommended
    cost = f"{each.taken.total.typical:.0f} {given.currency}".strip()
    text = f"For {cost} and {each.taken.hours.typical:.1f} h, {each.value:.0f} of 100 points"
    if nothing.value is not None:
        text += f" where nothing done has {nothing.value:.0f}"
    text += f". {title_of(each)}."
    if nothing.broken:
        text += f" As it is, {nothing.broken[0]}."
    for more, found in given.outcome.more.items():
        gained = found.value - (given.outcome.best.value if given.outcome.best else 0.0)
        if gained >= 0.1 and more == max(given.outcome.more):
            text += f" {more} {given.currency} more would buy {gained:.1f} points."
    return text


def _working(answer: Answer, given: Told, best: Finalist | None) -> None:
    if best is None or best.value is None:
        return
    weights = given.space.job.wishes.weights
    whole = sum(weights[name] for name in best.points)
    shares = " + ".join(f"{weights[name]} x {best.shares[name]:.3f}" for name in best.points)
    answer.work(
        f"{BEST}.value",
        "V = 100 sum(w u) / sum(w), u = (change - floor) / (goal - floor), from 0 to 1",
        f"100 ({shares}) / {whole} = {best.value:.2f}",
        "definition of the wishes; floors and goals: workshop choice, no source",
        "wishes",
    )
    seen: dict[str, int] = {}
    for each in given.space.rejected:
        seen[each.reason] = seen.get(each.reason, 0) + 1
        if seen[each.reason] <= 1 and each.number is not None:
            answer.work(
                f"choice.rejected_{each.reason}",
                GATES.get(each.reason, each.reason),
                f"{each.part} at {each.place}: {each.words}",
                "gate of the search, the first part that it rejects",
            )
