"""Decide which photos make one visit, and which were taken for another cause than an animal.

What people said of a visit is decided in tags, whether it counts for a tray in outcomes.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from core.model import Photo, PhotoKind, Visit, true_time
from core.units import Times

TIMELAPSE_SLACK_S = 2
"""How far from its due time a time-lapse photo may lie. [s]"""
DAY_S = 86_400


def rank(photo: Photo) -> tuple[datetime, float, str]:
    """Give the order of photos: true time, then sub-second, then file name."""
    return true_time(photo), photo.subsecond, photo.file


def in_order(photos: Sequence[Photo]) -> list[Photo]:
    """Put the photos that have a true time in their order; the others are left out."""
    timed = [photo for photo in photos if photo.true_time is not None]
    return [timed[at] for at in order_of(timed, seconds_of(timed)).tolist()]


def order_of(photos: Sequence[Photo], seconds: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give the places of photos in their order, the true times standing beside them [s]."""
    parts = np.fromiter((p.subsecond for p in photos), dtype=np.float64, count=len(photos))
    order = np.lexsort((parts, seconds))
    # Names are compared only where the moments are the same: numbers are sorted much quicker.
    same = (np.diff(seconds[order]) == 0) & (np.diff(parts[order]) == 0)
    for first, end in _stretches(same):
        order[first:end] = sorted(order[first:end].tolist(), key=lambda at: photos[at].file)
    return order


def _stretches(same: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Give where neighbours are the same, [first, end), given whether each is as the one before."""
    steps = np.diff(np.concatenate(([False], same, [False])).astype(np.int8))
    starts, stops = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    return list(zip(starts.tolist(), (stops + 1).tolist(), strict=True))


def number_visits(
    placements: NDArray[np.integer], times: Times, gap: timedelta
) -> NDArray[np.int64]:
    """Give many photos their visit numbers at once.

    Parameters
    ----------
    placements
        Shape (n,), a whole number from 0 for the placement of each photo.
    times
        Shape (n,), true times to the second, in any order, none missing.
    gap
        More than this from the previous photo starts a new visit; exactly this does not.

    Returns
    -------
    Shape (n,), the visit of each photo, from 0, rising with placement and time.
    """
    if len(times) == 0:
        return np.empty(0, dtype=np.int64)
    seconds = times.astype("datetime64[s]").astype(np.int64)
    key = pack(placements, seconds - seconds.min())
    order = np.argsort(key)
    # Neighbours of two placements lie further apart than any gap, since the placement is packed
    # above the seconds.
    starts = parted(np.diff(key[order]), gap)
    numbers = np.empty(len(times), dtype=np.int64)
    numbers[order] = np.concatenate(([0], np.cumsum(starts)))
    return numbers


def parted(pauses: NDArray[np.int64], gap: timedelta) -> NDArray[np.bool_]:
    """Say of each pause between two photos [s] whether it parts two visits."""
    return pauses > int(gap.total_seconds())


def pack(group: NDArray[np.integer], seconds: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pack a group and seconds from 0 to 2**36 (2,000 years) into one sortable number."""
    return (group.astype(np.int64) << 37) + seconds


def visits_of(ordered: Sequence[Photo], numbers: NDArray[np.int64]) -> list[Visit]:
    """Give the visits of photos in order, their numbers standing beside them, rising from 1."""
    if len(ordered) == 0:
        return []
    edges = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(ordered)]
    return [
        Visit(ordered[0].placement, number, tuple(ordered[first:end]))
        for number, (first, end) in enumerate(pairwise(edges), start=1)
    ]


def seconds_of(photos: Sequence[Photo]) -> NDArray[np.int64]:
    """Give the true times of photos that have one. [s since 1970 UTC]"""
    return np.array([int(true_time(photo).timestamp()) for photo in photos], dtype=np.int64)


def numbers_within(seconds: NDArray[np.int64], gap: timedelta) -> NDArray[np.int64]:
    """Give one placement's photos the numbers of their visits, from 1; true times, rising [s]."""
    return 1 + number_visits(np.zeros_like(seconds), seconds.astype("datetime64[s]"), gap)


KINDS = (PhotoKind.TRIGGER, PhotoKind.TIMELAPSE, PhotoKind.HANDLER)
"""Kinds of many photos at once are held as places in this row."""
TRIGGER, TIMELAPSE, HANDLER = range(3)


def kinds(
    seconds: NDArray[np.int64],
    due: NDArray[np.bool_],
    *,
    gap: timedelta,
    tagged: NDArray[np.bool_],
    handler: NDArray[np.bool_],
) -> NDArray[np.int8]:
    """Say of each photo of a placement why it was taken, as its place in `KINDS`.

    Handler photos are those that people tagged so. A time-lapse photo lies on a multiple of its
    minutes since the camera's midnight (2 s either way), stands alone by more than the gap, and
    is untagged. All others were triggered.

    Parameters
    ----------
    seconds
        Shape (n,), true times, rising. [s since 1970 UTC]
    due
        Shape (n,), whether a time-lapse photo was due then on the camera's clock.
    tagged, handler
        Shape (n,), whether any tag covers each, and whether `handler` is held of it.
    """
    parts = parted(np.diff(seconds), gap)
    edge = np.ones(min(len(seconds), 1), dtype=np.bool_)
    alone = np.concatenate((edge, parts)) & np.concatenate((parts, edge))
    result = np.where(due & alone & ~tagged, TIMELAPSE, TRIGGER).astype(np.int8)
    result[handler] = HANDLER
    return result


def of_kinds(ordered: Sequence[Photo], kinds: NDArray[np.int8]) -> list[Photo]:
    """Give photos the kinds that stand beside them."""
    result = list(ordered)
    now = np.array([KINDS.index(photo.kind) for photo in result], dtype=np.int8)
    for at in np.flatnonzero(kinds != now).tolist():
        result[at] = replace(result[at], kind=KINDS[kinds[at]])
    return result


def due(ordered: Sequence[Photo], every_min: int | None) -> NDArray[np.bool_]:
    """Say of each photo whether a time-lapse photo was due; of none where none were taken."""
    if not every_min:
        return np.zeros(len(ordered), dtype=np.bool_)
    found = (is_due(photo.camera_time, every_min) for photo in ordered)
    return np.fromiter(found, dtype=np.bool_, count=len(ordered))


def is_due(camera_time: datetime | None, every_min: int) -> bool:
    """Say whether a time-lapse photo is due at what the camera showed."""
    if camera_time is None:
        return False
    seconds = camera_time.hour * 3600 + camera_time.minute * 60 + camera_time.second
    past = seconds % (every_min * 60)
    return min(past, every_min * 60 - past, DAY_S - seconds) <= TIMELAPSE_SLACK_S
