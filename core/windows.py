"""Decide which visits touch which tray window: windows, overlaps, merged cameras, the join.

What of a visit lies inside its window, and what it means for the tray, is decided in outcomes.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from core.model import AnsweredVisit, Placement, Span, TrayDeployment, TrayRole
from core.units import Times, to_seconds
from core.visits import pack

EXPOSED = {TrayRole.STUDY, TrayRole.PREBAIT}
"""Roles of trays that animals can reach; controls are not."""


@dataclass(frozen=True, slots=True)
class Record:
    """One placement with what its photos gave."""

    placement: Placement
    visits: tuple[AnsweredVisit, ...] = ()
    watched: tuple[Span, ...] = ()
    doubted: tuple[Span, ...] = ()
    """Stretches in which it may have seen nothing, and nobody has looked yet."""
    clock_doubted: bool = False
    """Whether something clear speaks against its clock, and nobody has decided yet."""


@dataclass(frozen=True, slots=True)
class Run:
    """Visits of one tray that belong together, cameras merged, before they are cut."""

    parts: tuple[tuple[AnsweredVisit, Placement], ...]

    @property
    def start(self) -> datetime:
        """Give the true time of its first photo."""
        return min(part.visit.start for part, _ in self.parts)

    @property
    def end(self) -> datetime:
        """Give the true time of its last photo."""
        return max(part.visit.end for part, _ in self.parts)


def window_of(deployment: TrayDeployment) -> Span | None:
    """Give a tray deployment's window [set_out, picked_up); None where a time is missing."""
    if deployment.set_out is None or deployment.picked_up is None:
        return None
    return Span(deployment.set_out, deployment.picked_up)


def overlapping(deployments: Sequence[TrayDeployment]) -> set[str]:
    """Give the ids of deployments whose window overlaps another of the same tray.

    Touching windows (the end of one is the start of the next) do not overlap.
    """
    by_tray: dict[str, list[tuple[datetime, datetime, str]]] = defaultdict(list)
    for one in deployments:
        window = window_of(one)
        if window and one.tray and one.role in EXPOSED:
            by_tray[one.tray].append((window.start, window.end, one.deployment))
    found: set[str] = set()
    for windows in by_tray.values():
        windows.sort()
        latest = windows[0]
        for following in windows[1:]:
            if following[0] < latest[1]:
                found |= {latest[2], following[2]}
            latest = max(latest, following, key=lambda one: one[1])
    return found


def windows_of_visits(
    visit_tray: NDArray[np.integer],
    visit_start: Times,
    visit_end: Times,
    window_tray: NDArray[np.integer],
    set_out: Times,
    picked_up: Times,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Find which windows each visit touches, for many at once.

    Parameters
    ----------
    visit_tray, visit_start, visit_end
        Shape (v,): tray number from 0, first and last true time (closed).
    window_tray, set_out, picked_up
        Shape (w,): tray number and half-open window; windows of one tray must not overlap.

    Returns
    -------
    Two arrays of shape (pairs,): positions of visits and of the windows they touch, visits
    rising. A visit that touches none is in no pair.
    """
    nothing = np.empty(0, dtype=np.int64)
    if len(visit_tray) == 0 or len(window_tray) == 0:
        return nothing, nothing
    zero = min(visit_start.min(), set_out.min()).astype("datetime64[s]")
    start, end, out, up = (
        (times.astype("datetime64[s]") - zero).astype(np.int64)
        for times in (visit_start, visit_end, set_out, picked_up)
    )
    order = np.argsort(pack(window_tray, out), kind="stable")
    opened = pack(window_tray, out)[order]
    closed = pack(window_tray, up)[order]
    first = np.searchsorted(closed, pack(visit_tray, start), side="right")
    stop = np.searchsorted(opened, pack(visit_tray, end), side="right")
    many = np.maximum(stop - first, 0)
    visits = np.repeat(np.arange(len(visit_tray), dtype=np.int64), many)
    within = np.arange(len(visits)) - np.repeat(np.cumsum(many) - many, many)
    windows: NDArray[np.int64] = order[np.repeat(first, many) + within]
    return visits, windows


def runs_in_windows(
    study: Sequence[TrayDeployment],
    by_tray: Mapping[str, Sequence[Record]],
    overlaps: Collection[str],
    gap: timedelta,
) -> list[list[Run]]:
    """Join the visits to the windows: for each deployment the runs that touch its window."""
    found: list[list[Run]] = [[] for _ in study]
    usable = [
        (at, one, window)
        for at, one in enumerate(study)
        if (window := window_of(one)) and one.deployment not in overlaps
    ]
    codes = {tray: code for code, tray in enumerate({one.tray for _, one, _ in usable})}
    runs = [
        (code, run) for tray, code in codes.items() for run in merged(by_tray.get(tray, []), gap)
    ]
    visit_at, window_at = windows_of_visits(
        np.array([code for code, _ in runs], dtype=np.int64),
        array_of([run.start for _, run in runs]),
        array_of([run.end for _, run in runs]),
        np.array([codes[one.tray] for _, one, _ in usable], dtype=np.int64),
        array_of([window.start for _, _, window in usable]),
        array_of([window.end for _, _, window in usable]),
    )
    for run_at, at in zip(visit_at.tolist(), window_at.tolist(), strict=True):
        found[usable[at][0]].append(runs[run_at][1])
    return found


def array_of(moments: Sequence[datetime]) -> Times:
    """Turn aware times into the array form."""
    seconds = np.array([to_seconds(moment) for moment in moments], dtype=np.int64)
    return seconds.astype("datetime64[s]")


def merged(records: Sequence[Record], gap: timedelta) -> list[Run]:
    """Merge the visits of the cameras on one tray: a photo within the gap of another's goes on."""
    parts = [(visit, record.placement) for record in records for visit in record.visits]
    if len(records) < 2:  # noqa: PLR2004
        return [Run((part,)) for part in parts]
    parts.sort(key=lambda part: (part[0].visit.start, part[0].visit.end))
    runs: list[Run] = []
    end = None
    for part in parts:
        if end is not None and part[0].visit.start - end <= gap:
            runs[-1] = Run((*runs[-1].parts, part))
            end = max(end, part[0].visit.end)
        else:
            runs.append(Run((part,)))
            end = part[0].visit.end
    return runs
