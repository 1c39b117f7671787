"""Decide for every moment of a tray's window whether it was watched, unwatched or untrusted."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from core.coverage.rows import State, Stretch, Why
from core.coverage.words import could_be_missed, summary
from core.model import Span

_STATES = {state: at for at, state in enumerate(State)}
_WHYS = {why: at for at, why in enumerate(Why)}


@dataclass(frozen=True, slots=True)
class WindowAccount:
    """Every moment of a window, whether it was watched and why."""

    window: Span
    stretches: tuple[Stretch, ...]
    """In order; each ends where the next begins."""
    missed: tuple[str, ...]
    """For each stretch, which visits could have been missed; empty where it was watched."""
    sentence: str
    """The same for the whole window."""

    def total(self, state: State) -> timedelta:
        """Give how much of the window is in a state."""
        spans = [one.span for one in self.stretches if one.state is state]
        return sum((span.end - span.start for span in spans), timedelta(0))


def account_of(
    window: Span, cameras: Sequence[Sequence[Stretch]], last_on_tray: datetime | None
) -> WindowAccount:
    """Account for a window: cameras at one tray watch together, the best at each moment counts.

    Parameters
    ----------
    cameras
        The stretches of each placement at the tray, as `stretches_of` gives them; none: no camera.
    last_on_tray
        True time of the last photo of the last on-tray visit; None where there was none.
    """
    found = _best(window, [_inside(stretches, window) for stretches in cameras])
    return WindowAccount(
        window,
        tuple(found),
        tuple(could_be_missed(one, last_on_tray) for one in found),
        summary(window, found, last_on_tray),
    )


def _inside(stretches: Sequence[Stretch], window: Span) -> list[Stretch]:
    """Cut one camera's stretches to a window; those that only touch it are left out."""
    first = max(bisect_right(stretches, window.start, key=lambda one: one.span.start) - 1, 0)
    stop = bisect_right(stretches, window.end, key=lambda one: one.span.start)
    cut = [
        replace(one, span=Span(max(one.span.start, window.start), min(one.span.end, window.end)))
        for one in stretches[first:stop]
    ]
    return [one for one in cut if one.span.start < one.span.end]


def _best(window: Span, cameras: Sequence[Sequence[Stretch]]) -> list[Stretch]:
    if not cameras:
        return [Stretch(window, State.UNWATCHED, Why.NO_CAMERA)]
    starts = {one.span.start for stretches in cameras for one in stretches}
    at = [0] * len(cameras)
    found: list[Stretch] = []
    for start, end in pairwise(sorted(starts | {window.end})):
        for camera, stretches in enumerate(cameras):
            at[camera] += stretches[at[camera]].span.end <= start
        here = [stretches[place] for stretches, place in zip(cameras, at, strict=True)]
        found.append(replace(min(here, key=_rank), span=Span(start, end)))
    return joined(found)


def _rank(stretch: Stretch) -> tuple[int, int, str]:
    """Give the place of a stretch among those of several cameras; the lowest counts."""
    return _STATES[stretch.state], _WHYS[stretch.why], stretch.placement


def joined(stretches: Sequence[Stretch]) -> list[Stretch]:
    """Join neighbours that are alike in all but their time; those without length are left out."""
    found: list[Stretch] = []
    for one in stretches:
        if one.span.start >= one.span.end:
            continue
        if found and replace(found[-1], span=one.span) == one:
            found[-1] = replace(one, span=Span(found[-1].span.start, one.span.end))
        else:
            found.append(one)
    return found
