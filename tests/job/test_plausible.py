"""The ranges of a job's values: refused beyond the possible, asked back beyond the likely."""

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any, Literal, get_args, get_origin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.document.document import Document
from conewright.job.document.fields import Money
from conewright.job.document.parts import Table
from conewright.job.document.paths import fields_of, path_text, table_within
from conewright.job.plausible.doubts import doubts_of
from conewright.job.plausible.limits import range_problems
from conewright.job.plausible.ranges import LOAD, Range, measured, ranges
from conewright.job.quantity.units import to_unit
from conewright.job.text.editing import Refused, with_values
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import demo_text, starter_text
from conewright.physics.basics.air import TEMPERATURE_RANGE


def tables_below(table: type[Table], path: str = "") -> Iterator[tuple[str, object]]:
    """Every field of a job file that is no table, with its annotation."""
    for name, annotation in fields_of(table).items():
        here = f"{path}.{name}" if path else name
        inner = table_within(annotation)
        if inner is None:
            yield here, annotation
        else:
            yield from tables_below(inner, here)


def kinds(annotation: object) -> Iterator[object]:
    """The plain types in an annotation; an amount of money as the type of its field."""
    if annotation == Money:
        yield Money
    elif get_origin(annotation) is Literal:
        yield str
    elif get_origin(annotation) is Annotated:
        yield from kinds(get_args(annotation)[0])
    elif get_args(annotation):
        for each in get_args(annotation):
            yield from kinds(each)
    else:
        yield annotation


NO_NUMBER = {str, bool, date, type(None), Ellipsis}
PAID = {"job.hour_rate", "job.budget", "driver.price", "sheet.price", "proposal.extra_cost"}
PAID |= {"wishes.money"}


def counts(path: str, annotation: object) -> bool:
    """Whether a field holds numbers of the physical world: no text, no money."""
    # A version; checked as parts, of the plan; by its test; weights.
    free = {"format", "proposal.set", "proposal.add", "reading.value", "reading.odds"}
    # What head_unit and the rest may cost is up to the currency.
    paid = path in PAID or path.endswith((".price", ".price_low", ".price_high", ".cost"))
    return path not in free and not paid and bool(set(kinds(annotation)) - NO_NUMBER)


def test_every_number_has_its_range_and_no_range_is_without_one() -> None:
    wanted = {path for path, annotation in tables_below(Document) if counts(path, annotation)}
    parts = {field for field in ranges() if field.startswith(f"{LOAD}.")}
    assert set(ranges()) - parts == wanted
    assert len(parts) == 5


def test_what_is_likely_is_possible() -> None:
    for each in ranges().values():
        (least, most), (low, high) = each.possible, each.likely
        assert least <= low < high <= most, each.field
        assert each.source


def test_the_air_of_the_physics_holds_every_temperature() -> None:
    low, high = ranges()["vehicle.temperature"].possible
    assert TEMPERATURE_RANGE[0] <= low < high <= TEMPERATURE_RANGE[1]


# --- Whole jobs ---------------------------------------------------------------------------------


def changed(path: str, value: object) -> str:
    return with_values(starter_text(), {path: value})


def problems(text: str) -> list[Problem]:
    with pytest.raises(JobError) as raised:
        loads(text)
    return list(raised.value.problems)


def raw(**more: Any) -> dict[str, Any]:
    return {**loads(starter_text()).to_dict(), **more}


@pytest.mark.parametrize(
    ("table", "field", "value"),
    [
        ("head_unit", "supply", "240 V"),
        ("head_unit", "sleep_current", "500 A"),
        ("head_unit", "sleep_current", "-3 mA"),
        ("head_unit", "feed_resistance", "0.1 ohm ± 0.5 ohm"),
        ("vehicle", "cabin_length", "300 m"),
        ("vehicle", "temperature", "-80 degC"),
        ("vehicle", "built", 1066),
    ],
)
def test_the_impossible_is_refused(table: str, field: str, value: object) -> None:
    job = raw()
    job[table] = {**job.get(table, {}), field: value}
    with pytest.raises(JobError) as raised:
        from_dict(job)
    (problem,) = raised.value.problems
    assert problem.path == f"{table}.{field}"
    assert str(value) in problem.found


def test_every_place_is_named_also_where_another_field_cannot_be_read() -> None:
    job = raw()
    place = job["location"][0]
    place["mount"] = {**place.get("mount", {}), "cutout": "9999 m", "land": "wide"}
    job["channel"][0]["load"] = f"{place['id']} | 5 kohm + 12000 ohm"
    with pytest.raises(JobError) as raised:
        from_dict(job)
    told = {problem.path: problem.allowed for problem in raised.value.problems}
    where = f"location[{place['id']}].mount"
    assert told[f"{where}.cutout"] == "5 to 800 mm is possible here"
    assert f"{where}.land" in told
    channel = job["channel"][0]["id"]
    assert told[f"channel[{channel}].load"] == "0.001 to 10000 ohm is possible here"


def test_a_copy_of_a_place_is_not_blamed_for_what_it_copies() -> None:
    text = demo_text()
    assert "like" in text
    job = loads(text).to_dict()
    job["location"][0]["mount"]["cutout"] = "9 m"
    job["location"][1] = {
        "id": job["location"][1]["id"],
        "at": job["location"][1]["at"],
        "like": job["location"][0]["id"],
    }
    with pytest.raises(JobError) as raised:
        from_dict(job)
    assert [p.path for p in raised.value.problems if p.path.endswith("cutout")] == [
        f"location[{job['location'][0]['id']}].mount.cutout"
    ]


def test_a_proposal_is_held_by_the_key_that_it_sets() -> None:
    job = raw()
    job["proposal"] = [{"id": "odd", "set": {"head_unit.supply": "240 V"}}]
    with pytest.raises(JobError) as raised:
        from_dict(job)
    (problem,) = raised.value.problems
    assert problem.path.startswith("proposal[odd].set")
    assert problem.allowed == "3 to 60 V is possible here"


def test_forms_refuse_it_beside_the_field() -> None:
    with pytest.raises(Refused) as refused:
        changed("head_unit.supply", "240 V")
    assert "3 to 60 V" in refused.value.beside["head_unit.supply"]


# --- Asked back ---------------------------------------------------------------------------------


def asked(job: Job) -> list[str]:
    return [doubt.path for doubt in job.doubts]


@pytest.mark.parametrize("text", [demo_text(), starter_text()])
def test_the_examples_raise_no_question(text: str) -> None:
    assert loads(text).doubts == ()


def test_the_unlikely_is_asked_until_somebody_is_sure() -> None:
    job = loads(changed("head_unit.supply", "45 V"))
    (doubt,) = job.doubts
    assert doubt.text == "head_unit.supply: is it really 45 V? Usual is 5.8 to 29 V."
    sure = loads(changed("head_unit.supply", "45 V")).to_dict()
    sure["job"] = {**sure.get("job", {}), "sure": ["head_unit.supply"]}
    assert from_dict(sure).doubts == ()
    # It holds for the path, so a later value there is not asked for again.
    sure["head_unit"]["supply"] = "50 V"
    assert from_dict(sure).doubts == ()


def test_an_opening_is_seen_beside_the_driver_in_it() -> None:
    job = raw()
    place = job["location"][0]
    next(each for each in job["driver"] if each["id"] == place["driver"])["size"] = "165 mm"
    place["mount"] = {"cutout": "62 mm"}
    (doubt,) = from_dict(job).doubts
    assert doubt.path == f"{place['id']}.mount.cutout"
    assert "165 mm" in doubt.usual
    place["mount"] = {"cutout": "145 mm"}
    assert not from_dict(job).doubts


def test_a_coil_is_seen_beside_what_is_printed() -> None:
    job = raw(driver=[{"id": "d", "size": "165 mm", "rated_impedance": "4 ohm", "re": "34 ohm"}])
    for place in job["location"]:
        place["driver"] = "d"
    job.pop("proposal", None)
    (doubt,) = from_dict(job).doubts
    assert doubt.path == "d.re"
    assert doubt.usual.startswith("Beside d.rated_impedance of 4 ohm, usual is 2.2")


def test_a_proposal_is_asked_for_what_it_sets() -> None:
    job = raw()
    job["proposal"] = [{"id": "odd", "hours": 99.0, "set": {"head_unit.supply": "45 V"}}]
    found = from_dict(job).doubts
    assert [(each.path, each.proposal) for each in found] == [
        ("proposal.odd.hours", None),
        ("head_unit.supply", "odd"),
    ]
    job["job"] = {"sure": ["proposal.odd.hours", "head_unit.supply"]}
    assert not from_dict(job).doubts


@pytest.mark.parametrize(
    "path", ["head_unit.suply", "nowhere.mount.cutout", "head_unit.name", "head_unit", ""]
)
def test_sure_names_a_number_of_the_job(path: str) -> None:
    job = raw(job={"sure": ["vehicle.cabin_volume", path or "?"]})
    with pytest.raises(JobError) as raised:
        from_dict(job)
    (problem,) = raised.value.problems
    assert problem.path == "job.sure[2]"
    if path == "head_unit.suply":
        assert 'did you mean "head_unit.supply"' in problem.allowed


def test_each_number_is_known_by_the_path_it_is_asked_by() -> None:
    every = [doubt.path for doubt in doubts_of({**filled(BEYOND), "job": {}})]
    assert len(every) > 80
    whole = filled(BEYOND)
    whole["job"] = {"sure": every}
    assert doubts_of(whole) == []


# --- Every field --------------------------------------------------------------------------------

LISTS = {
    "location.at": 3, "seat.ear": 3, "sheet.size": 2, "location.mount.glass_depth": 2,
    "bench.panel.saws": 1, "bench.board.saws": 1, "bench.foam.saws": 1,
}  # fmt: skip
SPOTS = {
    "location.mount.corners": 3, "driver.frame.corners": 3,
    "location.mount.screws.places": 2, "driver.frame.screws.places": 2,
}  # fmt: skip
HOLES = {"location.cavity.panel_openings": "80 mm", "location.cavity.keep_clear": "drain 12 mm"}
SINGLE = ("vehicle", "converter", "head_unit", "bench")
WHOLE = ("count", "built")
# Held beside one another, which the rest is not.
BESIDE = {
    *("driver.size", "driver.rated_impedance"),
    *("vehicle.battery.rest_voltage", "head_unit.supply", "converter.rated_current"),
}


def number(share: float, ends: tuple[float, float]) -> float:
    return ends[0] + share * (ends[1] - ends[0])


def spelled(each: Range, si: float) -> str | float | int:
    if not each.dimension:
        # Of cable, film and patches a plan may buy less than one.
        whole = each.field.endswith(WHOLE) and each.likely[0].is_integer()
        return round(si) if whole else si
    number = to_unit(si, dimension=each.dimension, unit=each.unit)
    return f"{number:.9f} {each.unit}".strip()


def put(job: dict[str, Any], each: Range, si: float) -> None:
    """Write one value at the place of a range, as often as the field takes."""
    table, *names = each.field.split(".")
    if table in SINGLE:
        node = job.setdefault(table, {})
    else:
        entry = {"id": f"a-{table}"} if table not in ("sheet", "lead") else {}
        node = job.setdefault(table, [entry])[0]
    for name in names[:-1]:
        node = node.setdefault(name, {})
    text, name = spelled(each, si), names[-1]
    if each.field in LISTS:
        node[name] = [text] * LISTS[each.field]
    elif each.field in SPOTS:
        node[name] = [f"{text}, 0 mm"] * SPOTS[each.field]
    elif each.field in HOLES:
        node[name] = [f"{HOLES[each.field]} at {text}, 0 mm"]
    else:
        node[name] = text


def filled(shares: dict[str, float], *, likely: bool = True) -> dict[str, Any]:
    """Plain values with a number for each field, at a share of its range."""
    job: dict[str, Any] = {}
    for field, share in shares.items():
        each = ranges()[field]
        put(job, each, number(share, each.likely if likely else each.possible))
    return job


FIELDS = sorted(set(ranges()) - BESIDE - {f for f in ranges() if f.startswith(f"{LOAD}.")})
BEYOND = {
    field: 1.0 + 1e-3
    for field in FIELDS
    if ranges()[field].likely[1] < ranges()[field].possible[1] and not field.endswith(WHOLE)
}


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.sampled_from(FIELDS), st.floats(0.001, 0.999)))
def test_what_is_usual_raises_no_question(shares: dict[str, float]) -> None:
    job = filled(shares)
    assert doubts_of(job) == []
    assert range_problems(job) == []
    assert {each.range.field for each in measured(job)} == set(shares)


# Beyond the tables of wires no size can be read at all.
READ = [field for field in FIELDS if ranges()[field].dimension != "conductor"]


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(st.sampled_from(READ), st.one_of(st.floats(0.001, 0.999), st.floats(1.1, 50.0)))
)
def test_each_value_beyond_is_named_by_its_path(shares: dict[str, float]) -> None:
    job = filled(shares, likely=False)
    beyond = {field for field, share in shares.items() if share > 1.0}
    found = range_problems(job)
    named = {each.problem.path for each in found}
    assert named == {path_text(each.steps, job) for each in measured(job, impossible=True)}
    plain = {".".join(str(s) for s in each.steps if isinstance(s, str)) for each in found}
    assert plain == beyond
