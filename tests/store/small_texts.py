"""Texts of small invented jobs, quick to read."""

__all__ = ["OTHER_LAYOUT", "small_job"]

SMALL = """\
# {title}
format = 1

[job]
title = "{title}"

[head_unit]
name = "radio as fitted"

[[channel]]
id = "left"
load = "door"

[[location]]
id = "door"
name = "front left door"
kind = "door"
at = ["0.9 m", "0.8 m", "0.3 m"]
driver = "cone"
mount = {{ cutout = "{cutout}", ring = false }}   # measured twice

[[driver]]
id = "cone"
size = "130 mm"
"""

OTHER_LAYOUT = "\ufeff" + SMALL.replace("\n", "\r\n").replace('"radio as fitted"', "'Ω ±\t°'")


def small_job(title: str = "Ice cream van", *, cutout: str = "122 mm") -> str:
    """Return the text of a job with one channel, one door and one driver."""
    return SMALL.format(title=title, cutout=cutout)
