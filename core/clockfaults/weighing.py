"""Decide how well the photos of a card fit the logs under a shift, in one number.

The number is a sum of log odds. Photos far from the placement's stretch count against a shift,
photos at the times when people came count for it, each by how often chance alone would do it.
Photos elsewhere cost only so much together: cards hold test shots and other trips.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.clockfaults.ground import COMING_S, EDGE_S, NEAR_S, Ground
from core.clockfaults.rows import Seconds

# All weights are ours, in natural log odds, and tried on generated cards (tests/seasons.py).
NEAR_COST, NEAR_MOST = 1.0, 3.0
FAR_COST, FAR_MOST = 2.0, 8.0
"""Cost of each burst that lies near, or far, and the most for those before or after it."""
SILENT_RATE, SILENT_MOST = 0.5, 3.0
"""Cost of each burst that is missing where a silence opens or ends the stretch, and the most for
one silence: cameras stop early, and animals keep hours of their own."""
NOTHING_INSIDE = 8.0
"""Cost of a card that holds nothing of its own placement, but photos far from it."""
SEEN = ((0.0, 0.1), (0.3, 0.1), (0.6, 0.2), (0.85, 0.6))
"""How often people who come to a tray have photos at the time in their notes, and how likely each
such habit is."""
LEAST_CHANCE, MOST_CHANCE = 0.02, 0.95
BURST_S = 120
"""A longer silence starts a new burst. [s]"""
STINT_S = 6 * 3600
"""A longer silence starts a new stint. [s]"""


@dataclass(frozen=True, slots=True)
class Weights:
    """How well a card fits, one number for each shift tried."""

    score: NDArray[np.float64]
    inside: NDArray[np.int64]
    """Photos inside the stretch."""
    edges: NDArray[np.int64]
    """Comings of people with photos at them."""


@dataclass(frozen=True, slots=True)
class Bursts:
    """A card's photos as bursts and stints; all sorted by time."""

    times: Seconds
    starts: Seconds
    """First photo of each burst."""
    begins: Seconds
    lasts: Seconds
    """First and last photo of each stint."""


def bursts_of(times: Seconds) -> Bursts:
    """Group times, in any order, into bursts and stints."""
    ordered = np.sort(times)
    step = np.diff(ordered)
    first = np.concatenate(([True], step > BURST_S)) if len(ordered) else np.zeros(0, dtype=bool)
    opens = np.concatenate(([True], step > STINT_S)) if len(ordered) else np.zeros(0, dtype=bool)
    closes = np.append(opens[1:], True) if len(ordered) else opens
    return Bursts(ordered, ordered[first], ordered[opens], ordered[closes])


def weigh(bursts: Bursts, ground: Ground, shifts: Seconds) -> Weights:
    """Weigh a card under each of several constant shifts [s]."""
    inside = _between(bursts.times, ground.start - EDGE_S, ground.end + EDGE_S, shifts)
    met, gain = _edges(bursts, ground, shifts)
    far, outside = _outside(bursts, ground, shifts)
    nothing = np.where((inside == 0) & far, NOTHING_INSIDE, 0.0)
    silent = _silent(bursts, ground, shifts)
    return Weights(gain - nothing - outside - silent, inside, met)


def _between(times: Seconds, low: int, high: int, shifts: Seconds) -> NDArray[np.int64]:
    first = np.searchsorted(times, low - shifts, side="left")
    end = np.searchsorted(times, high - shifts, side="right")
    return np.asarray(end - first, dtype=np.int64)


def _outside(
    bursts: Bursts, ground: Ground, shifts: Seconds
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Give whether any lies far off, and the cost of what lies outside, either side at its most.

    However long another trip on the card was, it is one reason for photos out of place.
    """
    start, end, all_ = ground.start - EDGE_S, ground.end + EDGE_S + 1, len(bursts.starts)
    far_before, before, until, near_after = (
        np.searchsorted(bursts.starts, limit - shifts, side="left")
        for limit in (start - NEAR_S, start, end, end + NEAR_S)
    )
    first = _cost(before - far_before, far_before)
    far = (far_before > 0) | (near_after < all_)
    return np.asarray(far), first + _cost(near_after - until, all_ - near_after)


def _cost(near: NDArray[np.intp], far: NDArray[np.intp]) -> NDArray[np.float64]:
    total = np.minimum(NEAR_COST * near, NEAR_MOST) + FAR_COST * far
    return np.asarray(np.minimum(total, FAR_MOST))


def _silent(bursts: Bursts, ground: Ground, shifts: Seconds) -> NDArray[np.float64]:
    """Give the cost of a silence after the start and before the end, on a card so busy."""
    rate = SILENT_RATE * len(bursts.starts) / (ground.end - ground.start)
    first = np.searchsorted(bursts.times, ground.start - EDGE_S - shifts, side="left")
    last = np.searchsorted(bursts.times, ground.end + EDGE_S - shifts, side="right") - 1
    some = first <= last
    final = len(bursts.times) - 1
    head = bursts.times[np.minimum(first, final)] + shifts - ground.start
    tail = ground.end - bursts.times[np.maximum(last, 0)] - shifts
    cost = np.minimum(rate * np.maximum(head, 0), SILENT_MOST)
    cost = cost + np.minimum(rate * np.maximum(tail, 0), SILENT_MOST)
    return np.asarray(np.where(some, cost, 2 * SILENT_MOST), dtype=np.float64)


def _edges(
    bursts: Bursts, ground: Ground, shifts: Seconds
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Count the comings of people that photos lie at, and weigh them against chance.

    How often people are seen, and how well they keep the time in their notes, nobody knows; so
    every share in SEEN is weighed, and a card whose notes are worthless says nothing.
    """
    first = np.flatnonzero(np.diff(ground.comings, prepend=-1))
    many = np.diff(np.append(first, len(ground.comings)))
    unit = 2 * COMING_S / (ground.end - ground.start)
    seen = np.logical_or.reduceat(_near(bursts.times, ground.edges, shifts), first, axis=0)
    busy = _chance(len(np.unique(bursts.times // (2 * COMING_S))) * unit, many)
    chance = np.repeat(busy[:, None], len(shifts), axis=1)
    for turns, here in ((bursts.begins, ground.opens), (bursts.lasts, ~ground.opens)):
        turning = _chance(
            len(turns) * unit, np.maximum(np.add.reduceat(here, first, dtype=np.int64), 1)
        )
        at_turn = _near(turns, ground.edges, shifts) & here[:, None]
        met = np.logical_or.reduceat(at_turn, first, axis=0)
        chance = np.where(met, np.minimum(chance, turning[:, None]), chance)
    odds = np.stack([_odds(seen, chance, share) + np.log(prior) for share, prior in SEEN])
    most = odds.max(axis=0)
    return seen.sum(axis=0), most + np.log(np.exp(odds - most).sum(axis=0))


def _odds(
    seen: NDArray[np.bool_], chance: NDArray[np.float64], share: float
) -> NDArray[np.float64]:
    """Give the log odds of what was seen at all edges: people or chance, against chance alone."""
    either = chance + share * (1 - chance)
    odds = np.where(seen, np.log(either / chance), np.log1p(-share))
    total: NDArray[np.float64] = odds.sum(axis=0)
    return total


def _near(times: Seconds, edges: Seconds, shifts: Seconds) -> NDArray[np.bool_]:
    """Say for each edge and each shift whether one of the times lies at it."""
    wanted = edges[:, None] - shifts[None, :]
    first = np.searchsorted(times, wanted - COMING_S, side="left")
    end = np.searchsorted(times, wanted + COMING_S, side="right")
    return np.asarray(end > first)


def _chance(share: float, edges: NDArray[np.int64]) -> NDArray[np.float64]:
    """Give how likely chance alone lays a photo at one of so many edges of a coming."""
    one = min(max(share, LEAST_CHANCE), MOST_CHANCE)
    return np.asarray(1 - (1 - one) ** edges, dtype=np.float64)
