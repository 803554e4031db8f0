"""What an impedance sweep shows of a driver in its place, sound and with faults."""

from pathlib import Path

import numpy as np
import pytest
from small_jobs import one_channel

import conewright.job.text
from conewright.errors import BadInputError
from conewright.job.text.parsing import load
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.instruments.sweep import (
    SweepBench,
    SweepMixture,
    SweepReading,
    sweep_likelihood,
    sweep_outcomes,
)

VAN = load(Path(conewright.job.text.__file__).parent / "data" / "library-van.toml").build()
BENCH = SweepBench(VAN)
TWIN = BENCH.expected("door-fr")
FREE = SweepBench(one_channel("F165", vehicle='temperature = "20 degC"').build())


def shown(
    fault: str = "", *, place: str = "door-fl", twin: SweepReading | None = TWIN
) -> SweepMixture:
    state = [Atom(fault, place)] if fault else []
    return BENCH.predict(place, state, twin=twin)


def figures(reading: SweepReading) -> tuple[float, float, float]:
    assert reading.resonance is not None
    assert reading.peak is not None
    assert reading.resistance is not None
    return reading.resonance, reading.peak, reading.resistance


def test_a_free_driver_peaks_at_its_own_resonance() -> None:
    # Closed form: 70 Hz, Re (1 + Qms/Qes) = 3.4 * 5 = 17 ohm, the coil's reactance aside.
    resonance, peak, resistance = figures(FREE.expected("F165"))
    assert resonance == pytest.approx(70.0, rel=0.01)
    assert peak == pytest.approx(17.0, rel=0.02)
    assert resistance == pytest.approx(3.4, rel=1e-9)


@pytest.mark.parametrize(
    ("variant", "ratio"),
    # Closed form: resonance goes with the root of the stiffness, 0.55 and 1.6 of the sound one.
    [(0, 0.55**0.5), (1, 1.6**0.5)],
)
def test_a_lost_or_stiffened_surround_moves_the_resonance(variant: int, ratio: float) -> None:
    sound = FREE.predict("F165", ())
    torn = FREE.predict("F165", [Atom("surround-torn", "F165")])
    moved = np.exp(torn.components[variant].mean[0] - sound.healthy.mean[0])
    assert moved == pytest.approx(ratio, rel=0.01)
    # Workshop experience, from memory: 0.74 and 1.26 of the twin.
    assert moved == pytest.approx((0.74, 1.26)[variant], abs=0.01)


def test_in_its_door_the_driver_peaks_elsewhere_than_on_the_bench() -> None:
    resonance, peak, _ = figures(BENCH.expected("door-fl"))
    assert resonance != pytest.approx(80.0, rel=0.02)
    assert 50.0 < resonance < 120.0
    assert peak > 8.0


def test_a_torn_surround_is_found_against_the_twin() -> None:
    resonance, peak, resistance = figures(TWIN)
    low = SweepReading(0.75 * resonance, peak, resistance)
    torn, sound = shown("surround-torn"), shown()
    assert sweep_likelihood(torn, low) > 100 * sweep_likelihood(sound, low)
    assert sweep_likelihood(sound, TWIN) > 3 * sweep_likelihood(torn, TWIN)
    stiff = SweepReading(resonance=1.26 * resonance)
    assert sweep_likelihood(torn, stiff) > 10 * sweep_likelihood(sound, stiff)


def test_shorted_turns_lower_coil_and_peak() -> None:
    resonance, peak, resistance = figures(TWIN)
    burnt = SweepReading(resonance, 0.3 * peak, 0.75 * resistance)
    assert sweep_likelihood(shown("coil-shorted"), burnt) > 1e3 * sweep_likelihood(shown(), burnt)
    assert sweep_likelihood(shown("coil-shorted"), burnt) > 1e3 * sweep_likelihood(
        shown("surround-torn"), burnt
    )


def test_rubbing_lowers_the_peak_alone() -> None:
    resonance, peak, resistance = figures(TWIN)
    dragged = SweepReading(resonance, 0.55 * peak, resistance)
    for fault in ("coil-rubbing", "grit-or-water"):
        assert sweep_likelihood(shown(fault), dragged) > 30 * sweep_likelihood(shown(), dragged)


# Workshop experience, from memory: chance that the fault shows in a sweep against the twin.
@pytest.mark.parametrize(
    ("fault", "total"),
    [
        ("surround-torn", 0.85),
        ("coil-open", 0.98),
        ("coil-rubbing", 0.60),
        ("coil-shorted", 0.85),
        ("lead-intermittent", 0.40),
        ("grit-or-water", 0.50),
        ("cap-unglued", 0.60),
        ("mount-loose", 0.25),
    ],
)
def test_faults_show_about_as_often_as_the_trade_says(fault: str, total: float) -> None:
    # A figure is off by fixed limits, which small changes do not always reach.
    abnormal = sweep_likelihood(shown(fault), "abnormal")
    assert total - 0.2 < abnormal < total + 0.03


def test_sound_drivers_rarely_alarm() -> None:
    for twin in (TWIN, None):
        assert sweep_likelihood(shown(twin=twin), "abnormal") < 0.11


def test_the_twin_narrows_what_a_typical_sheet_leaves_open() -> None:
    alone = shown(twin=None).healthy.covariance[0, 0]
    with_twin = shown().healthy.covariance[0, 0]
    assert with_twin < 0.5 * alone


def test_outcomes_are_certain_together_and_are_the_words() -> None:
    for fault in ("", "surround-torn", "coil-open", "lead-intermittent"):
        planned = sweep_outcomes(shown(fault))
        assert sum(planned.values()) == pytest.approx(1.0, abs=1e-9)
        for word, chance in planned.items():
            assert sweep_likelihood(shown(fault), word) == chance
        assert sweep_likelihood(shown(fault), "abnormal") == pytest.approx(1 - planned["normal"])


def test_densities_integrate_with_the_words_to_one() -> None:
    # Closed form, over the resonance alone; the width of a figure is 0.05 of its logarithm.
    mixture = shown("surround-torn")
    grid = np.linspace(np.log(5.0), np.log(2000.0), 4001)
    density = [sweep_likelihood(mixture, SweepReading(float(f))) / 0.05 for f in np.exp(grid)]
    planned = sweep_outcomes(mixture)
    total = np.trapezoid(density, grid) + planned["open"] + planned["unsteady"]
    # A slip that strays is cut off at the ends.
    assert total == pytest.approx(1.0, abs=0.003)


def test_a_series_tells_as_its_figures_do() -> None:
    frequencies = (40.0, 60.0, 80.0, 110.0, 400.0)
    state = [Atom("surround-torn", "F165")]
    sound = FREE.predict("F165", (), frequencies=frequencies)
    torn = FREE.predict("F165", state, frequencies=frequencies)
    # Closed form: Re + Res/(1 + j Qms (f/fs - fs/f)) + K (jw)^0.7 at 70 Hz and at 52 Hz.
    for resonance, own, other in ((70.0, sound, torn), (51.9, torn, sound)):
        qms, res = 5.0 * resonance / 70.0, 13.6
        at = np.array(frequencies)
        if resonance < 70.0:
            qms = 5.0 * 0.55**0.5
        z = 3.4 + res / (1 + 1j * qms * (at / resonance - resonance / at))
        z = z + 2 * np.pi * 1000 * 0.35e-3 * (1j * at / 1000) ** 0.7
        pairs = tuple(zip(frequencies, (float(m) for m in np.abs(z)), strict=True))
        reading = SweepReading(series=pairs)
        assert sweep_likelihood(own, reading) > 3 * sweep_likelihood(other, reading)


def test_a_slip_in_one_figure_does_not_rule_everything_out() -> None:
    resonance, peak, resistance = figures(TWIN)
    slipped = SweepReading(resonance, 2.0 * peak, resistance)
    assert sweep_likelihood(shown(), slipped) > 1e-4 * sweep_likelihood(shown(), TWIN)


def test_faults_elsewhere_make_no_difference() -> None:
    assert BENCH.predict("door-fl", [Atom("surround-torn", "door-fr")], twin=TWIN) is shown()


def test_what_no_sweep_reads_is_refused() -> None:
    with pytest.raises(BadInputError, match="gives resonance, peak"):
        SweepReading()
    with pytest.raises(BadInputError, match="above zero"):
        SweepReading(resonance=-1.0)
    with pytest.raises(BadInputError, match="other frequencies"):
        sweep_likelihood(shown(), SweepReading(series=((100.0, 5.0),)))
    with pytest.raises(BadInputError, match="is no answer"):
        sweep_likelihood(shown(), "fine")
