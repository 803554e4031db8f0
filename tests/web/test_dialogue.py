"""The dialogue of find as a phone without script sees it."""

import re
import tomllib
from html import unescape

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

import conewright as cw
from conewright.job.text.readings import with_reading, without_finding, without_reading
from conewright.store import Saved, Store

# The demo's own readings, and what answers each as a form sends it.
SAID = {
    ("mono-bass", "front"): {"word": "weaker"},
    ("pair-resistance", "rear-left"): {"value": "2.2 ohm ± 0.1 ohm"},
    ("pair-resistance", "rear-right"): {"value": "2.3 ohm ± 0.1 ohm"},
    ("cell-pulse", "door-fr"): {"word": "inward"},
}


def unread(text: str) -> str:
    """Return the text of a job without any reading or finding."""
    while tomllib.loads(text).get("finding"):
        text = without_finding(text)
    while tomllib.loads(text).get("reading"):
        text = without_reading(text)
    return text


@pytest.fixture
def kept(store: Store) -> Saved:
    return store.create(unread(cw.demo_text()), who="Ann")


def page(client: TestClient, job: Saved, query: str = "") -> str:
    answer = client.get(f"/jobs/{job.job_id}/find{query}")
    assert answer.status_code == 200
    return unescape(answer.text)


def said(
    client: TestClient, job: Saved, test: str, at: str, *, base: int = 1, **answer: str
) -> Response:
    fields = {"base": str(base), "test": test, "at": at, **answer}
    return client.post(f"/jobs/{job.job_id}/readings", data=fields)


def asked(text: str) -> tuple[str, str]:
    """Return test and place of the form on a page."""
    test = re.search(r'name="test" value="([^"]+)"', text)
    at = re.search(r'name="at" value="([^"]+)"', text)
    assert test is not None
    assert at is not None
    return test[1], at[1]


def first_cause(text: str) -> str:
    """Return what leads the odds among what is not computed from the wiring."""
    causes = re.findall(r"<li><p><b>(.+?)</b> <span class=\"id\">at (.+?)</span>", text)
    return next(f"{title}@{place}" for title, place in causes if not title.startswith("load"))


# --- The whole way --------------------------------------------------------------------------------


def test_the_demo_answered_as_it_was_leads_to_its_cause(
    client: TestClient, store: Store, kept: Saved
) -> None:
    for base, ((test, at), answer) in enumerate(SAID.items(), start=1):
        shown = page(client, kept, f"?reading={test}@{at}")
        assert asked(shown) == (test, at)
        sent = said(client, kept, test, at, base=base, **answer)
        assert sent.status_code == 303
        assert sent.headers["location"] == f"/jobs/{kept.job_id}/find#reading"
    assert first_cause(page(client, kept)) == "one driver connected the wrong way round@door-fr"
    newest = store.get(kept.job_id)
    assert newest.revision == 1 + len(SAID)
    assert newest.job.readings == cw.demo_job().readings
    assert unread(newest.text) == kept.text


def test_the_best_reading_comes_first_and_its_answer_moves_the_odds(
    client: TestClient, kept: Saved
) -> None:
    shown = page(client, kept)
    assert asked(shown) == ("mono-bass", "front")
    # On this vehicle, minutes, what to connect where, every word, and what it would change.
    for words in (
        "Healthy, on this vehicle",
        "3.5 to 6 dB stronger",
        "about 3 min",
        "phone microphone",
        "both together are weaker than one",
        "What each answer would change",
        "not conclusive",
    ):
        assert words in shown
    assert said(client, kept, "mono-bass", "front", word="weaker").status_code == 303
    after = page(client, kept)
    assert "(before the last reading" in after
    assert "mono bass at front: <b>weaker</b>" in after
    assert asked(after) != ("mono-bass", "front")


# --- Taking back ----------------------------------------------------------------------------------


def test_undo_is_a_new_revision_without_the_reading(
    client: TestClient, store: Store, kept: Saved
) -> None:
    said(client, kept, "mono-bass", "front", word="weaker")
    assert "Undo the last reading" in page(client, kept)
    sent = client.post(f"/jobs/{kept.job_id}/readings/undo", data={"base": "2"})
    assert sent.status_code == 303
    newest = store.get(kept.job_id)
    assert (newest.revision, newest.text) == (3, kept.text)
    assert newest.note == "took back mono-bass at front: weaker"
    assert "Undo the last reading" not in page(client, kept)
    refused = client.post(f"/jobs/{kept.job_id}/readings/undo", data={"base": "3"})
    assert refused.status_code == 422
    assert store.get(kept.job_id).revision == 3


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_taking_back_gives_the_text_there_was(newline: str, mark: str) -> None:
    for text in (cw.demo_text(), cw.starter_text()):
        before = mark + text.replace("\n", newline)
        sweep = {"resonance": "62 Hz", "peak": "19 ohm"}
        for value in ("nothing", sweep):
            more = with_reading(before, "toml", test="look", at="door-fr", value=value)
            assert more != before
            assert without_reading(more) == before


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('reading = [{test="a"}, {test="b"}] # c\n', 'reading = [{test="a"}] # c\n'),
        ('a = 1\nreading = [{test="a"}]\nb = 2 # c\n', "a = 1\nb = 2 # c\n"),
        ('[[reading]]\ntest = """\n[[reading]]\n"""\n\n[x]\ny = 1\n', "[x]\ny = 1\n"),
        (
            '[[reading]]\ntest = "a"\n[[reading]]\ntest = "b"\n# c\n',
            '[[reading]]\ntest = "a"\n# c\n',
        ),
    ],
)
def test_taking_back_knows_every_way_to_write_a_reading(text: str, expected: str) -> None:
    assert without_reading(text) == expected


def test_any_reading_is_taken_back_by_its_number(
    client: TestClient, store: Store, kept: Saved
) -> None:
    said(client, kept, "mono-bass", "front", word="weaker")
    said(client, kept, "cell-pulse", "door-fr", base=2, word="inward")
    sent = client.post(f"/jobs/{kept.job_id}/readings/undo", data={"base": "3", "number": "1"})
    assert (sent.status_code, sent.headers["location"][-6:]) == (303, "#taken")
    newest = store.get(kept.job_id)
    assert [each.test for each in newest.job.readings] == ["cell-pulse"]
    assert newest.note == "took back mono-bass at front: weaker"


# --- Changing -------------------------------------------------------------------------------------


def test_a_reading_is_changed_where_it_stands_with_its_value_shown(
    client: TestClient, store: Store, kept: Saved
) -> None:
    said(client, kept, "pair-resistance", "rear-left", value="2.2 ohm ± 0.1 ohm")
    said(client, kept, "mono-bass", "front", base=2, word="weaker")
    shown = page(client, kept, "?reading=pair-resistance@rear-left&change=1")
    assert asked(shown) == ("pair-resistance", "rear-left")
    assert 'value="2.2 ohm ± 0.1 ohm"' in shown
    assert "So far it says <b>2.2 ohm ± 0.1 ohm</b>" in shown
    # A word may be pressed although the old value still stands in the field.
    changed = {"number": "1", "value": "2.2 ohm ± 0.1 ohm", "word": "open"}
    sent = said(client, kept, "pair-resistance", "rear-left", base=3, **changed)
    assert sent.status_code == 303
    readings = store.get(kept.job_id).job.readings
    assert [(each.test, each.value) for each in readings] == [
        ("pair-resistance", "open"),
        ("mono-bass", "weaker"),
    ]


def test_a_reading_taken_again_replaces_the_first_unless_it_changed_by_itself(
    client: TestClient, store: Store, kept: Saved
) -> None:
    for base, (value, more) in enumerate(
        (("2.2 ohm", {}), ("2.4 ohm", {}), ("3.9 ohm", {"beside": "on"})), start=1
    ):
        answer = {"value": value, **more}
        sent = said(client, kept, "pair-resistance", "rear-left", base=base, **answer)
        assert sent.status_code == 303
    assert [each.value for each in store.get(kept.job_id).job.readings] == ["2.4 ohm", "3.9 ohm"]
    # The first of two of one test is changed by its number.
    sent = said(client, kept, "pair-resistance", "rear-left", base=4, value="2.5 ohm", number="1")
    assert sent.status_code == 303
    assert [each.value for each in store.get(kept.job_id).job.readings] == ["2.5 ohm", "3.9 ohm"]
    wrong = said(client, kept, "mono-bass", "front", base=5, word="weaker", number="1")
    assert "no such reading[1] to change" in wrong.text


def test_a_failed_change_keeps_what_was_typed_and_what_it_is_about(
    client: TestClient, kept: Saved
) -> None:
    said(client, kept, "pair-resistance", "rear-left", value="2.2 ohm")
    fields = {"value": "two bananas", "number": "1", "beside": "on"}
    shown = unescape(said(client, kept, "pair-resistance", "rear-left", base=2, **fields).text)
    assert 'value="two bananas"' in shown
    assert '<input type="hidden" name="number" value="1">' in shown
    assert 'name="beside" value="on" checked' in shown


# --- What is wrong --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ({"value": "2.2 bananas"}, "a number, in ohm where no unit stands behind it"),
        ({"value": "-3 ohm"}, "must not be below zero"),
        ({"value": "  "}, "nothing is written here yet"),
        ({}, "nothing is written here yet"),
        ({"value": "2.2", "word": "normal"}, '"normal" was pressed'),
        ({"word": "wonderful"}, "wonderful"),
        ({"value": "<b>1</b>"}, "<b>1</b>"),
    ],
)
def test_an_error_stands_beside_its_field_and_nothing_typed_is_lost(
    client: TestClient, store: Store, kept: Saved, answer: dict[str, str], words: str
) -> None:
    fields = {"base": "1", "test": "pair-resistance", "at": "rear-left", **answer}
    sent = client.post(f"/jobs/{kept.job_id}/readings", data=fields)
    error = re.search(r'id="value-error" role="alert">(.+?)</p>', sent.text, re.DOTALL)
    field = re.search(r'<input id="value" name="value" value="(.*?)".*?>', sent.text)
    assert error is not None
    assert field is not None
    assert words in unescape(error[1])
    assert unescape(field[1]) == answer.get("value", "").strip()
    assert 'aria-invalid="true"' in field[0]
    assert "<b>1</b>" not in sent.text
    assert asked(sent.text) == ("pair-resistance", "rear-left")
    assert store.get(kept.job_id).revision == 1


@pytest.mark.parametrize(
    ("test", "at"),
    [("mono-bass", "vehicle"), ("look", "moon"), ("dance", "front"), ("", ""), ("look", "<i>")],
)
def test_a_reading_that_cannot_be_taken_is_not_written(
    client: TestClient, store: Store, kept: Saved, test: str, at: str
) -> None:
    sent = said(client, kept, test, at, word="nothing" if test == "look" else "weaker")
    assert sent.status_code == 200
    assert 'role="alert"' in sent.text
    assert "<i>" not in sent.text
    assert store.get(kept.job_id).revision == 1


def test_a_number_without_unit_is_taken_in_that_of_the_test(
    client: TestClient, store: Store, kept: Saved
) -> None:
    assert said(client, kept, "pair-resistance", "rear-left", value="2.2").status_code == 303
    assert store.get(kept.job_id).job.readings[-1].value == "2.2 ohm"


def test_not_conclusive_is_written_and_not_asked_again(
    client: TestClient, store: Store, kept: Saved
) -> None:
    sent = said(client, kept, "mono-bass", "front", word="not conclusive")
    assert sent.status_code == 303
    assert store.get(kept.job_id).job.readings[-1].value == "not conclusive"
    assert asked(page(client, kept)) != ("mono-bass", "front")


# --- Another reading ------------------------------------------------------------------------------


def test_another_reading_can_be_chosen_from_all_there_are(client: TestClient, kept: Saved) -> None:
    shown = page(client, kept)
    offered = re.findall(r'<option value="([^"]+@[^"]+)">', shown)
    report = cw.find(kept.job.build())
    wanted = {f.name for f in report.figures if f.subject == "next" and f.unit == "bit/min"}
    assert set(offered) == wanted
    assert "?reading=settings-reset%40vehicle" in shown
    chosen = page(client, kept, "?reading=cone-push@roof-rl")
    assert asked(chosen) == ("cone-push", "roof-rl")
    assert "Back to the reading that tells most" in chosen
    assert "Healthy, on any vehicle" in chosen


def test_a_reading_nobody_can_take_gives_the_best_one_and_says_so(
    client: TestClient, kept: Saved
) -> None:
    shown = page(client, kept, "?reading=mono-bass@door-fr")
    assert "cannot be read on this vehicle" in shown
    assert asked(shown) == ("mono-bass", "front")


def test_a_channel_nobody_knows_is_asked_for_in_words(client: TestClient, store: Store) -> None:
    text = unread(cw.demo_text())
    load = r'(id = "rear-left"\n(?:.*\n)*?load = )"[^"]+"'
    changed, times = re.subn(load, r'\1"unknown"', text, count=1)
    assert times == 1
    job = store.create(changed, who="Ann")
    shown = page(client, job)
    assert asked(shown) == ("pair-resistance", "rear-left")
    assert "What hangs on channels nobody knows" in shown
    report = cw.find(job.job.build())
    likeliest = next(f for f in report.figures if f.subject == "wiring")
    assert f"first then {likeliest.label} on rear-left" in shown
    assert said(client, job, "pair-resistance", "rear-left", value="2.2 ohm").status_code == 303


# --- Several people, and the past -----------------------------------------------------------------


def test_an_answer_to_an_old_revision_is_a_conflict_that_keeps_both(
    client: TestClient, store: Store, kept: Saved
) -> None:
    said(client, kept, "mono-bass", "front", word="weaker")
    late = said(client, kept, "cell-pulse", "door-fr", word="inward")
    assert "Two people changed this job" in late.text
    assert "cell-pulse" in late.text
    assert store.get(kept.job_id).revision == 2


def test_a_button_pressed_twice_is_one_answer(
    client: TestClient, store: Store, kept: Saved
) -> None:
    for _ in range(2):
        assert said(client, kept, "mono-bass", "front", word="weaker").status_code == 303
    assert store.get(kept.job_id).revision == 2


def test_an_old_revision_takes_no_answers(client: TestClient, kept: Saved) -> None:
    said(client, kept, "mono-bass", "front", word="weaker")
    shown = page(client, kept, "?revision=1")
    assert 'id="answer"' not in shown
    assert "Undo" not in shown


def test_an_unknown_job_is_nowhere(client: TestClient) -> None:
    assert client.get("/jobs/no-such-job/find").status_code == 404
    assert client.post("/jobs/no-such-job/readings", data={"base": "1"}).status_code == 404
    assert client.post("/jobs/no-such-job/readings/undo", data={"base": "1"}).status_code == 404


def test_an_answer_that_names_no_revision_is_not_written(
    client: TestClient, store: Store, kept: Saved
) -> None:
    for base in ("", "0", "x", "99"):
        fields = {"base": base, "test": "mono-bass", "at": "front", "word": "weaker"}
        assert client.post(f"/jobs/{kept.job_id}/readings", data=fields).status_code == 404
    assert store.get(kept.job_id).revision == 1


# --- Sounds and what hurts ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reading", "sound"),
    [
        ("corner-solo@front-left", "corner-caller"),
        ("treble-burst@pillar-fr", "treble-burst"),
        ("mono-bass@front", "mono-bass"),
        ("slow-bass@door-fr", "rattle-crawl"),
        ("press-trim@door-fr", "rattle-crawl"),
    ],
)
def test_a_reading_that_needs_a_sound_plays_it_and_gives_it_for_a_stick(
    client: TestClient, kept: Saved, reading: str, sound: str
) -> None:
    shown = page(client, kept, f"?reading={reading}")
    assert re.findall(r'<audio controls preload="none" src="([^"]+)"', shown) == [
        f"/sounds/{sound}.wav"
    ]
    assert f'href="/sounds/{sound}.wav" download="{sound}.wav"' in shown
    assert "at most 85 dB(A) at the ear" in shown
    assert client.head(f"/sounds/{sound}.wav").status_code == 200


def test_other_readings_have_none(client: TestClient, kept: Saved) -> None:
    assert "<audio" not in page(client, kept, "?reading=pair-resistance@rear-left")


def test_each_leg_has_a_reading_of_its_own_and_one_is_changed_in_its_place(
    client: TestClient, kept: Saved, store: Store
) -> None:
    leg = ("leg-bias", "front-right")
    for base, value in enumerate(("13 V", "6.5 V"), start=1):
        assert said(client, kept, *leg, base=base, value=value).status_code == 303
    both = store.get(kept.job_id).job.readings
    assert [each.value for each in both] == ["13 V", "6.5 V"]
    assert said(client, kept, *leg, base=3, value="6.4 V", number="1").status_code == 303
    changed = store.get(kept.job_id).job.readings
    assert [each.value for each in changed] == ["6.4 V", "6.5 V"]


def test_a_stop_stands_above_the_reading(client: TestClient, kept: Saved, store: Store) -> None:
    assert said(client, kept, "leg-to-chassis", "front-right", value="2 ohm").status_code == 303
    report = cw.find(store.get(kept.job_id).job.build())
    stops = [verdict.text for verdict in report.verdicts if verdict.severity.value == "stop"]
    assert stops
    shown = page(client, kept)
    assert 0 < shown.index('class="halt"') < shown.index(stops[0]) < shown.index('id="reading"')


def test_nothing_on_the_page_needs_what_the_policy_forbids(client: TestClient, kept: Saved) -> None:
    shown = page(client, kept)
    assert re.search(r"\sstyle=|<style|\son[a-z]+=", shown) is None
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", shown))
