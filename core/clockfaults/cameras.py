"""Decide whether two cameras at one tray saw the same visits a constant time apart."""

from dataclasses import dataclass

import numpy as np

from core.clockfaults import words
from core.clockfaults.case import Case, Mask
from core.clockfaults.rows import (
    ClockCorrection,
    ClockFault,
    ClockFinding,
    Neighbour,
    Proposal,
    Seconds,
)
from core.clockfaults.series import HOUR_S
from core.clockfaults.weighing import BURST_S
from core.coverage.rows import Confidence

MOST_APART_S = 25 * HOUR_S
"""Clocks further apart are found by the logs. [s]"""
LEAST_APART_S = 180
"""Closer visits are the same visit to both cameras. [s]"""
TOGETHER_S = 90
"""Two cameras see the same visit begin within so much of each other (ours). [s]"""
ENOUGH = 6
"""So many visits must line up (ours)."""
SHARE = 0.5
"""And so much of the visits of the camera that has fewer (ours)."""
AGREEING = 0.34
"""More than this share of the best line-up at no shift, or at another one, and nothing is said
(ours)."""
MOST_BURSTS = 4000


@dataclass(frozen=True, slots=True)
class LineUp:
    """A constant time by which one camera's visits fall on the other's."""

    shift: int
    """To be added to the first camera. [s]"""
    visits: int
    of: int
    """How many visits line up, of how many."""


def finding(case: Case, times: Seconds, main: Mask) -> ClockFinding | None:
    """Say that another camera at one of the trays saw the same visits at another time.

    Where only one of the two has a clock check, the other is proposed to be wrong; where neither
    has, both ways are shown.
    """
    if case.checks_in(main) or not main.any():
        return None
    placement = case.line.placement
    for other in case.line.others:
        if not set(other.placement.trays) & set(placement.trays) or not len(other.times):
            continue
        lapse = placement.timelapse_every_min or other.placement.timelapse_every_min
        found = line_up(times[main], other.times, alone=not lapse)
        if found is not None:
            return _finding(case, other, found, main)
    return None


def line_up(times: Seconds, others: Seconds, *, alone: bool = True) -> LineUp | None:
    """Give the one shift that lays the visits of two cameras onto each other, if there is one.

    Photos that stand alone are left out unless `alone`: a time-lapse lines up with any other.
    """
    own, theirs = _common(_starts(times, alone=alone), _starts(others, alone=alone))
    fewer = min(len(own), len(theirs))
    if fewer < ENOUGH:
        return None
    apart = _differences(own, theirs)
    counts = np.bincount((apart + MOST_APART_S) // 60, minlength=2 * MOST_APART_S // 60 + 1)
    wide = np.convolve(counts, np.ones(3, dtype=np.int64), mode="same")
    lags = (np.arange(len(wide)) * 60 - MOST_APART_S) + 30
    best = int(np.argmax(wide))
    near = np.abs(lags - lags[best]) <= 5 * 60
    rest = max(wide[~near].max(initial=0), wide[np.abs(lags) <= BURST_S].max(initial=0))
    if abs(lags[best]) <= LEAST_APART_S or rest > AGREEING * wide[best]:
        return None
    close = apart[np.abs(apart - lags[best]) <= TOGETHER_S]
    shift = int(np.median(close))
    seen = _met(own + shift, theirs)
    if seen < ENOUGH or seen < SHARE * fewer:
        return None
    return LineUp(shift, seen, fewer)


def _starts(times: Seconds, *, alone: bool) -> Seconds:
    ordered = np.sort(times)
    first = np.concatenate(([True], np.diff(ordered) > BURST_S))
    if not alone:
        first &= np.append(~first[1:], False)
    return ordered[first][:MOST_BURSTS]


def _common(own: Seconds, theirs: Seconds) -> tuple[Seconds, Seconds]:
    """Keep what may have been seen by both, allowing for the most that clocks are apart."""
    if not len(own) or not len(theirs):
        return own, theirs
    low = max(own[0], theirs[0]) - MOST_APART_S
    high = min(own[-1], theirs[-1]) + MOST_APART_S
    return own[(own >= low) & (own <= high)], theirs[(theirs >= low) & (theirs <= high)]


def _differences(own: Seconds, theirs: Seconds) -> Seconds:
    first = np.searchsorted(theirs, own - MOST_APART_S)
    end = np.searchsorted(theirs, own + MOST_APART_S)
    many = end - first
    within = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
    difference: Seconds = theirs[np.repeat(first, many) + within] - np.repeat(own, many)
    return difference


def _met(own: Seconds, theirs: Seconds) -> int:
    first = np.searchsorted(theirs, own - TOGETHER_S)
    end = np.searchsorted(theirs, own + TOGETHER_S)
    return int((end > first).sum())


def _finding(case: Case, other: Neighbour, found: LineUp, main: Mask) -> ClockFinding:
    kind = ClockFault.CAMERAS_DISAGREE
    name = other.placement.placement
    ours = case.proposal(kind, found.shift, main, explains=found.visits)
    why = f"{kind}: {words.change(-found.shift)}"
    theirs = Proposal(
        kind,
        f"{words.change(-found.shift)} on placement {name} in its place",
        (ClockCorrection(name, kind, -found.shift, why=why),),
        -found.shift,
        explains=found.visits,
    )
    first, last = case.ends(main)
    return ClockFinding(
        case.line.placement.placement,
        kind,
        f"{found.visits} of {found.of} visits lie {words.span(found.shift)} "
        f"{'before' if found.shift > 0 else 'after'} those of placement {name} at the same tray.",
        int(main.sum()),
        Confidence.CLEAR if other.checked else Confidence.POSSIBLE,
        "Look at a visit that both cameras saw, and at a watch or phone in either camera's photos.",
        first,
        last,
        (ours,) if other.checked else (ours, theirs),
    )
