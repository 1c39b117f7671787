"""Decide whether a camera's battery may have died though its log says that it was working.

Where the log does not say that, the time after the last photo is unwatched by itself (`watched`);
where it tells of time-lapse photos, a missing one makes it so.
"""

from collections.abc import Sequence

import numpy as np

from core.coverage.rhythm import MISSING_MOST, Rhythm, due_between
from core.coverage.rows import Confidence, Suspicion, Why
from core.coverage.watching import EDGE
from core.coverage.words import length
from core.model import Photo, Placement, Span, true_time


def battery_dead(
    ordered: Sequence[Photo], placement: Placement, rhythm: Rhythm | None
) -> Suspicion | None:
    """Say whether time-lapse photos broke off long before the end; None: no sign of it.

    There is a suspicion only where the camera log says that the camera was working at pick-up and
    yet no photo was taken within 15 minutes of the end, and where more photos are missing from
    its rhythm than that bears, and than were ever missing before: a camera that takes such photos
    by day alone is silent each night.

    Parameters
    ----------
    ordered
        A placement's photos with a true time, in order.
    rhythm
        The rhythm that its photos show, as `rhythm_of` gives it; None: none.
    """
    if rhythm is None or not placement.working_at_pickup or placement.end is None or not ordered:
        return None
    last, step_s = ordered[-1], rhythm.timelapse_every_min * 60
    silence = placement.end - true_time(last)
    if silence <= EDGE or last.camera_time is None:
        return None
    timed = [photo.camera_time for photo in ordered if photo.camera_time is not None]
    shown = np.array([*timed, last.camera_time + silence], dtype="datetime64[s]").astype(np.int64)
    missing = due_between(shown[:-1], shown[1:], step_s)
    earlier = int(missing[:-1].max(initial=0))
    if missing[-1] <= max(MISSING_MOST, earlier):
        return None
    every = f"{rhythm.timelapse_every_min} min"
    evidence = (
        f"no photo in the last {length(silence)}, nor at the end",
        f"{missing[-1]} photos of a rhythm of {every} are missing there, at most {earlier} before",
        "the camera log says that the camera was working at pick-up",
    )
    span = Span(true_time(last), placement.end)
    return Suspicion(
        placement.placement, Why.BATTERY_DEAD, span, Confidence.POSSIBLE, evidence, (last.id,)
    )
