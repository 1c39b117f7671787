"""Decide how well the photos of a card fit the logs under a shift, in one number.

The number is a sum of log odds. Photos far from the placement's stretch count against a shift,
photos at the times when people came count for it, each by how often chance alone would do it.
A stint that lies wholly elsewhere costs only so much: cards hold test shots and other trips.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.clockfaults.ground import COMING_S, EDGE_S, Ground
from core.clockfaults.rows import Seconds

# All weights are ours, in natural log odds, and tried on generated cards (tests/seasons.py).
NEAR_S = 2 * 3600
"""Photos so near the stretch are often taken on the way there and back. [s]"""
NEAR_COST, NEAR_MOST = 1.0, 3.0
FAR_COST, FAR_MOST = 2.0, 8.0
"""Cost of each burst that lies near, or far, and the most for one stint."""
NOTHING_INSIDE = 5.0
"""Cost of a card that holds nothing of its own placement."""
SEEN_AT_EDGE = 0.85
"""How often people who come to a tray are photographed by its camera."""
OPENS_AT_EDGE = 0.6
"""How often a stint begins, or ends, just as they come."""
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
    """Edges with photos at them."""


@dataclass(frozen=True, slots=True)
class Bursts:
    """A card's photos as bursts and stints; all sorted by time."""

    times: Seconds
    starts: Seconds
    """First photo of each burst."""
    stints: NDArray[np.int64]
    """Place of the first burst of each stint, and the number of bursts at the end."""
    begins: Seconds
    lasts: Seconds
    """First and last photo of each stint."""


def bursts_of(times: Seconds) -> Bursts:
    """Group times, in any order, into bursts and stints."""
    ordered = np.sort(times)
    step = np.diff(ordered)
    first = np.concatenate(([True], step > BURST_S)) if len(ordered) else np.zeros(0, dtype=bool)
    opens = np.concatenate(([True], step > STINT_S)) if len(ordered) else np.zeros(0, dtype=bool)
    starts = ordered[first]
    stints = np.flatnonzero(opens[first])
    return Bursts(
        ordered,
        starts,
        np.append(stints, len(starts)),
        ordered[opens],
        ordered[np.append(opens[1:], True)] if len(ordered) else ordered,
    )


def weigh(bursts: Bursts, ground: Ground, shifts: Seconds) -> Weights:
    """Weigh a card under each of several constant shifts [s]."""
    inside = _between(bursts.times, ground.start - EDGE_S, ground.end + EDGE_S, shifts)
    met, gain = _edges(bursts, ground, shifts)
    nothing = np.where(inside == 0, NOTHING_INSIDE, 0.0)
    return Weights(gain - nothing - _outside(bursts, ground, shifts), inside, met)


def _between(times: Seconds, low: int, high: int, shifts: Seconds) -> NDArray[np.int64]:
    first = np.searchsorted(times, low - shifts, side="left")
    end = np.searchsorted(times, high - shifts, side="right")
    return np.asarray(end - first, dtype=np.int64)


def _outside(bursts: Bursts, ground: Ground, shifts: Seconds) -> NDArray[np.float64]:
    """Give the cost of what lies outside the stretch, no stint costing more than its most."""
    limits = (
        ground.start - EDGE_S - NEAR_S,
        ground.start - EDGE_S,
        ground.end + EDGE_S + 1,
        ground.end + EDGE_S + NEAR_S + 1,
    )
    first, end = bursts.stints[:-1, None], bursts.stints[1:, None]
    counts = []
    for limit in limits:
        below = np.searchsorted(bursts.starts, limit - shifts, side="left")
        counts.append(np.clip(below[None, :], first, end) - first)
    far = counts[0] + (end - first - counts[3])
    near = (counts[1] - counts[0]) + (counts[3] - counts[2])
    cost = np.minimum(NEAR_COST * near, NEAR_MOST) + FAR_COST * far
    total: NDArray[np.float64] = np.minimum(cost, FAR_MOST).sum(axis=0)
    return total


def _edges(
    bursts: Bursts, ground: Ground, shifts: Seconds
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Count the edges that photos lie at, and weigh them against chance."""
    edges = ground.edges
    length = ground.end - ground.start
    seen = _near(bursts.times, edges, shifts)
    busy = _chance(len(np.unique(bursts.times // (2 * COMING_S))) * 2 * COMING_S / length)
    gain = np.where(seen, _gain(SEEN_AT_EDGE, busy), np.log(1 - SEEN_AT_EDGE))
    turn = _chance(len(bursts.begins) * 2 * COMING_S / length)
    opens = _near(bursts.begins, edges[:1], shifts)
    closes = _near(bursts.lasts, edges[-1:], shifts)
    turning = _gain(OPENS_AT_EDGE, turn)
    gain[:1] = np.where(opens, np.maximum(gain[:1], turning), gain[:1])
    gain[-1:] = np.where(closes, np.maximum(gain[-1:], turning), gain[-1:])
    return seen.sum(axis=0), gain.sum(axis=0)


def _near(times: Seconds, edges: Seconds, shifts: Seconds) -> NDArray[np.bool_]:
    """Say for each edge and each shift whether one of the times lies at it."""
    wanted = edges[:, None] - shifts[None, :]
    first = np.searchsorted(times, wanted - COMING_S, side="left")
    end = np.searchsorted(times, wanted + COMING_S, side="right")
    return np.asarray(end > first)


def _chance(share: float) -> float:
    return float(min(max(share, LEAST_CHANCE), MOST_CHANCE))


def _gain(seen: float, chance: float) -> float:
    """Give the log odds of a photo at an edge: people or chance, against chance alone."""
    return float(np.log((chance + seen * (1 - chance)) / chance))
