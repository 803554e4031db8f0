"""What holds on every page: readable by everybody, no wider than the phone, nothing jumps."""

from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, ViewportSize, expect

from browser.browsing import (
    DESKTOP,
    PHONE,
    Look,
    Site,
    axe,
    invitation,
    required,
    sideways,
    watched,
)
from browser.places import places

pytestmark = pytest.mark.slow

LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
"""All that a program can check of WCAG 2.2, levels A and AA."""
CHECK = """
async (rules) => {
    const asked = {runOnly: rules, preload: false, resultTypes: ["violations"]};
    const found = await axe.run(document, asked);
    return found.violations.flatMap(({id, nodes}) => nodes.map((each) =>
        `${id}: ${each.html.slice(0, 200)} ${each.failureSummary}`));
}
"""
SHIFTS = """
window.shifts = 0;
new PerformanceObserver((list) => {
    for (const each of list.getEntries()) if (!each.hadRecentInput) window.shifts += each.value;
}).observe({type: "layout-shift", buffered: true});
"""
# Colours do not depend on the size, nor places on the colours: two looks see all four.
LOOKS: tuple[tuple[ViewportSize, Literal["light", "dark"]], ...] = (
    (DESKTOP, "dark"),
    (PHONE, "light"),
)
MOST_SHIFT = 0.02
"""Share of the window that moves, times how far it moves: a letter's width is no jump."""


@pytest.fixture(scope="module")
def checker() -> Path:
    found = axe()
    if found is None:
        if required("AXE"):
            pytest.fail("CONEWRIGHT_REQUIRE_AXE is set, but make axe has not put the checker there")
        pytest.skip("the checker is not there; make axe fetches it")
    return found


def test_every_page_can_be_read_by_everybody(browser: Browser, place: Site, checker: Path) -> None:
    script = checker.read_text(encoding="utf-8")
    wrong: list[str] = []
    with watched(browser, place.origin, {"viewport": PHONE}) as context:
        page = context.new_page()
        for where in places(place):
            where.show(page)
            page.evaluate(script)
            for size, scheme in LOOKS:
                page.set_viewport_size(size)
                page.emulate_media(color_scheme=scheme)
                found: list[str] = page.evaluate(CHECK, LEVELS)
                wrong += [f"{where.name}, {scheme}, {size['width']} px: {each}" for each in found]
    assert not wrong, "\n".join(wrong)


def test_the_checker_sees_what_is_wrong(browser: Browser, checker: Path) -> None:
    page = browser.new_page()
    page.set_content('<html lang="en"><title>x</title><input><p style="color:#ccc">pale</p>')
    page.evaluate(checker.read_text(encoding="utf-8"))
    found = {each.partition(":")[0] for each in page.evaluate(CHECK, LEVELS)}
    page.close()
    assert found == {"label", "color-contrast"}


def test_a_phone_is_paired_by_a_link(browser: Browser, checker: Path, tmp_path: Path) -> None:
    # What a browser says of a certificate that nobody vouches for is not on our pages.
    look: Look = {"viewport": PHONE, "ignore_https_errors": True}
    with (
        invitation(tmp_path) as link,
        watched(browser, link.partition("/pair")[0], look) as context,
    ):
        page = context.new_page()
        page.goto(link)
        page.evaluate(checker.read_text(encoding="utf-8"))
        assert page.evaluate(CHECK, LEVELS) == []
        assert sideways(page) <= 0
        page.get_by_label("Name of this device").fill("garage phone")
        page.get_by_role("button", name="Pair").click()
        expect(page.get_by_role("heading", name="Jobs")).to_be_visible()
        page.get_by_role("link", name="Paired devices").click()
        expect(page.get_by_role("button", name="Send garage phone away")).to_be_visible()


def test_every_page_fits_a_phone_and_nothing_jumps(browser: Browser, place: Site) -> None:
    wrong: list[str] = []
    look: Look = {"viewport": PHONE, "has_touch": True, "is_mobile": True}
    with watched(browser, place.origin, look) as context:
        page = context.new_page()
        page.add_init_script(SHIFTS)
        for where in places(place):
            where.show(page)
            if (wider := sideways(page)) > 0:
                wrong.append(f"{where.name} is {wider} pixels wider than the phone")
            if (shift := page.evaluate("window.shifts")) > MOST_SHIFT:
                wrong.append(f"{where.name} jumps by {shift:.3f}")
    assert not wrong, "\n".join(wrong)
