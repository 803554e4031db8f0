"""One browser and one server for all tests of this folder; a context of its own for each."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from playwright.sync_api import Browser, Page

from browser.browsing import DESKTOP, Look, Site, browsing, chromium, required, site, watched


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    program = chromium()
    if program is None:
        if required("CHROMIUM"):
            pytest.fail("CONEWRIGHT_REQUIRE_CHROMIUM is set, but there is no chromium")
        pytest.skip("there is no chromium")
    with browsing(program) as opened:
        yield opened


@pytest.fixture(scope="package")
def place(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    assert browser.is_connected()
    with site(tmp_path_factory.mktemp("site")) as running:
        yield running


@pytest.fixture
def visit(browser: Browser, place: Site) -> Iterator[Callable[..., Page]]:
    """Give what opens a page for somebody new: no cookies of others, all faults told at the end."""
    with ExitStack() as opened:

        def come(look: Look | None = None) -> Page:
            given: Look = {"viewport": DESKTOP} if look is None else look
            return opened.enter_context(watched(browser, place.origin, given)).new_page()

        yield come


@pytest.fixture
def demo(place: Site) -> str:
    """Address of a demo job of this test's own."""
    return place.keep()
