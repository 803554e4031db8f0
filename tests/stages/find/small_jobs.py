"""Small invented jobs: usual drivers on the bench, one channel."""

from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads

SHEETS = {
    "F165": {
        "size": "165 mm",
        "re": "3.4 ohm",
        "fs": "70 Hz",
        "qms": 5,
        "qes": 1.25,
        "mms": "9.5 g",
        "sd": "124 cm2",
        "le": "0.35 mH",
        "xmax": "2.5 mm",
    },
    "F130": {
        "size": "130 mm",
        "re": "3.4 ohm",
        "fs": "92 Hz",
        "qms": 5,
        "qes": 1.35,
        "mms": "6 g",
        "sd": "83 cm2",
        "le": "0.3 mH",
        "xmax": "2 mm",
    },
    "R165": {
        "size": "165 mm",
        "re": "3.4 ohm",
        "fs": "62 Hz",
        "qms": 5,
        "qes": 0.72,
        "mms": "15 g",
        "sd": "130 cm2",
        "le": "0.5 mH",
        "xmax": "3.8 mm",
    },
    "T25": {
        "size": "25 mm",
        "re": "3.3 ohm",
        "fs": "1500 Hz",
        "qms": 3,
        "qes": 2,
        "mms": "0.35 g",
        "sd": "6.5 cm2",
        "le": "0.03 mH",
        "xmax": "0.3 mm",
    },
    "P77": {
        "size": "77 mm",
        "re": "3.4 ohm",
        "fs": "240 Hz",
        "qms": 4,
        "qes": 1.6,
        "mms": "1.6 g",
        "sd": "26 cm2",
        "le": "0.08 mH",
        "xmax": "0.8 mm",
    },
}
"""Figures of usual drivers, from memory."""


def one_channel(
    load: str, *, radio: str = "", vehicle: str = "", cable: str = "0.3 ohm", more: str = ""
) -> Job:
    """A job whose channel `front` drives a load; its places are named like their drivers."""
    used = [name for name in SHEETS if name in load]
    places = [
        f'[[location]]\nid = "{name}"\nkind = "free"\nat = ["0 m", "0 m", "0 m"]\n'
        f'driver = "sheet-{name}"\n'
        for name in used
    ]
    sheets = [
        f'[[driver]]\nid = "sheet-{name}"\n'
        + "\n".join(
            f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}"
            for key, value in SHEETS[name].items()
        )
        for name in used
    ]
    head = [
        "format = 1",
        f"[vehicle]\n{vehicle}",
        f'[head_unit]\nname = "invented radio"\n{radio}',
        f'[[channel]]\nid = "front"\nload = "{load}"\ncable = {{ resistance = "{cable}" }}\n{more}',
    ]
    return loads("\n".join([*head, *places, *sheets]), "toml")
