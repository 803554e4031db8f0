"""Repairs as plans: what each ends and leaves, takes and holds; the choice between them."""

from __future__ import annotations

import numpy as np
import pytest

from conewright.data_files import data_rows
from conewright.errors import BadInputError, JobError
from conewright.job.builds.draws import draw
from conewright.job.builds.job import Job
from conewright.job.builds.typical import typicals
from conewright.job.document.fault_names import FAULTS
from conewright.job.repairs import REPAIR_KINDS, repair_names, repairs_of
from conewright.job.text.parsing import loads
from conewright.job.text.proposal_form import proposal_form, with_form
from conewright.job.text.starter import starter_text
from conewright.physics.drivers.coil import Inductor
from conewright.physics.drivers.driver import Driver
from conewright.stages.common.changes import changes
from conewright.stages.common.damage import damaged_driver
from conewright.stages.compare.cures import ways_to_mend
from conewright.stages.compare.stage import compare
from conewright.stages.feed.stage import feed
from conewright.stages.find.talk.mending import mend, text_with_mending
from conewright.stages.hear.stage import hear
from conewright.stages.outlay.holding import holding
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.care import cautions_for

TORN = '\n[[finding]]\nfault = "surround-torn"\nat = "door-fl"\n'
LOOSE = '\n[[finding]]\nfault = "cap-unglued"\nat = "door-fr"\n'


def vehicle(*plans: str, found: str = TORN + LOOSE) -> Job:
    """The starter's hatchback, doors free of sensors, with plans of repairs p0, p1 and so on."""
    text = starter_text().replace('door_sensor = "unknown"', 'door_sensor = "none"')
    written = (
        f'\n[[proposal]]\nid = "p{n}"\n{plan if "=" in plan else f"repairs = {plan.split()}"}\n'
        for n, plan in enumerate(plans)
    )
    return loads(text + found + "".join(written))


# --- The tables -----------------------------------------------------------------------------------


def test_every_row_has_its_work_and_its_price() -> None:
    steps = {row["when"] for row in data_rows("stages.outlay", "work.csv")}
    assert set(REPAIR_KINDS) <= steps
    usual = {(row["fault"], row["kind"]) for row in data_rows("stages.common", "mends.csv")}
    for row in data_rows("job", "repairs.csv"):
        assert row["source"], row
        assert row["fault"] in (*FAULTS, ""), row
        low, typical, high = (float(row[name]) for name in ("low", "typical", "high"))
        assert 0.0 <= low <= typical <= high <= 1.0, row
        if row["usual"] == "yes":
            # One rule: the work on a fault on a plan's list is that of its usual repair.
            assert (row["fault"], row["kind"]) in usual, row
        if row["effect"]:
            assert set(typicals("repair", row["effect"])) == {"stiffness", "mass", "loss"}
    for fault in FAULTS:
        assert sum(repair.usual for repair in repairs_of(fault)) <= 1, fault


# --- At the door ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plan", "told"),
    [
        (
            "re-edg@door-fl",
            'proposal[p0].repairs[1]: found "re-edg@door-fl"; it takes repair@place',
        ),
        ("re-edge@door-rl", "re-edge is done at a place; did you mean"),
        ("re-edge", "re-edge is done at a place"),
        ("used@door-fl re-edge@door-fl", "used at door-fl is done already, and is enough"),
        ("keep@door-fl keep@door-fl", "keep at door-fl stands there already"),
        ("re-edge@door-fl new@door-fl", "re-edge at door-fl is done already"),
        ('name = "nothing at all"', "proposal[p0]: found an empty plan; a plan does something"),
        ("repairs = []", "found an empty plan"),
        ('repairs = "re-edge@door-fl"', "a list in [ ] is wanted"),
        ("repairs = [3]", "it takes repair@place"),
    ],
)
def test_what_is_no_repair(plan: str, told: str) -> None:
    with pytest.raises(JobError) as caught:
        vehicle(plan)
    assert told in " ".join(str(caught.value).split())


def test_what_has_no_other_side_is_not_changed_over() -> None:
    text = starter_text().replace('at = ["0.75 m", "-0.66 m"', 'at = ["0.15 m", "-0.66 m"')
    with pytest.raises(JobError, match="another of its kind on the other side"):
        loads(f'{text}\n[[proposal]]\nid = "p"\nrepairs = ["swap@door-fl"]\n')


# --- What is there afterwards ---------------------------------------------------------------------


def test_each_repair_ends_what_it_is_for() -> None:
    job = vehicle(
        "re-edge@door-fl", "reglue@door-fr", "used@door-fl", "new@door-fr", "keep@door-fl"
    )
    left = [{fault.id for fault in job.build(plan.id).faults} for plan in job.proposals[2:]]
    torn, loose = "surround-torn@door-fl", "cap-unglued@door-fr"
    assert left == [{loose}, {torn}, {loose}, {torn}, {torn, loose}]


def test_a_new_surround_is_stiffer_or_softer_than_the_old_one_was() -> None:
    # closed form: the drawn factors of the table on compliance, mass and loss, and nothing else
    job = vehicle("re-edge@door-fl")
    build = job.build("p0")
    place = build.location("door-fl")
    (state,) = place.repairs
    draws = draw(build.axes, samples=64)
    sound = driver_of(job)
    mended = damaged_driver(sound, place.repairs, draws)
    np.testing.assert_allclose(sound.cms / mended.cms, draws(state.size("stiffness")), rtol=1e-12)
    np.testing.assert_allclose(mended.mms / sound.mms, draws(state.size("mass")), rtol=1e-12)
    np.testing.assert_allclose(mended.rms / sound.rms, draws(state.size("loss")), rtol=1e-12)
    assert float(draws(state.size("stiffness"))[0, 0]) == 1.1
    # The same work by the list of faults leaves the same driver.
    assert vehicle('mends = ["surround-torn@door-fl"]').build("p0").location("door-fl").repairs == (
        place.repairs
    )


def driver_of(job: Job) -> Driver:
    """The driver of the left door, central figures; its coil takes no part."""
    figures = job.build().location("door-fl").driver.figures()
    return Driver(
        **{name: figures[name] for name in ("re", "bl", "mms", "cms", "rms", "sd")},
        coil=Inductor(le=0.35e-3),
    )


def test_a_used_one_is_another_and_spreads() -> None:
    text = starter_text().replace("[location.mount]", 'own = { re = "3.1 ohm" }\n[location.mount]')
    job = loads(text + TORN + '\n[[proposal]]\nid = "p"\nrepairs = ["used@door-fl"]\n')
    found, used = (job.build(plan).location("door-fl") for plan in (None, "p"))
    assert dict(found.driver.own)["re"].si == pytest.approx(3.1)
    # What was measured of the old one is not said of another; its type stays.
    assert (used.driver.own, used.driver.id) == ((), found.driver.id)
    (state,) = used.repairs
    stiffness = state.size("stiffness").quantity
    assert (stiffness.low, stiffness.value, stiffness.high) == (0.75, 1.0, 1.35)
    report = hear(job.build("p"), job.build())
    healthy = hear(vehicle("new@door-fl", found=TORN).build("p0"), samples=64)
    bass = [report.figure("door-fl.excursion_ratio"), healthy.figure("door-fl.excursion_ratio")]
    assert bass[0].value is not None


def test_left_and_right_changed_over() -> None:
    text = starter_text().replace("[location.mount]", 'own = { re = "3.1 ohm" }\n[location.mount]')
    job = loads(text + TORN + '\n[[proposal]]\nid = "p"\nrepairs = ["swap@door-fr"]\n')
    swapped = job.build("p")
    # The tear and what was measured of that driver go with it, and nothing is bought or mended.
    assert [fault.id for fault in swapped.faults] == ["surround-torn@door-fr"]
    assert dict(swapped.location("door-fr").driver.own)["re"].si == pytest.approx(3.1)
    assert swapped.location("door-fl").driver.own == ()
    assert changes(swapped).at("swapped") == ("door-fr", "door-fl")
    taken = outlay(swapped)
    assert not [line for line in taken.lines if line.kind == "driver"]
    assert [step.id for step in taken.steps if step.kind == "swapped"] == ["swap"]
    assert "repair" not in {step.id for step in taken.steps}
    assert holding(swapped) is None or holding(swapped).chance.typical < 1.0  # type: ignore[union-attr]


def test_drivers_of_two_types_change_places_and_none_is_bought() -> None:
    text = starter_text().replace(
        'like = "door-fl"                     # copied',
        'driver = "shallow-165"\nlike = "door-fl" # ',
    )
    job = loads(text + '\n[[proposal]]\nid = "p"\nrepairs = ["swap@door-fl"]\n')
    build = job.build("p")
    assert [place.driver.id for place in build.locations] == ["shallow-165", "as-built-165"]
    assert changes(build).at("new-driver") == ()
    assert proposal_form(job, "p").drivers == {}


# --- What it takes, and how long it holds ---------------------------------------------------------


def test_steps_and_parts_of_each_repair() -> None:
    # common practice, no source: glue and a kit for a surround, glue and wire for a cap or lead
    plans = (
        "re-edge@door-fl",
        "new-lead@door-fl",
        "clean-gap@door-fl",
        "used@door-fl",
        "keep@door-fl",
    )
    job = vehicle(*plans)
    told = {}
    for name, plan in zip(plans, job.proposals[2:], strict=True):
        taken = outlay(job.build(plan.id))
        steps = [step.id for step in taken.steps if step.kind not in ("always", "battery-off")]
        lines = {line.item for line in taken.lines if line.kind in ("driver", "material")}
        told[name.partition("@")[0]] = steps, lines - {"clip", "felt"}
    assert told == {
        "re-edge": (["open", "surround", "close"], {"surround"}),
        "new-lead": (["open", "bench", "close"], {"bench"}),
        "clean-gap": (["open", "gap", "close"], {"gap"}),
        "used": (["open", "used", "close"], {"as-built-165", "screw", "nut", "cord"}),
        "keep": (["watch"], set()),
    }


def test_fumes_and_the_iron_are_minded_where_they_are_and_nowhere_else() -> None:
    job = vehicle("re-edge@door-fl", "reglue@door-fr", "keep@door-fl", "used@door-fl")
    told = [
        {caution.id for caution in cautions_for("make", job.build(plan.id))} & {"fumes", "iron"}
        for plan in job.proposals[2:]
    ]
    assert told == [{"fumes"}, {"fumes", "iron"}, set(), set()]


def test_how_long_it_holds() -> None:
    job = vehicle(
        "re-edge@door-fl reglue@door-fr",
        "re-edge@door-fl re-edge@door-fr reglue@door-fr",
        "used@door-fl reglue@door-fr",
        '[proposal.set]\n"door-f?.driver" = "shallow-165"',
    )
    held = [holding(job.build(f"p{n}")) for n in range(4)]
    chances = [each.chance.typical for each in held if each is not None]
    # closed form: products of the table's chances; of a torn surround's twin 0.7 fails within two
    # years (from memory), unless it is renewed as well
    assert chances == pytest.approx([0.9 * 0.9 * 0.3, 0.9**3, 0.4 * 0.9 * 0.3, 0.98**2], rel=1e-12)
    assert all(each.chance.low < each.chance.typical < each.chance.high for each in held if each)
    assert holding(job.build()) is None
    assert holding(job.build("rings")) is None
    words = " ".join(part.words for part in held[0].parts) if held[0] else ""
    assert "door-fr: the other side, as old and left as it is, holds two years with" in words


def test_a_pair_that_tore_on_both_sides_has_no_twin_left() -> None:
    both = TORN + TORN.replace("door-fl", "door-fr")
    held = holding(vehicle("re-edge@door-fl re-edge@door-fr", found=both).build("p0"))
    assert held is not None
    assert held.chance.typical == pytest.approx(0.81, rel=1e-12)


def test_compare_tells_it_and_reckons_with_what_comes_back() -> None:
    job = vehicle(
        "re-edge@door-fl reglue@door-fr", "re-edge@door-fl re-edge@door-fr reglue@door-fr"
    )
    report = compare(job, samples=16)
    assert report.figure("p1.hold_odds").value == pytest.approx(0.729)
    assert report.figure("as-found.hold_odds").text == "nothing is mended"
    note = next(each for each in report.verdicts if each.id == "p0.holds")
    assert "else a surround glued off centre scrapes" in note.text


# --- Choosing -------------------------------------------------------------------------------------


def test_every_way_to_mend_what_was_found() -> None:
    ways = ways_to_mend(vehicle())
    torn = [way for way in ways if way.fault == "surround-torn@door-fl"]
    assert [way.repair.partition("@")[0] for way in torn] == ["re-edge", "used", "new", "keep"]
    assert [way.usual for way in torn] == [True, False, False, False]
    # common practice, no source: a kit is the cheapest that mends, and takes longest
    assert torn[0].parts.typical < torn[1].parts.typical < torn[2].parts.typical
    assert torn[0].minutes.typical > torn[2].minutes.typical > torn[3].minutes.typical
    assert torn[3].parts.typical == 0.0
    # What a way tells is what a plan of it takes, but for what every job takes.
    taken = outlay(vehicle("used@door-fl").build("p0"))
    steps = [step.minutes.typical for step in taken.steps if step.kind != "always"]
    assert torn[1].minutes.typical == pytest.approx(sum(steps))


def test_the_plan_that_mends_in_the_way_that_is_chosen() -> None:
    job = vehicle()
    plain, chosen = mend(job), mend(job, "used@door-fl", "re-edge@door-fr")
    faults = ("surround-torn@door-fl", "cap-unglued@door-fr")
    assert (plain.proposal("mend").mends, plain.proposal("mend").repairs) == (faults, ())
    plan = chosen.proposal("mend")
    assert plan.mends == ("cap-unglued@door-fr",)
    assert plan.repairs == ("used@door-fl", "re-edge@door-fr")
    assert chosen.build("mend").faults == ()
    # Made anew in the same place, it says no more what it said before.
    again = mend(chosen)
    assert again.proposal("mend") == plain.proposal("mend")
    with pytest.raises(BadInputError, match="used is done at a place"):
        mend(job, "used@door-rl")


def test_the_text_keeps_its_comments_and_the_form_its_repairs() -> None:
    text = starter_text() + TORN
    written, plan = text_with_mending(text, "toml", repairs=("used@door-fl",))
    assert written.startswith(text.rstrip("\n")[:200])
    assert "# of every price in this file" in written
    assert loads(written).proposal(plan.id).repairs == ("used@door-fl",)
    job = loads(written)
    form = proposal_form(job, plan.id)
    assert with_form(written, form, new=False) == written


def test_names_are_told() -> None:
    assert repair_names() == (
        "re-edge", "reglue", "new-lead", "clean-gap", "used", "new", "swap", "keep"
    )  # fmt: skip


def test_feed_of_a_repaired_driver_is_that_of_its_coil() -> None:
    # closed form: a surround changes no coil
    job = vehicle("re-edge@door-fl", "used@door-fl", found=TORN)
    ohms = [
        feed(job.build(plan)).figure("front-left.plug_resistance").value for plan in ("p0", "p1")
    ]
    assert ohms[0] is not None
    assert ohms[0] > 3.0
    assert ohms[0] == pytest.approx(ohms[1], abs=1e-9)
