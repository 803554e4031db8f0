"""A pick-up on 24 V, its radio behind a converter that is too small: what a good hand would say.

Written down before the job was run:

- The converter gives 2 A for good. The radio's two outputs ask for more than that when they are
  pressed hard, so it cuts out when it is loud and comes back: the words of the owner. That is a
  warning that names the converter, its 2 A and one that would do; no loudspeaker is to blame.
- Its limit is the limit of the power: less clean watts than the radio itself would give, and hear's
  ceiling is lower by as much.
- The radio's legs rest at half of what the converter gives, near 6.8 V; half of 24 V would be 12 V.
- The larger converter ends it, costs what the job says and an hour or so, and is what to take.
- Leaving the converter out burns the radio: a stop in feed, compare, pages and papers.
- On the battery's side flow about two thirds of the amperes: 13.7 V of 25.1 V, at 80 %.
- Boards of 20 cm, open behind, give no bass: front and back cancel. Closed boxes of 6 litres bring
  several decibels from 40 to 100 Hz, and cost none; no answer may say that boxing costs bass.
- The battery lasts for weeks: some 16 mA of the vehicle, 15 mA of the converter, the radio's few.
"""

from pathlib import Path

import pytest

import conewright as cw
from conewright.errors import PlanRefusedError
from conewright.papers.make import papers
from conewright.papers.press.answers import Answers
from conewright.papers.work.checks import power_up
from conewright.stages.report.data import Report, Severity, Verdict

FILE = Path(__file__).parents[2] / "examples" / "pickup-24v.toml"
JOB = cw.load(FILE)
SMALL, LARGE, OUT = "as-found", "larger-converter", "straight-on-24v"


def fed(plan: str) -> Report:
    return cw.feed(JOB.build(plan))


def value(report: Report, id: str) -> float:
    found = report.figure(id).value
    assert found is not None
    return found


def verdict(report: Report, name: str) -> Verdict:
    return next(each for each in report.verdicts if each.id == name)


def test_the_job_is_sound_and_its_small_converter_is_asked_back() -> None:
    assert [doubt.path for doubt in JOB.doubts] == ["converter.rated_current"]


def test_the_converter_is_named_with_its_rating_and_what_would_do() -> None:
    said = verdict(fed(SMALL), "converter.overload")
    assert said.severity is Severity.WARN
    assert "2 A for good" in said.text
    assert "cuts out when it is loud" in said.text
    assert "one that gives" in said.text
    ended = verdict(fed(LARGE), "converter.overload")
    assert ended.severity is Severity.GOOD


def test_its_limit_is_the_limit_of_the_power() -> None:
    small, large = fed(SMALL), fed(LARGE)
    for channel in ("front-left", "front-right"):
        name = f"{channel}.clean_power_all"
        assert value(small, name) < 0.5 * value(large, name)
    # Ohm's law, closed form: (pi/2) (2 A - Iq) shared by two outputs, into R without its cable; of
    # the radio's current 0.2 A are its chip's at rest, 0.6 A its display's and tuner's.
    quiet, ohms = 0.8, value(small, "front-left.plug_resistance")
    share = 3.14159 / 2 * (2.0 - quiet) / 2
    most = 0.5 * share**2 * ohms
    assert value(small, "front-left.clean_power_all") == pytest.approx(most, rel=0.1)
    heard = [cw.hear(JOB.build(plan)) for plan in (SMALL, LARGE)]
    quieter, louder = (value(each, "driver-seat.max_clean_level") for each in heard)
    assert 3.0 < louder - quieter < 12.0
    assert (
        heard[0].figure("driver-seat.max_clean_level").text == "the converter's amps set the limit"
    )
    assert "converter" not in (heard[1].figure("driver-seat.max_clean_level").text or "")


def test_amperes_on_the_batterys_side_follow_from_the_balance_of_power() -> None:
    report = fed(LARGE)
    output, music = (value(report, f"converter.{n}") for n in ("output", "music_current"))
    # Closed form: P = U I on both sides, 80 % of it comes through.
    wanted = output * music / (0.8 * 25.1)
    assert value(report, "converter.input_current") == pytest.approx(wanted, rel=1e-9)


def test_without_the_converter_the_radio_burns_and_nothing_is_printed() -> None:
    said = verdict(fed(OUT), "head_unit.supply")
    assert said.severity is Severity.STOP
    assert "24 V" in said.text
    assert "converter" in said.text
    compared = cw.compare(JOB)
    assert any(
        each.subject == OUT and each.severity is Severity.STOP and "24 V" in each.text
        for each in compared.verdicts
    )
    with pytest.raises(PlanRefusedError, match="24 V"):
        papers(JOB.build(OUT))


def test_find_does_not_blame_a_loudspeaker_and_compare_takes_the_larger_converter() -> None:
    found = cw.find(JOB.build())
    odds = {each.id: each.value or 0.0 for each in found.figures if each.subject == "cause"}
    assert max(odds, key=lambda id: odds[id]).startswith("cause.supply-sag")
    assert any("2 A for good" in each.text for each in found.verdicts)
    assert cw.compare(JOB).answer.startswith(f"Take {LARGE}")


def test_the_larger_converter_has_its_price_and_an_hour_or_so() -> None:
    taken = cw.outlay(JOB.build(LARGE))
    prices = {line.item: line.cost.typical for line in taken.lines}
    assert prices["converter"] == 62
    assert 0.7 < taken.hours.typical < 2.5


def test_expected_readings_follow_the_converter_and_the_battery() -> None:
    build = JOB.build(LARGE)
    checks = {check.id: check for check in power_up(Answers(build))}
    assert checks["bias"].lines[0].expect == "6.8 V"
    assert checks["converter"].lines[0].expect == "25.1 V in, 13.6 V out"
    days = value(cw.feed(JOB.build()), "vehicle.days_to_no_start")
    # Closed form: 0.4 x 56 Ah over some 35 mA.
    assert 20 < days < 35


def test_what_is_open_behind_has_no_bass_and_a_box_brings_it_back() -> None:
    change = cw.hear(JOB.build("boxed"), JOB.build()).figure("driver-seat.bass_change")
    assert change.low is not None
    assert change.value is not None
    assert change.low > 0.0
    assert change.value > 3.0
    assert any("open behind" in each.text for each in cw.hear(JOB.build()).verdicts)


def test_every_stage_and_every_paper_runs() -> None:
    for plan in (SMALL, LARGE):
        build = JOB.build(plan)
        assert cw.fit(build).verdicts is not None
        assert papers(build).files
