"""The demonstration job without what lies at the bench: no feed, colours, sheets or openings."""

import re

import conewright as cw
from conewright.job.builds.job import Job

AMPLIFIER_FEED = """
[[feed]]
id = "amplifier-feed"
to = "amplifier"
fuse = "40 A"
fuse_distance = "200 mm"
length = "5.5 m"
size = "8.4 mm2"
metal = "copper"
route = "free"
current = "40 A"
"""


def plain_text() -> str:
    """Return its text up to the feed, and from the first channel on, no opening to patch in it."""
    text, gone = re.subn(r", panel_openings = .*?, keep_clear = .*? }", " }", cw.demo_text())
    assert gone == 1
    start, end = text.index("[[feed]]"), text.index("[[channel]]")
    assert start < end
    return text[:start] + text[end:]


def plain_job() -> Job:
    return cw.loads(plain_text())
