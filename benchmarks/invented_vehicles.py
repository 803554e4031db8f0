"""Invented vehicles for the bench of simulated repairs: usual layouts, nobody's vehicle."""

from dataclasses import dataclass
from functools import cache, cached_property

from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import loads
from conewright.stages.find.faults.chains import chains_of
from conewright.stages.find.odds.evidence import Case
from conewright.stages.find.talk.planning import Foresight

__all__ = ["AGES", "OPENED", "Template", "templates"]

AGES = (7, 12, 17, 22, 27)
"""Ages that a simulated vehicle has [years], each as likely."""

OPENED = 2026
"""Year in which all of them come into the shop."""

PLACES = {
    "door-fl": ("door", "0.75", "0.66", "as-built-165"),
    "door-fr": ("door", "0.75", "-0.66", "as-built-165"),
    "door-rl": ("door", "-0.45", "0.66", "as-built-130"),
    "door-rr": ("door", "-0.45", "-0.66", "as-built-130"),
    "pillar-fl": ("pillar", "1.10", "0.60", "dome-25"),
    "pillar-fr": ("pillar", "1.10", "-0.60", "dome-25"),
    "panel-rl": ("panel", "-1.20", "0.80", "as-built-130"),
    "panel-rr": ("panel", "-1.20", "-0.80", "as-built-130"),
    "roof-rl": ("panel", "-2.20", "0.80", "as-built-130"),
    "roof-rr": ("panel", "-2.20", "-0.80", "as-built-130"),
}
"""Kind of the place, how far forward and left [m], and its driver."""

DRIVERS = """
[[driver]]
id = "as-built-165"
size = "165 mm"
age = "ageing"
rated_impedance = "4 ohm"
[[driver]]
id = "as-built-130"
size = "130 mm"
age = "ageing"
rated_impedance = "4 ohm"
[[driver]]
id = "dome-25"
size = "25 mm"
age = "ageing"
rated_impedance = "4 ohm"
"""

FOUR_DOORS = {
    "front-left": "door-fl",
    "front-right": "door-fr",
    "rear-left": "door-rl",
    "rear-right": "door-rr",
}
WITH_TWEETERS = FOUR_DOORS | {
    "front-left": "door-fl | (4.7 uF + pillar-fl)",
    "front-right": "door-fr | (4.7 uF + pillar-fr)",
}
VAN = {
    "front-left": "door-fl",
    "front-right": "door-fr",
    "rear-left": "panel-rl | roof-rl",
    "rear-right": "panel-rr | roof-rr",
}


@dataclass(frozen=True)
class Template:
    """A layout: its channels with their loads, and the least load of its radio."""

    name: str
    loads: tuple[tuple[str, str], ...]
    minimum_load: str

    def build(self, age: int) -> Build:
        """The vehicle at an age [years]."""
        return _build(self, age)

    @cached_property
    def case(self) -> Case:
        """What its faults are and what every test says of them; age makes no difference."""
        build = self.build(AGES[0])
        return Case(build, chains_of(build))

    @cached_property
    def foresight(self) -> Foresight:
        """What every reading may say, laid out once."""
        return Foresight(self.case)


@cache
def templates() -> tuple[Template, ...]:
    """Four single doors, fronts with tweeters behind capacitors, a van with paired rears."""
    return (
        Template("four single doors", tuple(FOUR_DOORS.items()), "4 ohm"),
        Template("fronts with tweeters", tuple(WITH_TWEETERS.items()), "4 ohm"),
        Template("van with paired rears", tuple(VAN.items()), "2 ohm"),
    )


@cache
def _build(template: Template, age: int) -> Build:
    used = [name for name in PLACES if any(name in load for _, load in template.loads)]
    channels = (
        f'[[channel]]\nid = "{name}"\nload = "{load}"\ncable = {{ resistance = "0.3 ohm" }}'
        for name, load in template.loads
    )
    head = (
        f"format = 1\n[job]\nopened = {OPENED}-05-04\n[vehicle]\nbuilt = {OPENED - age}\n"
        f'[head_unit]\nname = "radio as fitted"\nminimum_load = "{template.minimum_load}"'
    )
    text = "\n".join([head, *channels, *(_place(name) for name in used), DRIVERS])
    return loads(text, "toml").build()


def _place(name: str) -> str:
    kind, forward, left, driver = PLACES[name]
    at = f'at = ["{forward} m", "{left} m", "0.3 m"]'
    return f'[[location]]\nid = "{name}"\nkind = "{kind}"\n{at}\ndriver = "{driver}"'
