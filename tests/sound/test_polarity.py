"""Polarity: odds, near fields of a simulated cone, seats in image-source cabins."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.acoustics.box import box_modes, box_pressure
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.measured.polarity import (
    NEAR_FIELD,
    SEAT_BY_BANDS,
    SEAT_BY_TONES,
    Evidence,
    PairPhases,
    bass_pair,
    combined_polarity,
    evidence_of,
    near_field_phases,
    near_field_sign,
    reversed_odds,
    seat_phases,
)

RATE = 48_000.0
GRID = np.arange(30.0, 100.0, 1.0)
TONES = np.array([50.0, 63.0, 80.0])

angles = st.lists(st.floats(-3.1, 3.1), min_size=1, max_size=10).map(np.array)


# --- Odds -------------------------------------------------------------------------------------


@given(phases=angles, sigma=st.floats(0.3, 2.0), weight=st.floats(0.1, 1.0))
def test_reversing_one_side_turns_the_odds_round(
    phases: FloatArray, sigma: float, weight: float
) -> None:
    # invariant: P(phi + pi) = 1 - P(phi), and never nearer to sure than the slip
    odds = reversed_odds(phases, sigma=sigma, weight=weight)
    turned = reversed_odds(phases + np.pi, sigma=sigma, weight=weight)
    assert odds + turned == pytest.approx(1.0, abs=1e-9)
    assert 0.01 <= odds <= 0.99


@given(phase=st.floats(0.0, 3.1), more=st.floats(0.01, 0.5))
def test_a_phase_nearer_to_half_a_turn_is_likelier_reversed(phase: float, more: float) -> None:
    # invariant: monotonic up to half a turn, even in the sign of the phase
    def odds(angle: float) -> float:
        return reversed_odds(np.array([angle]), sigma=0.9, weight=0.5)

    assert odds(min(phase + more, np.pi)) >= odds(phase)
    assert odds(-phase) == pytest.approx(odds(phase))


def test_a_quarter_turn_says_nothing() -> None:
    # closed form
    assert reversed_odds(np.array([np.pi / 2, -np.pi / 2]), sigma=0.8, weight=0.5) == 0.5


@pytest.mark.parametrize(
    ("phases", "more", "words"),
    [
        (np.zeros(0), {}, "at least one phase"),
        (np.array([np.nan]), {}, "every one finite"),
        (np.zeros(2), {"sigma": 0.0}, "sigma must be above zero"),
        (np.zeros(2), {"weight": -1.0}, "weight must be above zero"),
        (np.zeros(2), {"slip": 0.5}, "slip must be from 0"),
    ],
)
def test_odds_of_nothing_are_refused(
    phases: FloatArray, more: dict[str, float], words: str
) -> None:
    given_all: dict[str, Any] = {"sigma": 0.8, "weight": 0.5, **more}
    with pytest.raises(OutOfRangeError, match=words):
        reversed_odds(phases, **given_all)


# --- Methods together -------------------------------------------------------------------------


def evidence(name: str, odds: float, *recordings: str) -> Evidence:
    return Evidence(name, odds, frozenset(recordings))


def test_two_methods_of_different_recordings_multiply_their_odds() -> None:
    # closed form: 19 times 9, over 1 more
    both = combined_polarity([evidence("near-field", 0.95, "a", "b"), evidence("sides", 0.9, "c")])
    assert both.odds == pytest.approx(171 / 172)
    assert both.agreed
    assert both.methods == ("near-field", "sides")


def test_of_methods_that_share_a_recording_the_least_sure_counts() -> None:
    found = combined_polarity(
        [evidence("sides", 0.97, "c"), evidence("bass", 0.8, "c"), evidence("near-field", 0.9, "a")]
    )
    assert found.odds == pytest.approx(36 / 37)  # closed form: 4 times 9
    assert found.methods == ("bass", "near-field")


def test_methods_that_contradict_each_other_are_not_believed() -> None:
    found = combined_polarity([evidence("near-field", 0.99, "a"), evidence("sides", 0.2, "b")])
    assert not found.agreed
    assert found.odds == 0.2
    with pytest.raises(BadInputError, match="no method was measured"):
        combined_polarity([])


# --- Near field -------------------------------------------------------------------------------


def cone(
    *, fs: float = 70.0, q: float = 0.7, delay: float = 0.0, gain: float = 1.0, seed: int = 0
) -> FloatArray:
    """Pressure close before a cone for a click, with hiss: its acceleration, high-passed at fs.

    Closed form of the second-order high-pass, then a low-pass of the coil at 2 kHz.
    """
    size = 1 << 15
    f = np.fft.rfftfreq(size, 1 / RATE)
    s = 1j * f / fs
    response = s**2 / (s**2 + s / q + 1) / (1 + 1j * f / 2000)
    late = np.exp(-2j * np.pi * f * (0.1 + delay))
    found = gain * np.fft.irfft(response * late, size)
    hiss = np.random.default_rng(seed).standard_normal(size)
    return np.asarray(found + 0.002 * np.abs(found).max() * hiss)


@pytest.mark.parametrize("gain", [1.0, -1.0, 0.02, -30.0])
@pytest.mark.parametrize("fs", [45.0, 90.0, 160.0])
def test_the_first_swing_has_the_sign_of_the_drive(gain: float, fs: float) -> None:
    # closed form: a mass goes first where it is pushed
    assert near_field_sign(cone(fs=fs, gain=gain), rate=RATE) == np.sign(gain)


@pytest.mark.parametrize("turned", [1.0, -1.0])
@pytest.mark.parametrize("delay", [-1.1e-3, 0.0, 0.4e-3])
def test_near_fields_of_twins_tell_a_reversed_one(turned: float, delay: float) -> None:
    # closed form: twins 10 % apart in resonance, one of them late and turned
    left = cone(fs=70.0, q=0.8)
    right = cone(fs=77.0, q=0.7, delay=delay, gain=0.6 * turned, seed=1)
    found = near_field_phases(left, right, rate=RATE)
    assert found.frequency.size == 10
    assert found.frequency[[0, -1]] == pytest.approx([100.0, 794.3], rel=1e-3)
    odds = evidence_of(found, rule=NEAR_FIELD, recordings=["left", "right"]).odds
    assert (odds > 0.98) if turned < 0 else (odds < 0.02)
    signs = [near_field_sign(each, rate=RATE) for each in (left, right)]
    assert signs[0] * signs[1] == turned


def test_the_delay_that_is_taken_out_is_that_of_the_sound() -> None:
    # closed form: one cone twice, 0.31 ms later
    left, right = cone(), np.roll(cone(), 15)
    found = near_field_phases(left, right, rate=RATE)
    np.testing.assert_allclose(found.phase, 0.0, atol=0.02)
    again = near_field_phases(right, left, rate=RATE)
    np.testing.assert_allclose(again.phase, 0.0, atol=0.02)
    assert (found.delay, again.delay) == pytest.approx((15 / RATE, -15 / RATE), abs=2e-6)


def test_two_types_of_driver_are_compared_above_both_resonances_only() -> None:
    # closed form: below one resonance and above the other the phases differ by up to half a turn
    left, right = cone(fs=60.0), cone(fs=210.0, q=2.0, seed=1)
    found = near_field_phases(left, right, rate=RATE, resonances=(60.0, 210.0))
    assert found.frequency.min() == pytest.approx(316.2, rel=1e-3)
    assert evidence_of(found, rule=NEAR_FIELD, recordings="ab").odds < 0.02
    blind = near_field_phases(left, right, rate=RATE)
    assert np.abs(blind.phase).max() > np.abs(found.phase).max() + 0.5
    with pytest.raises(OutOfRangeError, match=r"leave 2 bands above 600 Hz"):
        near_field_phases(left, right, rate=RATE, resonances=(60.0, 400.0))


def test_near_fields_that_hold_nothing_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="silent"):
        near_field_phases(cone(), np.zeros(4800), rate=RATE)
    with pytest.raises(OutOfRangeError, match="silent"):
        near_field_sign(np.zeros(4800), rate=RATE)
    with pytest.raises(OutOfRangeError, match="does not hold"):
        near_field_sign(cone(), rate=1600.0)
    with pytest.raises(OutOfRangeError, match="does not hold"):
        near_field_phases(cone(), cone(), rate=1600.0)


# --- At a seat --------------------------------------------------------------------------------


def geometry(seed: int) -> tuple[list[float], list[list[float]], list[float]]:
    """A cabin, a door on each side and a head, drawn at random [m]."""
    draw = np.random.default_rng(seed).uniform
    size = [draw(2.0, 2.9), draw(1.3, 1.55), draw(1.0, 1.25)]
    along, up = draw(0.4, 0.9), draw(0.2, 0.4)
    doors = [[along, 0.03, up], [along + draw(-0.03, 0.03), size[1] - 0.03, up]]
    head = [draw(1.0, 1.4), draw(0.3, size[1] - 0.3), draw(0.7, 0.9)]
    return size, doors, head


def by_images(seed: int, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Transfer functions of both sides by pyroomacoustics, whose images are summed here."""
    import pyroomacoustics

    size, doors, head = geometry(seed)
    absorption = np.random.default_rng(seed + 100).uniform(0.12, 0.3)
    room = pyroomacoustics.ShoeBox(
        size, fs=8000, materials=pyroomacoustics.Material(absorption), max_order=28
    )
    for door in doors:
        room.add_source(door)
    room.add_microphone(head)
    room.image_source_model()
    found = []
    for source in room.sources:
        way = np.linalg.norm(source.images.T - np.array(head), axis=1)
        share = np.asarray(source.damping[0]) / (4 * np.pi * way)
        found.append(np.exp(-2j * np.pi * np.outer(frequency, way) / 343.21) @ share)
    # A phone, a radio and an unknown start turn both alike.
    chain = 0.3 * np.exp(1j * (0.7 - 2 * np.pi * frequency * 0.004)) / (1 + 60j / frequency)
    return found[0] * chain, found[1] * chain


def by_modes(seed: int, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """The same cabins by the project's own sum of modes."""
    size, doors, head = geometry(seed)
    box = box_modes(
        air=Air(),
        length=size[0],
        width=size[1],
        height=size[2],
        volume=size[0] * size[1] * size[2],
        damping=0.1,
        frequency=frequency,
    )
    left, right = box_pressure(
        box=box,
        sources=[(door[0], door[1], door[2]) for door in doors],
        ear=(head[0], head[1], head[2]),
        leak_resistance=np.inf,
        leak_mass=1.0,
    )
    return left[0], right[0]


@pytest.mark.parametrize("cabin", [by_images, by_modes])
def test_a_reversed_side_is_told_in_sixteen_cabins(cabin: Any) -> None:
    # independent tool: pyroomacoustics 0.10 (images); the project's modes as the second
    for seed in range(16):
        left, right = cabin(seed, GRID)
        for turned in (1.0, -1.0):
            phases = seat_phases(left, turned * right, frequency=GRID)
            odds = evidence_of(phases, rule=SEAT_BY_BANDS, recordings=["sides"]).odds
            assert phases.frequency.size == 4
            assert (odds > 0.85) if turned < 0 else (odds < 0.15), f"cabin {seed}"
            one, other = cabin(seed, TONES)
            other = turned * other
            tones = bass_pair(
                left=one, right=other, both=one + other, opposed=one - other, frequency=TONES
            )
            by_tones = evidence_of(tones.phases, rule=SEAT_BY_TONES, recordings=["bass"]).odds
            assert (by_tones > 0.85) if turned < 0 else (by_tones < 0.15), f"cabin {seed}"
            assert tones.by_level in (None, "reversed" if turned < 0 else "right way")


def test_levels_of_a_side_do_not_depend_on_the_other_ones_sign() -> None:
    # invariant: reversing one side turns the phases by half a turn and changes no level of a side
    one, other = by_images(3, TONES)
    right_way = bass_pair(
        left=one, right=other, both=one + other, opposed=one - other, frequency=TONES
    )
    turned = bass_pair(
        left=one, right=-other, both=one - other, opposed=one + other, frequency=TONES
    )
    np.testing.assert_allclose(turned.imbalance, right_way.imbalance)
    np.testing.assert_allclose(turned.both, right_way.opposed)
    apart = np.exp(1j * (turned.phases.phase - right_way.phases.phase))
    np.testing.assert_allclose(apart, -1.0, atol=1e-12)


@given(size=st.floats(1e-3, 1e3), angle=st.floats(-3.0, 3.0), late=st.floats(0.0, 0.3))
def test_gain_and_delay_of_the_phone_change_nothing(size: float, angle: float, late: float) -> None:
    # invariant: one chain for both sides
    one, other = by_modes(5, GRID)
    chain = size * np.exp(1j * angle - 2j * np.pi * GRID * late)
    plain = seat_phases(one, other, frequency=GRID)
    heard = seat_phases(chain * one, chain * other, frequency=GRID)
    np.testing.assert_allclose(heard.phase, plain.phase, atol=1e-9)


def pair(right: complex, **more: Any) -> Any:
    one = np.ones(3, complex)
    other = right * one
    tones = {
        "left": one,
        "right": other,
        "both": one + other,
        "opposed": one - other,
        "frequency": TONES,
    }
    return bass_pair(**(tones | more))


def test_the_level_alone_is_believed_only_of_sides_alike() -> None:
    # closed form: 20 log |1 + other|; +3.5 to +6 dB is the right way, -3 to -30 dB reversed
    assert pair(0.7).by_level == "right way"
    assert pair(-0.7).by_level == "reversed"
    assert pair(0.39).by_level is None  # 8.2 dB apart
    assert pair(0.45).by_level is None  # +3.2 dB
    assert pair(1j).by_level is None  # +3.0 dB
    assert pair(-0.7).imbalance == pytest.approx(np.full(3, -3.098), abs=1e-3)


def test_tones_that_do_not_add_up_are_refused() -> None:
    one = np.ones(3, complex)
    with pytest.raises(OutOfRangeError, match=r"at 63 Hz both sides .* by 0\.11 of the largest"):
        pair(1.0, both=2 * one - np.array([0.0, 0.2, 0.1]))
    with pytest.raises(OutOfRangeError, match="a gain that follows the sound"):
        pair(0.9, opposed=one)
    with pytest.raises(OutOfRangeError, match="a side is silent"):
        pair(0.0)
    assert pair(1.0, both=1.85 * one).inconsistency == pytest.approx(np.full(3, 0.15 / 1.85))


def test_above_125_hz_there_is_no_verdict_beside_the_middle() -> None:
    high = np.array([63.0, 125.0, 160.0])
    assert pair(0.9, frequency=high).phases.frequency.tolist() == [63.0, 125.0]
    assert pair(0.9, frequency=high, centred=True).phases.frequency.size == 3
    with pytest.raises(OutOfRangeError, match="no verdict above 125 Hz"):
        pair(0.9, frequency=high + 100.0)


def test_a_grid_that_leaves_a_band_empty_is_refused() -> None:
    one, other = by_modes(1, GRID)
    with pytest.raises(OutOfRangeError, match="nothing was measured from 71 to 89 Hz"):
        seat_phases(one[GRID < 70], other[GRID < 70], frequency=GRID[GRID < 70])
    assert isinstance(seat_phases(one, other, frequency=GRID), PairPhases)
