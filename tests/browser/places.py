"""Every page there is, by a name, with what leads to it: for the checker and for screenshots."""

from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256

import httpx2
from benchmarks.invented_parts import invented
from playwright.sync_api import Page

from browser.browsing import NOWHERE, Site
from conewright import demo_text, starter_text
from conewright.catalogue.lists.forms import written
from conewright.sound.played.wav import wav_bytes

Steps = Callable[[Page], None]
FOREIGN = (
    "Artikel;Warengruppe;Rdc [Ohm];fs (Hz);Xmax p-p (mm);Preis EUR;Farbe\n"
    "LT-1;Tieftöner;3,4;85;7,1;24,90;rot\nX-1;Zubehör;;neunzig;;9,90;\n"
).encode("cp1252")
"""A supplier's list that is guessed at."""
PARTS = ("door-fr", "front-right", "head_unit", "vehicle", "job", "driver", "budget-130", "wishes")


@dataclass(frozen=True)
class Place:
    """A page: its name, its address, and what is done there before it is looked at."""

    name: str
    address: str
    steps: Steps | None = None

    def show(self, page: Page) -> None:
        """Lead a page there."""
        page.goto(self.address)
        if self.steps is not None:
            self.steps(page)


def places(site: Site) -> list[Place]:
    """Return every page, over a demo job with a history, a bare one and a deleted one."""
    demo, bare = site.keep(), site.keep(starter_text())
    long, stuck, gone = site.keep(_long_title()), site.keep(_of_no_size()), site.keep()
    torn = site.keep(_torn())
    _send(site, f"{gone}/delete", base="1")
    _send(site, f"{demo}/part/head_unit", base="1", **{"head_unit.supply": "14.1 V"})
    plain = {
        "jobs": "/jobs",
        "jobs-nothing-found": "/jobs?q=submarine",
        "jobs-deleted": "/jobs?deleted=true",
        "new": "/jobs/new",
        "devices": "/devices",
        "sounds": "/sounds",
        "sounds-unplugged": "/sounds?unplugged=true",
        "parts": "/parts?catalogue=invented",
        "parts-nothing-found": "/parts?catalogue=invented&q=submarine",
        "parts-import": "/parts/import",
        "nowhere": NOWHERE,
    }
    below = {
        "job": "",
        "job-old-revision": "?revision=1",
        "find": "/find",
        "find-change": "/find?reading=pair-resistance@rear-left&change=2",
        "find-sound": "/find?reading=slow-bass@door-fl",
        "find-cell": "/find?reading=cell-pulse@door-fl",
        "fit": "/fit",
        "feed": "/feed",
        "hear": "/hear",
        "hear-change": "/hear?proposal=slim-fronts&against=as-found",
        "fit-proposal": "/fit?proposal=larger-fronts",
        "proposals": "/proposals",
        "proposal": "/proposals/put-right",
        "proposal-new": "/proposals/new",
        "choose": "/choose",
        "choose-answer": "/choose?money=180&bass=matters+most&loudness=matters",
        "choose-refused": "/choose?money=much&may=",
        "make": "/make",
        "make-plan": "/make?proposal=put-right-patched",
        "make-refused": "/make?proposal=larger-fronts",
        "history": "/history",
        "text": "/text",
        "record": "/record",
        "record-crawl": "/record?test=rattle-crawl&at=door-fl",
        "record-unplugged": "/record?test=channel-output&unplugged=true",
        "record-barred": "/record?test=volume-steps",
        "history-compared": "/history?a=1&b=2",
        **{f"part-{part}": f"/part/{part}" for part in PARTS},
    }
    return [
        *(Place(name, f"{site.origin}{path}") for name, path in plain.items()),
        *(Place(name, f"{demo}{path}") for name, path in below.items()),
        Place("mend", f"{torn}/mend"),
        *_parts(site),
        Place("heard", _heard(site, long, wav_bytes("crawl-short", side="left"))),
        Place("heard-unusable", _heard(site, long, wav_bytes("crawl-short")[:400_000])),
        Place("recording", _kept(site)),
        Place("record-refused", f"{demo}/record?test=rattle-crawl&at=door-fl", _slip_in_recording),
        Place("job-bare", bare),
        Place("job-long-title", long),
        Place("find-long-title", f"{long}/find"),
        Place("job-stuck", stuck),
        Place("part-stuck", f"{stuck}/part/old-100"),
        Place("history-deleted", f"{gone}/history"),
        Place("new-refused", f"{site.origin}/jobs/new", _slip_in_survey),
        Place("upload-refused", f"{site.origin}/jobs/new", _slip_in_file),
        Place("part-refused", f"{demo}/part/door-fl", _slip_in_part),
        Place("value-refused", f"{demo}/feed", _slip_in_value),
        Place("figure-open", f"{demo}/feed", _open_figure),
        Place("proposal-refused", f"{demo}/proposals/put-right", _slip_in_proposal),
        Place("text-refused", f"{demo}/text", _slip_in_text),
        Place("find-refused", f"{demo}/find?reading=pair-resistance@rear-left", _slip_in_reading),
        Place("part-in-use", f"{demo}/part/roof-rl", _in_use),
        Place("conflict", f"{demo}/part/vehicle", _conflict),
    ]


def _long_title() -> str:
    """Return the demo under one long word."""
    return demo_text().replace("Mobile library van", "Bass" * 40, 1)


def _torn() -> str:
    """Return a demo with a fault that is mended in more than one way."""
    return f'{demo_text()}\n[[finding]]\nfault = "surround-torn"\nat = "door-fl"\n'


def _of_no_size() -> str:
    """Return a demo that no stage can work with."""
    return demo_text().replace('size = "100 mm"', 'size = "500 mm"')


def _send(site: Site, address: str, **fields: str) -> None:
    with httpx2.Client(trust_env=False, timeout=None) as client:
        answer = client.post(address, data=fields, headers={"origin": site.origin})
    assert answer.status_code == 303, answer.text


def _heard(site: Site, job: str, content: bytes) -> str:
    """Return the page that says what a crawl holds."""
    told = {"test": "rattle-crawl", "at": "door-fl", "base": "1"}
    files = {"file": ("crawl.wav", content, "audio/wav")}
    with httpx2.Client(trust_env=False, timeout=None) as client:
        answer = client.post(f"{job}/record", data=told, files=files)
    assert answer.status_code == 303, answer.text
    return f"{site.origin}{answer.headers['location']}"


def _parts(site: Site) -> list[Place]:
    """Return the pages of a kept catalogue with twins in it, and of lists on their way in."""
    rows = [dict(row) for row in invented(40)]
    twin = {**rows[3], "supplier": "Supplier 9", "price": "9999"}
    asked = written([*rows, twin, {**rows[4], "stock": "many"}], ending=".csv")
    again = written([*rows, {**twin, "price": rows[3]["price"]}], ending=".csv")
    for content in (written(rows, ending=".csv"), again):
        at = _listed(site, "shop.csv", content).removesuffix("/findings")
        _send(site, f"{at}/keep", name="shop")
    sold = f"{site.origin}/parts?catalogue=shop"
    return [
        Place("parts-kept", f"{sold}&kept=new"),
        Place("parts-old", f"{sold}&version=1"),
        Place("parts-twins", f"{sold}&q=supplier-9"),
        Place("part-sold", f"{sold}&q=supplier-9", _first_part),
        Place("parts-lists", f"{site.origin}/parts/lists"),
        Place("parts-history", f"{site.origin}/parts/lists/shop"),
        Place("list-findings", _listed(site, "april.csv", asked)),
        Place("list-map", _listed(site, "preise.csv", FOREIGN)),
        Place("list-map-refused", _listed(site, "preise.csv", FOREIGN), _slip_in_map),
        Place("list-refused", f"{site.origin}/parts/import", _slip_in_list),
    ]


def _listed(site: Site, name: str, content: bytes) -> str:
    """Send a list of parts; return the page that it leads to."""
    with httpx2.Client(trust_env=False, timeout=None) as client:
        answer = client.post(f"{site.origin}/parts/import", files={"file": (name, content)})
    assert answer.status_code == 303, answer.text
    return f"{site.origin}{answer.headers['location']}"


def _kept(site: Site) -> str:
    """Return the page of a recording that was kept."""
    job = site.keep()
    content = wav_bytes("sweep-short", side="left")
    told = {"test": "side-response", "at": "driver", "base": "1"}
    files = {"file": ("sweep.wav", content, "audio/wav")}
    with httpx2.Client(trust_env=False, timeout=None) as client:
        heard = client.post(f"{job}/record", data=told, files=files).headers["location"]
    _send(site, f"{site.origin}{heard}/keep", base="1")
    return f"{job}/recordings/{sha256(content).hexdigest()}"


# --- On the way -----------------------------------------------------------------------------------


def _press(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()
    page.wait_for_load_state()


def _slip_in_survey(page: Page) -> None:
    page.get_by_label("Van", exact=True).check()
    page.get_by_label("Size of the loudspeakers: Front doors").fill("large")
    page.get_by_label("Front doors", exact=True).check()
    _press(page, "Show the first answer")


def _slip_in_file(page: Page) -> None:
    page.get_by_text("Or paste its text").click()
    page.get_by_label("Text of a job file").fill('format = 1\n[vehicle]\nclass = "boat"\n')
    _press(page, "Bring it in")


def _slip_in_part(page: Page) -> None:
    page.locator("[name='door-fl.mount.cutout']").fill("122 pints")
    _press(page, "Save changes")


def _in_use(page: Page) -> None:
    _press(page, "Take this place out of the job")


def _open_figure(page: Page) -> None:
    page.locator("details.figure > summary").first.click()


def _slip_in_value(page: Page) -> None:
    figure = page.locator("details.figure", has=page.locator("input:not([type=hidden])")).first
    figure.locator("summary").click()
    figure.locator("input:not([type=hidden])").first.fill("much")
    figure.get_by_role("button", name="Save readings").click()
    page.wait_for_load_state()


def _slip_in_proposal(page: Page) -> None:
    page.get_by_text("Anything else, by path").click()
    page.locator("[name='what:0']").fill("door-fl.mount.cutout")
    page.locator("[name='value:0']").fill("nonsense")
    page.locator(".sticky [value=show]").click()
    page.wait_for_load_state()


def _slip_in_text(page: Page) -> None:
    page.get_by_label("Text of the job file").fill('format = 1\n[vehicle]\nclass = "boat"\n')
    _press(page, "Save changes")


def _slip_in_recording(page: Page) -> None:
    file = {
        "name": "note.m4a",
        "mimeType": "audio/mp4",
        "buffer": b"\0\0\0\x20ftypM4A " + b"\0" * 40,
    }
    page.get_by_label("Recordings, in their order").set_input_files(file)  # type: ignore[arg-type]
    page.locator("#file-error").wait_for()
    _press(page, "Listen to it")


def _first_part(page: Page) -> None:
    page.locator("table a").first.click()
    page.wait_for_load_state()


def _slip_in_map(page: Page) -> None:
    page.get_by_label("in which unit: Rdc [Ohm]").fill("pints")
    _press(page, "It is so: read the list")


def _slip_in_list(page: Page) -> None:
    file = {"name": "book.xlsx", "mimeType": "text/csv", "buffer": b"PK\x03\x04"}
    page.get_by_label("File of the list").set_input_files(file)  # type: ignore[arg-type]
    _press(page, "Look at the list")


def _slip_in_reading(page: Page) -> None:
    page.get_by_label("What did it say?").fill("two bananas")
    _press(page, "Save reading")


def _conflict(page: Page) -> None:
    """Save a form whose revision somebody else has followed up."""
    page.locator("form.keep input[name=base]").evaluate("(each) => { each.value = '1'; }")
    page.locator("[name='vehicle.name']").fill("Library van, the blue one")
    _press(page, "Save changes")
