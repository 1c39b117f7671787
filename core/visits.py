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
    return sorted((photo for photo in photos if photo.true_time is not None), key=rank)


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
    starts = np.diff(key[order]) > int(gap.total_seconds())
    numbers = np.empty(len(times), dtype=np.int64)
    numbers[order] = np.concatenate(([0], np.cumsum(starts)))
    return numbers


def pack(group: NDArray[np.integer], seconds: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pack a group and seconds from 0 to 2**36 (2,000 years) into one sortable number."""
    return (group.astype(np.int64) << 37) + seconds


def group(photos: Sequence[Photo], gap: timedelta) -> list[Visit]:
    """Group one placement's trigger photos into visits, in order.

    Every trigger photo with a true time is in exactly one visit; time-lapse and handler photos
    are in none.
    """
    ordered = in_order([photo for photo in photos if photo.kind is PhotoKind.TRIGGER])
    if not ordered:
        return []
    times = _times(ordered)
    numbers = number_visits(np.zeros(len(ordered), dtype=np.int64), times, gap)
    edges = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(ordered)]
    return [
        Visit(ordered[0].placement, number, tuple(ordered[first:end]))
        for number, (first, end) in enumerate(pairwise(edges), start=1)
    ]


def _times(photos: Sequence[Photo]) -> Times:
    naive = [true_time(photo).replace(tzinfo=None) for photo in photos]
    return np.array(naive, dtype="datetime64[s]")


def with_kinds(
    ordered: Sequence[Photo],
    *,
    gap: timedelta,
    timelapse_every_min: int | None,
    tagged: Sequence[bool],
    handler: Sequence[bool],
) -> list[Photo]:
    """Say of each photo why it was taken.

    Handler photos are those that people tagged so. A time-lapse photo lies on a multiple of its
    minutes since the camera's midnight (2 s either way), stands alone by more than the gap, and
    is untagged. All others were triggered.

    Parameters
    ----------
    ordered
        One placement's photos with a true time, in order.
    tagged, handler
        For each photo: whether any tag covers it, and whether `handler` is held of it.
    """
    result = []
    for index, photo in enumerate(ordered):
        kind = PhotoKind.TRIGGER
        if handler[index]:
            kind = PhotoKind.HANDLER
        elif (
            timelapse_every_min
            and not tagged[index]
            and is_due(photo.camera_time, timelapse_every_min)
            and _stands_alone(ordered, index, gap)
        ):
            kind = PhotoKind.TIMELAPSE
        result.append(photo if kind is photo.kind else replace(photo, kind=kind))
    return result


def is_due(camera_time: datetime | None, every_min: int) -> bool:
    """Say whether a time-lapse photo is due at what the camera showed."""
    if camera_time is None:
        return False
    seconds = camera_time.hour * 3600 + camera_time.minute * 60 + camera_time.second
    past = seconds % (every_min * 60)
    return min(past, every_min * 60 - past, DAY_S - seconds) <= TIMELAPSE_SLACK_S


def _stands_alone(ordered: Sequence[Photo], index: int, gap: timedelta) -> bool:
    here = true_time(ordered[index])
    before = index == 0 or here - true_time(ordered[index - 1]) > gap
    after = index == len(ordered) - 1 or true_time(ordered[index + 1]) - here > gap
    return before and after
