"""Decide which photos a camera took after it changed to or from summer time by itself."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from core.clockfaults.case import Case, Mask
from core.clockfaults.judging import FOUND
from core.clockfaults.rows import ClockFault, Seconds
from core.clockfaults.series import DAY_S
from core.clockfaults.steps import Change, weighed


def summer_time(case: Case, times: Seconds, main: Mask) -> Change | None:
    """Give the change at a turn of summer time that a camera made, or left out, by itself.

    A clock logged with a fixed offset should not change and did; one logged with a zone should
    and did not. Either way the photos after the turn are off by as much as the turn.
    """
    if case.ground is None:
        return None
    found = [
        weighed(case, case.ground, ClockFault.SUMMER_TIME, shift, after, times, main)
        for shift, after in turned(case, times, main)
    ]
    likely = [one for one in found if one.odds >= FOUND]
    return max(likely, key=lambda one: one.odds, default=None)


def turned(case: Case, times: Seconds, main: Mask) -> Iterator[tuple[int, Mask]]:
    """Give the shift [s] of each turn on the card, and the photos it would be for."""
    for turn, change in _turns(case, times[main]):
        shift = change if isinstance(case.series.zone, ZoneInfo) else -change
        after = _after(case, times, main, turn, shift)
        if after is not None and after.any() and (main & ~after).any():
            yield shift, after


def _turns(case: Case, times: Seconds) -> Iterator[tuple[int, int]]:
    """Give the turns within a placement and its card: when [s], and by how much [s]."""
    if case.ground is None or len(times) < 2:  # noqa: PLR2004
        return
    zone = case.line.zone
    day = max(int(times.min()), case.ground.start - DAY_S)
    end = min(int(times.max()), case.ground.end + DAY_S)
    before = _offset(zone, day)
    while day < end:
        following = min(day + 7 * DAY_S, end)
        after = _offset(zone, following)
        if after != before:
            yield _moment_of_turn(zone, day, following), after - before
        day, before = following, after


def _offset(zone: ZoneInfo, moment: int) -> int:
    offset = datetime.fromtimestamp(moment, UTC).astimezone(zone).utcoffset() or timedelta(0)
    return int(offset.total_seconds())


def _moment_of_turn(zone: ZoneInfo, low: int, high: int) -> int:
    before = _offset(zone, low)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _offset(zone, middle) == before else (low, middle)
    return high


def _after(case: Case, times: Seconds, main: Mask, turn: int, shift: int) -> Mask | None:
    """Give the photos after a turn; None where the clock shows an hour it would have skipped.

    Where the clock went back by itself, an hour is shown twice: the step back in the files parts
    it, else the longest silence does.
    """
    if shift < 0:
        skipped = main & (times >= turn) & (times < turn - shift)
        return None if skipped.any() else _mask(main & (times >= turn))
    for piece in case.pieces:
        before = int(times[piece.first - 1]) if piece.first else 0
        near = turn - shift <= times[piece.first] < turn and before < turn + shift
        if piece.stepped_back and near:
            same = case.series.sequences == case.series.sequences[piece.first]
            later = np.arange(len(times)) >= piece.first
            return _mask(main & np.where(same, later, times >= turn))
    twice = np.sort(times[main & (times >= turn - shift) & (times <= turn)])
    edges = np.concatenate(([turn - shift], twice, [turn]))
    widest = int(np.argmax(np.diff(edges)))
    return _mask(main & (times > edges[widest]) & (times >= turn - shift))


def _mask(found: Mask) -> Mask:
    return np.asarray(found, dtype=np.bool_)
