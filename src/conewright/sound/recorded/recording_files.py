"""Reading a file that a recorder wrote, whoever sent it and whatever is in it."""

from __future__ import annotations

from hashlib import sha256
from io import BytesIO
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np
import soundfile

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.recorded.recording import Recording

__all__ = ["read_recording"]

MEGABYTE: Final = 1_000_000
LARGEST: Final = 200 * MEGABYTE
LONGEST: Final = 15 * 60.0
SLOWEST: Final = 8000
FASTEST: Final = 192_000
MOST_CHANNELS: Final = 8
MOST_SAMPLES: Final = 90_000_000
"""Fifteen minutes of two channels at 48 kHz and a little: 720 MB in memory."""
HIGHEST: Final = 1000.0
"""A peak over this is no sound with full scale 1."""
BLOCK: Final = 1 << 16

COARSE: Final = MappingProxyType({"MPEG_LAYER_III": 60e3, "VORBIS": 54e3, "OPUS": 16e3})
"""Bits a second of a channel below which a coder takes recordings for moved, its gain for
controlled, or levels by 1 dB and more (own simulation)."""

ALLOWED: Final = "WAV, FLAC, Ogg (Vorbis, Opus) or MP3"
COME_IN: Final = "record as WAV or FLAC, or open it in the pages with script on"


def read_recording(source: bytes | str | Path, *, name: str | None = None) -> Recording:
    """Read a recording.

    Args:
        source: a file, or its bytes. At most 200 MB, 15 min, 8 channels, 8 to 192 kHz.
        name: of the file as it came; that of the path when None.

    Returns:
        The recording: samples, rate, the SHA-256 of the bytes.

    Raises:
        BadInputError: whatever it is instead, in words. Length, rate and channels are looked at
            before anything is decoded, and no more is decoded than is allowed.

    """
    name = name or (Path(source).name if isinstance(source, str | Path) else "recording")
    data = _bytes(source, name)
    _known(data, name)
    samples, rate, kind = _decoded(data, name)
    if not samples.size or not np.any(np.ptp(samples, axis=-1)):
        raise BadInputError(f"{name}: found no sound in it; {COME_IN}")
    lossy = not kind.startswith(("PCM", "FLOAT", "DOUBLE"))
    bit_rate = 8.0 * len(data) * rate / samples.size
    coarse = bit_rate if bit_rate < COARSE.get(kind, 0.0) else None
    return Recording(name, samples, float(rate), sha256(data).hexdigest(), lossy, coarse)


def _bytes(source: bytes | str | Path, name: str) -> bytes:
    if isinstance(source, bytes):
        size, data = len(source), source
    else:
        try:
            size = Path(source).stat().st_size
            # One byte more than is allowed tells of a file that grows meanwhile.
            with Path(source).open("rb") as file:
                data = file.read(LARGEST + 1)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise BadInputError(f"{name}: found no file that can be read ({reason})") from error
    if max(size, len(data)) > LARGEST:
        raise BadInputError(
            f"{name}: found {size / MEGABYTE:.0f} MB; allowed: {LARGEST // MEGABYTE} MB"
        )
    return data


def _known(data: bytes, name: str) -> None:
    """Refuse what the first bytes show to be something else."""
    head = data[:12]
    if head[4:8] == b"ftyp":
        kind = "a 3GP" if head[8:11] in (b"3gp", b"3g2") else "an M4A"
    elif head[:4] == b"\x1aE\xdf\xa3":
        kind = "a WebM"
    elif head[:5] == b"#!AMR":
        kind = "an AMR"
    elif _readable(head):
        return
    else:
        kind = "no" if data else "an empty"
    if kind == "no":
        raise BadInputError(f"{name}: found no sound file that is known; allowed: {ALLOWED}")
    raise BadInputError(f"{name}: found {kind} file; {COME_IN}; allowed: {ALLOWED}")


def _readable(head: bytes) -> bool:
    if head[:4] in (b"RIFF", b"RIFX", b"RF64"):
        return head[8:12] == b"WAVE"
    if head[:4] in (b"fLaC", b"OggS") or head[:3] == b"ID3":
        return True
    # MPEG audio: eleven bits of synchronisation.
    return len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0


def _decoded(data: bytes, name: str) -> tuple[FloatArray, int, str]:
    """Return samples (channels, N), rate, and how they are coded."""
    try:
        with soundfile.SoundFile(BytesIO(data)) as file:
            _hold(file.frames, file.samplerate, file.channels, name)
            return _read(file, name), int(file.samplerate), str(file.subtype)
    except BadInputError:
        raise
    except (soundfile.SoundFileError, RuntimeError, ValueError, OSError, MemoryError) as error:
        raise _damaged(name, error) from error
    except (AssertionError, TypeError, OverflowError) as error:
        # Headers that contradict themselves.
        raise _damaged(name, error) from error


def _damaged(name: str, error: Exception) -> BadInputError:
    reason = " ".join(str(error).split()) or type(error).__name__
    return BadInputError(f"{name}: found a damaged file ({reason[:200]}); {COME_IN}")


def _hold(frames: int, rate: int, channels: int, name: str) -> None:
    """Refuse what its header says to be too much, before anything is decoded."""
    if not SLOWEST <= rate <= FASTEST:
        raise BadInputError(
            f"{name}: found {rate} samples a second; allowed: {SLOWEST} to {FASTEST}"
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise BadInputError(f"{name}: found {channels} channels; allowed: 1 to {MOST_CHANNELS}")
    if frames > LONGEST * rate:
        raise BadInputError(
            f"{name}: found {frames / rate / 60:.0f} min; allowed: {LONGEST / 60:.0f} min"
        )
    if frames * channels > MOST_SAMPLES:
        raise BadInputError(
            f"{name}: found {frames * channels / 1e6:.0f} million samples; allowed: "
            f"{MOST_SAMPLES // 1_000_000} million: fewer channels, or 48 kHz"
        )


def _read(file: soundfile.SoundFile, name: str) -> FloatArray:
    """Read to the end in blocks: what a header says of its length is not believed."""
    blocks: list[FloatArray] = []
    count = 0
    while True:
        block = file.read(BLOCK, dtype="float64", always_2d=True)
        if not len(block):
            break
        if not np.all(np.abs(block) <= HIGHEST):
            raise BadInputError(
                f"{name}: found samples that are no number or far over full scale; {COME_IN}"
            )
        count += len(block)
        _hold(count, file.samplerate, file.channels, name)
        blocks.append(np.ascontiguousarray(block.T))
    return np.concatenate(blocks, axis=1) if blocks else np.zeros((file.channels, 0))
