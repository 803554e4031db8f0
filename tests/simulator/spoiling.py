"""What spoils a recording: gain control, suppression, clipping, codecs, lost samples."""

import subprocess
from io import BytesIO
from typing import Literal

import numpy as np
import soundfile
from scipy import signal

from .files import Samples

Codec = Literal["mp3", "vorbis", "opus", "aac", "sbc"]


def gain_control(
    samples: Samples,
    *,
    rate: float,
    target: float,
    highest: float,
    attack: float = 0.01,
    release: float = 0.8,
) -> Samples:
    """Drive the level towards `target` (rms of full scale), by at most `highest` times.

    attack, release: time constants [s]. Where even the highest gain stays under the target it
    stands still and bends nothing.
    """
    block = max(round(0.002 * rate), 1)
    blocks = np.append(samples, np.zeros(-samples.size % block)).reshape(-1, block)
    seen, gains = 0.0, np.empty(len(blocks))
    up, down = (1 - np.exp(-block / rate / each) for each in (attack, release))
    for n, power in enumerate(np.mean(blocks**2, axis=1)):
        seen += (up if power > seen else down) * (power - seen)
        gains[n] = min(highest, target / max(seen, 1e-12) ** 0.5)
    at = (np.arange(len(blocks)) + 0.5) * block
    return np.asarray(samples * np.interp(np.arange(samples.size), at, gains))


def noise_suppression(
    samples: Samples, *, rate: float, learnt: float = 0.8, over: float = 2.0, floor: float = 0.1
) -> Samples:
    """Spectral subtraction: the noise is learnt in the first seconds; what is near it goes."""
    size = 2 ** round(np.log2(0.03 * rate))
    _, times, bins = signal.stft(samples, rate, nperseg=size)
    noise = np.mean(np.abs(bins[:, times < learnt]) ** 2, axis=1, keepdims=True)
    wanted = 1 - over * noise / np.maximum(np.abs(bins) ** 2, 1e-20)
    gain = np.sqrt(np.maximum(wanted, floor**2))
    for n in range(1, gain.shape[1]):
        gain[:, n] = np.maximum(gain[:, n], 0.6 * gain[:, n - 1])
    _, cleaned = signal.istft(bins * gain, rate, nperseg=size)
    return np.asarray(np.resize(cleaned, samples.size))


def hard_clipped(samples: Samples, ceiling: float) -> Samples:
    return np.clip(samples, -ceiling, ceiling)


def soft_clipped(samples: Samples, ceiling: float) -> Samples:
    return np.asarray(ceiling * np.tanh(samples / ceiling))


def with_gap(samples: Samples, *, rate: float, at: float, seconds: float) -> Samples:
    """Lose what lasts `seconds` [s]; repeat it where `seconds` is below zero."""
    begin, length = round(at * rate), round(abs(seconds) * rate)
    rest = begin + length if seconds > 0 else begin - length
    return np.concatenate([samples[:begin], samples[rest:]])


def through_codec(samples: Samples, codec: Codec, *, rate: float, bitrate: int) -> Samples:
    """One channel after a lossy codec, as long as it was; the codec's own delay stays in.

    bitrate: [kbit/s]. MP3, Vorbis and Opus by libsndfile, which takes a level between 0 (best)
    and 1 in its stead: 64 kbit/s and less is 0.9. AAC and SBC by ffmpeg.
    """
    whole = round(rate)
    if codec in ("aac", "sbc"):
        decoded = _by_ffmpeg(samples, codec, whole, bitrate)
    else:
        kind, sub = ("MP3", "MPEG_LAYER_III") if codec == "mp3" else ("OGG", codec.upper())
        file = BytesIO()
        level = float(np.clip(1.2 - bitrate / 200, 0.0, 0.95))
        soundfile.write(file, samples, whole, format=kind, subtype=sub, compression_level=level)
        file.seek(0)
        decoded, _ = soundfile.read(file, dtype="float64")
    return np.pad(decoded, (0, max(0, samples.size - decoded.size)))[: samples.size]


def _by_ffmpeg(samples: Samples, codec: str, rate: int, bitrate: int) -> Samples:
    raw = ["-f", "f32le", "-ar", str(rate), "-ac", "1", "-i", "pipe:0"]
    kind = "adts" if codec == "aac" else "sbc"
    quiet = ["ffmpeg", "-v", "error"]
    coded = subprocess.run(
        [*quiet, *raw, "-c:a", codec, "-b:a", f"{bitrate}k", "-f", kind, "pipe:1"],
        input=samples.astype("<f4").tobytes(),
        capture_output=True,
        check=True,
    ).stdout
    decoded = subprocess.run(
        [*quiet, "-f", "aac" if codec == "aac" else "sbc", "-i", "pipe:0", "-f", "f32le", "pipe:1"],
        input=coded,
        capture_output=True,
        check=True,
    ).stdout
    return np.frombuffer(decoded, dtype="<f4").astype(np.float64)


def sixteen_bit(samples: Samples) -> Samples:
    return np.asarray(np.clip(np.round(samples * 32768), -32768, 32767) / 32768)
