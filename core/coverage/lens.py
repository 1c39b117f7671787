"""Decide when a lens may have been blocked: a long run of dark or featureless photos."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from core.coverage.rows import Confidence, Suspicion, Why
from core.coverage.watching import EDGE, clip
from core.coverage.words import length
from core.model import Photo, Placement, Span, true_time

Measured = NDArray[np.float64]
"""One number for each photo, 0 to 1; nan where it was not measured."""

DARK = 0.03
"""A photo with a mean grey up to this is dark (a judgement: night photos lit by infrared measured
0.16 to 0.18, the same at a twentieth of their light 0.01)."""
FEATURELESS = 0.03
"""A photo with a contrast up to this shows nothing (a judgement: photos by day and by infrared
measured 0.10 to 0.22, the same behind a fog that leaves a tenth of it 0.01 to 0.02)."""
RUN_PHOTOS, RUN_TIME = 5, timedelta(minutes=10)
"""A long run: at least so many photos over at least so long (a judgement)."""


EACH = 4
"""One pixel of so many is measured, down and across (ours): some 3,600 of one 320 px wide."""
STRIP_TOP, STRIP_BOTTOM = 0.1, 0.85
"""What cameras print stands above or below these parts of a picture's height (from memory)."""


def measure(picture: NDArray[np.uint8]) -> tuple[float, float]:
    """Give the mean grey of a picture and its contrast, 0 to 1, without what the camera prints.

    Of every fourth pixel each way, which tells light from dark as well as all of them do.
    `picture` has the shape (height, width) or (height, width, channels).
    """
    height = picture.shape[0]
    middle = picture[int(height * STRIP_TOP) : max(int(height * STRIP_BOTTOM), 1)][::EACH, ::EACH]
    grey = middle if middle.ndim == 2 else middle.mean(axis=2)  # noqa: PLR2004
    return float(grey.mean()) / 255, float(grey.std()) / 255


def shows_nothing(grey: float, contrast: float) -> bool:
    """Say whether a photo is dark or featureless by its measures."""
    return grey <= DARK or contrast <= FEATURELESS


def lens_blocked(
    ordered: Sequence[Photo], placement: Placement, grey: Measured, contrast: Measured
) -> list[Suspicion]:
    """Name the long runs in which a camera saw nothing, in order.

    A run is photos that follow each other, all dark or featureless, at least five of them over at
    least ten minutes. When the lens was covered and freed between two photos nobody knows, so the
    stretch reaches from the last clear photo before it to the first clear one after, or to the
    placement's start and end. Photos that were not measured are passed over, as are those taken
    more than 15 minutes outside the placement (in a bag). A pattern close to the lens, such as a
    lit leaf, is not found this way.

    Parameters
    ----------
    ordered
        A placement's photos with a true time, in order.
    grey
        Shape (n,): mean grey of each, 0 black to 1 white. What a camera prints into its photos is
        left out of both measures.
    contrast
        Shape (n,): standard deviation of the grey values on that scale.
    """
    _refuse_unmeasurable(len(ordered), grey, contrast)
    there = [at for at, photo in enumerate(ordered) if _taken_there(photo, placement)]
    known = [at for at in there if not np.isnan(grey[at] + contrast[at])]
    photos = [ordered[at] for at in known]
    dark, flat = grey[known] <= DARK, contrast[known] <= FEATURELESS
    found = []
    for first, stop in _runs(dark | flat):
        run = photos[first:stop]
        took = true_time(run[-1]) - true_time(run[0])
        if len(run) < RUN_PHOTOS or took < RUN_TIME:
            continue
        before = true_time(photos[first - 1]) if first else placement.start
        after = true_time(photos[stop]) if stop < len(photos) else placement.end
        span = _between(before or true_time(run[0]), after or true_time(run[-1]), placement)
        many_dark = int(dark[first:stop].sum())
        evidence = (
            f"{len(run)} photos in a row over {length(took)} show nothing",
            f"{many_dark} of them are dark, {len(run) - many_dark} featureless",
        )
        look_at = (run[0].id, run[-1].id)
        found.append(
            Suspicion(
                placement.placement,
                Why.LENS_BLOCKED,
                span,
                Confidence.POSSIBLE,
                evidence,
                look_at,
            )
        )
    return found


def _refuse_unmeasurable(photos: int, grey: Measured, contrast: Measured) -> None:
    for name, values in (("mean grey", grey), ("contrast", contrast)):
        if values.shape != (photos,):
            raise ValueError(f"{photos} photos need as many values of {name}, not {values.shape}.")
        outside = values[(values < 0) | (values > 1)]
        if len(outside):
            raise ValueError(f"A {name} of {outside[0]} is not from 0 to 1: divide by 255 first.")


def _runs(blank: NDArray[np.bool_]) -> list[list[int]]:
    """Give where each run of blank photos begins and where it has ended."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], blank, [False])).astype(np.int8)))
    pairs: list[list[int]] = edges.reshape(-1, 2).tolist()
    return pairs


def _taken_there(photo: Photo, placement: Placement) -> bool:
    moment = true_time(photo)
    early = placement.start is not None and moment < placement.start - EDGE
    late = placement.end is not None and moment > placement.end + EDGE
    return not early and not late


def _between(start: datetime, end: datetime, placement: Placement) -> Span:
    """Give a stretch cut to its placement, where the log says when that was."""
    span = Span(start, max(start, end))
    inside = clip([span], Span(placement.start or span.start, placement.end or span.end))
    return inside[0] if inside else span
