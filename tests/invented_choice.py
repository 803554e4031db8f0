"""An invented answer of choose: numbers of the right kind, nothing calculated."""

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
from conewright.stages.report.data import Caution, Figure, Kind, Severity, Verdict

KEPT = "as-found"
WOOFERS = Chosen(
    id="supplier-3-130-a+ring",
    words="new woofers 130 mm with rings",
    set={"door-fl.driver": "supplier-3-130-a", "door-fr.driver": "supplier-3-130-a"},
    buy={"supplier-3-130-a": 2.0, "ring-130": 2.0},
)
TWEETERS = Chosen(
    id="dome-25+4.7",
    words="new tweeters behind 4.7 uF",
    set={"pillar-fl.driver": "dome-25", "pillar-fr.driver": "dome-25"},
    buy={"dome-25": 2.0, "c-4.7-film": 2.0},
)
SERIES = Chosen(
    id="series",
    words="in series",
    set={"rear-left.load": "side-rl + roof-rl"},
    buy={},
)
TURNED = Chosen(
    id="right-turned", words="the right one turned round", set={"door-fr.reversed": False}, buy={}
)
STILL = Chosen(id=KEPT, words="as found", set={}, buy={})

POINTS = {
    "best": {
        "bass": 23.6, "loudness": 19.5, "clarity": 13.3, "reversible": 10.0, "appearance": 10.0,
    },
    "recommended": {
        "bass": 22.1, "loudness": 18.9, "clarity": 12.9, "reversible": 10.0, "appearance": 10.0,
    },
    "do-nothing": {
        "bass": 13.3, "loudness": 10.0, "clarity": 6.7, "reversible": 10.0, "appearance": 10.0,
    },
    "fix-only": {
        "bass": 17.8, "loudness": 10.2, "clarity": 6.7, "reversible": 10.0, "appearance": 10.0,
    },
}  # fmt: skip
"""What each wish adds to the value of a plan."""
DECIBELS = {
    "best": (4.6, 5.7, 6.0),
    "recommended": (4.0, 5.3, 5.7),
    "do-nothing": (0.0, 0.0, 0.0),
    "fix-only": (2.0, 0.1, 0.0),
}
"""Change of bass, loudest clean level and treble at the seat."""


def plan(
    id: str,
    *roles: str,
    points: dict[str, float] | None = None,
    careful: float | None = None,
    money: tuple[float, float, float] = (0.0, 0.0, 0.0),
    hours: float = 0.0,
    title: str = "nothing is done",
    options: dict[str, Chosen] | None = None,
    breaks: tuple[str, ...] = (),
    leaves: tuple[str, ...] = (),
    why_not: str | None = None,
    better_odds: float | None = None,
    value: float | None = None,
) -> PlanAnswer:
    """A plan; its value is the sum of its points."""
    told = points if points is not None else {}
    return PlanAnswer(
        id=id,
        roles=(id, *roles),
        title=title,
        value=round(sum(told.values()), 6) if told else value,
        careful_value=careful,
        better_odds=better_odds,
        money=money[1],
        money_low=money[0],
        money_high=money[2],
        hours=hours,
        options=options or {"door-f?": STILL, "pillar-f?": STILL, "rear": STILL},
        points=told,
        shares={},
        leaves=leaves,
        breaks=breaks,
        why_not=why_not,
    )


BEST = plan(
    "best", "front-1",
    points=POINTS["best"], careful=66.0, money=(231.0, 277.0, 338.0), hours=4.7,
    title="new woofers with rings, new tweeters behind 4.7 uF, rear pairs in series",
    options={"door-f?": WOOFERS, "pillar-f?": TWEETERS, "rear": SERIES},
    why_not="at the far end of the prices it costs 338 EUR, and 300 EUR is the most",
    better_odds=0.58,
)  # fmt: skip
RECOMMENDED = plan(
    "recommended", "front-2",
    points=POINTS["recommended"], careful=67.5, money=(172.0, 214.0, 262.0), hours=3.9,
    title="new woofers with rings, rear pairs in series, right door turned round",
    options={"door-f?": WOOFERS, "pillar-f?": STILL, "rear": SERIES, "front": TURNED},
)  # fmt: skip
NOTHING = plan(
    "do-nothing",
    points=POINTS["do-nothing"], careful=50.0,
    breaks=("the rear channels load the radio with 2.2 ohm, and 3.2 ohm is the least",),
    leaves=("reversed@door-fr",),
)  # fmt: skip
FIX = plan(
    "fix-only",
    points=POINTS["fix-only"], careful=52.0, money=(62.0, 94.0, 152.0), hours=1.5,
    title="right door turned round, rear pairs in series",
    options={"door-f?": STILL, "pillar-f?": STILL, "rear": SERIES, "front": TURNED},
)  # fmt: skip
CHEAPER = plan(
    "front-3", value=66.4, careful=60.0, money=(120.0, 148.0, 190.0), hours=3.1,
    title="new woofers without rings, rear pairs in series",
    options={"door-f?": WOOFERS, "rear": SERIES},
)  # fmt: skip
CHEAPEST = plan(
    "front-4", "put-right", value=57.8, careful=53.0, money=(62.0, 94.0, 152.0), hours=1.5,
    title="right door turned round, rings fitted, rear pairs in series",
    options={"door-f?": WOOFERS, "rear": SERIES},
)  # fmt: skip
DEARER = plan(
    "next-50", value=79.1, careful=70.0, money=(280.0, 341.0, 420.0), hours=5.6,
    title="as the best, with new loudspeakers at the sides",
    options={"door-f?": WOOFERS, "rear": SERIES},
)  # fmt: skip
PLANS = (BEST, RECOMMENDED, CHEAPER, FIX, CHEAPEST, NOTHING, DEARER)

REJECTED = {
    "fit-behind": ("too deep behind", 1321.0),
    "load": ("load the radio too much", 84.0),
    "stock": ("not to be had in time", 1.0),
}
"""Words of a gate, and how many parts it rejects."""
REJECTIONS = (
    *(
        Rejection(
            part=f"supplier-{row}-165-b", place="door-fl", reason="fit-behind",
            number=60.0 + row, limit=51.8, words=f"{60 + row} mm deep, and 51.8 mm go in",
        )
        for row in range(1, 6)
    ),
    Rejection(
        part="coax-100-2", place="rear-left", reason="load", number=1.9, limit=3.2,
        words="1.9 ohm at the plug, and 3.2 ohm is the least",
    ),
    Rejection(
        part="dome-25", place="pillar-fl", reason="stock", number=14.0, limit=10.0,
        words="14 days until it comes, and there are 10",
    ),
)  # fmt: skip


def choice_figure(
    id: str,
    value: float | None,
    *,
    unit: str = "",
    kind: Kind = Kind.NUMBER,
    low: float | None = None,
    high: float | None = None,
    label: str = "",
    text: str | None = None,
) -> Figure:
    """A figure of the answer."""
    subject, name = id.split(".", 1)
    return Figure(
        id=id, subject=subject, name=name, value=value, low=low, high=high, unit=unit, kind=kind,
        origin=Origin.TYPICAL, label=label or name.replace("_", " "), text=text,
    )  # fmt: skip


def _of_plan(told: PlanAnswer) -> list[Figure]:
    found = [
        choice_figure(
            f"{told.id}.money", told.money, low=told.money_low, high=told.money_high, unit="EUR",
            kind=Kind.MONEY,
        )
    ]  # fmt: skip
    names = ("bass_change", "max_clean_level_change", "treble_change")
    for name, dB in zip(names, DECIBELS.get(told.id, ()), strict=False):
        found.append(
            choice_figure(
                f"{told.id}.{name}", dB, low=dB - abs(dB) / 3, high=dB + abs(dB) / 4, unit="dB",
                kind=Kind.CHANGE,
            )
        )  # fmt: skip
    if told.id in DECIBELS:
        load = 2.24 if told.id == "do-nothing" else 3.9
        found.append(
            choice_figure(
                f"{told.id}.minimum_load", load, low=load - 0.05, high=load + 0.05, unit="ohm"
            )
        )
    return found


def choice(*plans: PlanAnswer, figures: tuple[Figure, ...] = ()) -> Choice:
    """The answer with these plans; with its own when none is given."""
    told = plans or PLANS
    counts = [
        choice_figure(f"choice.rejected_{gate}", number, kind=Kind.COUNT, label=words)
        for gate, (words, number) in REJECTED.items()
    ]
    said = [
        choice_figure(
            "choice.measure_first", None, label="reading that could change the choice",
            text="depth behind the panel at door-fl",
        ),
        choice_figure("choice.measure_first_points", 1.3, unit="points"),
        choice_figure("choice.next_20_value", 0.0 if not plans else None, unit="points"),
        choice_figure("choice.next_50_value", 2.7 if not plans else None, unit="points"),
        choice_figure(
            "choice.stop", None, label="measure or buy",
            text="Measure first: 1.3 points are worth 28 EUR here, and 15 min of work cost 9 EUR.",
        ),
    ]  # fmt: skip
    front = [each for each in told if any(role.startswith("front-") for role in each.roles)]
    return Choice(
        stage="choose",
        job="Mobile library van: thin bass up front, rear cuts out on warm days",
        build=KEPT,
        answer=(
            "For 277 EUR and 4.7 h: new woofers with rings, new tweeters behind 4.7 uF, rear "
            "pairs in series: 76 points where nothing done has 50. 50 EUR more would buy 2.7 "
            "points."
        ),
        figures=(*(f for each in told for f in _of_plan(each)), *counts, *said, *figures),
        verdicts=(
            Verdict(
                id="best.ends", subject="best", severity=Severity.NOTE,
                text="At the ends of the bands another plan is safer: recommended is not best.",
            ),
            Verdict(
                id="do-nothing.load", subject="do-nothing", severity=Severity.WARN,
                text="Nothing done, the rear channels load the radio too much.",
            ),
        ),
        cautions=(Caution(id="hot", text="Let the radio cool first.", source="s"),),
        plans=told,
        front=tuple(
            FrontStep(plan=each.id, money=each.money, hours=each.hours, value=each.value or 0.0)
            for each in front
        ),
        quicker=tuple(
            FrontStep(plan=each.id, money=each.money, hours=each.hours, value=each.value or 0.0)
            for each in front
            if each.hours > 3.0
        ),
        rejected=REJECTIONS,
        catalogue=CatalogueUsed(name="shop", version=2, sha256="0123456789ab" * 5, parts=2252),
        search=SearchTold(
            frames=36, options=13717, plans=4.4e11, bounded=4.4e11 - 1494, checked=1494, gap=0.0,
            bound=76.3, seconds=1.3,
        ),
    )  # fmt: skip
