"""What cannot be, once every gap is filled: refused with its path before the physics sees it."""

import pytest

from conewright.errors import JobError
from conewright.job.builds.possible import NEAREST_EAR
from conewright.job.text.parsing import loads
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
    loads(text(ear=f'["0.9 m", "0.7 m", "{0.3 + NEAREST_EAR + 1e-3} m"]')).build()


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
