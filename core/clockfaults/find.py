"""Decide what speaks against a placement's clock: each rule in turn, one fault named once."""

from datetime import timedelta

import numpy as np

from core.clockfaults import cameras, checking, logfaults, resets, steps, words
from core.clockfaults.case import Case, Mask, case_of
from core.clockfaults.rows import ClockFault, ClockFinding, Confidence, Proposal, Seconds, Timeline
from core.clockfaults.series import EPOCH, Piece
from core.clockfaults.whole import CLEAR, Fit, Verdict, exchange_s, judge


def find_faults(line: Timeline) -> list[ClockFinding]:
    """List what speaks against a placement's clock, or against the log that it is held to.

    Nothing is changed. A finding with one proposal has chosen it; one with several shows ways
    that explain the photos equally well; one with none leaves it to a person.
    """
    case = case_of(line)
    if not len(case.series):
        return []
    anew = resets.part(case)
    main = np.ones(len(case.series), dtype=bool)
    for piece in anew:
        main[piece.places] = False
    times = checking.by_checks(case, main)
    found, times = _main(case, times, main)
    found += resets.findings(case, anew, times, main)
    drift = checking.drift(case, main)
    if drift is not None:
        found.append(drift)
    return found


def _main(case: Case, times: Seconds, main: Mask) -> tuple[list[ClockFinding], Seconds]:
    """Examine the photos whose clock ran on; give their times with what was chosen applied."""
    log_fault = logfaults.finding(case, times, main)
    if log_fault is not None:
        return [log_fault, *_steps(case, times, main)], times
    found: list[ClockFinding] = []
    whole = _whole(case, times, main)
    turn = steps.summer_time(case, times, main)
    if turn is not None and (whole is None or turn.odds >= whole[1]):
        found.append(steps.finding_of(case, [turn], times))
        times = times + np.where(turn.mask, turn.shift, 0)
    elif whole is not None:
        found.append(whole[0])
        times = times + _moves(case, whole[0].chosen, main)
    found += _steps(case, times, main)
    if not found:
        lights = _light(case, times, main)
        found += [lights] if lights is not None else []
    if not found:
        apart = cameras.finding(case, times, main)
        found += [apart] if apart is not None else []
    return found, times


def _moves(case: Case, chosen: Proposal | None, main: Mask) -> Seconds:
    moves = np.zeros(len(main), dtype=np.int64)
    if chosen is None:
        return moves
    if chosen.kind is ClockFault.DAY_MONTH_EACH:
        return np.where(main, exchange_s(case.series.shown), 0)
    return np.where(main, chosen.shift_s or 0, 0)


def _whole(case: Case, times: Seconds, main: Mask) -> tuple[ClockFinding, float] | None:
    """Say that one shift would put the card right; with how much speaks for it [log odds]."""
    ground = case.ground
    if ground is None or not main.any():
        return None
    verdict = judge(times[main], case.series.shown[main], ground, case.light, offset=case.offset)
    checks = case.checks_in(main)
    if not verdict.fits:
        if verdict.inside:
            return None
        return _nothing_fits(case, main), 0.0
    best = verdict.fits[0]
    if checks and (best.odds < CLEAR or verdict.inside):
        return None
    saw = _seen(case, times, main, verdict, best)
    look = "Look at the first and last photos, and for a watch or a phone held up in one."
    if checks:
        saw += f" Yet a clock check holds: the camera showed {checks[0].shown}."
        look = "Look at the clock check, the camera log and the tray log: one of them is wrong."
    proposals = () if checks else tuple(_proposal(case, fit, verdict, main) for fit in verdict.fits)
    if len(proposals) > 1:
        look += " Several shifts fit equally well; none is chosen."
    first, last = case.ends(main)
    clear = best.odds >= CLEAR and len(proposals) == 1
    finding = ClockFinding(
        case.line.placement.placement,
        best.candidate.kind,
        saw,
        int(main.sum()),
        Confidence.CLEAR if clear else Confidence.POSSIBLE,
        look,
        first,
        last,
        proposals,
    )
    return finding, best.odds


def _proposal(case: Case, fit: Fit, verdict: Verdict, main: Mask) -> Proposal:
    return case.proposal(
        fit.candidate.kind,
        fit.candidate.shift,
        main,
        bounds=_bounds(case, fit, main),
        explains=fit.inside - verdict.inside,
        edges=fit.edges,
    )


def _bounds(case: Case, fit: Fit, main: Mask) -> tuple[int, int] | None:
    """Bound a shift that no known fault gives exactly: all photos inside the stretch."""
    ground = case.ground
    free = {ClockFault.OTHER_DATE, ClockFault.DEFAULT_DATE}
    if ground is None or fit.candidate.kind not in free:
        return None
    times = case.series.nominal[main]
    ends = (ground.start - int(times.min()), ground.end - int(times.max()))
    return min(*ends, fit.candidate.shift), max(*ends, fit.candidate.shift)


def _seen(case: Case, times: Seconds, main: Mask, verdict: Verdict, best: Fit) -> str:
    many = int(main.sum())
    out = many - verdict.inside
    shown = [EPOCH + timedelta(seconds=int(one)) for one in _ends(case.series.shown[main])]
    after = many - best.inside
    text = (
        f"The camera showed {shown[0]} to {shown[1]}: {out} of {words.photos(many)} lie outside "
        f"the placement, and photos lie at {verdict.edges} of the {verdict.edges_all} times when "
        f"people came. With the change {after} lie outside, and {best.edges} of those times are met."
    )
    against = case.light.speaks_against() if case.light else None
    if against is not None and case.light is not None:
        left = case.light.against(best.candidate.shift)
        text += (
            f" {against.infrared_by_day} infrared bursts at high sun and {against.colour_by_night} "
            f"in colour at deep night would become {left.all}."
        )
    return text


def _ends(values: Seconds) -> tuple[int, int]:
    return int(values.min()), int(values.max())


def _nothing_fits(case: Case, main: Mask) -> ClockFinding:
    first, last = case.ends(main)
    shown = [EPOCH + timedelta(seconds=int(one)) for one in _ends(case.series.shown[main])]
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.OUTSIDE,
        f"None of {words.photos(int(main.sum()))} lies in the placement: the camera showed "
        f"{shown[0]} to {shown[1]}.",
        int(main.sum()),
        Confidence.POSSIBLE,
        "Look whether the card belongs to this placement, and at its row in the camera log.",
        first,
        last,
    )


def _steps(case: Case, times: Seconds, main: Mask) -> list[ClockFinding]:
    """Name the steps back that nothing else has explained."""
    found = []
    for piece in case.pieces:
        if piece.stepped_back and _still_back(piece, times, main):
            changes = steps.by_hand(case, times, main, piece)
            if changes:
                found.append(steps.finding_of(case, changes, times))
            else:
                found.append(steps.unexplained(case, piece, times))
    return found


def _still_back(piece: Piece, times: Seconds, main: Mask) -> bool:
    both = main[piece.first] and main[piece.first - 1]
    return bool(both and times[piece.first] < times[piece.first - 1])


def _light(case: Case, times: Seconds, main: Mask) -> ClockFinding | None:
    """Say that the light does not fit, where no shift is known that would make it fit."""
    against = case.light.speaks_against() if case.light else None
    if against is None or case.checks_in(main):
        return None
    first, last = case.ends(main)
    del times
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.LIGHT,
        f"{against.infrared_by_day} bursts are infrared at high sun and {against.colour_by_night} "
        f"in colour at deep night; {against.fitting} fit.",
        against.all,
        Confidence.POSSIBLE,
        "Look at these photos: is it day or night? Is the place of the placement right?",
        first,
        last,
    )
