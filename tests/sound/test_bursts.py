"""Rattles in simulated crawls, and what the finding of them must always do."""

from dataclasses import replace

import pytest

from conewright.errors import BadInputError
from conewright.sound.measured.bursts import (
    Crawl,
    Rattle,
    crawl_bursts,
    free_against_pressed,
    likely_parts,
)
from conewright.sound.recorded.clock import Clock
from simulator.draw import Simulated, random_crawl, recorded


def analysed(heard: Simulated, *, seconds: float = 12.0) -> Crawl:
    clock = heard.truth.clock
    return crawl_bursts(
        heard.samples,
        rate=heard.rate,
        clock=Clock(clock.start, clock.skew),
        begin=heard.truth.wanted.parts["tone"][0],
        seconds=seconds,
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(24))
def test_no_rattle_is_missed_and_none_is_invented(seed: int) -> None:
    # Simulated: drivers of up to 6 % second and 4 % third order, random cabins, phones and noise.
    heard = random_crawl(seed, rattling=seed % 2 == 0)
    found = analysed(heard)
    if not heard.truth.rattles:
        assert found.rattles == ()
        assert found.excess.max() < 1.0
        return
    (true,), (rattle,) = heard.truth.rattles, found.rattles
    # Three standard deviations of what the figures say of themselves.
    assert rattle.low == pytest.approx(true.low, rel=3 * rattle.spread)
    assert rattle.strongest == pytest.approx(true.strongest, rel=3 * rattle.spread)
    assert rattle.high == pytest.approx(true.high, rel=3 * rattle.spread)


@pytest.mark.parametrize("noise", ["engine", "fan", "hum", "road"])
def test_steady_noise_is_no_rattle(noise: str) -> None:
    truth = random_crawl(1, rattling=False).truth
    found = analysed(recorded(replace(truth, noises={**truth.noises, noise: -30.0})))
    assert found.rattles == ()


def test_two_rattles_are_told_apart() -> None:
    one, other = (random_crawl(6, rattling=True).truth for _ in "12")
    (low,) = one.rattles
    high = replace(low, low=180.0, strongest=210.0, high=240.0, level=0.3)
    found = analysed(recorded(replace(other, rattles=(low, high))))
    assert len(found.rattles) == 2
    assert found.rattles[1].strongest == pytest.approx(210.0, rel=0.1)


def test_a_figure_does_not_depend_on_the_recorder_s_gain() -> None:
    heard = random_crawl(2, rattling=True)
    quieter = replace(heard, samples=heard.samples / 8)
    (loud,), (soft,) = analysed(heard).rattles, analysed(quieter).rattles
    assert soft.low == loud.low
    assert soft.strongest == pytest.approx(loud.strongest, rel=1e-9)
    assert soft.excess == pytest.approx(loud.excess, abs=1e-9)


@pytest.fixture(scope="module")
def free() -> Simulated:
    return random_crawl(10, rattling=True)


def pressed(free: Simulated, falls: float) -> Crawl:
    (rattle,) = free.truth.rattles
    damped = replace(rattle, level=rattle.level * 10 ** (-falls / 20))
    # Another start draws other noise about the same clicks.
    clock = replace(free.truth.clock, start=0.77)
    return analysed(recorded(replace(free.truth, rattles=(damped,), clock=clock)))


def test_what_a_hand_stops_is_the_trim(free: Simulated) -> None:
    judged = free_against_pressed(free=analysed(free), pressed=pressed(free, 40.0))
    assert (judged.source, judged.odds, judged.masked) == ("trim", 0.9, False)
    assert judged.fall > 6.0


def test_what_a_hand_does_not_stop_is_not(free: Simulated) -> None:
    judged = free_against_pressed(free=analysed(free), pressed=pressed(free, 0.0))
    assert (judged.source, judged.odds) == ("driver-or-inside", 0.2)
    assert abs(judged.fall) < 3.0


def test_what_falls_a_little_is_not_conclusive(free: Simulated) -> None:
    judged = free_against_pressed(free=analysed(free), pressed=pressed(free, 5.0))
    assert (judged.source, judged.odds) == ("not-conclusive", 0.5)


def test_what_noise_would_hide_proves_nothing_by_its_absence(free: Simulated) -> None:
    loud = replace(free.truth, rattles=(), noises={"white": -15.0})
    judged = free_against_pressed(free=analysed(free), pressed=analysed(recorded(loud)))
    assert judged.masked
    assert judged.source == "not-conclusive"


def test_without_a_rattle_there_is_nothing_to_press() -> None:
    quiet = analysed(random_crawl(1, rattling=False))
    with pytest.raises(BadInputError, match="found no rattle"):
        free_against_pressed(free=quiet, pressed=quiet)


@pytest.mark.parametrize(
    ("strongest", "parts"),
    [
        (35.0, {"number plate"}),
        (105.0, {"lock rods", "edge of the trim"}),
        (300.0, {"loudspeaker grille"}),
        (190.0, {"edge of the trim", "loudspeaker grille"}),
        (900.0, set()),
    ],
)
def test_parts_are_those_whose_bands_hold_the_frequency(strongest: float, parts: set[str]) -> None:
    # Bands of the table; inside several of them the odds are equal.
    found = likely_parts(Rattle(strongest, strongest, strongest, 0.02, 10.0, 0.5))
    likely = {part.part for part in found if part.odds > 0.2}
    assert likely == parts
    if parts:
        assert sum(part.odds for part in found) == pytest.approx(1.0, abs=0.02)
        assert max(p.odds for p in found) == pytest.approx(1 / len(parts), abs=0.15)


def test_a_recording_without_the_crawl_is_refused() -> None:
    heard = random_crawl(1, rattling=False)
    clock = Clock(heard.truth.clock.start)
    with pytest.raises(BadInputError, match="only a part of the crawl"):
        crawl_bursts(heard.samples, rate=heard.rate, clock=clock, begin=1.75, seconds=90.0)
    with pytest.raises(BadInputError, match="at least 8000"):
        crawl_bursts(heard.samples, rate=4000.0, clock=clock, begin=1.75, seconds=12.0)
    late, cut = Clock(-1.7), heard.samples[: round(12.2 * heard.rate)]
    with pytest.raises(BadInputError, match="no silence"):
        crawl_bursts(cut, rate=heard.rate, clock=late, begin=1.75, seconds=12.0)
