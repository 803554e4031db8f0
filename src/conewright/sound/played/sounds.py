"""The test sounds: what each is for, how long and how loud it is, which test needs it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Final

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played import signals

__all__ = ["LIMIT", "SOUNDS", "UNPLUGGED", "Sound", "sounds_for"]

LIMIT: Final = (
    "Keep it at most 85 dB(A) at the ear: start low, turn up slowly, stop if it hurts. Small "
    "children and animals out of the vehicle."
)
"""What is said beside every sound."""


UNPLUGGED: Final = (
    "Full scale: unplug every loudspeaker at the radio first and measure across its outputs with a "
    "meter on a.c. volts, no lead to ground. It burns a tweeter in seconds and hurts ears. A radio "
    "with an output transformer must not run without a load: not on such a one."
)
"""What is said before a sound that reaches full scale."""

DIGITS: Final = "3 8 1 9 5 0 2 7 4 6 8 3 0 5 9 1 7 2 6 4"


@dataclass(frozen=True, slots=True)
class Sound:
    """A test sound.

    seconds: length. peak: highest peak [dB of full scale]. heard: what is in it, in its order.
    safe: the loudest setting at which it may be played. unplugged: whether it is for outputs
    without loudspeakers only.
    """

    name: str
    title: str
    seconds: float
    peak: float
    heard: str
    safe: str
    make: Callable[[], FloatArray]
    unplugged: bool = False

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
                "No louder than speech over which nobody has to raise their voice.",
                signals.corner_caller,
            ),
            Sound(
                "treble-burst",
                "Treble burst",
                3.84,
                -20.0,
                "One beep, then 3 s of hiss from 8 to 12 kHz.",
                "No louder than speech: a tweeter bears little of it.",
                signals.treble_burst,
            ),
            Sound(
                "mono-bass",
                "Mono bass",
                52.8,
                -12.0,
                "50, 63 and 80 Hz. Each comes four times, told by beeps: 1 left, 2 right, 3 both, "
                "4 both with the right one turned round.",
                "Half of the loudest music that is played here; less once a cone is seen to move "
                "by more than 2 mm.",
                signals.mono_bass,
            ),
            Sound(
                "rattle-crawl",
                "Rattle crawl",
                90.88,
                -18.0,
                "Two beeps, then a tone that crawls from 30 to 300 Hz in 90 s: 50 Hz after 21 s, "
                "100 Hz after 48 s, 200 Hz after 75 s.",
                "Half of the loudest music that is played here; less once a cone strikes.",
                signals.rattle_crawl,
            ),
            Sound(
                "measuring-sweep",
                "Measuring sweep",
                13.42,
                -12.0,
                "Three beeps, a chirp, after a second a sweep from 20 Hz to 20 kHz in 10 s, after "
                "another second the same chirp. Record all of it, beeps and chirps too.",
                "As loud as speech across the cabin; up only until the recording stands clear of "
                "the noise, 85 dB(A) at most.",
                signals.measuring_sweep,
            ),
            Sound(
                "pulse-train",
                "Pulse train",
                6.36,
                -12.0,
                "Four beeps, then ten pulses to the plus side, one each half second. The phone "
                "20 mm from the cone: the first swing of both sides has to go the same way.",
                "Where the cone is seen to jump by a millimetre, and no further.",
                signals.pulse_train,
            ),
            Sound(
                "level-ladder-100-hz",
                "Level ladder, 100 Hz",
                51.2,
                0.0,
                "Five beeps, then 31 steps of 1.5 s by 1 dB, from -30 dB to full scale. Each has "
                "1.12 times the volts of the one before until the radio clips.",
                UNPLUGGED,
                partial(signals.level_ladder, frequency=100.0),
                unplugged=True,
            ),
            Sound(
                "level-ladder-1-khz",
                "Level ladder, 1 kHz",
                51.2,
                0.0,
                "As at 100 Hz, with a tone of 1 kHz; many meters read too little there.",
                UNPLUGGED,
                partial(signals.level_ladder, frequency=1000.0),
                unplugged=True,
            ),
            Sound(
                "call-script",
                "Call script",
                20.72,
                -24.0,
                "One beep; then the owner reads for 20 s into the call what stands here, evenly: "
                f"{DIGITS}; two beeps end it. Once with the engine off, once at 50 and once at "
                "100 km/h, with a passenger to hold the card and the phone.",
                "As loud as a call; the far end records.",
                signals.call_script,
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
