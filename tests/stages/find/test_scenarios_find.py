"""Two whole jobs whose odds were worked out by hand from the table of yes and no, from memory."""

import pytest
from four_doors import Reading, car

from conewright.stages.find.faults import trade
from conewright.stages.find.stage import find
from conewright.stages.report.data import Report, Severity

QUIET: tuple[Reading, ...] = (
    ("corner-solo", "fr", '"weaker"'),
    ("treble-burst", "fr", '"present"'),
    ("door-swing", "fr", '"no change"'),
    ("settings-reset", "vehicle", '"no change"'),
    ("pair-resistance", "fr", '"open"'),
    ("leg-to-chassis", "fr", '"open"'),
    ("cell-pulse", "fr", '"none"'),
)


def odds(report: Report, cause: str) -> float:
    return report.figure(f"cause.{cause}").value or 0.0


def test_a_quiet_corner_starts_from_one_coil_in_five() -> None:
    # By hand, one fault, at this corner: 7 x 0.92 against the sum of prior x chance of a sign.
    words = trade.word_table("corner-solo")
    signs = {
        fault.id: fault.prior * (1.0 - words.chance[fault.id]["equal"]) for fault in trade.faults()
    }
    assert signs["coil-open"] / sum(signs.values()) == pytest.approx(0.20, abs=0.03)


def test_a_quiet_corner_is_most_likely_an_open_coil() -> None:
    report = find(car(*QUIET).build())
    # By hand, one fault, at this corner.
    assert odds(report, "coil-open@door-fr") == pytest.approx(0.83, abs=0.03)
    assert odds(report, "joint-corroded@fr") == pytest.approx(0.08, abs=0.03)
    assert odds(report, "lead-intermittent@door-fr") == pytest.approx(0.06, abs=0.03)
    assert odds(report, "wire-broken@fr") == pytest.approx(0.03, abs=0.03)


def test_one_reading_at_the_driver_decides_it() -> None:
    read = find(car(*QUIET, ("coil-resistance", "door-fr", '"open"')).build())
    assert odds(read, "coil-open@door-fr") > 0.95
    assert any(verdict.subject == "budget" for verdict in read.verdicts)
    sound = find(car(*QUIET, ("coil-resistance", "door-fr", '"3.4 ohm"')).build())
    assert odds(sound, "coil-open@door-fr") < 0.5
    wiring = odds(sound, "joint-corroded@fr") + odds(sound, "wire-broken@fr")
    assert wiring > odds(sound, "coil-open@door-fr")


@pytest.mark.parametrize("complaints", [(), ("pops-or-hum@fr",)])
def test_direct_current_at_rest_condemns_the_channel(complaints: tuple[str, ...]) -> None:
    # By hand: legs at 13.1 V and 6.5 V are 6.6 V apart, where less than 0.05 V is healthy.
    report = find(
        car(
            ("leg-bias", "fr", '"13.1 V"'),
            ("leg-bias", "fr", '"6.5 V"'),
            ("pair-offset", "fr", '"6.6 V"'),
            complaints=complaints,
        ).build()
    )
    assert odds(report, "channel-offset@fr") > 0.85
    stop = next(verdict for verdict in report.verdicts if verdict.severity is Severity.STOP)
    assert (stop.subject, stop.figures) == ("fr", ("cause.channel-offset@fr",))
    for words in ("fuse out", "connect no loudspeaker", "every other channel"):
        assert words in stop.text
