"""Files that recorders wrote, and files that nobody should have sent."""

import struct
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.recorded.recording import Recording
from conewright.sound.recorded.recording_files import read_recording

RATE = 48_000


def tone(seconds: float = 0.3, *, channels: int = 1, rate: int = RATE) -> FloatArray:
    t = np.arange(round(seconds * rate)) / rate
    waves = [0.5 * np.sin(2 * np.pi * 440.0 * (1 + k) * t) for k in range(channels)]
    return np.asarray(np.stack(waves, axis=1))


def written(
    samples: FloatArray, *, rate: int = RATE, format: str = "WAV", subtype: str | None = None
) -> bytes:
    file = BytesIO()
    soundfile.write(file, samples, rate, format=format, subtype=subtype)
    return file.getvalue()


@pytest.mark.parametrize(
    ("format", "subtype", "step"),
    [
        ("WAV", "PCM_16", 2.0**-15),
        ("WAV", "PCM_24", 2.0**-23),
        ("WAV", "PCM_32", 2.0**-30),
        ("WAV", "FLOAT", 2.0**-24),
        ("WAV", "DOUBLE", 0.0),
        ("FLAC", "PCM_24", 2.0**-23),
    ],
)
def test_a_lossless_file_gives_its_samples_back(format: str, subtype: str, step: float) -> None:
    samples = tone(channels=2)
    data = written(samples, format=format, subtype=subtype)
    found = read_recording(data, name="a")
    assert np.abs(found.samples - samples.T).max() <= step
    assert (found.name, found.rate, found.lossy) == ("a", 48_000.0, False)
    assert found.sha256 == sha256(data).hexdigest()
    assert found.seconds == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("format", "subtype"), [("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", None), ("WAV", "ULAW")]
)
def test_a_lossy_file_is_read_and_told(format: str, subtype: str | None) -> None:
    found = read_recording(written(tone(1.0), format=format, subtype=subtype))
    assert found.lossy
    # A coder keeps a loud tone: its level to 0.2 dB.
    middle = found.samples[0, 12_000:36_000]
    assert np.sqrt(2 * np.mean(middle**2)) == pytest.approx(0.5, rel=0.025)


def test_a_path_is_read_as_its_bytes_are(tmp_path: Path) -> None:
    file = tmp_path / "take 1.flac"
    file.write_bytes(written(tone(), format="FLAC"))
    by_path, by_text = read_recording(file), read_recording(str(file), name="b.flac")
    assert by_path.name == "take 1.flac"
    assert by_text.name == "b.flac"
    assert np.array_equal(by_path.samples, by_text.samples)
    with pytest.raises(BadInputError, match=r"none\.wav: found no file that can be read"):
        read_recording(tmp_path / "none.wav")
    with pytest.raises(BadInputError, match="no file that can be read"):
        read_recording(tmp_path)


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\x00\x00\x00\x20ftypM4A \x00\x00\x00\x00", "an M4A"),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00", "an M4A"),
        (b"\x00\x00\x00\x18ftyp3gp4\x00\x00\x00\x00", "a 3GP"),
        (b"\x1a\x45\xdf\xa3\x9f\x42\x86\x81", "a WebM"),
        (b"#!AMR\n" + bytes(40), "an AMR"),
        (b"", "an empty"),
    ],
)
def test_what_a_phone_writes_else_is_told_how_to_come_in(head: bytes, kind: str) -> None:
    with pytest.raises(
        BadInputError, match=f"x: found {kind} file; record as WAV or FLAC, or open"
    ):
        read_recording(head, name="x")
    if head:
        with pytest.raises(BadInputError, match=kind):
            read_recording(head + bytes(5000), name="x")


@pytest.mark.parametrize(
    ("samples", "rate", "subtype", "said"),
    [
        (tone(rate=4000), 4000, "PCM_16", "found 4000 samples a second; allowed: 8000 to 192000"),
        (tone(), 1, "PCM_16", "found 1 samples a second"),
        (tone(), 384_000, "PCM_16", "found 384000 samples a second"),
        (tone(channels=9), RATE, "PCM_16", "found 9 channels; allowed: 1 to 8"),
        (tone(0.1, channels=64), RATE, "PCM_16", "found 64 channels"),
        (np.zeros((4800, 1)), RATE, "PCM_16", "found no sound in it"),
        (np.full((4800, 2), 0.3), RATE, "FLOAT", "found no sound in it"),
        (np.zeros((0, 1)), RATE, "PCM_16", "found no sound in it"),
        (np.full((800, 1), np.nan), RATE, "FLOAT", "no number or far over full scale"),
        (np.append(tone(), np.inf)[:, None], RATE, "DOUBLE", "no number or far over full scale"),
        (1e30 * tone(), RATE, "DOUBLE", "no number or far over full scale"),
    ],
)
def test_what_is_no_recording_is_refused_in_words(
    samples: FloatArray, rate: int, subtype: str, said: str
) -> None:
    with pytest.raises(BadInputError, match=f"a.wav: .*{said}"):
        read_recording(written(samples, rate=rate, subtype=subtype), name="a.wav")


def test_too_long_is_refused_before_it_is_decoded() -> None:
    # Silence packs well: a small file of 16 minutes, and one of 14 minutes in eight channels.
    long = written(np.zeros((16 * 60 * 8000, 1)), rate=8000, format="FLAC")
    assert len(long) < 100_000
    with pytest.raises(BadInputError, match="found 16 min; allowed: 15 min"):
        read_recording(long)
    wide = written(np.zeros((60 * 192_000, 8)), rate=192_000, format="FLAC")
    with pytest.raises(BadInputError, match="found 92 million samples; allowed: 90 million"):
        read_recording(wide)


def test_too_large_is_refused_before_it_is_looked_at(tmp_path: Path) -> None:
    file = tmp_path / "large.wav"
    with file.open("wb") as empty:
        empty.truncate(201_000_000)
    with pytest.raises(BadInputError, match=r"large\.wav: found 201 MB; allowed: 200 MB"):
        read_recording(file)


def test_a_header_that_promises_more_than_there_is_gives_what_there_is() -> None:
    data = bytearray(written(tone()))
    data[40:44] = struct.pack("<I", 0x7FFFFF00)
    found = read_recording(bytes(data))
    assert found.samples.shape[1] <= 14_400 + 1


SOUNDS = {
    "wav": written(tone(0.05)),
    "float": written(tone(0.05), subtype="FLOAT"),
    "flac": written(tone(0.05), format="FLAC"),
    "ogg": written(tone(0.05), format="OGG"),
    "opus": written(tone(0.05), format="OGG", subtype="OPUS"),
    "mp3": written(tone(0.05), format="MP3"),
}


def refusal(data: bytes) -> str:
    """What is said of a file that is refused; empty for one that is read."""
    try:
        found = read_recording(data, name="x")
    except BadInputError as error:
        return str(error)
    assert isinstance(found, Recording)
    assert np.isfinite(found.samples).all()
    assert found.samples.ndim == 2
    assert 8000 <= found.rate <= 192_000
    return ""


def read_or_refused(data: bytes) -> None:
    said = refusal(data)
    assert not said or said.startswith("x: found ")


@settings(max_examples=200, deadline=None)
@given(
    name=st.sampled_from(sorted(SOUNDS)),
    changes=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=6),
    keep=st.integers(0, 5000),
    behind=st.binary(max_size=40),
)
def test_a_damaged_file_is_read_or_refused(
    name: str, changes: list[tuple[int, int]], keep: int, behind: bytes
) -> None:
    data = bytearray(SOUNDS[name])
    for place, value in changes:
        data[place % len(data)] = value
    read_or_refused(bytes(data[:keep]) + behind)


@settings(max_examples=200, deadline=None)
@given(
    head=st.sampled_from([b"RIFF\xff\xff\xff\xffWAVEfmt ", b"fLaC", b"OggS", b"ID3", b"\xff\xfb"]),
    rest=st.binary(max_size=300),
)
def test_a_good_beginning_and_nonsense_behind_it_is_read_or_refused(
    head: bytes, rest: bytes
) -> None:
    read_or_refused(head + rest)


@settings(max_examples=100, deadline=None)
@given(
    rate=st.integers(0, 2**32 - 1),
    channels=st.integers(0, 2**16 - 1),
    bits=st.sampled_from([0, 1, 8, 12, 16, 24, 32, 64, 255]),
    kind=st.sampled_from([0, 1, 2, 3, 6, 7, 17, 49, 85, 0xFFFE]),
    size=st.integers(0, 2**32 - 1),
)
def test_any_header_of_a_wav_is_read_or_refused(
    rate: int, channels: int, bits: int, kind: int, size: int
) -> None:
    frame = (channels * bits // 8) & 0xFFFF
    head = struct.pack("<HHIIHH", kind, channels, rate, (rate * frame) & 0xFFFFFFFF, frame, bits)
    data = b"RIFF" + struct.pack("<I", size) + b"WAVEfmt " + struct.pack("<I", 16) + head
    read_or_refused(data + b"data" + struct.pack("<I", size) + bytes(range(256)) * 8)
