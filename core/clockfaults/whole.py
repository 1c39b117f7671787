"""Decide which one shift, if any, puts the photos of a whole card where the logs have them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from core.clockfaults import candidates
from core.clockfaults.applying import exchanged
from core.clockfaults.candidates import Candidate
from core.clockfaults.ground import COMING_S, Ground
from core.clockfaults.light import Light
from core.clockfaults.rows import ClockFault, Seconds
from core.clockfaults.series import DAY_S, EPOCH
from core.clockfaults.weighing import Bursts, bursts_of, weigh

FOUND, CLEAR = 4.0, 8.0
"""From so much on a shift is proposed, and called clear, when all that speaks for it and how rare
it is are added up (ours, tried on generated cards). [natural log odds]"""
AS_GOOD = 1.5
"""Two shifts that differ by no more explain a card equally well (ours). [natural log odds]"""
WEIGHED_BY_LIGHT = 12
"""So many of the best shifts are held against the light as well."""


@dataclass(frozen=True, slots=True)
class Fit:
    """One shift, and how well the card fits the logs under it."""

    candidate: Candidate
    odds: float
    """For it and against the clock as it is. [natural log odds]"""
    inside: int
    edges: int


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a card fits the logs as it is, and under the shifts that are clearly better."""

    inside: int
    edges: int
    edges_all: int
    fits: tuple[Fit, ...] = ()
    """As good as each other, the best first; empty: the clock stands."""


def judge(
    times: Seconds, shown: Seconds, ground: Ground, light: Light | None, *, offset: int
) -> Verdict:
    """Hold one card against the logs as it is, and under every shift worth trying.

    Parameters
    ----------
    times, shown
        Shape (n,): nominal times [s since 1970 UTC] and what the camera showed [s], alike sorted.
    offset
        The clock's offset from UTC. [s]
    """
    bursts = bursts_of(times)
    now = weigh(bursts, ground, np.zeros(1, dtype=np.int64))
    base = float(now.score[0])
    tried = _tried(bursts, ground, offset, empty=int(now.inside[0]) == 0)
    fits = _fits(bursts, ground, tried, base)
    fits += _each_exchanged(times, shown, ground, base)
    fits = _by_light(fits, light)
    best = _distinct(sorted(fits, key=lambda fit: -fit.odds))
    found = [fit for fit in best if fit.odds >= max(FOUND, best[0].odds - AS_GOOD)]
    return Verdict(int(now.inside[0]), int(now.edges[0]), ground.times_people_came, tuple(found))


def _tried(bursts: Bursts, ground: Ground, offset: int, *, empty: bool) -> list[Candidate]:
    known = candidates.named(bursts, ground, offset)
    found = [*known, *candidates.free(bursts, ground, [one.shift for one in known])]
    if empty:
        begun = candidates.default_moment(int(bursts.times[0]) + offset) is not None
        kind = ClockFault.DEFAULT_DATE if begun else ClockFault.OTHER_DATE
        found += candidates.other_dates(bursts, ground, kind)
    return found


def _fits(bursts: Bursts, ground: Ground, tried: Sequence[Candidate], base: float) -> list[Fit]:
    shifts = np.array([one.shift for one in tried], dtype=np.int64)
    weights = weigh(bursts, ground, shifts)
    return [
        Fit(one, score - base - one.unlikely, inside, edges)
        for one, score, inside, edges in zip(
            tried,
            weights.score.tolist(),
            weights.inside.tolist(),
            weights.edges.tolist(),
            strict=True,
        )
    ]


def _each_exchanged(times: Seconds, shown: Seconds, ground: Ground, base: float) -> list[Fit]:
    """Weigh an exchange of day and month photo by photo, where it is no constant shift."""
    moved = times + exchange_s(shown)
    if len(np.unique(moved - times)) < 2:  # noqa: PLR2004  (one shift alone is a constant)
        return []
    weights = weigh(bursts_of(moved), ground, np.zeros(1, dtype=np.int64))
    one = Candidate(ClockFault.DAY_MONTH_EACH, 0)
    odds = float(weights.score[0]) - base - one.unlikely
    return [Fit(one, odds, int(weights.inside[0]), int(weights.edges[0]))]


def exchange_s(shown: Seconds) -> Seconds:
    """Give how far an exchange of day and month moves each display. [s]"""
    days, back = np.unique(shown // DAY_S, return_inverse=True)
    moments = [EPOCH + timedelta(days=int(day)) for day in days]
    moves = [int((exchanged(moment) - moment).total_seconds()) for moment in moments]
    return np.array(moves, dtype=np.int64)[back]


def _by_light(fits: Sequence[Fit], light: Light | None) -> list[Fit]:
    """Add what the light says to the best shifts, and to twelve hours in any case."""
    if light is None:
        return list(fits)
    ordered = sorted(fits, key=lambda fit: -fit.odds)
    result = []
    for place, fit in enumerate(ordered):
        odds = fit.odds
        half = fit.candidate.kind is ClockFault.TWELVE_HOURS
        if place < WEIGHED_BY_LIGHT or half:
            odds += light.gain(fit.candidate.shift)
        result.append(Fit(fit.candidate, odds, fit.inside, fit.edges))
    return result


def _distinct(fits: Sequence[Fit]) -> list[Fit]:
    """Leave out a shift that hardly differs from a better one."""
    kept: list[Fit] = []
    for fit in fits[: 20 * WEIGHED_BY_LIGHT]:
        each = fit.candidate.kind is ClockFault.DAY_MONTH_EACH
        if each or all(
            abs(fit.candidate.shift - one.candidate.shift) > 2 * COMING_S for one in kept
        ):
            kept.append(fit)
    return kept
