"""A driver's sheet against itself: which figures are used, how far the others are off."""

import re
from math import log10, pi, sqrt

import pytest

from conewright.job.builds.job import Job
from conewright.job.document.document import DriverSheet
from conewright.job.plausible.sheet_figures import SheetFinding, sheet_findings
from conewright.job.text.parsing import loads
from conewright.job.text.starter import demo_text
from conewright.physics.basics.air import Air
from conewright.physics.drivers.trust import accepted_names, contradiction

RHO, C = Air().density, Air().speed_of_sound


@pytest.fixture(scope="module")
def job() -> Job:
    return loads(demo_text())


def findings(**fields: object) -> dict[str, SheetFinding]:
    sheet = DriverSheet.model_validate({"id": "d", **fields})
    return {each.parameter: each for each in sheet_findings(sheet)}


def test_what_follows_is_not_used_again() -> None:
    assert accepted_names(["qts", "qes", "qms"]) == ("qms", "qes")
    assert accepted_names(["bl", "fs", "qms", "qes", "re", "vas", "sd", "mms", "cms"]) == (
        "re", "fs", "qms", "qes", "sd", "vas",
    )  # fmt: skip
    assert accepted_names(["qts", "qms", "mms", "cms", "fs"]) == ("fs", "qms", "qts", "mms")
    assert accepted_names(["diameter", "sd"]) == ("sd",)
    assert accepted_names(["sensitivity"]) == ()


def test_a_sheet_without_spare_figures_has_nothing_to_check() -> None:
    assert findings(re="3.4 ohm", fs="78 Hz", qms=5.0, qes=0.78, vas="4.6 L", sd="84 cm2") == {}
    assert findings() == {}


def test_total_q_against_its_parts() -> None:
    # Closed form: 5 x 0.78 / 5.78 = 0.67474.
    found = findings(qms=5.0, qes=0.78, qts=0.75)["qts"]
    again = 5.0 * 0.78 / 5.78
    assert found.recomputed == pytest.approx(again, rel=1e-12)
    assert found.difference == pytest.approx(100 * (0.75 / again - 1), rel=1e-12)
    assert (found.unit, found.flagged, found.used) == ("%", True, ("qms", "qes"))
    assert found.text == (
        "d: the sheet's Qts of 0.75 is 11.2 % above the 0.675 that follows from Qms and Qes, "
        "which are used"
    )


def test_force_factor_through_two_steps() -> None:
    # Closed form: Cms = Vas/(rho c^2 Sd^2), Mms = 1/(ws^2 Cms), Bl = sqrt(ws Mms Re/Qes).
    found = findings(
        re="3.4 ohm", fs="78 Hz", qms=5.0, qes=0.78, vas="4.6 L", sd="84 cm2", bl="4.0 T m"
    )["bl"]
    cms = 4.6e-3 / (RHO * C**2 * 84e-4**2)
    mms = 1 / ((2 * pi * 78) ** 2 * cms)
    again = sqrt(2 * pi * 78 * mms * 3.4 / 0.78)
    assert found.recomputed == pytest.approx(again, rel=1e-9)
    assert found.difference == pytest.approx(100 * (4.0 / again - 1), rel=1e-6)
    assert set(found.used) == {"re", "fs", "qes", "sd", "vas"}


@pytest.mark.parametrize(("qts", "flagged"), [(0.703, False), (0.712, True), (0.635, True)])
def test_five_percent_is_the_mark(qts: float, flagged: bool) -> None:
    # Closed form: 0.67474 is 4.2 % below 0.703, 5.5 % below 0.712, 5.9 % above 0.635.
    assert findings(qms=5.0, qes=0.78, qts=qts)["qts"].flagged is flagged


@pytest.mark.parametrize(("advertised", "flagged"), [("90 dB", False), ("92 dB", True)])
def test_advertised_level(job: Job, advertised: str, flagged: bool) -> None:
    # Closed form: eta0 = 4 pi^2 fs^3 Vas/(c^3 Qes), p^2 = rho c eta0 V^2/(Re 2 pi) at 1 m.
    raw = job.driver("slim-130").model_dump(mode="json", exclude_unset=True)
    sheet = DriverSheet.model_validate(raw | {"sensitivity": advertised})
    (found,) = sheet_findings(sheet)
    eta0 = 4 * pi**2 * 78**3 * 4.6e-3 / (C**3 * 0.78)
    again = 20 * log10(sqrt(RHO * C * eta0 * 2.83**2 / (3.4 * 2 * pi)) / 20e-6)
    assert found.parameter == "sensitivity"
    assert found.recomputed == pytest.approx(again, abs=1e-9)
    assert found.difference == pytest.approx(found.given - again, abs=1e-9)
    assert (found.unit, found.flagged) == ("dB", flagged)
    assert re.search(r"advertised|sensitivity of 9\d", found.text)


def test_demo_sheets_agree_within_a_decibel(job: Job) -> None:
    found = [each for driver in job.drivers for each in sheet_findings(driver)]
    assert [(each.driver, each.parameter, each.flagged) for each in found] == [
        ("slim-130", "sensitivity", False),
        ("deep-165", "sensitivity", False),
    ]


def test_a_consistent_sheet_agrees_everywhere() -> None:
    # Closed form: every figure computed from re, fs, qms, qes, sd and vas.
    fs, qms, qes, sd, vas, ohms = 62.0, 5.0, 0.72, 130e-4, 10.4e-3, 3.3
    cms = vas / (RHO * C**2 * sd**2)
    mms = 1 / ((2 * pi * fs) ** 2 * cms)
    found = findings(
        re=f"{ohms} ohm", fs=f"{fs} Hz", qms=qms, qes=qes, sd=f"{sd} m2", vas=f"{vas} m3",
        cms=f"{cms:.9e} m/N", mms=f"{mms:.9e} kg", rms=f"{2 * pi * fs * mms / qms:.9e} kg/s",
        bl=f"{sqrt(2 * pi * fs * mms * ohms / qes):.9e} T m",
        diameter=f"{sqrt(4 * sd / pi):.9e} m", qts=qms * qes / (qms + qes),
    )  # fmt: skip
    assert set(found) == {"cms", "mms", "rms", "bl", "diameter", "qts"}
    for each in found.values():
        assert each.difference == pytest.approx(0.0, abs=1e-5)
        assert not each.flagged


def test_impossible_sheets() -> None:
    assert contradiction({"qms": 5.0, "qes": 0.7}) is None
    reason = contradiction({"qms": 0.6, "qts": 0.7})
    assert reason is not None
    assert "qts must be below qms" in reason
    # A figure that is only checked makes no sheet impossible.
    assert contradiction({"qms": 5.0, "qes": 0.7, "qts": 0.9}) is None
    assert findings(qms=5.0, qes=0.7, qts=0.9)["qts"].flagged
