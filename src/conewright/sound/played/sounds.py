"""The test sounds: what each is for, how long and how loud it is, which test needs it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Final

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played import signals
from conewright.sound.played.stimuli import SIDES, STIMULI, Side

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
    without loudspeakers only. sides: the versions that may be had of it.
    """

    name: str
    title: str
    seconds: float
    peak: float
    heard: str
    safe: str
    make: Callable[[], FloatArray]
    unplugged: bool = False
    sides: tuple[Side, ...] = ("both", "left", "right")

    @property
    def length(self) -> str:
        """The length as a player shows it."""
        minutes, seconds = divmod(round(self.seconds), 60)
        return f"{minutes}:{seconds:02d}"


def _stimulus(
    name: str, title: str, heard: str, safe: str = UNPLUGGED, *, peak: float = signals.LOUDEST
) -> Sound:
    """Return a sound of what is to be recorded; full scale is for unplugged outputs."""
    known = STIMULI[name]
    seconds = known.length / signals.RATE
    unplugged = peak > signals.LOUDEST
    return Sound(name, title, seconds, peak, heard, safe, known.samples, unplugged, known.sides)


SPEECH: Final = (
    "As loud as speech across the cabin; up only until the recording stands clear of the noise, "
    "85 dB(A) at most."
)
HALF: Final = "Half of the loudest music that is played here; less once a cone strikes."
JUMP: Final = "Where the cone is seen to jump by a millimetre, and no further."
WHOLE: Final = "Record all of it, the chirps at its beginning and end too."
STAIRS: Final = "A chirp, three steps of a chord, {}, the steps and the chirp again. " + WHOLE

_RECORDED: Final = (
    _stimulus(
        "sweep",
        "Sweep",
        STAIRS.format("a sweep from 20 Hz to 20 kHz in 10 s"),
        SPEECH,
    ),
    _stimulus(
        "sweep-short",
        "Short sweep",
        STAIRS.format("a sweep from 20 Hz to 20 kHz in 3.5 s"),
        SPEECH,
    ),
    _stimulus(
        "sides",
        "Sides",
        STAIRS.format("a sweep of 10 s on the left, the same on the right"),
        SPEECH,
    ),
    _stimulus(
        "sides-short",
        "Short sides",
        STAIRS.format("a sweep of 3.5 s on the left, the same on the right"),
        SPEECH,
    ),
    _stimulus(
        "bass",
        "Bass phases",
        "A chirp; 50, 63 and 80 Hz, each for 3 s on the left, on the right, on both, and on both "
        "with the right one turned round; the chirp again. " + WHOLE,
        HALF,
    ),
    _stimulus(
        "bass-short",
        "Short bass phases",
        "As the bass phases, 1 s each. " + WHOLE,
        HALF,
    ),
    _stimulus(
        "crawl",
        "Crawl",
        "A chirp, a tone that crawls from 30 to 300 Hz in 90 s, the chirp again. " + WHOLE,
        HALF,
    ),
    _stimulus(
        "crawl-short",
        "Short crawl",
        "As the crawl, in 12 s. " + WHOLE,
        HALF,
    ),
    _stimulus(
        "pulses",
        "Pulses",
        "A chirp, eight pulses to the plus side, one each half second, the chirp again. The phone "
        "20 mm from the cone. " + WHOLE,
        JUMP,
    ),
    _stimulus(
        "ladder",
        "Ladder, 100 Hz",
        "A chirp, 31 steps of 0.3 s by 1 dB from -30 dB to full scale, the chirp again, for a "
        "recorder behind a divider.",
        peak=0.0,
    ),
    _stimulus(
        "ladder-1k",
        "Ladder, 1 kHz",
        "As the ladder at 100 Hz, with a tone of 1 kHz.",
        peak=0.0,
    ),
    _stimulus(
        "knob",
        "Knob",
        "A chirp, then 100 Hz at full scale for 12 s. Turn the volume up by one step each second.",
        peak=0.0,
    ),
    _stimulus(
        "steps",
        "Steps",
        "A chirp, 61 tones from 20 Hz to 20 kHz of half a second each, the chirp again: for the "
        "resistor and the driver between two inputs of a recorder.",
        "0.3 V at the driver.",
    ),
    Sound(
        "hiss",
        "Hiss",
        30.0,
        -12.4,
        "30 s of noise from 100 Hz to 5 kHz, to set the level of the player and the recorder by.",
        "As loud as speech across the cabin, 85 dB(A) at most.",
        signals.hiss,
        sides=SIDES,
    ),
)

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
                HALF,
                signals.rattle_crawl,
            ),
            Sound(
                "measuring-sweep",
                "Measuring sweep",
                13.42,
                -12.0,
                "Three beeps, a chirp, after a second a sweep from 20 Hz to 20 kHz in 10 s, after "
                "another second the same chirp. Record all of it, beeps and chirps too.",
                SPEECH,
                signals.measuring_sweep,
            ),
            Sound(
                "pulse-train",
                "Pulse train",
                6.36,
                -12.0,
                "Four beeps, then ten pulses to the plus side, one each half second. The phone "
                "20 mm from the cone: the first swing of both sides has to go the same way.",
                JUMP,
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
            *_RECORDED,
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
