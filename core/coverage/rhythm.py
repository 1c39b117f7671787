"""Decide whether a camera took time-lapse photos that its log does not mention.

It is a proposal: kinds, visits and watched time stay as they are until a person writes it in the
camera log.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from core.model import Photo, PhotoKind, Placement
from core.visits import DAY_S, TIMELAPSE_SLACK_S, parted, seconds_of

FRAMES_NEEDED = 6
"""Fewer photos in a run at due times show no rhythm (a judgement)."""
SHARE_NEEDED = Fraction(2, 3)
"""At least this part of a run's due times must have its photo (a judgement): above a half, so
that hourly photos are never read as half-hourly ones of which every other one is missing."""
MISSING_MOST = 3
"""More due times than this without a photo end a run (a judgement): the camera may have been dead,
or set to take such photos in some hours only."""
ABOVE_CHANCE = 3
"""The photos at due times must be so many times as many as the lone ones on an average other whole
minute (a judgement): cameras that write no seconds show whole minutes only."""
STEPS_MIN = [step for step in range(2, DAY_S // 60 + 1) if DAY_S // 60 % step == 0]
"""Steps that are looked for: the whole minutes that divide a day, 2 to 1,440. [min]"""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """The rhythm in which a camera seems to have taken photos unasked."""

    placement: str
    timelapse_every_min: int
    """What is proposed for the camera log. [min]"""
    frames: tuple[int, ...]
    """Ids of the photos that stand alone at a due time, in order."""
    due: int
    """How many due times their runs had: these, and those in a silence that have no photo."""

    @property
    def sentence(self) -> str:
        """Say what was seen and what a person may do about it."""
        every = f"{self.timelapse_every_min} min"
        return (
            f"{len(self.frames)} of {self.due} times that are due every {every} have a photo that "
            f"stands alone: {self.placement} seems to take time-lapse photos. If it was set so, "
            f"write {self.timelapse_every_min} under timelapse_every_min in the camera log."
        )


def rhythm_of(ordered: Sequence[Photo], placement: Placement, gap: timedelta) -> Rhythm | None:
    """Recognise time-lapse photos by their rhythm; None where there is none or the log has one.

    A photo counts that stands alone by more than the gap, within 2 s of a multiple of a step
    since the camera's midnight, and is no handler photo. A due time in a silence longer than the
    gap that has no photo counts against; one inside a visit counts neither way. The shortest step
    with a run of at least 6 such photos at two thirds of its due times is the rhythm. Steps no
    longer than the gap cannot be told, nor a rhythm that does not begin at midnight, which the
    camera log could not hold either.

    Parameters
    ----------
    ordered
        The placement's photos with a true time, in order.
    """
    if placement.timelapse_every_min:
        return None
    timed = [photo for photo in ordered if photo.camera_time is not None]
    shown = np.array([photo.camera_time for photo in timed], dtype="datetime64[s]")
    display = shown.astype(np.int64)
    silent = parted(np.diff(seconds_of(timed)), gap)
    edge = np.ones(min(len(timed), 1), dtype=np.bool_)
    alone = np.concatenate((edge, silent)) & np.concatenate((silent, edge))
    alone &= np.array([p.kind is not PhotoKind.HANDLER for p in timed], dtype=np.bool_)
    for step in STEPS_MIN:
        if step * 60 <= gap.total_seconds():
            continue
        frames, missing = _runs(display, alone, silent, step)
        if frames:
            name, ids = placement.placement, tuple(timed[at].id for at in frames)
            return Rhythm(name, step, ids, len(frames) + missing)
    return None


def _runs(
    display: NDArray[np.int64], alone: NDArray[np.bool_], silent: NDArray[np.bool_], step: int
) -> tuple[list[int], int]:
    """Give the places of the photos in runs that keep to a step [min], and how many are missing."""
    on_time = alone & _on_time(display, step * 60)
    other_minutes = alone & _on_time(display, 60) & ~on_time
    at = np.flatnonzero(on_time)
    if len(at) * (step - 1) < ABOVE_CHANCE * int(other_minutes.sum()):
        return [], 0
    lost = np.where(silent, due_between(display[:-1], display[1:], step * 60), 0)
    missing = np.diff(np.concatenate(([0], np.cumsum(lost)))[at])
    ends = [0, *(np.flatnonzero(missing > MISSING_MOST) + 1).tolist(), len(at)]
    frames: list[int] = []
    total = 0
    for first, stop in pairwise(ends):
        many, gone = stop - first, int(missing[first : stop - 1].sum())
        if many >= FRAMES_NEEDED and many >= SHARE_NEEDED * (many + gone):
            frames += at[first:stop].tolist()
            total += gone
    return frames, total


def _on_time(display: NDArray[np.int64], step_s: int) -> NDArray[np.bool_]:
    """Say of each display whether it is within 2 s of a due time."""
    past = display % step_s
    on_time: NDArray[np.bool_] = np.minimum(past, step_s - past) <= TIMELAPSE_SLACK_S
    return on_time


def due_between(
    display: NDArray[np.int64], following: NDArray[np.int64], step_s: int
) -> NDArray[np.int64]:
    """Count the due times strictly between two displays, 2 s away from both."""
    last = (following - TIMELAPSE_SLACK_S - 1) // step_s
    first = (display + TIMELAPSE_SLACK_S) // step_s
    counted: NDArray[np.int64] = np.maximum(last - first, 0)
    return counted
