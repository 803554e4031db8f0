"""What holds for every build: passive, no power lost or made, reversal, no cable, draw by draw.

Random channels of one to three drivers in random series and parallel trees with parts, in random
doors. The electrical side is solved a second time here, by recursion over the tree that was drawn.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from workbench import DRIVERS, channel, job, location

from conewright.job.builds.draws import Draws, draw
from conewright.job.builds.states.build import Build
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.common.circuit import Circuit, Solver

GRID = np.geomspace(15.0, 20_000.0, 24)
S: ComplexArray = np.asarray(2j * np.pi * GRID, dtype=np.complex128)
SAMPLES = 4
PLACES = ("one", "two", "three")

EXAMPLES = settings(max_examples=40)


@dataclass(frozen=True)
class Part:
    """A resistor, coil or capacitor; value in SI."""

    value: float
    unit: str

    def __str__(self) -> str:
        return f"{self.value!r} {self.unit}"

    @property
    def impedance(self) -> ComplexArray:
        by_unit = {"ohm": self.value + 0 * S, "H": self.value * S, "F": 1.0 / (self.value * S)}
        return by_unit[self.unit]


@dataclass(frozen=True)
class Joined:
    """Two loads in series (+) or parallel (|)."""

    sign: str
    one: "Load"
    other: "Load"

    def __str__(self) -> str:
        return f"({self.one} {self.sign} {self.other})"


Load = str | Part | Joined

PARTS = st.one_of(
    st.builds(Part, st.floats(0.5, 20.0), st.just("ohm")),
    st.builds(Part, st.floats(5e-5, 5e-3), st.just("H")),
    st.builds(Part, st.floats(1e-6, 5e-4), st.just("F")),
)


@st.composite
def loads(draw_from: st.DrawFn) -> tuple[Load, tuple[str, ...]]:
    """A tree with one to three drivers and up to as many parts, and the drivers in it."""
    names = PLACES[: draw_from(st.integers(1, 3))]
    waiting: list[Load] = [*names, *draw_from(st.lists(PARTS, max_size=3))]
    waiting = list(draw_from(st.permutations(waiting)))
    while len(waiting) > 1:
        joined = Joined(draw_from(st.sampled_from("+|")), waiting.pop(), waiting.pop())
        waiting.insert(draw_from(st.integers(0, len(waiting))), joined)
    return waiting[0], names


@st.composite
def places(draw_from: st.DrawFn, name: str) -> str:
    """One place of any kind with a driver; some dimensions given, some spread, some missing."""
    kind = draw_from(st.sampled_from(("free", "dash", "door", "panel", "roof")))
    driver = draw_from(st.sampled_from(sorted(DRIVERS)))
    if kind not in ("door", "panel", "roof"):
        return location(name, driver, kind=kind)
    holes = draw_from(st.sampled_from((0, 5, 60, 300)))
    cavity = [
        f'volume = "{draw_from(st.sampled_from(("8 L", "20..40..70 L", "90 L")))}"',
        f'panel_holes = "{holes} cm2"',
        f'drains = "{draw_from(st.sampled_from(("0 cm2", "6 cm2 ± 2 cm2", "40 cm2")))}"',
        f'cover = "{draw_from(st.sampled_from(("none", "film", "patch")))}"',
    ]
    ring = draw_from(st.sampled_from(("true", "false")))
    more = f"mount = {{ ring = {ring} }}\ncavity = {{ {', '.join(cavity)} }}\n"
    if draw_from(st.booleans()):
        more += 'trim = { edge_gap = "5..12..30 cm2", grille_area = "70 cm2 ± 10 cm2" }\n'
    return location(name, driver, kind=kind, more=more)


@st.composite
def benches(draw_from: st.DrawFn) -> tuple[Load, tuple[str, ...], str]:
    """A load, the drivers in it, and the tables of their places."""
    load, names = draw_from(loads())
    return load, names, "".join(draw_from(places(name)) for name in names)


def built(load: object, tables: str, *, cable: str = "0.3 ohm") -> Build:
    return job(tables, channel("only", str(load), cable=cable)).build()


def solved(build: Build, draws: Draws | None = None) -> Circuit:
    return Solver(draws or draw(build.axes, samples=SAMPLES), GRID).solve(build)


def turned(load: Load, name: str) -> str:
    return str(load).replace(name, f"-{name}")


def impedance(load: Load, circuit: Circuit) -> ComplexArray:
    if isinstance(load, str):
        return circuit.locations[load].impedance
    if isinstance(load, Part):
        return load.impedance
    one, other = impedance(load.one, circuit), impedance(load.other, circuit)
    return one + other if load.sign == "+" else one * other / (one + other)


def spread_out(
    load: Load, voltage: ComplexArray, circuit: Circuit
) -> list[tuple[Load, ComplexArray]]:
    """Every leaf with the voltage across it, from the whole downward."""
    if not isinstance(load, Joined):
        return [(load, voltage)]
    share = [voltage, voltage]
    if load.sign == "+":
        one, other = impedance(load.one, circuit), impedance(load.other, circuit)
        share = [voltage * one / (one + other), voltage * other / (one + other)]
    return [
        *spread_out(load.one, share[0], circuit),
        *spread_out(load.other, share[1], circuit),
    ]


def taken(voltage: ComplexArray, load: ComplexArray) -> FloatArray:
    return np.asarray(np.real(voltage * np.conj(voltage / load)))


@EXAMPLES
@given(benches())
def test_every_load_takes_power(bench: tuple[Load, tuple[str, ...], str]) -> None:
    # Closed form: a passive one-port has Re Z >= 0; a driver never less than its coil.
    load, names, tables = bench
    circuit = solved(built(load, tables))
    only = circuit.channels["only"]
    assert np.all(only.plug_impedance.real >= only.cable_resistance * (1 - 1e-9))
    assert np.all(only.load_impedance.real >= -1e-9 * np.abs(only.load_impedance))
    for name in names:
        place = circuit.locations[name]
        assert np.all(place.impedance.real >= place.re * (1 - 1e-9))


@EXAMPLES
@given(benches())
def test_power_from_the_source_is_the_power_taken(
    bench: tuple[Load, tuple[str, ...], str],
) -> None:
    # Closed form: what one volt of source gives is heat in output, cable and resistors and what
    # the drivers take; coils and capacitors take none.
    load, names, tables = bench
    circuit = solved(built(load, tables))
    only = circuit.channels["only"]
    current = 1.0 / (only.plug_impedance + only.source_resistance)
    whole = np.real(current)
    spent = np.abs(current) ** 2 * (only.cable_resistance + only.source_resistance)
    across = current * only.load_impedance
    for leaf, voltage in spread_out(load, across, circuit):
        if isinstance(leaf, Part):
            spent = np.add(spent, taken(voltage, leaf.impedance))
    for name in names:
        place = circuit.locations[name]
        spent = np.add(spent, np.real(place.drive * np.conj(place.current)))
    np.testing.assert_allclose(spent, np.broadcast_to(whole, spent.shape), rtol=1e-8, atol=1e-12)


@EXAMPLES
@given(benches())
def test_the_tree_is_solved_as_by_hand(bench: tuple[Load, tuple[str, ...], str]) -> None:
    # Second route: recursion over the tree that was drawn.
    load, names, tables = bench
    circuit = solved(built(load, tables))
    only = circuit.channels["only"]
    np.testing.assert_allclose(only.load_impedance, impedance(load, circuit) + 0 * GRID, rtol=1e-8)
    across = only.load_impedance / (only.plug_impedance + only.source_resistance)
    voltages = {leaf: v for leaf, v in spread_out(load, across, circuit) if isinstance(leaf, str)}
    for name in names:
        np.testing.assert_allclose(circuit.locations[name].drive, voltages[name], rtol=1e-7)


@EXAMPLES
@given(benches(), st.data())
def test_reversal_flips_the_sign_of_its_own_drive_alone(
    bench: tuple[Load, tuple[str, ...], str], data: st.DataObject
) -> None:
    load, names, tables = bench
    name = data.draw(st.sampled_from(names))
    upright, reversed_ = solved(built(load, tables)), solved(built(turned(load, name), tables))
    for each in names:
        sign = -1.0 if each == name else 1.0
        one, other = upright.locations[each], reversed_.locations[each]
        for response in ("drive", "current", "excursion", "output"):
            assert np.array_equal(getattr(other, response), sign * getattr(one, response))
        assert np.array_equal(other.impedance, one.impedance)
    plugs = (upright.channels["only"], reversed_.channels["only"])
    assert np.array_equal(plugs[0].plug_impedance, plugs[1].plug_impedance)


@EXAMPLES
@given(benches())
def test_a_cable_of_nothing_is_no_cable(bench: tuple[Load, tuple[str, ...], str]) -> None:
    # Closed form: the plug sees the load itself; a thousandth of an ohm moves it by that much.
    load, _, tables = bench
    none, thin = (
        solved(built(load, tables, cable="0 ohm")),
        solved(built(load, tables, cable="1 mohm")),
    )
    bare, wired = none.channels["only"], thin.channels["only"]
    assert np.array_equal(bare.plug_impedance, bare.load_impedance)
    np.testing.assert_allclose(wired.plug_impedance - bare.plug_impedance, 1e-3, rtol=1e-6)


@EXAMPLES
@given(benches())
def test_all_draws_at_once_are_the_draws_one_by_one(
    bench: tuple[Load, tuple[str, ...], str],
) -> None:
    load, names, tables = bench
    build = built(load, tables)
    draws = draw(build.axes, samples=SAMPLES)
    circuit = solved(build, draws)
    for row in range(SAMPLES):
        alone = solved(build, Draws(draws.axes, draws.scores[[row]]))
        for name in names:
            many, one = circuit.locations[name].output, alone.locations[name].output
            # Row 0 is the central state; a place without spread has that row only.
            assert many.shape[0] in (1, 1 + SAMPLES)
            np.testing.assert_allclose(many[0], one[0], rtol=1e-12)
            np.testing.assert_allclose(many[min(row + 1, many.shape[0] - 1)], one[-1], rtol=1e-9)


def test_the_second_route_would_see_a_wrong_sum() -> None:
    # The recursion itself, against 4 ohm beside 12 ohm behind 1 ohm: 1 + 3 ohm.
    circuit = solved(built("one", location("one", "F165")))
    tree = Joined("+", Part(1.0, "ohm"), Joined("|", Part(4.0, "ohm"), Part(12.0, "ohm")))
    assert impedance(tree, circuit) == pytest.approx(4.0)
    shares = [complex(v[0]) for _, v in spread_out(tree, np.ones(24, dtype=complex), circuit)]
    assert shares == pytest.approx([0.25, 0.75, 0.75])
