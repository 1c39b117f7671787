"""Decide what speaks against a placement's clock: each rule in turn, one fault named once."""

from dataclasses import replace

import numpy as np

from core.clockfaults import cameras, checking, logfaults, resets, steps, whole, words
from core.clockfaults.case import Case, Mask, case_of
from core.clockfaults.judging import AS_GOOD
from core.clockfaults.rows import ClockFault, ClockFinding, Proposal, Seconds, Timeline
from core.clockfaults.series import Piece
from core.clockfaults.summertime import summer_time
from core.coverage.rows import Confidence


def find_faults(line: Timeline) -> list[ClockFinding]:
    """List what speaks against a placement's clock, or against the log that it is held to.

    Nothing is changed. A finding with one proposal has chosen it; one with several shows ways
    that explain the photos equally well; one with none leaves it to a person.
    """
    case = case_of(line)
    if not len(case.series):
        return []
    each = whole.each_exchanged(case)
    if each is not None:
        return [each]
    anew = resets.part(case)
    main = np.ones(len(case.series), dtype=bool)
    for piece in anew:
        main[piece.places] = False
    change = checking.told(case, main)
    if change is not None:
        found = [steps.finding_of(case, [change], case.series.nominal)]
        times = checking.by_nearest(case, main)
    else:
        found, times = _main(case, checking.by_checks(case, main), main)
        drift = checking.drift(case, main)
        found += [drift] if drift is not None else []
    return [*found, *resets.findings(case, anew, times, main)]


def _main(case: Case, times: Seconds, main: Mask) -> tuple[list[ClockFinding], Seconds]:
    """Examine the photos whose clock ran on; give their times with what was chosen applied."""
    log_fault = logfaults.finding(case, times, main)
    if log_fault is not None:
        return [log_fault, *_steps(case, times, main)], times
    one_shift = whole.shifted(case, times, main)
    changes = _changes(case, times, main)
    if changes and (one_shift is None or changes[0].odds >= one_shift[1]):
        one, best = steps.finding_of(case, changes, times), changes[0].odds
        other = one_shift[0] if one_shift and best - one_shift[1] <= AS_GOOD else None
    elif one_shift is not None:
        one, best = one_shift
        near = [change for change in changes if best - change.odds <= AS_GOOD]
        other = steps.finding_of(case, near, times) if near else None
    else:
        return _rest(case, times, main), times
    if other is not None and other.proposals and one.proposals:
        one = replace(
            one, proposals=one.proposals + other.proposals, confidence=Confidence.POSSIBLE
        )
    times = times + _moves(case, one.chosen)
    return [one, *(_steps(case, times, main) if one.chosen is not None else [])], times


def _rest(case: Case, times: Seconds, main: Mask) -> list[ClockFinding]:
    """Give what speaks against a card whose place in time nothing would mend."""
    steps_back = _steps(case, times, main)
    if steps_back:
        return steps_back
    found = _light(case, times, main) or cameras.finding(case, times, main)
    return [found] if found is not None else []


def _changes(case: Case, times: Seconds, main: Mask) -> list[steps.Change]:
    """Give the best explanation by a clock that was changed on the way, and those as good.

    A turn of summer time explains the hour at which the clock was changed as well.
    """
    ways = [steps.set_right(case, times, main, piece) for piece in case.pieces]
    ways += [steps.by_hand(case, times, main, piece) for piece in _back(case, times, main)]
    best = max((way for way in ways if way), key=lambda way: way[0].odds, default=[])
    turn = summer_time(case, times, main)
    if turn is not None and (not best or turn.odds >= best[0].odds - AS_GOOD):
        return [turn]
    return best


def _moves(case: Case, chosen: Proposal | None) -> Seconds:
    """Give how far a proposal moves each photo. [s]"""
    moves = np.zeros(len(case.series), dtype=np.int64)
    places = {number: at for at, number in enumerate(case.series.ids.tolist())}
    for one in chosen.corrections if chosen is not None else ():
        first = 0 if one.first_photo is None else places[one.first_photo]
        last = len(moves) - 1 if one.last_photo is None else places[one.last_photo]
        moves[first : last + 1] += one.shift_s
    return moves


def _steps(case: Case, times: Seconds, main: Mask) -> list[ClockFinding]:
    """Name the steps back that nothing else has explained."""
    found = []
    for piece in _back(case, times, main):
        changes = steps.by_hand(case, times, main, piece)
        explained = steps.finding_of(case, changes, times) if changes else None
        found.append(explained or steps.unexplained(case, piece, times))
    return found


def _back(case: Case, times: Seconds, main: Mask) -> list[Piece]:
    """Give the pieces in front of which the clock still steps back."""
    return [
        one
        for one in case.pieces
        if one.stepped_back
        and main[one.first]
        and main[one.first - 1]
        and times[one.first] < times[one.first - 1]
    ]


def _light(case: Case, times: Seconds, main: Mask) -> ClockFinding | None:
    """Say that the light does not fit, where no shift is known that would make it fit."""
    light = case.light_at(times, main)
    against = light.speaks_against() if light else None
    if against is None or case.checks_in(main):
        return None
    first, last = case.ends(main)
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.LIGHT,
        f"{words.light(against)}; {against.fitting} bursts fit.",
        against.all,
        Confidence.POSSIBLE,
        "Look at these photos: is it day or night? Is the place of the placement right?",
        first,
        last,
    )
