"""What a channel must draw for its cones not to travel too far, by a second route."""

from __future__ import annotations

import random

import numpy as np
import pytest
from spaces import few_parts, searched

from conewright.job.text.parsing import loads
from conewright.stages.choose.mounted.branch_sums import MOVED_AT, Source, need_of
from conewright.stages.choose.mounted.output import Output
from conewright.stages.choose.mounted.plan_rows import MOST_TRAVEL

ONE = np.ones(len(MOVED_AT))
JOB = """
format = 1
[job]
title = "two cones on each output"
opened = 2026-03-02
currency = "EUR"
hour_rate = 40
[vehicle]
built = 2004
restraints = { curtain = "none", door_sensor = "none" }
[[seat]]
id = "driver"
ear = ["0.7 m", "0.4 m", "1.1 m"]
[head_unit]
name = "radio as fitted"
output = "bridge"
minimum_load = "2 ohm"
[[driver]]
id = "low"
size = "165 mm"
rated_impedance = "4 ohm"
[[driver]]
id = "small"
size = "100 mm"
rated_impedance = "8 ohm"
"""
PLACE = """
[[location]]
id = "{name}"
kind = "{kind}"
at = ["{x} m", "{y} m", "0.5 m"]
driver = "{driver}"
mount = {{ cutout = "{cutout} mm", glass_depth = ["90 mm"], trim_gap = "30 mm" }}
"""
CHANNEL = """
[[channel]]
id = "{side}"
load = "door-{side} | board-{side}"
cable = {{ length = "{cable} m", size = "0.75 mm2" }}
"""
CAVITY = 'cavity = {{ volume = "{volume} L" }}\n'


def _job(*, alike: bool) -> str:
    text = JOB
    for side, sign in (("l", ""), ("r", "-")):
        other = not alike and side == "r"
        text += CHANNEL.format(side=side, cable=9 if other else 4)
        for name, kind, x, driver, cutout in (
            ("door", "door", 0.9, "low", 148),
            ("board", "panel", 1.4, "small", 96),
        ):
            text += PLACE.format(
                name=f"{name}-{side}", kind=kind, x=x, y=f"{sign}0.7", driver=driver, cutout=cutout
            )
            text += CAVITY.format(volume=60 if other else 15) if name == "door" else ""
    return text


def _travel(source: Source, speed: float, admittance: complex) -> float:
    """Travel over Xmax where the first of volts, amps and feed gives way, straight from there."""
    output, flat = source.output, float(source.flat[0])
    left = 1.0 / (1.0 + source.impedance[0] * admittance)
    drawn = abs(admittance * left)
    together = float(source.beside[0]) + source.alike * flat * drawn
    lost = (1.0 + max(output.clip - output.own, 0.0) * drawn) / output.swing
    volts = output.supply / (flat * lost + output.sagging * together)
    fed = max(output.limit - output.quiet, 0.0) / (2.0 / np.pi * output.swing * together)
    return float(speed * abs(left) * min(volts, output.peak / (flat * drawn), fed))


@pytest.mark.parametrize("seed", range(40))
def test_a_cone_needs_what_lets_it_travel_just_as_far_as_it_may(seed: int) -> None:
    """A pure conductance behind a resistance makes every step of it an equality."""
    chance = random.Random(seed)
    output = Output(
        supply=chance.uniform(11.0, 15.0),
        feed=chance.uniform(0.0, 0.2),
        own=chance.uniform(0.02, 0.2),
        clip=chance.uniform(0.02, 0.6),
        peak=chance.uniform(2.0, 9.0),
        swing=chance.choice((0.5, 1.0)),
        quiet=0.2,
        limit=chance.choice((np.inf, 8.0)),
        borne=3.2,
    )
    source = Source(
        output,
        flat=chance.uniform(0.8, 1.5) * ONE,
        impedance=chance.uniform(0.05, 0.6) * ONE,
        alike=chance.choice((1, 2)),
        beside=chance.uniform(0.0, 0.6) * ONE,
    )
    speed = chance.uniform(0.14, 0.5)
    need = float(need_of(source, speed * ONE[np.newaxis], most=MOST_TRAVEL)[0, 0])
    if need > 0.0:
        assert _travel(source, speed, need) == pytest.approx(MOST_TRAVEL, rel=2e-6)
    turned = [0.999 * max(need, 0.01) * np.exp(1j * angle) for angle in np.linspace(-1.5, 1.5, 9)]
    if need > 0.01:
        assert min(_travel(source, speed, each) for each in turned) > MOST_TRAVEL


@pytest.mark.parametrize("alike", [True, False], ids=["alike", "sides apart"])
def test_plans_that_lack_travel_too_far(alike: bool) -> None:
    search = searched(loads(_job(alike=alike), "toml"), few_parts(5, driver=60), may=("driver",))
    plans = search.some_plans(1, 600)
    lacking = [plan for plan in plans if plan.lacking and not plan.overloaded]
    assert len(lacking) > 5
    for plan in lacking:
        _, found = search.worked_out(plan)
        assert found.travel[0] > MOST_TRAVEL, plan.picks
