"""Which drivers go in: every one is counted once, and the odds of room are those of fit.

Source: the stage fit, with the driver in its place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from spaces import Row, compiled_of, few_parts, searched

import conewright as cw
from conewright.catalogue.driver_columns import driver_columns
from conewright.catalogue.job_entries import driver_entry
from conewright.catalogue.offer import Offer
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.stages.choose.space.gates import Allowed, Gated, gated
from conewright.stages.choose.stage import space_to_choose_from
from conewright.stages.fit.margins import FRONT, REAR
from conewright.stages.fit.stage import fit

PLACE = "door"
MOUNT = {
    "cutout": "118 mm ± 1 mm",
    "glass_depth": ["58 mm ± 2 mm", "56 mm ± 1 mm"],
    "trim_gap": "16 mm ± 1.5 mm",
    "land": "12 mm",
}


def job(**mount: object) -> Job:
    return from_dict(
        {
            "format": 1,
            "vehicle": {"restraints": {"curtain": "none", "door_sensor": "none"}},
            "seat": [{"id": "driver", "ear": ["0.15 m", "0.36 m", "1.05 m"]}],
            "head_unit": {"name": "radio"},
            "channel": [{"id": "left", "load": PLACE, "cable": {"resistance": "0.3 ohm"}}],
            "driver": [{"id": "there", "size": "130 mm", "age": "ageing"}],
            "location": [
                {
                    "id": PLACE,
                    "kind": "door",
                    "at": ["0.8 m", "0.7 m", "0.3 m"],
                    "driver": "there",
                    "mount": MOUNT | mount,
                    "trim": {"grille_area": "80 cm2"},
                }
            ],
        }
    )


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    return few_parts(5, driver=120)


def looked_at(there: Job, rows: Sequence[Row], allowed: Allowed) -> Gated:
    compiled = compiled_of(rows)
    places = [there.build().location(PLACE)]
    return gated(places, driver_columns(compiled), compiled, allowed, closed=False, treble=False)


@pytest.mark.parametrize(
    "allowed",
    [
        Allowed(),
        Allowed(cut=True),
        Allowed(unmeasured=True, money=True, currency="EUR"),
        Allowed(cut=True, unmeasured=True, lead_days=2.0),
    ],
    ids=["plain", "cut", "unmeasured", "all"],
)
@pytest.mark.parametrize("measured", [True, False])
def test_every_driver_is_kept_or_has_one_reason(
    rows: list[Row], allowed: Allowed, measured: bool
) -> None:
    there = job() if measured else job(cutout=None, glass_depth=None, trim_gap=None)
    odd = [dict(row) for row in rows]
    for index, row in enumerate(odd):
        row["stock"] = str((0, 1, 6)[index % 3])
        row["lead_days"] = str((1, 9)[index % 2])
        if index % 7 == 0:
            row.pop("price")
            row.pop("price_low")
            row.pop("price_high")
        if index % 5 == 0:
            row["currency"] = "GBP"
    found = looked_at(there, odd, allowed)
    assert len(found.rows) + sum(found.counts.values()) == len(rows)
    assert len(found.rejected) == sum(found.counts.values())
    assert {each.reason for each in found.rejected} == set(found.counts)
    told = [each.part for each in found.rejected]
    assert len(set(told)) == len(told)
    for each in found.rejected:
        assert each.words
        if each.reason in ("fit-behind", "fit-front"):
            assert each.number is not None
            assert each.limit is not None
            assert each.number >= each.limit


def test_counts_of_a_space_are_those_of_its_places(rows: list[Row]) -> None:
    raw = cw.demo_job().to_dict() | {"wishes": {"bass": "matters"}}
    search = searched(from_dict(raw), rows[:30], may=("driver",), allowed=Allowed())
    space = search.ready.space
    kept = sum(len(v.rows) for group in space.places for v in group.variants if len(v.rows))
    out = sum(count for reason, count in space.counts.items() if reason != "looked-at")
    assert space.counts["looked-at"] == kept + out == 30 * len(space.places)


def test_the_odds_are_those_of_fit(rows: list[Row]) -> None:
    """Both draw 8,192 times, but the driver's own figures on axes of other names."""
    near = [row for row in rows if row["size"] in ("130 mm", "100 mm")]
    # As deep and as high in front as makes odds of everything between nothing and all.
    chosen = [
        {**row, "depth": f"{44.0 + 0.9 * n:.2f} mm", "front_height": f"{6.0 + 0.6 * n:.2f} mm"}
        for n, row in enumerate(near[:12])
    ]
    compiled = compiled_of([{**row, "cutout": "112 mm", "outer": "138 mm"} for row in chosen])
    parts = driver_columns(compiled)
    there = job()
    places = [there.build().location(PLACE)]
    found = gated(places, parts, compiled, Allowed(), closed=False, treble=False)
    told = {(each.part, each.reason): each.number for each in found.rejected}
    judged = 0
    for row in map(int, parts.rows):
        entry = driver_entry(compiled, row)
        raw = there.to_dict()
        raw["driver"] = [*raw["driver"], entry]
        raw["proposal"] = [{"id": "new", "set": {f"{PLACE}.driver": entry["id"]}}]
        report = fit(from_dict(raw).build("new"))
        figures = {figure.id: figure.value for figure in report.figures}
        for reason, margin, name in (
            ("fit-behind", REAR, f"{PLACE}.rear_odds"),
            ("fit-front", FRONT, f"{PLACE}.front_odds"),
        ):
            odds = figures[name]
            assert odds is not None
            got = told.get((str(entry["id"]), reason))
            if got is not None:
                assert got == pytest.approx(odds, abs=0.015)
                judged += 1
            if odds < margin.odds - 0.005:
                assert got is None
            elif odds > margin.odds + 0.005 and reason == "fit-behind":
                assert got is not None
    assert judged > 4


def test_nothing_goes_into_a_closed_place(rows: list[Row]) -> None:
    compiled = compiled_of(rows[:10])
    parts = driver_columns(compiled)
    places = [job().build().location(PLACE)]
    found = gated(places, parts, compiled, Allowed(), closed=True, treble=False)
    assert len(found.rows) == 0
    assert found.counts == {"restraint": 10}


def test_a_copy_is_looked_at_once(rows: list[Row]) -> None:
    copy = {**rows[0], "supplier": "Another", "price": "999.00", "price_high": "999.00"}
    plain = looked_at(job(), rows, Allowed(cut=True, unmeasured=True))
    copied = looked_at(job(), [*rows, copy], Allowed(cut=True, unmeasured=True))
    assert copied.counts == plain.counts
    assert len(copied.rows) == len(plain.rows)
    assert np.all(replace(copied, rejected=[]).cut == plain.cut)


def test_what_is_not_in_stock_is_waited_for_as_long_as_the_owner_waits(rows: list[Row]) -> None:
    short = [{**row, "stock": "0", "lead_days": "5"} for row in rows]
    there = job(glass_depth=["120 mm"], trim_gap="60 mm")
    kept = {days: len(looked_at(there, short, Allowed(lead_days=days)).rows) for days in (4.0, 5.0)}
    assert kept[4.0] == len(looked_at(there, short, Allowed()).rows) == 0
    assert kept[5.0] > 0


def test_the_days_that_a_job_allows_are_those_that_count(rows: list[Row]) -> None:
    compiled = compiled_of([{**row, "stock": "0", "lead_days": "5"} for row in rows])
    offer = Offer("invented", None, "0" * 64, compiled)
    for days, there in ((4.0, False), (6.0, True)):
        roomy = job(glass_depth=["120 mm"], trim_gap="60 mm")
        wishes = roomy.wishes.model_copy(update={"lead_days": days})
        patient = roomy.model_copy(update={"wishes": wishes})
        space = space_to_choose_from(patient, offer, may=("driver",))
        assert any(len(variant.rows) for g in space.places for variant in g.variants) == there
