"""Decide which pieces of a card were taken while its clock had fallen back to another date."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.clockfaults import words
from core.clockfaults.candidates import Candidate, default_moment, named
from core.clockfaults.case import Case, Mask
from core.clockfaults.ground import Ground, comings_of
from core.clockfaults.rows import ClockFault, ClockFinding, Proposal, Seconds
from core.clockfaults.series import DAY_S, Piece, calendar
from core.clockfaults.weighing import bursts_of, weigh
from core.coverage.rows import Confidence

ELSEWHERE_SHARE = 0.1
"""A piece with no more of its photos inside the stretch lies elsewhere (ours)."""
FAR_BACK_S = 30 * DAY_S
"""A clock that steps back further before the stretch was not set there by hand (ours)."""
TOLD_BY_EDGES = 3.0
"""From so much on, photos at comings of people say more than the middle of the bounds (ours)."""
MOSTLY_INSIDE = 0.5
"""Under the exact shift of a known fault so much of a piece lies inside the stretch (ours)."""
SURE_S = 600
"""Bounds no wider than this are as good as known. [s]"""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Between which shifts [s] a piece fits in, and the photos or logs that bound it."""

    low: int
    high: int
    after: int
    before: int
    """True times between which its photos were taken. [s since 1970 UTC]"""
    least: int | None
    most: int | None
    """The shifts that the order of the files alone allows; None: it says nothing."""


def part(case: Case) -> list[Piece]:
    """Give the pieces whose clock had begun anew, or was not set yet, in the order of the files.

    Never the whole card: where nothing else is on it, it is judged as a whole.
    """
    pieces = case.pieces
    if case.ground is None:
        found = [one for one in pieces if _steps_far(case, one)]
        return found if len(found) < len(pieces) else []
    away = [_is_away(case, case.ground, one) for one in pieces]
    found = []
    for at, one in enumerate(pieces):
        if not away[at]:
            continue
        goes_on = found and found[-1].end == one.first and not one.stepped_back
        if goes_on:
            found[-1] = Piece(found[-1].first, one.end, found[-1].stepped_back)
        elif _is_odd(case, at, away):
            found.append(one)
    return [one for one in found if len(one) < len(case.series)]


def _is_away(case: Case, ground: Ground, piece: Piece) -> bool:
    return float(ground.inside(_times(case, piece)).mean()) <= ELSEWHERE_SHARE


def _is_odd(case: Case, at: int, away: Sequence[bool]) -> bool:
    """Say whether a piece away from the stretch has a clock of its own, not its neighbour's.

    What lies away in the order of the files may be another trip; only a step back against that
    order, or a default moment, tells of the clock.
    """
    piece = case.pieces[at]
    last = at + 1 == len(case.pieces)
    if not last and case.pieces[at + 1].stepped_back and not away[at + 1]:
        return True
    if piece.stepped_back and at and not away[at - 1]:
        return True
    return _begins_by_default(case, piece) or _steps_far(case, piece)


def _times(case: Case, piece: Piece) -> Seconds:
    return case.series.nominal[piece.places]


def _steps_far(case: Case, piece: Piece) -> bool:
    if not piece.stepped_back:
        return False
    step = case.series.nominal[piece.first - 1] - case.series.nominal[piece.first]
    return bool(step > FAR_BACK_S)


def _begins_by_default(case: Case, piece: Piece) -> bool:
    return default_moment(int(case.series.shown[piece.first])) is not None


def findings(
    case: Case, anew: Sequence[Piece], times: Seconds, trusted: Mask
) -> list[ClockFinding]:
    """Say of each piece what happened to its clock, and where its photos belong.

    Parameters
    ----------
    times
        Shape (n,): the true time of each photo as far as known, all other proposals applied.
    trusted
        Which of them may bound a piece: those of no such piece.
    """
    return [_finding(case, piece, _bounds(case, piece, times, trusted)) for piece in anew]


def _bounds(case: Case, piece: Piece, times: Seconds, trusted: Mask) -> Bounds | None:
    """Bound a piece by its neighbours in the order of the files, else by the logs."""
    label = case.series.sequences[piece.first]
    same = trusted & (case.series.sequences == label) & (label >= 0)
    places = np.flatnonzero(same)
    before, after = places[places < piece.first], places[places >= piece.end]
    ground = case.ground
    opens = int(times[before[-1]]) if len(before) else None
    closes = int(times[after[0]]) if len(after) else None
    if ground is not None:
        opens = ground.start if opens is None else opens
        closes = ground.end if closes is None else closes
    if opens is None and closes is None:
        return None
    shown = _times(case, piece)
    first, last = int(shown.min()), int(shown.max())
    if opens is None:
        opens = int(closes or 0) - (last - first)
    if closes is None:
        closes = opens + (last - first)
    low, high = opens - first, closes - last
    return Bounds(
        low,
        max(low, high),
        opens,
        max(closes, opens),
        opens - first if len(before) else None,
        closes - last if len(after) else None,
    )


def _finding(case: Case, piece: Piece, bounds: Bounds | None) -> ClockFinding:
    kind, saw = _seen(case, piece)
    mask = case.place_of(piece)
    look = "Look at the first photo after the change, and for a watch or a phone held up in it."
    check = next(iter(case.checks_in(mask)), None)
    if check is not None:
        saw += f" A clock check lies in it: the camera showed {check.shown}."
        sure = case.proposal(kind, check.true - check.nominal, mask, explains=len(piece))
        return _said(case, mask, kind, saw, Confidence.CLEAR, look, sure)
    if bounds is None:
        look = "Add a clock check for a photo of this piece: nothing else says when it was."
        return _said(case, mask, kind, saw, Confidence.CLEAR, look)
    zone = case.line.zone
    saw += (
        f" Its photos were taken between {words.moment(bounds.after, zone)} and "
        f"{words.moment(bounds.before, zone)}."
    )
    proposal = _proposed(case, piece, kind, bounds)
    if _same_window(case, piece, bounds):
        return _said(case, mask, proposal.kind, saw, Confidence.CLEAR, look, proposal)
    look += " The shift is not known exactly, and the photos may belong to several windows."
    return _said(case, mask, proposal.kind, saw, Confidence.POSSIBLE, look, proposal)


def _proposed(case: Case, piece: Piece, kind: ClockFault, bounds: Bounds) -> Proposal:
    mask = case.place_of(piece)
    exact = _exact(case, piece, bounds)
    if exact is not None:
        return case.proposal(exact.kind, exact.shift, mask, explains=len(piece))
    width = (bounds.low, bounds.high) if bounds.high - bounds.low > SURE_S else None
    shift = _likeliest(case, piece, bounds)
    return case.proposal(kind, shift, mask, bounds=width, explains=len(piece))


def _said(
    case: Case,
    mask: Mask,
    kind: ClockFault,
    saw: str,
    confidence: Confidence,
    look: str,
    *proposals: Proposal,
) -> ClockFinding:
    first, last = case.ends(mask)
    name = case.line.placement.placement
    return ClockFinding(name, kind, saw, int(mask.sum()), confidence, look, first, last, proposals)


def _seen(case: Case, piece: Piece) -> tuple[ClockFault, str]:
    """Name what happened in front of a piece, and say what was seen."""
    shown = calendar(int(case.series.shown[piece.first]))
    file = case.file(piece.first)
    saw = f"{words.photos(len(piece))} from {file} on show a clock that begins at {shown}"
    if piece.stepped_back:
        saw += ", a step back against the order of the files, as after a change of battery"
    elif not _begins_by_default(case, piece):
        saw += "; after them it steps back against the order of the files"
    default = _steps_far(case, piece) or _begins_by_default(case, piece)
    return ClockFault.DEFAULT_DATE if default else ClockFault.OTHER_DATE, f"{saw}."


def _local(ground: Ground | None, bounds: Bounds) -> Ground | None:
    """Give the comings of people between the bounds, as the ground for one piece."""
    if ground is None or bounds.before <= bounds.after:
        return None
    inside = (ground.edges >= bounds.after) & (ground.edges <= bounds.before)
    if not inside.any():
        return None
    edges = ground.edges[inside]
    return Ground(
        bounds.after,
        bounds.before,
        edges,
        comings_of(edges),
        ground.opens[inside],
        ground.opened,
        ground.closed,
    )


def _exact(case: Case, piece: Piece, bounds: Bounds) -> Candidate | None:
    """Give the exact shift of a known fault that fits between the bounds, the best of several."""
    if case.ground is None or _begins_by_default(case, piece):
        return None
    shown = _times(case, piece)
    fitting = [
        one
        for one in named(bursts_of(shown), case.ground, case.offset)
        if one.kind is not ClockFault.DAYS
        and (bounds.least is None or bounds.least <= one.shift)
        and (bounds.most is None or one.shift <= bounds.most)
        and case.ground.inside(shown + one.shift).mean() >= MOSTLY_INSIDE
    ]
    if not fitting:
        return None
    shifts = np.array([one.shift for one in fitting])
    return fitting[int(np.argmax(weigh(bursts_of(shown), case.ground, shifts).score))]


def _likeliest(case: Case, piece: Piece, bounds: Bounds) -> int:
    """Give the shift within the bounds that lays photos at comings of people, else the middle."""
    middle = (bounds.low + bounds.high) // 2
    ground = _local(case.ground, bounds)
    if ground is None:
        return middle
    bursts = bursts_of(_times(case, piece))
    turns = np.concatenate((bursts.starts[:50], bursts.times[-1:]))
    shifts = np.unique(ground.edges[:, None] - turns[None, :])
    begun = default_moment(int(case.series.shown[piece.first]))
    if begun is not None:
        since = int(case.series.shown[piece.first]) - begun
        shifts = np.unique(np.concatenate((shifts, ground.edges - (turns[0] - since))))
    shifts = shifts[(shifts >= bounds.low) & (shifts <= bounds.high)]
    tried = np.append(shifts, middle)
    scores = weigh(bursts, ground, tried).score
    best = int(np.argmax(scores))
    return int(tried[best]) if scores[best] - scores[-1] >= TOLD_BY_EDGES else middle


def _same_window(case: Case, piece: Piece, bounds: Bounds) -> bool:
    """Say whether every photo falls into the same window at both bounds."""
    ground = case.ground
    if ground is None:
        return bounds.high - bounds.low <= SURE_S
    edges = np.sort(np.concatenate((ground.opened, ground.closed)))
    shown = _times(case, piece)
    low = np.searchsorted(edges, shown + bounds.low, side="right")
    high = np.searchsorted(edges, shown + bounds.high, side="right")
    return bool((low == high).all())
