"""The test sounds as WAV files: 48 kHz, 16 bit; one channel where both would carry the same.

A file is written when somebody first asks for it and lies in a folder that goes with the program.
"""

from __future__ import annotations

import atexit
from functools import cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock

import numpy as np
import soundfile

from conewright.physics.basics.arrays import FloatArray
from conewright.sound import signals
from conewright.sound.sounds import SOUNDS
from conewright.whole_file import write_whole

__all__ = ["sound_file"]

_lock = Lock()


def sound_file(name: str) -> Path:
    """Return the WAV file of a sound, written when it is first asked for.

    Raises:
        KeyError: there is no such sound.
        BadInputError: it cannot be written.

    """
    sound = SOUNDS[name]
    path = Path(_folder().name) / f"{name}.wav"
    with _lock:
        if not path.exists():
            # Whoever asks meanwhile must not see half a file.
            written = BytesIO()
            samples = _narrowed(sound.make())
            soundfile.write(written, samples.T, signals.RATE, format="WAV", subtype="PCM_16")
            write_whole({path: written.getvalue()})
    return path


@cache
def _folder() -> TemporaryDirectory[str]:
    folder = TemporaryDirectory(prefix="conewright-sounds-")
    atexit.register(folder.cleanup)
    return folder


def _narrowed(samples: FloatArray) -> FloatArray:
    """Return one channel, shape (1, N), where both carry the same; else both."""
    return samples[:1] if np.array_equal(samples[0], samples[1]) else samples
