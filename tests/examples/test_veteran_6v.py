"""A veteran on 6 V with its body on battery plus, whose owner wants a standard radio.

What a good hand would say, written down before the job was run:

- As it is, the old radio is right where it is: made for 6 V, its case on plus, one leg on the body
  as it was built. Nothing stops, and a leg that reads near 0 ohm to the chassis is no fault.
- A standard radio straight into the old wiring is refused, and each reason said: 6 V is not 12 V;
  the body is plus and the radio's case minus; the loudspeaker comes back through the body and the
  radio's outputs are bridges. With each reason what would do instead.
- The same words stand in feed, in compare, on the pages and where the papers are refused.
- A small radio that is made for 6 V and either earth is not stopped, though the loudspeaker stays
  on the body: its output is no bridge.
- A standard radio behind an isolated converter with a second wire to the loudspeaker is not stopped
  by any of the three; it says what it takes from a 6 V generator, more than twice the amperes.
- No reading is expected at 12 V: battery 6.3 V, against the body below zero.
- The owner's car costs him a wire, a converter and a radio: all of them priced, hours besides.
"""

from pathlib import Path

import pytest

import conewright as cw
from conewright.errors import PlanRefusedError
from conewright.papers.make import papers, reasons_against
from conewright.papers.press.answers import Answers
from conewright.papers.wiring.schedule import schedule
from conewright.papers.work.checks import power_up
from conewright.stages.report.data import Report, Severity

JOB = cw.load(Path(__file__).parents[2] / "examples" / "veteran-6v.toml")
STRAIGHT, MADE, ISOLATED = "standard-radio", "made-for-it", "isolated"
REASONS = ("head_unit.supply", "head_unit.ground", "mono.return")


def value(report: Report, id: str) -> float:
    found = report.figure(id).value
    assert found is not None
    return found


def stops(report: Report) -> dict[str, str]:
    return {each.id: each.text for each in report.verdicts if each.severity is Severity.STOP}


def test_as_it_was_built_nothing_stops() -> None:
    assert JOB.doubts == ()
    assert stops(cw.feed(JOB.build())) == {}


def test_a_standard_radio_is_refused_for_three_reasons_each_with_what_would_do() -> None:
    said = stops(cw.feed(JOB.build(STRAIGHT)))
    assert set(said) >= set(REASONS)
    assert "6 V" in said["head_unit.supply"]
    assert "12 V" in said["head_unit.supply"]
    assert "plus" in said["head_unit.ground"]
    assert "body" in said["mono.return"]
    for reason in REASONS:
        assert "What would do" in said[reason]


def test_compare_and_papers_say_the_same_reasons() -> None:
    said = stops(cw.feed(JOB.build(STRAIGHT)))
    compared = {each.text for each in cw.compare(JOB).verdicts if each.subject == STRAIGHT}
    assert {said[reason] for reason in REASONS} <= compared
    refused = reasons_against(Answers(JOB.build(STRAIGHT)))
    for reason in REASONS:
        assert any(said[reason] in each for each in refused)
    with pytest.raises(PlanRefusedError, match="plus"):
        papers(JOB.build(STRAIGHT))


def test_what_would_do_is_not_stopped() -> None:
    for plan in (MADE, ISOLATED):
        assert stops(cw.feed(JOB.build(plan))) == {}, plan
        assert papers(JOB.build(plan)).files


def test_compare_takes_neither_the_refused_one_nor_stops_the_others() -> None:
    answer = cw.compare(JOB).answer
    assert f"Take {STRAIGHT}" not in answer
    assert f"Take {MADE}" in answer or f"Take {ISOLATED}" in answer or "Nothing" in answer


def test_twice_the_amperes_flow_on_the_6_v_side() -> None:
    report = cw.feed(JOB.build(ISOLATED))
    names = ("output", "music_current", "input_current")
    output, music, taken = (value(report, f"converter.{name}") for name in names)
    # Closed form, P = U I on both sides at an efficiency of 0.86 (from memory).
    assert taken == pytest.approx(output * music / (0.86 * 6.3), rel=1e-9)
    assert taken > 2.0 * music
    said = next(each for each in report.verdicts if each.id == "converter.input")
    assert "6 V" in said.text


def test_a_leg_on_the_body_is_no_fault() -> None:
    found = cw.find(JOB.build())
    assert not any(each.severity is Severity.STOP for each in found.verdicts)
    checks = {check.id: check for check in power_up(Answers(JOB.build()))}
    assert "leg" not in checks
    assert checks["leg-chassis"].lines[0].subject == "mono"
    assert "bias" not in checks
    with_wire = {check.id: check for check in power_up(Answers(JOB.build(ISOLATED)))}
    assert with_wire["leg"].lines[0].expect == "open"
    assert "leg-chassis" not in with_wire


def test_readings_of_the_supply_are_those_of_6_v_below_zero() -> None:
    proofs = {row.function: row for row in schedule(JOB.build()).conductors if not row.sign}
    assert proofs["battery"].title == "−6 V, always live"
    assert proofs["battery"].proof.expected.startswith("−6.3 V")


def test_wire_converter_and_radio_are_priced_and_timed() -> None:
    taken = cw.outlay(JOB.build(ISOLATED))
    prices = {line.item: line.cost.typical for line in taken.lines}
    assert prices["converter"] == 95
    assert prices["head_unit"] == 120
    assert {"second-wire", "converter", "radio"} <= {step.id for step in taken.steps}
    assert any("second of its pair" in line.title for line in taken.lines)
    assert 1.5 < taken.hours.typical < 5.0


def test_the_lead_to_the_body_comes_off_first_and_here_that_is_plus() -> None:
    said = {caution.id: caution.text for caution in cw.feed(JOB.build(ISOLATED)).cautions}
    assert "battery" not in said
    assert "positive lead comes off first" in said["battery-plus"]


def test_every_stage_runs() -> None:
    for plan in ("as-found", STRAIGHT, MADE, ISOLATED):
        build = JOB.build(plan)
        for stage in (cw.fit, cw.feed, cw.hear):
            assert stage(build).answer
