"""Headless Chromium in front of a server of its own, with an eye on what must never happen."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypedDict
from urllib.parse import urlsplit

import httpx2
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    ViewportSize,
    expect,
    sync_playwright,
)

from conewright import demo_text
from serving import TOML, ended, free_port, said, serving

PHONE: ViewportSize = {"width": 360, "height": 740}
DESKTOP: ViewportSize = {"width": 1280, "height": 800}
SIZES = {"phone": PHONE, "desktop": DESKTOP}
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
"""No sandbox, as that of root needs; and nothing that asks outside for anything."""
PATIENCE_MS = 120_000
"""A page that is still as it was after so long on the busiest machine will not change."""
NOWHERE = "/jobs/nowhere"
"""An address that leads to no job."""


def chromium() -> str | None:
    """Return where Debian's Chromium is, None where it is not."""
    return shutil.which("chromium")


@contextmanager
def browsing(program: str, *more: str) -> Iterator[Browser]:
    """Run a browser, with more arguments where a test needs them."""
    with sync_playwright() as playwright:
        expect.set_options(timeout=PATIENCE_MS)
        browser = playwright.chromium.launch(executable_path=program, args=[*ARGUMENTS, *more])
        yield browser
        browser.close()


@dataclass
class Watch:
    """What a page did that no page of ours may do."""

    origin: str
    faults: list[str] = field(default_factory=list)

    def over(self, context: BrowserContext) -> None:
        """Watch all pages of a context."""
        context.on("request", lambda request: self._asked(request.url))
        context.on("weberror", lambda error: self.faults.append(f"script: {error.error}"))
        context.on("console", self._said)

    def _said(self, message: ConsoleMessage) -> None:
        # That a page is nowhere is told there as well.
        if message.type in ("error", "warning") and not message.location["url"].endswith(NOWHERE):
            self.faults.append(f"console: {message.text} {message.location['url']}")

    def _asked(self, url: str) -> None:
        scheme, host, *_ = urlsplit(url)
        if scheme not in ("data", "blob", "about") and f"{scheme}://{host}" != self.origin:
            self.faults.append(f"asked outside: {url}")


class Look(TypedDict, total=False):
    """How somebody looks at a page: options of a context."""

    viewport: ViewportSize
    java_script_enabled: bool
    has_touch: bool
    is_mobile: bool
    ignore_https_errors: bool


@dataclass(frozen=True)
class Site:
    """A server on this machine, with a store of its own."""

    origin: str

    def keep(self, text: str | None = None) -> str:
        """Keep a job, the demo where none is given; return the address of its page."""
        content = (demo_text() if text is None else text).encode()
        with httpx2.Client(trust_env=False, timeout=None) as client:
            answer = client.post(f"{self.origin}/api/v1/jobs", content=content, headers=TOML)
        assert answer.status_code == 201, answer.text
        return f"{self.origin}/jobs/{answer.json()['id']}"


@contextmanager
def site(folder: Path) -> Iterator[Site]:
    """Run the server as its users do; on its end it has said nothing but that."""
    port = free_port()
    with serving(folder, "--port", str(port)) as process:
        assert said(process).startswith(f"Conewright is at http://127.0.0.1:{port}/ ")
        yield Site(f"http://127.0.0.1:{port}")
        code, _, err = ended(process)
        assert (code, err) == (0, ""), err


@contextmanager
def invitation(folder: Path) -> Iterator[str]:
    """Run the server for the local network too; give the link that pairs a phone."""
    # The loopback address stands in for that network: a test sends nothing there.
    with serving(folder, "--port", str(free_port()), "--lan", at="127.0.0.1") as process:
        line = said(process)
        while "/pair?" not in line:
            line = said(process)
            assert line, process.communicate()
        yield line.strip()
        assert ended(process)[0] == 0


@contextmanager
def watched(browser: Browser, origin: str, look: Look) -> Iterator[BrowserContext]:
    """Give a fresh context: no cookie, nothing kept, under watch until its end."""
    context = browser.new_context(locale="en-GB", **look)
    context.set_default_timeout(PATIENCE_MS)
    watch = Watch(origin)
    watch.over(context)
    yield context
    context.close()
    assert not watch.faults, watch.faults


@dataclass
class Hand:
    """Somebody at a page who counts what it takes them."""

    page: Page
    clicks: int = 0
    fields: int = 0

    def click(self, words: str, *, role: str = "button") -> None:
        """Press what says these words."""
        self.clicks += 1
        # The library takes only its own list of role names.
        self.page.get_by_role(role, name=words, exact=True).click()  # type: ignore[arg-type]

    def tick(self, words: str) -> None:
        """Choose what says these words."""
        self.clicks += 1
        self.page.get_by_label(words, exact=True).check()

    def type(self, label: str, text: str) -> None:
        """Fill a field."""
        self.fields += 1
        self.page.get_by_label(label, exact=True).fill(text)


def sideways(page: Page) -> int:
    """Return by how many pixels a page is wider than its window."""
    wider: int = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    return wider


def axe() -> Path | None:
    """Return where the checker of accessibility is, None where nobody put it."""
    root = Path(__file__).resolve().parents[2]
    place = root / "build" / "axe" / "node_modules" / "axe-core" / "axe.min.js"
    return place if place.exists() else None


def required(what: str) -> bool:
    """Whether a test must fail where it would be skipped for want of something."""
    return os.environ.get(f"CONEWRIGHT_REQUIRE_{what}") == "1"
