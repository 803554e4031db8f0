"""An invented car with a loudspeaker in each of four doors, tweeters in front, and readings."""

from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads

PLACES = {
    "fl": ("0.9 m", "0.8 m"),
    "fr": ("0.9 m", "-0.8 m"),
    "rl": ("-0.9 m", "0.8 m"),
    "rr": ("-0.9 m", "-0.8 m"),
}

Reading = tuple[str, str, str]


def car(
    *readings: Reading,
    complaints: tuple[str, ...] = (),
    loads_: dict[str, str] | None = None,
    tweeters: bool = False,
    sheet: str = "",
    door: str = "",
    more: str = "",
) -> Job:
    """The car with readings as (test, at, value in TOML), and any other loads by channel."""
    named = {name: f"door-{name}" for name in PLACES} | (loads_ or {})
    if tweeters:
        named |= {side: f"door-{side} | (4.7 uF + post-{side})" for side in ("fl", "fr")}
    told = ", ".join(f'"{text}"' for text in complaints)
    lines = [
        f"format = 1\n[job]\ncomplaints = [{told}]\n[head_unit]\nname = 'radio'",
        'minimum_load = "4 ohm"\n[vehicle.restraints]\ndoor_sensor = "none"\ncurtain = "none"',
    ]
    for name, (x, y) in PLACES.items():
        lines.append(
            f'[[channel]]\nid = "{name}"\nload = "{named[name]}"\n'
            'cable = { length = "4 m", size = "0.75 mm2" }'
        )
        lines += [_place(f"door-{name}", "door", x, y, "0.3 m", "cone"), door]
        if tweeters and name in ("fl", "fr"):
            lines.append(_place(f"post-{name}", "pillar", "1.1 m", y, "1.0 m", "dome"))
    lines.append('[[driver]]\nid = "cone"\nsize = "165 mm"\nage = "ageing"\nre = "3.4 ohm"')
    lines.append(sheet)
    if tweeters:
        lines.append('[[driver]]\nid = "dome"\nsize = "25 mm"\nage = "ageing"')
    lines += [
        f'[[reading]]\ntest = "{test}"\nat = "{at}"\nvalue = {value}'
        for test, at, value in readings
    ]
    return loads("\n".join([*lines, more]))


def _place(name: str, kind: str, x: str, y: str, z: str, driver: str) -> str:
    return (
        f'[[location]]\nid = "{name}"\nkind = "{kind}"\nat = ["{x}", "{y}", "{z}"]\n'
        f'driver = "{driver}"'
    )
