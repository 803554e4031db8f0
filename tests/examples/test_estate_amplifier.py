"""An estate with an amplifier added for bass that cuts out: what a good hand would say.

Written down before the job was run:

- Two woofers of 4 ohm hang in parallel on the bass channel of an amplifier made for 4 ohm: 1.7 to
  2.2 ohm where it bears 3.2. It cuts out when hot, which is what the owner says: a stop in feed,
  and find names the load of that channel first.
- The front doors are the radio's own and nothing is wrong with them.
- Wired in series the two are near 7 ohm: it bears that, and the bass falls by some 4 to 7 dB at the
  same volume step. That costs no part, cures the complaint, and is what to take. (First written:
  "and gives a good deal fewer watts". Wrong: below its rating an output ends at its own current and
  not at its volts, so that the watts it gives cleanly are about as many.)
- A larger fuse is no cure: nothing that stops is lifted by it.
- The bass comes by the line outputs with a low-pass of 90 Hz: at 250 Hz the bass channel is 20 dB
  and more below itself at 50 Hz, by its filter alone.
- The amplifier's cable is clad aluminium behind 30 A: warm at its fuse's rating, told as it is.
"""

from pathlib import Path

import numpy as np
import pytest

import conewright as cw
from conewright.papers.make import papers
from conewright.papers.wiring.schedule import schedule
from conewright.physics.basics import bands
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Report, Severity

FILE = Path(__file__).parents[2] / "examples" / "estate-amplifier.toml"
JOB = cw.load(FILE)
SERIES, FUSE = "in-series", "larger-fuse"


def value(report: Report, name: str) -> float:
    found = report.figure(name).value
    assert found is not None
    return found


@pytest.fixture(scope="module")
def compared() -> Report:
    return cw.compare(JOB)


def test_two_coils_in_parallel_are_a_stop() -> None:
    report = cw.feed(JOB.build())
    assert 1.6 <= value(report, "bass.minimum_impedance") <= 2.4
    verdict = next(v for v in report.verdicts if v.id == "bass.load")
    assert verdict.severity is Severity.STOP
    assert "allows dips to 3.2 ohm" in verdict.text
    assert report.answer.startswith("The hardest load is bass")
    assert "is not rated for" in report.answer
    fronts = [v for v in report.verdicts if v.id in ("front-left.load", "front-right.load")]
    assert {v.severity for v in fronts} <= {Severity.GOOD, Severity.NOTE}


def test_find_names_the_load_of_the_bass_channel() -> None:
    report = cw.find(JOB.build())
    causes = {f.id: f.value or 0.0 for f in report.figures if f.id.startswith("cause.")}
    assert max(causes, key=causes.__getitem__) == "cause.load-too-low@bass"
    assert causes["cause.load-too-low@bass"] > 0.8


def test_in_series_it_is_borne_and_gives_about_as_many_watts() -> None:
    found, series = cw.feed(JOB.build()), cw.feed(JOB.build(SERIES))
    assert 6.0 < value(series, "bass.minimum_impedance") < 9.0
    verdict = next(v for v in series.verdicts if v.id == "bass.load")
    assert verdict.severity in (Severity.GOOD, Severity.NOTE)
    assert not any(v.severity is Severity.STOP for v in series.verdicts)
    powers = [value(report, "bass.clean_power") for report in (found, series)]
    assert powers[1] == pytest.approx(powers[0], rel=0.25)


def test_the_bass_falls_as_a_voltage_source_has_it() -> None:
    change = value(cw.hear(JOB.build(SERIES), JOB.build()), "driver.bass_change")
    assert -7.0 < change < -3.0


def test_compare_takes_the_series_wiring(compared: Report) -> None:
    assert "in series" in compared.answer.lower()
    for name in ("as-found", FUSE):
        risk = next(v for v in compared.verdicts if v.id == f"{name}.risk")
        assert "stopped, since" in risk.text
        assert "bass falls below what Bass amplifier bears" in risk.text
    assert not any(v.id == f"{SERIES}.risk" for v in compared.verdicts)
    assert value(compared, f"{SERIES}.cure_odds") > 0.7


def test_series_costs_work_and_no_loudspeaker() -> None:
    taken = outlay(JOB.build(SERIES))
    assert {"rewire"} <= {step.id for step in taken.steps}
    assert not any(line.kind in ("driver", "radio") for line in taken.lines)


def test_the_low_pass_keeps_the_bass_channel_to_bass() -> None:
    build = JOB.build()
    solver = Solver(conditioned_draws(build, samples=1), bands.fine_grid())
    circuit = solver.solve(build)
    level = np.abs(circuit.channels["bass"].settings[0])
    at = {f: level[np.argmin(np.abs(circuit.frequency - f))] for f in (50.0, 250.0)}
    # closed form: Butterworth of order 4, 90 Hz: -35.5 dB at 250 Hz and -0.04 dB at 50 Hz
    assert 20 * np.log10(at[250.0] / at[50.0]) == pytest.approx(-35.5, abs=0.6)


def test_the_supply_is_told_as_it_is() -> None:
    report = cw.feed(JOB.build())
    assert value(report, "bass-feed.fuse") == 30.0
    assert value(report, "bass-amplifier.supply_volts_sine") < 13.8
    assert value(report, "bass-feed.drop_music") > 0.0
    assert any(v.subject == "bass-feed" for v in report.verdicts)


def test_the_papers_are_made() -> None:
    build = JOB.build(SERIES)
    rows = {row.title: row.goes_to for row in schedule(build).conductors}
    assert rows["bass +"] == "box-left +, from bass-amplifier"
    assert papers(build).files
