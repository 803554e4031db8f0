"""Plans worked out by the stages' own physics: points, and the limits that they break."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.mounted.exact import Plans, Solved, solved
from conewright.stages.choose.mounted.plan_rows import MOST_TRAVEL
from conewright.stages.compare.wishes import points_by_wish

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.mounted.prepared import Prepared

__all__ = ["Evaluation", "broken_of"]


def broken_of(
    load: FloatArray, chip: FloatArray, travel: FloatArray, *, hottest: float, margin: float = 0.0
) -> dict[str, NDArray[np.bool_]]:
    """Return which plans break which limit of the electrics.

    Args:
        load: least impedance over what is borne [1].
        chip: temperature with loud music [K].
        travel: peak travel over Xmax [1].
        hottest: that the chip may be [K].
        margin: share by which one must be beyond, where figures are rounded [1].

    """
    return {
        "load": load < (1.0 - 1e-9) * (1.0 - margin),
        "heat": chip > hottest * (1.0 + margin),
        "travel": travel > MOST_TRAVEL * (1.0 + margin),
    }


class Evaluation:
    """Works out plans of one space."""

    def __init__(self, ready: Prepared) -> None:
        self._ready, self._reference = ready, ready.as_found

    def values(
        self, picks: NDArray[np.intp], left: Mapping[str, FloatArray]
    ) -> tuple[FloatArray, dict[str, NDArray[np.bool_]]]:
        """Return the points of plans, and which break what.

        Args:
            picks: of each plan.
            left: of the wishes for all to stay as it was [1].

        """
        value = np.empty(len(picks))
        broken: dict[str, NDArray[np.bool_]] = {}
        frames = np.array([self._frame_of(row) for row in picks])
        for frame in np.unique(frames, axis=0):
            here = np.flatnonzero(np.all(frames == frame, axis=1))
            build, found = self.solved(picks[here])
            some = {name: values[here] for name, values in left.items()}
            value[here] = self._points(found, int(frame[0]), some)
            told = broken_of(
                found.least_load,
                found.chip,
                found.travel,
                hottest=float(build.head_unit.limit.si),
            )
            for gate, which in told.items():
                broken.setdefault(gate, np.zeros(len(picks), dtype=bool))[here] = which
        return value, broken

    def _frame_of(self, picks: NDArray[np.intp]) -> list[int]:
        """Return what plans must share to be worked out together."""
        frame = [int(picks[0])]
        for c, channels in enumerate(self._ready.space.channels):
            form, _, corner = picks[1 + 3 * c : 4 + 3 * c]
            kept = channels.corners[corner] is None and not self._is_off(c)
            frame += [int(form), int(kept)]
        return frame

    def _is_off(self, c: int) -> bool:
        """Whether no high-pass is set as found in a group of channels."""
        names = self._ready.space.channels[c].channels
        return all(self._ready.base.channel(n).settings.high_pass is None for n in names)

    def solved(self, picks: NDArray[np.intp]) -> tuple[Build, Solved]:
        """Return the build of plans of one frame, and what they come to."""
        ready, space = self._ready, self._ready.space
        forms = [int(picks[0, 1 + 3 * c]) for c in range(len(space.channels))]
        build = ready.frame(int(picks[0, 0]), forms)
        start = 1 + 3 * len(space.channels)
        mounted = {
            name: ready.mounted[name].at(picks[:, start + g])
            for g, group in enumerate(space.places)
            for name in group.places
        }
        capacitors, corners = {}, {}
        for c, channels in enumerate(space.channels):
            chosen = channels.forms[forms[c]].chosen
            told = np.array([np.nan if v is None else v for v in channels.corners])
            corner = told[picks[:, 1 + 3 * c + 2]][:, np.newaxis]
            for name in channels.channels:
                if chosen is not None:
                    size = chosen.size[picks[:, 1 + 3 * c + 1]][:, np.newaxis]
                    capacitors[name, chosen.keys[name]] = size
                if not np.isnan(corner).all():
                    corners[name] = np.nan_to_num(corner, nan=0.0)
        plans = Plans(mounted, capacitors, corners)
        return build, solved(build, plans, ear=ready.ear, centre=ready.centre)

    def _points(self, found: Solved, r: int, left: Mapping[str, FloatArray]) -> FloatArray:
        given = {
            "bass": found.bass - self._reference.bass,
            "clarity": found.clarity - self._reference.clarity,
            "loudness": found.loudness - self._reference.loudness,
            **left,
            "hands_free": np.full(len(found.bass), float(self._ready.hands_free[r])),
        }
        told = points_by_wish(self._ready.space.job, given)
        assert told is not None
        return np.asarray(sum(told.values()), dtype=float)
