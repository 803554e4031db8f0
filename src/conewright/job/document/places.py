"""The mechanical half of the document: the places drivers sit in, and the drivers."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from conewright.errors import BadInputError
from conewright.job.document.fields import (
    Angle,
    Area,
    Capacitance,
    Compliance,
    Count,
    ForceFactor,
    Frequency,
    Gap,
    Identifier,
    Inductance,
    KeptSpot,
    Length,
    Level,
    Mass,
    MechanicalResistance,
    Money,
    NominalSize,
    Number,
    PanelOpening,
    PanelSpot,
    PositiveResistance,
    Power,
    SemiInductance,
    SurfaceDensity,
    Text,
    Volume,
)
from conewright.job.document.parts import Place, Table
from conewright.job.quantity.values import Quantity, times
from conewright.physics.drivers.coil import CoilWiring
from conewright.physics.drivers.trust import ORDER_OF_TRUST, accepted_names, contradiction

__all__ = [
    "ON_FRAME",
    "OPEN_BACKS",
    "Cavity",
    "Cover",
    "DriverSheet",
    "Facing",
    "Fill",
    "Frame",
    "Kind",
    "Location",
    "Mount",
    "Own",
    "Screws",
    "Trim",
    "Tweeter",
    "on_frame",
]

Kind = Literal[
    "door", "panel", "dash", "pillar", "shelf", "boot-shelf", "roof", "box", "open", "free"
]
Cover = Literal["none", "film", "patch"]
Age = Literal["new", "ageing", "old", "repaired"]


LEAST_HOST = 60e-3
"""The smallest driver that carries a tweeter on its frame [m]; common practice, no source."""

ON_FRAME = ".tweeter"
"""What follows the id of a place in that of the tweeter on its driver's frame."""


def on_frame(place: str) -> str:
    """Return the id of the tweeter on the frame at a place."""
    return f"{place}{ON_FRAME}"


Fill = Literal["none", "light", "full"]
Facing = Literal["front", "rear", "left", "right", "up", "down"]

VENTED = (
    *("vented", "vented-box", "ported", "ported-box", "reflex", "bass-reflex"),
    *("passive-radiator", "bandpass", "band-pass", "transmission-line"),
)
"""What boxes are called that sound through more than the cone."""


def _no_vented(value: object) -> object:
    """Refuse a box whose air moves in and out; raises BadInputError."""
    if isinstance(value, str) and value.strip().lower().replace(" ", "-") in VENTED:
        raise BadInputError(
            "vented boxes are not modelled: near its tuning most of the sound comes out of the "
            "vent and below it the cone is held by nothing, so that a guessed tuning would promise "
            "bass, and a travel that the driver does not survive. Close the vent and write `box` "
            "with the volume of its air, or leave the place out and measure"
        )
    return value


Corners = Annotated[tuple[PanelSpot, ...], Field(min_length=3, max_length=60)]


class Screws(Table):
    """The screws of a mount or a flange: evenly round a circle, or each at its own place."""

    count: Count | None = Field(None, description="How many screws.")
    circle: Length | None = Field(
        None, description="Diameter of the circle through the screw centres [mm]."
    )
    angle: Angle | None = Field(
        None,
        description="Where the first screw of the circle lies: from the front, turning up [deg].",
    )
    places: Annotated[tuple[PanelSpot, ...], Field(min_length=2, max_length=16)] | None = Field(
        None,
        description="Screws that lie on no circle, each forward and up from the middle.",
    )
    diameter: Length | None = Field(None, description="Diameter of the screws [mm].")

    @model_validator(mode="after")
    def _circle_or_places(self) -> Self:
        if self.places is not None and (self.circle is not None or self.angle is not None):
            raise BadInputError("screws lie on a circle or at places, not both")
        if self.places is not None and self.count not in (None, len(self.places)):
            raise BadInputError(f"count says {self.count}, and there are {len(self.places)} places")
        return self


def _hold_axes(table: Table, name: str) -> None:
    """Raise BadInputError for the long axis of an oval without a short one."""
    short, long = getattr(table, name), getattr(table, f"{name}_long")
    if long is not None and (short is None or short.value > long.value):
        raise BadInputError(
            f"an oval has two axes: {name} is the short one, beside {name}_long the long one"
        )


class Mount(Table):
    """The hole the driver sits in, and the room behind and in front of it."""

    cutout: Length | None = Field(
        None, description="Diameter of the opening in the steel; of an oval its short axis [mm]."
    )
    cutout_long: Length | None = Field(
        None, description="Long axis of an oval opening; left out: it is round [mm]."
    )
    corners: Corners | None = Field(
        None,
        description="Corners of an opening that is neither round nor oval, in turn round it, each "
        "forward and up from its middle; cutout is then its narrowest width.",
    )
    turn: Angle | None = Field(
        None,
        description="Which way the long axis of an oval opening or driver lies: from the front, "
        "turning up [deg].",
    )
    opening: Literal["there", "to-cut"] | None = Field(
        None,
        description="Of a place that a plan adds: whether its opening is `there` already, under a "
        "blank, with the grille over it; left out: `to-cut`.",
    )
    screws: Screws = Field(Screws(), description="The screw holes around the opening.")
    land: Gap | None = Field(
        None, description="Flat steel around the opening, from its edge to the next bend [mm]."
    )
    steel: Length | None = Field(None, description="Thickness of the inner sheet [mm].")
    glass_depth: Annotated[tuple[Length, ...], Field(min_length=1, max_length=12)] | None = Field(
        None,
        description="From the mounting face to the glass or the next obstacle, window fully down, "
        "one value for each place measured; three around the opening are usual [mm].",
    )
    trim_gap: Gap | None = Field(
        None, description="From the mounting face to the back of the trim or grille [mm]."
    )
    ring: bool | None = Field(
        None,
        strict=True,
        description="Whether a soft ring seals the driver's front to the trim's grille.",
    )
    spacer: Gap | None = Field(
        None, description="Thickness of the spacer or adapter under the driver, 0 mm for none [mm]."
    )
    baffle_width: Length | None = Field(
        None, description="Width of the board that an `open` loudspeaker sits in [mm]."
    )
    baffle_height: Length | None = Field(
        None, description="Height of the board that an `open` loudspeaker sits in [mm]."
    )
    facing: Facing | None = Field(
        None,
        description="Which way the cone of an `open` or `free` loudspeaker looks, seen from the "
        "middle of the vehicle; left out: towards the seats.",
    )

    @model_validator(mode="after")
    def _both_axes(self) -> Self:
        _hold_axes(self, "cutout")
        return self


class Cavity(Table):
    """The air behind the driver and the ways out of it."""

    volume: Volume | None = Field(None, description="Air behind the driver [L].")
    q: Number | None = Field(
        None, description="Quality factor of that air spring at 80 Hz: low when stuffed or leaky."
    )
    fill: Fill | None = Field(
        None,
        description="Wadding in a `box`: `none`, `light` (walls lined), `full` (the whole of it, "
        "loosely). It makes the air softer, by 1.4 times at the very most.",
    )
    drains: Area | None = Field(
        None, description="Drain slots and vents to the outside, all together [cm2]."
    )
    drain_count: Count | None = Field(None, description="How many drain slots share that area.")
    panel_holes: Area | None = Field(
        None, description="Openings in the inner sheet toward the trim, all together [cm2]."
    )
    panel_hole_count: Count | None = Field(None, description="How many openings share that area.")
    panel_openings: Annotated[tuple[PanelOpening, ...], Field(max_length=20)] | None = Field(
        None,
        description="Openings that a patch is to close, each its extent forward and up (a diameter "
        "for a round one) and where its middle lies from the middle of the driver's opening.",
    )
    keep_clear: Annotated[tuple[KeptSpot, ...], Field(max_length=40)] | None = Field(
        None,
        description="What a patch must leave clear: drain, sensor, bolt, clip, cable or rod, its "
        "width and where it is.",
    )
    cover: Cover | None = Field(
        None,
        description="What closes the panel holes: `none`, `film` (water shield), `patch` (bonded, "
        "heavy).",
    )
    cover_mass: SurfaceDensity | None = Field(
        None, description="Mass of film or patch for each area [kg/m2]."
    )

    @model_validator(mode="after")
    def _mass_has_cover(self) -> Self:
        if self.cover_mass is not None and self.cover is None:
            raise BadInputError("a cover_mass needs a cover beside it: film or patch")
        return self


class Trim(Table):
    """The trim in front of the driver: the air behind it, its grille and its edge."""

    volume: Volume | None = Field(None, description="Air between the inner sheet and the trim [L].")
    grille_area: Area | None = Field(
        None, description="Free area of the grille, all openings together [cm2]."
    )
    grille_extent: Area | None = Field(
        None, description="Whole patch of trim the grille openings are spread over [cm2]."
    )
    edge_gap: Area | None = Field(
        None, description="Gap around the edge of the trim into the cabin, all together [cm2]."
    )

    @model_validator(mode="after")
    def _openings_fit(self) -> Self:
        area, extent = self.grille_area, self.grille_extent
        if area is not None and extent is not None and area.value > extent.value:
            raise BadInputError("the grille_extent holds the grille_area, so it cannot be smaller")
        return self


class Own(Table):
    """What was measured of one driver in its place, over the sheet of its type.

    It is that of the sound driver: what a finding does comes on top. Qts and Vas follow.
    """

    re: PositiveResistance | None = Field(
        None, description="D.c. resistance of this coil at 20 degC, meter leads zeroed [ohm]."
    )
    fs: Frequency | None = Field(None, description="Resonance of this one in free air [Hz].")
    qes: Number | None = Field(None, description="Electrical quality factor of this one.")
    qms: Number | None = Field(None, description="Mechanical quality factor of this one.")
    mms: Mass | None = Field(None, description="Moving mass of this one [g].")
    cms: Compliance | None = Field(None, description="Compliance of this one's suspension [mm/N].")
    rms: MechanicalResistance | None = Field(
        None, description="Mechanical resistance of this one's suspension [kg/s]."
    )
    bl: ForceFactor | None = Field(None, description="Force factor of this one [T m].")
    le: Inductance | None = Field(None, description="Inductance of this coil, at 1 kHz [mH].")

    @property
    def given(self) -> dict[str, Quantity]:
        """What is written, by name."""
        values = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: value for name, value in values.items() if value is not None}

    @model_validator(mode="after")
    def _each_tells_something(self) -> Self:
        names = [name for name in ORDER_OF_TRUST if name in self.given]
        used = accepted_names(names)
        for name in names:
            if name not in used:
                others = ", ".join(each for each in used)
                raise BadInputError(f"{name} follows from {others}: leave one of them out")
        return self


OPEN_BACKS = ("open", "free")
"""Kinds of place whose cone sounds into the cabin with both sides."""

OPENINGS = (
    *("drains", "drain_count", "panel_holes", "panel_hole_count", "panel_openings"),
    *("keep_clear", "cover", "cover_mass"),
)
NO_OPENINGS = {"open": "an open baffle", "free": "a bare driver", "box": "a closed box"}


class Location(Table):
    """A place a driver sits in."""

    id: Identifier = Field(description="Short name of the place, used in the channels' loads.")
    name: Text | None = Field(None, description="What the place is called on paper.")
    kind: Annotated[Kind, BeforeValidator(_no_vented)] = Field(
        description="`door`, `panel`, `shelf`, `roof`: air behind and trim in front. "
        "`boot-shelf`: a shelf over the boot, whose air is behind it. `dash`, `pillar`: a closed "
        "cup. `box`: a closed box of its own. `open`: in a board, open behind. `free`: the bare "
        "driver, open behind. Vented boxes are not modelled."
    )
    at: Place = Field(
        description="Middle of the cone: x forward, y left, z up, from the centre of the cabin "
        "floor (axes of ISO 8855) [m]."
    )
    driver: Identifier = Field(description="The id of the driver fitted here.")
    restraint: Literal["none", "impact", "pressure", "curtain", "unknown"] | None = Field(
        None,
        description="What of the restraint system was found at this very place by looking for it: "
        "`none`, an `impact` or `pressure` sensor, a `curtain` bag behind the trim, or `unknown`. "
        "Left out: what vehicle.restraints says.",
    )
    own: Own = Field(
        Own(),
        description="What was measured of this very driver, over the sheet of its type: left and "
        "right age apart. A plan that fits another driver ends it.",
        examples=[{"re": "3.6 ohm", "fs": "62 Hz"}],
    )
    mount: Mount = Field(Mount(), description="The hole it sits in, and the room around it.")
    cavity: Cavity = Field(Cavity(), description="The air behind it and the ways out.")
    trim: Trim | None = Field(
        None, description="The trim in front; left out: the driver looks straight into the cabin."
    )

    @model_validator(mode="after")
    def _back_is_told(self) -> Self:
        width, height = self.mount.baffle_width, self.mount.baffle_height
        if self.kind == "open" and (width is None or height is None):
            raise BadInputError(
                "an open baffle needs its size, which decides where its bass ends: write "
                "mount.baffle_width and mount.baffle_height"
            )
        if self.kind == "box" and self.cavity.volume is None:
            raise BadInputError(
                "a closed box needs the volume of its air: write cavity.volume, that of the driver "
                "and the braces taken off"
            )
        wrong = next(self._out_of_place(), None)
        if wrong is not None:
            raise BadInputError(wrong)
        return self

    def _out_of_place(self) -> Iterator[str]:
        """Yield what a place of this kind does not have."""
        if self.kind != "open" and (self.mount.baffle_width or self.mount.baffle_height):
            yield f"baffle_width and baffle_height are of a board: kind is open, not {self.kind}"
        if self.kind not in OPEN_BACKS and self.mount.facing is not None:
            yield f"facing is of an open back: kind is open or free, not {self.kind}"
        if self.kind != "box" and self.cavity.fill is not None:
            yield f"fill is of a closed box: kind is box, not {self.kind}"
        if self.kind in (*OPEN_BACKS, "box"):
            named = (name for name in OPENINGS if getattr(self.cavity, name) is not None)
            for name in named:
                yield f"{NO_OPENINGS[self.kind]} has no cavity.{name}: leave it out"
        if self.kind in OPEN_BACKS and self.cavity.volume is not None:
            yield f"{NO_OPENINGS[self.kind]} has no closed air behind it: leave cavity.volume out"


class Frame(Table):
    """The driver as a body: what has to go into the hole."""

    depth: Length | None = Field(
        None, description="From the back of the mounting flange to the rearmost point [mm]."
    )
    cutout: Length | None = Field(
        None,
        description="Diameter of the opening the basket needs; of an oval its short axis [mm].",
    )
    cutout_long: Length | None = Field(
        None, description="Long axis of the opening an oval basket needs [mm]."
    )
    outer: Length | None = Field(
        None, description="Outer diameter of the flange; of an oval its short axis [mm]."
    )
    outer_long: Length | None = Field(None, description="Long axis of an oval flange [mm].")
    corners: Corners | None = Field(
        None,
        description="Corners of a flange that is neither round nor oval, in turn round it, each "
        "along and across from the middle of the basket.",
    )
    front_height: Gap | None = Field(
        None,
        description="From the back of the flange to the foremost point, tweeter bridge included "
        "[mm].",
    )
    screws: Screws = Field(Screws(), description="The screw holes of the flange.")

    @model_validator(mode="after")
    def _both_axes(self) -> Self:
        for name in ("cutout", "outer"):
            _hold_axes(self, name)
        return self


class Tweeter(Table):
    """The tweeter on the frame of a coaxial driver, behind a capacitor of its own.

    It hangs across the terminals of its driver. Find, feed and hear call it by the place of the
    driver: door-fl.tweeter.
    """

    size: NominalSize | None = Field(
        None, description="Nominal size; 25 mm when left out [mm or in]."
    )
    capacitor: Capacitance | None = Field(
        None, description="Capacitor between it and the terminals, as printed [uF]."
    )
    rated_impedance: PositiveResistance | None = Field(
        None, description="Impedance printed on it [ohm]."
    )
    re: PositiveResistance | None = Field(
        None, description="D.c. resistance of its coil, one lead of the capacitor lifted [ohm]."
    )
    fs: Frequency | None = Field(None, description="Its resonance [Hz].")
    sensitivity: Level | None = Field(
        None, description="Its level without the capacitor: 2.83 V, 1 m, half space [dB]."
    )
    power: Power | None = Field(None, description="Long-term power its coil bears [W].")


class DriverSheet(Table):
    """A driver: any sufficient set of the small-signal parameters; the rest is filled."""

    id: Identifier = Field(description="Short name of the driver, used by the locations.")
    name: Text | None = Field(None, description="What the driver is called on paper.")
    size: NominalSize | None = Field(
        None, description="Nominal size: a diameter, or both axes of an oval [mm or in]."
    )
    age: Age | None = Field(
        None,
        description="Picks the typical values: `new` a replacement, `ageing` a factory unit of 10 "
        "to 25 years, `old` one of more, `repaired` one with a new surround or glue.",
    )
    rated_impedance: PositiveResistance | None = Field(
        None, description="Impedance printed on the magnet [ohm]."
    )
    re: PositiveResistance | None = Field(
        None, description="D.c. resistance of the coil at 20 degC, meter leads zeroed [ohm]."
    )
    coils: CoilWiring | None = Field(
        None,
        description="Of a driver with two coils, how they are wired: both in `parallel`, both in "
        "`series`, or `one` used. rated_impedance, bl, le, k, l2 and r2 are then those of one "
        "coil, and the quality factors those with both driven.",
    )
    coil_re: PositiveResistance | None = Field(
        None,
        description="D.c. resistance of one coil of two at 20 degC, as the sheet prints it: 4 ohm "
        "of 4 + 4 [ohm].",
    )
    fs: Frequency | None = Field(
        None, description="Resonance in free air: the impedance peak, driver on the bench [Hz]."
    )
    qes: Number | None = Field(None, description="Electrical quality factor at resonance.")
    qms: Number | None = Field(None, description="Mechanical quality factor at resonance.")
    qts: Number | None = Field(None, description="Total quality factor at resonance.")
    vas: Volume | None = Field(None, description="Volume of air as springy as the suspension [L].")
    sd: Area | None = Field(None, description="Effective area of the cone [cm2].")
    diameter: Length | None = Field(
        None,
        description="Effective diameter, middle of the surround to middle of it; of an oval cone "
        "along its short axis [mm].",
    )
    diameter_long: Length | None = Field(
        None,
        description="The same along the long axis of an oval cone, whose area is pi/4 times both "
        "[mm].",
    )
    mms: Mass | None = Field(
        None, description="Moving mass with the air it carries in free air [g]."
    )
    cms: Compliance | None = Field(None, description="Compliance of the suspension [mm/N].")
    rms: MechanicalResistance | None = Field(
        None, description="Mechanical resistance of the suspension [kg/s]."
    )
    bl: ForceFactor | None = Field(None, description="Force factor of magnet and coil [T m].")
    le: Inductance | None = Field(None, description="Coil inductance, at 1 kHz [mH].")
    l2: Inductance | None = Field(
        None, description="Second inductance of the shunted coil model, across r2 [mH]."
    )
    r2: PositiveResistance | None = Field(
        None, description="Resistance across l2 in the shunted coil model [ohm]."
    )
    k: SemiInductance | None = Field(
        None, description="Factor of the lossy coil law Z = K (jw)^n [ohm s^n]."
    )
    n: Number | None = Field(
        None, description="Exponent of the lossy coil law Z = K (jw)^n, 0.5 to 1."
    )
    xmax: Length | None = Field(
        None, description="Peak excursion one way within which it stays clean [mm]."
    )
    power: Power | None = Field(None, description="Long-term power the coil bears [W].")
    sensitivity: Level | None = Field(
        None, description="Advertised level: 2.83 V, 1 m, half space [dB]."
    )
    tweeter: Tweeter | None = Field(
        None,
        description="Of a coaxial driver, the tweeter on its frame; an empty table where nothing "
        "is known of it.",
    )
    frame: Frame = Field(Frame(), description="The driver as a body.")
    price: Money | None = Field(None, description="Price of the pair, in the currency of the job.")

    @model_validator(mode="after")
    def _shunt_is_whole(self) -> Self:
        shunt = (self.l2, self.r2)
        if any(part is not None for part in shunt) and None in (*shunt, self.le):
            raise BadInputError("l2 and r2 belong together, and to an le")
        return self

    @property
    def figures(self) -> dict[str, Quantity]:
        """The small-signal figures that are written, by name: those of an oval cone as of a round
        one of its area, those of two coils as of both in parallel.
        """
        written = {name: getattr(self, name) for name in ORDER_OF_TRUST}
        if self.coil_re is not None:
            written["re"] = times(self.coil_re, 0.5)
        if self.diameter is not None and self.diameter_long is not None:
            ratio = self.diameter_long.value / self.diameter.value
            written["diameter"] = times(self.diameter, ratio**0.5)
        return {name: each for name, each in written.items() if each is not None}

    @model_validator(mode="after")
    def _both_axes(self) -> Self:
        short, long = self.diameter, self.diameter_long
        if long is not None and (short is None or short.value > long.value):
            raise BadInputError(
                "an oval cone has two axes: diameter is the short one, beside diameter_long"
            )
        if short is not None and long is None and self.size is not None and self.size.oval:
            raise BadInputError(
                f"a cone of {self.size} is oval: give diameter_long beside diameter, or sd"
            )
        return self

    @model_validator(mode="after")
    def _tweeter_has_woofer(self) -> Self:
        if self.tweeter is not None and self.size is not None and self.size.minor < LEAST_HOST:
            raise BadInputError(
                f"a coaxial driver is a woofer with a tweeter on its frame: nothing of {self.size} "
                "carries one; write a tweeter alone as a driver of its own"
            )
        return self

    @model_validator(mode="after")
    def _one_coil_or_two(self) -> Self:
        if self.coils is None and self.coil_re is not None:
            raise BadInputError(
                "coil_re is that of one coil of two: say in coils how they are wired, or write re"
            )
        if self.coils is not None and self.re is not None:
            raise BadInputError(
                "re would be that of both coils as they are wired, and changes with the wiring: "
                "with two coils write coil_re, the resistance of one"
            )
        return self

    @model_validator(mode="after")
    def _is_possible(self) -> Self:
        reason = contradiction({name: each.value for name, each in self.figures.items()})
        if reason is not None:
            raise BadInputError(f"no driver is like this sheet: {reason}")
        return self
