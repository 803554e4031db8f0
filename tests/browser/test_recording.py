"""Recording in the page: a microphone that hears a test sound, and files that only a browser reads.

The microphone is Chromium's own fake one, which gives what is in a WAV file.
"""

import base64
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Browser, BrowserContext, Page, expect

from browser.browsing import PHONE, Look, Site, chromium, watched
from conewright.sound.played.wav import stimulus, wav_bytes

pytestmark = pytest.mark.slow

Visit = Callable[..., Page]
BEFORE, BEHIND = 5.0, 40.0
"""Silence around the sound [s]: the page counts down, and the file must not begin anew."""
TRIES = 5
LOST = re.compile("missing|too many|moved")
LOOK: Look = {"viewport": PHONE, "has_touch": True, "is_mobile": True}


@pytest.fixture(scope="module")
def microphone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A WAV file in which a short sweep sounds in a quiet room."""
    played = stimulus("sweep-short")
    before, behind = (np.zeros(round(each * played.rate)) for each in (BEFORE, BEHIND))
    sound = np.concatenate([before, 0.5 * played.samples[0], behind])
    sound += np.random.default_rng(3).normal(0.0, 1e-4, sound.size)
    path = tmp_path_factory.mktemp("microphone") / "room.wav"
    soundfile.write(path, sound, played.rate, subtype="PCM_16")
    return path


@pytest.fixture(scope="module")
def listening(browser: Browser, microphone: Path) -> Iterator[Browser]:
    """A second browser, with a microphone."""
    assert browser.is_connected()
    program = chromium()
    assert program is not None
    fake = browser.browser_type.launch(
        executable_path=program,
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream",
            f"--use-file-for-fake-audio-capture={microphone}",
        ],
    )
    yield fake
    fake.close()


@pytest.fixture
def phone(listening: Browser, place: Site) -> Iterator[BrowserContext]:
    with watched(listening, place.origin, LOOK) as context:
        yield context


def record(page: Page) -> None:
    """Record until the sound is over, and send it."""
    page.get_by_role("button", name="Start recording").click()
    stop = page.get_by_role("button", name="Stop and keep")
    expect(stop).to_be_visible()
    # The sound and a little more, counted by the recording itself.
    said = page.locator("#recorder [role=status]")
    expect(said).to_have_text(re.compile(r"Recording, (1[3-9]|[2-9]\d) s"))
    stop.click()
    expect(page.locator("#chosen li")).to_have_text(re.compile(r"^take-1\.wav, \d+\.\d MB$"))
    page.get_by_role("button", name="Listen to it").click()
    expect(page.get_by_role("heading", name="What was heard")).to_be_visible()


def test_the_page_records_listens_and_keeps(phone: BrowserContext, demo: str) -> None:
    page = phone.new_page()
    page.goto(f"{demo}/record?test=side-response&at=driver")
    record(page)
    # A busy machine loses pieces of what it hears, and is told so: then it is done again.
    for _ in range(TRIES):
        if not page.locator(".halt").count():
            break
        expect(page.locator(".halt")).to_contain_text(LOST)
        page.get_by_role("button", name="Throw it away and record again").click()
        record(page)
    expect(page.locator("p.answer").first).to_contain_text("sweep-short")
    expect(page.locator(".halt")).to_have_count(0)
    page.get_by_role("button", name=re.compile("^Keep it")).click()
    expect(page).to_have_url(f"{demo}#recordings")
    page.get_by_role("link", name=re.compile("^side-response-driver-1")).click()
    note = page.locator("dl.setup")
    expect(note).to_contain_text("echo cancelling off, noise suppression off, gain control off")
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save the file as it came").click()
    assert saved.value.suggested_filename == "take-1.wav"
    samples, rate = soundfile.read(saved.value.path(), always_2d=True)
    assert soundfile.info(str(saved.value.path())).subtype == "FLOAT"
    # The peak of what the microphone was given, half of -12 dB, within the step of its rate.
    assert 20 * np.log10(np.max(np.abs(samples))) == pytest.approx(-12 - 6.02, abs=0.5)
    assert rate in (44_100, 48_000)


def test_a_device_that_keeps_its_processing_on_is_told_before(
    phone: BrowserContext, demo: str
) -> None:
    page = phone.new_page()
    page.add_init_script(
        "const own = MediaStreamTrack.prototype.getSettings;"
        "MediaStreamTrack.prototype.getSettings = function () {"
        "  return {...own.call(this), noiseSuppression: true}; };"
    )
    page.goto(f"{demo}/record?test=side-response&at=driver")
    page.get_by_role("button", name="Start recording").click()
    expect(page.locator("#recorder")).to_contain_text("keeps noise suppression on")
    expect(page.get_by_role("button", name="Record all the same")).to_be_visible()
    page.get_by_role("button", name="Stop and throw away").click()
    expect(page.get_by_role("button", name="Start recording")).to_be_enabled()


def test_without_a_secure_page_the_reason_stands_in_the_buttons_place(
    visit: Visit, demo: str
) -> None:
    # The server answers to no other name than its own, so the browser is told that it is insecure.
    page = visit(LOOK)
    page.add_init_script("Object.defineProperty(window, 'isSecureContext', {value: false});")
    page.goto(f"{demo}/record")
    expect(page.locator("#recorder")).to_contain_text("no microphone to a page that came over")
    expect(page.get_by_role("button", name="Start recording")).to_have_count(0)
    expect(page.get_by_label("Recordings, in their order")).to_be_visible()


WEBM = """
async () => {
    const context = new AudioContext();
    const out = context.createMediaStreamDestination();
    const tone = new OscillatorNode(context, {frequency: 1000});
    tone.connect(out);
    tone.start();
    const recorder = new MediaRecorder(out.stream, {mimeType: "audio/webm"});
    const pieces = [];
    recorder.ondataavailable = (event) => pieces.push(event.data);
    recorder.start();
    await new Promise((go) => setTimeout(go, 1500));
    await new Promise((go) => { recorder.onstop = go; recorder.stop(); });
    const bytes = new Uint8Array(await new Blob(pieces).arrayBuffer());
    return btoa(Array.from(bytes, (each) => String.fromCharCode(each)).join(""));
}
"""


def test_what_only_a_browser_reads_is_sent_as_wav(phone: BrowserContext, demo: str) -> None:
    page = phone.new_page()
    page.goto(f"{demo}/record?test=call-recording&at=vehicle")
    webm = base64.b64decode(page.evaluate(WEBM))
    assert webm[:4] == b"\x1aE\xdf\xa3"
    chosen = page.get_by_label("Recordings, in their order")
    chosen.set_input_files({"name": "call.webm", "mimeType": "audio/webm", "buffer": webm})
    expect(page.locator("#chosen li")).to_have_text(re.compile(r"^call\.wav, "))
    held = page.evaluate(
        "async () => { const [file] = document.getElementById('file').files;"
        " return [...new Uint8Array(await file.arrayBuffer())]; }"
    )
    samples, rate = soundfile.read(io.BytesIO(bytes(held)), always_2d=True)
    middle = samples[len(samples) // 2 :][:8192, 0]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(middle.size)))
    # The tone that was put in.
    assert np.argmax(spectrum) * rate / middle.size == pytest.approx(1000.0, abs=10.0)


@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_files_are_sent_and_thrown_away(visit: Visit, demo: str, script: bool) -> None:
    page = visit({**LOOK, "java_script_enabled": script})
    page.goto(f"{demo}/find?reading=slow-bass@door-fl")
    page.get_by_role("link", name=re.compile("^Play and listen")).click()
    expect(page.get_by_label("Where it is recorded")).to_have_value("door-fl")
    crawl = {
        "name": "crawl.wav",
        "mimeType": "audio/wav",
        "buffer": wav_bytes("crawl-short", side="left"),
    }
    page.get_by_label("Recordings, in their order").set_input_files(crawl)  # type: ignore[arg-type]
    page.get_by_role("button", name="Listen to it").click()
    expect(page.locator("p.answer").first).to_contain_text("Nothing rattles in this crawl")
    expect(page.get_by_role("heading", name="The readings it makes")).to_be_visible()
    page.get_by_role("button", name="Throw it away").click()
    expect(page.get_by_label("Where it is recorded")).to_have_value("door-fl")
    page.goto(f"{demo}/history")
    expect(page.get_by_text("recorded")).to_have_count(0)
