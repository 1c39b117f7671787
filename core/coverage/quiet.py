"""Decide when a camera was blind because it was set to stay quiet after a trigger."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import numpy as np

from core.model import Photo, PhotoKind, Span, true_time
from core.visits import seconds_of

BURST = timedelta(seconds=10)
"""Photos no further apart than this were taken by one trigger, or by the next one at once (ours:
published bursts take a photo a second, flashes at night need a few)."""
EARLY = timedelta(seconds=2)
"""A quiet time may end this much early: stamps are whole seconds (ours)."""


@dataclass(frozen=True, slots=True)
class Quiet:
    """When one camera was blind after its triggers."""

    blind: tuple[Span, ...] = ()
    """In order and apart; each no longer than the quiet time."""
    after: tuple[str, ...] = ()
    """For each of these, the file of the photo that it follows."""
    too_soon: tuple[int, ...] = ()
    """Ids of photos that came while the camera should have been quiet: the log may be wrong."""

    @property
    def longest(self) -> timedelta:
        """Give the longest stretch: a visit shorter than it could have been missed."""
        return max((span.end - span.start for span in self.blind), default=timedelta(0))


def quiet_of(ordered: Sequence[Photo], quiet_s: int | None) -> Quiet:
    """Give the stretches in which a camera was blind after each trigger.

    From the last photo of each burst for the quiet time, or up to the next photo that was not
    taken by the clock. Time-lapse photos neither begin nor end such a stretch. Whether a camera
    counts the quiet time from the first or the last photo of a burst is not known; from the last
    is the longer reading. Photos at most 10 s apart, and closer than the quiet time, are a burst.

    Parameters
    ----------
    ordered
        A placement's photos with a true time and their kinds, in order.
    quiet_s
        The setting [s]; None or 0: none was set.
    """
    taken = [photo for photo in ordered if photo.kind is not PhotoKind.TIMELAPSE]
    if not quiet_s or not taken:
        return Quiet()
    setting = timedelta(seconds=quiet_s)
    bursts = _bursts(taken, min(BURST, setting))
    blind, too_soon = [], []
    for (first, last), (following, _) in pairwise(bursts):
        until = true_time(following)
        if until - true_time(first) < setting - EARLY:
            too_soon.append(following.id)
        blind.append(Span(true_time(last), min(until, true_time(last) + setting)))
    end = true_time(bursts[-1][1])
    blind.append(Span(end, end + setting))
    after = tuple(last.file for _, last in bursts)
    return Quiet(tuple(blind), after, tuple(too_soon))


def _bursts(taken: Sequence[Photo], apart: timedelta) -> list[tuple[Photo, Photo]]:
    """Give the first and last photo of each burst."""
    parts = np.flatnonzero(np.diff(seconds_of(taken)) > apart.total_seconds())
    firsts = [0, *(parts + 1).tolist()]
    lasts = [*parts.tolist(), len(taken) - 1]
    return [(taken[first], taken[last]) for first, last in zip(firsts, lasts, strict=True)]
