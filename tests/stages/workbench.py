"""Small invented jobs for the tests of the stages, written as a repairer would write them."""

import pytest

from conewright.job import proposals
from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads

# Typical sets of our own making; the 165 mm ones are the usual order of size, from memory.
DRIVERS = {
    "F165": """size = "165 mm"\nre = "3.4 ohm"\nfs = "70 Hz"\nqms = 5\nqes = 1.25\nmms = "9.5 g"
sd = "124 cm2"\nle = "0.35 mH"\nxmax = "2.5 mm"\npower = "30 W" """,
    "F165-2": """size = "165 mm"\nre = "1.7 ohm"\nfs = "70 Hz"\nqms = 5\nqes = 1.25\nmms = "9.5 g"
sd = "124 cm2"\nle = "0.18 mH"\nxmax = "2.5 mm"\npower = "30 W" """,
    "R165": """size = "165 mm"\nre = "3.4 ohm"\nfs = "62 Hz"\nqms = 5\nqes = 0.72\nmms = "15 g"
sd = "130 cm2"\nle = "0.5 mH"\nxmax = "3.8 mm"\npower = "60 W" """,
    "R165-27": """size = "165 mm"\nre = "2.7 ohm"\nfs = "62 Hz"\nqms = 5\nqes = 0.72\nmms = "15 g"
sd = "130 cm2"\nle = "0.4 mH"\nxmax = "3.8 mm"\npower = "60 W" """,
    "T25": """size = "25 mm"\nre = "3.3 ohm"\nfs = "1500 Hz"\nqms = 3\nqes = 2\nmms = "0.35 g"
sd = "6.5 cm2"\nle = "0.03 mH"\nxmax = "0.3 mm"\npower = "10 W" """,
    "P77": """size = "77 mm"\nre = "3.4 ohm"\nfs = "240 Hz"\nqms = 4\nqes = 1.6\nmms = "1.6 g"
sd = "26 cm2"\nle = "0.08 mH"\nxmax = "0.8 mm"\npower = "15 W" """,
}

DOOR = """mount = { ring = true, steel = "0.8 mm" }
cavity = { volume = "45 L", drains = "6 cm2", panel_holes = "0 cm2" }
"""


def location(name: str, driver: str, *, kind: str = "dash", at: str = "", more: str = "") -> str:
    place = at or '["0.9 m", "0.8 m", "0.3 m"]'
    return (
        f'[[location]]\nid = "{name}"\nkind = "{kind}"\nat = {place}\ndriver = "{driver}"\n{more}\n'
    )


def channel(name: str, load: str, *, cable: str = "0 ohm", more: str = "") -> str:
    return (
        f'[[channel]]\nid = "{name}"\nload = "{load}"\n'
        f'cable = {{ resistance = "{cable}" }}\n{more}\n'
    )


def job(
    *tables: str,
    radio: str = 'supply = "14.4 V"\noutput_resistance = "0.1 ohm"\nclip_loss = "0.35 ohm"',
    vehicle: str = "",
    ideal: bool = False,
) -> Job:
    """A job with every driver of the set, one seat, and the given tables.

    An ideal one may have values that no vehicle has: closed forms ask for no cabin at all.
    """
    used = "\n".join(tables)
    drivers = "\n".join(
        f'[[driver]]\nid = "{name}"\n{sheet}\n'
        for name, sheet in DRIVERS.items()
        if f'"{name}"' in used
    )
    text = "\n".join(
        (
            "format = 1",
            f"[vehicle]\n{vehicle}",
            f'[head_unit]\nname = "invented radio"\n{radio}',
            '[[seat]]\nid = "driver"\near = ["0.2 m", "0.4 m", "1.1 m"]',
            used,
            drivers,
        )
    )
    with pytest.MonkeyPatch.context() as patched:
        if ideal:
            patched.setattr(proposals, "range_problems", lambda *_, **__: [])
        return loads(text, "toml")
