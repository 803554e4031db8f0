"""Drivers that are not one round coil: ovals, two coils, ages."""

from math import pi
from typing import Any

import pytest

from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.builds.states.drivers import DriverState
from conewright.job.plausible.doubts import doubts_of
from conewright.job.text.parsing import from_dict

SHEET = {
    "rated_impedance": "4 ohm", "coil_re": "3.6 ohm", "fs": "32 Hz", "qms": 5.0, "qes": 0.5,
    "mms": "110 g", "sd": "480 cm2", "le": "1 mH",
}  # fmt: skip


def job(own: dict[str, Any] | None = None, **driver: Any) -> Job:
    return from_dict(
        {
            "format": 1,
            "head_unit": {"name": "radio"},
            "channel": [{"id": "left", "load": "door"}],
            "location": [
                {
                    "id": "door",
                    "kind": "free",
                    "at": ["0 m", "0 m", "0 m"],
                    "driver": "d",
                    "own": own or {},
                }
            ],
            "driver": [{"id": "d", **driver}],
        }
    )


def fitted(**driver: Any) -> DriverState:
    return job(**driver).build().location("door").driver


def re_spread(state: DriverState) -> float:
    quantity = dict(state.basis)["re"].quantity
    assert quantity.low is not None
    assert quantity.high is not None
    return quantity.high - quantity.low


# --- Two coils ----------------------------------------------------------------------------------


def test_two_coils_as_they_are_wired() -> None:
    # Closed form: both in series have 2 Re and 2 Bl of one coil, in parallel Re/2 and its Bl, with
    # the same Qes; one alone has Re and Bl of one, and twice that Qes.
    parallel, series, one = (
        fitted(coils=wired, **SHEET).figures() for wired in ("parallel", "series", "one")
    )
    assert parallel["re"] == pytest.approx(1.8, rel=1e-12)
    assert series["re"] == pytest.approx(7.2, rel=1e-12)
    assert one["re"] == pytest.approx(3.6, rel=1e-12)
    assert series["bl"] == pytest.approx(2 * parallel["bl"], rel=1e-12)
    assert one["bl"] == pytest.approx(parallel["bl"], rel=1e-12)
    assert parallel["bl"] == pytest.approx((2 * pi * 32 * 0.11 * 1.8 / 0.5) ** 0.5, rel=1e-9)
    assert (parallel["qes"], series["qes"], one["qes"]) == pytest.approx((0.5, 0.5, 1.0))
    for figures in (series, one):
        assert {name: figures[name] for name in ("mms", "cms", "sd", "fs", "qms")} == pytest.approx(
            {name: parallel[name] for name in ("mms", "cms", "sd", "fs", "qms")}, rel=1e-12
        )


def test_the_rating_and_the_inductance_follow_the_wiring() -> None:
    # 4 + 4 ohm are 2 ohm in parallel and 8 ohm in series; twice the turns have 4 times Le.
    for wired, rating, inductance in (("parallel", 2, 1), ("series", 8, 4), ("one", 4, 1)):
        driver = fitted(coils=wired, **SHEET)
        assert driver.rated_impedance is not None
        assert driver.rated_impedance.si == pytest.approx(rating, rel=1e-12)
        assert driver.coil.le is not None
        assert driver.coil.le.si == pytest.approx(inductance * 1e-3, rel=1e-12)


@pytest.mark.parametrize("beside", [{"qms": 5.0}, {"qes": 0.5}])
def test_a_total_q_with_one_coil_follows_too(beside: dict[str, float]) -> None:
    # Closed form: Qms stays, Qes doubles. Both from Qts 0.45454... with Qms 5 or Qes 0.5.
    rest = {name: each for name, each in SHEET.items() if name not in ("qms", "qes")}
    figures = fitted(coils="one", qts=5.0 * 0.5 / 5.5, **beside, **rest).figures()
    assert figures["qes"] == pytest.approx(1.0, rel=1e-9)
    assert figures["qms"] == pytest.approx(5.0, rel=1e-9)


def test_what_is_filled_of_two_coils_is_that_of_both() -> None:
    # From memory: a coil rated 4 ohm has 3.4; two of them 1.7 in parallel, with half the spread.
    one = fitted(size="300 mm", age="new", rated_impedance="4 ohm")
    both = fitted(size="300 mm", age="new", rated_impedance="4 ohm", coils="parallel")
    assert both.figures()["re"] == pytest.approx(one.figures()["re"] / 2, rel=1e-12)
    assert re_spread(both) == pytest.approx(re_spread(one) / 2, rel=1e-12)
    assert dict(both.basis)["re"].path == "d.coil_re"


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"coils": "series", "re": "3.6 ohm"}, "with two coils write coil_re"),
        ({"coil_re": "3.6 ohm"}, "say in coils how they are wired"),
        ({"coils": "both"}, "one of parallel, series, one is wanted"),
        ({"age": "antique"}, "one of new, ageing, old, repaired is wanted"),
        ({"diameter_long": "200 mm"}, "an oval cone has two axes"),
        ({"diameter": "210 mm", "diameter_long": "140 mm"}, "diameter is the short one"),
        ({"size": "6x9 in", "diameter": "140 mm"}, "give diameter_long beside diameter, or sd"),
        ({"frame": {"cutout_long": "220 mm"}}, "an oval has two axes"),
        ({"frame": {"outer": "240 mm", "outer_long": "160 mm"}}, "outer is the short one"),
    ],
)
def test_what_contradicts_itself_is_named_at_the_door(fields: dict[str, Any], says: str) -> None:
    with pytest.raises(JobError, match=r"driver\[d\]") as caught:
        job(**{"size": "165 mm", **fields})
    assert says in str(caught.value)


def test_ohms_read_at_both_coils_are_no_doubt_beside_those_of_one() -> None:
    read: dict[str, Any] = {"own": {"re": "1.9 ohm"}, "coils": "parallel", **SHEET}
    assert not [each for each in doubts_of(job(**read).to_dict()) if "own.re" in each.path]
    alone = {name: each for name, each in read.items() if name not in ("coils", "coil_re")}
    assert [each for each in doubts_of(job(**alone).to_dict()) if "own.re" in each.path]


# --- Ovals --------------------------------------------------------------------------------------


def test_the_area_of_an_oval_is_that_of_both_axes() -> None:
    # Closed form: pi/4 a b.
    sheet = fitted(size="6x9 in", age="new", diameter="135 mm", diameter_long="208 mm")
    assert sheet.figures()["sd"] == pytest.approx(pi / 4 * 0.135 * 0.208, rel=1e-12)


def test_an_oval_nobody_measured_has_typical_frames_along_both_axes() -> None:
    frame = fitted(size="5x7 in", age="ageing").frame
    assert frame.cutout_long is not None
    assert frame.outer_long is not None
    # From memory: the table of the trade, 128 x 182 mm and 142 x 206 mm.
    assert (frame.cutout.si, frame.cutout_long.si) == (0.128, 0.182)
    assert (frame.outer.si, frame.outer_long.si) == (0.142, 0.206)


def test_a_long_axis_is_not_guessed_beside_a_short_one_that_was_measured() -> None:
    frame = fitted(size="5x7 in", frame={"cutout": "130 mm"}).frame
    assert frame.cutout_long is None
    assert fitted(size="165 mm").frame.cutout_long is None


# --- Ages ---------------------------------------------------------------------------------------


def test_an_age_picks_its_typical_values_and_says_so() -> None:
    build = job(size="165 mm", age="old").build()
    fill = next(each for each in build.fills if each.path == "d.fs")
    assert "typical 165 mm old" in fill.source
    assert "rubber and cloth set" in fill.source
    aged = fitted(size="165 mm", age="ageing").figures()["fs"]
    assert fitted(size="165 mm", age="old").figures()["fs"] == pytest.approx(1.12 * aged, rel=1e-9)
