"""A choice made by hand for the demo, in the place of one that takes seconds to work out."""

from hashlib import sha256

from conewright.catalogue.offer import Offer
from conewright.job.builds.states.value import Origin
from conewright.stages.choose.finals.plan_answers import (
    CatalogueUsed,
    Choice,
    Chosen,
    FrontStep,
    PlanAnswer,
    Rejection,
    SearchTold,
)
from conewright.stages.report.data import Caution, Figure, Severity, Verdict, Working
from conewright.web.desk.choosing import ChoiceAnswer, Manner

__all__ = ["choice_by_hand", "worked_out"]

KEPT = Chosen(id="as-found", words="as found", set={}, buy={})
TURNED = Chosen(
    id="put-right", words="right door turned round", set={"front-right.load": "door-fr"}, buy={}
)
WOOFERS = Chosen(
    id="acorn-130-slim+ring",
    words="new 130 mm woofers, slim, with rings",
    set={"door-f?.driver": "acorn-130-slim", "door-f?.mount.ring": True},
    buy={"acorn-130-slim": 1, "ring-130": 2},
)
RINGS = Chosen(id="ring", words="rings fitted", set={"door-f?.mount.ring": True}, buy={})
SERIES = Chosen(
    id="series",
    words="each pair in series",
    set={"rear-left.load": "side-rl + roof-rl", "rear-right.load": "side-rr + roof-rr"},
    buy={},
)


def _plan(
    id: str, *roles: str, value: float, money: float, hours: float, **more: object
) -> PlanAnswer:
    bass, loud = 0.62 * value, 0.38 * value
    given: dict[str, object] = {
        "id": id,
        "roles": roles,
        "value": value,
        "careful_value": value - 6.2,
        "money": money,
        "money_low": 0.85 * money,
        "money_high": 1.4 * money,
        "hours": hours,
        "points": {"bass": bass, "loudness": loud},
        "shares": {"bass": bass / 66.7, "loudness": min(1.0, loud / 33.3)},
    }
    return PlanAnswer.model_validate({**given, **more})


def _plans() -> tuple[PlanAnswer, ...]:
    best = {"door-fl, door-fr": WOOFERS, "front-right": TURNED, "rear": SERIES}
    recommended = {"door-fl, door-fr": RINGS, "front-right": TURNED, "rear": SERIES}
    mended = {"door-fl, door-fr": KEPT, "front-right": TURNED, "rear": KEPT}
    return (
        _plan(
            "best",
            "front-1",
            value=76.4,
            money=176.7,
            hours=4.7,
            better_odds=0.81,
            title="new 130 mm woofers with rings, right door turned round, rear pairs in series",
            options=best,
            cures=("reversed@door-fr",),
            why_not="at the careful end it costs 247 EUR, and 180 is the most that is wanted",
        ),
        _plan(
            "recommended",
            "front-2",
            value=71.2,
            money=94.2,
            hours=2.8,
            title="rings fitted, right door turned round, rear pairs in series",
            options=recommended,
            cures=("reversed@door-fr",),
        ),
        _plan(
            "fix-only",
            "front-3",
            value=61.0,
            money=79.2,
            hours=1.8,
            title="right door turned round",
            options=mended,
            cures=("reversed@door-fr",),
            breaks=("rear-left falls to 2.24 ohm, and the radio is rated for 4",),
            why_not="it loads the radio below what it bears",
        ),
        _plan(
            "do-nothing",
            value=50.0,
            money=0.0,
            hours=0.0,
            title="nothing",
            options={"door-fl, door-fr": KEPT, "front-right": KEPT, "rear": KEPT},
            leaves=("reversed@door-fr",),
            breaks=(
                "rear-left falls to 2.24 ohm, and the radio is rated for 4",
                "an established fault is left as it is",
            ),
            why_not="it leaves what is broken",
        ),
        _plan(
            "next-20",
            value=78.1,
            money=199.0,
            hours=4.7,
            title="new 130 mm woofers of the dearer sort, the rest as in the best plan",
            options=best,
            breaks=("it costs 199, and 180 is the most that is wanted",),
        ),
        _plan(
            "next-50",
            value=79.9,
            money=228.0,
            hours=5.1,
            title="the same, and the holes of both doors covered",
            options=best,
            breaks=("it costs 228, and 180 is the most that is wanted",),
        ),
        _plan(
            "put-right",
            value=71.0,
            money=94.2,
            hours=1.5,
            title="no new parts: right door turned round, rings fitted, rear pairs in series",
            options=recommended,
        ),
    )


def _figure(name: str, value: float | None, label: str, text: str | None = None) -> Figure:
    return Figure(
        id=f"choice.{name}",
        subject="choice",
        name=name,
        value=value,
        unit="",
        origin=Origin.TYPICAL,
        label=label,
        text=text,
    )


def choice_by_hand(offer: Offer) -> Choice:
    """Return a choice for the demo that holds everything that a choice can hold."""
    return Choice(
        stage="choose",
        job="Mobile library van",
        build="as-found",
        answer="For 177 EUR and 4.7 h: new 130 mm woofers with rings, right door turned round, "
        "rear pairs in series: 76 points where nothing done has 50. 50 EUR more buy 3.5 points.",
        figures=(
            _figure("rejected_fit-behind", 1321.0, "parts too deep behind"),
            _figure("rejected_stock", 240.0, "parts not to be had in time"),
            _figure("rejected_hole", 36.0, "parts that need a hole cut"),
            _figure("plans_rejected_money", 3112.0, "plans that cost too much"),
            _figure(
                "measure_first", None, "reading", "door-fl.mount.glass_depth: depth of the glass"
            ),
            _figure("measure_first_points", 2.4, "points that it is worth"),
            _figure(
                "stop",
                None,
                "stop",
                "12 minutes with the tape are worth 2.4 points: measure first.",
            ),
        ),
        verdicts=(
            Verdict(
                id="recommended.differs",
                subject="recommended",
                severity=Severity.NOTE,
                text="The recommended plan is not the one with most points: it meets the limits "
                "also where everything turns out at the careful end.",
            ),
            Verdict(
                id="do-nothing.limits",
                subject="do-nothing",
                severity=Severity.WARN,
                text="Doing nothing leaves the rear channels below what the radio bears.",
            ),
        ),
        cautions=(Caution(id="x", text="Disconnect the battery before wiring.", source="trade"),),
        working=(
            Working(
                figure="best.value",
                formula="V = 100 Σ w u / Σ w",
                numbers="100 (4 · 0.71 + 2 · 0.87) / 6 = 76.4",
                source="workshop choice",
            ),
        ),
        plans=_plans(),
        front=(
            FrontStep(plan="best", money=176.7, hours=4.7, value=76.4),
            FrontStep(plan="recommended", money=94.2, hours=2.8, value=71.2),
            FrontStep(plan="fix-only", money=79.2, hours=1.8, value=61.0),
        ),
        rejected=(
            Rejection(
                part="acorn-165-deep",
                place="door-fl",
                reason="fit-behind",
                number=-5.8,
                limit=5.0,
                words="it meets the glass, window down: −5.8 mm where 5 are wanted",
            ),
        ),
        catalogue=CatalogueUsed(
            name=offer.name, version=offer.version, sha256=offer.sha256, parts=2252
        ),
        search=SearchTold(
            frames=36,
            options=3728,
            plans=4.4e11,
            bounded=4.4e11,
            checked=1494,
            gap=0.0,
            bound=76.3,
            seconds=1.3,
        ),
    )


def worked_out(text: str, offer: Offer, manner: Manner) -> ChoiceAnswer:
    """Stand in for `Choosing.work_out`: what is asked shows in the answer."""
    choice = choice_by_hand(offer)
    if manner.unmeasured:
        choice = choice.model_copy(update={"answer": f"Measure first. {choice.answer}"})
    json = choice.model_dump_json().encode()
    tag = sha256(json + text.encode()).hexdigest()[:32]
    return ChoiceAnswer(choice, json, f'"{tag}"')
