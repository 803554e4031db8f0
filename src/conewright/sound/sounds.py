"""The test sounds: what each is for, how long and how loud it is, which test needs it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from conewright.physics.basics.arrays import FloatArray
from conewright.sound import signals

__all__ = ["LIMIT", "SOUNDS", "Sound", "sounds_for"]

LIMIT: Final = (
    "Keep it at most 85 dB(A) at the ear: start low, turn up slowly, stop if it hurts. Small "
    "children and animals out of the vehicle."
)
"""What is said beside every sound."""


@dataclass(frozen=True, slots=True)
class Sound:
    """A test sound.

    seconds: length. peak: highest peak [dB of full scale]. heard: what is in it, in its order.
    """

    name: str
    title: str
    seconds: float
    peak: float
    heard: str
    make: Callable[[], FloatArray]

    @property
    def length(self) -> str:
        """The length as a player shows it."""
        minutes, seconds = divmod(round(self.seconds), 60)
        return f"{minutes}:{seconds:02d}"


SOUNDS: Final[Mapping[str, Sound]] = MappingProxyType(
    {
        sound.name: sound
        for sound in (
            Sound(
                "corner-caller",
                "Corner caller",
                15.2,
                -12.0,
                "One to four beeps, each time followed by 2 s of noise. Turn balance and fader to "
                "the next corner at each.",
                signals.corner_caller,
            ),
            Sound(
                "treble-burst",
                "Treble burst",
                3.84,
                -20.0,
                "One beep, then 3 s of hiss from 8 to 12 kHz.",
                signals.treble_burst,
            ),
            Sound(
                "mono-bass",
                "Mono bass",
                52.8,
                -12.0,
                "50, 63 and 80 Hz. Each comes four times, told by beeps: 1 left, 2 right, 3 both, "
                "4 both with the right one turned round.",
                signals.mono_bass,
            ),
            Sound(
                "rattle-crawl",
                "Rattle crawl",
                90.88,
                -18.0,
                "Two beeps, then a tone that crawls from 30 to 300 Hz in 90 s: 50 Hz after 21 s, "
                "100 Hz after 48 s, 200 Hz after 75 s.",
                signals.rattle_crawl,
            ),
        )
    }
)

_BY_TEST: Final = {
    "corner-solo": ("corner-caller",),
    "treble-burst": ("treble-burst",),
    "mono-bass": ("mono-bass",),
    "slow-bass": ("rattle-crawl",),
    "press-trim": ("rattle-crawl",),
}


def sounds_for(test: str) -> tuple[Sound, ...]:
    """Return the sounds that a test is done with; none for most tests."""
    return tuple(SOUNDS[name] for name in _BY_TEST.get(test, ()))
