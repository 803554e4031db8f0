"""A saloon with loudspeakers over the boot, one torn: what a practitioner would say.

Written before the job was run:

- The boot is the air behind the shelf: hundreds of litres, so that the cone rings as on its sheet;
  what holds its bass back is the way round through the gaps at the seat back.
- The torn one buzzes and has lost bass; its twin is as old and goes next, so both are replaced.
- New drivers cure the complaint and bring bass. Closing the gaps with felt brings several decibels
  at 40 Hz and takes some at 63 Hz, where the gaps had made a hump (first said: more everywhere;
  the minus is that of every leak that is closed). Over 40 to 100 Hz it comes out even.
- Mending the surround costs half of new ones and cures as well: either may be recommended.
- Closing the gaps and leaving the torn one cures nothing: such a plan is not recommended.
- Nothing is in the way behind a shelf but luggage: say so. There is no glass, no ring and no panel.
"""

from pathlib import Path

import pytest

import conewright as cw

JOB = cw.load(Path(__file__).parents[2] / "examples" / "shelf-saloon.toml")
FOUND = JOB.build()


def bass(proposal: str) -> float:
    found = cw.hear(JOB.build(proposal), FOUND).figure("driver.bass_change").value
    assert found is not None
    return found


def test_the_boot_is_behind_the_shelf() -> None:
    cavity = FOUND.location("shelf-l").cavity
    assert cavity is not None
    assert cavity.into_cabin
    assert cavity.volume.si == pytest.approx(0.43)
    assert cavity.cover == "none"


def test_the_torn_surround_is_told_and_costs_bass() -> None:
    report = cw.hear(FOUND)
    assert "surround" in " ".join(each.text for each in report.verdicts)
    sound = cw.load(Path(__file__).parents[2] / "examples" / "shelf-saloon.toml")
    mended = sound.model_copy(update={"findings": ()}).build()
    whole, torn = (cw.hear(each).figure("driver.bass_level").value for each in (mended, FOUND))
    assert whole is not None
    assert torn is not None
    assert whole - torn > 0.5


def test_new_drivers_bring_bass_and_a_tight_boot_reaches_deeper() -> None:
    assert bass("new-pair") > 1.0
    assert bass("new-pair-tight-boot") > 1.0
    pair, both = (cw.hear(JOB.build(p), FOUND) for p in ("new-pair", "new-pair-tight-boot"))
    gained = [
        (both.figure(name).value or 0.0) - (pair.figure(name).value or 0.0)
        for name in ("driver.level_change_40hz", "driver.level_change_63hz")
    ]
    assert gained[0] > 3.0
    assert gained[1] < -1.0


def test_a_plan_that_leaves_the_torn_one_cures_nothing() -> None:
    compared = cw.compare(JOB)
    odds = {
        name: compared.figure(f"{name}.cure_odds").value
        for name in ("new-pair", "new-pair-tight-boot", "tight-boot-only")
    }
    assert all(each is not None for each in odds.values())
    assert (odds["tight-boot-only"] or 0.0) < 0.1
    assert (odds["new-pair"] or 0.0) > 0.5
    assert "the gaps closed, the torn one left" not in compared.answer
    assert "19 in 20" in compared.answer


def test_the_shelf_is_judged_by_the_boot_below_it() -> None:
    fit = cw.fit(JOB.build("new-pair"), whole=False)
    own = [each for each in fit.verdicts if each.subject.startswith("shelf-")]
    assert any("luggage" in each.text for each in own)
    assert not [each for each in own if "glass" in each.text]
    rear = fit.figure("shelf-l.rear_clearance").value
    assert rear is not None
    assert rear > 50.0, "85 mm below a 65 mm basket"


def test_nobody_looks_for_a_panel_hole_in_a_shelf() -> None:
    found = cw.find(FOUND)
    assert not [each for each in found.figures if "panel-open@shelf" in each.id]


@pytest.mark.slow
def test_all_papers_are_made(tmp_path: Path) -> None:
    for proposal in ("new-pair", "new-pair-tight-boot"):
        assert cw.make(JOB.build(proposal), tmp_path / proposal).files
