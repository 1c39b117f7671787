"""Decide which one shift, if any, puts the photos of a whole card where the logs have them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from core.clockfaults import candidates
from core.clockfaults.applying import exchanged
from core.clockfaults.candidates import Candidate
from core.clockfaults.ground import COMING_S, Ground
from core.clockfaults.light import Light
from core.clockfaults.rows import ClockFault, Seconds
from core.clockfaults.series import DAY_S, EPOCH, Piece, Series, pieces_of
from core.clockfaults.weighing import Bursts, bursts_of, weigh

FOUND, CLEAR = 2.5, 6.0
"""From so much on a shift is proposed, and called clear, when all that speaks for it and how rare
it is are added up (ours, tried on generated cards). [natural log odds]"""
AS_GOOD = 1.5
"""Two shifts that differ by no more explain a card equally well (ours). [natural log odds]"""
STEP_WEIGHT = 6.0
"""What a step back against the order of the files weighs against a clock. [log odds, ours]"""
VAGUE = {ClockFault.OTHER_DATE, ClockFault.DEFAULT_DATE}
"""Faults that leave the shift between bounds: the best guess stands for all."""
FREE = {*VAGUE, ClockFault.MINUTES}
EXPLAINED = 0.2
"""Where nothing lies in the stretch, a shift has to bring so much of the card in (ours)."""
LEAST_MET, MOSTLY_MET = 2, 0.75
"""A free shift has to meet so many comings of people, and so much of all (ours)."""
KNOWN_BETTER = 4.0
"""A known fault that explains a card nearly as well goes before a free shift (ours). [log odds]"""
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


def judge(times: Seconds, ground: Ground, light: Light | None, *, offset: int) -> Verdict:
    """Hold one card against the logs as it is, and under every shift worth trying.

    Parameters
    ----------
    times
        Shape (n,): true times as they are held now, in any order. [s since 1970 UTC]
    offset
        The clock's offset from UTC. [s]
    """
    bursts = bursts_of(times)
    now = weigh(bursts, ground, np.zeros(1, dtype=np.int64))
    base = float(now.score[0])
    tried = _tried(bursts, ground, offset, empty=int(now.inside[0]) == 0)
    fits = _fits(bursts, ground, tried, base)
    if not now.inside[0]:
        met = 0 if ground.far(times).any() else LEAST_MET
        fits = [one for one in fits if one.inside >= EXPLAINED * len(times) and one.edges >= met]
    fits = _by_light(fits, light)
    best = _distinct([fit for fit in sorted(fits, key=_rank) if _keeps_time(fit, bursts, ground)])
    least = max(FOUND, best[0].odds - AS_GOOD) if best else FOUND
    found = [fit for fit in best if fit.odds >= least]
    found = [_to_the_middle(fit, bursts, ground) for fit in found]
    return Verdict(int(now.inside[0]), int(now.edges[0]), ground.times_people_came, tuple(found))


def _to_the_middle(fit: Fit, bursts: Bursts, ground: Ground) -> Fit:
    """Move a free shift so that the photos of people lie evenly around the times in their notes."""
    if fit.candidate.kind is not ClockFault.MINUTES:
        return fit
    shift = fit.candidate.shift
    for _ in range(2):
        times = bursts.times + shift
        after = np.minimum(np.searchsorted(times, ground.edges), len(times) - 1)
        either = np.stack([ground.edges - times[after], ground.edges - times[after - 1]])
        nearest = np.where(np.abs(either[0]) <= np.abs(either[1]), either[0], either[1])
        close = nearest[np.abs(nearest) <= COMING_S]
        shift += round(float(np.median(close)) / 60) * 60 if len(close) else 0
    return replace(fit, candidate=replace(fit.candidate, shift=shift))


def _tried(bursts: Bursts, ground: Ground, offset: int, *, empty: bool) -> list[Candidate]:
    known = candidates.named(bursts, ground, offset)
    found = [*known, *candidates.free(bursts, ground, [one.shift for one in known])]
    if empty:
        kind = ClockFault.OTHER_DATE
        if candidates.is_default(int(bursts.times[0]) + offset, ground.start):
            kind = ClockFault.DEFAULT_DATE
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


def judge_each(series: Series, ground: Ground, pieces: Sequence[Piece]) -> Verdict:
    """Hold a card against the logs with day and month exchanged in each photo.

    Where that is one constant shift, it is no fault of its own. Steps back that it undoes speak
    for it, steps that it makes against it.
    """
    times, moved = series.nominal, series.nominal + exchange_s(series.shown)
    zero = np.zeros(1, dtype=np.int64)
    before, after = (weigh(bursts_of(one), ground, zero) for one in (times, moved))
    now = Verdict(int(before.inside[0]), int(before.edges[0]), ground.times_people_came)
    if len(np.unique(moved - times)) < 2:  # noqa: PLR2004  (one shift alone is a constant)
        return now
    one = Candidate(ClockFault.DAY_MONTH_EACH, 0)
    was = sum(piece.stepped_back for piece in pieces)
    steps = sum(piece.stepped_back for piece in pieces_of(replace(series, nominal=moved)))
    odds = float(after.score[0] - before.score[0]) + STEP_WEIGHT * (was - steps) - one.unlikely
    if odds < CLEAR:
        return now
    return replace(now, fits=(Fit(one, odds, int(after.inside[0]), int(after.edges[0])),))


def exchange_s(shown: Seconds) -> Seconds:
    """Give how far an exchange of day and month moves each display. [s]"""
    days, back = np.unique(shown // DAY_S, return_inverse=True)
    moments = [EPOCH + timedelta(days=int(day)) for day in days]
    moves = [int((exchanged(moment) - moment).total_seconds()) for moment in moments]
    return np.array(moves, dtype=np.int64)[back]


def _keeps_time(fit: Fit, bursts: Bursts, ground: Ground) -> bool:
    """Say whether a shift by hours or minutes lays photos at comings of people at all.

    A free shift has to meet most of those while the camera worked: notes are rough, and of all
    free shifts one always meets some by chance.
    """
    kind = fit.candidate.kind
    if kind in {ClockFault.ONE_HOUR, ClockFault.TWELVE_HOURS}:
        return fit.edges > 0 or fit.odds >= CLEAR
    if kind is not ClockFault.MINUTES or fit.odds < FOUND:
        return True
    times = bursts.times + fit.candidate.shift
    times = times[ground.inside(times)]
    if not len(times):
        return False
    worked = (ground.edges >= times[0] - COMING_S) & (ground.edges <= times[-1] + COMING_S)
    comings = len(np.unique(ground.comings[worked]))
    return fit.edges >= max(LEAST_MET, MOSTLY_MET * comings)


def _by_light(fits: Sequence[Fit], light: Light | None) -> list[Fit]:
    """Add what the light says to the best shifts, and to twelve hours in any case."""
    if light is None:
        return list(fits)
    ordered = sorted(fits, key=_rank)
    result = []
    for place, fit in enumerate(ordered):
        odds = fit.odds
        by_hours = fit.candidate.kind in {ClockFault.TWELVE_HOURS, ClockFault.ONE_HOUR}
        if place < WEIGHED_BY_LIGHT or by_hours:
            odds += light.gain(fit.candidate.shift)
        result.append(Fit(fit.candidate, odds, fit.inside, fit.edges))
    return result


def _rank(fit: Fit) -> tuple[float, int, int]:
    """Give the order of fits: the better first, then the smaller shift, whatever came first."""
    return -fit.odds, abs(fit.candidate.shift), fit.candidate.shift


def _distinct(fits: Sequence[Fit]) -> list[Fit]:
    """Leave out a shift that hardly differs from a better one, or is as vague as a better one.

    A free shift next to the exact one of a known fault is that fault, read off a rough log; and
    one that is hardly better than a known fault is luck.
    """
    known = max((fit.odds for fit in fits if fit.candidate.kind not in FREE), default=-np.inf)
    exact = [
        fit.candidate.shift for fit in fits if fit.candidate.kind not in FREE and fit.odds >= FOUND
    ]
    kept: list[Fit] = []
    for fit in fits[: 20 * WEIGHED_BY_LIGHT]:
        kind, shift = fit.candidate.kind, fit.candidate.shift
        if kind in FREE and known >= max(FOUND, fit.odds - KNOWN_BETTER):
            continue
        others = [one.candidate.shift for one in kept] + (exact if kind in FREE else [])
        near = any(abs(shift - one) <= 2 * COMING_S for one in others)
        vague = kind in VAGUE and any(one.candidate.kind is kind for one in kept)
        if not (near or vague):
            kept.append(fit)
    return kept
