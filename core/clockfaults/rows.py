"""Decide what clock faults, proposals and corrections hold, and the words people read of them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from core.coverage.rows import Confidence
from core.model import ClockCheck, Photo, Placement, TrayDeployment
from core.units import Times

Seconds = NDArray[np.int64]
"""Seconds since 1970 [s]: UTC, or without a zone where a camera showed them."""
SunHeight = Callable[[Times], NDArray[np.float64]]
"""Gives the height of the sun's centre [degrees] at true times, at the placement's place."""


class ClockFault(StrEnum):
    """What is the matter with a clock, or with the log that it is held against."""

    ONE_HOUR = "the clock is one hour off"
    TWELVE_HOURS = "the clock is twelve hours off"
    DAYS = "the date is off by whole days"
    YEARS = "the year is wrong"
    DAY_MONTH = "day and month were exchanged when the clock was set"
    DAY_MONTH_EACH = "day and month are exchanged in each photo"
    MINUTES = "the clock is off by a constant time"
    OTHER_DATE = "the clock was on another date"
    DEFAULT_DATE = "the clock fell back to a default date"
    SUMMER_TIME = "the camera changed to or from summer time by itself"
    STEP = "the clock was changed while the camera stood there"
    LIGHT = "the light in the photos does not fit the clock"
    CAMERAS_DISAGREE = "two cameras at one tray disagree by a constant time"
    DRIFT = "the clock checks drift faster than a clock does"
    REPEATED_ROW = "a row of the log repeats another window; the clock is not at fault"
    ELSEWHERE = "the photos fit another placement as they are; the clock is not at fault"
    OUTSIDE = "the photos lie outside the placement and no one shift explains them"


@dataclass(frozen=True, slots=True)
class ClockCorrection:
    """A change to what a camera showed, for a whole card or a piece of it, that a person accepted.

    Corrections come before the clock checks. Several on one photo follow each other in the order
    in which they were made.
    """

    placement: str
    kind: ClockFault
    shift_s: int = 0
    """Added to what the camera showed [s]; 0 where day and month of each photo are exchanged."""
    first_photo: int | None = None
    last_photo: int | None = None
    """Ids of the photos that open and close the piece, in the order of the files; None: the
    card's first, the card's last."""
    why: str = ""
    by: str = ""
    made_at: datetime | None = None
    taken_back: datetime | None = None
    """When a person took it back; it is kept all the same and no longer counts."""
    taken_back_by: str = ""
    number: int = 0
    """Order in which corrections were made; 0 before it is stored."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One way to put a clock right, for a person to accept or not."""

    kind: ClockFault
    words: str
    """What would be done, with the shift in words."""
    corrections: tuple[ClockCorrection, ...]
    """Accepted together; `by` and `made_at` are still to be filled in."""
    shift_s: int | None = None
    """The shift [s]; None where day and month of each photo are exchanged."""
    low_s: int | None = None
    high_s: int | None = None
    """Between these the true shift lies, where it cannot be known to the minute. [s]"""
    explains: int = 0
    """Photos that come into the placement's stretch, less those that leave it."""
    edges: int = 0
    edges_all: int = 0
    """At how many of the logged comings and goings of people there would be photos."""

    @property
    def bounded(self) -> bool:
        """Say whether the shift is only known between bounds."""
        return self.low_s is not None or self.high_s is not None


@dataclass(frozen=True, slots=True)
class ClockFinding:
    """Something that speaks against a clock (or a log), what it rests on, and what may be done."""

    placement: str
    kind: ClockFault
    saw: str
    """What was seen, with numbers, in a sentence or two."""
    photos: int
    """How many photos it is about."""
    confidence: Confidence
    look_at: str
    """What a person should look at before deciding."""
    first_photo: int | None = None
    last_photo: int | None = None
    """Ids of the photos that open and close the piece; None: the whole card."""
    proposals: tuple[Proposal, ...] = ()
    """The best first. Several explain the photos equally well, and none is chosen."""

    @property
    def chosen(self) -> Proposal | None:
        """Give the one proposal; None where there is none, or several are as good."""
        return self.proposals[0] if len(self.proposals) == 1 else None


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another placement of the same camera or at one of the same trays."""

    placement: Placement
    times: Seconds
    """True times of its photos as they are held now [s since 1970 UTC], in any order."""
    checked: bool = False
    """Whether it has a clock check."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """One placement with all that can speak for or against its clock."""

    placement: Placement
    photos: Sequence[Photo]
    """Every file of its cards, in any order, with what the camera showed."""
    zone: ZoneInfo
    """The study's."""
    trays: Sequence[TrayDeployment] = ()
    """All lines of the tray log for the placement's trays, in the log's order."""
    checks: Sequence[ClockCheck] = ()
    corrections: Sequence[ClockCorrection] = ()
    """Accepted before."""
    infrared: Mapping[int, bool] = field(default_factory=dict)
    """By photo id, whether the frame is infrared; a photo left out is not known."""
    sun_height: SunHeight | None = None
    others: Sequence[Neighbour] = ()
