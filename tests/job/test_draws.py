"""Draws: the distributions a job's spreads stand for, and what two builds share."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from conewright.errors import OutOfRangeError
from conewright.job.builds.draws import Draws, draw
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.physics.basics.arrays import FloatArray

MANY = 4096


def value(text: str, dimension: str, path: str = "a") -> Value:
    return Value(path, parse_quantity(text, dimension=dimension), Origin.MEASURED, "test")


@pytest.fixture(scope="module")
def draws() -> Draws:
    return draw(("a", "b", "c"), samples=MANY)


def drawn(draws: Draws, value: Value) -> FloatArray:
    """The draws of a value without its central row."""
    samples: FloatArray = draws(value)[1:, 0]
    return samples


def test_a_value_without_spread_is_one_number(draws: Draws) -> None:
    fixed = draws(value("3.4 ohm", "resistance"))
    assert fixed.shape == (1, 1)
    assert fixed[0, 0] == 3.4


@pytest.mark.parametrize("text", ["60..70..90 Hz", "60..90 Hz", "70 Hz ± 5 Hz"])
def test_row_zero_is_the_central_state(draws: Draws, text: str) -> None:
    spread = value(text, "frequency")
    samples = draws(spread)
    assert samples.shape == (1 + MANY, 1)
    assert samples[0, 0] == spread.si
    assert np.median(samples) == pytest.approx(spread.si, rel=1e-3)


@pytest.mark.parametrize("text", ["60..70..90 Hz", "60..90 Hz", "10..500..600 Hz"])
def test_a_range_gives_its_5_and_95_per_cent_points(draws: Draws, text: str) -> None:
    spread = value(text, "frequency")
    samples = drawn(draws, spread)
    # Closed form: that is what low and high stand for; 4096 balanced draws leave 1 % of the width.
    low, high = np.quantile(samples, [0.05, 0.95])
    assert low == pytest.approx(spread.quantity.low, rel=0.01)
    assert high == pytest.approx(spread.quantity.high, rel=0.01)
    assert samples.min() > 0.0


def test_a_range_is_two_half_log_normals(draws: Draws) -> None:
    samples = np.log(drawn(draws, value("60..70..90 Hz", "frequency")) / 70.0)
    # Closed form: the score of 95 % is 1.6449, so one sigma above is ln(90/70)/1.6449.
    above, below = np.quantile(samples, [0.8413447, 0.1586553])
    assert above == pytest.approx(np.log(90 / 70) / 1.6448536, rel=0.02)
    assert below == pytest.approx(np.log(60 / 70) / 1.6448536, rel=0.02)


def test_a_margin_holds_95_per_cent_of_a_normal(draws: Draws) -> None:
    samples = drawn(draws, value("62 mm ± 1 mm", "length"))
    # Closed form: sigma = margin/1.95996.
    assert np.std(samples) == pytest.approx(1e-3 / 1.959964, rel=0.01)
    assert np.mean(np.abs(samples - 0.062) <= 1e-3) == pytest.approx(0.95, abs=0.002)


def test_a_wide_margin_never_makes_a_length_negative(draws: Draws) -> None:
    samples = drawn(draws, value("1 mm ± 2 mm", "length"))
    sigma = 2.0 / 1.959964
    # Closed form: median of a normal cut off at zero, from tables of the normal distribution:
    # Phi(-1/sigma) = 0.16351, so the median has the score of 0.58175, which is 0.20641.
    assert np.all(samples > 0.0)
    assert np.median(samples) == pytest.approx((1.0 + 0.20641 * sigma) * 1e-3, rel=2e-3)


def test_a_coordinate_may_be_negative(draws: Draws) -> None:
    signed = replace(value("1 mm ± 2 mm", "length"), signed=True)
    samples = drawn(draws, signed)
    assert np.mean(samples) == pytest.approx(1e-3, rel=0.01)
    # Closed form: Phi(-1/sigma) = 0.1635 for sigma = 2/1.96.
    assert np.mean(samples < 0.0) == pytest.approx(0.1635, abs=0.003)


def test_a_range_from_zero_is_two_half_normals_without_their_negative_part(draws: Draws) -> None:
    samples = drawn(draws, value("0..2..10 cm2", "area")) * 1e4
    assert samples.min() == 0.0
    assert np.quantile(samples, 0.95) == pytest.approx(10.0, rel=0.01)
    # Closed form: the 20 % point of the lower half, 2 + 2 z(0.2)/1.6449 with z(0.2) = -0.84162.
    assert np.quantile(samples, 0.2) == pytest.approx(2.0 - 2.0 * 0.84162 / 1.64485, rel=0.01)


def test_draws_stay_within_the_limits_of_a_model(draws: Draws) -> None:
    exponent = replace(value("0.6..0.9..1.0", "number"), within=(0.5, 1.0))
    samples = drawn(draws, exponent)
    assert samples.max() == 1.0
    assert samples.min() >= 0.5


def test_a_correlated_value_follows_its_partner(draws: Draws) -> None:
    area = value("115..124..135 cm2", "area", "a")
    mass = replace(value("7..9.5..15 g", "mass", "b"), follows="a", correlation=0.9)
    logs = [np.log(drawn(draws, item)) for item in (area, mass)]
    # Closed form: 0.9 is the correlation of the scores; the bend at the centre costs little.
    assert np.corrcoef(logs)[0, 1] == pytest.approx(0.9, abs=0.02)
    low, high = np.quantile(drawn(draws, mass), [0.05, 0.95])
    assert (low, high) == pytest.approx((7e-3, 15e-3), rel=0.02)
    assert mass.axes == ("b", "a")


def test_full_correlation_keeps_a_ratio_and_needs_no_axis() -> None:
    area = value("60..90..130 cm2", "area", "a")
    quantity = parse_quantity("120..180..260 cm2", dimension="area")
    field = Value("b", quantity, Origin.ASSUMED, "test", follows="a", correlation=1.0)
    assert field.axes == ("a",)
    some = draw(("a",), samples=64)
    np.testing.assert_allclose(some(field), 2.0 * some(area), rtol=1e-12)


def test_the_scores_are_standard_normal_and_independent(draws: Draws) -> None:
    scores = np.stack([draws.score(path) for path in ("a", "b", "c")])
    assert scores.shape == (3, MANY)
    np.testing.assert_allclose(scores.mean(axis=1), 0.0, atol=0.01)
    np.testing.assert_allclose(scores.std(axis=1), 1.0, atol=0.01)
    # Closed form: the correlation of independent columns has a standard deviation of 1/sqrt(n - 1).
    np.testing.assert_allclose(np.corrcoef(scores), np.eye(3), atol=3.5 / np.sqrt(MANY - 1))


PATHS = tuple(f"place-{n // 12}.field-{n % 12}" for n in range(300))
"""Twice as many axes as the packaged job has."""


def sobol(dimensions: int, samples: int, seed: int) -> FloatArray:
    """Scores of a scrambled Sobol sequence (independent tool: scipy), the usual other way."""
    uniform = qmc.Sobol(dimensions, rng=seed).random_base2(samples.bit_length() - 1)
    return np.asarray(ndtri(np.clip(uniform, 1e-9, 1.0 - 1e-9)))


def correlations(scores: FloatArray) -> FloatArray:
    return np.abs(np.asarray(np.corrcoef(scores.T))[np.triu_indices(scores.shape[1], 1)])


def test_every_column_has_one_draw_in_each_equally_likely_part() -> None:
    # Published: what makes a Latin hypercube (McKay, Beckman and Conover, Technometrics 21, 1979).
    scores = draw(PATHS, samples=256).scores
    parts = np.floor(ndtr(scores) * 256 + 1e-9).astype(int)
    np.testing.assert_array_equal(np.sort(parts, axis=0), np.arange(256)[:, np.newaxis] + 0 * parts)
    # Within their parts they lie anywhere: the mean of a uniform is 1/2, its deviation 1/sqrt(12).
    within = ndtr(scores) * 256 - parts
    assert within.mean() == pytest.approx(0.5, abs=0.005)
    assert within.std() == pytest.approx(12**-0.5, abs=0.005)


def test_no_two_columns_go_together() -> None:
    found = correlations(draw(PATHS, samples=256).scores)
    # Closed form: independent columns have r of deviation 1/sqrt(255) = 0.0626, and of the 44,850
    # pairs the largest at 4.24 of those, 0.266, in the middle of cases; 0.33 once in 300.
    assert np.sqrt(np.mean(found**2)) == pytest.approx(255**-0.5, rel=0.02)
    assert found.max() < 0.33
    # Sobol's points are even in the first few dimensions only.
    assert correlations(sobol(len(PATHS), 256, 1)).max() > 0.5


def quantile_errors(scores: FloatArray, luck: np.random.Generator) -> FloatArray:
    """Errors of the 10 and 90 % points of weighted sums of a few columns, which are normal."""
    errors = []
    for few in (2, 3, 5, 10, 30):
        for _ in range(60):
            weights = luck.standard_normal(few)
            chosen = luck.choice(scores.shape[1], few, replace=False)
            drawn = scores[:, chosen] @ (weights / np.linalg.norm(weights))
            errors.append(np.quantile(drawn, [0.1, 0.9]) - ndtri([0.1, 0.9]))
    return np.ravel(errors)


def test_quantiles_are_no_worse_than_those_of_a_sobol_sequence() -> None:
    luck = [np.random.default_rng(n) for n in (1, 1)]
    ours, theirs = (
        np.abs(np.concatenate([quantile_errors(scores, chance) for scores in of]))
        for of, chance in zip(
            (
                [draw(PATHS, samples=256, seed=n).scores for n in range(12)],
                [sobol(len(PATHS), 256, n) for n in range(12)],
            ),
            luck,
            strict=True,
        )
    )
    # 7,200 errors of each: the root of their mean square is known to some 1 %.
    assert np.sqrt(np.mean(ours**2)) < 1.02 * np.sqrt(np.mean(theirs**2))
    assert np.quantile(ours, 0.99) < np.quantile(theirs, 0.99)


def test_a_mean_of_products_is_as_good_as_that_of_a_sobol_sequence() -> None:
    # Closed form: the mean of a product of independent factors of mean 1 is 1. Six of 5 %, any six.
    def error(scores: FloatArray, luck: np.random.Generator) -> float:
        chosen = luck.choice(scores.shape[1], 6, replace=False)
        return float(np.prod(1.0 + 0.05 * scores[:, chosen], axis=1).mean() - 1.0)

    ours = [
        error(draw(PATHS, samples=256, seed=n).scores, np.random.default_rng(n)) for n in range(99)
    ]
    plain = [
        error(np.random.default_rng([n, 1]).standard_normal((256, 300)), np.random.default_rng(n))
        for n in range(99)
    ]
    # Closed form: plain draws err by 0.05 sqrt(6)/sqrt(256); parts leave the products of two, of
    # deviation 0.05² sqrt(15), which is 13 times less.
    assert np.std(plain) == pytest.approx(0.05 * np.sqrt(6) / 16.0, rel=0.25)
    assert np.std(ours) == pytest.approx(0.05**2 * np.sqrt(15) / 16.0, rel=0.25)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.text(min_size=1, max_size=20), min_size=1, max_size=12, unique=True),
    st.lists(st.text(min_size=1, max_size=20), max_size=12, unique=True),
    st.sampled_from([1, 2, 64, 256]),
)
def test_other_axes_move_nothing(axes: list[str], others: list[str], samples: int) -> None:
    alone = draw(tuple(axes), samples=samples)
    among = draw(tuple(sorted({*axes, *others})), samples=samples)
    for path in axes:
        np.testing.assert_array_equal(alone.score(path), among.score(path))
    if samples >= 64:
        assert len({column.tobytes() for column in among.scores.T}) == len(among.axes)


def test_there_may_be_more_axes_than_any_sequence_has_dimensions() -> None:
    # Published: scipy's Sobol sequence ends at 21,201 dimensions.
    many = draw(tuple(f"part-{n}.re" for n in range(21_300)), samples=8)
    assert many.scores.shape == (8, 21_300)
    assert np.isfinite(many.scores).all()


def test_the_draws_of_a_path_are_the_same_everywhere() -> None:
    # Own snapshot: what was published with a figure must come again, on every machine.
    found = draw(("door-fl.cavity.volume",), samples=4).scores[:, 0]
    assert found == pytest.approx(
        [0.12307334713708133, 2.6185340708155005, -0.2413876748938433, -1.7431402046806972],
        abs=1e-12,
    )


def test_equal_arguments_give_equal_draws_and_other_seeds_do_not() -> None:
    once, again = draw(("a", "b"), samples=32), draw(("a", "b"), samples=32)
    np.testing.assert_array_equal(once.scores, again.scores)
    other = draw(("a", "b"), samples=32, seed=7)
    assert not np.allclose(once.scores, other.scores)


def test_shared_draws_cannot_be_changed(draws: Draws) -> None:
    with pytest.raises(ValueError, match="read-only"):
        draws.scores[0, 0] = 0.0


def test_no_axes_still_give_the_central_row() -> None:
    none = draw((), samples=8)
    assert none.samples == 8
    assert none(value("3.4 ohm", "resistance"))[0, 0] == 3.4


def test_a_number_of_samples_that_is_no_power_of_two_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="power of two"):
        draw(("a",), samples=1000)


def test_a_value_of_another_job_is_refused(draws: Draws) -> None:
    with pytest.raises(KeyError, match="elsewhere"):
        draws(value("60..90 Hz", "frequency", "elsewhere"))


def test_a_fixed_value_has_no_axis() -> None:
    fixed = Value("a", Quantity.of(3.4, "resistance"), Origin.SHEET, "test")
    assert fixed.axes == ()
    assert not fixed.spreads
