"""A tweeter on the frame of its driver, behind a capacitor, written in one place."""

from typing import Any

import numpy as np
import pytest

import conewright as cw
from conewright.errors import JobError
from conewright.job.builds.draws import draw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.circuit import Circuit, Solver
from conewright.stages.report.data import Series

FREQUENCY = np.array([50.0, 100.0, 1e3, 3e3, 5e3, 1e4, 2e4])
WOOFER = {
    "re": "3.4 ohm", "fs": "70 Hz", "qms": 5.0, "qes": 1.25, "mms": "9.5 g", "sd": "124 cm2",
    "le": "0.35 mH", "size": "165 mm", "age": "ageing",
}  # fmt: skip
COAX = {**WOOFER, "tweeter": {"capacitor": "4.7 uF", "re": "3.3 ohm", "rated_impedance": "4 ohm"}}


def job(**more: Any) -> Job:
    """Two doors with a coaxial driver each."""
    at = {"door-fl": "0.7 m", "door-fr": "-0.7 m"}
    return from_dict(
        {
            "format": 1,
            "vehicle": {"class": "saloon", "restraints": {"door_sensor": "none"}},
            "seat": [{"id": "driver", "ear": ["0.15 m", "0.36 m", "1.05 m"]}],
            "head_unit": {"name": "radio", "minimum_load": "4 ohm"},
            "channel": [
                {"id": "left", "load": "door-fl", "cable": {"resistance": "0.33 ohm"}},
                {"id": "right", "load": "door-fr", "cable": {"resistance": "0.33 ohm"}},
            ],
            "location": [
                {"id": name, "kind": "door", "at": ["0.75 m", y, "0.3 m"], "driver": "coax"}
                for name, y in at.items()
            ],
            "driver": [{"id": "coax", **COAX}, {"id": "plain", **WOOFER}],
            **more,
        }
    )


def solved(job: Job) -> Circuit:
    build = job.build()
    return Solver(draw(build.axes, samples=1), FREQUENCY).solve(build)


def split(job: Job) -> Job:
    """The same with each tweeter written as a place of its own, behind a capacitor in the load."""
    raw = job.to_dict()
    small = {"id": "dome", "size": "25 mm", "age": "ageing"} | {"re": "3.3 ohm"}
    raw["driver"] = [raw["driver"][1], small]
    for channel, place in zip(raw["channel"], list(raw["location"]), strict=True):
        place["driver"] = "plain"
        dome = {"id": f"{place['id']}-dome", "kind": "free", "at": place["at"], "driver": "dome"}
        raw["location"].append(dome)
        channel["load"] = f"{place['id']} | (4.7 uF + {dome['id']})"
    return from_dict(raw)


def test_it_is_what_two_places_in_parallel_are() -> None:
    # Closed form: the same tree written out; drives, currents, travel and sound are the same.
    one, two = solved(job()), solved(split(job()))
    pairs = {"door-fl": "door-fl", "door-fl.tweeter": "door-fl-dome"}
    for here, there in pairs.items():
        a, b = one.locations[here], two.locations[there]
        for name in ("drive", "current", "excursion", "output", "impedance"):
            np.testing.assert_allclose(
                np.broadcast_to(getattr(a, name)[0], FREQUENCY.shape),
                np.broadcast_to(getattr(b, name)[0], FREQUENCY.shape),
                rtol=1e-9,
            )
    np.testing.assert_allclose(
        one.channels["left"].load_impedance[0], two.channels["left"].load_impedance[0], rtol=1e-12
    )
    # A capacitor passes no direct current.
    assert one.channels["left"].plug_resistance[0, 0] == pytest.approx(3.4 + 0.33, rel=1e-9)


def test_the_small_tweeter_takes_next_to_nothing_of_the_bass() -> None:
    # Computed in the trade notes, second implementation: woofer and 4.7 uF branch stay at 3.5 to
    # 3.8 ohm and more, the tweeter takes 1.6 % of the current at 100 Hz.
    circuit = solved(job())
    place, dome = circuit.locations["door-fl"], circuit.locations["door-fl.tweeter"]
    share = np.abs(dome.current[0] / (dome.current[0] + place.current[0]))
    assert share[1] == pytest.approx(0.016, abs=0.005)
    report = cw.feed(job().build())
    assert report.figure("left.minimum_impedance").value == pytest.approx(3.75, abs=0.3)
    assert "bears that" in next(v for v in report.verdicts if v.subject == "left").text
    # Its own power and heat are told under its own name.
    power = report.figure("door-fl.tweeter.clean_power")
    assert power.subject == "door-fl.tweeter"
    assert power.value is not None
    woofer = report.figure("door-fl.clean_power").value
    assert woofer is not None
    assert 0.01 < power.value / woofer < 0.12


def test_its_treble_is_heard() -> None:
    # A woofer of 165 mm alone has lost 6 dB and more of its level in the mean from 3 to 18 kHz.
    bare = job().to_dict()
    del bare["driver"][0]["tweeter"]
    with_it, without = (
        cw.hear(each.build()).curve("driver.level") for each in (job(), from_dict(bare))
    )
    frequency = np.array(with_it.x.values, dtype=float)
    high = (frequency > 5e3) & (frequency < 16e3)
    levels = [level_of(each)[high].mean() for each in (with_it, without)]
    assert levels[0] - levels[1] > 4.0


def level_of(curve: Series) -> FloatArray:
    return np.array(curve.y.values, dtype=float)


@pytest.mark.parametrize("given", ["97 dB", "88 dB"])
def test_a_level_of_its_own_moves_what_is_heard_of_it(given: str) -> None:
    # Closed form: well above its resonance a tweeter's output goes with its level in dB.
    raw = job().to_dict()
    raw["driver"][0]["tweeter"] |= {"sensitivity": given, "fs": "900 Hz"}
    other = job().to_dict()
    other["driver"][0]["tweeter"] |= {"sensitivity": "92 dB", "fs": "900 Hz"}
    (a, b) = (solved(from_dict(each)).locations["door-fl.tweeter"] for each in (raw, other))
    moved = 20 * np.log10(np.abs(a.output[0, -1] / b.output[0, -1]))
    assert moved == pytest.approx(float(given.split()[0]) - 92.0, abs=0.5)


def test_find_asks_for_the_treble_where_the_tweeter_sits() -> None:
    # A practitioner: with no treble at one door he holds the phone to that coaxial driver.
    dull = {"complaints": ["dull@left"]}
    report = cw.find(job(job=dull).build())
    causes = [f.id for f in report.figures if f.id.startswith("cause.")]
    small = {"cause.tweeter-open@door-fl.tweeter", "cause.capacitor-dried@door-fl.tweeter"}
    # The tone control is as likely as either of them, and costs nothing to look at.
    assert causes[0] == "cause.tweeter-open@door-fl.tweeter"
    assert small | {"cause.settings@vehicle"} == set(causes[:3])
    assert report.readings[0].id == "treble-burst@door-fl.tweeter"
    reading = [{"test": "treble-burst", "at": "door-fl", "value": "missing"}]
    after = cw.find(job(job=dull, reading=reading).build())
    odds = {each.id: each.value or 0.0 for each in after.figures}
    assert sum(odds[each] for each in small) > 0.6
    assert "tweeter coil open" in after.answer


FOUND = [{"fault": "tweeter-open", "at": "door-fl.tweeter"}]
DRIED = [{"fault": "capacitor-dried", "at": "door-fl.tweeter"}]


def test_its_faults_are_states_of_it_alone() -> None:
    sound = solved(job())
    broken, dry = solved(job(finding=FOUND)), solved(job(finding=DRIED))
    bass, treble = 1, -1
    for circuit in (broken, dry):
        place = circuit.locations["door-fl"].output[0]
        np.testing.assert_allclose(
            place[bass], sound.locations["door-fl"].output[0][bass], rtol=0.02
        )
    assert np.abs(broken.locations["door-fl.tweeter"].output[0]).max() < 1e-9
    weak, whole = (each.locations["door-fl.tweeter"].output[0] for each in (dry, sound))
    assert 0.1 < np.abs(weak[treble] / whole[treble]) < 0.9
    assert np.abs(dry.locations["door-fr.tweeter"].output[0, treble]) == pytest.approx(
        np.abs(whole[treble]), rel=1e-9
    )


@pytest.mark.parametrize("found", [FOUND, DRIED])
def test_another_driver_ends_its_faults_and_mending_opens_the_door(found: Any) -> None:
    plans: list[dict[str, Any]] = [
        {"id": "swap", "set": {"door-f?.driver": "plain"}},
        {"id": "mend", "mends": [f"{each['fault']}@{each['at']}" for each in found]},
        {"id": "renew", "set": {"coax.tweeter.capacitor": "4.6 uF"}},
        {"id": "wire", "set": {"left.gain": "-1 dB"}},
    ]
    whole = job(finding=found, proposal=plans)
    left = {plan["id"]: len(whole.build(plan["id"]).faults) for plan in plans}
    assert left == {"swap": 0, "mend": 0, "renew": 0, "wire": 1}
    table = cw.compare(whole)
    assert table.figure("mend.hours").value is not None
    # Behind the door's trim there may be a sensor: nobody has said so here.
    asked = whole.to_dict()
    del asked["vehicle"]["restraints"]
    report = cw.compare(from_dict(asked))
    assert "stop" in {v.severity.value for v in report.verdicts if v.subject == "mend"}


def test_a_fault_of_a_tweeter_that_is_not_there_is_named() -> None:
    bare = job(finding=FOUND).to_dict()
    bare["location"][0]["driver"] = "plain"
    with pytest.raises(JobError, match=r"finding\[tweeter-open@door-fl\.tweeter\].*no tweeter"):
        from_dict(bare).build()
    for each in bare["driver"]:
        each.pop("tweeter", None)
    with pytest.raises(JobError, match="tweeter-open is at a place"):
        from_dict(bare)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"tweeter": {"capacitor": "4.7"}}, "capacitance"),
        ({"tweeter": {"capacitor": "-1 uF"}}, "above zero"),
        ({"tweeter": {"woofer": "165 mm"}}, "not known"),
        ({"tweeter": "25 mm"}, "a table of fields is wanted"),
        ({"tweeter": {}, "size": "25 mm"}, "a coaxial driver is a woofer"),
    ],
)
def test_what_cannot_be_is_named_at_the_door(fields: dict[str, Any], says: str) -> None:
    with pytest.raises(JobError, match=r"driver\[coax\]") as caught:
        job(driver=[{"id": "coax", **WOOFER, **fields}])
    assert says in str(caught.value)
