"""The campaign of attacks bites: what is read wrong, or fails otherwise, is found and kept."""

import random
from pathlib import Path

import httpx2
import pytest
from attack.parsers import attempt
from attack.served import MARK, fault_of
from attack.tally import KEPT_EACH, Limits, Tally
from attack.texts import KINDS
from attack.words import Said, spoilt

from conewright.errors import BadInputError
from conewright.web.base.headers import SECURE


@pytest.fixture
def tally(tmp_path: Path) -> Tally:
    return Tally("parsers", 7, tmp_path / "attack")


def refusing(text: str) -> object:
    raise BadInputError(f"found {text}")


def failing(text: str) -> object:
    raise KeyError(text)


def test_what_nobody_knows_may_be_answered_or_refused(tally: Tally) -> None:
    attempt(tally, Said("a", len, None))
    attempt(tally, Said("a", len, lambda found: found == 1))
    attempt(tally, Said("a", refusing, None))
    assert (tally.tried, tally.answered, tally.refused) == (3, 2, 1)
    assert not tally.folder.exists()


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        (Said("a\udcff", failing, None), "failing: KeyError in test_attack.py:failing"),
        (Said("a\udcff", len, lambda found: found == 1), "read wrong by len"),
        (Said("a\udcff", refusing, lambda _: True), "a right text refused by refusing"),
    ],
)
def test_anything_else_is_found_and_its_input_kept(tally: Tally, said: Said, kind: str) -> None:
    for _ in range(KEPT_EACH + 2):
        attempt(tally, said)
    assert tally.finds == {kind: KEPT_EACH + 2}
    assert [each.read_bytes() for each in tally.kept] == [b"a\xed\xb3\xbf"] * KEPT_EACH
    told = tally.kept[0].with_suffix(".txt").read_text(encoding="utf-8")
    assert told.startswith(f"{kind}\nseed 7\n")


@pytest.mark.parametrize("maker", KINDS)
def test_what_is_made_right_is_read_right_and_the_same_seed_makes_the_same(
    tally: Tally, maker: object
) -> None:
    assert callable(maker)
    texts = []
    for _ in range(2):
        chance = random.Random(3)
        made = [maker(chance) for _ in range(4)]
        texts.append([each.text for each in (*made, *(spoilt(each, chance) for each in made))])
    assert texts[0] == texts[1]
    for each in made:
        attempt(tally, each)
    assert tally.finds == {}


def test_a_part_ends_with_its_target_or_its_time() -> None:
    assert Limits(10, 0.0).left == 0.0
    assert Limits(10, 1800.0).share(0.5, 0.5).target == 5
    assert 0.0 < Limits(10, 1800.0).share(0.5, 0.5).seconds <= 900.0


@pytest.mark.parametrize(
    ("status", "headers", "text", "fault"),
    [
        (200, SECURE, "", ""),
        (503, SECURE, '{"error": {"code": "busy"}}', ""),
        (503, SECURE, '{"error": {"code": "unavailable"}}', "status 503"),
        (500, SECURE, "", "status 500"),
        (404, {}, "", "no Content-Security-Policy on 404"),
        (200, SECURE | {"content-type": "text/html"}, f"<p>{MARK}", "markup that was sent"),
        (200, SECURE | {"content-type": "text/html"}, '<p title="a" onzq7="1">', "markup that"),
        (200, SECURE | {"content-type": "text/plain"}, MARK, ""),
        (200, SECURE | {"content-type": "text/html"}, "<p>&lt;zq7&gt;", ""),
    ],
)
def test_what_an_answer_owes(status: int, headers: dict[str, str], text: str, fault: str) -> None:
    found = fault_of(status, httpx2.Headers(headers), text)
    assert found.startswith(fault)
    assert bool(found) is bool(fault)
