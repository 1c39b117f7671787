"""Decide the true time of a photo from what its camera showed.

Two steps: the zone the clock was set to turns the camera's display into a nominal time; the
clock checks move nominal time onto true time. When a camera was working is decided in coverage.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from itertools import pairwise
from typing import Self, overload
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from core.errors import ClockError
from core.model import ClockCheck, ClockFlag, Photo, Placement

Seconds = NDArray[np.int64]
"""Seconds since 1970 UTC [s]."""

EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001  # what a camera shows has no zone
FAR_FROM_A_CHECK = timedelta(days=1)
"""Beyond the first and last check the line goes on; further than this it is flagged (ours)."""
EARLIEST_S, LATEST_S = (
    int(edge.timestamp())
    for edge in (datetime(1, 1, 2, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC))
)
"""Years 1 to 9999, a day inside, so that every zone can show it. [s since 1970 UTC]"""


@dataclass(frozen=True, slots=True)
class Clock:
    """What one camera's clock was set to, and how it was checked."""

    zone: tzinfo
    believes_files: bool = False
    """Whether an offset written in the file goes before `zone`."""
    nominal: tuple[int, ...] = ()
    true: tuple[int, ...] = ()
    """The checks: nominal time and true time of each, both rising. [s since 1970 UTC]"""


def parse_clock(text: str) -> tzinfo:
    """Turn a clock cell, `±HH:MM`, `Z` or an IANA zone, into a zone."""
    if text.upper() in {"Z", "UTC"}:
        return UTC
    if text[:1] in "+-" and len(text) == len("+HH:MM"):
        sign = -1 if text[0] == "-" else 1
        return timezone(sign * timedelta(hours=int(text[1:3]), minutes=int(text[4:6])))
    return ZoneInfo(text)


def clock_of(
    placement: Placement | None,
    checks: Sequence[ClockCheck],
    study_zone: ZoneInfo,
    first_shown: datetime | None,
) -> Clock:
    """Give the clock of a placement.

    A blank clock cell means the offset in force in the study's zone when the placement starts,
    kept through a change of summer time. Before the camera log is loaded, `first_shown` (naive,
    the first time the card shows) stands in for the start, and a file's own offset is believed
    where no check says what the display means.

    Raises
    ------
    ClockError
        When the checks run backwards: the clock was reset between them.
    """
    if placement is not None and placement.clock:
        zone = parse_clock(placement.clock)
    else:
        start = placement.start if placement is not None else None
        shown = first_shown.replace(tzinfo=study_zone) if first_shown else datetime.now(UTC)
        offset = (start or shown).astimezone(study_zone).utcoffset() or timedelta(0)
        zone = timezone(offset)
    nominal, true = _check_points(zone, checks)
    return Clock(zone, placement is None and not nominal, nominal, true)


def _check_points(
    zone: tzinfo, checks: Sequence[ClockCheck]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    points = sorted(
        (
            (_nominal_check(check.camera_showed, check.true_time, zone), check.true_time, check)
            for check in checks
            if check.camera_showed is not None and check.true_time is not None
        ),
        key=lambda point: point[:2],
    )
    for (showed, one_true, one), (next_showed, next_true, following) in pairwise(points):
        if next_true <= one_true or next_showed == showed:
            raise ClockError(
                f"The clock checks of {one.placement!r} run backwards: the camera showed "
                f"{one.camera_showed} at {one_true.isoformat()} and {following.camera_showed} at "
                f"{next_true.isoformat()}. Mend the two rows, or give each its own placement "
                "if the clock was reset between them."
            )
    return tuple(point[0] for point in points), tuple(int(p[1].timestamp()) for p in points)


def _nominal_check(showed: datetime, true: datetime, zone: tzinfo) -> int:
    """Give the nominal time of a check [s]; of the two in a repeated hour, the one nearer true."""
    early, late = (showed.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if _turn(early, late) <= timedelta(0):
        return int(early.timestamp())
    nominal = (int(early.timestamp()), int(late.timestamp()))
    return min(nominal, key=lambda second: abs(second - true.timestamp()))


def correct(nominal: Seconds, clock: Clock) -> tuple[Seconds, NDArray[np.bool_]]:
    """Move nominal times onto true time, to the whole second, and flag those far from a check.

    No check: they are the same. One: a constant shift. Two or more: a straight line between
    neighbours, and the nearest line goes on before the first and after the last. Order is kept.
    """
    beyond = np.zeros(len(nominal), dtype=bool)
    if not clock.nominal:
        return nominal, beyond
    if len(clock.nominal) == 1:
        return nominal + (clock.true[0] - clock.nominal[0]), beyond
    shown = np.array(clock.nominal, dtype=np.int64)
    true = np.array(clock.true, dtype=np.int64)
    line = np.clip(np.searchsorted(shown, nominal, side="right") - 1, 0, len(shown) - 2)
    slope = np.diff(true) / np.diff(shown)
    moved = true[line] + np.rint((nominal - shown[line]) * slope[line]).astype(np.int64)
    far = int(FAR_FROM_A_CHECK.total_seconds())
    return moved, (nominal < shown[0] - far) | (nominal > shown[-1] + far)


class Timed(Sequence[Photo]):
    """Photos with their true times, each given its own when it is looked at.

    Most of a placement's photos are only put in order: that takes half the time so.
    """

    def __init__(
        self,
        photos: Sequence[Photo],
        seconds: Seconds,
        known: NDArray[np.bool_],
        flags: Mapping[int, ClockFlag],
    ) -> None:
        self.photos = photos
        """As they were before they had times; one that has a time already keeps it."""
        self.seconds = seconds
        """Shape (n,), true times where they are `known`. [s since 1970 UTC]"""
        self.known = known
        """Shape (n,), whether each has a true time."""
        self.flags = flags
        """By place, why a time is not sure; a place left out is sure."""

    @classmethod
    def of(cls, photos: Sequence[Photo]) -> Self:
        """Take photos as they are, with the true times that they have."""
        moments = (p.true_time.timestamp() if p.true_time else 0 for p in photos)
        seconds = np.fromiter(moments, np.int64, count=len(photos))
        known = np.fromiter((p.true_time is not None for p in photos), np.bool_, len(photos))
        return cls(photos, seconds, known, {})

    def at(self, places: NDArray[np.int64]) -> Self:
        """Give those at some places, in that order."""
        here = places.tolist()
        flags = {at: self.flags[place] for at, place in enumerate(here) if place in self.flags}
        photos = [self.photos[place] for place in here]
        return type(self)(photos, self.seconds[places], self.known[places], flags)

    def __len__(self) -> int:
        """Count them."""
        return len(self.photos)

    @overload
    def __getitem__(self, at: int) -> Photo: ...

    @overload
    def __getitem__(self, at: slice) -> list[Photo]: ...

    def __getitem__(self, at: int | slice) -> Photo | list[Photo]:
        """Give one, or several, with their times."""
        if isinstance(at, slice):
            return [self[one] for one in range(*at.indices(len(self)))]
        return self._timed(at % len(self), bool(self.known[at]), int(self.seconds[at]))

    def __iter__(self) -> Iterator[Photo]:
        """Give each with its time."""
        known, seconds = self.known.tolist(), self.seconds.tolist()
        return map(self._timed, range(len(self)), known, seconds)

    def _timed(self, at: int, known: bool, second: int) -> Photo:
        photo = self.photos[at]
        if not known or photo.true_time is not None:
            return photo
        flag = self.flags.get(at, ClockFlag.NONE)
        return photo.timed(datetime.fromtimestamp(second, UTC), flag)


def with_true_times(photos: Sequence[Photo], clock: Clock) -> list[Photo]:
    """Give one placement's photos their true times; photos without a camera time stay without.

    So do those whose true time would lie outside the calendar. `photos` may come in any order;
    the result keeps it.
    """
    return list(true_times(photos, clock))


def true_times(photos: Sequence[Photo], clock: Clock) -> Timed:
    """Give the same as `with_true_times`, each photo when it is looked at."""
    shown = [index for index, photo in enumerate(photos) if photo.camera_time is not None]
    nominal, unsure = _nominal([photos[index] for index in shown], clock)
    true, beyond = correct(nominal, clock)
    flags = {shown[at]: ClockFlag.BEYOND_CHECKS for at in np.flatnonzero(beyond).tolist()}
    flags |= {shown[at]: flag for at, flag in unsure.items()}
    seconds, known = np.zeros(len(photos), np.int64), np.zeros(len(photos), np.bool_)
    seconds[shown] = true
    known[shown] = (true >= EARLIEST_S) & (true <= LATEST_S)
    return Timed(photos, seconds, known, flags)


def _nominal(photos: Sequence[Photo], clock: Clock) -> tuple[Seconds, dict[int, ClockFlag]]:
    shown = ((_local(photo) - EPOCH).total_seconds() for photo in photos)
    seconds = np.floor(np.fromiter(shown, np.float64, count=len(photos))).astype(np.int64)
    flags: dict[int, ClockFlag] = {}
    if isinstance(clock.zone, ZoneInfo):
        seconds, flags = _switching(photos, clock.zone)
    else:
        seconds = seconds - int((clock.zone.utcoffset(None) or timedelta(0)).total_seconds())
    if clock.believes_files:
        for index, photo in enumerate(photos):
            if photo.offset:
                own = _local(photo).replace(tzinfo=parse_clock(photo.offset))
                seconds[index] = int(own.timestamp())
                flags.pop(index, None)
    return seconds, flags


def _local(photo: Photo) -> datetime:
    if photo.camera_time is None:
        raise ValueError(f"Photo {photo.file!r} has no camera time.")
    return photo.camera_time


def _switching(photos: Sequence[Photo], zone: ZoneInfo) -> tuple[Seconds, dict[int, ClockFlag]]:
    """Read a clock that follows summer time: the repeated hour goes by the order of the files.

    A copy says nothing of that order; it goes with the photo that it repeats.
    """
    early = [_local(photo).replace(tzinfo=zone, fold=0) for photo in photos]
    late = [moment.replace(fold=1) for moment in early]
    turn = [_turn(one, other) for one, other in zip(early, late, strict=True)]
    seconds = np.array([int(moment.timestamp()) for moment in early], dtype=np.int64)
    flags = {index: ClockFlag.NEVER for index, step in enumerate(turn) if step < timedelta(0)}
    twice = [index for index, step in enumerate(turn) if step > timedelta(0)]
    for night in _nights([index for index in twice if photos[index].copy_of is None], photos):
        stepped_back = _after_step_back(night, photos)
        for index in night:
            if index in stepped_back:
                seconds[index] = int(late[index].timestamp())
            elif not stepped_back:
                flags[index] = ClockFlag.TWICE
    place = {photo.id: index for index, photo in enumerate(photos) if photo.copy_of is None}
    for index in twice:
        repeated = place.get(photos[index].copy_of or 0)
        if repeated is not None:
            seconds[index] = seconds[repeated]
            flags |= {index: flags[repeated]} if repeated in flags else {}
    return seconds, flags


def _turn(early: datetime, late: datetime) -> timedelta:
    """Give how far the clock is put back at this display: 0 on all but two hours of a year."""
    return (early.utcoffset() or timedelta(0)) - (late.utcoffset() or timedelta(0))


def _nights(twice: Sequence[int], photos: Sequence[Photo]) -> list[list[int]]:
    nights: dict[object, list[int]] = {}
    for index in sorted(twice, key=lambda index: photos[index].file):
        nights.setdefault(_local(photos[index]).date(), []).append(index)
    return list(nights.values())


def _after_step_back(night: Sequence[int], photos: Sequence[Photo]) -> set[int]:
    """Give the photos after the one place where the display steps back while files go on."""
    shown = [_local(photos[index]) for index in night]
    steps = [at for at in range(1, len(shown)) if shown[at] < shown[at - 1]]
    return set(night[steps[0] :]) if len(steps) == 1 else set()
