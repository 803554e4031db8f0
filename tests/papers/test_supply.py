"""Supply cables and their fuses; how long the battery lasts."""

import pytest
from plain_demo import plain_job, plain_text

import conewright as cw
from conewright.job.build.state import Build
from conewright.papers.press.refusals import Refusal
from conewright.papers.wiring.run import Run
from conewright.papers.wiring.supply import FeedPlan, SupplyPlan, supply
from conewright.stages.feed.stage import feed
from conewright.stages.report.data import Report, Severity

CABLE = {
    "fuse": "40 A",
    "fuse_distance": "200 mm",
    "length": "5.5 m",
    "size": "8.4 mm2",
    "metal": "copper",
    "route": "free",
    "current": "40 A",
}


@pytest.fixture(scope="module")
def report() -> Report:
    return feed(plain_job().build(), samples=1)


def amplifier(**changed: str | None) -> Build:
    """The demonstration vehicle with a cable to an added amplifier; None leaves a field out."""
    fields = {name: text for name, text in {**CABLE, **changed}.items() if text is not None}
    lines = "".join(f'{name} = "{text}"\n' for name, text in fields.items())
    cable = f'[[feed]]\nid = "amplifier-feed"\nto = "amplifier"\n{lines}\n[[reading]]'
    demo = plain_text().replace("[[reading]]", cable, 1)
    # the worked case has a full battery
    return cw.loads(demo.replace('rest_voltage = "12.5 V"', 'rest_voltage = "12.6 V"')).build()


def planned(report: Report, **changed: str | None) -> FeedPlan:
    plan = supply(amplifier(**changed), report=report)
    assert plan.refusals == ()
    return plan.feeds[0]


def refused(report: Report, **changed: str | None) -> Refusal:
    plan = supply(amplifier(**changed), report=report)
    assert plan.feeds == ()
    return plan.refusals[0]


def test_worked_case_of_an_amplifiers_cable(report: Report) -> None:
    # worked case of the trade: 40 A, 5.5 m, 8.4 mm2 copper; temperatures 5 K, resistances 2 %
    plan = planned(report)
    assert plan.drop_v.value == pytest.approx(0.52, rel=0.02)
    assert plan.music_drop_v == pytest.approx(0.15, abs=0.01)
    assert plan.free_c.value == pytest.approx(61.0, abs=5.0)
    assert plan.bundled_c.value == pytest.approx(110.0, abs=5.0)
    assert plan.run.short_current == pytest.approx(498.0, rel=0.02)
    assert plan.run.short_current / 40.0 == pytest.approx(12.5, rel=0.02)
    assert plan.fuse_colour == "amber"


@pytest.mark.parametrize(
    ("size", "metal", "drop", "free", "bundled", "overload"),
    [
        ("8.4 mm2", "clad-aluminium", 0.87, 76.0, 147.0, 270.0),
        ("13.3 mm2", "copper", 0.32, 51.0, 85.0, 109.0),
        ("8.4 mm2", "copper", 0.52, 61.0, 110.0, 166.0),
    ],
)
def test_worked_cases_of_other_cables(
    report: Report, size: str, metal: str, drop: float, free: float, bundled: float, overload: float
) -> None:
    run = planned(report, size=size, metal=metal).run
    assert run.drop(40.0).value == pytest.approx(drop, rel=0.02)
    assert run.temperature(40.0, route="free").value - 273.15 == pytest.approx(free, abs=5.0)
    assert run.temperature(40.0, route="bundled").value - 273.15 == pytest.approx(bundled, abs=5.0)
    assert run.temperature(54.0, route="bundled").value - 273.15 == pytest.approx(overload, abs=5.0)


def test_a_fuse_is_judged_by_the_least_short(report: Report) -> None:
    run = planned(report).run
    # Closed form: IEC 60228 allows more ohms than pure copper has, so less current.
    ratio = run.ohm_per_metre.most / run.ohm_per_metre.value
    assert run.short_current / ratio < run.least_short_current < run.short_current


def test_decisions_of_the_worked_case(report: Report) -> None:
    # 8.4 mm2 copper only alone in air, or with a 30 A fuse; clad 13.3 mm2 or larger; 5.3 rejected
    bundle = refused(report, route="bundled")
    assert "It gets 117 °C under 40 A for good" in bundle.sentence
    assert bundle.nearest == (
        "What would do: this cable with a 30 A fuse (green), or 13.3 mm² of the same metal with "
        "a 40 A fuse (amber)."
    )
    assert planned(report, route="bundled", fuse="30 A").run.safe
    assert planned(report, route="bundled", size="13.3 mm2").run.safe
    assert refused(report, route="bundled", size="5.3 mm2").subject == "amplifier-feed"
    clad = refused(report, route="bundled", metal="clad-aluminium")
    assert "21.2 mm²" in clad.nearest or "16 mm²" in clad.nearest


def test_a_bundle_refused_says_so_for_the_overload_too(report: Report) -> None:
    assert "may hold 54 A for ten minutes" in refused(report, route="bundled").sentence


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"fuse": None}, "No fuse at its source end"),
        ({"fuse": None, "fuse_distance": None}, "No fuse at its source end"),
        ({"fuse_distance": None}, "may be at the wrong end"),
        ({"fuse_distance": "5.3 m"}, "all of that burns unfused"),
        ({"fuse_distance": "460 mm"}, "all of that burns unfused"),
    ],
)
def test_no_plan_without_a_fuse_at_the_source(
    report: Report, changed: dict[str, str | None], reason: str
) -> None:
    refusal = refused(report, **changed)
    assert reason in refusal.sentence
    assert "450 mm" in refusal.nearest


def test_a_proposal_may_change_a_cable(report: Report) -> None:
    fields = {**CABLE, "route": "bundled"}
    lines = "".join(f'{name} = "{text}"\n' for name, text in fields.items())
    cable = f'[[feed]]\nid = "amplifier-feed"\nto = "amplifier"\n{lines}\n[[reading]]'
    demo = plain_text().replace("[[reading]]", cable, 1)
    change = '[proposal.set]\n"amplifier-feed.fuse" = "30 A"'
    job = cw.loads(demo.replace("[proposal.set]", change, 1))
    assert supply(job.build(), report=report).feeds == ()
    assert supply(job.build("put-right"), report=report).feeds[0].run.fuse == 30.0


def test_what_was_not_measured_is_named(report: Report) -> None:
    refusal = refused(report, size=None, current=None)
    assert refusal.sentence == "Not written down: size, current."


def test_a_long_thin_cable_leaves_the_fuse_in_doubt(report: Report) -> None:
    refusal = refused(report, size="4 mm2", length="25 m", fuse="30 A")
    assert "less than 6 times its fuse" in refusal.sentence


def test_a_cable_that_bears_its_fuse_only_free_says_so(report: Report) -> None:
    # The worked case of 8.4 mm2 at 40 A: 61 degrees alone in air, 110 bundled; rated for 105.
    told = [each.text for each in planned(report).findings]
    assert any("has to lie free all along" in text and "105 °C" in text for text in told)
    thick = [each.text for each in planned(report, size="16 mm2").findings]
    assert not any("has to lie free" in text for text in thick)


def test_what_was_taken_for_granted_is_said(report: Report) -> None:
    plan = planned(report, metal=None, route=None, fuse="15 A", size="10 mm2")
    notes = " ".join(each.text for each in plan.findings if each.severity is Severity.NOTE)
    assert "Taken for clad aluminium" in notes
    assert "60 °C" in notes
    assert "105 °C" in notes
    assert plan.run.metal == "clad-aluminium"


def test_a_fuse_smaller_than_what_is_asked_warns(report: Report) -> None:
    texts = [
        each.text
        for each in planned(report, fuse="20 A").findings
        if each.severity is Severity.WARN
    ]
    assert len(texts) == 1
    assert "Never a larger fuse" in texts[0]


def test_a_return_cable_doubles_the_drop(report: Report) -> None:
    single, double = planned(report), planned(report, return_by="cable")
    assert double.drop_v.value == pytest.approx(2.0 * single.drop_v.value, rel=1e-12)


def test_a_truck_battery_is_more_than_a_blade_breaks() -> None:
    # closed form: 25.2 V / 14 mohm = 1800 A; a blade fuse breaks 1000 A (data sheets to ISO 8820-3)
    run = Run(8.4e-6, 5.5, 40.0, "copper", "free", 313.15, 378.15, False, 25.2)
    assert run.near_short_current == pytest.approx(1800.0)


def test_thicker_metal_is_cooler_and_longer_cable_shorts_less() -> None:
    run = Run(4e-6, 4.0, 20.0, "copper", "bundled", 333.15, 378.15, False, 12.6)
    thicker = Run(6e-6, 4.0, 20.0, "copper", "bundled", 333.15, 378.15, False, 12.6)
    longer = Run(4e-6, 8.0, 20.0, "copper", "bundled", 333.15, 378.15, False, 12.6)
    assert thicker.temperature(20.0).value < run.temperature(20.0).value
    assert longer.short_current < run.short_current
    assert run.temperature(20.0).value < run.temperature(20.0).most


def test_the_radios_own_feed_is_asked_for_where_nobody_wrote_it_down(report: Report) -> None:
    plan = supply(plain_job().build(), report=report)
    assert (plan.feeds, plan.refusals) == ((), ())
    assert "nobody wrote down its fuse" in plan.unwritten
    assert "a 10 A fuse (red)" in plan.unwritten


def test_the_radios_own_feed(report: Report) -> None:
    cable = """
[[feed]]
id = "radio-feed"
to = "radio"
fuse = "15 A"
fuse_distance = "100 mm"
length = "3 m"
size = "4 mm2"

[[reading]]"""
    job = cw.loads(plain_text().replace("[[reading]]", cable, 1))
    plan = supply(job.build(), report=report)
    figures = {figure.id: figure.value for figure in report.figures}
    assert plan.unwritten == ""
    assert plan.feeds[0].asked_a == figures["head_unit.supply_current_sine"]
    assert plan.feeds[0].music_a == figures["head_unit.supply_current"]


def with_battery(health: float, capacity: str, current: str | None) -> SupplyPlan:
    demo = plain_text().replace('"70 Ah", health = 0.7', f'"{capacity}", health = {health}')
    if current is not None:
        reading = f'[[reading]]\ntest = "sleep-current"\nat = "vehicle"\nvalue = "{current}"\n'
        demo = demo.replace("[[reading]]", f"{reading}\n[[reading]]", 1)
    return supply(cw.loads(demo).build(), report=feed(plain_job().build(), samples=1))


@pytest.mark.parametrize(
    ("health", "capacity", "current", "days"),
    [
        (0.6, "45 Ah", "38 mA", 11.5),
        (0.6, "45 Ah", "85 mA", 5.2),
        (0.6, "45 Ah", "250 mA", 1.8),
        (1, "60 Ah", "38 mA", 24.7),
        (1, "60 Ah", "85 mA", 11.4),
        (1, "60 Ah", "250 mA", 4.0),
    ],
)
def test_days_to_no_start(health: float, capacity: str, current: str, days: float) -> None:
    # worked cases of the trade
    drain = with_battery(health, capacity, current).drain
    assert drain is not None
    assert drain.days == pytest.approx(days, abs=0.05)
    assert drain.source == "measured"


def test_without_a_reading_the_usual_vehicle_and_the_radio_are_taken() -> None:
    drain = with_battery(0.7, "70 Ah", None).drain
    assert drain is not None
    # 16 mA of a usual vehicle, 3 mA of this radio
    assert drain.current_a == pytest.approx(19e-3)
    assert drain.source == "a usual vehicle, and the radio"
    assert drain.finding.severity is Severity.GOOD
