"""Decide which shifts of a clock are worth trying, and how likely each is before any photo."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from core.clockfaults.ground import COMING_S, EDGE_S, Ground
from core.clockfaults.rows import ClockFault
from core.clockfaults.series import DAY_S, HOUR_S, calendar
from core.clockfaults.weighing import Bursts

# All unlikelihoods are ours, in natural log odds: how much rarer than a clock that is right.
UNLIKELY = {
    ClockFault.ONE_HOUR: 4.0,
    ClockFault.TWELVE_HOURS: 4.0,
    ClockFault.YEARS: 4.0,
    ClockFault.DAY_MONTH: 4.0,
    ClockFault.DAY_MONTH_EACH: 4.5,
    ClockFault.SUMMER_TIME: 3.5,
    ClockFault.DEFAULT_DATE: 6.0,
    ClockFault.DAYS: 9.0,
    ClockFault.MINUTES: 9.0,
    ClockFault.OTHER_DATE: 14.0,
}
SET_BEFORE, SET_AT = timedelta(days=60), timedelta(days=2)
"""A clock is set at most so long before its camera is placed, mostly not longer than the second
(ours)."""
EARLY = 2.0
"""How much rarer a clock is that was set earlier (ours). [natural log odds]"""
MOST_DAYS = 1000
"""Whole days tried at the most; no further off is a date set by hand (ours)."""
LEAST_MINUTES_S, MOST_MINUTES_S = 600, 14 * HOUR_S
"""A free shift is looked for between these: no zone is further from another's noon. [s]"""
MOST_FREE = 60
"""So many free shifts are weighed, those with the most photos at edges."""
DEFAULT_WITHIN_S = HOUR_S
"""A clock that begins anew is first seen within so much of its default moment (ours). [s]"""
DEFAULT_WEEK_S, DEFAULT_FAR_S = 7 * DAY_S, 60 * DAY_S
"""So soon after a new year, and so far from the true time, a clock was not set at all (ours)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One constant shift, by the name of the fault that would make it."""

    kind: ClockFault
    shift: int
    """[s]"""
    early: bool = False
    """Whether the clock would have been set long before its camera was placed."""

    @property
    def unlikely(self) -> float:
        """Give how much rarer it is than a clock that is right. [natural log odds]"""
        return UNLIKELY[self.kind] + EARLY * self.early


def named(bursts: Bursts, ground: Ground, offset: int) -> list[Candidate]:
    """Give the exact shifts that known faults make, those that could put a photo in.

    Parameters
    ----------
    offset
        The clock's offset from UTC, for the dates that people read off it. [s]
    """
    found = [
        *(Candidate(ClockFault.ONE_HOUR, sign * HOUR_S) for sign in (1, -1)),
        *(Candidate(ClockFault.TWELVE_HOURS, sign * 12 * HOUR_S) for sign in (1, -1)),
        *(Candidate(ClockFault.YEARS, days * DAY_S) for days in _years(bursts, ground, offset)),
        *_exchanges(ground, offset),
    ]
    known = {one.shift for one in found}
    low, high = reach(bursts, ground)
    days = [
        Candidate(ClockFault.DAYS, number * DAY_S)
        for number in range(max(-(-low // DAY_S), -MOST_DAYS), min(high // DAY_S, MOST_DAYS) + 1)
        if number and number * DAY_S not in known
    ]
    return [one for one in found if low <= one.shift <= high] + days


def reach(bursts: Bursts, ground: Ground) -> tuple[int, int]:
    """Give the least and greatest shift under which any photo lies in the stretch. [s]"""
    low = ground.start - EDGE_S - int(bursts.times[-1])
    high = ground.end + EDGE_S - int(bursts.times[0])
    return low, high


def _set_dates(ground: Ground, offset: int) -> list[date]:
    """Give the true dates on which a clock may have been set, the newest first."""
    start = calendar(ground.start + offset).date()
    return [start + timedelta(days=1 - before) for before in range(SET_BEFORE.days + 2)]


def _exchanges(ground: Ground, offset: int) -> list[Candidate]:
    """Give the shifts that put a clock right that was set with day and month exchanged."""
    december = 12
    start = calendar(ground.start + offset).date()
    found: dict[int, Candidate] = {}
    for day in _set_dates(ground, offset):
        if day.day <= december and day.day != day.month:
            days = (day - day.replace(month=day.day, day=day.month)).days
            early = start - day > SET_AT
            found.setdefault(days, Candidate(ClockFault.DAY_MONTH, days * DAY_S, early))
    return list(found.values())


def _years(bursts: Bursts, ground: Ground, offset: int) -> list[int]:
    """Give the days [days] to add to a clock set to a wrong year, by the calendar of the day.

    A clock runs on after it is set, so the days stay those of the date on which it was set, even
    where a leap day comes between.
    """
    shown = calendar(int(bursts.times[0]) + offset).year
    true = calendar(ground.start + offset).year
    found: set[int] = set()
    for day in _set_dates(ground, offset):
        if (day.month, day.day) == (2, 29):
            continue
        for years in range(true - shown - 1, true - shown + 2):
            if years and 1 <= day.year - years <= 9999:  # noqa: PLR2004  (the calendar's own)
                found.add((day - day.replace(year=day.year - years)).days)
    return sorted(found)


def free(bursts: Bursts, ground: Ground, known: Iterable[int]) -> list[Candidate]:
    """Give the shifts, to the minute, under which most edges would have photos at them."""
    most = MOST_MINUTES_S // 60
    votes = np.zeros(2 * most + 1, dtype=np.int64)
    for edge in ground.edges.tolist():
        first, end = np.searchsorted(bursts.times, [edge - MOST_MINUTES_S, edge + MOST_MINUTES_S])
        minutes = np.unique(np.rint((edge - bursts.times[first:end]) / 60).astype(np.int64))
        votes[minutes + most] += 1
    wide = np.convolve(votes, np.ones(2 * (COMING_S // 60) + 1, dtype=np.int64), mode="same")
    rank = votes + 4 * wide
    shifts = (np.arange(len(votes)) - most) * 60
    rank[np.abs(shifts) < LEAST_MINUTES_S] = 0
    for one in known:
        rank[np.abs(shifts - one) <= COMING_S] = 0
    best = np.argsort(-rank, kind="stable")[:MOST_FREE]
    return [Candidate(ClockFault.MINUTES, int(shifts[at])) for at in best if rank[at] > 0]


def other_dates(bursts: Bursts, ground: Ground, kind: ClockFault) -> list[Candidate]:
    """Give the shifts that lay the first or last photos of a card at a coming of people."""
    turns = np.concatenate((bursts.starts[:3], bursts.times[-1:]))
    shifts = np.unique(ground.edges[:, None] - turns[None, :])
    low, high = reach(bursts, ground)
    return [Candidate(kind, shift) for shift in shifts.tolist() if low <= shift <= high]


def default_moment(shown: int) -> int | None:
    """Give the default moment [s] a clock has just begun from; None where none is near.

    Cameras begin anew at midnight or noon of 1 January of some year (common practice).
    """
    since = _since_new_year(shown)
    for begun in (0, DAY_S // 2):
        if begun <= since <= begun + DEFAULT_WITHIN_S:
            return shown - since + begun
    return None


def is_default(shown: int, true: int) -> bool:
    """Say whether a clock that showed this [s], far from the true time [s], was never set."""
    if default_moment(shown) is not None:
        return True
    return _since_new_year(shown) <= DEFAULT_WEEK_S and abs(shown - true) > DEFAULT_FAR_S


def _since_new_year(shown: int) -> int:
    moment = calendar(shown)
    new_year = moment.replace(month=1, day=1, hour=0, minute=0, second=0)
    return int((moment - new_year).total_seconds())
