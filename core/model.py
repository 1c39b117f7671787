"""Decide what the rows between the stages hold, and the words that people read of them.

Rows are frozen. Times are aware UTC, but for what a camera showed, which is naive. Masses are
grams, as decimals. Rules are decided elsewhere; the sentences of their results stand here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from enum import StrEnum

# --- what people wrote down ------------------------------------------------------------------


class SpeciesRole(StrEnum):
    """What a species may do with the food."""

    FORAGER = "forager"
    OTHER = "other"
    PERSON = "person"


BLANK, UNKNOWN, HANDLER = "blank", "unknown", "handler"
ANSWERS_WITHOUT_SPECIES = (BLANK, UNKNOWN, HANDLER)
"""Answers that a tag may give in place of a species key: nothing there, cannot tell, our staff."""

Extra = Mapping[str, str]
"""Columns of a log that Lastbite has no use for; kept and shown."""


@dataclass(frozen=True, slots=True)
class Species:
    """One entry of the study's species list."""

    key: str
    """The one keystroke that tags it."""
    name: str
    role: SpeciesRole
    scientific_name: str = ""
    sensitive: bool = False
    extra: Extra = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Placement:
    """One camera watching one or more trays for a stretch of time."""

    placement: str
    camera: str = ""
    trays: tuple[str, ...] = ()
    start: datetime | None = None
    end: datetime | None = None
    """The camera's stretch [start, end], closed on both ends; None where the cell is blank."""
    clock: str = ""
    """A zone or a fixed offset such as `+02:00`; blank: the offset in force at `start`."""
    working_at_pickup: bool | None = None
    timelapse_every_min: int | None = None
    quiet_s: int | None = None
    """Setting that blinds the camera after a trigger. [s]"""
    latitude: float | None = None
    longitude: float | None = None
    uncertainty_m: float | None = None
    extra: Extra = field(default_factory=dict)

    @property
    def missing(self) -> tuple[str, ...]:
        """Name the required cells that are blank."""
        cells = {"camera": self.camera, "trays": self.trays, "start": self.start, "end": self.end}
        return tuple(name for name, value in cells.items() if not value)


@dataclass(frozen=True, slots=True)
class ClockCheck:
    """What a camera's clock showed at a known true time."""

    placement: str
    camera_showed: datetime | None
    """Naive: the camera's own display."""
    true_time: datetime | None
    photo: str = ""
    extra: Extra = field(default_factory=dict)


class TrayRole(StrEnum):
    """What a tray was set out for."""

    STUDY = "study"
    MOISTURE_CONTROL = "moisture_control"
    SIFT_CONTROL = "sift_control"
    PREBAIT = "prebait"


class Condition(StrEnum):
    """What had happened to a tray when it was picked up."""

    OK = "ok"
    KNOCKED = "knocked"
    FLOODED = "flooded"
    SPILLED = "spilled"
    ANTS = "ants"
    WET = "wet"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class TrayDeployment:
    """One tray set out with weighed (or counted) food and picked up again."""

    deployment: str
    tray: str = ""
    set_out: datetime | None = None
    picked_up: datetime | None = None
    """The window [set_out, picked_up), half-open; None where the cell is blank."""
    food_start_g: Decimal | None = None
    food_left_g: Decimal | None = None
    """Weighed food. [g]"""
    items_start: int | None = None
    items_left: int | None = None
    """Counted food. [items]"""
    site: str = ""
    pair: str = ""
    microhabitat: str = ""
    substrate_l: Decimal | None = None
    """Volume of sand or other substrate. [L]"""
    food: str = ""
    role: TrayRole = TrayRole.STUDY
    condition: Condition = Condition.OK
    target: str = ""
    handler: str = ""
    notes: str = ""
    extra: Extra = field(default_factory=dict)

    @property
    def counted(self) -> bool:
        """Say whether the food was counted in place of weighed."""
        weighed = self.food_start_g is not None or self.food_left_g is not None
        return not weighed and (self.items_start is not None or self.items_left is not None)

    @property
    def missing(self) -> tuple[str, ...]:
        """Name the required cells that are blank."""
        cells: dict[str, object] = {
            "tray": self.tray or None,
            "set_out": self.set_out,
            "picked_up": self.picked_up,
        }
        if self.counted:
            cells |= {"items_start": self.items_start, "items_left": self.items_left}
        else:
            cells |= {"food_start_g": self.food_start_g, "food_left_g": self.food_left_g}
        return tuple(name for name, value in cells.items() if value is None)


class Where(StrEnum):
    """What an animal or a person did, from the tray's point of view."""

    FED = "fed"
    ON_TRAY = "on_tray"
    NEAR = "near"


@dataclass(frozen=True, slots=True)
class Tag:
    """What one tagger said of a run of photos; never changed once made."""

    number: int
    """Order in which tags were made; 0 before it is stored."""
    placement: str
    first_photo: int
    last_photo: int
    """Ids of the photos that open and close the run."""
    tagger: str
    species: str
    """A species key, or `blank`, `unknown`, `handler`."""
    count: int | None = None
    where: Where | None = None
    sure: bool = True
    tray: str = ""
    ruling: bool = False
    also: bool = False
    """Another species in the same run: does not replace the tagger's earlier tag on it."""
    comment: str = ""
    made_at: datetime | None = None
    origin: str = ""
    """How it came in: a screen's name, or the file it was loaded from."""
    taken_back: bool = False
    """Whether a later undo took it back; it is kept all the same."""


# --- what the cameras wrote down -------------------------------------------------------------


class TimeSource(StrEnum):
    """Where a photo's time was read."""

    ORIGINAL = "original"
    DIGITIZED = "digitized"
    CHANGED = "changed"
    FILE = "file"
    PACKAGE = "package"
    """A package told it: it is true, whatever the camera showed."""
    NONE = "none"


class ClockFlag(StrEnum):
    """Why a photo's true time is not sure."""

    NONE = ""
    BEYOND_CHECKS = "more than a day beyond the clock checks"
    TWICE = "the camera's clock showed this hour twice"
    NEVER = "this hour does not exist on the camera's clock"


class PhotoKind(StrEnum):
    """Why a photo was taken."""

    TRIGGER = "trigger"
    TIMELAPSE = "timelapse"
    HANDLER = "handler"


ALSO_ON = "the same picture is on placement"
"""Said of a photo that another placement has too. Which of the two is right a person has to say,
so it counts on both until then; a copy inside one placement counts once."""


@dataclass(frozen=True, slots=True)
class Header:
    """What the first bytes of a file on a card say, before any clock is corrected."""

    camera_time: datetime | None = None
    """Naive, to the second: what the camera showed."""
    subsec: str = ""
    """Digits after the decimal point, as written."""
    offset: str = ""
    """Offset from UTC as written in the file, else empty."""
    time_source: TimeSource = TimeSource.NONE
    make: str = ""
    model: str = ""
    problem: str = ""
    """What is wrong with the file, in words; faults stand `;` between. Empty: nothing."""
    is_photo: bool = True
    """False for a file that no picture reader knows (notes, videos, thumbnails of the system)."""


@dataclass(frozen=True, slots=True)
class Photo:
    """One image file of a placement."""

    id: int
    placement: str
    file: str
    """Path below the card folder, `/` between the parts."""
    camera_time: datetime | None = None
    subsec: str = ""
    offset: str = ""
    time_source: TimeSource = TimeSource.NONE
    problem: str = ""
    copy_of: int | None = None
    """Id of the photo that this one repeats byte for byte."""
    is_photo: bool = True
    true_time: datetime | None = None
    """Aware UTC, to the second; None where the file tells none."""
    clock_flag: ClockFlag = ClockFlag.NONE
    kind: PhotoKind = PhotoKind.TRIGGER

    def timed(self, true_time: datetime, clock_flag: ClockFlag) -> "Photo":
        """Give the same photo with its true time; a placement has a hundred thousand of them.

        Three times as quick as `dataclasses.replace`.
        """
        return Photo(
            self.id, self.placement, self.file, self.camera_time, self.subsec, self.offset,
            self.time_source, self.problem, self.copy_of, self.is_photo, true_time, clock_flag,
            self.kind,
        )  # fmt: skip

    @property
    def subsecond(self) -> float:
        """Give the fraction of the second that the file names. [s]"""
        return float(f"0.{self.subsec}") if self.subsec.isdecimal() else 0.0


@dataclass(frozen=True, slots=True)
class Outline:
    """Where a tray stands in the pictures of its placement: an ellipse."""

    tray: str
    """Empty where the placement's trays are not named."""
    cx: float
    cy: float
    rx: float
    ry: float
    """Centre and half axes, x to the right and y down. [picture widths]"""
    angle: float
    """Turn of the rx axis, clockwise on screen. [degrees]"""
    by: str = ""
    """Who drew it; empty: found by the machine, and not looked at yet."""


# --- what follows from both ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Visit:
    """A run of photos of one placement in which no two neighbours are more than the gap apart."""

    placement: str
    number: int
    """1 for the placement's first visit in time."""
    photos: tuple[Photo, ...]

    @property
    def start(self) -> datetime:
        """Give the true time of the first photo."""
        return true_time(self.photos[0])

    @property
    def end(self) -> datetime:
        """Give the true time of the last photo."""
        return true_time(self.photos[-1])


def true_time(photo: Photo) -> datetime:
    """Give a photo's true time, where it must have one."""
    if photo.true_time is None:
        raise ValueError(f"Photo {photo.file!r} of {photo.placement!r} has no true time.")
    return photo.true_time


class VisitState(StrEnum):
    """How far people got with a visit."""

    UNTAGGED = "untagged"
    SINGLE = "single"
    AGREED = "agreed"
    DISPUTED = "disputed"
    RULED = "ruled"


@dataclass(frozen=True, slots=True)
class Sighting:
    """One species (or person, or unidentified animal) in one visit, as people hold it."""

    species: str
    """A species key, or `unknown`."""
    where: Where
    tray: str
    """The tray that was named; empty where the camera watches one only, or nobody said."""
    count: int | None
    first: datetime
    last: datetime
    """True times of the first and last photo of its run inside the visit."""
    last_rank: tuple[datetime, float, str]
    """Order of that last photo: true time, sub-second, file."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What is held true of a visit after all tags and the instructor's ruling."""

    state: VisitState
    waits_for: "Reason | None" = None
    """Why the visit is still unanswered; None: the answer is held."""
    species: tuple[str, ...] = ()
    """Species keys, or `unknown`, or `blank` alone, the last that was there standing last; empty
    while the visit is unanswered."""
    sightings: tuple[Sighting, ...] = ()
    taggers: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    tags: tuple[Tag, ...] = ()
    """The tags it was made of, taken back and replaced ones left out."""

    @property
    def held(self) -> bool:
        """Say whether the answer counts."""
        return self.waits_for is None


@dataclass(frozen=True, slots=True)
class AnsweredVisit:
    """A visit with what is held true of it."""

    visit: Visit
    answer: Answer


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time [start, end]."""

    start: datetime
    end: datetime


class Status(StrEnum):
    """What becomes of a tray deployment's giving-up density."""

    KEEP = "keep"
    CAUTION = "caution"
    NO_GUD = "no_gud"
    DROP = "drop"
    ERROR = "error"
    PENDING = "pending"


class Censored(StrEnum):
    """How a giving-up density is bounded."""

    NO = "no"
    BELOW = "below"
    AT_MOST = "at_most"


class Reason(StrEnum):
    """Why a tray deployment has its status, in one short sentence."""

    # keep
    CLEAN = "one species fed and every minute was watched"
    # caution
    COUNT_IS_MINIMUM = "part of the window was not watched, so the visits are a minimum"
    SEVERAL_LAST_FED = "several species were on the tray, the last that fed owns the density"
    SEVERAL_COUNT_IS_MINIMUM = (
        "several species were on the tray and part of the window was not watched"
    )
    SEVERAL_MOST_TIME = (
        "several species were on the tray, the one that was on it longest owns the density"
    )
    UNIDENTIFIED_EARLIER = "an animal nobody could name was on the tray, the last that fed is named"
    FEEDING_NOT_SEEN = "feeding not seen"
    EMPTIED_ONE = "the tray was emptied, the density is below what can be weighed"
    EMPTIED_LAST_SEEN = "the tray was emptied and the last species was seen feeding"
    EMPTIED_AFTER_GAP = "the tray was emptied and feeding was seen after the unwatched time"
    CUT_AT_SET_OUT = "a visit was cut at the window's start"
    RUNNING_AT_PICKUP = "a visit was running at pick-up"
    FEEDING_UNCERTAIN = "another animal came onto the tray after the last that was seen feeding"
    SHORT_VISITS_MISSED = "short visits may be missed, the camera's quiet time exceeds the gap"
    WATCH_IN_DOUBT = "the camera may have seen nothing for a while, nobody has looked yet"
    CLOCK_IN_DOUBT = "something speaks against the camera's clock, nobody has decided yet"
    WET_CORRECTED = "the food was wet, corrected by moisture controls"
    CONDITION_OTHER = "something else happened to the tray"
    BLEND_OF_NIGHTS = "the window holds more than one night without a recount"
    PERSON_ON_TRAY = "a person was on the tray as well as the animals"
    # no_gud
    UNUSED_SEEN = "nobody fed, and every minute was watched"
    UNUSED_BY_MASS = "nobody fed, by the mass left"
    VISITED_NOT_EATEN = "visited, not eaten"
    VISITED_BY_UNKNOWN = "visited by an unidentified animal, not eaten"
    UNUSED_PERSON = "not eaten, a person was on the tray: check that nothing was refilled"
    # drop
    EATER_NOT_SEEN = "eaten, the eater was never seen"
    SEVERAL_FED = "several species were on the tray, the study keeps trays of one species alone"
    EATEN_UNWATCHED = "eaten, but nothing was watched"
    GAP_AFTER_LAST = "the tray was not watched after the last visit"
    ONLY_UNIDENTIFIED = "only unidentified animals were on the tray"
    LAST_UNIDENTIFIED = "the last animal on the tray could not be named"
    LAST_FEEDER_UNKNOWN = "the last feeder is unknown"
    PERSONS_ONLY = "only people were on the tray, they may have taken or added food"
    EMPTIED_NOT_SEEN = "emptied, and no animal was seen"
    EMPTIED_FEEDER_UNKNOWN = "emptied, and the photos do not show who fed last"
    EMPTIED_GAP = "emptied, and part of the window was not watched: the last feeder is not known"
    GAINED = "more food was left than put in"
    NOT_A_FORAGER = "only animals that are not foragers were on the tray, none seen feeding"
    KNOCKED = "the tray was knocked over"
    FLOODED = "the tray was flooded"
    SPILLED = "food was spilled"
    ANTS = "ants were at the food"
    WET_UNCORRECTED = "the food was wet and there are no moisture controls"
    # error
    WINDOWS_OVERLAP = "two windows of this tray overlap"
    OUTSIDE_PLACEMENT = "a visit lies outside its camera's start and end"
    NOT_COVERED = "a visit was recorded while no camera was known to work"
    BEFORE_SET_OUT = "more than half of a visit lies before set-out"
    # pending
    MASS_MISSING = "a food mass or count is missing"
    TIME_MISSING = "the set-out or pick-up time is missing"
    TRAY_MISSING = "the tray is not named"
    PLACEMENT_INCOMPLETE = "the camera log of this tray has a blank required cell"
    UNTAGGED = "a visit in the window is still to be tagged"
    DISPUTED = "taggers differ on a visit, the instructor has to rule"
    UNSURE = "a visit has only unsure tags, the instructor has to rule"
    MORE_TAGGERS = "a visit needs another tagger"
    WHICH_TRAY = "a visit does not say which tray"
    SPECIES_UNLISTED = "a tag names a species that is not in the species list"


@dataclass(frozen=True, slots=True)
class Outcome:
    """A tray deployment with its density, forager, visit count, status and reason."""

    deployment: TrayDeployment
    status: Status
    reason: Reason
    cell: str
    """The rule that decided: a cell such as `T1 V1 C1`, or the name of the check before it."""
    hours_out: float | None = None
    corrected: Decimal | None = None
    """Food left after moisture and sifting corrections. [g] or [items]"""
    eaten: Decimal | None = None
    """Food gone. [g] or [items]; negative where more was left than put in."""
    gud: Decimal | None = None
    """Giving-up density [g] or [items]; only for `keep` and `caution`."""
    proportion_left: Decimal | None = None
    censored: Censored = Censored.NO
    forager: str = ""
    """Name of the species that owns the density."""
    visits: int = 0
    visits_all: int = 0
    minutes_on_tray: float | None = None
    first_visit_min: float | None = None
    last_fed_at: datetime | None = None
    watched_share: float | None = None
    unanswered: int = 0
    notes: tuple[str, ...] = ()
    watched: tuple[Span, ...] = ()
    seen: tuple["SeenVisit", ...] = ()


@dataclass(frozen=True, slots=True)
class SeenVisit:
    """The part of the visits to one tray that falls into one window, cameras merged."""

    parts: tuple[AnsweredVisit, ...]
    """One for each placement that saw it."""
    start: datetime
    end: datetime
    """Of the part inside the window."""
    sightings: tuple[Sighting, ...]
    """Of this tray, clipped to the window."""
    held: bool
    cut_at_set_out: bool = False
    mostly_before: bool = False
    running_at_pickup: bool = False
    outside_placement: bool = False
    which_tray: bool = False
    """Whether an animal was on a tray and nobody said on which of several."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that `check` found and a person should put right or know."""

    thing: str
    """What it is about: a placement, deployment, photo or log."""
    message: str
    """Value and way out."""
    serious: bool = True
    """Whether something has to be put right; False: good to know."""
