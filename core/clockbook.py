"""Decide what is asked of a study's clocks, and how a correction or a check of one is kept.

What speaks against a clock is decided in `clockfaults`; here a person's decision is stored.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from types import MappingProxyType
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import Connection

from core import clockfaults, clocks, sun
from core.clockfaults import (
    ChangedOutcome,
    ClockCorrection,
    ClockFinding,
    Confidence,
    Neighbour,
    Proposal,
    Timeline,
)
from core.clockfaults.order import piece
from core.clockfaults.rows import Seconds, SunHeight
from core.errors import ClockError, Problem
from core.kept import Kept
from core.model import ClockCheck, Outcome, Photo, Placement
from core.people import named
from core.settings import Settings
from core.sheets import times as sheet_times
from core.store import Database, data_version
from core.store import cards as card_store
from core.store import corrections as store
from core.store import logs as log_store
from core.views import PlacementBase, PlacementView

MOST_SUPPOSED = 32
"""Of so many proposals it is kept what they would do, and of so many placements their lanes."""
NOTHING_SEEN: Mapping[int, bool] = MappingProxyType({})
"""Where light says nothing, since it is not known where the camera stood."""
_LATEST = 1 << 62
"""Of corrections that are only supposed: after every one that was made."""


@dataclass(frozen=True, slots=True)
class Supposed:
    """A placement as it would be with a proposal."""

    view: PlacementView
    doubted: bool
    """Whether something clear would still speak against its clock."""


OutcomesNear = Callable[[Collection[str], Mapping[str, Supposed]], list[Outcome]]
"""Gives the outcomes of some trays, with some placements as they would be."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What accepting a proposal would do."""

    times: Seconds
    """True times of the placement's photos [s since 1970 UTC]."""
    changes: tuple[ChangedOutcome, ...]
    """What would become of the trays."""


@dataclass(frozen=True, slots=True)
class Lanes:
    """When the photos of a placement were taken, by its camera and by what is held true."""

    placement: Placement
    shown: Seconds
    """What the camera showed, read in the zone that its clock was set to. [s since 1970 UTC]"""
    held: Seconds
    """True times as the study holds them, after corrections and checks. [s since 1970 UTC]"""


class Clockbook:
    """The clocks of a study: what speaks against them, and what people decided."""

    def __init__(
        self, database: Database, settings: Settings, kept: Kept, outcomes: OutcomesNear
    ) -> None:
        self._database = database
        self._settings = settings
        self._kept = kept
        self._outcomes = outcomes
        self._lanes: dict[str, tuple[PlacementBase, Lanes]] = {}
        self._effects: dict[tuple[int, str, Proposal], Effect] = {}
        self._found: dict[str, tuple[PlacementBase, Mapping[int, bool], list[ClockFinding]]] = {}

    # --- what speaks against a clock -------------------------------------------------------

    def findings(self, placement: str) -> list[ClockFinding]:
        """List what speaks against the clock of a placement, or against the log it is held to."""
        with self._database.read() as connection:
            base = self._kept.base(connection, placement)
            seen = self._seen(connection, base.placement)
            known = self._found.get(placement)
            if known and known[0] is base and known[1] is seen:
                return known[2]
            found = clockfaults.find_faults(self._line(connection, base))
        self._found[placement] = (base, seen, found)
        return found

    def in_doubt(self, placement: str) -> bool:
        """Say whether something clear speaks against a clock, which waits for a decision."""
        return _clear(self.findings(placement))

    def _line(self, connection: Connection, base: PlacementBase) -> Timeline:
        placement, name = base.placement, base.placement.placement
        logs = self._kept.logs(connection)
        checked = {check.placement for check in logs.checks}
        own_trays = set(placement.trays)
        others = [
            Neighbour(
                one, self._kept.base(connection, one.placement).seconds, one.placement in checked
            )
            for one in logs.placements.values()
            if one.placement != name
            and (_same(one.camera, placement.camera) or own_trays & set(one.trays))
        ]
        return Timeline(
            placement=placement,
            photos=base.timed.photos,
            zone=self._settings.timezone,
            trays=[one for one in base.trays if one.tray in own_trays],
            checks=logs.checks_of(name),
            corrections=base.corrections,
            infrared=self._seen(connection, placement),
            sun_height=_sun_over(placement),
            others=others,
        )

    def _seen(self, connection: Connection, placement: Placement) -> Mapping[int, bool]:
        """Say which photos are infrared, where the sun's height tells whether they should be."""
        has_place = _sun_over(placement) is not None
        return self._kept.infrared(connection, placement.placement) if has_place else NOTHING_SEEN

    def lanes(self, placement: str) -> Lanes:
        """Give the times of a placement's photos as its camera showed them and as they are held.

        Copies and photos without a time are left out.
        """
        with self._database.read() as connection:
            base = self._kept.base(connection, placement)
        known = self._lanes.get(placement)
        if known is None or known[0] is not base:
            known = (base, _lanes_of(base, self._settings.timezone))
            self._lanes = dict([*self._lanes.items()][1 - MOST_SUPPOSED :]) | {placement: known}
        return known[1]

    def about(self, finding: ClockFinding) -> Seconds:
        """Give the true times, as held now, of the photos that a finding is about. [s]"""
        with self._database.read() as connection:
            timed = self._kept.base(connection, finding.placement).timed
        if finding.first_photo is None and finding.last_photo is None:
            return timed.seconds[timed.known]
        there = np.array(piece(timed.photos, finding.first_photo, finding.last_photo), np.int64)
        return timed.seconds[there[timed.known[there]]]

    def suppose(self, placement: str, proposal: Proposal) -> Effect:
        """Work out what accepting a proposal would do; nothing is changed by asking."""
        with self._database.read() as connection:
            key = (data_version(connection), placement, proposal)
            known = self._effects.get(key)
            if known is not None:
                return known
            base = self._kept.base(connection, placement)
            supposed = self._supposed(connection, base, proposal)
        trays = set(base.placement.trays)
        before, after = self._outcomes(trays, {}), self._outcomes(trays, {placement: supposed})
        moments = (
            photo.true_time.timestamp() for photo in supposed.view.ordered if photo.true_time
        )
        effect = Effect(
            np.fromiter(moments, np.int64), tuple(clockfaults.changed_outcomes(before, after))
        )
        self._effects = dict([*self._effects.items()][1 - MOST_SUPPOSED :]) | {key: effect}
        return effect

    def _supposed(
        self, connection: Connection, base: PlacementBase, proposal: Proposal
    ) -> Supposed:
        added = (replace(one, number=_LATEST + at) for at, one in enumerate(proposal.corrections))
        corrections = (*base.corrections, *added)
        line = replace(self._line(connection, base), corrections=corrections)
        view = self._kept.supposed(connection, base, corrections, self._settings.gap)
        return Supposed(view, _clear(clockfaults.find_faults(line)))

    def changes(self, finding: ClockFinding) -> tuple[ChangedOutcome, ...]:
        """Give what the one proposal of a finding would do to the trays; none has none."""
        one = finding.chosen
        return self.suppose(finding.placement, one).changes if one is not None else ()

    # --- what people decided ---------------------------------------------------------------

    def accept(self, proposal: Proposal, by: str, why: str = "") -> list[int]:
        """Keep a proposal's corrections with who, when and why; gives their numbers.

        All of a proposal or nothing. ClockError where nobody is named, or its photos are gone.
        """
        who = named(by, ClockError)
        now = datetime.now(UTC)
        rows = [
            replace(one, by=who, made_at=now, why=". ".join(filter(None, [one.why, why.strip()])))
            for one in proposal.corrections
        ]
        if not rows:
            raise ClockError("This proposal changes nothing. Put the log right instead.")
        with self._database.begin() as connection:
            return store.add_corrections(connection, rows)

    def take_back(self, numbers: Sequence[int], by: str) -> None:
        """Take corrections back, all or none; they are kept and no longer count."""
        who, now = named(by, ClockError), datetime.now(UTC)
        with self._database.begin() as connection:
            for number in numbers:
                store.take_back(connection, number, now, who)

    def history(self, placement: str | None = None) -> list[ClockCorrection]:
        """List the corrections of a placement, or of all, as made; taken back ones too."""
        with self._database.read() as connection:
            return store.corrections(connection, placement)

    # --- clock checks from photos ----------------------------------------------------------

    def read_check(self, placement: str, photo: int, true_time: str) -> ClockCheck:
        """Give the clock check that a photo of a watch makes; nothing is kept.

        Parameters
        ----------
        true_time
            What the watch in the photo shows, as a log would have it: `YYYY-MM-DD HH:MM:SS` in
            the study's zone or with an offset; or `HH:MM:SS` alone, on the day that the clock
            gives, of the study's days the nearest.

        Raises
        ------
        ClockError
            Where the photo has no time or is not here, or the time can be read in two ways.
        """
        taken = self._photo(placement, photo)
        if taken.camera_time is None:
            raise ClockError(
                f"{taken.file} has no time of its own, so it cannot be a clock check. Choose a "
                "photo that has one."
            )
        text = true_time.strip()
        if text and len(text) <= len("HH:MM:SS") and taken.true_time is not None:
            text = self._on_a_day(text, taken.true_time)
        found = sheet_times.time_cell(text, self._settings.timezone)
        if isinstance(found, Problem):
            raise ClockError(f"The time {true_time.strip()!r} {found.message}")
        return ClockCheck(placement, taken.camera_time, found, taken.file)

    def _on_a_day(self, clock: str, near: datetime) -> str:
        """Put a time of day on the day that brings it nearest to a true time."""
        zone = self._settings.timezone
        days = [(near + timedelta(days=more)).astimezone(zone).date() for more in (0, -1, 1)]
        read = [(day, sheet_times.time_cell(f"{day} {clock}", zone)) for day in days]
        apart = {day: abs(at - near) for day, at in read if isinstance(at, datetime)}
        return f"{min(apart, key=lambda day: apart[day])} {clock}" if apart else clock

    def add_check(self, check: ClockCheck) -> None:
        """Keep a clock check beside those of its placement.

        ClockError, and nothing kept, where the camera showed that time at another true time in
        the clock log already, or where the checks would run backwards.
        """
        with self._database.begin() as connection:
            self.add_check_in(connection, check)

    def add_check_in(self, connection: Connection, check: ClockCheck) -> None:
        """Keep a clock check in a transaction of somebody else's, by the same rules."""
        own = [
            one for one in log_store.clock_checks(connection) if one.placement == check.placement
        ]
        for one in own:
            if one.camera_showed == check.camera_showed and one.true_time != check.true_time:
                raise ClockError(
                    f"The clock log says already that the camera of {check.placement!r} "
                    f"showed {check.camera_showed} at another true time "
                    f"({sheet_times.local_text(one.true_time, self._settings.timezone)}). "
                    "Remove that check first, or choose another photo."
                )
        log_store.put_clock_checks(connection, [check])
        # From the tables: what this transaction wrote may yet be undone, so nothing of it is kept.
        logged = {one.placement: one for one in log_store.placements(connection)}
        clockfaults.true_times(
            card_store.photos(connection, check.placement),
            logged.get(check.placement),
            [*(one for one in own if one.camera_showed != check.camera_showed), check],
            self._settings.timezone,
            store.corrections(connection, check.placement),
        )

    def remove_check(self, check: ClockCheck) -> None:
        """Take a clock check out of the clock log; nothing happens where it is gone already."""
        with self._database.begin() as connection:
            log_store.remove_clock_check(connection, check.placement, check.camera_showed)

    def checks(self, placement: str) -> list[ClockCheck]:
        """Give the clock checks of a placement, in the log's order."""
        with self._database.read() as connection:
            found = log_store.clock_checks(connection)
        return [one for one in found if one.placement == placement]

    def _photo(self, placement: str, photo: int) -> Photo:
        with self._database.read() as connection:
            timed = self._kept.base(connection, placement).timed
        for at, one in enumerate(timed.photos):
            if one.id == photo:
                return timed[at]
        raise ClockError(
            f"Photo {photo} is not on placement {placement!r}: its card was forgotten or moved. "
            "Open the page again."
        )


def _lanes_of(base: PlacementBase, zone: ZoneInfo) -> Lanes:
    photos = base.timed.photos
    logged = base.placement if base.logged else None
    first = min((p.camera_time for p in photos if p.camera_time), default=None)
    clock = clocks.clock_of(logged, (), zone, first)
    shown = clocks.true_times(photos, replace(clock, believes_files=False))
    counts = np.array([p.is_photo and p.copy_of is None for p in photos], dtype=np.bool_)
    return Lanes(
        base.placement,
        shown.seconds[shown.known & counts],
        base.timed.seconds[base.timed.known & counts],
    )


def _clear(found: Sequence[ClockFinding]) -> bool:
    return any(one.confidence is Confidence.CLEAR for one in found)


def _same(camera: str, other: str) -> bool:
    """Say whether two placements had the same camera; one without a name is no camera."""
    return bool(camera) and camera == other


def _sun_over(placement: Placement) -> SunHeight | None:
    if placement.latitude is None or placement.longitude is None:
        return None
    return partial(sun.height, latitude=placement.latitude, longitude=placement.longitude)
