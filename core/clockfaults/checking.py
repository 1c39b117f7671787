"""Decide what the clock checks of a card say of it: its line, and drift that is none."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from core.clockfaults import words
from core.clockfaults.case import Case, Mask
from core.clockfaults.rows import ClockFault, ClockFinding, Confidence, Seconds
from core.clockfaults.series import DAY_S, Check
from core.clocks import Clock, correct

FAST_DRIFT_S_PER_DAY = 60
"""A clock that drifts faster was more likely changed or its checks mistyped (a judgement, no
source). [s/day]"""
LEAST_RUN_S = DAY_S // 4
"""Checks closer to each other than this say nothing of drift: reading a watch is no better. [s]"""


def by_checks(case: Case, mask: Mask) -> Seconds:
    """Give the photos' times by the checks among them; without checks they stay nominal.

    Checks that run backwards, or drift faster than a clock does, are no line: the nearest
    holds for each photo.
    """
    times = case.series.nominal.copy()
    checks = case.checks_in(mask)
    if not checks:
        return times
    if _is_line(checks):
        clock = Clock(
            case.series.zone,
            nominal=tuple(check.nominal for check in checks),
            true=tuple(check.true for check in checks),
        )
        times[mask] = correct(times[mask], clock)[0]
        return times
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
