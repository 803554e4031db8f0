"""The wiring sheet: what must stand on it, for every state of the demonstration vehicle."""

import io

import pdfplumber
import pytest
from plain_demo import AMPLIFIER_FEED, plain_job, plain_text

import conewright as cw
from conewright.papers.press.answers import Answers
from conewright.papers.press.typeset import Paper
from conewright.papers.wiring.sheet import wiring_sheet

CABLES = (
    AMPLIFIER_FEED
    + """
[[feed]]
id = "far-fuse"
to = "amplifier"
fuse = "40 A"
fuse_distance = "5 m"
length = "5.5 m"
size = "8.4 mm2"
current = "40 A"

[[reading]]"""
)


def pages(text: str, proposal: str | None, paper: Paper = "A4") -> list[str]:
    pdf = wiring_sheet(Answers(cw.loads(text).build(proposal)), paper=paper)
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        assert all(page.width > page.height for page in document.pages)
        assert all("+" in char["fontname"] for page in document.pages for char in page.chars), (
            "every font is embedded"
        )
        return [page.extract_text() for page in document.pages]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_everything_has_its_place(paper: Paper) -> None:
    text = "\n".join(pages(plain_text(), "put-right", paper))
    for words in ("Wiring schedule", "Pairs", "Supply and control wires", "Diagram", "Joints"):
        assert words in text
    for wire in ("front-left +", "rear-right −", "6.3 to 8.2 ohm", "■ to make"):
        assert wire in text
    # No radio comes in, and nobody said that this one has the usual leads.
    assert "Leads of a new radio" not in text
    assert "No supply plan." in text
    assert "days until it no longer starts" in text
    # the radio stays, and nobody looked what works through it
    assert "What the old radio did" not in text


def test_a_cable_and_one_that_is_refused() -> None:
    text = "\n".join(pages(plain_text().replace("[[reading]]", CABLES, 1), "put-right"))
    assert "amplifier-feed: 40 A at the source, 8.4 mm²" in text
    assert "12.4 times" in text
    assert "No plan for far-fuse" in text
    assert "all of that burns unfused" in text


def test_another_radio_brings_the_list_to_sign() -> None:
    text = plain_text().replace(
        "[proposal.set]", '[proposal.set]\n"head_unit.name" = "hands-free radio"', 1
    )
    words = "\n".join(pages(text, "put-right"))
    assert "Read through before the new radio is bought, and sign." in words
    assert "Buttons on the" in words
    assert "Leads of a new radio, by common practice" in words
    assert "Owner" in words


def test_a_channel_nobody_knows_is_not_wired() -> None:
    text = plain_text()
    text = text[: text.index("[[proposal]]")].replace('"side-rl | roof-rl"', '"unknown"')
    words = "\n".join(pages(text, None))
    assert "What these channels drive is not known: rear-left." in words


def test_the_same_job_gives_the_same_bytes() -> None:
    answers = Answers(plain_job().build("slim-fronts"))
    assert wiring_sheet(answers) == wiring_sheet(answers)
