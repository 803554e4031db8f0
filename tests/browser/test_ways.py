"""What a repairer does in the pages, from the first click on, in a real browser."""

import re
import tomllib
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from browser.browsing import DESKTOP, PHONE, SIZES, Hand, Look, Site
from browser.places import FOREIGN
from conewright import demo_text, starter_text
from conewright.job.text.readings import without_finding, without_reading

pytestmark = pytest.mark.slow

Visit = Callable[..., Page]
# What the vehicle of the demo says, as its own readings have it.
SAID = {
    "mono-bass@front": "weaker",
    "pair-resistance@rear-left": "2.2 ohm ± 0.1 ohm",
    "pair-resistance@rear-right": "2.3 ohm ± 0.1 ohm",
    "cell-pulse@door-fr": "inward",
}
TURNED = "one driver connected the wrong way round"


def touched(size: ViewportSize) -> Look:
    """Return how somebody with a phone, or at a desk, looks at a page."""
    return {"viewport": size, "has_touch": size is PHONE, "is_mobile": size is PHONE}


def unread() -> str:
    """Return the demo before anybody read or found anything."""
    text = without_finding(demo_text())
    while tomllib.loads(text).get("reading"):
        text = without_reading(text)
    return text


# --- From nothing ---------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_from_nothing_to_a_first_answer_in_four_clicks(
    visit: Visit, place: Site, size: ViewportSize, script: bool
) -> None:
    page = visit({**touched(size), "java_script_enabled": script})
    page.goto(f"{place.origin}/jobs")
    hand = Hand(page)
    hand.click("Start a job", role="link")
    hand.tick("Van")
    hand.tick("Front doors")
    hand.click("Show the first answer")
    expect(page.locator("p.answer").first).to_contain_text("The next reading worth taking")
    expect(page.get_by_role("link", name=re.compile("^door-front-l"))).not_to_have_count(0)
    page.get_by_role("link", name=re.compile("^feed")).click()
    expect(page.locator(".figure .number").first).to_have_text(re.compile(r"\d"))
    assert (hand.clicks, hand.fields) == (4, 0)


def test_a_survey_with_a_slip_says_so_beside_its_field(visit: Visit, place: Site) -> None:
    page = visit({"viewport": PHONE})
    page.goto(f"{place.origin}/jobs/new")
    hand = Hand(page)
    hand.tick("Saloon")
    hand.tick("Rear doors")
    hand.type("Size of the loudspeakers: Rear doors", "13 pounds")
    hand.click("Show the first answer")
    typed = page.get_by_label("Size of the loudspeakers: Rear doors")
    expect(typed).to_have_value("13 pounds")
    expect(typed).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Saloon")).to_be_checked()


# --- Find -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_the_dialogue_leads_the_demo_to_its_cause(visit: Visit, place: Site, script: bool) -> None:
    page = visit({**touched(PHONE), "java_script_enabled": script})
    page.goto(f"{place.keep(unread())}/find")
    expect(page.locator("#answer input[name=test]")).to_have_value("mono-bass")
    left = dict(SAID)
    while left:
        answer(page, left)
    leading = page.locator(".odds li", has_text=TURNED).first
    expect(leading).to_contain_text("at door-fr")
    chance = leading.locator(".chance").inner_text()
    assert int(chance.strip(" %>")) >= 85
    page.get_by_role("button", name="Undo the last reading").click()
    expect(page.locator(".taken li")).to_have_count(len(SAID) - 1)
    page.go_back()
    expect(page).to_have_url(re.compile(r"/find#reading$"))


def answer(page: Page, left: dict[str, str]) -> None:
    """Answer the reading that is proposed, else the next that the vehicle has an answer for."""
    fields = [page.locator(f"#answer input[name={name}]").input_value() for name in ("test", "at")]
    asked = "@".join(fields)
    if asked not in left:
        asked = next(iter(left))
        page.locator("#others > summary").click()
        page.get_by_label("Any reading").select_option(asked)
        page.get_by_role("button", name="Show it").click()
    said = left.pop(asked)
    if said[0].isdigit():
        page.get_by_label("What did it say?").fill(said)
        page.get_by_role("button", name="Save reading").click()
    else:
        page.locator(f"#answer button[value={said}]").click()
    # Counted from what was said: the list itself may be of the page that is just being left.
    expect(page.locator(".taken li")).to_have_count(len(SAID) - len(left))


def test_a_reading_that_needs_a_sound_plays_it(visit: Visit, demo: str) -> None:
    page = visit(touched(PHONE))
    page.goto(f"{demo}/find?reading=slow-bass@door-fl")
    page.get_by_text("The sound to play").click()
    player = page.locator("audio").first
    length = player.evaluate(
        """async (audio) => {
            audio.load();
            await new Promise((ready, wrong) => {
                audio.onloadedmetadata = ready;
                audio.onerror = () => wrong(audio.error.message);
                audio.preload = "metadata";
                audio.load();
            });
            return audio.duration;
        }"""
    )
    assert 5 < length < 120
    with page.expect_download() as saved:
        page.locator("a[download]").first.click()
    assert saved.value.suggested_filename.endswith(".wav")


TALL: ViewportSize = {"width": 390, "height": 844}
"""Of a phone as most are held today."""


def below(page: Page, selector: str) -> float:
    """Return where the lowest of some things that are shown ends [px from the window's top]."""
    # A page that is just coming can be measured before its styles are there; nobody sees it so.
    page.wait_for_load_state()
    shown = [each for each in page.locator(selector).all() if each.is_visible()]
    assert shown, selector
    boxes = [each.bounding_box() for each in shown]
    return max(box["y"] + box["height"] for box in boxes if box is not None)


@pytest.mark.parametrize(
    "text", [demo_text(), unread(), starter_text()], ids=["demo", "new", "bare"]
)
def test_a_phone_shows_what_to_do_next_without_a_move(visit: Visit, place: Site, text: str) -> None:
    page = visit({"viewport": TALL, "has_touch": True, "is_mobile": True})
    job = place.keep(text)
    page.goto(job)
    for part in ("p.answer", ".reading .healthy", ".reading .button.main"):
        assert below(page, part) <= TALL["height"], part
    page.get_by_role("link", name="Take it").click()
    expect(page.locator("#answer")).to_be_visible()
    for part in ("p.answer", ".reading .healthy", "#answer .answers button"):
        assert below(page, part) <= TALL["height"], part


def test_a_cause_is_taken_as_found_and_a_reading_changed_where_one_stands(
    visit: Visit, place: Site
) -> None:
    page = visit({"viewport": TALL, "has_touch": True, "is_mobile": True})
    page.goto(f"{place.keep(without_finding(demo_text()))}/find")
    page.get_by_role("button", name=re.compile(f"^Take it as found.*{TURNED}")).click()
    found = page.get_by_role("heading", name="What was found")
    expect(found).to_be_in_viewport()
    page.get_by_role("link", name="Change mono bass at front").click()
    expect(page.get_by_text("So far it says weaker")).to_be_in_viewport()
    page.locator("#answer button[value=stronger]").click()
    expect(page.get_by_role("heading", name="The next reading")).to_be_in_viewport()
    expect(page.locator("#taken + ol li").first).to_contain_text("stronger")
    page.get_by_role("button", name="Take back pair resistance at rear-left").click()
    expect(page.get_by_role("heading", name="Readings so far")).to_be_in_viewport()
    expect(page.locator("#taken + ol li")).to_have_count(3)
    page.get_by_role("button", name="Make the plan that mends it").click()
    expect(page.get_by_label(f"{TURNED} at door-fr")).to_be_checked()


# --- Proposals ------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_the_figures_of_a_proposal_move_while_it_is_typed(
    visit: Visit, demo: str, size: ViewportSize
) -> None:
    page = visit(touched(size))
    page.goto(f"{demo}/proposals/put-right")
    lowest = page.locator("#preview tr", has_text="lowest load").locator(".number").last
    expect(lowest).to_have_text("4.0")
    name = page.get_by_label("What is done, in one line")
    kept = name.input_value()
    wired = page.get_by_label("How it is wired, rear-left")
    wired.select_option("side-rl")
    expect(lowest).not_to_have_text("4.0")
    # A slip is said, and nothing that was typed goes; put right, the figures are back.
    page.get_by_label("Working time, in hours").fill("much")
    expect(page.locator("#preview .problems")).to_contain_text("much")
    page.get_by_label("Working time, in hours").fill("1.5")
    wired.select_option("side-rl + roof-rl")
    expect(lowest).to_have_text("4.0")
    assert name.input_value() == kept
    page.get_by_role("button", name="Save proposal").click()
    expect(page).to_have_url(f"{demo}/proposals")


def test_a_proposal_is_changed_without_script(visit: Visit, demo: str) -> None:
    page = visit({"viewport": PHONE, "java_script_enabled": False})
    page.goto(f"{demo}/proposals/new")
    page.get_by_label("Short name").fill("rings-fitted")
    page.get_by_label("Soft ring to the grille, door-fl and door-fr").select_option("yes")
    page.get_by_role("button", name="Show").last.click()
    expect(page.locator("#preview")).to_contain_text("rings-fitted")
    page.get_by_role("button", name="Save proposal").click()
    expect(page.locator("table.sides")).to_contain_text("rings-fitted")


# --- Two at once ----------------------------------------------------------------------------------


def test_two_browsers_that_save_the_same_job_both_keep_what_they_typed(
    visit: Visit, demo: str
) -> None:
    ann, ben = visit({"viewport": PHONE}), visit({"viewport": DESKTOP})
    for page in (ann, ben):
        page.goto(f"{demo}/part/head_unit")
    ann.get_by_role("textbox", name="Supply").fill("14.1 V")
    ann.get_by_role("button", name="Save changes").click()
    expect(ann.get_by_role("status")).to_have_text("Saved as revision 2.")
    ben.get_by_label("Lowest load it is rated for").fill("2 ohm")
    ben.get_by_role("button", name="Save changes").click()
    expect(ben.locator("h1")).to_have_text("Two people changed this job at once")
    expect(ben.locator("main")).to_contain_text("14.1 V")
    expect(ben.locator("main")).to_contain_text("2 ohm")
    ben.get_by_role("button", name="Save both together").click()
    ben.goto(f"{demo}/part/head_unit")
    expect(ben.get_by_role("textbox", name="Supply")).to_have_value("14.1 V")
    expect(ben.get_by_label("Lowest load it is rated for")).to_have_value("2 ohm")


# --- Paper ----------------------------------------------------------------------------------------


def test_paper_shows_the_working_and_no_button(visit: Visit, demo: str) -> None:
    page = visit({"viewport": PHONE})
    page.goto(f"{demo}/feed")
    expect(page.locator(".figure[open]")).to_have_count(0)
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    expect(page.locator(".working .formula").first).to_be_visible()
    for hidden in ("button:visible", "input:visible", ".top > nav:visible"):
        expect(page.locator(hidden)).to_have_count(0)
    expect(page.locator("p.answer").first).to_be_visible()
    expect(page.get_by_role("heading", name="Take care")).to_be_visible()
    assert page.pdf(format="A4", prefer_css_page_size=True).startswith(b"%PDF-")


# --- Nothing but keys -----------------------------------------------------------------------------


def to(page: Page, role: str, name: str) -> None:
    """Press Tab until that has the focus, and see that the focus can be seen."""
    # The library takes only its own list of role names.
    wanted = page.get_by_role(role, name=re.compile(name)).first  # type: ignore[arg-type]
    # Not a Tab goes to the page that is just being left, nor to one that has no styles yet.
    wanted.wait_for(state="attached")
    page.wait_for_load_state()
    for _ in range(90):
        page.keyboard.press("Tab")
        if wanted.evaluate("(each) => each === document.activeElement"):
            seen = "getComputedStyle(document.activeElement).outlineStyle"
            assert page.evaluate(seen) != "none" or page.locator(".plan :focus-visible").count()
            return
    raise AssertionError(f"Tab does not lead to the {role} {name}")


def test_everything_by_keyboard_alone(visit: Visit, place: Site) -> None:
    page = visit()
    page.goto(f"{place.origin}/jobs")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    to(page, "link", "^Start a job$")
    page.keyboard.press("Enter")
    to(page, "radio", "Small car")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_label("Saloon")).to_be_checked()
    to(page, "checkbox", "Front doors")
    page.keyboard.press("Space")
    to(page, "button", "Show the first answer")
    page.keyboard.press("Enter")
    # A place on the vehicle opens; its form is saved from the field.
    to(page, "link", "^door-front-l")
    page.keyboard.press("Enter")
    to(page, "textbox", "^Cut-out in the steel")
    page.keyboard.type("122 mm ± 1 mm")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_have_text("Saved as revision 2.")
    to(page, "link", "^find")
    page.keyboard.press("Enter")
    to(page, "button", "not conclusive")
    page.keyboard.press("Enter")
    expect(page.locator(".taken li")).to_have_count(1)
    # A figure opens, the cursor of the picture goes along it.
    to(page, "link", "^feed")
    page.keyboard.press("Enter")
    to(page, "slider", "Read the picture at")
    before = page.locator("output").inner_text()
    page.keyboard.press("ArrowRight")
    assert page.locator("output").inner_text() != before
    page.keyboard.press("Tab")
    page.locator("details.figure > summary").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("details.figure[open] .formula").first).to_be_visible()


# --- Parts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_a_suppliers_list_is_brought_in_and_its_parts_are_found(
    visit: Visit, place: Site, size: ViewportSize, script: bool
) -> None:
    page = visit({**touched(size), "java_script_enabled": script})
    page.goto(f"{place.origin}/jobs")
    hand, name = Hand(page), f"nord-{'script' if script else 'plain'}-{size['width']}"
    hand.click("Parts", role="link")
    hand.click("Bring in a list", role="link")
    file = {"name": f"{name}.csv", "mimeType": "text/csv", "buffer": FOREIGN}
    page.get_by_label("File of the list").set_input_files(file)  # type: ignore[arg-type]
    hand.click("Look at the list")
    expect(page.get_by_text("This is a guess.")).to_be_visible()
    expect(page.get_by_label("is what: Artikel")).to_have_value("part")
    page.get_by_label("Zubehör", exact=True).select_option("driver")
    hand.type("Supplier", "Nord")
    hand.click("It is so: read the list")
    expect(page.get_by_role("row").filter(has_text="neunzig")).to_contain_text("left out")
    hand.click("Keep this list")
    expect(page.get_by_role("status")).to_contain_text(f"Kept as {name}, version 1")
    page.get_by_label("Words in number, name, supplier").fill("lt-1")
    hand.click("Search")
    hand.click("LT-1", role="link")
    expect(page.get_by_text("24.90 EUR per piece.")).to_be_visible()
    assert (hand.clicks, hand.fields) == (7, 1)
