"""Radio, amplifiers and what feeds them, and their channels with what hangs on each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from conewright.job.builds.states.value import FaultState, Origin, Value
    from conewright.job.document.parts import ReturnBy, System
    from conewright.physics.electrics.filters import FilterKind
    from conewright.physics.electrics.wiring import Tree

__all__ = [
    "AmplifierState",
    "CableState",
    "ChannelState",
    "ConverterState",
    "FeedState",
    "FilterState",
    "HeadUnitState",
    "InputState",
    "PartState",
    "SettingsState",
    "UnknownChannelState",
    "UnusedChannelState",
]


@dataclass(frozen=True, slots=True)
class CableState:
    """Two conductors: either `resistance` (the whole loop) or `length` (one way) and `size`."""

    length: Value | None
    size: Value | None
    resistance: Value | None


@dataclass(frozen=True, slots=True)
class PartState:
    """A part written into a load; `key` is its leaf in the tree. A wire has `wire`, no `value`.
    `rated` is what is printed on it [V, A or W], None where nobody read it.
    """

    key: str
    kind: Literal["capacitor", "inductor", "resistor", "wire"]
    value: Value | None
    wire: CableState | None
    rated: float | None = None


@dataclass(frozen=True, slots=True)
class FilterState:
    """A high-pass or low-pass that is switched on; `slope` in dB per octave."""

    corner: Value
    slope: int
    kind: FilterKind


@dataclass(frozen=True, slots=True)
class SettingsState:
    """What is set for one channel in what drives it."""

    gain: Value
    high_pass: FilterState | None
    low_pass: FilterState | None


@dataclass(frozen=True, slots=True)
class InputState:
    """What a channel of an amplifier is fed from, and how much the amplifier makes of it.

    `channel` is the radio's channel whose `settings` it hears, at loudspeaker level; both None for
    the radio's line outputs, which then have `line_volts`. `gain` is that of the amplifier.
    """

    channel: str | None
    settings: SettingsState | None
    line_volts: Value | None
    gain: Value


@dataclass(frozen=True, slots=True)
class ChannelState:
    """One output and what hangs on it. `tree` has a leaf for every location and part; `polarity`
    holds (location id, +1 or -1). `faults` are those at it, at what it drives and at what feeds it.
    `driven_by` is the id of an amplifier, which has an `input`; both None for the radio.
    """

    id: str
    load: str
    tree: Tree
    polarity: tuple[tuple[str, int], ...]
    parts: tuple[PartState, ...]
    cable: CableState
    settings: SettingsState
    driven_by: str | None = None
    input: InputState | None = None
    faults: tuple[FaultState, ...] = ()
    return_by: ReturnBy | None = None


@dataclass(frozen=True, slots=True)
class UnknownChannelState:
    """One output of which nobody knows yet what hangs on it; `driven_by` as of `ChannelState`."""

    id: str
    cable: CableState
    driven_by: str | None = None
    return_by: ReturnBy | None = None


@dataclass(frozen=True, slots=True)
class UnusedChannelState:
    """One output of the radio that drives nothing; of its pair only what is written down."""

    id: str
    cable: CableState
    return_by: ReturnBy | None = None


@dataclass(frozen=True, slots=True)
class HeadUnitState:
    """The radio. `rated` tells whether the job states the smallest load it is made for; `system`
    and `ground` are the supply and the pole of its case that it is made for.
    """

    name: str
    output: Literal["bridge", "common-ground"]
    system: System
    ground: Literal["negative", "positive", "either"]
    supply: Value
    feed_resistance: Value
    output_resistance: Value
    clip_loss: Value
    peak_current: Value
    minimum_load: Value
    rated: bool
    advertised_power: Value | None
    quiescent_current: Value
    junction_to_dash: Value
    dash: Value
    limit: Value
    sleep_current: Value | None

    @property
    def swing(self) -> float:
        """Largest output over the supply: a bridge swings by all of it, one leg by half."""
        return 1.0 if self.output == "bridge" else 0.5


@dataclass(frozen=True, slots=True)
class ConverterState:
    """What stands between the vehicle's supply and the radio.

    `rated` tells whether the job states the most it gives for good; `output` and `rated_current`
    are of its output side, `idle_current` is drawn from the battery. `besides` is what a radio
    draws besides its output chip, None where its current at rest was read as a whole.
    """

    name: str
    kind: Literal["step-down", "step-up", "isolated"]
    output: Value
    rated_current: Value
    rated: bool
    efficiency: Value
    idle_current: Value
    besides: Value | None


@dataclass(frozen=True, slots=True)
class AmplifierState:
    """An amplifier between the radio and some channels.

    `clean` is the power of one channel into `clean_load`, or the rms volts, by its dimension.
    """

    id: str
    name: str
    switching: bool
    clean: Value
    clean_load: Value
    clip_loss: Value
    output_resistance: Value
    minimum_load: Value
    rated: bool
    inputs: Literal["floating", "chassis"] | None
    feed: str | None
    fuse: Value | None
    feed_resistance: Value
    quiescent_current: Value
    efficiency: Value


@dataclass(frozen=True, slots=True)
class FeedState:
    """A cable from battery or fuse box to the radio, a converter or an added amplifier.

    `length` is one way, `size` that of one conductor, `ambient` the air where it lies. What nobody
    wrote down and nothing usual stands for is None.
    """

    id: str
    to: Literal["radio", "amplifier", "converter"]
    current: Value | None
    fuse: Value | None
    fuse_distance: Value | None
    length: Value | None
    size: Value | None
    metal: Literal["copper", "clad-aluminium"]
    metal_origin: Origin
    route: Literal["free", "bundled"]
    ambient: Value
    insulation: Value
    return_by: Literal["chassis", "cable"]
