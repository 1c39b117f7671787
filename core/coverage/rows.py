"""Decide what a stretch of a camera's time is called, and why, in the words that people read.

What makes a stretch so is decided in the other modules of this package.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from core.model import Span


class State(StrEnum):
    """Whether a camera would have seen an animal at the tray, the best first.

    Unwatched time decides which cell of the table a tray stands in; untrusted time leaves the
    cell as it is and makes the tray a caution.
    """

    WATCHED = "watched"
    UNTRUSTED = "untrusted"
    """It may have, or not: a person has to look, or only a long visit would have been seen."""
    UNWATCHED = "unwatched"


class Why(StrEnum):
    """Why a stretch is watched or not; those that tell the most stand first."""

    # watched
    PROVEN = "photos before and after show that the camera worked"
    WORKING_AT_PICKUP = "the camera was still working at pick-up"
    # untrusted while something speaks against the clock, unwatched at an hour it showed twice
    CLOCK = "photos were taken, but their times cannot be trusted"
    # untrusted while it is suspected, unwatched once a person has accepted it
    CARD_FULL = "the card was full"
    BATTERY_DEAD = "the battery was dead"
    LENS_BLOCKED = "the lens was blocked"
    # untrusted
    QUIET = "the camera was set to stay quiet after a trigger"
    # unwatched
    TIMELAPSE_MISSING = "a time-lapse photo was due and is missing"
    DEAD_AT_PICKUP = "the camera was not working at pick-up and took no later photo"
    AFTER_LAST = "no later photo shows that the camera worked"
    BEFORE_FIRST = "no earlier photo shows that the camera worked"
    NO_PHOTO = "no photo shows that the camera worked"
    NO_CAMERA = "no camera was there, by the camera log"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time that is watched, unwatched or untrusted throughout for one reason."""

    span: Span
    state: State
    why: Why
    placement: str = ""
    """Whose camera; empty where there was none."""
    said: str = ""
    """More about it in words, such as which time-lapse photo is missing; may be empty."""


class Confidence(StrEnum):
    """How sure a suspicion is."""

    CLEAR = "clear"
    POSSIBLE = "possible"


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Something that may have kept a camera from watching; a person says whether it did."""

    placement: str
    why: Why
    span: Span
    """What becomes unwatched once it is accepted."""
    confidence: Confidence
    evidence: tuple[str, ...]
    """What speaks for it, each in a few words with its numbers."""
    look_at: tuple[int, ...]
    """Ids of the photos to look at before deciding."""


@dataclass(frozen=True, slots=True)
class StretchRuling:
    """What a person said of a suspicion: accepted or refused. Kept when it is taken back."""

    placement: str
    why: Why
    span: Span
    accepted: bool
    because: str = ""
    by: str = ""
    made_at: datetime | None = None
    taken_back: datetime | None = None
    """When a person took it back; it no longer counts."""
    taken_back_by: str = ""
    number: int = 0
    """Order in which rulings were made: where two meet, the later one holds."""
    look_at: tuple[int, ...] = ()
    """Ids of the photos that were looked at; where these are asked about again, at times that a
    clock correction moved, the ruling is of the same stretch."""
