"""Decide what accepted corrections do to the times of a card: before the clock checks, undoable."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from core import clocks
from core.clockfaults.order import file_order
from core.clockfaults.rows import ClockCorrection, ClockFault
from core.clocks import Clock, Timed, clock_of
from core.model import ClockCheck, Photo, Placement

RESTARTS = {ClockFault.DEFAULT_DATE, ClockFault.OTHER_DATE}
"""Faults after which a clock began anew, so that checks from before say nothing of it."""
_Touch = dict[int, tuple[ClockCorrection, ...]]


def in_force(corrections: Sequence[ClockCorrection]) -> list[ClockCorrection]:
    """Give the corrections that count, in the order in which they were made."""
    return sorted(
        (one for one in corrections if one.taken_back is None), key=lambda one: one.number
    )


def inverse(correction: ClockCorrection) -> ClockCorrection:
    """Give the correction that undoes another; an exchange of day and month undoes itself."""
    return replace(correction, shift_s=-correction.shift_s)


def corrected(photos: Sequence[Photo], corrections: Sequence[ClockCorrection]) -> list[Photo]:
    """Give photos with their camera times corrected; nothing else of them changes.

    A photo without a camera time stays without. A time that would leave the calendar is left out.
    A piece whose first or last photo is no longer there corrects nothing.
    """
    return _corrected(photos, _touched(photos, corrections))


def _corrected(photos: Sequence[Photo], touched: _Touch) -> list[Photo]:
    result = list(photos)
    for at, those in touched.items():
        shown = photos[at].camera_time
        for one in those:
            shown = _moved(shown, one)
        result[at] = replace(photos[at], camera_time=shown)
    return result


def by_photo(
    photos: Sequence[Photo], corrections: Sequence[ClockCorrection]
) -> dict[int, tuple[ClockCorrection, ...]]:
    """Give the corrections in force of each photo that has any, by its id, in the order made."""
    return {photos[at].id: those for at, those in _touched(photos, corrections).items()}


def corrected_checks(
    checks: Sequence[ClockCheck],
    photos: Sequence[Photo],
    corrections: Sequence[ClockCorrection],
) -> list[ClockCheck]:
    """Give clock checks with what the camera showed corrected like the photos around them.

    A check belongs to the photo that it names; else to the photo whose display was nearest.
    """
    touched = _touched(photos, corrections)
    if not touched or not checks:
        return list(checks)
    find = _finder(photos)
    places = [find(check) for check in checks]
    return [
        check if at is None else _corrected_check(check, touched.get(at, ()))
        for check, at in zip(checks, places, strict=True)
    ]


def _corrected_check(check: ClockCheck, those: Sequence[ClockCorrection]) -> ClockCheck:
    shown = check.camera_showed
    for one in those:
        shown = _moved(shown, one)
    return replace(check, camera_showed=shown)


def true_times(
    photos: Sequence[Photo],
    placement: Placement | None,
    checks: Sequence[ClockCheck],
    zone: ZoneInfo,
    corrections: Sequence[ClockCorrection],
) -> tuple[Timed, Clock]:
    """Give photos their true times: corrections first, then the clock checks.

    What the camera showed stays as it was. A piece in which the clock began anew goes by its own
    checks alone, and the rest of the card without them; the clock given is that of the rest.

    Parameters
    ----------
    placement
        Its line in the camera log; None where there is none (yet).
    zone
        The study's.

    Raises
    ------
    ClockError
        When the checks of one piece run backwards.
    """
    touched = _touched(photos, corrections)
    if not touched:
        clock = clock_of(placement, checks, zone, _first_shown(photos))
        return clocks.true_times(photos, clock), clock
    put_right = _corrected(photos, touched)
    first = _first_shown(put_right)
    own = _checks_by_piece(checks, photos, touched)
    rest = clock_of(placement, own.pop(None, ()), zone, first)
    timed = clocks.true_times(put_right, rest)
    seconds, known, flags = timed.seconds, timed.known, dict(timed.flags)
    for piece, places in _pieces(touched).items():
        clock = clock_of(placement, own.get(piece, ()), zone, first)
        here = clocks.true_times([put_right[at] for at in places], clock)
        seconds[places], known[places] = here.seconds, here.known
        flags = {at: flag for at, flag in flags.items() if at not in set(places)}
        flags |= {places[at]: flag for at, flag in here.flags.items()}
    return Timed(photos, seconds, known, flags), rest


def _checks_by_piece(
    checks: Sequence[ClockCheck], photos: Sequence[Photo], touched: _Touch
) -> dict[ClockCorrection | None, list[ClockCheck]]:
    """Give each piece whose clock began anew its checks, corrected; None: the rest of the card."""
    find = _finder(photos)
    own: dict[ClockCorrection | None, list[ClockCheck]] = {}
    for check in checks:
        at = find(check)
        those = () if at is None else touched.get(at, ())
        own.setdefault(_began_anew(those), []).append(_corrected_check(check, those))
    return own


def _pieces(touched: _Touch) -> dict[ClockCorrection, list[int]]:
    pieces: dict[ClockCorrection, list[int]] = {}
    for at, those in touched.items():
        piece = _began_anew(those)
        if piece is not None:
            pieces.setdefault(piece, []).append(at)
    return pieces


def _first_shown(photos: Sequence[Photo]) -> datetime | None:
    shown = (p.camera_time for p in photos if p.camera_time is not None and p.is_photo)
    return min(shown, default=None)


def _began_anew(those: Sequence[ClockCorrection]) -> ClockCorrection | None:
    return next((one for one in those if one.kind in RESTARTS and one.first_photo), None)


def _touched(photos: Sequence[Photo], corrections: Sequence[ClockCorrection]) -> _Touch:
    """Give each photo's corrections in the order in which they were made."""
    wanted = in_force(corrections)
    if not wanted or not photos:
        return {}
    places = file_order(photos).places
    rank = {photos[at].id: place for place, at in enumerate(places)}
    touched: dict[int, tuple[ClockCorrection, ...]] = {}
    for one in wanted:
        first = 0 if one.first_photo is None else rank.get(one.first_photo)
        last = len(places) - 1 if one.last_photo is None else rank.get(one.last_photo)
        if first is None or last is None:
            continue
        for at in places[first : last + 1]:
            touched[at] = (*touched.get(at, ()), one)
    return touched


def _moved(shown: datetime | None, correction: ClockCorrection) -> datetime | None:
    if shown is None:
        return None
    if correction.kind is ClockFault.DAY_MONTH_EACH:
        return exchanged(shown)
    try:
        return shown + timedelta(seconds=correction.shift_s)
    except OverflowError:
        return None


def exchanged(shown: datetime) -> datetime:
    """Exchange day and month; a date whose day is no month stays as it is."""
    december = 12
    if shown.day > december:
        return shown
    return shown.replace(month=shown.day, day=shown.month)


def _finder(photos: Sequence[Photo]) -> Callable[[ClockCheck], int | None]:
    """Find the photo that a check belongs to: the one it names, else the nearest display."""
    names: dict[str, int] = {}
    for at, photo in enumerate(photos):
        names.setdefault(photo.file.rsplit("/", 1)[-1], at)
        names[photo.file] = at
    shown = [(p.camera_time, at) for at, p in enumerate(photos) if p.camera_time is not None]

    def find(check: ClockCheck) -> int | None:
        if check.photo and check.photo in names:
            return names[check.photo]
        moment = check.camera_showed
        if moment is None or not shown:
            return None
        return min(shown, key=lambda one: (abs(one[0] - moment), one[1]))[1]

    return find
