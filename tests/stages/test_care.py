import csv
import re
from functools import cache
from importlib.resources import files

import pytest

from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import loads
from conewright.stages.common.changes import as_found, cut_needed, new_driver_places, opened_places
from conewright.stages.find.stage import find
from conewright.stages.report.care import CONDITIONS, cautions_for, restraint_gate
from conewright.stages.report.data import Severity

JOB = """
format = 1

[vehicle]
restraints = {{ {restraints} }}

[head_unit]
name = "radio"
output = "{output}"

[[channel]]
id = "left"
load = "door | pillar | dash"

[[location]]
id = "door"
name = "left door"
kind = "door"
at = ["0.9 m", "0.8 m", "0.3 m"]
driver = "old"
mount = {{ cutout = "122 mm", ring = false, glass_depth = ["60 mm"] }}
cavity = {{ panel_holes = "60 cm2", drains = "6 cm2", volume = "40 L", cover = "none" }}

[[location]]
id = "pillar"
name = "left pillar"
kind = "pillar"
at = ["1.1 m", "0.7 m", "0.9 m"]
driver = "old"

[[location]]
id = "dash"
name = "dash"
kind = "dash"
at = ["1.2 m", "0.0 m", "0.8 m"]
driver = "old"

[[driver]]
id = "old"
size = "130 mm"

[[driver]]
id = "new"
size = "130 mm"
age = "new"
frame = {{ depth = "50 mm", cutout = "118 mm", outer = "136 mm", front_height = "9 mm" }}

[[driver]]
id = "large"
size = "165 mm"
age = "new"
frame = {{ depth = "62 mm", cutout = "146 mm", outer = "166 mm", front_height = "9 mm" }}
"""

PLANS: dict[str, dict[str, object]] = {
    "radio": {"left.gain": "-3 dB"},
    "ring": {"door.mount.ring": True},
    "spacer": {"door.mount.spacer": "5 mm"},
    "cut": {"door.mount.cutout": "140 mm"},
    "holes": {"door.cavity.panel_holes": "0 cm2"},
    "drains": {"door.cavity.drains": "2 cm2"},
    "patch": {"door.cavity.cover": "patch"},
    "stuffing": {"door.cavity.volume": "35 L"},
    "driver": {"door.driver": "new"},
    "larger": {"door.driver": "large"},
    "pillar": {"pillar.driver": "new"},
    "dash": {"dash.driver": "new"},
    "both": {"door.driver": "new", "pillar.driver": "new"},
}
DOOR_PLANS = [
    "ring", "spacer", "cut", "holes", "drains", "patch", "stuffing", "driver", "larger",
]  # fmt: skip
DEFER = "maker's service information"


def _setting(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else f'"{value}"'


@cache
def _text(sensor: str | None, curtain: str | None, output: str) -> str:
    parts = {"door_sensor": sensor, "curtain": curtain}
    given = ", ".join(f'{name} = "{value}"' for name, value in parts.items() if value)
    proposals = [
        "\n".join(
            [
                f'[[proposal]]\nid = "{name}"\n[proposal.set]',
                *(f'"{path}" = {_setting(value)}' for path, value in settings.items()),
            ]
        )
        for name, settings in PLANS.items()
    ]
    return JOB.format(restraints=given, output=output) + "\n".join(proposals)


@cache
def _job(sensor: str | None, curtain: str | None, output: str) -> Job:
    return loads(_text(sensor, curtain, output))


def _build(
    plan: str | None,
    sensor: str | None = None,
    curtain: str | None = None,
    output: str = "bridge",
) -> Build:
    return _job(sensor, curtain, output).build(plan)


def _cautions(stage: str, build: Build) -> set[str]:
    return {caution.id for caution in cautions_for(stage, build)}


# --- The restraint gate ----------------------------------------------------------------------


@pytest.mark.parametrize("plan", DOOR_PLANS)
@pytest.mark.parametrize("sensor", ["pressure", "unknown", None])
def test_whatever_changes_a_door_stops(plan: str, sensor: str | None) -> None:
    (verdict,) = restraint_gate(_build(plan, sensor, "none"))
    assert verdict.severity is Severity.STOP
    assert verdict.subject == "vehicle"
    assert "left door" in verdict.text
    assert "Maker's service information, licensed technician." in verdict.text


@pytest.mark.parametrize("plan", DOOR_PLANS)
def test_an_impact_sensor_warns(plan: str) -> None:
    (verdict,) = restraint_gate(_build(plan, "impact", "none"))
    assert verdict.severity is Severity.WARN
    assert "Maker's service information comes first" in verdict.text


@pytest.mark.parametrize("plan", [*DOOR_PLANS, "pillar", "dash", "both", "radio", None])
def test_no_restraint_parts_no_gate(plan: str | None) -> None:
    assert restraint_gate(_build(plan, "none", "none")) == ()


@pytest.mark.parametrize("plan", ["radio", "dash", "pillar", None])
@pytest.mark.parametrize("sensor", ["pressure", "unknown", "impact"])
def test_no_door_changed_no_door_gate(plan: str | None, sensor: str) -> None:
    assert restraint_gate(_build(plan, sensor, "none")) == ()


@pytest.mark.parametrize(
    ("curtain", "words"),
    [("unknown", "nobody has said"), (None, "nobody has said"), ("impact", "may lie behind")],
)
def test_a_curtain_behind_a_pillar_warns(curtain: str | None, words: str) -> None:
    (verdict,) = restraint_gate(_build("pillar", "none", curtain))
    assert verdict.severity is Severity.WARN
    assert words in verdict.text
    assert "left pillar" in verdict.text


def test_a_curtain_is_no_reason_to_stop_a_dash_or_a_door() -> None:
    assert restraint_gate(_build("dash", "none", "unknown")) == ()
    assert restraint_gate(_build("driver", "none", "unknown")) == ()


def test_door_and_pillar_are_both_spoken_of() -> None:
    gate = restraint_gate(_build("both"))
    assert [verdict.severity for verdict in gate] == [Severity.STOP, Severity.WARN]
    assert len({verdict.id for verdict in gate}) == 2


def test_the_unknown_says_what_to_write_down() -> None:
    (verdict,) = restraint_gate(_build("driver", None, "none"))
    assert "vehicle.restraints.door_sensor" in verdict.text


# --- What a plan opens -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plan", "opened"),
    [
        (None, set()),
        ("radio", set()),
        *((plan, {"door"}) for plan in DOOR_PLANS),
        ("pillar", {"pillar"}),
        ("both", {"door", "pillar"}),
    ],
)
def test_opened_places(plan: str | None, opened: set[str]) -> None:
    assert {place.id for place in opened_places(_build(plan))} == opened


def test_new_drivers() -> None:
    assert new_driver_places(_build("both")) == {"door", "pillar"}
    assert new_driver_places(_build("ring")) == frozenset()


def test_as_found_is_the_job_without_a_proposal() -> None:
    build = _build("both")
    assert as_found(build).proposal is None
    assert as_found(build).job is build.job
    assert as_found(as_found(build)) is as_found(build)


def test_cut_needed() -> None:
    # Closed form: 146 - 122 mm; 118 mm goes through 122 mm; no opening is known on the pillar.
    assert cut_needed(_build("larger").location("door")) == pytest.approx(24e-3)
    assert cut_needed(_build("driver").location("door")) == 0.0
    assert cut_needed(_build("driver").location("pillar")) is None


# --- Cautions --------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", ["fit", "feed", "hear", "compare"])
def test_every_answer_defers(stage: str) -> None:
    assert "defer" in _cautions(stage, _build(None, "none", "none"))


def test_hearing_goes_with_levels() -> None:
    build = _build(None, "none", "none")
    assert "hearing" in _cautions("hear", build)
    assert "hearing" not in _cautions("feed", build)


def test_feed_knows_the_output() -> None:
    bridge, common = (_build(None, output=output) for output in ("bridge", "common-ground"))
    assert {"fuse", "floating"} <= _cautions("feed", bridge)
    assert "shared-return" not in _cautions("feed", bridge)
    assert "shared-return" in _cautions("feed", common)
    assert "floating" not in _cautions("feed", common)


def test_cutting_is_cautioned_where_steel_is_cut() -> None:
    assert "cutting" in _cautions("fit", _build("larger"))
    assert "cutting" in _cautions("fit", _build("cut"))
    assert "cutting" not in _cautions("fit", _build("driver"))
    assert "edges" in _cautions("fit", _build("driver"))
    assert "edges" not in _cautions("fit", _build("dash"))


def test_glass_wherever_a_door_is_measured() -> None:
    assert "glass" in _cautions("fit", _build(None))
    assert "glass" not in _cautions("hear", _build(None))


def test_restraints_unless_ruled_out() -> None:
    assert "restraints" in _cautions("fit", _build(None))
    assert "restraints" not in _cautions("fit", _build(None, "none", "none"))
    assert "restraints-plan" in _cautions("hear", _build("driver"))
    assert "restraints-plan" not in _cautions("hear", _build("radio"))
    assert "pressure-sensor" in _cautions("feed", _build("radio", "pressure"))
    assert "pressure-sensor" not in _cautions("feed", _build("radio", "impact"))


def test_curtain_where_its_trim_comes_off() -> None:
    assert "curtain" in _cautions("fit", _build("pillar"))
    assert "curtain" not in _cautions("fit", _build("pillar", "none", "none"))
    assert "curtain-door" in _cautions("fit", _build("driver", "none", "impact"))
    assert "restraint-lamp" in _cautions("fit", _build("driver", "impact", "none"))
    assert "restraint-lamp" not in _cautions("fit", _build("driver", "none", "none"))


def test_magnets_only_with_new_drivers() -> None:
    assert "magnets" in _cautions("fit", _build("dash"))
    assert "magnets" not in _cautions("fit", _build("ring"))


# --- The data --------------------------------------------------------------------------------


def _rows(name: str) -> list[dict[str, str]]:
    text = (files("conewright.stages.report") / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_every_condition_is_known_and_used() -> None:
    used = {word for row in _rows("cautions.csv") for word in row["when"].split()}
    assert used == set(CONDITIONS)


def test_caution_ids_are_unique() -> None:
    ids = [row["id"] for row in _rows("cautions.csv")]
    assert len(ids) == len(set(ids))


def test_every_restraint_text_defers() -> None:
    for row in _rows("restraints.csv"):
        assert DEFER in row["text"].lower()


def test_no_text_gives_a_waiting_time_for_restraints() -> None:
    texts = [row["text"] for row in _rows("restraints.csv")]
    texts += [row["text"] for row in _rows("cautions.csv") if "restraint" in row["id"]]
    assert len(texts) >= 8
    for text in texts:
        assert not re.search(r"\d|second|minute|hour", text)


# --- What was found at a place, and a radio's code ------------------------------------------------


def _found(place: str, what: str, sensor: str | None = None) -> Job:
    text = _text(sensor, None, "bridge")
    return loads(text.replace(f'id = "{place}"\n', f'id = "{place}"\nrestraint = "{what}"\n', 1))


def test_what_was_found_in_a_door_goes_before_what_is_said_of_the_vehicle() -> None:
    # Nobody has said anything of the vehicle; somebody looked into this very door.
    looked = restraint_gate(_found("door", "none").build("larger"))
    assert not any("door" in verdict.text for verdict in looked)
    pressure = restraint_gate(_found("door", "pressure", "none").build("larger"))
    assert [verdict.severity for verdict in pressure if "left door" in verdict.text] == [
        Severity.STOP
    ]
    impact = restraint_gate(_found("door", "impact").build("larger"))
    assert [verdict.severity for verdict in impact if "left door" in verdict.text] == [
        Severity.WARN
    ]


def test_a_curtain_found_in_a_door_says_nothing_of_a_sensor_there() -> None:
    verdicts = restraint_gate(_found("door", "curtain").build("larger"))
    assert any("side-impact sensor" in verdict.text for verdict in verdicts)


@pytest.mark.parametrize(
    ("state", "said", "asked"),
    [
        ("pressure", "a pressure sensor reads the air inside", False),
        ("unknown", "find out whether a side-impact sensor sits there", True),
    ],
)
def test_before_a_reading_a_known_sensor_is_not_to_be_found_out(
    state: str, said: str, asked: bool
) -> None:
    job = _job(state, None, "bridge")
    found = find(job.build())
    verdict = next(each for each in found.verdicts if each.id == "vehicle.before-opening")
    assert said in verdict.text
    texts = [verdict.text, *(caution.text for caution in found.cautions)]
    for stage in ("fit", "feed", "make"):
        texts += [caution.text for caution in cautions_for(stage, job.build("larger"))]
    assert any("find out" in text for text in texts) is asked


@pytest.mark.parametrize(
    ("code", "caution"),
    [("missing", "radio-code-missing"), ("at-hand", "radio-code"), ("none", ""), ("", "")],
)
def test_a_radios_code_is_spoken_of_before_the_battery_comes_off(code: str, caution: str) -> None:
    text = _text(None, None, "bridge")
    if code:
        text = text.replace("[head_unit]\n", f'[head_unit]\ncode = "{code}"\n')
    job = loads(text)
    found = {each for each in _cautions("make", job.build("larger")) if each.startswith("radio-")}
    assert found == ({caution} if caution else set())
    # Nothing is unplugged as found.
    assert not any(each.startswith("radio-") for each in _cautions("make", job.build()))
