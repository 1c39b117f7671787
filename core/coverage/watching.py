"""Decide when a placement was watching: what proves that a camera worked, and what does not.

A photo of any kind on a trusted clock proves it. Silence between two proofs is watched, silence
after the last is not, unless the camera still worked when it was picked up.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

from core.model import ClockFlag, Photo, Placement, Span, true_time
from core.visits import DAY_S, TIMELAPSE_SLACK_S

EDGE = timedelta(minutes=15)
"""How far outside its placement's start and end a photo still proves anything: people write the
log by hand and walk up to the camera before and after (ours)."""


class Cover(StrEnum):
    """How far a tray's window was watched."""

    WHOLE = "C1"
    """Every moment."""
    GAP_BEFORE = "C2"
    """A gap, but every moment after the last on-tray visit."""
    GAP_AFTER = "C3"
    """A gap after the last on-tray visit, or any gap where there was none."""
    NONE = "C0"
    """No moment, or the clock is not trusted."""


def watched(ordered: Sequence[Photo], placement: Placement, gap: timedelta) -> list[Span]:
    """Give the stretches in which a placement was watching, in order.

    From its first to its last proof of life, on to its end when the camera was working at
    pick-up, and never outside its start and end. Where a time-lapse photo was due and is
    missing, the time between its neighbours is not watched, unless they are no further apart
    than the gap: inside a visit the camera was plainly awake.

    Parameters
    ----------
    ordered
        All the placement's photos with a true time, of any kind, in order.
    """
    proofs = [(true_time(p), p.camera_time) for p in ordered if proves(p, placement)]
    if not proofs:
        return []
    last_true, last_shown = proofs[-1]
    if placement.working_at_pickup and placement.end and placement.end > last_true:
        shown = last_shown and last_shown + (placement.end - last_true)
        proofs.append((placement.end, shown))
    spans = []
    begun = proofs[0][0]
    for (here, shown_here), (there, shown_there) in pairwise(proofs):
        if there - here > gap and _due_between(
            shown_here, shown_there, placement.timelapse_every_min
        ):
            spans.append(Span(begun, here))
            begun = there
    spans.append(Span(begun, proofs[-1][0]))
    start, end = placement.start or begun, placement.end or proofs[-1][0]
    return clip(spans, Span(min(start, end), end))


def proves(photo: Photo, placement: Placement) -> bool:
    """Say whether a photo with a true time proves that its camera worked.

    Not where its hour is not sure, nor more than 15 minutes outside its placement.
    """
    if photo.clock_flag in {ClockFlag.TWICE, ClockFlag.NEVER}:
        return False
    moment = true_time(photo)
    after_start = placement.start is None or moment >= placement.start - EDGE
    before_end = placement.end is None or moment <= placement.end + EDGE
    return after_start and before_end


def _due_between(shown: datetime | None, then: datetime | None, every_min: int | None) -> bool:
    """Say whether a time-lapse photo was due on the camera's clock strictly between two photos."""
    if not every_min or shown is None or then is None:
        return False
    slack = timedelta(seconds=TIMELAPSE_SLACK_S)
    due = next_due(shown + slack, every_min)
    return due < then - slack


def next_due(shown: datetime, every_min: int) -> datetime:
    """Give the first due time after `shown`: multiples of the minutes since midnight."""
    midnight = shown.replace(hour=0, minute=0, second=0, microsecond=0)
    step = every_min * 60
    past = int((shown - midnight).total_seconds())
    return midnight + timedelta(seconds=min((past // step + 1) * step, DAY_S))


def union(spans: Iterable[Span]) -> list[Span]:
    """Join stretches that touch or overlap, in order: two cameras on a tray watch together."""
    joined: list[Span] = []
    for span in sorted(spans, key=lambda span: (span.start, span.end)):
        if joined and span.start <= joined[-1].end:
            joined[-1] = Span(joined[-1].start, max(joined[-1].end, span.end))
        else:
            joined.append(span)
    return joined


def clip(spans: Iterable[Span], window: Span) -> list[Span]:
    """Cut stretches to a window; one that only touches it stays as a moment."""
    return [
        Span(max(span.start, window.start), min(span.end, window.end))
        for span in spans
        if span.start <= window.end and span.end >= window.start
    ]


def overlap(one: Span, other: Span) -> bool:
    """Say whether two stretches have more than a moment in common."""
    return max(one.start, other.start) < min(one.end, other.end)


def without(window: Span, spans: Iterable[Span]) -> list[Span]:
    """Give the parts of a window that no stretch covers; `spans` in any order, anywhere."""
    return gaps(window, clip(union(spans), window))


def gaps(window: Span, spans: Sequence[Span]) -> list[Span]:
    """Give the parts of a window that no stretch covers; `spans` joined and cut to it."""
    edges = [window.start, *(moment for span in spans for moment in (span.start, span.end))]
    edges.append(window.end)
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return [Span(start, end) for start, end in pairs if end > start]


def share(window: Span, spans: Sequence[Span]) -> float:
    """Give the watched part of a window, 0 to 1; `spans` joined and cut to it."""
    total = sum((span.end - span.start for span in spans), timedelta(0))
    return total / (window.end - window.start)


def cover(window: Span, spans: Sequence[Span], last_on_tray: datetime | None) -> Cover:
    """Say how far a window was watched, seen from its last on-tray visit.

    Parameters
    ----------
    spans
        Watched stretches, joined and cut to the window.
    last_on_tray
        True time of the last photo of the last on-tray visit; None where there was none.
    """
    if not spans:
        return Cover.NONE
    unwatched = gaps(window, spans)
    if not unwatched:
        return Cover.WHOLE
    if last_on_tray is not None and unwatched[-1].end <= last_on_tray:
        return Cover.GAP_BEFORE
    return Cover.GAP_AFTER
