"""Flags and fuse labels."""

import io
import re

import pdfplumber
import pytest
import zxingcpp
from plain_demo import AMPLIFIER_FEED, plain_job, plain_text

import conewright as cw
from conewright.papers.press.answers import Answers
from conewright.papers.wiring.flags import flag_sheet, labels, square_code

ADDRESS = "https://192.168.1.20:8443/jobs/7"
CABLE = (
    """
[[lead]]
channel = "front-left"
function = "plus"
colour = "white"
pin = "B5"
"""
    + AMPLIFIER_FEED
    + "\n[[reading]]"
)


def wired() -> cw.Job:
    return cw.loads(plain_text().replace("[[reading]]", CABLE, 1))


def test_a_flag_for_every_pair_and_every_driver() -> None:
    build = plain_job().build("put-right")
    flags = labels(Answers(build))
    assert [flag.title for flag in flags.pairs] == [channel.id for channel in build.channels]
    assert sorted(flag.title for flag in flags.drivers) == sorted(p.id for p in build.locations)
    assert flags.fuses == ()


def test_a_driver_says_where_its_own_terminals_go() -> None:
    flags = {flag.title: flag for flag in labels(Answers(plain_job().build())).drivers}
    turned = flags["door-fr"]
    assert (turned.plus, turned.minus) == ("to the pair's −", "to the pair's +")
    assert turned.mind == "TURNED on purpose"
    righted = {flag.title: flag for flag in labels(Answers(plain_job().build("put-right"))).drivers}
    assert (righted["door-fr"].plus, righted["door-fr"].mind) == ("to the pair's +", "")
    assert (righted["side-rl"].minus, righted["roof-rl"].plus) == ("to joint J1", "to joint J1")


def test_colours_are_those_seen_and_no_others() -> None:
    flags = {flag.title: flag for flag in labels(Answers(wired().build())).pairs}
    assert (flags["front-left"].plus, flags["front-left"].minus) == ("pin B5, white ?", "")
    assert flags["front-right"].plus == ""


def test_a_long_colour_is_cut_to_the_room_of_a_flag() -> None:
    text = plain_text().replace("[[reading]]", CABLE, 1)
    long = text.replace('colour = "white"', f'colour = "white with {"a very " * 9}long stripe"')
    flags = {flag.title: flag for flag in labels(Answers(cw.loads(long).build())).pairs}
    assert len(flags["front-left"].plus) <= 38
    assert flags["front-left"].plus.startswith("pin B5, white with")
    # That nobody proved it is said all the same.
    assert flags["front-left"].plus.endswith(" … ?")


def test_a_colour_is_trusted_once_its_wire_is_proved() -> None:
    text = plain_text().replace("[[reading]]", CABLE, 1)
    proved = text.replace('colour = "white"', 'colour = "white"\nproof = "3.6 ohm"')
    flags = {flag.title: flag for flag in labels(Answers(cw.loads(proved).build())).pairs}
    assert flags["front-left"].plus == "pin B5, white"


def test_the_label_of_a_fuse() -> None:
    label = labels(Answers(wired().build())).fuses[0]
    assert label.title == "FUSE 40 A amber"
    assert "amplifier-feed: 8.4 mm² copper" in label.lines
    assert "fuse 200 mm from the source" in label.lines
    assert "never a larger fuse" in label.lines


def test_no_label_for_a_cable_that_is_refused() -> None:
    text = plain_text().replace("[[reading]]", CABLE.replace('fuse = "40 A"', ""), 1)
    assert labels(Answers(cw.loads(text).build())).fuses == ()


def test_the_sheet_is_one_page_with_all_of_them() -> None:
    answers = Answers(wired().build("put-right"))
    pdf = flag_sheet(answers, address=ADDRESS)
    assert pdf == flag_sheet(answers, address=ADDRESS)
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        text = "\n".join(page.extract_text() for page in document.pages)
        fonts = {char["fontname"] for page in document.pages for char in page.chars}
    for word in ("front-left", "rear-right", "roof-rl", "FUSE 40 A amber", ADDRESS):
        assert word in text
    assert all("+" in font for font in fonts)


@pytest.mark.parametrize("address", ["ftp://a/b", "jobs/7", "https:///x", "https://a/" + 200 * "b"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(cw.BadInputError, match="address: found"):
        square_code(address)


def test_a_square_code_has_its_quiet_zone() -> None:
    # ISO/IEC 18004: 17 + 4 v modules a side, and 4 of quiet zone at each edge
    svg = square_code(ADDRESS)
    width, height = re.findall(r'(?:width|height)="(\d+)"', svg)[:2]
    assert width == height
    assert (int(width) - 8 - 17) % 4 == 0


def test_the_square_code_is_read_off_the_print() -> None:
    # ISO/IEC 18004, by a reader of its own; 150 dpi are less than any phone sees.
    pdf = flag_sheet(Answers(plain_job().build("put-right")), address=ADDRESS)
    picture = pdfplumber.open(io.BytesIO(pdf)).pages[0].to_image(resolution=150).original
    read = zxingcpp.read_barcodes(picture)
    assert {code.text for code in read} == {ADDRESS}
    assert len(read) >= len(plain_job().channels)
