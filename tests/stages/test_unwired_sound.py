"""A channel of which nobody knows what hangs on it is heard as what usually hangs there.

What each case must give was written down before it was run: closed forms where they are named,
else common practice, no source.
"""

import numpy as np
import pytest
from workbench import job, location

import conewright as cw
from bands import band
from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads
from conewright.pictures.hear import hear_title
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.hear.unwired_sound import heard_circuit, likely_wirings
from conewright.stages.report.data import Report, Severity

PLACES = {
    "door-fl": ("door", '["0.9 m", "0.8 m", "0.3 m"]', "cone"),
    "door-fr": ("door", '["0.9 m", "-0.8 m", "0.3 m"]', "cone"),
    "door-rl": ("door", '["-0.9 m", "0.8 m", "0.3 m"]', "cone"),
    "door-rr": ("door", '["-0.9 m", "-0.8 m", "0.3 m"]', "cone"),
    "post-fl": ("pillar", '["1.1 m", "0.8 m", "1.0 m"]', "dome"),
}


def car(
    loads_: dict[str, str],
    *readings: tuple[str, str],
    places: tuple[str, ...] = ("door-fl", "door-fr", "door-rl", "door-rr"),
    cone: str = "",
    more: str = "",
) -> Job:
    """A car of which only sizes are known, with loads by channel and ohms read at plugs."""
    lines = ['format = 1\n[head_unit]\nname = "radio"\nminimum_load = "4 ohm"']
    lines += ['[[seat]]\nid = "driver"\near = ["0.2 m", "0.4 m", "1.1 m"]']
    lines += [
        f'[[channel]]\nid = "{name}"\nload = "{load}"\ncable = {{ resistance = "0.2 ohm" }}'
        for name, load in loads_.items()
    ]
    lines += [
        f'[[location]]\nid = "{name}"\nkind = "{kind}"\nat = {at}\ndriver = "{driver}"'
        for name, (kind, at, driver) in PLACES.items()
        if name in places
    ]
    lines += [f'[[driver]]\nid = "cone"\nsize = "165 mm"\nage = "ageing"\n{cone}']
    lines += ['[[driver]]\nid = "dome"\nsize = "25 mm"\nage = "ageing"']
    lines += [
        f'[[reading]]\ntest = "pair-resistance"\nat = "{at}"\nvalue = "{said}"'
        for at, said in readings
    ]
    return loads("\n".join([*lines, more]))


def level(report: Report) -> float:
    """The level at the seat."""
    value = report.figure("driver.level").value
    assert value is not None
    return value


FRONT = {"front-left": "door-fl", "front-right": "door-fr"}
REAR = {"rear-left": "unknown", "rear-right": "unknown"}


def test_it_is_not_silent() -> None:
    played = cw.hear(car(FRONT | REAR).build())
    fronts = cw.hear(car(FRONT).build())
    assert level(played) > level(fronts) + 0.5


def test_the_central_state_is_the_likeliest_wiring() -> None:
    guessed = car({"front-left": "unknown"}, places=("door-fl",))
    known = car({"front-left": "door-fl"}, places=("door-fl",), cone='rated_impedance = "4 ohm"')
    [wirings] = likely_wirings(guessed.build())
    assert wirings.likely[0].topology == "one-4-ohm"
    one, other = (cw.hear(each.build()) for each in (guessed, known))
    for name in ("level", "bass_level", "max_clean_level", "bass_corner"):
        assert one.figure(f"driver.{name}").value == pytest.approx(
            other.figure(f"driver.{name}").value, rel=1e-9
        )


def test_every_draw_has_a_wiring_as_often_as_it_is_likely() -> None:
    build = car({"front-left": "unknown"}, places=("door-fl",)).build()
    [wirings] = likely_wirings(build)
    assert sum(wiring.chance for wiring in wirings.likely) == pytest.approx(1.0)
    solver = Solver(conditioned_draws(build, samples=1024), np.array([200.0, 1000.0]))
    plug = heard_circuit(build, solver).channels["front-left"].plug_resistance[1:, 0]
    chance = {wiring.topology: wiring.chance for wiring in wirings.likely}
    # Behind its capacitor a tweeter alone is open to direct current, and nothing else is.
    assert np.isinf(plug).mean() == pytest.approx(chance["tweeter-only"], abs=0.002)
    # Drivers in series, and none else but one of 8 ohm, read more than 5.5 ohm.
    high = np.isfinite(plug) & (plug > 5.6)
    assert high.mean() == pytest.approx(chance["two-series"] + chance["one-8-ohm"], abs=0.01)


def of_ohms(ohm: float) -> Report:
    """What one door plays with a driver of which the printed ohms are known."""
    cone = f'rated_impedance = "{ohm:g} ohm"'
    return cw.hear(car({"front-left": "door-fl"}, places=("door-fl",), cone=cone).build())


def read(ohms: str) -> Report:
    """What one door plays of which only the ohms at the plug were read."""
    guessed = car({"front-left": "unknown"}, ("front-left", ohms), places=("door-fl",))
    return cw.hear(guessed.build())


def test_the_band_holds_the_other_wirings() -> None:
    guessed = cw.hear(car({"front-left": "unknown"}, places=("door-fl",)).build())
    unknown, known = (band(each.figure("driver.level")) for each in (guessed, of_ohms(4)))
    assert unknown[2] - unknown[0] > 1.1 * (known[2] - known[0])


def test_ohms_at_the_plug_are_heard() -> None:
    # Closed form: at the same Q the efficiency of a type stays, so the level from the same volts
    # goes with 10 lg(1/R); 0.1 ohm of the radio and 0.2 ohm of cable take 20 lg(1 + 0.3/R) off it,
    # and somewhat less as the impedance is more than R: 0.3 dB between these.
    ohms = {"1.9 ohm": 1.75, "3.5 ohm": 3.4, "6.0 ohm": 5.8}
    expected = {said: -10 * np.log10(r) - 20 * np.log10(1 + 0.3 / r) for said, r in ohms.items()}
    found = {said: level(read(said)) for said in ohms}
    for said in ("1.9 ohm", "6.0 ohm"):
        change = expected[said] - expected["3.5 ohm"]
        assert found[said] - found["3.5 ohm"] == pytest.approx(change, abs=0.3)


def test_two_in_series_sound_like_one_of_them() -> None:
    # Closed form: each has half the volts, and two cones at one place add to twice the pressure;
    # what radio and cable take is halved as well, 20 lg(1 + 0.3/3.4) - 20 lg(1 + 0.3/6.8).
    assert level(read("7.4 ohm")) - level(of_ohms(4)) == pytest.approx(0.36, abs=0.2)


def test_a_channel_plays_at_the_corner_that_its_name_says() -> None:
    build = car({"fl": "unknown", "fr": "door-fr", "rl": "unknown", "rr": "door-rr"}).build()
    where = {each.channel: {*each.likely[0].roles} for each in likely_wirings(build)}
    assert where == {"fl": {"door-fl"}, "rl": {"door-rl"}}
    alone = car({"a": "unknown", "fr": "door-fr", "rl": "door-rl", "rr": "door-rr"}).build()
    assert [{*each.likely[0].roles} for each in likely_wirings(alone)] == [{"door-fl"}]


def test_treble_plays_where_a_small_driver_sits() -> None:
    job_ = car({"front-left": "unknown", "fr": "door-fr"}, places=(*FRONT.values(), "post-fl"))
    [wirings] = likely_wirings(job_.build())
    roles = {wiring.topology: {*wiring.roles} for wiring in wirings.likely}
    assert roles["with-small-tweeter"] == {"door-fl", "post-fl"}
    assert roles["tweeter-only"] == {"post-fl"}
    assert roles["one-4-ohm"] == {"door-fl"}
    said = next(v for v in cw.hear(job_.build()).verdicts if v.id == "front-left.likely-wiring")
    assert "played at door-fl and post-fl" in said.text
    assert said.severity is Severity.NOTE


def test_where_no_place_is_left_it_is_silent_and_that_is_said() -> None:
    full = car(FRONT | {"rear-left": "unknown"}, places=("door-fl", "door-fr"))
    report = cw.hear(full.build())
    said = next(v for v in report.verdicts if v.id == "rear-left.unknown")
    assert said.severity is Severity.WARN
    assert "no place is left that it could drive" in said.text
    assert "without rear-left" in hear_title(report, ("driver",))
    assert level(report) == pytest.approx(
        level(cw.hear(car(FRONT, places=("door-fl", "door-fr")).build())), abs=1e-9
    )


def test_the_title_of_the_picture_says_which_are_guessed() -> None:
    title = hear_title(cw.hear(car(FRONT | REAR).build()), ("driver",))
    assert title.endswith("(rear-left and rear-right by the odds of its wiring)")


def test_a_dead_output_plays_nothing_whatever_hangs_on_it() -> None:
    quiet = car(FRONT | REAR).with_finding("channel-dead", "rear-left")
    quiet = quiet.with_finding("channel-dead", "rear-right")
    assert level(cw.hear(quiet.build())) == pytest.approx(
        level(cw.hear(car(FRONT).build())), abs=1e-6
    )


def test_a_vehicle_of_which_no_wiring_is_known_is_answered() -> None:
    blank = car(dict.fromkeys(("fl", "fr", "rl", "rr"), "unknown"), more=PLAN)
    whole = car(FRONT | {"rear-left": "door-rl", "rear-right": "door-rr"})
    assert level(cw.hear(blank.build())) == pytest.approx(level(cw.hear(whole.build())), abs=0.5)
    assert cw.feed(blank.build()).answer.startswith("Nobody knows yet what hangs on fl, fr, rl and")
    compared = cw.compare(blank)
    assert ". ." not in compared.answer
    low, middle, high = band(compared.figure("known.overall_change_driver"))
    assert low < middle < high


PLAN = """
[[proposal]]
id = "known"
set = { "rl.load" = "door-rl", "rr.load" = "door-rr" }
"""


def test_a_change_elsewhere_does_not_move_what_is_unknown() -> None:
    more = '[[proposal]]\nid = "quieter"\nset = { "front-left.gain" = "-6 dB" }'
    build = car(FRONT | REAR, more=more)
    report = cw.hear(build.build("quieter"), build.build())
    low, middle, high = band(report.figure("driver.level_change"))
    # The wiring is drawn alike in both: the band is that of a change, not of what hangs there.
    assert high - low < 3.0
    assert middle < 0.0


def test_nobody_is_told_of_a_wiring_that_is_known() -> None:
    bench = job(location("woofer", "F165"), '[[channel]]\nid = "front"\nload = "woofer"\n')
    assert likely_wirings(bench.build()) == ()
    assert not [v for v in cw.hear(bench.build()).verdicts if v.id.endswith("likely-wiring")]
