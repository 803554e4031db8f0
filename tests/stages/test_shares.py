"""Shares of a change: they add up, and blends lead from one build to the other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from workbench import DOOR, channel, job, location

from conewright.job.builds.job import Job
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.hear.stage import hear
from conewright.stages.report.shares import CAUSES, blend, causes_of_change, shapley_shares

PLAYERS = ("driver", "wiring", "polarity", "ring")


@given(st.lists(st.floats(-20, 20), min_size=16, max_size=16))
def test_shares_add_up_to_the_whole(outcomes: list[float]) -> None:
    # Closed form: efficiency of the Shapley value.
    table = dict(zip(_subsets(), outcomes, strict=True))
    shares = shapley_shares(PLAYERS, lambda taken: np.array([table[taken]]))
    whole = table[frozenset(PLAYERS)] - table[frozenset()]
    assert sum(share[0] for share in shares.values()) == pytest.approx(whole, abs=1e-9)


def test_a_cause_without_effect_gets_nothing_and_equals_share_alike() -> None:
    # Closed form: dummy player and symmetry axioms, for v = 3 when both of two are there.
    def both(taken: frozenset[str]) -> FloatArray:
        return np.array([3.0 if {"driver", "wiring"} <= taken else 0.0])

    shares = shapley_shares(PLAYERS, both)
    assert shares["driver"][0] == pytest.approx(1.5)
    assert shares["wiring"][0] == pytest.approx(1.5)
    assert shares["ring"][0] == 0.0


def test_share_is_the_mean_over_all_orders() -> None:
    # Closed form, by hand: v(a) = 1, v(b) = 2, v(ab) = 5: a gets (1 + 3)/2, b gets (2 + 4)/2.
    outcomes = {frozenset(): 0.0, frozenset("a"): 1.0, frozenset("b"): 2.0, frozenset("ab"): 5.0}
    shares = shapley_shares(("a", "b"), lambda taken: np.array([outcomes[taken]]))
    assert shares["a"][0] == pytest.approx(2.0)
    assert shares["b"][0] == pytest.approx(3.0)


def everything_changes() -> Job:
    return job(
        location("near", "F165", kind="door", more=DOOR),
        location("far", "F165", kind="door", at='["0.9 m", "-0.8 m", "0.3 m"]', more=DOOR),
        channel("left", "near"),
        channel("right", "-far"),
        """
[[finding]]
fault = "grit-or-water"
at = "near"
[[proposal]]
id = "all"
[[proposal.add.location]]
id = "added"
like = "near"
at = ["-0.9 m", "0.8 m", "0.3 m"]
[[proposal.add.channel]]
id = "rear"
load = "added"
[proposal.set]
"near.driver" = "R165"
"near.mount.ring" = false
"far.cavity.volume" = "30 L"
"right.load" = "2 ohm + far"
"left.gain" = "-3 dB"
"vehicle.cabin_volume" = "4 m3"
""",
    )


def test_blends_lead_from_one_build_to_the_other() -> None:
    bench = everything_changes()
    old, new = bench.build(), bench.build("all")
    assert set(causes_of_change(old, new)) == set(CAUSES)
    none, every = blend(old, new, frozenset()), blend(old, new, frozenset(CAUSES))
    # A place that only one of them has is in both; it plays where a channel drives it.
    assert (none.locations[:2], none.channels) == (old.locations, old.channels)
    assert [place.id for place in none.locations] == ["near", "far", "added"]
    assert (every.locations, every.vehicle) == (new.locations, new.vehicle)
    assert [c.polarity for c in every.channels] == [c.polarity for c in new.channels]
    assert causes_of_change(new, new) == ()


def test_polarity_is_told_from_wiring() -> None:
    bench = everything_changes()
    old, new = bench.build(), bench.build("all")
    rewired = blend(old, new, frozenset({"wiring"}))
    turned = blend(old, new, frozenset({"polarity"}))
    assert dict(rewired.channel("right").polarity) == {"far": -1}
    assert dict(turned.channel("right").polarity) == {"far": 1}
    assert turned.channel("right").tree == old.channel("right").tree


def test_a_place_moves_from_one_channel_to_another_at_once() -> None:
    """A place that goes from a channel to one that is added is never on both, or on none."""
    bench = job(
        location("near", "F165"),
        location("far", "F165", at='["0.9 m", "-0.8 m", "0.3 m"]'),
        channel("left", "near | far"),
        """
[[proposal]]
id = "apart"
[[proposal.add.channel]]
id = "right"
load = "far"
[proposal.set]
"left.load" = "near"
""",
    )
    old, new = bench.build(), bench.build("apart")
    assert causes_of_change(old, new) == ("places",)
    for taken in (frozenset[str](), frozenset({"wiring"}), frozenset({"places"})):
        driven = [name for each in blend(old, new, taken).channels for name, _ in each.polarity]
        assert sorted(driven) == ["far", "near"]


def test_the_figures_of_a_report_add_up() -> None:
    bench = everything_changes()
    report = hear(bench.build("all"), bench.build(), samples=16)
    for band in ("deep_bass", "bass", "upper_bass", "voice", "treble"):
        whole = report.figure(f"driver.change_{band}").value
        shares = [report.figure(f"driver.change_{band}_from_{cause}").value for cause in CAUSES]
        assert sum(share or 0.0 for share in shares) == pytest.approx(whole, abs=1e-9)


def _subsets() -> list[frozenset[str]]:
    return [
        frozenset(name for bit, name in enumerate(PLAYERS) if number >> bit & 1)
        for number in range(16)
    ]
