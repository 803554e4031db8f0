"""Invented jobs with doors to cut for, and what is read back from drawings."""

from collections.abc import Iterable
from typing import Any

from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import from_dict
from conewright.papers.drawing.geometry import Circle, Drawing, Entity, Label
from conewright.papers.templates.drawings import Templates, drawings

MOUNT = {
    "cutout": "122 mm",
    "screws": {"count": 4, "circle": "138 mm", "angle": "45 deg", "diameter": "4 mm"},
    "land": "20 mm",
    "glass_depth": ["70 mm"],
    "trim_gap": "40 mm",
}
FRAME = {
    "depth": "50 mm",
    "cutout": "116 mm",
    "outer": "132 mm",
    "front_height": "8 mm",
    "screws": {"count": 3, "circle": "146 mm", "diameter": "4 mm"},
}


def door_job(
    *,
    mount: dict[str, Any] | None = None,
    frame: dict[str, Any] | None = None,
    cavity: dict[str, Any] | None = None,
    changes: dict[str, Any] | None = None,
    size: str = "130 mm",
    kind: str = "door",
    **more: Any,
) -> Job:
    """A left and a right door that get another driver in the proposal `new`."""
    place = {
        "id": "door-fl",
        "name": "front left door",
        "kind": kind,
        "at": ["0.9 m", "0.8 m", "0.3 m"],
        "driver": "old",
        "mount": {**MOUNT, **(mount or {})},
        "cavity": cavity or {},
        "trim": {"volume": "6 L"},
    }
    other = {
        "id": "door-fr",
        "name": "front right door",
        "like": "door-fl",
        "at": ["0.9 m", "-0.8 m", "0.3 m"],
    }
    new = {"id": "new", "name": "new driver", "size": size, "frame": {**FRAME, **(frame or {})}}
    return from_dict(
        {
            "format": 1,
            "vehicle": {"restraints": {"curtain": "none", "door_sensor": "none"}},
            "head_unit": {"name": "radio"},
            "channel": [{"id": "left", "load": "door-fl"}, {"id": "right", "load": "door-fr"}],
            "location": [place, other],
            "driver": [{"id": "old", "size": "130 mm"}, new],
            "proposal": [
                {"id": "new", "set": {"door-f?.driver": "new", **(changes or {})}},
            ],
            **more,
        }
    )


def door_build(**fields: Any) -> Build:
    return door_job(**fields).build("new")


def made(**fields: Any) -> Templates:
    return drawings(door_build(**fields))


def named(templates: Templates, name: str) -> Drawing:
    found = {drawing.name: drawing for drawing in templates.drawings}
    assert name in found, (sorted(found), [str(each) for each in templates.refusals])
    return found[name]


def circles(entities: Iterable[Entity], layer: str) -> list[Circle]:
    """Circles of a layer, the largest first."""
    found = [each for each in entities if isinstance(each, Circle) and each.layer == layer]
    return sorted(found, key=lambda circle: -circle.radius)


def without_words(entities: Iterable[Entity]) -> list[Entity]:
    return [each for each in entities if not isinstance(each, Label)]
