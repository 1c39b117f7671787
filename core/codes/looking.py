"""Decide which photos of a card are looked at for codes: where people were, and never all of them.

People hold a code before the camera when they set a tray out or pick it up: at the ends of a card,
around the edges of a window, and while handlers are in view. What was read is judged in proposals.
"""

import heapq
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import zip_longest

from core.model import Photo

AROUND = timedelta(minutes=15)
"""How far from an edge of a window photos are looked at; exactly this far still is (ours)."""
AT_AN_END, AT_AN_EDGE, AT_A_VISIT = 15, 12, 8
"""Photos looked at, at the most, at one end of a card, one edge of a window, one visit (ours)."""
MOST = 240
"""Photos of one placement that are looked at, at the most; each place gets its share (ours)."""

Window = tuple[datetime | None, datetime | None]
"""Set-out and pick-up, aware; None where the log has none."""


def photos_to_look_at(
    photos: Sequence[Photo],
    windows: Iterable[Window],
    handler_runs: Iterable[tuple[int, int]],
    *,
    around: timedelta = AROUND,
    most: int = MOST,
) -> list[int]:
    """Give the ids of the photos to look at, in the order of `photos`.

    Ends count by time and by file name, since a clock that was reset puts a card's last photos
    first. If there are more than `most`, every place gives up its least likely ones.

    Parameters
    ----------
    photos
        One placement's photos in the order of time; those without a true time anywhere. A true
        time may be wrong: then the ends and the handlers still lead to the codes.
    windows
        Of the placement's trays.
    handler_runs
        Ids of the first and last photo of each visit of people.
    """
    places = [*_ends(photos), *_edges(photos, windows, around), *_visits(photos, handler_runs)]
    rounds = (at for one in zip_longest(*places) for at in one if at is not None)
    chosen = list(dict.fromkeys(rounds))[:most]
    return [photos[at].id for at in sorted(chosen)]


def _ends(photos: Sequence[Photo]) -> list[list[int]]:
    by_time = [at for at, photo in enumerate(photos) if photo.true_time is not None]
    named = [(photo.file, at) for at, photo in enumerate(photos)]
    first, last = heapq.nsmallest(AT_AN_END, named), heapq.nlargest(AT_AN_END, named)
    by_file = [[at for _, at in ends] for ends in (first, last)]
    return [*by_file, by_time[:AT_AN_END], by_time[::-1][:AT_AN_END]]


def _edges(
    photos: Sequence[Photo], windows: Iterable[Window], around: timedelta
) -> list[list[int]]:
    """Give the photos near each edge, the nearest first."""
    edges = dict.fromkeys(edge for window in windows for edge in window if edge is not None)
    timed = [(photo.true_time, at) for at, photo in enumerate(photos) if photo.true_time]
    moments = [moment for moment, _ in timed]
    places = []
    for edge in edges:
        near = timed[bisect_left(moments, edge - around) : bisect_right(moments, edge + around)]
        away = sorted((abs(moment - edge), at) for moment, at in near)
        places.append([at for _, at in away[:AT_AN_EDGE]])
    return places


def _visits(photos: Sequence[Photo], runs: Iterable[tuple[int, int]]) -> list[list[int]]:
    """Give photos spread evenly over each visit of people, its ends first."""
    place = {photo.id: at for at, photo in enumerate(photos)}
    places = []
    for first, last in runs:
        if first in place and last in place:
            run = range(min(place[first], place[last]), max(place[first], place[last]) + 1)
            places.append(_spread(run))
    return places


def _spread(run: range) -> list[int]:
    if len(run) <= AT_A_VISIT:
        return list(run)
    step = (len(run) - 1) / (AT_A_VISIT - 1)
    chosen = [run[round(at * step)] for at in range(AT_A_VISIT)]
    return [chosen[0], chosen[-1], *chosen[1:-1]]
