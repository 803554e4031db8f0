"""Supply cables, their fuses and the battery in feed's answer, against closed forms by hand.

The worked cases of an amplifier's cable and of the battery were computed apart from this project,
with their own code, rounded as quoted; temperatures hold to 5 K, resistances to 2 %.
"""

import re
from math import pi

import pytest
from workbench import channel, job, location

import conewright as cw
from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.builds.states.value import Origin
from conewright.stages.report.data import Report, Severity, Verdict

CABLE = {
    "id": "amplifier-feed",
    "to": "amplifier",
    "fuse": "40 A",
    "fuse_distance": "200 mm",
    "length": "5.5 m",
    "size": "8.4 mm2",
    "metal": "copper",
    "route": "free",
    "current": "40 A",
}
FULL = 'battery = { rest_voltage = "12.6 V" }'


def cable(**changed: str | None) -> str:
    """A cable as it is written in a job file; None leaves a field out."""
    fields = {name: text for name, text in {**CABLE, **changed}.items() if text is not None}
    lines = "".join(f'{name} = "{text}"\n' for name, text in fields.items())
    return f"[[feed]]\n{lines}\n"


def bench(*tables: str, vehicle: str = FULL) -> Job:
    return job(location("woofer", "F165"), channel("front", "woofer"), *tables, vehicle=vehicle)


def fed(*tables: str, vehicle: str = FULL, samples: int = 1) -> Report:
    return cw.feed(bench(*tables, vehicle=vehicle).build(), samples=samples)


def value(report: Report, name: str, id: str = "amplifier-feed") -> float:
    found = report.figure(f"{id}.{name}").value
    assert found is not None
    return found


def said(report: Report, name: str, id: str = "amplifier-feed") -> Verdict:
    return next(verdict for verdict in report.verdicts if verdict.id == f"{id}.{name}")


def names_of(report: Report, id: str = "amplifier-feed") -> set[str]:
    return {v.id.removeprefix(f"{id}.") for v in report.verdicts if v.subject == id}


# --- Figures ------------------------------------------------------------------------------------


def test_the_worked_case_of_an_amplifiers_cable() -> None:
    report = fed(cable())
    assert value(report, "fuse") == 40.0
    assert report.figure("amplifier-feed.fuse").text == "amber"
    assert value(report, "fuse_distance") == pytest.approx(200.0)
    assert value(report, "drop") == pytest.approx(0.52, rel=0.02)
    assert value(report, "drop_music") == pytest.approx(0.15, abs=0.01)
    assert value(report, "conductor_temperature") == pytest.approx(61.0, abs=5.0)
    assert value(report, "conductor_temperature_bundled") == pytest.approx(110.0, abs=5.0)
    assert value(report, "short_circuit_current") == pytest.approx(498.0, rel=0.02)
    assert value(report, "short_circuit_ratio") == pytest.approx(12.5, rel=0.02)


@pytest.mark.parametrize(
    ("size", "metal", "drop", "free", "bundled", "overload"),
    [
        ("8.4 mm2", "clad-aluminium", 0.87, 76.0, 147.0, 270.0),
        ("13.3 mm2", "copper", 0.32, 51.0, 85.0, 109.0),
        ("8.4 mm2", "copper", 0.52, 61.0, 110.0, 166.0),
    ],
)
def test_the_worked_cases_of_other_cables(
    size: str, metal: str, drop: float, free: float, bundled: float, overload: float
) -> None:
    report = fed(cable(size=size, metal=metal, route="bundled"))
    assert value(report, "drop") == pytest.approx(drop, rel=0.02)
    assert value(report, "conductor_temperature") == pytest.approx(free, abs=5.0)
    assert value(report, "conductor_temperature_bundled") == pytest.approx(bundled, abs=5.0)
    assert value(report, "conductor_temperature_overload") == pytest.approx(overload, abs=5.0)


def test_a_run_by_pencil() -> None:
    # IEC 60028: copper 17.241 nohm m, 0.393 % a kelvin; IEC 60228 class 5: 4 mm2 is 4.95 ohm/km.
    # 20 A, 3 m, 2.257 + 2.4 mm across, 10 W/(m2 K) in 40 C, 5 in 60 C; 14 mohm of battery and body.
    report = fed(cable(size="4 mm2", length="3 m", fuse="20 A"))
    pure, allowed = 17.241e-9 / 4e-6, 4.95e-3
    across = 2.0 * (4e-6 / pi) ** 0.5 + 2.4e-3

    def warm(ohms: float, transfer: float, air: float) -> float:
        rise = 400.0 * ohms / (transfer * pi * across)
        return float((air + rise * (1.0 - 0.00393 * 20.0)) / (1.0 - 0.00393 * rise))

    for ending, ohms in (("", pure), ("_most", allowed)):
        free = warm(ohms, 10.0, 40.0)
        drop = 20.0 * ohms * 3.0 * (1.0 + 0.00393 * (free - 20.0))
        assert value(report, f"conductor_temperature{ending}") == pytest.approx(free, rel=1e-6)
        bundled = value(report, f"conductor_temperature_bundled{ending}")
        assert bundled == pytest.approx(warm(ohms, 5.0, 60.0), rel=1e-6)
        assert value(report, f"drop{ending}") == pytest.approx(drop, rel=1e-6)
    short = 12.6 / (3.0 * pure + 0.014)
    assert value(report, "short_circuit_current") == pytest.approx(short, rel=1e-6)
    # IEC 60364-4-43: (k A/I)^2, k of copper in PVC 115 A s^0.5/mm2.
    stands = value(report, "insulation_withstand")
    assert stands == pytest.approx((115.0 * 4.0 / short) ** 2, rel=1e-6)


def test_a_return_cable_doubles_the_drop_and_leaves_the_body_out() -> None:
    single, double = fed(cable()), fed(cable(return_by="cable"))
    assert value(double, "drop") == pytest.approx(2.0 * value(single, "drop"), rel=1e-12)
    # Ohm's law by hand: out and back, and 10 mohm of battery.
    ohms = 2.0 * 5.5 * 17.241e-9 / 8.4e-6 + 0.010
    assert value(double, "short_circuit_current") == pytest.approx(12.6 / ohms, rel=1e-6)


def test_warmer_air_that_was_written_down_counts_where_the_cable_lies() -> None:
    usual, engine = fed(cable(route="bundled")), fed(cable(route="bundled", ambient="80 degC"))
    hotter = value(engine, "conductor_temperature_bundled")
    assert hotter > value(usual, "conductor_temperature_bundled") + 20.0
    assert value(engine, "conductor_temperature") == value(usual, "conductor_temperature")
    assert "in 80 °C" in engine.figure("amplifier-feed.conductor_temperature_bundled").label


def test_a_cable_without_steady_warmth_melts() -> None:
    # Fixed point of aluminium, ITS-90: 660.323 degC.
    report = fed(cable(size="1 mm2", metal="clad-aluminium", route="bundled"))
    assert value(report, "conductor_temperature_bundled") == pytest.approx(660.323, abs=1e-3)
    assert "over 200 °C" in said(report, "protection").text


def test_bands_come_from_the_spreads_that_were_written() -> None:
    report = fed(cable(length="4..5.5..7 m"), samples=256)
    drop = report.figure("amplifier-feed.drop")
    assert drop.low is not None
    assert drop.high is not None
    # Closed form: drop goes with length, whose 10 and 90 % points lie on two half log-normals.
    share = 1.2816 / 1.6449
    assert drop.low == pytest.approx(value(report, "drop") * (4 / 5.5) ** share, rel=0.02)
    assert drop.high == pytest.approx(value(report, "drop") * (7 / 5.5) ** share, rel=0.02)
    assert drop.origin is Origin.MEASURED
    warm = report.figure("amplifier-feed.conductor_temperature")
    assert warm.low == warm.high == warm.value
    assert warm.origin is Origin.TYPICAL


def test_every_headline_has_its_working() -> None:
    report = fed(cable(), vehicle='battery = { capacity = "60 Ah" }')
    worked = {each.figure: each for each in report.working}
    for name in (
        "drop",
        "conductor_temperature",
        "conductor_temperature_bundled",
        "short_circuit_current",
    ):
        working = worked[f"amplifier-feed.{name}"]
        assert "2.05 mohm a metre" in working.numbers
        assert "amplifier-feed.size" in working.inputs
    assert "vehicle.battery.capacity" in worked["vehicle.days_to_no_start"].inputs


def test_what_depends_on_nothing_known_says_so() -> None:
    report = fed('[[feed]]\nid = "bare"\nto = "amplifier"\n', vehicle="")
    for name in ("drop", "conductor_temperature", "conductor_temperature_bundled"):
        figure = report.figure(f"bare.{name}")
        assert figure.value is None
        assert figure.text == "not written down: fuse, length and size"
    assert report.figure("bare.fuse").text == "not written down"
    assert report.figure("vehicle.days_to_no_start").value is None
    assert "capacity" in (report.figure("vehicle.days_to_no_start").text or "")
    assert said(report, "fuse", "bare").severity is Severity.STOP
    assert "not written down: length, size, current." in said(report, "unwritten", "bare").text
    assert not any(verdict.id == "vehicle.drain" for verdict in report.verdicts)


def test_a_job_without_cables_has_no_figure_of_one() -> None:
    report = fed(vehicle="")
    assert {figure.subject for figure in report.figures} == {
        "front",
        "woofer",
        "head_unit",
        "vehicle",
    }
    # One output asks for little, but a radio with bridge outputs has 10 A as a rule, from memory;
    # ISO 8820-3: 10 A is red.
    assert 2.0 < value(report, "supply_current_sine", "head_unit") < 3.0
    assert value(report, "fuse", "head_unit") == 10.0
    assert report.figure("head_unit.fuse").text == "red"


# --- Verdicts -----------------------------------------------------------------------------------


def test_a_cable_that_its_fuse_protects() -> None:
    report = fed(cable(route="free"))
    assert said(report, "protection").severity is Severity.GOOD
    assert names_of(report) == {"protection", "route", "taken"}
    # The worked case: 61 degrees alone in air, 110 bundled; rated for 105.
    assert "has to lie free all along" in said(report, "route").text
    assert names_of(fed(cable(size="16 mm2", insulation="105 degC"))) == {"protection"}


def test_the_decisions_of_the_worked_case() -> None:
    # 8.4 mm2 copper only alone in air, or with a 30 A fuse; clad 13.3 mm2 or larger; 5.3 rejected
    bundle = said(fed(cable(route="bundled")), "protection")
    assert bundle.severity is Severity.WARN
    assert "It gets 117 °C under 40 A for good" in bundle.text
    assert "may hold 54 A for ten minutes" in bundle.text
    assert bundle.text.endswith(
        "What would do: this cable with a 30 A fuse (green), or 13.3 mm² of the same metal with "
        "a 40 A fuse (amber)."
    )
    for changed in ({"fuse": "30 A"}, {"size": "13.3 mm2"}):
        good = said(fed(cable(route="bundled", **changed)), "protection")
        assert good.severity is Severity.GOOD
    thin = said(fed(cable(route="bundled", size="5.3 mm2")), "protection")
    assert thin.severity is Severity.WARN
    clad = said(fed(cable(route="bundled", metal="clad-aluminium")), "protection")
    assert "21.2 mm²" in clad.text or "16 mm²" in clad.text


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"fuse": None}, "no fuse at its source end"),
        ({"fuse": None, "fuse_distance": None}, "no fuse at its source end"),
        ({"fuse_distance": None}, "may be at the wrong end"),
        ({"fuse_distance": "5.3 m"}, "all of that burns unfused"),
        ({"fuse_distance": "460 mm"}, "all of that burns unfused"),
    ],
)
def test_a_fuse_that_is_not_at_the_source_end_stops(
    changed: dict[str, str | None], reason: str
) -> None:
    report = fed(cable(**changed))
    stop = said(report, "fuse")
    assert stop.severity is Severity.STOP
    assert reason in stop.text
    assert "450 mm" in stop.text
    assert "protection" not in names_of(report)


def test_a_long_thin_cable_leaves_the_fuse_in_doubt() -> None:
    thin = said(fed(cable(size="4 mm2", length="25 m", fuse="30 A")), "protection")
    # Ohm's law by hand, 4 mm2 at 4.95 ohm/km (IEC 60228): 12.6 V / (0.12375 + 0.014) ohm.
    assert "may draw 91 A only, less than 6 times its fuse" in thin.text


def test_what_was_taken_for_granted_is_said() -> None:
    report = fed(cable(metal=None, route=None, fuse="15 A", size="10 mm2"))
    taken = said(report, "taken")
    assert taken.severity is Severity.NOTE
    for words in ("taken for clad aluminium", "in air of 60 °C", "105 °C"):
        assert words in taken.text
    fills = {fill.path: fill.origin for fill in report.fills}
    assert fills["amplifier-feed.metal"] is fills["amplifier-feed.route"] is Origin.ASSUMED
    assert fills["amplifier-feed.ambient"] is Origin.TYPICAL
    own = fed(cable(id="own", to="radio", metal=None))
    assert "taken for copper" in said(own, "taken", "own").text


def test_a_fuse_smaller_than_what_is_asked_warns() -> None:
    report = fed(cable(fuse="20 A"))
    assert said(report, "asked").severity is Severity.WARN
    assert "Never a larger fuse" in said(report, "asked").text


def test_an_amplifier_whose_fuses_nobody_added_up() -> None:
    report = fed(cable(current=None))
    assert report.figure("amplifier-feed.asked_current").value is None
    assert report.figure("amplifier-feed.drop_music").value is None
    assert "not written down: current" in said(report, "unwritten").text
    assert said(report, "protection").severity is Severity.GOOD


def test_a_lossy_cable_warns() -> None:
    # By hand: 0.3 of 40 A through 5.5 m of 2.5 mm2, 6.9 mohm/m, 1.11 of that at 48 degC.
    report = fed(cable(size="2.5 mm2", fuse="15 A"))
    assert said(report, "drop").severity is Severity.WARN
    assert value(report, "drop_music") == pytest.approx(0.505, rel=0.01)


def test_a_truck_battery_is_more_than_a_blade_breaks() -> None:
    # closed form: 25.2 V / (14 + 0.41) mohm = 1749 A, 0.41 mohm of it the cable up to the fuse; a
    # blade fuse breaks 1000 A (data sheets to ISO 8820-3)
    report = fed(cable(), vehicle='battery = { rest_voltage = "25.2 V" }')
    assert "draws 1749 A" in said(report, "breaking").text
    assert "breaking" not in names_of(fed(cable()))


def test_the_radios_own_cable_is_asked_for_what_the_radio_draws() -> None:
    report = fed(cable(id="own", to="radio", current=None, fuse="10 A"))
    sine, music = (report.figure(f"head_unit.supply_current{end}") for end in ("_sine", ""))
    assert report.figure("own.asked_current").value == sine.value
    # By hand: as good as 1.9 A over 5.5 m of 8.4 mm2, whose loss in warmth is nothing.
    drop = (music.value or 0.0) * 5.5 * 17.241e-9 / 8.4e-6 * (1.0 + 0.00393 * 20.0)
    assert value(report, "drop_music", "own") == pytest.approx(drop, rel=0.01)


# --- A stranger's job ---------------------------------------------------------------------------

STRANGER = """
[[feed]]
id = "sub-amp"
to = "amplifier"
fuse = "60 A"
fuse_distance = "4.8 m"
length = "5 m"
size = "8 AWG"
metal = "clad-aluminium"

[[proposal]]
id = "new-cable"
[proposal.set]
"sub-amp.size" = "35 mm2"
"sub-amp.metal" = "copper"
"sub-amp.fuse_distance" = "20 cm"

[[proposal]]
id = "turned"
[proposal.set]
"front.load" = "-woofer"
"""


def test_a_clad_cable_with_its_fuse_at_the_wrong_end_is_warned_of() -> None:
    report = fed(STRANGER)
    assert said(report, "fuse", "sub-amp").severity is Severity.STOP
    assert "4.8 m along the cable" in said(report, "fuse", "sub-amp").text
    assert "its fuse does not protect it" in said(report, "protection", "sub-amp").text
    assert "sub-amp: its fuse sits 4.8 m" in str(report).replace("\n       ", " ")


def test_a_plan_that_changes_the_cable_shows_other_figures() -> None:
    found = bench(STRANGER)
    before, new, turned = (
        cw.feed(found.build(plan), samples=1) for plan in (None, "new-cable", "turned")
    )
    for name in ("drop", "conductor_temperature", "short_circuit_current", "fuse_distance"):
        assert value(new, name, "sub-amp") != value(before, name, "sub-amp")
        assert value(turned, name, "sub-amp") == value(before, name, "sub-amp")
    assert said(new, "protection", "sub-amp").severity is Severity.GOOD
    assert new.figure("sub-amp.fuse_distance").origin is Origin.ASSUMED  # planned, not measured


def test_compare_warns_of_the_cable_and_shows_what_the_plan_changes() -> None:
    report = cw.compare(bench(STRANGER), samples=16)
    worst = {verdict.subject: verdict for verdict in reversed(report.verdicts)}
    assert worst["as-found"].severity is worst["turned"].severity is Severity.STOP
    assert "4.8 m along the cable" in worst["as-found"].text
    assert worst["new-cable"].severity is not Severity.STOP
    warm = {
        build: value(report, "conductor_temperature", build)
        for build in ("as-found", "new-cable", "turned")
    }
    assert warm["new-cable"] < warm["as-found"] == warm["turned"]
    fresh = cw.feed(bench(STRANGER).build("new-cable"), samples=1)
    bundled = value(fresh, "conductor_temperature_bundled", "sub-amp")
    assert warm["new-cable"] == pytest.approx(bundled)
    assert "supply cable" in str(report)


def test_what_a_plan_sets_is_not_taken_for_granted() -> None:
    own = cable(metal=None, route=None)
    plan = """
[[proposal]]
id = "new"
[proposal.set]
"amplifier-feed.metal" = "copper"
"amplifier-feed.route" = "free"
"amplifier-feed.insulation" = "125 degC"
"""
    here = bench(own, plan)
    found, planned = (cw.feed(here.build(build), samples=1) for build in (None, "new"))
    assert "taken for clad aluminium" in said(found, "taken").text
    assert "taken as bundled" in said(found, "taken").text
    assert "taken" not in names_of(planned)


def test_the_working_of_the_drop_can_be_done_again_by_hand() -> None:
    numbers = next(w.numbers for w in fed(cable()).working if w.figure == "amplifier-feed.drop")
    # Closed form from what is printed: I r L (1 + 0.00393 (T - 20)).
    found = {name: float(text) for name, text in re.findall(r"\b([IrLT]) ([\d.]+)", numbers)}
    ohms = 1e-3 * found["r"] * found["L"] * (1.0 + 0.00393 * (found["T"] - 20.0))
    assert found["I"] * ohms == pytest.approx(value(fed(cable()), "drop"), rel=5e-3)


@pytest.mark.parametrize(
    ("field", "text", "allowed"),
    [
        ("length", "1e9 m", "0.01 to 100 m"),
        ("fuse", "1e9 A", "0.05 to 1000 A"),
        ("current", "40000 A", "0.01 to 1000 A"),
        ("fuse_distance", "48 m", "which is 5.5 m long"),
    ],
)
def test_what_no_cable_of_a_vehicle_has_is_refused(field: str, text: str, allowed: str) -> None:
    with pytest.raises(JobError) as caught:
        bench(cable(**{field: text})).build()
    assert f"feed[amplifier-feed].{field}: found" in str(caught.value)
    assert allowed in str(caught.value)


# --- The battery --------------------------------------------------------------------------------


def sleeping(current: str | None, battery: str) -> Report:
    reading = f'[[reading]]\ntest = "sleep-current"\nat = "vehicle"\nvalue = "{current}"\n'
    return fed(reading if current else "", vehicle=f"battery = {{ {battery} }}", samples=256)


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
    report = sleeping(current, f'capacity = "{capacity}", health = {health}')
    assert value(report, "days_to_no_start", "vehicle") == pytest.approx(days, abs=0.05)
    assert report.figure("vehicle.sleep_current").text == "measured"
    severity = said(report, "drain", "vehicle").severity
    assert severity is (
        Severity.GOOD if days > 21 else Severity.NOTE if days > 10 else Severity.WARN
    )


def test_without_a_reading_the_usual_vehicle_and_the_radio_are_taken() -> None:
    report = sleeping(None, 'capacity = "70 Ah"')
    current = report.figure("vehicle.sleep_current")
    # 8..16..30 mA of a usual vehicle, 1..3..10 mA of a radio
    assert current.value == pytest.approx(19.0)
    assert current.low is not None
    assert current.high is not None
    assert 11.0 < current.low < 19.0 < current.high < 33.0
    assert current.text == "a usual vehicle, and the radio"
    assert report.figure("vehicle.battery_charge").text == "battery taken as new"
    days = report.figure("vehicle.days_to_no_start")
    assert days.origin is Origin.ASSUMED
    # Closed form: 0.4 Q / (I + 0.001 Q a day), Q 70 Ah.
    assert days.value == pytest.approx(0.4 * 70 / (0.019 * 24 + 0.001 * 70), rel=1e-6)


@pytest.mark.parametrize(
    ("built", "most"),
    [
        # Common practice, no source: no computer, no memory: a clock and the rectifier's leak.
        (1954, 5.0),
        (1972, 5.0),
        # One control unit or two, a radio that keeps its stations.
        (1990, 26.0),
        (2009, 35.0),
    ],
)
def test_asleep_a_vehicle_draws_what_its_years_had(built: int, most: float) -> None:
    vehicle = f'built = {built}\nbattery = {{ capacity = "70 Ah" }}'
    report = fed("", vehicle=vehicle, samples=256)
    current = report.figure("vehicle.sleep_current")
    assert current.low is not None
    assert current.high is not None
    assert current.value is not None
    assert 0.0 <= current.low < current.value < current.high < most
    assert (current.value < 3.0) is (built < 1985)
    assert (f"of {built}" in (current.text or "")) is (built < 1998)


def test_a_reading_in_words_tells_no_current() -> None:
    report = sleeping("normal", 'capacity = "70 Ah"')
    assert report.figure("vehicle.sleep_current").text == "a usual vehicle, and the radio"


def test_a_spread_reading_gives_its_band() -> None:
    report = sleeping("30 mA ± 10 mA", 'capacity = "60 Ah", health = 1')
    current = report.figure("vehicle.sleep_current")
    # Normal of 95 % within 10 mA: 10 % point 1.2816/1.96 of it below.
    assert current.low == pytest.approx(30.0 - 10.0 * 1.2816 / 1.96, abs=0.2)
