"""Recordings in the pages and the API: sent, listened to, kept or thrown away, given back."""

import hashlib
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

import conewright as cw
from conewright.sound.played.wav import wav_bytes
from conewright.stages.prove.recorded_tests import recorded_tests
from conewright.store import Saved, Store
from conewright.web.app import create_app
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports
from conewright.web.doors.uploads import Upload
from conewright.web.recording.kept_recordings import attached
from conewright.web.recording.parcels import unpack

HERE = "http://127.0.0.1:8420"
PAGE = {"accept": "text/html"}
NOISE = np.random.default_rng(5).normal(0.0, 1e-4, (1, 48_000))


@pytest.fixture
def saved(store: Store) -> Saved:
    return store.create(cw.demo_text(), who="Ann")


@pytest.fixture(scope="module")
def crawl() -> bytes:
    """A crawl in which nothing rattles: the file as it is played, recorded without a room."""
    return wav_bytes("crawl-short", side="left")


def sent(
    client: TestClient, saved: Saved, *files: tuple[str, bytes], **fields: str
) -> tuple[int, str]:
    """Send recordings with what is told of them; return the status, and where it leads or says."""
    told = {"test": "rattle-crawl", "at": "door-fl", "base": "1", **fields}
    parts = [("file", (name, content, "audio/wav")) for name, content in files]
    answer = client.post(
        f"/jobs/{saved.job_id}/record", data=told, files=parts, headers={"origin": HERE, **PAGE}
    )
    return answer.status_code, answer.headers.get("location", answer.text)


def held_files(store: Store) -> list[Path]:
    """Return what lies about that nobody has kept."""
    return list(store.recordings.arriving().iterdir())


# --- What is to be played, and where the phone lies -----------------------------------------------


@pytest.mark.parametrize("test", recorded_tests())
def test_every_test_says_what_is_played_and_where_the_phone_lies(
    client: TestClient, saved: Saved, test: str
) -> None:
    page = client.get(f"/jobs/{saved.job_id}/record?test={test}").text
    known = recorded_tests()[test]
    plain = page.replace("&#39;", "'").replace("&amp;", "&")
    assert known.phone in plain
    assert known.order in plain
    assert 'enctype="multipart/form-data"' in page
    for detail in known.details:
        assert f'name="with-{detail}"' in page
    for file in re.findall(r'<audio[^>]* src="([^"]+)"', page):
        assert client.get(file.replace("&amp;", "&")).status_code == 200


def test_full_scale_is_given_only_where_loudspeakers_are_off(
    client: TestClient, saved: Saved
) -> None:
    place = f"/jobs/{saved.job_id}/record?test=channel-output&at=front-left"
    barred, given = client.get(place).text, client.get(f"{place}&unplugged=true").text
    assert "/sounds/ladder.wav" not in barred
    assert "Every loudspeaker is unplugged" in barred
    assert "/sounds/ladder.wav?unplugged=true" in given


def test_only_the_versions_that_there_are_of_a_sound_are_given(client: TestClient) -> None:
    left = client.get("/sounds/crawl-short.wav?side=left")
    samples, _ = soundfile.read(io.BytesIO(left.content), always_2d=True)
    # closed form: the other channel is silent
    assert np.max(np.abs(samples[:, 0])) == pytest.approx(10 ** (-18 / 20), abs=0.15)
    assert np.max(np.abs(samples[:, 1])) == 0.0
    assert client.get("/sounds/sides.wav?side=left").status_code == 404
    assert client.get("/sounds/sweep.wav?side=upper").status_code == 404


def test_a_place_or_a_test_that_nobody_knows_is_refused(client: TestClient, saved: Saved) -> None:
    assert client.get(f"/jobs/{saved.job_id}/record?test=weather").status_code == 404
    assert client.get("/jobs/none-aaaa/record").status_code == 404


def test_find_leads_to_the_recording_that_answers_a_reading(
    client: TestClient, saved: Saved
) -> None:
    def offered(reading: str) -> list[str]:
        page = client.get(f"/jobs/{saved.job_id}/find?reading={reading}").text
        return re.findall(r'href="(/jobs/[^"]+/record\?[^"]+)"', page)

    base = f"/jobs/{saved.job_id}/record?"
    assert offered("slow-bass@door-fl") == [f"{base}test=rattle-crawl&amp;at=door-fl"]
    assert offered("mono-bass@front") == [f"{base}test=bass-phases&amp;at=front"]
    assert offered("pair-resistance@rear-left") == []


# --- Sent, and kept -------------------------------------------------------------------------------


def test_what_is_heard_goes_into_the_job_only_when_somebody_says_so(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    told = {"side": "left", "when": "before", "volume": "15 of 30", "note": "trim on"}
    status, place = sent(client, saved, ("a crawl.wav", crawl), **told)
    assert status == 303
    page = client.get(place).text
    assert "Nothing rattles in this crawl." in page
    assert "Slow bass" in page
    assert store.get(saved.job_id).revision == 1
    assert not store.recordings.has(hashlib.sha256(crawl).hexdigest())
    kept = client.post(f"{place}/keep", data={"base": "1"}, headers={"origin": HERE})
    assert kept.status_code == 303, kept.text
    job = store.get(saved.job_id).job
    (recording,) = job.recordings
    sha = hashlib.sha256(crawl).hexdigest()
    assert (recording.sha256, recording.file, recording.test) == (
        sha,
        "a crawl.wav",
        "rattle-crawl",
    )
    assert (recording.at, recording.side, recording.when) == ("door-fl", "left", "before")
    assert (recording.volume, recording.note) == ("15 of 30", "trim on")
    reading = job.last_reading("slow-bass", "door-fl")
    assert reading is not None
    assert reading.recordings == (recording.id,)
    assert store.recordings.read(sha) == crawl
    # Nothing is left behind, and the same is not kept twice.
    assert held_files(store) == []
    assert client.get(place).status_code == 404


def test_what_is_thrown_away_is_gone(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    _, place = sent(client, saved, ("crawl.wav", crawl))
    assert len(held_files(store)) == 1
    dropped = client.post(f"{place}/drop", headers={"origin": HERE})
    assert dropped.headers["location"].endswith("/record?test=rattle-crawl&at=door-fl")
    assert held_files(store) == []
    assert store.get(saved.job_id).revision == 1
    assert client.post(f"{place}/keep", data={"base": "1"}).status_code == 404


def test_what_cannot_be_used_says_why_and_is_not_kept(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    samples, rate = soundfile.read(io.BytesIO(crawl), always_2d=True)
    short = io.BytesIO()
    soundfile.write(short, samples[: len(samples) // 2], rate, format="WAV", subtype="PCM_16")
    status, place = sent(client, saved, ("stopped.wav", short.getvalue()))
    assert status == 303
    page = client.get(place).text
    assert page.index("verdict stop") < page.index('class="answer"')
    assert f"{place}/keep" not in page
    assert client.post(f"{place}/keep", data={"base": "1"}).status_code == 422
    assert store.get(saved.job_id).revision == 1


def test_several_takes_come_in_their_order(client: TestClient, store: Store, saved: Saved) -> None:
    left, right = (wav_bytes("sweep-short", side=side) for side in ("left", "right"))
    # One of two channels that is silent is no recording of a phone: what sounded is.
    fronts = [_one_channel(left, 0, gain=1.0), _one_channel(right, 1, gain=-0.7)]
    files = (("left.wav", fronts[0]), ("right.wav", fronts[1]))
    status, place = sent(client, saved, *files, test="near-field", at="front")
    assert status == 303, place
    client.post(f"{place}/keep", data={"base": "1"}, headers={"origin": HERE})
    recordings = store.get(saved.job_id).job.recordings
    assert [(each.file, each.take) for each in recordings] == [("left.wav", 1), ("right.wav", 2)]
    page = client.get(f"/jobs/{saved.job_id}/recordings/{recordings[1].sha256}").text
    assert "right.wav" in page
    assert recordings[0].id in page


def _one_channel(content: bytes, channel: int, *, gain: float) -> bytes:
    samples, rate = soundfile.read(io.BytesIO(content), always_2d=True)
    written = io.BytesIO()
    soundfile.write(written, gain * samples[:, channel], rate, format="WAV", subtype="PCM_16")
    return written.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("talk.m4a", b"\0\0\0\x20ftypM4A \0\0\0\0", "found an M4A file"),
        ("talk.webm", b"\x1aE\xdf\xa3" + b"\0" * 40, "found a WebM file"),
        ("talk.wav", b"RIFF\xff\xff\xff\xffWAVEfmt " + b"\xff" * 60, "found a damaged file"),
        ("talk.txt", b"no curve at all", "talk.txt"),
    ],
)
def test_a_file_that_cannot_be_read_is_told_where_it_was_chosen(
    client: TestClient, store: Store, saved: Saved, name: str, content: bytes, told: str
) -> None:
    status, page = sent(client, saved, (name, content), volume="15 of 30")
    assert status == 200
    assert told in page
    assert 'value="15 of 30"' in page
    assert held_files(store) == []


def test_without_a_file_or_with_a_wrong_detail_it_is_told(
    client: TestClient, saved: Saved, crawl: bytes
) -> None:
    assert "nothing was recorded or chosen yet" in sent(client, saved, ("", b""))[1].lower()
    _, page = sent(client, saved, ("a.wav", crawl), **{"with-resistor": "much"})
    assert "resistor" in page
    assert "much" in page
    assert "side: found" in sent(client, saved, ("a.wav", crawl), side="upper")[1].replace(
        "Side", "side"
    )


def test_somebody_who_saved_meanwhile_is_not_overwritten(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    _, place = sent(client, saved, ("crawl.wav", crawl))
    other = cw.demo_text().replace("14.4 V", "14.1 V")
    store.save(saved.job_id, other, base=1, who="Ben")
    answer = client.post(f"{place}/keep", data={"base": "1"}, headers={"origin": HERE})
    assert answer.status_code == 200
    assert "Two people changed this job at once" in answer.text
    assert store.get(saved.job_id).text == other
    # Still there, to be kept on top of what the other one saved.
    assert client.post(f"{place}/keep", data={"base": "2"}).status_code == 303
    assert store.get(saved.job_id).job.recordings


# --- Kept -----------------------------------------------------------------------------------------


@pytest.fixture
def kept(client: TestClient, saved: Saved, crawl: bytes) -> str:
    """SHA-256 of a recording that was kept."""
    _, place = sent(client, saved, ("loud; ü.wav", crawl), **{"with-resistor": "4.7 ohm"})
    assert client.post(f"{place}/keep", data={"base": "1"}).status_code == 303
    return hashlib.sha256(crawl).hexdigest()


def test_a_kept_recording_says_what_it_is_and_gives_its_file_back(
    client: TestClient, saved: Saved, kept: str, crawl: bytes
) -> None:
    base = f"/jobs/{saved.job_id}"
    page = client.get(f"{base}/recordings/{kept}")
    assert page.status_code == 200
    assert "Nothing rattles in this crawl." in page.text
    assert "slow bass at door-fl" in page.text
    assert "<dt>resistor</dt><dd>4.7 ohm</dd>" in page.text
    file = client.get(f"{base}/recordings/{kept}/file")
    assert file.content == crawl
    # RFC 6266 and RFC 8187: a plain name, and the right one with its signs encoded
    disposition = file.headers["content-disposition"]
    assert disposition == (
        "attachment; filename=\"loud_ _.wav\"; filename*=utf-8''loud%3B%20%C3%BC.wav"
    )
    assert attached('a"\r\nb')["Content-Disposition"] == (
        "attachment; filename=\"a___b\"; filename*=utf-8''a%22%0D%0Ab"
    )
    assert f"{base}/recordings/{kept}" in client.get(base).text


def test_the_pictures_of_a_page_are_there(
    client: TestClient, saved: Saved, kept: str, crawl: bytes
) -> None:
    _, place = sent(client, saved, ("another.wav", crawl))
    for address in (place, f"/jobs/{saved.job_id}/recordings/{kept}"):
        page = client.get(address).text
        shown = re.findall(r'(?:src|srcset)="(/[^"]+\.svg[^"]*)"', page)
        assert len(shown) == 4
        for each in shown:
            picture = client.get(each.replace("&amp;", "&"))
            assert picture.status_code == 200
            assert picture.text.startswith("<svg ")


def test_a_recording_of_another_job_is_not_given(
    client: TestClient, store: Store, kept: str
) -> None:
    other = store.create(cw.starter_text(), who="Ann")
    for path in (f"recordings/{kept}", f"recordings/{kept}/file", f"recordings/{kept}.svg"):
        assert client.get(f"/jobs/{other.job_id}/{path}").status_code == 404
    assert client.get(f"/api/v1/jobs/{other.job_id}/recordings/{kept}").status_code == 404


def test_a_job_goes_out_with_its_recordings(
    client: TestClient, store: Store, saved: Saved, kept: str, crawl: bytes
) -> None:
    answer = client.get(f"/jobs/{saved.job_id}/job.zip")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.namelist() == ["job.toml", f"recordings/{kept}"]
        assert archive.read("job.toml").decode() == store.get(saved.job_id).text
        assert archive.read(f"recordings/{kept}") == crawl
    assert held_files(store) == []


def test_a_recording_whose_file_is_gone_is_told(
    client: TestClient, store: Store, saved: Saved, kept: str
) -> None:
    store.recordings.path(kept).unlink()
    page = client.get(f"/jobs/{saved.job_id}/recordings/{kept}")
    assert page.status_code == 200
    assert "it is not kept in" in page.text
    assert client.get(f"/jobs/{saved.job_id}/recordings/{kept}/file").status_code == 404
    assert client.get(f"/jobs/{saved.job_id}/job.zip").status_code == 200


# --- The API --------------------------------------------------------------------------------------


def test_the_api_says_the_same_and_keeps_nothing(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    answer = client.post(
        f"/api/v1/jobs/{saved.job_id}/listen",
        data={"test": "rattle-crawl", "at": "door-fl"},
        files=[("file", ("crawl.wav", crawl, "audio/wav"))],
    )
    assert answer.status_code == 200
    report = cw.listen(
        cw.recording(crawl, name="crawl.wav"),
        test="rattle-crawl",
        at="door-fl",
        build=saved.job.build(),
    )
    assert answer.json() == report.model_dump(mode="json")
    assert held_files(store) == []
    assert store.get(saved.job_id).revision == 1


def test_the_api_gives_a_kept_file(
    client: TestClient, saved: Saved, kept: str, crawl: bytes
) -> None:
    answer = client.get(f"/api/v1/jobs/{saved.job_id}/recordings/{kept}")
    assert answer.content == crawl
    assert answer.headers["content-type"] == "application/octet-stream"


# --- How much, and by whom ------------------------------------------------------------------------


@pytest.fixture
def narrow(store: Store, reports: Reports) -> TestClient:
    """Pages that take little."""
    settings = Settings(largest_upload=5_000)
    return TestClient(create_app(store, settings=settings, reports=reports), base_url=HERE)


def test_an_upload_has_a_limit_of_its_own(
    client: TestClient, narrow: TestClient, saved: Saved, crawl: bytes
) -> None:
    # Over the limit of all other bodies, which stays as it was.
    assert len(crawl) > Settings().largest_body
    assert sent(client, saved, ("crawl.wav", crawl))[0] == 303
    assert client.post("/jobs/new", content=crawl).status_code == 413
    assert client.post(f"/jobs/{saved.job_id}/readings", content=crawl).status_code == 413
    place = f"/jobs/{saved.job_id}/record"
    files = [("file", ("crawl.wav", crawl, "audio/wav"))]
    assert narrow.post(place, files=files).status_code == 413

    def lying() -> Iterator[bytes]:
        yield from (crawl[at : at + 1000] for at in range(0, 9000, 1000))

    # Without a length it is counted while it comes.
    assert narrow.post(place, content=lying()).status_code == 413
    assert narrow.post(place, headers={"content-length": "-1"}).status_code == 400


def test_a_foreign_page_sends_no_recording(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    foreign = {"origin": "http://evil.example"}
    files = [("file", ("crawl.wav", crawl, "audio/wav"))]
    for path in (f"/jobs/{saved.job_id}/record", f"/api/v1/jobs/{saved.job_id}/listen"):
        assert client.post(path, files=files, headers=foreign).status_code == 403
    _, place = sent(client, saved, ("crawl.wav", crawl))
    for word in ("keep", "drop"):
        assert client.post(f"{place}/{word}", headers=foreign).status_code == 403
    assert client.get(place).status_code == 200
    assert store.get(saved.job_id).revision == 1


def test_a_name_that_was_guessed_or_is_of_another_job_leads_nowhere(
    client: TestClient, store: Store, saved: Saved, crawl: bytes
) -> None:
    _, place = sent(client, saved, ("crawl.wav", crawl))
    token = place.rpartition("/")[2]
    # 128 bits and more in letters of 6 bits
    assert len(token) * 6 >= 128
    other = store.create(cw.starter_text(), who="Ann")
    assert client.get(f"/jobs/{other.job_id}/record/{token}").status_code == 404
    assert client.get(f"{place[:-1]}!").status_code == 404


def test_what_nobody_keeps_makes_room(store: Store, saved: Saved, crawl: bytes) -> None:
    settings = Settings(held_takes=2)
    reports = Reports(settings)
    client = TestClient(
        create_app(store, settings=settings, reports=reports),
        base_url=HERE,
        follow_redirects=False,
    )
    places = [sent(client, saved, ("crawl.wav", crawl))[1] for _ in range(3)]
    assert [client.get(place).status_code for place in places] == [404, 200, 200]
    assert len(held_files(store)) == 2
    reports.close()
    assert held_files(store) == []


def test_listening_that_takes_too_long_is_stopped(store: Store, saved: Saved, crawl: bytes) -> None:
    settings = Settings(listening_seconds=1e-3)
    reports = Reports(settings)
    client = TestClient(create_app(store, settings=settings, reports=reports), base_url=HERE)
    answer = client.post(
        f"/api/v1/jobs/{saved.job_id}/listen", files=[("file", ("crawl.wav", crawl, "audio/wav"))]
    )
    reports.close()
    assert answer.status_code == 422
    assert "a shorter recording takes less" in answer.json()["error"]["message"]
    assert held_files(store) == []


# --- Taken apart ----------------------------------------------------------------------------------

BOUNDARY = "----frontier"
KIND = f'multipart/form-data; boundary="{BOUNDARY}"'


def body(*parts: tuple[str, bytes]) -> bytes:
    """Return a form (RFC 7578) of parts, each by what stands behind its form-data."""
    pieces = (
        f"--{BOUNDARY}\r\nContent-Disposition: form-data; {told}\r\n\r\n".encode() + held + b"\r\n"
        for told, held in parts
    )
    return b"".join(pieces) + f"--{BOUNDARY}--\r\n".encode()


@pytest.mark.parametrize(
    ("sent_as", "called"),
    [
        ("../../etc/crontab", "crontab"),
        ("C:\\\\songs\\\\a.wav", "a.wav"),
        ("a\tb\u202ec.wav", "a b c.wav"),
        ("", "recording"),
        ("x" * 300 + ".wav", "x" * 110 + ".wav"),
    ],
)
def test_a_name_is_a_name_and_leads_to_no_folder(tmp_path: Path, sent_as: str, called: str) -> None:
    file = tmp_path / "body"
    file.write_bytes(body((f'name="file"; filename="{sent_as}"', b"sound"), ('name="at"', b"x")))
    folder = tmp_path / "in"
    folder.mkdir()
    parcel = unpack(Upload(file, KIND), folder)
    assert [each.name for each in parcel.files] == [called]
    assert parcel.files[0].path.parent == folder
    assert parcel.files[0].sha256 == hashlib.sha256(b"sound").hexdigest()
    assert parcel.fields == {"at": "x"}


FILE = 'name="file"; filename="a.wav"'
WRONG = {
    "no form": ("application/json", b"{}", 415),
    "no boundary": ("multipart/form-data", b"", 415),
    "cut off": (KIND, body((FILE, b"sound"))[:-12], 400),
    "no part": (KIND, b"what is this", 400),
    "many files": (KIND, body(*[(FILE, b"x")] * 25), 413),
    "a long field": (KIND, body(('name="note"', b"x" * 20_001)), 413),
    "many fields": (KIND, body(*[(f'name="f{n}"', b"x") for n in range(61)]), 413),
    "a long head": (KIND, body((f'name="{"x" * 5000}"', b"x")), 400),
}


@pytest.mark.parametrize(("kind", "content", "status"), WRONG.values(), ids=WRONG)
def test_a_form_that_is_none_is_refused_and_leaves_nothing(
    client: TestClient, store: Store, saved: Saved, kind: str, content: bytes, status: int
) -> None:
    place = f"/api/v1/jobs/{saved.job_id}/listen"
    answer = client.post(place, content=content, headers={"content-type": kind})
    assert answer.status_code == status, answer.text
    assert held_files(store) == []
