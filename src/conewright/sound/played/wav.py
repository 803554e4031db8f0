"""The test sounds as WAV files: 48 kHz, 16 bit; one channel where both would carry the same.

A file is written when somebody first asks for it and lies in a folder that goes with the program.
"""

from __future__ import annotations

import atexit
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock

import numpy as np
import soundfile

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played import signals
from conewright.sound.played.sounds import LIMIT, SOUNDS, UNPLUGGED, Sound
from conewright.sound.played.stimuli import GAINS, SIDES
from conewright.whole_file import unwritten, write_new, write_whole

__all__ = ["Played", "file_name", "sound_file", "sounds", "stimulus", "wav_bytes"]

CARD = "sounds.txt"
_lock = Lock()


def sounds(
    out: str | Path,
    *,
    only: str | None = None,
    side: str = "both",
    loudspeakers_unplugged: bool = False,
    force: bool = False,
) -> tuple[Path, ...]:
    """Write the test sounds into a folder as WAV files, and a card of what each is for.

    Args:
        out: the folder, made if it was not there.
        only: name of one sound; all that there are of that side when None.
        side: "both", or "left" or "right" alone; the other channel is silent then. "opposed":
            both, the right one turned round.
        loudspeakers_unplugged: whether somebody says that no loudspeaker hangs on the radio: only
            then are the ladders and the knob written, which reach full scale.
        force: whether files of these names are written over.

    Returns:
        The files, the card last.

    Raises:
        BadInputError: a sound or side of it that there is not, a level ladder without the word that
            loudspeakers are unplugged, or a file that is there or cannot be written.

    >>> import conewright as cw
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     files = cw.sounds(folder, only="treble-burst")
    >>> [file.name for file in files]
    ['treble-burst.wav', 'sounds.txt']
    """
    allowed = SIDES if only is None or only not in SOUNDS else SOUNDS[only].sides
    if side not in allowed:
        raise BadInputError(f'side: found "{side}"; allowed: {", ".join(allowed)}')
    chosen = _chosen(only, loudspeakers_unplugged=loudspeakers_unplugged)
    chosen = tuple(sound for sound in chosen if side in sound.sides)
    folder = Path(out)
    files = {folder / file_name(each.name, side): _written(each, side) for each in chosen}
    files[folder / CARD] = "\n\n".join([LIMIT, *map(_told, chosen), ""]).encode()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise unwritten(folder, error) from error
    (write_whole if force else write_new)(files)
    return tuple(files)


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """A test sound as it is played.

    name: of the sound. side: the version. samples: shape (2, N), full scale 1. rate: [Hz].

    >>> import conewright as cw
    >>> cw.stimulus("pulses").side
    'both'
    """

    name: str
    side: str
    samples: FloatArray
    rate: int


def stimulus(name: str, *, side: str = "both", loudspeakers_unplugged: bool = False) -> Played:
    """Return a test sound as samples.

    Args:
        name: of the sound.
        side: both, left, right or opposed (both, the right one turned round), as there is of it.
        loudspeakers_unplugged: whether somebody says that no loudspeaker hangs on the radio, for
            sounds that reach full scale.

    Raises:
        BadInputError: as `sounds`.

    >>> import conewright as cw
    >>> sweep = cw.stimulus("sweep", side="left")
    >>> sweep.samples.shape, sweep.rate
    ((2, 783180), 48000)
    """
    sound = _version(name, side, loudspeakers_unplugged=loudspeakers_unplugged)
    return Played(name, side, _samples(sound, side), signals.RATE)


def wav_bytes(name: str, *, side: str = "both", loudspeakers_unplugged: bool = False) -> bytes:
    """Return a test sound as what is in its WAV file; raises as `stimulus`."""
    return _written(_version(name, side, loudspeakers_unplugged=loudspeakers_unplugged), side)


def file_name(name: str, side: str) -> str:
    """Return what the WAV file of a version of a sound is called."""
    return f"{name}.wav" if side == "both" else f"{name}-{side}.wav"


def _version(name: str, side: str, *, loudspeakers_unplugged: bool) -> Sound:
    """Return a sound that may be had of that side."""
    (sound,) = _chosen(name, loudspeakers_unplugged=loudspeakers_unplugged)
    if side not in sound.sides:
        raise BadInputError(f'side: found "{side}"; allowed: {", ".join(sound.sides)}')
    return sound


def _chosen(only: str | None, *, loudspeakers_unplugged: bool) -> tuple[Sound, ...]:
    """Return the sounds that are wanted; of all, those that may be had."""
    if only is None:
        return tuple(s for s in SOUNDS.values() if loudspeakers_unplugged or not s.unplugged)
    if only not in SOUNDS:
        raise BadInputError(f'only: found "{only}"; allowed: {", ".join(SOUNDS)}')
    if SOUNDS[only].unplugged and not loudspeakers_unplugged:
        raise BadInputError(f"{only}: found nobody to say that loudspeakers are off. {UNPLUGGED}")
    return (SOUNDS[only],)


def _told(sound: Sound) -> str:
    """Return what stands on the card about a sound."""
    head = f"{sound.title} ({sound.name}.wav, {sound.length}, peak {sound.peak:g} dB of full scale)"
    return f"{head}\n{sound.heard}\nLoudest: {sound.safe}"


def _written(sound: Sound, side: str) -> bytes:
    """Return a sound as a WAV file, 16 bit: the nearest step, 32767 at full scale."""
    samples = _samples(sound, side)
    if side == "both":
        samples = _narrowed(samples)
    steps = np.floor(32_767 * samples + 0.5).astype(np.int16)
    written = BytesIO()
    soundfile.write(written, steps.T, signals.RATE, format="WAV", subtype="PCM_16")
    return written.getvalue()


def _samples(sound: Sound, side: str) -> FloatArray:
    """Return both channels of a version of a sound, shape (2, N)."""
    return np.asarray(sound.make() * np.array(GAINS[side])[:, None])


def sound_file(name: str, *, side: str = "both") -> Path:
    """Return the WAV file of a sound, written when it is first asked for.

    Raises:
        KeyError: there is no such sound, or no such side of it.
        BadInputError: it cannot be written.

    """
    sound = SOUNDS[name]
    if side not in sound.sides:
        raise KeyError(side)
    path = Path(_folder().name) / file_name(name, side)
    with _lock:
        if not path.exists():
            # Whoever asks meanwhile must not see half a file.
            write_whole({path: _written(sound, side)})
    return path


@cache
def _folder() -> TemporaryDirectory[str]:
    folder = TemporaryDirectory(prefix="conewright-sounds-")
    atexit.register(folder.cleanup)
    return folder


def _narrowed(samples: FloatArray) -> FloatArray:
    """Return one channel, shape (1, N), where both carry the same; else both."""
    return samples[:1] if np.array_equal(samples[0], samples[1]) else samples
