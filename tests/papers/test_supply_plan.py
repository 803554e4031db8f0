"""The supply plan on paper says what feed says: the same figures to the digit, the same words."""

import pytest
from plain_demo import AMPLIFIER_FEED, plain_text

import conewright as cw
from conewright.papers.press.answers import Answers
from conewright.papers.wiring.flags import labels
from conewright.papers.wiring.schedule import schedule
from conewright.papers.wiring.sheet import wiring_data
from conewright.stages.report.words import number


def answers(tables: str = "", build: str | None = None) -> Answers:
    text = plain_text().replace("[[reading]]", f"{tables}\n[[reading]]", 1)
    return Answers(cw.loads(text).build(build))


def printed(asked: Answers) -> dict[str, object]:
    supply = wiring_data(asked, schedule(asked.build))["supply"]
    assert isinstance(supply, dict)
    return supply


def test_the_sheet_prints_the_figures_of_feed_to_the_digit() -> None:
    asked = answers(AMPLIFIER_FEED)
    feeds = printed(asked)["feeds"]
    assert isinstance(feeds, list)
    rows = {row["name"].lower(): row for row in feeds[0]["rows"]}
    digits = {"V": 2, "degC": 0}
    told = 0
    for figure in asked.feed.figures:
        if figure.subject != "amplifier-feed" or figure.unit not in digits:
            continue
        assert figure.value is not None
        said = number(round(figure.value, digits[figure.unit]), figure.unit)
        if figure.name.endswith("_most"):
            plain = asked.feed.figure(figure.id.removesuffix("_most"))
            assert rows[plain.label.lower()]["most"] == said
        else:
            assert rows[figure.label.lower()]["value"] == said
        told += 1
    assert told == 10
    short = asked.feed.figure("amplifier-feed.short_circuit_current").value
    assert rows["dead short at the far end"]["value"] == f"{short:.0f} A"


def test_the_sheet_says_what_feed_says() -> None:
    asked = answers(AMPLIFIER_FEED)
    feeds = printed(asked)["feeds"]
    assert isinstance(feeds, list)
    said = [
        verdict.text.removeprefix("amplifier-feed: ")
        for verdict in asked.feed.verdicts
        if verdict.subject == "amplifier-feed"
    ]
    assert [each["text"][1:] for each in feeds[0]["findings"]] == [text[1:] for text in said]
    drain = printed(asked)["drain"]
    assert isinstance(drain, dict)
    assert drain["text"] in [v.text for v in asked.feed.verdicts if v.id == "vehicle.drain"]
    assert drain["source"] == "a usual vehicle, and the radio"


def test_the_label_of_a_fuse_has_the_figures_of_feed() -> None:
    asked = answers(AMPLIFIER_FEED)
    lines = labels(asked).fuses[0].lines
    drop = asked.feed.figure("amplifier-feed.drop").value
    most = asked.feed.figure("amplifier-feed.conductor_temperature_most").value
    assert f"drop {drop:.2f} V at 40 A" in lines
    assert f"{most:.0f} °C at most at 40 A" in lines


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('route = "free"', 'route = "bundled"', "Its fuse does not protect it."),
        ('fuse_distance = "200 mm"', 'fuse_distance = "5 m"', "all of that burns unfused"),
        ('size = "8.4 mm2"\n', "", "Not written down: size."),
    ],
)
def test_a_cable_that_is_not_planned(old: str, new: str, reason: str) -> None:
    supply = printed(answers(AMPLIFIER_FEED.replace(old, new)))
    assert supply["feeds"] == []
    refusals = supply["refusals"]
    assert isinstance(refusals, list)
    assert [each["subject"] for each in refusals] == ["amplifier-feed"]
    assert reason in refusals[0]["text"]


def test_the_radios_own_feed_is_asked_for_where_nobody_wrote_it_down() -> None:
    asked = answers()
    unwritten = printed(asked)["unwritten"]
    assert isinstance(unwritten, str)
    assert "nobody wrote down its fuse" in unwritten
    assert "a 10 A fuse (red)" in unwritten
    own = answers(AMPLIFIER_FEED.replace('to = "amplifier"', 'to = "radio"'))
    assert printed(own)["unwritten"] == ""
