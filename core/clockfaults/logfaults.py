"""Decide whether the log is at fault in place of the clock: a row repeated, a card elsewhere."""

from collections.abc import Iterator

import numpy as np

from core.clockfaults import words
from core.clockfaults.case import Case, Mask
from core.clockfaults.ground import EDGE_S, ONE_COMING_S, windows_at
from core.clockfaults.rows import ClockFault, ClockFinding, Neighbour, Seconds
from core.coverage.rows import Confidence
from core.model import Placement
from core.windows import EXPOSED, window_of

MOSTLY = 0.8
"""So much of a card speaks for all of it (ours)."""
ENOUGH_AFTER = 0.5
"""So much of a card lies after a window that is not its own; the rest may be test shots (ours)."""
LEAST_AFTER = 0.2
"""Less of it is enough where the camera's own row is repeated, which cannot be (ours)."""
ENOUGH = 3
"""Fewer photos than this outside the windows say nothing of a repeated row (ours)."""
Row = tuple[str, int, int]
"""A name, and from when to when. [s since 1970 UTC]"""


def finding(case: Case, times: Seconds, main: Mask) -> ClockFinding | None:
    """Give the fault of the log that explains where a card's photos lie, if there is one."""
    if case.ground is None or not main.any():
        return None
    return _repeated_placement(case, times[main]) or (
        _repeated_window(case, times, main) or _elsewhere(case, times[main])
    )


def _span(placement: Placement) -> Row | None:
    if placement.start is None or placement.end is None:
        return None
    start, end = int(placement.start.timestamp()), int(placement.end.timestamp())
    return placement.placement, start, end


def _repeats(own: Row, other: Row) -> bool:
    """Say whether two rows that exclude each other have the same time, or most of it."""
    shared = min(own[2], other[2]) - max(own[1], other[1])
    return shared >= MOSTLY * max(own[2] - own[1], other[2] - other[1])


def _repeated_placement(case: Case, times: Seconds) -> ClockFinding | None:
    """See whether another camera row has this row's time while the photos lie after both."""
    own, ground = _span(case.line.placement), case.ground
    if own is None or ground is None or ground.inside(times).mean() > 1 - ENOUGH_AFTER:
        return None
    if (times > own[2]).sum() < max(ENOUGH, LEAST_AFTER * len(times)):
        return None
    for other in case.line.others:
        row = _span(other.placement)
        alike = row is not None and _repeats(own, row) and _own_inside(other) > 0
        if row is not None and alike and _excludes(case.line.placement, other.placement):
            return _repeated(case, f"placement {own[0]}", f"placement {row[0]}", times)
    return None


def _excludes(one: Placement, other: Placement) -> bool:
    """Say whether two placements cannot stand at once: one camera; a tray may have two."""
    return bool(one.camera and one.camera == other.camera)


def _own_inside(other: Neighbour) -> float:
    """Give the share of a neighbour's photos that lie in its own stretch; 0 without photos."""
    row = _span(other.placement)
    if row is None or not len(other.times):
        return 0.0
    within = (other.times >= row[1] - EDGE_S) & (other.times <= row[2] + EDGE_S)
    return float(within.mean())


def _repeated_window(case: Case, times: Seconds, main: Mask) -> ClockFinding | None:
    """See whether a tray's window is repeated while photos lie outside every window after it."""
    ground = case.ground
    if ground is None:
        return None
    own = times[main]
    inside = ground.inside(own)
    fits = inside.mean() > 1 - ENOUGH_AFTER
    if fits:
        own = own[inside]
    outside = own[windows_at(own, *_all_windows(case)) < 0]
    for first, second, until in _repeated_rows(case):
        later = second[2] + ONE_COMING_S
        after = outside[(outside >= later) & (outside < until)]
        stands = ground.start < until and ground.end > second[1]
        enough = ENOUGH if fits else max(1, int(ENOUGH_AFTER * len(own)))
        if stands and len(after) >= enough:
            return _repeated(case, f"tray deployment {second[0]}", first[0], after)
    return None


def _rows(case: Case) -> dict[str, list[Row]]:
    """Give the windows of each tray in the log's order."""
    rows: dict[str, list[Row]] = {}
    for one in case.line.trays:
        window = window_of(one)
        if window and one.role in EXPOSED:
            row = (
                one.deployment,
                int(window.start.timestamp()),
                int(window.end.timestamp()),
            )
            rows.setdefault(one.tray, []).append(row)
    return rows


def _all_windows(case: Case) -> tuple[Seconds, Seconds]:
    """Give when any of the trays was out, windows that overlap joined."""
    joined: list[list[int]] = []
    for out, up in sorted(row[1:] for rows in _rows(case).values() for row in rows):
        if joined and out <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], up)
        else:
            joined.append([out, up])
    return (
        np.array([out for out, _ in joined], dtype=np.int64),
        np.array([up for _, up in joined], dtype=np.int64),
    )


def _repeated_rows(case: Case) -> Iterator[tuple[Row, Row, int]]:
    """Give the rows that repeat an earlier one of their tray, and when the tray goes out next."""
    for rows in _rows(case).values():
        for at, second in enumerate(rows):
            first = next((one for one in rows[:at] if _repeats(second, one)), None)
            if first is not None:
                later = [row[1] for row in rows if row[1] >= second[2]]
                yield first, second, min(later, default=second[2] + 400 * 86_400)


def _repeated(case: Case, row: str, other: str, times: Seconds) -> ClockFinding:
    zone = case.line.zone
    seen = f"{words.moment(int(times.min()), zone)} to {words.moment(int(times.max()), zone)}"
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.REPEATED_ROW,
        f"The row of {row} has the time of {other}, though both cannot have been out at once. "
        f"{words.photos(len(times))} lie after it, from {seen}, in no other window.",
        len(times),
        Confidence.CLEAR,
        f"Look at the field sheet for {row} and mend its times; the photos run from {seen}.",
    )


def _elsewhere(case: Case, times: Seconds) -> ClockFinding | None:
    """See whether a card with nothing inside its placement fits another one as it is."""
    ground = case.ground
    if ground is None or ground.inside(times).any():
        return None
    for other in case.line.others:
        row = _span(other.placement)
        if row is None or _own_inside(other) > 0:
            continue
        within = (times >= row[1] - EDGE_S) & (times <= row[2] + EDGE_S)
        if within.mean() >= MOSTLY:
            return ClockFinding(
                case.line.placement.placement,
                ClockFault.ELSEWHERE,
                f"None of {words.photos(len(times))} lies in this placement, and "
                f"{int(within.sum())} lie in placement {row[0]}, which has none of its own.",
                len(times),
                Confidence.POSSIBLE,
                "Look at the first photos: which tray is it? Move the card, or mend the camera "
                "log.",
            )
    return None
