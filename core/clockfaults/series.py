"""Decide which photos of a card speak of its clock, and lay their times out in file order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from core.clockfaults.applying import corrected, corrected_checks
from core.clockfaults.order import UNKNOWN_ORDER, file_order
from core.clockfaults.rows import Seconds, Timeline
from core.clocks import EARLIEST_S, LATEST_S, Clock, clock_of, with_true_times
from core.model import Photo, TimeSource

STEP_BACK_S = 60
"""A file may be dated so much before the one that was numbered before it: bursts and films are
not always written in the order in which they were begun (ours). [s]"""
MOST_STEPS, STEPS_SHARE = 5, 0.01
"""With more steps back, and more than this share of the photos, the numbers do not follow the time
at all, and say nothing (ours)."""
SILENCE_S = 20 * 86_400
"""A longer silence parts a card into pieces that may have clocks of their own (ours). [s]"""
HOUR_S = 3600
DAY_S = 86_400
EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001  (naive: what a camera shows)


@dataclass(frozen=True, slots=True)
class Series:
    """The timed photos of one placement in the order of their files, copies left out."""

    ids: NDArray[np.int64]
    shown: Seconds
    """What the camera showed, accepted corrections applied, without a zone. [s]"""
    nominal: Seconds
    """The same as a UTC time by the zone that the clock was set to. [s]"""
    sequences: NDArray[np.int64]
    """The counter that numbered each file; -1 where its place in the order says nothing."""
    unsure: NDArray[np.bool_]
    """Whether the clock showed this hour twice, so that a step back there is no fault."""
    zone: tzinfo

    def __len__(self) -> int:
        return len(self.ids)


@dataclass(frozen=True, slots=True)
class Check:
    """A clock check on the same scale as the series."""

    nominal: int
    true: int
    shown: datetime
    place: int
    """The photo it belongs to, as a place in the series."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Neighbouring photos of a series, [first, end), in which the clock ran on evenly."""

    first: int
    end: int
    stepped_back: bool
    """Whether the clock stepped back in front of it, against the order of the files."""

    def __len__(self) -> int:
        return self.end - self.first

    @property
    def places(self) -> slice:
        """Give where its photos stand in the series."""
        return slice(self.first, self.end)


def series_of(line: Timeline) -> Series:
    """Lay out the photos that a camera dated; those dated by the computer's files are left out."""
    photos = corrected(line.photos, line.corrections)
    order = file_order(photos)
    kept = [
        (photos[at], label)
        for at, label in zip(order.places, order.sequences, strict=True)
        if _speaks(photos[at])
    ]
    shown = np.array([photo.camera_time for photo, _ in kept], dtype="datetime64[s]")
    zone = _zone(line, [photo for photo, _ in kept])
    seconds = shown.astype(np.int64)
    nominal, unsure = _nominal(seconds, [photo for photo, _ in kept], zone)
    return Series(
        ids=np.array([photo.id for photo, _ in kept], dtype=np.int64),
        shown=seconds,
        nominal=nominal,
        sequences=np.array([label for _, label in kept], dtype=np.int64),
        unsure=unsure,
        zone=zone,
    )


def _speaks(photo: Photo) -> bool:
    return (
        photo.is_photo
        and photo.copy_of is None
        and photo.camera_time is not None
        and photo.time_source is not TimeSource.FILE
    )


def _zone(line: Timeline, photos: Sequence[Photo]) -> tzinfo:
    first = min((p.camera_time for p in photos if p.camera_time is not None), default=None)
    return clock_of(line.placement, (), line.zone, first).zone


def _nominal(
    shown: Seconds, photos: Sequence[Photo], zone: tzinfo
) -> tuple[Seconds, NDArray[np.bool_]]:
    """Turn displays into UTC; hours shown twice go by the order of the files, as in clocks."""
    unsure = np.zeros(len(shown), dtype=bool)
    if not isinstance(zone, ZoneInfo):
        return shown - offset_s(zone, EPOCH), unsure
    quarters, back = np.unique(shown // 900, return_inverse=True)
    moments = [EPOCH + timedelta(seconds=900 * int(quarter)) for quarter in quarters]
    early = np.array([offset_s(zone, moment) for moment in moments], dtype=np.int64)
    late = np.array([offset_s(zone, moment, fold=1) for moment in moments], dtype=np.int64)
    nominal = shown - early[back]
    unsure = (early != late)[back]
    twice = np.flatnonzero(unsure)
    timed = with_true_times([photos[at] for at in twice.tolist()], Clock(zone))
    for at, photo in zip(twice.tolist(), timed, strict=True):
        if photo.true_time is not None:
            nominal[at] = int(photo.true_time.timestamp())
    return nominal, unsure


def offset_s(zone: tzinfo, shown: datetime, fold: int = 0) -> int:
    """Give a zone's offset from UTC at what a clock in it shows. [s]"""
    offset = shown.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)
    return int(offset.total_seconds())


def calendar(seconds: int) -> datetime:
    """Give seconds since 1970 as a time without a zone, kept inside the calendar."""
    return EPOCH + timedelta(seconds=min(max(seconds, EARLIEST_S), LATEST_S))


def checks_of(line: Timeline, series: Series) -> list[Check]:
    """Put the whole clock checks on the scale of the series, in the order of their photos."""
    if not len(series) or not line.checks:
        return []
    moved = corrected_checks(line.checks, line.photos, line.corrections)
    names = {photo.file.rsplit("/", 1)[-1]: photo.id for photo in line.photos}
    places = {number: at for at, number in enumerate(series.ids.tolist())}
    found = []
    for check in moved:
        if check.camera_showed is None or check.true_time is None:
            continue
        shown = check.camera_showed
        seconds = int((shown - EPOCH).total_seconds())
        named = places.get(names.get(check.photo.rsplit("/", 1)[-1], -1))
        near = int(np.argmin(np.abs(series.shown - seconds)))
        nominal = seconds - offset_s(series.zone, shown)
        true = int(check.true_time.timestamp())
        found.append(Check(nominal, true, shown, near if named is None else named))
    return sorted(found, key=lambda check: (check.place, check.nominal))


def pieces_of(series: Series) -> list[Piece]:
    """Part a series where its clock stepped back, or was silent so long that it may have changed.

    A step back counts inside one counter of files only; elsewhere the order says nothing.
    """
    if not len(series):
        return []
    step = np.diff(series.nominal)
    same = (series.sequences[1:] == series.sequences[:-1]) & (series.sequences[1:] != UNKNOWN_ORDER)
    back = same & (step < -STEP_BACK_S) & ~(series.unsure[1:] | series.unsure[:-1])
    if back.sum() > max(MOST_STEPS, STEPS_SHARE * len(series)):
        back[:] = False
    cut = back | (np.abs(step) > SILENCE_S)
    edges = [0, *(np.flatnonzero(cut) + 1).tolist(), len(series)]
    return [
        Piece(first, end, stepped_back=first > 0 and bool(back[first - 1]))
        for first, end in pairwise(edges)
    ]
