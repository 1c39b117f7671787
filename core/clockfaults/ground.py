"""Decide what the logs say of a placement's time: its stretch, its windows, when people came."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.clockfaults.rows import Seconds
from core.coverage.watching import EDGE
from core.model import Placement, TrayDeployment
from core.windows import EXPOSED, window_of

EDGE_S = int(EDGE.total_seconds())
NEAR_S = 2 * 3600
"""Photos so near the stretch are often taken on the way there and back (ours). [s]"""
COMING_S = 360
"""People are in front of the camera within so much of the time they write down (ours). [s]"""
ONE_COMING_S = 3600
"""Edges closer to each other belong to one coming of people, seen or missed together (ours)."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What a placement's photos are held against; all times true. [s since 1970 UTC]"""

    start: int
    end: int
    """The placement's stretch; the hull of its windows where the camera log is blank."""
    edges: Seconds
    """When people came: start, end, set-outs and pick-ups inside the stretch, in order."""
    comings: Seconds
    """For each edge the coming it belongs to, from 0: edges within an hour are one coming."""
    opens: NDArray[np.bool_]
    """For each edge, whether the camera or a tray was set out then, not only picked up."""
    opened: Seconds
    closed: Seconds
    """Windows [set_out, picked_up) that touch the stretch, by set-out."""

    @property
    def times_people_came(self) -> int:
        """Count the comings of people."""
        return int(self.comings[-1]) + 1 if len(self.comings) else 0

    def inside(self, times: Seconds) -> NDArray[np.bool_]:
        """Say of each time whether it lies in the stretch, or so near that it still proves."""
        return (times >= self.start - EDGE_S) & (times <= self.end + EDGE_S)

    def far(self, times: Seconds) -> NDArray[np.bool_]:
        """Say of each time whether it lies further off than the way there and back takes."""
        return (times < self.start - EDGE_S - NEAR_S) | (times > self.end + EDGE_S + NEAR_S)


def windows_at(times: Seconds, opened: Seconds, closed: Seconds) -> Seconds:
    """Give for each time the window it lies in, by place; -1 where it lies in none."""
    if not len(opened):
        return np.full(len(times), -1, dtype=np.int64)
    at = np.searchsorted(opened, times, side="right") - 1
    within = (at >= 0) & (times < closed[np.maximum(at, 0)])
    return np.where(within, at, -1).astype(np.int64)


def ground_of(placement: Placement, trays: Sequence[TrayDeployment]) -> Ground | None:
    """Give what the logs say; None where neither the camera log nor a window has a time."""
    spans = sorted(
        {
            (int(window.start.timestamp()), int(window.end.timestamp()))
            for one in trays
            if one.role in EXPOSED and (window := window_of(one))
        }
    )
    start = int(placement.start.timestamp()) if placement.start else None
    end = int(placement.end.timestamp()) if placement.end else None
    touching = [
        (out, up)
        for out, up in spans
        if (start is None or up >= start) and (end is None or out <= end)
    ]
    if start is None:
        start = touching[0][0] if touching else None
    if end is None:
        end = max((up for _, up in touching), default=None)
    if start is None or end is None or end <= start:
        return None
    edges = _merged([start, end, *(edge for span in touching for edge in span)], start, end)
    setting = {start, *(out for out, _ in touching)}
    return Ground(
        start,
        end,
        edges,
        comings_of(edges),
        np.array([any(abs(edge - out) <= 2 * COMING_S for out in setting) for edge in edges]),
        np.array([out for out, _ in touching], dtype=np.int64),
        np.array([up for _, up in touching], dtype=np.int64),
    )


def _merged(moments: Sequence[int], start: int, end: int) -> Seconds:
    """Take edges of the stretch that one photo would lie at for one."""
    groups: list[list[int]] = []
    for moment in sorted({one for one in moments if start <= one <= end}):
        if groups and moment - groups[-1][0] <= 2 * COMING_S:
            groups[-1].append(moment)
        else:
            groups.append([moment])
    return np.array([sum(group) // len(group) for group in groups], dtype=np.int64)


def comings_of(edges: Seconds) -> Seconds:
    """Give for each edge, in order, the coming of people it belongs to."""
    if not len(edges):
        return edges
    apart = np.diff(edges) > ONE_COMING_S
    return np.concatenate(([0], np.cumsum(apart))).astype(np.int64)
