"""Decide what speaks against a placement's clock: each rule in turn, one fault named once."""

from dataclasses import replace
from datetime import timedelta

import numpy as np

from core.clockfaults import cameras, checking, logfaults, resets, steps, words
from core.clockfaults.case import Case, Mask, case_of
from core.clockfaults.ground import EDGE_S
from core.clockfaults.rows import ClockFault, ClockFinding, Confidence, Proposal, Seconds, Timeline
from core.clockfaults.series import EPOCH, Piece
from core.clockfaults.whole import AS_GOOD, CLEAR, Fit, Verdict, judge, judge_each


def find_faults(line: Timeline) -> list[ClockFinding]:
    """List what speaks against a placement's clock, or against the log that it is held to.

    Nothing is changed. A finding with one proposal has chosen it; one with several shows ways
    that explain the photos equally well; one with none leaves it to a person.
    """
    case = case_of(line)
    if not len(case.series):
        return []
    each = _each(case)
    if each is not None:
        return [each]
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


def _each(case: Case) -> ClockFinding | None:
    """Say that day and month are exchanged in each photo, where that alone puts a card right."""
    everything = np.ones(len(case.series), dtype=bool)
    if case.ground is None or case.checks:
        return None
    verdict = judge_each(case.series, case.ground, case.pieces)
    if not verdict.fits:
        return None
    times = case.series.nominal
    constant = judge(times, case.ground, case.light, offset=case.offset)
    if constant.fits and constant.fits[0].odds + AS_GOOD >= verdict.fits[0].odds:
        return None
    return _whole_finding(case, times, everything, verdict)


def _main(case: Case, times: Seconds, main: Mask) -> tuple[list[ClockFinding], Seconds]:
    """Examine the photos whose clock ran on; give their times with what was chosen applied."""
    log_fault = logfaults.finding(case, times, main)
    if log_fault is not None:
        return [log_fault, *_steps(case, times, main)], times
    whole = _whole(case, times, main)
    changes = _changes(case, times, main)
    if changes and (whole is None or changes[0].odds >= whole[1]):
        one, best = steps.finding_of(case, changes, times), changes[0].odds
        other = whole[0] if whole and best - whole[1] <= AS_GOOD else None
    elif whole is not None:
        one, best = whole
        near = [change for change in changes if best - change.odds <= AS_GOOD]
        other = steps.finding_of(case, near, times) if near else None
    else:
        return _rest(case, times, main), times
    if other is not None and other.proposals and one.proposals:
        one = replace(one, proposals=one.proposals + other.proposals, confidence=Confidence.POSSIBLE)
    times = times + _moves(case, one.chosen)
    return [one, *(_steps(case, times, main) if one.chosen is not None else [])], times


def _rest(case: Case, times: Seconds, main: Mask) -> list[ClockFinding]:
    """Give what speaks against a card whose place in time nothing would mend."""
    steps_back = _steps(case, times, main)
    if steps_back:
        return steps_back
    found = _light(case, main) or cameras.finding(case, times, main)
    return [found] if found is not None else []


def _changes(case: Case, times: Seconds, main: Mask) -> list[steps.Change]:
    """Give the best explanation by a clock that was changed on the way, and those as good."""
    ways = [steps.by_hand(case, times, main, piece) for piece in case.pieces
            if piece.stepped_back and _still_back(piece, times, main)]  # fmt: skip
    turn = steps.summer_time(case, times, main)
    ways += [[turn]] if turn is not None else []
    ways += [steps.set_right(case, times, main, piece) for piece in case.pieces]
    return max((way for way in ways if way), key=lambda way: way[0].odds, default=[])


def _moves(case: Case, chosen: Proposal | None) -> Seconds:
    """Give how far a proposal moves each photo. [s]"""
    moves = np.zeros(len(case.series), dtype=np.int64)
    places = {number: at for at, number in enumerate(case.series.ids.tolist())}
    for one in chosen.corrections if chosen is not None else ():
        first = 0 if one.first_photo is None else places[one.first_photo]
        last = len(moves) - 1 if one.last_photo is None else places[one.last_photo]
        moves[first : last + 1] += one.shift_s
    return moves


def _whole(case: Case, times: Seconds, main: Mask) -> tuple[ClockFinding, float] | None:
    """Say that one shift would put the card right; with how much speaks for it [log odds]."""
    ground = case.ground
    if ground is None or not main.any():
        return None
    verdict = judge(times[main], ground, case.light, offset=case.offset)
    checks = case.checks_in(main)
    if not verdict.fits:
        if verdict.inside or not ground.far(times[main]).any():
            return None
        return _nothing_fits(case, main), 0.0
    best = verdict.fits[0]
    if checks and (best.odds < CLEAR or verdict.inside):
        return None
    return _whole_finding(case, times, main, verdict), best.odds


def _whole_finding(case: Case, times: Seconds, main: Mask, verdict: Verdict) -> ClockFinding:
    best = verdict.fits[0]
    checks = case.checks_in(main)
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
    return ClockFinding(
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
    shift = fit.candidate.shift
    times = case.series.nominal[main] + shift
    times = times[ground.inside(times)]
    if not len(times):
        return None
    low = ground.start - EDGE_S - int(times.min())
    high = ground.end + EDGE_S - int(times.max())
    return shift + min(low, 0), shift + max(high, 0)


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


def _light(case: Case, main: Mask) -> ClockFinding | None:
    """Say that the light does not fit, where no shift is known that would make it fit."""
    against = case.light.speaks_against() if case.light else None
    if against is None or case.checks_in(main):
        return None
    first, last = case.ends(main)
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
