"""The wiring tree: against published pairs and networks, nodal analysis and power balance."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray
from conewright.physics.electrics.wiring import (
    Leaf,
    Parallel,
    Series,
    Tree,
    capacitor,
    fold_resistance,
    inductor,
    leaves,
    solve_tree,
)

A, B, C, D = Leaf("a"), Leaf("b"), Leaf("c"), Leaf("d")
FREQUENCY = np.geomspace(20.0, 20e3, 25)


def level(ratio: Any) -> Any:
    return 20 * np.log10(np.abs(ratio))


# --- Published pairs and networks -------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "expected"),
    [((4.0, 4.0, 4.0), 1.333), ((4.0, 4.0), 2.0), ((4.0, 8.0), 2.667)],
)
def test_parallel_loudspeakers(values: tuple[float, ...], expected: float) -> None:
    # published: car audio questions-and-answers page on series and parallel loads, 0.1 %
    tree = Parallel(tuple(Leaf(str(n)) for n in range(len(values))))
    resistances = {str(n): value for n, value in enumerate(values)}
    assert fold_resistance(tree=tree, resistances=resistances) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(("tree", "share"), [(Series((A, B)), 1 / 3), (Parallel((A, B)), 2 / 3)])
def test_power_share_of_four_beside_eight_ohm(tree: Tree, share: float) -> None:
    # common practice: 33.3 % in series (one current), 66.7 % in parallel (one voltage)
    volts = solve_tree(tree=tree, impedances={"a": 4.0, "b": 8.0}, voltage=10.0).voltages
    power = {"a": abs(volts["a"]) ** 2 / 4.0, "b": abs(volts["b"]) ** 2 / 8.0}
    assert power["a"] / sum(power.values()) == pytest.approx(share)


@pytest.mark.parametrize(
    ("ohm", "attenuation", "series", "shunt"),
    [(4.0, 6.0, 1.995, 4.019), (8.0, 3.0, 2.336, 19.392)],
)
def test_pad_keeps_the_load_and_takes_its_decibels(
    ohm: float, attenuation: float, series: float, shunt: float
) -> None:
    # from memory: L-pad relations, 0.1 % of the parts
    tree = Series((A, Parallel((B, C))))
    done = solve_tree(tree=tree, impedances={"a": series, "b": shunt, "c": ohm}, voltage=1.0)
    assert done.impedance == pytest.approx(ohm, rel=1e-3)
    assert level(done.voltages["c"]) == pytest.approx(-attenuation, abs=0.01)


@pytest.mark.parametrize(
    ("farad", "ohm", "corner"),
    [(3.3e-6, 4.0, 12057.2), (6.8e-6, 4.0, 5851.3), (4.7e-6, 8.0, 4232.8)],
)
def test_corner_of_a_series_capacitor(farad: float, ohm: float, corner: float) -> None:
    # published relation f = 1/(2 pi R C) (mobile audio reference text, first-order crossover)
    cap = capacitor(capacitance=farad, frequency=np.array([corner]))
    volts = solve_tree(tree=Series((A, B)), impedances={"a": cap, "b": ohm}, voltage=1.0).voltages
    assert level(volts["b"]) == pytest.approx(-3.0103, abs=2e-3)


def linkwitz_riley(frequency: Any) -> tuple[Any, Any]:
    """Voltages of the woofer's and the tweeter's branch of a second-order crossover, 4 ohm."""
    # published coefficients (Dickason, The Loudspeaker Design Cookbook): 6.6315 uF, 0.42441 mH
    # at 3 kHz and 4 ohm
    low = Series((Leaf("l1"), Parallel((Leaf("c1"), Leaf("woofer")))))
    high = Series((Leaf("c2"), Parallel((Leaf("l2"), Leaf("tweeter")))))
    coil = inductor(inductance=0.42441e-3, frequency=frequency)
    cap = capacitor(capacitance=6.6315e-6, frequency=frequency)
    volts = solve_tree(
        tree=Parallel((low, high)),
        impedances={"l1": coil, "l2": coil, "c1": cap, "c2": cap, "woofer": 4.0, "tweeter": 4.0},
        voltage=1.0,
    ).voltages
    return volts["woofer"], volts["tweeter"]


def test_second_order_branches_are_six_decibels_down_at_the_corner() -> None:
    # from memory: Linkwitz-Riley, -6.021 dB each
    woofer, tweeter = linkwitz_riley(np.array([3000.0]))
    assert level(woofer) == pytest.approx(-6.021, abs=0.01)
    assert level(tweeter) == pytest.approx(-6.021, abs=0.01)


def test_second_order_sum_is_flat_with_the_tweeter_reversed_and_null_without() -> None:
    # from memory: Linkwitz-Riley; 4 digits of the parts allow 1e-3
    woofer, tweeter = linkwitz_riley(FREQUENCY)
    np.testing.assert_allclose(abs(woofer - tweeter), 1.0, rtol=1e-3)
    woofer, tweeter = linkwitz_riley(np.array([3000.0]))
    assert abs(woofer + tweeter) < 1e-3


# --- Parts ------------------------------------------------------------------------------------


def test_capacitor_and_inductor() -> None:
    # closed form at w = 1000
    f = 1000 / (2 * np.pi)
    cap = capacitor(capacitance=10e-6, esr=0.5, frequency=f)
    assert complex(cap) == pytest.approx(0.5 - 100j)
    coil = inductor(inductance=1e-3, resistance=0.2, frequency=f)
    assert complex(coil) == pytest.approx(0.2 + 1j)
    assert capacitor(capacitance=np.full((3, 1), 1e-6), frequency=FREQUENCY).shape == (3, 25)
    with pytest.raises(OutOfRangeError, match="capacitance must be above zero"):
        capacitor(capacitance=0.0, frequency=f)
    with pytest.raises(OutOfRangeError, match="above 0 Hz"):
        inductor(inductance=1e-3, frequency=0.0)


def test_leaves_in_reading_order() -> None:
    assert leaves(Parallel((Series((C, A)), B))) == ("c", "a", "b")


# --- Shorts and opens -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tree", "expected"),
    [
        (Series((A, B)), 4.0),  # a 0 ohm wire
        (Parallel((A, B)), 0.0),  # a short across the load
        (Series((B, C)), np.inf),  # an open part in the chain
        (Parallel((B, C)), 4.0),  # an open part beside the load
        (Parallel((A, C)), 0.0),
        (Parallel((C, C)), np.inf),
        (Parallel((A, A)), 0.0),
        (Series((A, Parallel((B, Series((C, B)))))), 4.0),
    ],
)
def test_shorts_and_opens_fold(tree: Tree, expected: float) -> None:
    # closed form
    values = {"a": 0.0, "b": 4.0, "c": np.inf}
    assert fold_resistance(tree=tree, resistances=values) == expected


def test_shorts_and_opens_fold_per_sample() -> None:
    # closed form
    first = np.array([[0.0], [np.inf], [4.0]])
    got = fold_resistance(tree=Parallel((A, B)), resistances={"a": first, "b": 4.0})
    np.testing.assert_array_equal(got, [[0.0], [4.0], [2.0]])
    volts = solve_tree(
        tree=Series((A, B)), impedances={"a": first + 0j, "b": 4.0}, voltage=8.0
    ).voltages
    np.testing.assert_array_equal(volts["a"], [[0.0], [8.0], [4.0]])
    np.testing.assert_array_equal(volts["b"], [[8.0], [0.0], [4.0]])


def test_open_parts_of_one_chain_share_its_voltage() -> None:
    # by rule: equal shares; nothing else has any
    volts = solve_tree(
        tree=Series((A, B, C)), impedances={"a": np.inf, "b": 2.0, "c": np.inf}, voltage=6.0
    ).voltages
    assert [complex(volts[name]) for name in "abc"] == [3.0, 0.0, 3.0]


def test_a_shorted_branch_has_no_voltage_inside() -> None:
    # closed form: the 2 ohm cable takes it all
    tree = Series((A, Parallel((B, Series((C, D))))))
    volts = solve_tree(
        tree=tree, impedances={"a": 2.0, "b": 0.0, "c": 0.0, "d": 0.0}, voltage=6.0
    ).voltages
    assert [complex(volts[name]) for name in "abcd"] == [6.0, 0.0, 0.0, 0.0]


def test_a_short_across_an_ideal_source_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="no finite current"):
        solve_tree(tree=Series((A, B)), impedances={"a": 1j, "b": -1j}, voltage=1.0)


def test_without_cable_the_load_has_the_whole_voltage() -> None:
    # limit: exactly, at 0 ohm
    load = inductor(inductance=1e-3, resistance=3.4, frequency=FREQUENCY)
    done = solve_tree(tree=Series((A, B)), impedances={"a": 0.0, "b": load}, voltage=2.5)
    np.testing.assert_array_equal(done.impedance, load)
    np.testing.assert_allclose(done.voltages["b"], 2.5, rtol=1e-15)


def test_lossless_resonance_is_open_in_parallel() -> None:
    # closed form: +j beside -j
    done = solve_tree(tree=Parallel((A, B)), impedances={"a": 1j, "b": -1j}, voltage=1.0)
    assert done.impedance == np.inf


# --- What cannot be folded --------------------------------------------------------------------


def test_missing_empty_and_doubled_parts_are_refused() -> None:
    with pytest.raises(BadInputError, match="no value given for the part 'b'"):
        solve_tree(tree=Series((A, B)), impedances={"a": 1.0}, voltage=1.0)
    with pytest.raises(BadInputError, match="at least one part"):
        fold_resistance(tree=Parallel(()), resistances={})
    with pytest.raises(BadInputError, match="stands twice"):
        solve_tree(tree=Series((A, A)), impedances={"a": 1.0}, voltage=1.0)


# --- Random trees -----------------------------------------------------------------------------


def trees() -> st.SearchStrategy[Tree]:
    """Trees of numbered leaves; the numbers are dealt out afterwards, each once."""
    leaf = st.just(Leaf(""))

    def group(children: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
        parts = st.lists(children, min_size=1, max_size=3).map(tuple)
        return st.one_of(parts.map(Series), parts.map(Parallel))

    return st.recursive(leaf, group, max_leaves=8).map(lambda tree: numbered(tree, count()))


def count() -> Iterator[int]:
    number = 0
    while True:
        yield number
        number += 1


def numbered(tree: Tree, numbers: Iterator[int]) -> Tree:
    if isinstance(tree, Leaf):
        return Leaf(str(next(numbers)))
    return type(tree)(tuple(numbered(part, numbers) for part in tree.parts))


PASSIVE = st.builds(complex, st.floats(0.01, 100.0), st.floats(-100.0, 100.0))


def branches(
    tree: Tree, top: int, bottom: int, nodes: Iterator[int]
) -> Iterator[tuple[str, int, int]]:
    """The same network as a list of branches between numbered nodes."""
    if isinstance(tree, Leaf):
        yield tree.name, top, bottom
    elif isinstance(tree, Parallel):
        for part in tree.parts:
            yield from branches(part, top, bottom, nodes)
    else:
        inner = [next(nodes) for _ in tree.parts[1:]]
        for part, start, end in zip(tree.parts, [top, *inner], [*inner, bottom], strict=True):
            yield from branches(part, start, end, nodes)


def nodal(tree: Tree, impedances: dict[str, complex]) -> tuple[complex, dict[str, complex]]:
    """Impedance and leaf voltages of 1 V by nodal analysis: another route."""
    nodes = count()
    bottom, top = next(nodes), next(nodes)
    wires = list(branches(tree, top, bottom, nodes))
    size = max(max(a, b) for _, a, b in wires)
    matrix = np.zeros((size, size), dtype=complex)
    for name, a, b in wires:
        for row, sign in ((a, 1.0), (b, -1.0)):
            for column, other in ((a, 1.0), (b, -1.0)):
                if row and column:
                    matrix[row - 1, column - 1] += sign * other / impedances[name]
    push = np.zeros(size, dtype=complex)
    push[0] = 1.0
    volts = np.concatenate(([0.0], np.linalg.solve(matrix, push)))
    return volts[1], {name: (volts[a] - volts[b]) / volts[1] for name, a, b in wires}


@given(tree=trees(), data=st.data())
def test_folding_agrees_with_nodal_analysis(tree: Tree, data: st.DataObject) -> None:
    # two routes agree
    impedances = {name: data.draw(PASSIVE) for name in leaves(tree)}
    whole, expected = nodal(tree, impedances)
    done = solve_tree(tree=tree, impedances=impedances, voltage=1.0)
    np.testing.assert_allclose(done.impedance, whole, rtol=1e-7)
    for name, volts in expected.items():
        np.testing.assert_allclose(done.voltages[name], volts, rtol=1e-6, atol=1e-9)


@given(
    tree=trees(), data=st.data(), voltage=st.complex_numbers(min_magnitude=0.1, max_magnitude=20)
)
def test_power_given_is_power_taken(tree: Tree, data: st.DataObject, voltage: complex) -> None:
    # invariants: passivity, and the sum over the leaves is what the source gives
    impedances = {name: data.draw(PASSIVE) for name in leaves(tree)}
    done = solve_tree(tree=tree, impedances=impedances, voltage=voltage)
    assert done.impedance.real > 0.0
    taken = sum(
        abs(done.voltages[name]) ** 2 * (1 / value).conjugate()
        for name, value in impedances.items()
    )
    given_ = abs(voltage) ** 2 / np.conj(done.impedance)
    np.testing.assert_allclose(taken, given_, rtol=1e-6)


@given(tree=trees(), data=st.data())
def test_samples_lead_and_frequency_is_last(tree: Tree, data: st.DataObject) -> None:
    # invariant: array equals scalar loop; the reversed source flips the sign and nothing else
    names = leaves(tree)
    values: dict[str, ComplexArray] = {
        name: np.array([[data.draw(PASSIVE) for _ in range(2)] for _ in range(2)]) for name in names
    }
    done = solve_tree(tree=tree, impedances=values, voltage=1.0)
    turned = solve_tree(tree=tree, impedances=values, voltage=-1.0).voltages
    for row, column in np.ndindex(2, 2):
        alone = solve_tree(
            tree=tree,
            impedances={name: complex(values[name][row, column]) for name in names},
            voltage=1.0,
        )
        np.testing.assert_allclose(done.impedance[row, column], alone.impedance)
        for name in names:
            np.testing.assert_allclose(done.voltages[name][row, column], alone.voltages[name])
            assert turned[name][row, column] == -done.voltages[name][row, column]
