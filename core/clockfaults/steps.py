"""Decide where a clock was changed while its camera stood there, and by how much."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.clockfaults import words
from core.clockfaults.candidates import UNLIKELY, named
from core.clockfaults.case import Case, Mask
from core.clockfaults.ground import NEAR_S, Ground
from core.clockfaults.judging import AS_GOOD, CLEAR, FOUND, STEP_WEIGHT
from core.clockfaults.rows import ClockFault, ClockFinding, Seconds
from core.clockfaults.series import HOUR_S, Piece
from core.clockfaults.weighing import bursts_of, weigh
from core.coverage.rows import Confidence

STEP_KINDS = {
    HOUR_S: ClockFault.ONE_HOUR,
    12 * HOUR_S: ClockFault.TWELVE_HOURS,
}


@dataclass(frozen=True, slots=True)
class Change:
    """One way to put a card right in which the clock was changed on the way."""

    kind: ClockFault
    shift: int
    """[s]"""
    mask: Mask
    """The photos that are shifted."""
    odds: float
    """For it and against the clock as it is. [log odds]"""
    step: int | None = None
    """Place of the photo in front of which the clock steps back, where it does."""
    met: int = 0
    """Comings of people that have photos through it, less those that lose theirs."""


def weighed(
    case: Case,
    ground: Ground,
    kind: ClockFault,
    shift: int,
    mask: Mask,
    times: Seconds,
    main: Mask,
) -> Change:
    """Weigh a shift [s] of some of a card's photos against the card as it is."""
    zero = np.zeros(1, dtype=np.int64)
    moved = times + np.where(mask, shift, 0)
    before = weigh(bursts_of(times[main]), ground, zero)
    after = weigh(bursts_of(moved[main]), ground, zero)
    steps = [one.first for one in case.pieces if one.stepped_back and main[one.first]]
    solved = [at for at in steps if mask[at] != mask[at - 1] and moved[at] >= moved[at - 1]]
    odds = float(after.score[0] - before.score[0]) + STEP_WEIGHT * len(solved) - UNLIKELY[kind]
    met = int(after.edges[0] - before.edges[0])
    return Change(kind, shift, mask, odds, solved[0] if solved else None, met)


def by_hand(case: Case, times: Seconds, main: Mask, piece: Piece) -> list[Change]:
    """Give the ways to explain a step back: the photos before it were fast, or those after slow.

    Only shifts of known faults are tried, and only where they undo the step.
    """
    ground = case.ground
    if ground is None:
        return []
    same = case.series.sequences == case.series.sequences[piece.first]
    places = np.arange(len(times))
    sides = {1: main & same & (places >= piece.first), -1: main & same & (places < piece.first)}
    step = int(times[piece.first - 1] - times[piece.first])
    found = [
        weighed(case, ground, kind, sign * size, mask, times, main)
        for sign, mask in sides.items()
        for size, kind in STEP_KINDS.items()
        if size >= step
    ]
    return _best(found)


def set_right(case: Case, times: Seconds, main: Mask, piece: Piece) -> list[Change]:
    """Give the ways to explain a piece that lies far before the next one: set right in between.

    A year or an exchange of day and month is tried, and has to lay photos at a coming of people
    that has none; else it is another trip on the card.
    """
    ground = case.ground
    mask = main & case.place_of(piece)
    rest = main & ~mask
    if ground is None or not mask.any() or not rest.any() or ground.inside(times[mask]).any():
        return []
    exact = {ClockFault.YEARS, ClockFault.DAY_MONTH}
    own = times[mask]
    before = int(times[piece.first - 1]) if piece.first else ground.start - NEAR_S
    after = int(times[piece.end]) if piece.end < len(times) else ground.end + NEAR_S
    found = [
        weighed(case, ground, one.kind, one.shift, mask, times, main)
        for one in named(bursts_of(own), ground, case.offset)
        if one.kind in exact and before <= int(own.max()) + one.shift <= after
    ]
    return _best([one for one in found if one.met > 0 and one.odds >= CLEAR])


def _best(found: list[Change]) -> list[Change]:
    if not found:
        return []
    found.sort(key=lambda one: -one.odds)
    return [one for one in found if one.odds >= max(FOUND, found[0].odds - AS_GOOD)]


def finding_of(case: Case, changes: Sequence[Change], times: Seconds) -> ClockFinding:
    """Say where the clock was changed, and what would put it right."""
    best = changes[0]
    file, saw = _seen(case, best, times)
    clear = best.odds >= CLEAR and len(changes) == 1
    first, last = case.ends(best.mask)
    return ClockFinding(
        case.line.placement.placement,
        best.kind,
        saw,
        int(best.mask.sum()),
        Confidence.CLEAR if clear else Confidence.POSSIBLE,
        f"Look at the photos of people before and after {file}: do they fit the times in the logs?",
        first,
        last,
        tuple(
            case.proposal(one.kind, one.shift, one.mask, explains=_gained(case, one, times))
            for one in changes
        ),
    )


def _seen(case: Case, change: Change, times: Seconds) -> tuple[str, str]:
    """Give the file at which a clock was changed, and what was seen there."""
    places = np.flatnonzero(change.mask)
    place = change.step if change.step is not None else int(places[0])
    file, last = case.file(place), case.file(int(places[-1]))
    off = words.span(change.shift)
    if change.kind is ClockFault.SUMMER_TIME:
        turn = words.moment(int(times[place]), case.line.zone)
        saw = f"From {file} on, after the turn of summer time before {turn}, the clock is {off} off"
    elif change.mask[place]:
        saw = f"From {file} to {last} the clock is {off} off"
    else:
        saw = f"Up to {last} the clock is {off} off, then it was set right before {file}"
    if change.step is not None:
        back = int(times[change.step - 1] - times[change.step])
        saw += f"; at {file} it steps back by {words.span(back)} against the order of the files"
    return file, f"{saw}."


def unexplained(case: Case, piece: Piece, times: Seconds) -> ClockFinding:
    """Say that a clock steps back, where nothing tells which side of the step is right."""
    back = int(times[piece.first - 1] - times[piece.first])
    file, before = case.file(piece.first), case.file(piece.first - 1)
    return ClockFinding(
        case.line.placement.placement,
        ClockFault.STEP,
        f"From {before} to {file} the clock steps back by {words.span(back)} against the order of "
        "the files: it was changed by at least as much.",
        len(piece),
        Confidence.POSSIBLE,
        f"Look at {before} and {file}: was somebody at the camera? Add a clock check before and "
        "one after.",
        int(case.series.ids[piece.first]),
        int(case.series.ids[piece.end - 1]),
    )


def _gained(case: Case, change: Change, times: Seconds) -> int:
    if case.ground is None:
        return 0
    before = case.ground.inside(times[change.mask]).sum()
    return int(case.ground.inside(times[change.mask] + change.shift).sum() - before)
