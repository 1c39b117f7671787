"""Decide what is said of a card that one shift, or one exchange, would put right as a whole."""

import numpy as np

from core.clockfaults import words
from core.clockfaults.case import Case, Mask
from core.clockfaults.ground import EDGE_S
from core.clockfaults.judging import AS_GOOD, CLEAR, VAGUE, Fit, Verdict, judge, judge_each
from core.clockfaults.rows import ClockFault, ClockFinding, Proposal, Seconds
from core.clockfaults.series import calendar
from core.coverage.rows import Confidence

MAY_BE_ELSEWHERE = {ClockFault.DAYS, ClockFault.OTHER_DATE}
"""Shifts that would bring in any card of another placement, too."""


def each_exchanged(case: Case) -> ClockFinding | None:
    """Say that day and month are exchanged in each photo, where that alone puts a card right."""
    if case.ground is None or case.checks:
        return None
    verdict = judge_each(case.series, case.ground, case.pieces)
    if not verdict.fits:
        return None
    everything = np.ones(len(case.series), dtype=np.bool_)
    constant = judge(case.series.nominal, case.ground, case.light, offset=case.offset)
    if constant.fits and constant.fits[0].odds + AS_GOOD >= verdict.fits[0].odds:
        return None
    return _finding(case, case.series.nominal, everything, verdict)


def shifted(case: Case, times: Seconds, main: Mask) -> tuple[ClockFinding, float] | None:
    """Say that one shift would put the card right; with how much speaks for it [log odds]."""
    ground = case.ground
    if ground is None or not main.any():
        return None
    verdict = judge(times[main], ground, case.light_at(times, main), offset=case.offset)
    if not verdict.fits:
        outside = not verdict.inside and ground.far(times[main]).any()
        return (_nothing_fits(case, main), 0.0) if outside else None
    best = verdict.fits[0]
    if case.checks_in(main) and (best.odds < CLEAR or verdict.inside):
        return None
    return _finding(case, times, main, verdict), best.odds


def _finding(case: Case, times: Seconds, main: Mask, verdict: Verdict) -> ClockFinding:
    best = verdict.fits[0]
    checks = case.checks_in(main)
    proposals = () if checks else tuple(_proposal(case, fit, verdict, times[main], main)
                                        for fit in verdict.fits)  # fmt: skip
    elsewhere = not verdict.inside and best.candidate.kind in MAY_BE_ELSEWHERE
    clear = best.odds >= CLEAR and len(proposals) == 1 and not elsewhere
    saw = _seen(case, times, main, verdict)
    if checks:
        saw += f" Yet a clock check holds: the camera showed {checks[0].shown}."
    first, last = case.ends(main)
    return ClockFinding(
        case.line.placement.placement,
        best.candidate.kind,
        saw,
        int(main.sum()),
        Confidence.CLEAR if clear else Confidence.POSSIBLE,
        _look(checked=bool(checks), several=len(proposals) > 1, elsewhere=elsewhere),
        first,
        last,
        proposals,
    )


def _look(*, checked: bool, several: bool, elsewhere: bool) -> str:
    if checked:
        return "Look at the clock check, the camera log and the tray log: one of them is wrong."
    look = "Look at the first and last photos, and for a watch or a phone held up in one."
    if elsewhere:
        look += " Is it the right card, and the right row of the camera log?"
    if several:
        look += " Several shifts fit equally well; none is chosen."
    return look


def _proposal(case: Case, fit: Fit, verdict: Verdict, times: Seconds, main: Mask) -> Proposal:
    return case.proposal(
        fit.candidate.kind,
        fit.candidate.shift,
        main,
        bounds=_bounds(case, fit, times),
        explains=fit.inside - verdict.inside,
        edges=fit.edges,
    )


def _bounds(case: Case, fit: Fit, times: Seconds) -> tuple[int, int] | None:
    """Bound a shift that no known fault gives exactly: what it brings in stays in."""
    ground, shift = case.ground, fit.candidate.shift
    if ground is None or fit.candidate.kind not in VAGUE:
        return None
    inside = times[ground.inside(times + shift)]
    if not len(inside):
        return None
    low = ground.start - EDGE_S - int(inside.min())
    high = ground.end + EDGE_S - int(inside.max())
    return min(low, shift), max(high, shift)


def _seen(case: Case, times: Seconds, main: Mask, verdict: Verdict) -> str:
    many, best = int(main.sum()), verdict.fits[0]
    text = (
        f"{_shown(case, main)} {many - verdict.inside} of {words.photos(many)} lie outside the "
        f"placement, and photos lie at {verdict.edges} of the {verdict.edges_all} times when "
        f"people came. With the change {many - best.inside} lie outside, and {best.edges} of "
        "those times are met."
    )
    light = case.light_at(times, main)
    against = light.speaks_against() if light else None
    if light is None or against is None:
        return text
    left = light.against(best.candidate.shift).all
    return f"{text} {words.light(against)}; with the change {left} bursts do not fit."


def _shown(case: Case, main: Mask) -> str:
    shown = case.series.shown[main]
    first, last = (calendar(int(one)) for one in (shown.min(), shown.max()))
    return f"The camera showed {first} to {last}."


def _nothing_fits(case: Case, main: Mask) -> ClockFinding:
    first, last = case.ends(main)
    many = int(main.sum())
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.OUTSIDE,
        f"{_shown(case, main)} {many} of {words.photos(many)} lie outside the placement.",
        many,
        Confidence.POSSIBLE,
        "Look whether the card belongs to this placement, and at its row in the camera log.",
        first,
        last,
    )
