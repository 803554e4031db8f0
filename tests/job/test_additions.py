"""Plans that add and remove: what is refused and under which name, and equal to written at once."""

from __future__ import annotations

import pytest

from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.text.differences import compare
from conewright.job.text.editing import with_proposal
from conewright.job.text.merging import merged
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import job_schema, starter_text

PLACE = """
[[proposal.add.location]]
id = "side-rl"   # what a guest may see
kind = "panel"
at = ["-0.9 m", "0.6 m", "0.7 m"]
driver = "small-100"
trim = { grille_area = "60 cm2" }
"""
CHANNEL = """
[[proposal.add.channel]]
id = "rear-left"
cable = { length = "5 m", size = "0.75 mm2" }
load = "side-rl"
"""
DRIVER = """
[[proposal.add.driver]]
id = "small-100"
size = "100 mm"
age = "new"
rated_impedance = "4 ohm"
price = 40
"""
HEAD = """
[[proposal]]
id = "rear"
"""
WHOLE = HEAD + PLACE + CHANNEL + DRIVER


def with_plan(plan: str) -> Job:
    return loads(starter_text() + plan)


def refused(plan: str) -> str:
    with pytest.raises(JobError) as caught:
        with_plan(plan)
    return str(caught.value)


def test_parts_of_all_kinds_come_and_the_job_stays() -> None:
    job = with_plan(WHOLE)
    planned = job.with_proposal("rear")
    assert [place.id for place in planned.locations] == ["door-fl", "door-fr", "side-rl"]
    assert [channel.id for channel in planned.channels][-1] == "rear-left"
    assert planned.driver("small-100").price == 40
    assert [place.id for place in job.locations] == ["door-fl", "door-fr"]
    # Read back, it is the same job: it speaks of no plan that was written for another.
    assert from_dict(planned.to_dict()) == planned


def test_a_job_with_plans_reads_back_equal() -> None:
    job = with_plan(WHOLE)
    assert from_dict(job.to_dict()) == job


def test_a_place_like_another_of_the_job_or_of_the_plan() -> None:
    twin = '[[proposal.add.location]]\nid = "side-rr"\nlike = "side-rl"\n'
    right = CHANNEL.replace("rear-left", "rear-right").replace('"side-rl"', '"side-rr"')
    other = '[[proposal.add.location]]\nid = "rear-door"\nlike = "door-fl"\n'
    load = '[proposal.set]\n"front-left.load" = "door-fl + rear-door"\n'
    plan = HEAD + PLACE + twin + other + CHANNEL + right + DRIVER + load
    planned = with_plan(plan).with_proposal("rear")
    trim = planned.location("side-rr").trim
    assert trim is not None
    assert trim.grille_area == planned.location("side-rl").trim.grille_area  # type: ignore[union-attr]
    assert planned.location("rear-door").mount.cutout == planned.location("door-fl").mount.cutout


def test_what_is_taken_out_takes_what_was_said_of_it() -> None:
    more = """
[[lead]]
function = "plus"
channel = "front-right"
[[finding]]
fault = "coil-open"
at = "door-fr"
"""
    plan = '[[proposal]]\nid = "one"\nremove = ["door-fr", "front-right", "rings-none"]\n'
    text = starter_text() + more + plan.replace(', "rings-none"', "")
    planned = loads(text).with_proposal("one")
    assert [place.id for place in planned.locations] == ["door-fl"]
    assert (planned.leads, planned.findings) == ((), ())
    assert loads(text).build("one").faults == ()


def test_one_field_is_taken_out() -> None:
    plan = '[[proposal]]\nid = "less"\nremove = ["head_unit.supply", "door-fl.mount.land"]\n'
    planned = with_plan(plan).with_proposal("less")
    assert planned.head_unit.supply is None
    assert planned.location("door-fl").mount.land is None
    assert planned.location("door-fr").mount.land is not None


@pytest.mark.parametrize(
    ("plan", "told"),
    [
        # Removing what is not there.
        (HEAD + 'remove = ["door-rl"]', 'proposal[rear].remove: found "door-rl"; did you mean'),
        (HEAD + 'remove = ["driver-seat"]', 'proposal[rear].remove: found "driver-seat"'),
        (HEAD + 'remove = ["door-fl.mount.rng"]', 'there is no field "rng"; did you mean "ring"?'),
        # A removed place still named in a load: both are named.
        (
            HEAD + 'remove = ["door-fr"]',
            'proposal[rear].remove: found "door-fr"; then channel[front-right].load is "door-fr"',
        ),
        # A driver that still sits somewhere.
        (
            HEAD + 'remove = ["as-built-165"]',
            'found "as-built-165"; then location[door-fl].driver is "as-built-165"',
        ),
        (HEAD + 'remove = ["door-fl", "door-fr"]', "at least one place stays"),
        # An id twice.
        (
            WHOLE.replace("side-rl", "door-fl"),
            'proposal[rear].add.location[door-fl].id: found "door-fl"; an id is used once, and a '
            "place has it already",
        ),
        (WHOLE + PLACE, "an id is used once, and a place has it already"),
        (WHOLE.replace('"side-rl"', '"front-left"'), "a channel has it already"),
        # What nothing uses.
        (HEAD + PLACE + DRIVER, "proposal[rear].add.location[side-rl]: found a place that nothing"),
        (WHOLE.replace('driver = "small-100"', 'driver = "shallow-165"'), "a driver that nothing"),
        # A channel whose load names nobody.
        (WHOLE.replace('load = "side-rl"', 'load = "side-rx"'), '"side-rx" is no location'),
        (
            WHOLE.replace('load = "side-rl"', 'load = "4 ohm"'),
            "proposal[rear].add.channel[rear-left].load",
        ),
        (
            WHOLE.replace('load = "side-rl"', 'load = "door-fl | side-rl"'),
            "door-fl hangs on channel[1] already",
        ),
        # Fields of what is added, under their own name.
        (
            WHOLE.replace('kind = "panel"', 'kind = "pannel"'),
            'proposal[rear].add.location[side-rl].kind: found "pannel"; one of door',
        ),
        (WHOLE.replace('"60 cm2"', '"60"'), "add.location[side-rl].trim.grille_area"),
        (WHOLE.replace('"-0.9 m", "0.6 m"', '"-90 m", "0.6 m"'), "add.location[side-rl].at"),
        (WHOLE.replace('kind = "panel"', 'like = "door-rl"'), "takes the id of another location"),
        # Lists that nothing can be added to.
        (HEAD + '[[proposal.add.seat]]\nid = "x"', "proposal[rear].add.seat: found a list; known"),
        (HEAD + "[proposal.add]\nlocation = []", "entries are wanted"),
        (HEAD + "[proposal.add]\nlocation = [3]", "proposal[rear].add.location"),
    ],
)
def test_at_the_door(plan: str, told: str) -> None:
    assert told in " ".join(refused(plan).split())


def test_an_unknown_load_may_drive_an_added_place() -> None:
    unknown = starter_text().replace('load = "door-fr"', 'load = "unknown"')
    assert loads(unknown + HEAD + PLACE + DRIVER).build("rear").location("side-rl")


def test_the_schema_says_what_may_be_added() -> None:
    added = job_schema()["$defs"]["Proposal"]["properties"]["add"]
    assert set(added["properties"]) == {
        *("channel", "location", "driver", "feed", "lead", "amplifier")
    }
    assert added["properties"]["location"]["items"] == {"$ref": "#/$defs/Location"}


# --- Editing --------------------------------------------------------------------------------------


def test_changing_a_plan_keeps_what_it_adds_and_its_comments() -> None:
    text = starter_text() + WHOLE
    named = with_proposal(text, "rear", {"name": "a rear place"})
    assert "# what a guest may see" in named
    added = {**loads(text).proposal("rear").to_dict()["add"]}
    place = {**added["location"][0], "name": "left side"}
    other = {"id": "side-rr", "like": "side-rl"}
    channel = {"id": "rear-right", "load": "side-rr"}
    more = {**added, "location": [place, other], "channel": [*added["channel"], channel]}
    changed = with_proposal(named, "rear", {"add": more})
    assert "# what a guest may see" in changed
    planned = loads(changed).with_proposal("rear")
    assert (planned.location("side-rl").name, planned.location("side-rr").kind) == (
        "left side",
        "panel",
    )
    back = with_proposal(changed, "rear", {"add": added})
    assert loads(back).proposal("rear").add == loads(text).proposal("rear").add


def test_two_people_add_different_places_to_one_plan() -> None:
    text = starter_text() + WHOLE
    right = PLACE.replace("side-rl", "side-rr").replace('"0.6 m"', '"-0.6 m"')
    mine = text + right + CHANNEL.replace("rear-left", "rear-right").replace("side-rl", "side-rr")
    theirs = text.replace('id = "rear"\n', 'id = "rear"\nhours = 4\n').replace(
        'cable = { length = "5 m"', 'cable = { length = "6 m"'
    )
    both = merged(text, mine, theirs)
    assert both is not None
    assert "# what a guest may see" in both
    plan = loads(both).proposal("rear")
    assert [each["id"] for each in plan.add["location"]] == ["side-rl", "side-rr"]
    assert plan.add["channel"][0]["cable"] == {"length": "6 m", "size": "0.75 mm2"}
    assert plan.hours == 4
    # Both changed the same added place: that is a conflict.
    one, other = (text.replace('"60 cm2"', f'"{area} cm2"') for area in (70, 80))
    assert merged(text, one, other) is None


def test_what_differs_in_words() -> None:
    text = starter_text() + WHOLE
    bare = starter_text() + HEAD
    told = compare(bare, text)
    assert "proposal rear: adds place side-rl" in told
    assert "proposal rear: adds channel rear-left" in told
    larger = text.replace('"60 cm2"', '"70 cm2"')
    (line,) = compare(text, larger)
    assert line.startswith("proposal rear: place side-rl that it adds: ")
    assert line.endswith("60 cm2 → 70 cm2")
    assert "taken out" in " ".join(compare(text, bare)) or "no more" in " ".join(
        compare(text, bare)
    )


@pytest.mark.parametrize(
    "odd",
    [
        True,
        "x",
        [3],
        [{"id": "t", "add": 3}],
        [{"id": "t", "add": {"location": {"id": 1}}}],
        [{"id": "t", "add": {"location": [[]]}}],
        [{"id": "t", "add": {"driver": [{}]}}],
        [{"id": "t", "remove": [[], 1]}],
        [{"id": "t", "remove": ["", "@", "."]}],
        [{"id": "t", "repairs": {"id": "x"}}],
        [{"id": "t", "repairs": ["@", 4]}],
    ],
)
def test_what_is_no_plan_at_all_is_refused_in_words(odd: object) -> None:
    raw = loads(starter_text()).to_dict() | {"proposal": odd}
    with pytest.raises(JobError, match="proposal"):
        from_dict(raw)


@pytest.mark.parametrize("table", ["location", "channel", "driver", "lead", "job", "finding"])
def test_a_plan_beside_a_list_that_is_none_is_refused_in_words(table: str) -> None:
    plan = {"id": "t", "remove": ["door-fr"], "add": {"location": [{"id": "x", "like": "door-fl"}]}}
    raw = loads(starter_text()).to_dict() | {"proposal": [plan], table: 3}
    with pytest.raises(JobError, match=table):
        from_dict(raw)
