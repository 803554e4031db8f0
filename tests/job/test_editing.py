"""Changing a job's text from a form: values change, comments and every other letter stay."""

import difflib
import tomllib
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.job.builds.job import Job
from conewright.job.quantity.values import parse_quantity
from conewright.job.text.editing import (
    Refused,
    with_entry,
    with_proposal,
    with_values,
    without_entries,
    without_place,
)
from conewright.job.text.labels import (
    field_at,
    fields_of,
    part_of,
    parts_of,
    place_in_file,
    plain_value,
    text_of,
)
from conewright.job.text.merging import merged
from conewright.job.text.parsing import loads
from conewright.job.text.starter import demo_text, starter_text
from conewright.job.text.survey import (
    BODIES,
    PLACES,
    SEATS,
    WHERE,
    answer_names,
    survey_text,
)
from conewright.stages.feed.stage import feed
from conewright.stages.find.faults.trade import words_of_complaints

TODAY = date(2026, 3, 2)
COMPLAINTS = words_of_complaints()


def changed_lines(old: str, new: str) -> list[str]:
    lines = difflib.unified_diff(old.splitlines(), new.splitlines(), n=0, lineterm="")
    return [line for line in lines if line[0] in "+-" and line[:3] not in ("+++", "---")]


# --- Fields -------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", [demo_text(), starter_text()])
def test_every_value_of_a_job_has_a_field(text: str) -> None:
    job = loads(text)
    shown = {
        field.path: text_of(field, part, job.to_dict())
        for part in parts_of(job)
        for field in fields_of(part)
    }
    assert shown["head_unit.supply"] == "13.8 V"
    for path in measured_paths(job):
        assert shown[field_at(job, path).path] != ""


def measured_paths(job: Job) -> list[str]:
    cables = {feed.id for feed in job.feeds}
    return [
        value.path
        for value in job.build().values()
        # A part of a load stands in the load's own text, a supply cable in that of the job.
        if value.source == "the job"
        and ".load." not in value.path
        and value.path.partition(".")[0] not in cables
    ]


def test_a_field_written_back_as_shown_reads_the_same() -> None:
    job = loads(demo_text())
    whole = job.to_dict()
    values = {
        field.path: plain_value(field, shown)
        for part in parts_of(job)
        for field in fields_of(part)
        if (shown := text_of(field, part, whole))
    }
    assert loads(with_values(demo_text(), values)) == job


def test_a_field_is_named_as_the_problems_of_a_job_name_it() -> None:
    job = loads(demo_text())
    place = part_of(job, "door-fl")
    names = {field.path: place_in_file(field, place) for field in fields_of(place)}
    assert names["door-fl.mount.cutout"] == "location[door-fl].mount.cutout"
    assert names["door-fl.at.y"] == "location[door-fl].at[2]"


@pytest.mark.parametrize(
    ("path", "typed", "value"),
    [
        ("door-fl.mount.ring", "yes", True),
        ("door-fl.mount.ring", "perhaps", "perhaps"),
        ("door-fl.mount.screws.count", "4", 4),
        ("door-fl.mount.screws.count", "4.5", 4.5),
        ("slim-130.qes", "0,72", 0.72),
        ("slim-130.qes", "0.7 ± 0.1", "0.7 ± 0.1"),
        ("slim-130.price", "58", 58),
        ("door-fl.mount.glass_depth", "60 mm; 2 1/2 in ", ["60 mm", "2 1/2 in"]),
        ("job.complaints", "dull@front\nflat-battery", ["dull@front", "flat-battery"]),
        ("head_unit.supply", "  ", None),
    ],
)
def test_what_is_typed_becomes_the_kind_of_its_field(path: str, typed: str, value: object) -> None:
    found = plain_value(field_at(loads(demo_text()), path), typed)
    assert found == value
    assert type(found) is type(value)


# --- Values -------------------------------------------------------------------------------------


def test_one_value_changes_one_line_and_its_comment_stays() -> None:
    new = with_values(demo_text(), {"vehicle.class": "estate"})
    removed, added = changed_lines(demo_text(), new)
    assert removed.startswith('-class = "van"')
    assert added == removed.replace("-", "+", 1).replace('"van"', '"estate"')
    assert "#" in added


def test_several_values_of_one_list_change_together() -> None:
    new = with_values(demo_text(), {"door-fl.at.x": "1 m", "door-fl.at.z": "0.4 m"})
    before, now = (loads(text).location("door-fl").at for text in (demo_text(), new))
    assert [each.value for each in now] == [1.0, before[1].value, 0.4]


def test_a_goal_is_both_its_ends_or_none() -> None:
    floor, goal = "wishes.goals.bass.floor", "wishes.goals.bass.goal"
    new = with_values(demo_text(), {floor: "0 dB", goal: "6 dB"})
    span = loads(new).wishes.goals.bass
    assert span is not None
    assert [str(each) for each in span] == ["0 dB", "6 dB"]
    assert loads(with_values(new, {floor: None, goal: None})).wishes.goals.bass is None
    with pytest.raises(Refused) as half:
        with_values(new, {goal: None})
    assert "two levels are wanted" in half.value.beside[goal]
    with pytest.raises(Refused) as turned:
        with_values(new, {floor: "9 dB"})
    assert "worth nothing comes first" in turned.value.beside[floor]


def test_a_value_of_a_place_that_copies_another_leaves_the_other_alone() -> None:
    new = with_values(demo_text(), {"door-fr.mount.glass_depth.2": "55 mm"})
    job = loads(new)
    depths = {id: job.location(id).mount.glass_depth or () for id in ("door-fl", "door-fr")}
    assert [str(depth) for depth in depths["door-fr"]] == ["60 mm ± 1 mm", "55 mm", "59 mm ± 1 mm"]
    assert [str(depth) for depth in depths["door-fl"]][1] == "57 mm ± 1 mm"


def test_values_appear_where_there_were_none_and_go_where_none_is_given() -> None:
    new = with_values(
        starter_text(),
        {
            "head_unit.thermal.dash": "60 degC",
            "vehicle.cabin_volume": None,
            "driver-seat.ear.y": "1 ft",
        },
    )
    raw = tomllib.loads(new)
    assert raw["head_unit"]["thermal"] == {"dash": "60 degC"}
    assert "cabin_volume" not in raw["vehicle"]
    assert raw["seat"][0]["ear"] == ["0.15 m", "1 ft", "1.05 m"]


def test_what_cannot_be_used_is_said_beside_its_field() -> None:
    bad = {"door-fr.mount.cutout": "12 elephants", "front-left.load": "door-fl |"}
    with pytest.raises(Refused) as refused:
        with_values(demo_text(), bad)
    assert set(refused.value.beside) == set(bad)
    assert "elephants" in refused.value.beside["door-fr.mount.cutout"]
    assert "character 10" in refused.value.beside["front-left.load"]
    assert refused.value.others == ()


def test_a_form_is_never_told_about_quotes() -> None:
    with pytest.raises(Refused) as refused:
        with_values(demo_text(), {"door-fl.mount.ring": "perhaps", "slim-130.price": "much"})
    assert all("quotes" not in words for words in refused.value.beside.values())
    assert "yes or no" in refused.value.beside["door-fl.mount.ring"]


def test_a_mark_of_the_encoding_stays() -> None:
    assert with_values("\ufeff" + demo_text(), {"vehicle.built": 2010}).startswith("\ufeff#")


QUANTITIES = st.sampled_from(["58 mm", "2 1/4 in", "57 mm ± 1 mm", "50..60 mm"])
PATHS = st.sampled_from(
    [
        "door-fl.mount.cutout",
        "door-fr.mount.trim_gap",
        "side-rl.mount.spacer",
        "slim-130.frame.depth",
    ]
)


@given(st.dictionaries(PATHS, QUANTITIES, min_size=1))
@settings(max_examples=25, deadline=None)
def test_whatever_is_set_is_what_the_job_says_then(values: dict[str, str]) -> None:
    job = loads(with_values(demo_text(), values))
    whole = job.to_dict()
    for path, typed in values.items():
        shown = text_of(field_at(job, path), part_of(job, path.split(".")[0]), whole)
        assert parse_quantity(shown, dimension="length") == parse_quantity(
            typed, dimension="length"
        )


# --- Entries and proposals ------------------------------------------------------------------------


def test_a_proposal_changes_only_where_it_differs() -> None:
    text = demo_text()
    old = next(each for each in loads(text).proposals if each.id == "put-right")
    new = with_proposal(text, "put-right", {"hours": 2.0, "set": dict(old.set)})
    assert changed_lines(text, new) == ["-hours = 1.5", "+hours = 2"]


def test_a_new_proposal_stands_behind_the_others() -> None:
    new = with_proposal(demo_text(), "rings", {"name": None, "set": {"door-f?.mount.ring": True}})
    added = loads(new).proposals[-1]
    assert (added.id, dict(added.set)) == ("rings", {"door-f?.mount.ring": True})
    assert new.startswith(demo_text())


def test_a_proposal_that_leads_nowhere_is_said_beside_its_row() -> None:
    with pytest.raises(Refused) as refused:
        with_proposal(demo_text(), "put-right", {"hours": "long", "set": {"attic.load": "x"}})
    assert set(refused.value.beside) == {"hours", "attic.load"}


def test_an_entry_goes_without_a_trace() -> None:
    text = demo_text()
    with_it = with_entry(text, "seat", {"id": "bench", "ear": ["0 m", "0 m", "1 m"]})
    assert loads(without_entries(with_it, "seat", "bench")) == loads(text)


def test_places_that_copy_one_that_goes_keep_what_they_copied() -> None:
    rear = 'load = "side-rl | roof-rl"'
    text = demo_text().replace("side-rl + roof-rl", "side-rl").replace(rear, 'load = "side-rl"')
    before, after = loads(text), loads(without_place(text, "roof-rl"))
    assert after.location("roof-rr") == before.location("roof-rr")
    assert {place.id for place in before.locations} - {"roof-rl"} == {
        place.id for place in after.locations
    }


def test_a_driver_in_use_cannot_be_taken_out() -> None:
    with pytest.raises(Refused) as refused:
        without_entries(demo_text(), "driver", "old-100")
    assert any("old-100" in words for words in refused.value.others)


# --- Both sides of a conflict ---------------------------------------------------------------------

A_SHEET = ["200 mm", "200 mm"]


def test_changes_to_different_things_fit_into_one() -> None:
    base = demo_text()
    mine = with_values(base, {"door-fr.mount.cutout": "123 mm", "vehicle.cabin_volume": None})
    theirs = with_values(base, {"head_unit.supply": "14 V"})
    both = merged(base, mine, theirs)
    assert both is not None
    assert changed_lines(theirs, both) == changed_lines(base, mine)


def test_changes_to_one_thing_do_not() -> None:
    base = demo_text()
    mine = with_values(base, {"head_unit.supply": "13.5 V"})
    theirs = with_values(base, {"head_unit.supply": "14 V"})
    assert merged(base, mine, theirs) is None


def test_readings_and_proposals_of_both_are_kept() -> None:
    base = demo_text()
    mine = with_entry(base, "reading", {"test": "cell-pulse", "at": "door-fl", "value": "outward"})
    mine = without_entries(mine, "proposal", "larger-fronts")
    theirs = with_proposal(base, "rings", {"set": {"door-f?.mount.ring": True}})
    both = merged(base, mine, theirs)
    assert both is not None
    job = loads(both)
    assert [each.id for each in job.proposals][-2:] == ["slim-fronts", "rings"]
    assert job.readings[-1].value == "outward"


def test_entries_without_an_id_are_told_apart_by_what_they_say() -> None:
    base = demo_text()
    mine = base.replace('size = ["500 mm", "400 mm"]', 'size = ["550 mm", "400 mm"]', 1)
    theirs = with_entry(base, "sheet", {"material": "foam", "thickness": "5 mm", "size": A_SHEET})
    mine_too = base.replace('fuse = "10 A"', 'fuse = "15 A"')
    theirs_too = with_entry(base, "feed", {"id": "amp-feed", "to": "amplifier", "length": "5 m"})
    for one, other in ((mine, theirs), (mine_too, theirs_too)):
        both = merged(base, one, other)
        assert both is not None
        assert changed_lines(other, both) == changed_lines(base, one)


def test_what_one_changed_and_the_other_took_out_does_not_fit() -> None:
    base = demo_text()
    mine = without_entries(base, "proposal", "slim-fronts")
    theirs = with_proposal(base, "slim-fronts", {"hours": 3.0})
    assert merged(base, mine, theirs) is None
    assert merged(base, theirs, mine) is None


# --- The survey -----------------------------------------------------------------------------------


def test_two_answers_make_a_job_that_can_be_answered() -> None:
    from conewright import feed, hear

    job = loads(
        survey_text(
            {"class": "compact", "place:door-front": "on"}, today=TODAY, complaints=COMPLAINTS
        )
    )
    build = job.build()
    assert {channel.load for channel in job.channels} == {"door-front-l", "door-front-r"}
    assert "Nothing" not in feed(build).answer
    assert "cleanly" in hear(build).answer


@pytest.mark.parametrize("body", BODIES)
def test_all_places_of_every_body_make_a_job(body: str) -> None:
    answers = {"class": body} | {f"place:{place.key}": "on" for place in PLACES}
    job = loads(survey_text(answers, today=TODAY, complaints=COMPLAINTS))
    assert len(job.locations) == sum(len(place.letters) for place in PLACES)
    # Left is where y is positive (axes of ISO 8855); a single loudspeaker sits in the middle.
    sides = {place.id[-2:]: np.sign(place.at[1].value) for place in job.locations}
    assert {sides.pop("-l"), sides.pop("-r")} == {1.0, -1.0}
    assert set(sides.values()) == {0.0}
    build = job.build()
    assert build.vehicle.vehicle_class == body


def surveyed(**answers: str) -> Job:
    named = {name.replace("__", ":").replace("_", "-"): text for name, text in answers.items()}
    return loads(survey_text({"class": "saloon"} | named, today=TODAY, complaints=COMPLAINTS))


def test_a_mono_radio_with_one_loudspeaker_is_one_output() -> None:
    job = surveyed(era="mono", built="1972", place__dash_centre="on")
    assert [(each.id, each.load) for each in job.channels] == [("mono", "dash-centre")]
    assert job.locations[0].at[1].value == 0.0
    assert (job.head_unit.era, job.drivers[0].age) == ("mono", "old")
    assert "mono" in job.channels[0].id
    alone = surveyed(place__dash_centre="on", outputs="mono")
    assert [each.load for each in alone.channels] == ["dash-centre"]


def test_a_mono_radio_may_drive_a_pair() -> None:
    job = surveyed(era="mono", place__door_front="on")
    assert [each.load for each in job.channels] == ["door-front-l | door-front-r"]


def test_a_single_loudspeaker_beside_pairs_plays_the_sum() -> None:
    job = surveyed(place__door_front="on", place__dash_centre="on")
    assert [each.id for each in job.channels] == ["front-left", "front-right", "centre"]
    assert [each.signal for each in job.channels] == [None, None, "sum"]


def test_two_outputs_share_front_and_rear_by_their_sides() -> None:
    job = surveyed(outputs="stereo", place__door_front="on", place__shelf="on")
    assert {each.id: each.load for each in job.channels} == {
        "left": "door-front-l | shelf-l",
        "right": "door-front-r | shelf-r",
    }


def test_outputs_with_nothing_on_them_and_wiring_nobody_knows_are_written_down() -> None:
    answers = {"class": "saloon", "outputs": "four", "wiring": "unknown", "place:door-front": "on"}
    text = survey_text(answers, today=TODAY, complaints=COMPLAINTS)
    assert 'id = "rear-left"\nload = "none"' in text
    assert {each.load for each in loads(text).channels} == {"none", "unknown"}


def test_the_supply_and_the_pole_on_the_body_are_asked_for() -> None:
    job = surveyed(system="6 V", ground="positive", place__dash_centre="on")
    assert (job.vehicle.system, job.vehicle.ground) == ("6 V", "positive")
    assert surveyed(place__roof="on").vehicle.system is None


def test_a_tweeter_on_the_frame_is_written_down() -> None:
    job = surveyed(coaxial__door_front="on", place__shelf="on")
    assert {each.id: each.tweeter is not None for each in job.drivers} == {
        "fitted-door-front": True,
        "fitted-shelf": False,
    }
    # A pillar's tweeter is one already.
    assert "coaxial:pillar" not in answer_names(COMPLAINTS)


@pytest.mark.parametrize(("fed", "input"), [("line", "line"), ("outputs", "rear-left")])
def test_an_amplifier_drives_what_was_ticked(fed: str, input: str) -> None:
    job = surveyed(amplifier=fed, place__door_front="on", place__box="on", amplified__box="on")
    channels = {each.id: each for each in job.channels}
    assert channels["front-left"].load == "door-front-l"
    assert channels["rear-left"].load == "none"
    behind = channels["rear-left-amplifier"]
    assert (behind.load, behind.driven_by, behind.input) == ("box-l", "amplifier", input)
    assert [unit.id for unit in job.amplifiers] == ["amplifier"]
    assert feed(job.build()).figures


def test_an_amplifier_of_which_nothing_is_ticked_drives_all() -> None:
    job = surveyed(amplifier="outputs", era="mono", place__door_front="on")
    assert {each.id: each.load for each in job.channels} == {
        "mono": "none",
        "mono-amplifier": "door-front-l | door-front-r",
    }


def test_seats_behind_the_front_row_lie_behind_it() -> None:
    ticked = {f"seat:{key}": "on" for key in SEATS}
    for body in ("saloon", "minibus", "motorhome", "work-cab"):
        answers = {"class": body, "place:door-front": "on"} | ticked
        job = loads(survey_text(answers, today=TODAY, complaints=COMPLAINTS))
        ears = {seat.id: seat.ear[0].value for seat in job.seats}
        assert set(ears) == {"driver", *SEATS}
        if body != "work-cab":
            assert ears["third-row"] < ears["second-row"] < ears["driver"] == ears["passenger"]
            assert ears["dinette"] < ears["driver"]
        assert job.build().seats


@pytest.mark.parametrize(
    ("answers", "name"),
    [
        ({"era": "valves"}, "era"),
        ({"outputs": "seven"}, "outputs"),
        ({"wiring": "guessed"}, "wiring"),
        ({"era": "mono", "outputs": "four"}, "outputs"),
        ({"system": "48 V"}, "system"),
        ({"ground": "left"}, "ground"),
        ({"amplified:roof": "on"}, "amplifier"),
        ({"class": "boat"}, "class"),
    ],
)
def test_answers_about_the_radio_that_cannot_be_are_named(
    answers: dict[str, str], name: str
) -> None:
    with pytest.raises(Refused) as refused:
        survey_text(
            {"class": "saloon", "place:roof": "on"} | answers, today=TODAY, complaints=COMPLAINTS
        )
    assert set(refused.value.beside) == {name}


def test_the_names_of_the_answers_are_those_the_survey_reads() -> None:
    names = answer_names(COMPLAINTS)
    assert len(set(names)) == len(names)
    assert {"class", "era", "place:dash-centre", "seat:dinette", "complaint:dull"} <= set(names)


def test_what_nobody_measured_says_how_little_is_known() -> None:
    job = loads(
        survey_text({"class": "van", "place:roof": "on"}, today=TODAY, complaints=COMPLAINTS)
    )
    assert all(axis.spread == "plus-minus" for axis in job.locations[0].at)
    assert any(fill.path == "head_unit.minimum_load" for fill in job.build().fills)


def test_the_owner_s_words_stay_whole() -> None:
    notes = 'He says "it hums" \\ and\n# more \u0085'
    answers = {
        "class": "van",
        "place:roof": "on",
        "notes": notes,
        "complaint:dull": "on",
        "where:dull": "rear",
    }
    about = loads(survey_text(answers, today=TODAY, complaints=COMPLAINTS)).about
    assert about.notes == notes.strip()
    assert about.complaints == ("dull@rear",)
    assert "dull" in COMPLAINTS


def test_every_answer_that_cannot_be_used_is_named_at_once() -> None:
    answers = {"place:roof": "on", "size:roof": "big", "built": "old", "supply": "much"}
    with pytest.raises(Refused) as refused:
        survey_text(answers, today=TODAY, complaints=COMPLAINTS)
    assert set(refused.value.beside) == {"class", "size:roof", "built", "supply"}


def test_a_complaint_points_at_a_corner_or_at_one_loudspeaker() -> None:
    answers = {"class": "van", "place:roof": "on", "complaint:dull": "on"}
    for where in ("rear-left", "roof-r"):
        text = survey_text(answers | {"where:dull": where}, today=TODAY, complaints=COMPLAINTS)
        assert loads(text).about.complaints == (f"dull@{where}",)
    assert {WHERE[where] for where in ("rear-left", "roof-r")} == {"rear left", "roof, right"}


def test_a_complaint_of_a_loudspeaker_that_is_not_there_is_asked_back() -> None:
    answers = {"class": "van", "place:roof": "on", "where:dull": "door-front-l"}
    assert loads(survey_text(answers, today=TODAY, complaints=COMPLAINTS)).about.complaints == ()
    with pytest.raises(Refused) as refused:
        survey_text(answers | {"complaint:dull": "on"}, today=TODAY, complaints=COMPLAINTS)
    assert "front left door" in refused.value.others[0]
