"""Decide what the clock checks of a card say of it: its line, and drift that is none."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from core.clockfaults import words
from core.clockfaults.case import Case, Mask
from core.clockfaults.rows import ClockFault, ClockFinding, Seconds
from core.clockfaults.series import DAY_S, Check, Piece
from core.clockfaults.steps import STEP_KINDS, Change
from core.clockfaults.summertime import turned
from core.clocks import Clock, correct
from core.coverage.rows import Confidence

FAST_DRIFT_S_PER_DAY = 60
"""A clock that drifts faster was more likely changed or its checks mistyped (a judgement, no
source). [s/day]"""
LEAST_RUN_S = DAY_S // 4
"""Checks closer to each other than this say nothing of drift: reading a watch is no better. [s]"""
READ_S = 180
"""Two readings of a watch differ by no more (ours). [s]"""
PROVED = 99.0
"""What a clock check weighs: as much as anything. [log odds]"""


def by_checks(case: Case, mask: Mask) -> Seconds:
    """Give the photos' times by the checks among them; without checks they stay nominal.

    Checks that run backwards are no line: the nearest in the order of the files holds.
    """
    times = case.series.nominal.copy()
    checks = case.checks_in(mask)
    if checks and not _is_line(checks):
        return by_nearest(case, mask)
    if checks:
        clock = Clock(
            case.series.zone,
            nominal=tuple(check.nominal for check in checks),
            true=tuple(check.true for check in checks),
        )
        times[mask] = correct(times[mask], clock)[0]
    return times


def by_nearest(case: Case, mask: Mask) -> Seconds:
    """Give the photos' times by the check nearest to each in the order of the files."""
    times = case.series.nominal.copy()
    checks = case.checks_in(mask)
    places = np.array([check.place for check in checks])
    shifts = np.array([check.true - check.nominal for check in checks], dtype=np.int64)
    own = np.flatnonzero(mask)
    nearest = np.abs(own[:, None] - places[None, :]).argmin(axis=1)
    times[own] += shifts[nearest]
    return times


def _is_line(checks: Sequence[Check]) -> bool:
    return all(
        after.true > before.true and after.nominal > before.nominal
        for before, after in pairwise(checks)
    )


def told(case: Case, mask: Mask) -> Change | None:
    """Give the change of a clock that two neighbouring checks prove, where its place is known.

    They differ by more than a clock drifts, and the clock steps back between them, or a turn of
    summer time lies there that makes just that difference.
    """
    for before, after in pairwise(sorted(case.checks_in(mask), key=lambda check: check.place)):
        first, second = before.true - before.nominal, after.true - after.nominal
        days = max(abs(after.nominal - before.nominal) / DAY_S, LEAST_RUN_S / DAY_S)
        if abs(second - first) <= max(READ_S, FAST_DRIFT_S_PER_DAY * days):
            continue
        between = [one for one in case.pieces
                   if one.stepped_back and before.place < one.first <= after.place]  # fmt: skip
        if len(between) == 1:
            return _at_step(case, mask, between[0], first, second)
        for shift, turned_mask in turned(case, case.series.nominal, mask):
            apart = not turned_mask[before.place] and turned_mask[after.place]
            if apart and abs(second - first - shift) <= READ_S:
                return Change(ClockFault.SUMMER_TIME, shift, turned_mask, PROVED)
    return None


def _at_step(case: Case, mask: Mask, piece: Piece, first: int, second: int) -> Change:
    """Shift the side of a step that is further from the true time, as far as its check says."""
    same = case.series.sequences == case.series.sequences[piece.first]
    later = np.arange(len(case.series)) >= piece.first
    if abs(second) >= abs(first):
        return Change(_kind(second - first), second - first, mask & same & later, PROVED,
                      piece.first)  # fmt: skip
    return Change(_kind(first - second), first - second, mask & same & ~later, PROVED, piece.first)


def _kind(shift: int) -> ClockFault:
    """Name a shift that a check has told."""
    for size, kind in STEP_KINDS.items():
        if abs(abs(shift) - size) <= READ_S:
            return kind
    days = abs(shift) / DAY_S
    if round(days) and abs(abs(shift) - round(days) * DAY_S) <= READ_S:
        return ClockFault.DAYS
    return ClockFault.STEP


def drift(case: Case, mask: Mask) -> ClockFinding | None:
    """Say where two neighbouring checks drift apart faster than a clock does."""
    worst: tuple[float, Check, Check] | None = None
    for before, after in pairwise(case.checks_in(mask)):
        run = after.nominal - before.nominal
        if run < LEAST_RUN_S:
            continue
        rate = ((after.true - before.true) - run) / (run / DAY_S)
        if abs(rate) > FAST_DRIFT_S_PER_DAY and (worst is None or abs(rate) > abs(worst[0])):
            worst = (rate, before, after)
    if worst is None:
        return None
    rate, before, after = worst
    apart = (after.true - before.true) - (after.nominal - before.nominal)
    between = (case.series.nominal >= before.nominal) & (case.series.nominal <= after.nominal)
    first, last = case.ends(mask)
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.DRIFT,
        f"Between the checks at {before.shown} and {after.shown} the clock goes {rate:+.0f} s a "
        f"day, {words.span(apart)} in all. That is more likely a clock that was changed on the "
        "way, or a mistyped check; until then the difference is spread evenly over the photos.",
        int((between & mask).sum()),
        Confidence.POSSIBLE,
        "Look at both checks and the photos they name. If the clock was changed between them, "
        "add a check before and after the change.",
        first,
        last,
    )
