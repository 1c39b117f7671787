"""One night at one tray, by hand: a card of twelve photos whose clock a test sets wrong."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from builders import tray

from core.clockfaults import ClockFinding, Timeline, find_faults
from core.model import ClockCheck, Photo, Placement

UTC_ZONE = ZoneInfo("UTC")
BRUSSELS = ZoneInfo("Europe/Brussels")
START = datetime(2026, 5, 4, 17, 45, tzinfo=UTC)
NIGHT = timedelta(hours=12, minutes=30)
DAY_S, HOUR_S = 86_400, 3600
PLACED = Placement("P1", "cam", ("T1",), START, START + NIGHT, clock="Z")
WINDOW = tray(
    set_out=START + timedelta(minutes=15), picked_up=START + NIGHT - timedelta(minutes=15)
)
COMINGS = [0, 2, 15, 17, 735, 737, 749]
"""Minutes after the start at which people are photographed, at set-up and at pick-up."""
ANIMALS = [95, 210, 340, 455, 610]


def shots(minutes: Sequence[float], *, first: int = 1, by: timedelta = timedelta(0)) -> list[Photo]:
    """Give photos so many minutes after the start, on a clock that `by` would put right."""
    return [
        Photo(
            first + at,
            "P1",
            f"DCIM/100M/IMG_{first + at:04}.JPG",
            (START + timedelta(minutes=minute) - by).replace(tzinfo=None),
        )
        for at, minute in enumerate(minutes)
    ]


WHOLE = sorted([*COMINGS, *ANIMALS])


def find(photos: Sequence[Photo], **values: Any) -> list[ClockFinding]:
    """Find the faults of the card of the one night."""
    line = Timeline(PLACED, photos, UTC_ZONE, (WINDOW,))
    return find_faults(replace(line, **values))


def only(photos: Sequence[Photo], **values: Any) -> ClockFinding:
    """Give the one fault there is."""
    (found,) = find(photos, **values)
    return found


def at_check(photo: Photo, true: datetime) -> ClockCheck:
    """Give the clock check that a photo shows."""
    return ClockCheck("P1", photo.camera_time, true, photo.file.rsplit("/", 1)[-1])


RESET = 400
"""Minute of the night at which the battery gave in."""


def after_reset(kept: Sequence[float], lost: Sequence[float], default: str) -> list[Photo]:
    """Give a card whose clock fell back at RESET and went on from a default time."""
    begun = datetime.fromisoformat(default).replace(tzinfo=UTC)
    gone = START + timedelta(minutes=RESET) - begun
    return [*shots(kept), *shots(lost, first=len(kept) + 1, by=gone)]


KEPT = [one for one in WHOLE if one < RESET]
LOST = [one for one in WHOLE if one >= RESET]
