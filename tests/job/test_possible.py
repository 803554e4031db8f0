"""What cannot be, once every gap is filled: refused with its path before the physics sees it."""

import pytest

from conewright.errors import JobError
from conewright.job.text.parsing import loads
from conewright.physics.acoustics.box import NEAREST
from conewright.physics.basics.air import Air
from conewright.physics.drivers.driver import acoustic_mass_free

JOB = """
format = 1
{vehicle}
[[seat]]
id = "driver"
ear = {ear}
[head_unit]
name = "radio"
[[channel]]
id = "left"
load = "door"
[[location]]
id = "door"
kind = "{kind}"
at = ["0.9 m", "0.7 m", "0.3 m"]
driver = "unknown"
[[driver]]
id = "unknown"
size = "165 mm"
{sheet}
"""
SEATED = '["0.3 m", "0.4 m", "1.1 m"]'


def text(*, vehicle: str = "", ear: str = SEATED, kind: str = "door", sheet: str = "") -> str:
    return JOB.format(vehicle=vehicle, ear=ear, kind=kind, sheet=sheet)


def refused(text: str) -> tuple[str, str, str]:
    with pytest.raises(JobError) as raised:
        loads(text).build()
    (problem,) = raised.value.problems
    return problem.path, problem.found, problem.allowed


def test_a_driver_may_be_called_unknown() -> None:
    assert loads(text()).build().location("door").driver.id == "unknown"


def test_an_ear_is_not_in_a_cone() -> None:
    path, found, allowed = refused(text(ear='["0.9 m", "0.7 m", "0.3 m ± 0.1 m"]'))
    assert path == "seat[driver].ear"
    assert found.startswith("0.9 m, 0.7 m, 0.3 m")
    assert "door" in allowed
    # Closed form: a place further up by a little more than the least distance is taken.
    loads(text(ear=f'["0.9 m", "0.7 m", "{0.3 + NEAREST + 1e-3} m"]')).build()


def test_a_cone_weighs_more_than_its_air() -> None:
    # Closed form: (8/3) rho a^3 of 124 cm2 is 0.796 g.
    air = float(acoustic_mass_free(air=Air(), sd=124e-4))
    assert air == pytest.approx(0.796e-3, rel=1e-3)
    path, found, allowed = refused(text(sheet='sd = "124 cm2"\nmms = "0.79 g"'))
    assert (path, found) == ("driver[unknown].mms", "a moving mass of 0.79 g")
    assert "0.796 g" in allowed
    loads(text(sheet='sd = "124 cm2"\nmms = "0.80 g"')).build()
    # On the bench no door takes the air off.
    loads(text(sheet='sd = "124 cm2"\nmms = "0.79 g"', kind="free")).build()


# --- The cabin and what stands in it ------------------------------------------------------------


def cabin(**given: str) -> str:
    """Return the job with edges of its cabin: an ear 1.1 m up, a door 0.9 m before the middle."""
    fields = "".join(f'cabin_{name} = "{value}"\n' for name, value in given.items())
    return text(vehicle=f"[vehicle]\n{fields}")


@pytest.mark.parametrize(
    ("given", "path", "figures"),
    [
        # By hand: 3.0 x 1.6 x 1.5 m is 7.2 m3, and 6.0 m3 is 17 % less.
        (
            {"length": "3.0 m", "width": "1.6 m", "height": "1.5 m", "volume": "6.0 m3"},
            "vehicle.cabin_volume",
            ("6 m3", "7.2 m3"),
        ),
        ({"height": "1.0 m"}, "vehicle.cabin_height", ("1 m", "1.1 m")),
        ({"length": "1.2 m"}, "location[door].at", ("0.9 m", "0.6 m")),
        ({"width": "1.0 m"}, "location[door].at", ("0.7 m", "0.5 m")),
    ],
)
def test_a_cabin_holds_what_is_in_it(
    given: dict[str, str], path: str, figures: tuple[str, str]
) -> None:
    found = refused(cabin(**given))
    assert found[0] == path
    assert all(each in " ".join(found[1:]) for each in figures)


def test_a_seat_beside_the_cabin_is_named() -> None:
    with pytest.raises(JobError) as raised:
        loads(cabin(width="0.6 m")).build()
    named = {problem.path: problem.allowed for problem in raised.value.problems}
    assert "0.4 m lies outside" in named["seat[driver].ear"]
    assert "0.3 m" in named["seat[driver].ear"]


def test_a_cabin_that_fits_is_taken() -> None:
    # 14 % less air than its edges make, and a cone 8 cm behind the trim.
    fits = {"length": "2.5 m", "width": "1.24 m", "height": "1.2 m", "volume": "3.2 m3"}
    assert loads(cabin(**fits)).build().vehicle.cabin_width.si == pytest.approx(1.24)
    # A spread holds what its middle does not.
    loads(cabin(height="1.05 m ± 0.1 m")).build()
    assert loads(cabin()).build().vehicle.cabin_length.spreads
