"""Decide where a clock was changed while its camera stood there, and by how much."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from core.clockfaults import words
from core.clockfaults.candidates import UNLIKELY, named
from core.clockfaults.case import Case, Mask
from core.clockfaults.ground import Ground
from core.clockfaults.rows import ClockFault, ClockFinding, Confidence, Seconds
from core.clockfaults.series import DAY_S, HOUR_S, Piece
from core.clockfaults.weighing import bursts_of, weigh
from core.clockfaults.whole import AS_GOOD, CLEAR, FOUND, STEP_WEIGHT

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
    step: int | None
    """Place of the photo in front of which the clock steps back, where it does."""
    met: int
    """Comings of people that have photos through it, less those that lose theirs."""


def summer_time(case: Case, times: Seconds, main: Mask) -> Change | None:
    """Give the change at a turn of summer time that a camera made, or left out, by itself.

    A clock logged with a fixed offset should not change and did; one logged with a zone should
    and did not. Either way the photos after the turn are off by as much as the turn.
    """
    if case.ground is None or main.sum() < 2:  # noqa: PLR2004
        return None
    best: Change | None = None
    for turn, change in _turns(case.line.zone, times[main]):
        switches = isinstance(case.series.zone, ZoneInfo)
        shift = change if switches else -change
        after = _after(case, times, main, turn, shift)
        if after is None:
            continue
        found = _weighed(case, case.ground, ClockFault.SUMMER_TIME, shift, after, times, main)
        if found.odds >= FOUND and (best is None or found.odds > best.odds):
            best = found
    return best


def _turns(zone: ZoneInfo, times: Seconds) -> Iterator[tuple[int, int]]:
    """Give the turns of summer time within some times: when [s], and by how much [s]."""
    day = int(times.min())
    end = int(times.max())
    before = _offset(zone, day)
    while day < end:
        following = min(day + 7 * DAY_S, end)
        after = _offset(zone, following)
        if after != before:
            yield _turn_between(zone, day, following), after - before
        day, before = following, after


def _offset(zone: ZoneInfo, moment: int) -> int:
    offset = datetime.fromtimestamp(moment, UTC).astimezone(zone).utcoffset() or timedelta(0)
    return int(offset.total_seconds())


def _turn_between(zone: ZoneInfo, low: int, high: int) -> int:
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
        return None if skipped.any() else main & (times >= turn)
    for piece in case.pieces:
        before = times[piece.first - 1] if piece.first else 0
        near = turn - shift <= times[piece.first] < turn and before < turn + shift
        if piece.stepped_back and near:
            places = np.arange(len(times))
            same = case.series.sequences == case.series.sequences[piece.first]
            return main & np.where(same, places >= piece.first, times >= turn)
    twice = np.sort(times[main & (times >= turn - shift) & (times <= turn)])
    edges = np.concatenate(([turn - shift], twice, [turn]))
    widest = int(np.argmax(np.diff(edges)))
    return main & (times > edges[widest]) & (times >= turn - shift)


def _weighed(
    case: Case,
    ground: Ground,
    kind: ClockFault,
    shift: int,
    mask: Mask,
    times: Seconds,
    main: Mask,
) -> Change:
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
        _weighed(case, ground, kind, sign * size, mask, times, main)
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
    following = int(times[piece.end]) if piece.end < len(times) else ground.end
    found = [
        _weighed(case, ground, one.kind, one.shift, mask, times, main)
        for one in named(bursts_of(times[mask]), ground, case.offset)
        if one.kind in exact and int(times[mask].max()) + one.shift <= following
    ]
    return _best([one for one in found if one.met > 0 and one.odds >= CLEAR])


def _best(found: list[Change]) -> list[Change]:
    if not found:
        return []
    found.sort(key=lambda one: -one.odds)
    return [one for one in found if one.odds >= max(FOUND, found[0].odds - AS_GOOD)]


def finding_of(case: Case, changes: list[Change], times: Seconds) -> ClockFinding:
    """Say where the clock was changed, and what would put it right."""
    best = changes[0]
    place = best.step if best.step is not None else int(np.flatnonzero(best.mask)[0])
    file = _file(case, place)
    saw = f"From {file} on the clock is off by {words.span(best.shift)}"
    if best.kind is ClockFault.SUMMER_TIME:
        saw += f", from the turn of summer time before {words.moment(int(times[place]), case.line.zone)}"  # noqa: E501
    if best.step is not None:
        back = int(times[best.step - 1] - times[best.step])
        saw += f"; there it steps back by {words.span(back)} against the order of the files"
    first, last = case.ends(best.mask)
    return ClockFinding(
        case.line.placement.placement,
        best.kind,
        f"{saw}.",
        int(best.mask.sum()),
        Confidence.CLEAR if best.odds >= CLEAR and len(changes) == 1 else Confidence.POSSIBLE,
        f"Look at the photos of people before and after {file}: do they fit the times in the logs?",
        first,
        last,
        tuple(
            case.proposal(one.kind, one.shift, one.mask, explains=_gained(case, one, times))
            for one in changes
        ),
    )


def unexplained(case: Case, piece: Piece, times: Seconds) -> ClockFinding:
    """Say that a clock steps back, where nothing tells which side of the step is right."""
    back = int(times[piece.first - 1] - times[piece.first])
    file, before = _file(case, piece.first), _file(case, piece.first - 1)
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


def _file(case: Case, place: int) -> str:
    wanted = int(case.series.ids[place])
    return next(photo.file for photo in case.line.photos if photo.id == wanted)
