"""Decide nothing: one method for each thing that a screen or a command may ask of a study."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Self
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from core import (
    checks,
    clockfaults,
    food,
    logbook,
    logs,
    outcomes,
    previews,
    scan,
    settings,
    sheets,
    studies,
    taglog,
    tags,
)
from core.analysisbook import Analysisbook
from core.classroom import AllMaySee, Classroom
from core.clockbook import Clockbook, Supposed
from core.codebook import Codebook
from core.copies import Copies
from core.errors import CardError, Problem, StudyError, TagError
from core.exchange import Exchange
from core.exports import tables
from core.kept import Kept
from core.logs import LogKind, TagLine
from core.model import (
    ClockCheck,
    Finding,
    Outcome,
    Outline,
    Placement,
    Species,
    Tag,
    TrayDeployment,
)
from core.scan import Progress, ScanReport
from core.store import (
    FILE_NAME,
    CardRow,
    Counts,
    Database,
    Raises,
    data_version,
)
from core.store import cards as card_store
from core.store import logs as log_store
from core.store import originals as original_store
from core.store import outlines as outline_store
from core.store import peaks as peak_store
from core.store import scores as score_store
from core.store import secrets as secret_store
from core.store import tags as tag_store
from core.store.peaks import Change
from core.taglog import NewTag
from core.views import Layout, PlacementBase, PlacementView
from core.watchbook import Watchbook
from core.windows import Record

if TYPE_CHECKING:
    from core import traycards, triage

__all__ = ["Change", "Counts", "NewTag", "PlacementView", "Workspace"]


class Workspace:
    """A study that is open."""

    def __init__(
        self, folder: Path, own: settings.Settings, database: Database, kept: Kept | None = None
    ) -> None:
        self.folder = folder
        self.settings = own
        self._database = database
        self.previews = previews.Previews(database, folder / previews.FOLDER_NAME)
        """The photos' copies: where they are, what is missing, how they are made."""
        self._kept = kept or Kept(database, own)
        self.people = Classroom(database, self._kept, own, self.outcomes, self._records)
        """Who takes part, whose is what to tag, what is to settle, how far they agree."""
        self._outcomes: tuple[object, list[Outcome]] | None = None
        self._secret: bytes | None = None
        self.clocks = Clockbook(database, own, self._kept, self._outcomes_near)
        """What speaks against the clocks of its cameras, and what people decided."""
        self.watching = Watchbook(database, own, self.placements, self.view, self.clocks.in_doubt)
        """When its cameras watched, what is suspected, and what people said of that."""
        self.codes = Codebook(database, own, self.view, self.clocks, self._path_of)
        """The codes that photos show, and what people made of them."""
        self.copies = Copies(folder, own, database)
        """Its back-ups, its move to another place, and what other copies of it have."""
        self.analysis = Analysisbook(
            database, own, self._kept, self.outcomes, self.placements, self.watching, self.clocks
        )
        """What its outcomes say together, and how far that hangs on its settings."""
        self.exchange = Exchange(own, database, self, self.clocks, self.previews)
        """What of it is given to others in the open standard, and what comes in that way."""

    # --- the study -------------------------------------------------------------------------

    @classmethod
    def create(cls, folder: Path, timezone: str, name: str = "", database: str = "") -> Self:
        """Make a new study folder, its database in it or at the address of a server."""
        studies.found(folder, timezone, name, database)
        return cls.open(folder)

    @classmethod
    def open(cls, folder: Path) -> Self:
        """Open a study; StudyError (and no file made) when there is none."""
        folder = folder.expanduser().resolve()
        file = folder / settings.FILE_NAME
        if not file.is_file():
            raise StudyError(
                f"{str(folder)!r} is no study: it has no {settings.FILE_NAME}. "
                "Name a study folder, or make one with 'lastbite new'."
            )
        own = settings.read(file)
        return cls(folder, own, Database.open(own.database or folder / FILE_NAME))

    def as_all_may_see(self) -> Self:
        """Give the study as every tagger may see it: nothing said of a visit until it settles."""
        return type(self)(self.folder, self.settings, self._database, AllMaySee(self._kept))

    def close(self) -> None:
        """Let go of the database."""
        self._database.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def zone(self) -> ZoneInfo:
        """The zone in which the study's logs write their times."""
        return self.settings.timezone

    def version(self) -> int:
        """Give a number that changes with everything that is written, for caches."""
        with self._database.read() as connection:
            return data_version(connection)

    def ticket_secret(self) -> bytes:
        """Give what the page signs its tickets with; made at first use, kept with the study."""
        if self._secret is None:
            with self._database.read() as connection:
                self._secret = secret_store.secret(connection, "tickets")
        if self._secret is None:
            with self._database.begin(Raises.NOTHING) as connection:
                self._secret = secret_store.make_secret(connection, "tickets")
        return self._secret

    # --- logs ------------------------------------------------------------------------------

    def load(self, kind: LogKind, source: Path | bytes, name: str = "") -> Counts:
        """Load a log: rows that are known are brought up to date, none is removed.

        All rows or none: LogError lists every fault with its line.
        """
        sheet = sheets.read_sheet(source, name or (source.name if isinstance(source, Path) else ""))
        if kind is LogKind.TAGS:
            return self._load_tags(sheet.name, *logs.tag_lines(sheet))
        return logbook.put(self._database, kind, sheet, self.zone)

    def log_rows(self, kind: LogKind) -> list[dict[str, str]]:
        """Give a log as it would stand in a spreadsheet."""
        with self._database.read() as connection:
            return logbook.cells(connection, kind, self.zone)

    def save_rows(self, kind: LogKind, rows: Iterable[Mapping[str, object]]) -> Counts:
        """Take a log as it was edited on a screen: the same checks; rows left out are removed."""
        return logbook.replace(self._database, kind, rows, self.zone)

    def species(self) -> Mapping[str, Species]:
        """Give the study's species by key, in the list's order."""
        with self._database.read() as connection:
            return self._kept.species(connection)

    def placements(self) -> list[Placement]:
        """Give the camera log, then placements that have photos and no line in it."""
        with self._database.read() as connection:
            logged = log_store.placements(connection)
            names = {one.placement for one in logged}
            scanned = card_store.placements_with_photos(connection)
        return [*logged, *(Placement(name) for name in scanned if name not in names)]

    def trays(self) -> list[TrayDeployment]:
        """Give the tray log."""
        with self._database.read() as connection:
            return list(self._kept.logs(connection).trays)

    def clock_checks(self) -> list[ClockCheck]:
        """Give the clock log."""
        with self._database.read() as connection:
            return log_store.clock_checks(connection)

    # --- cards and photos ------------------------------------------------------------------

    def scan(
        self,
        folder: Path,
        placement: str,
        *,
        file_times: bool = False,
        progress: Progress | None = None,
    ) -> ScanReport:
        """Add what is new in a card folder to a placement; nothing on the card is changed."""
        placement = placement.strip()
        if not placement:
            raise CardError("No placement is named. Say which placement's card this is.")
        zone = self.zone if file_times else None
        return scan.scan(self._database, folder, placement, file_times=zone, progress=progress)

    def cards(self) -> list[CardRow]:
        """List the card folders that were scanned."""
        with self._database.read() as connection:
            return card_store.cards(connection)

    def card_in(self, folder: Path) -> CardRow:
        """Give the card scanned from a folder; CardError when there is none."""
        folder = folder.expanduser().resolve()
        for card in self.cards():
            if Path(card.folder) == folder:
                return card
        known = ", ".join(repr(card.folder) for card in self.cards()) or "none"
        raise CardError(f"No card was scanned from {str(folder)!r}. Scanned are: {known}.")

    def move_card(self, card: int, placement: str) -> None:
        """Put a whole card, with its tags, under another placement."""
        with self._database.begin() as connection:
            scan.refuse_misspelt(connection, placement.strip())
            card_store.move_card(connection, card, placement.strip())

    def forget_card(self, card: int, *, with_tags: bool = False) -> int:
        """Take a whole card out of the study; its files stay as they are. Gives tags set aside."""
        with self._database.begin() as connection:
            gone = original_store.ids_on(connection, card)
            tags_gone = card_store.forget_card(
                connection, card, with_tags=with_tags, at=datetime.now(UTC)
            )
        self.previews.forget(gone)
        return tags_gone

    def view(self, placement: str, gap: timedelta | None = None) -> PlacementView:
        """Give a placement with its photos, visits and answers."""
        return self._kept.view(placement, gap or self.settings.gap)

    def base(self, placement: str) -> PlacementBase:
        """Give what no tag changes of a placement: its photos, their times and order."""
        with self._database.read() as connection:
            return self._kept.base(connection, placement)

    def layout(self, placement: str) -> tuple[Layout, int]:
        """Give a placement's visits without their answers, and the `version` they are of."""
        return self._kept.layout(placement, self.settings.gap)

    def wholes(self, base: PlacementBase) -> NDArray[np.float64]:
        """Give how much each photo in order differs from its quiet scene; NaN: not scored."""
        return self._kept.wholes(base)

    def changes(self, photos: Sequence[int]) -> dict[int, Change]:
        """Give how much photos differ and where, by their ids; those not scored are left out."""
        with self._database.read() as connection:
            return peak_store.changes(connection, photos)

    def outlines(self, placement: str) -> list[Outline]:
        """Give where each tray stands in a placement's pictures, as it was drawn last."""
        with self._database.read() as connection:
            return outline_store.outlines(connection, placement)

    def set_outline(self, placement: str, outline: Outline) -> None:
        """Hold where a tray stands; TagError for a tray that the placement does not watch."""
        taglog.refuse_tray(outline.tray, self.base(placement).placement.trays, placement)
        with self._database.begin(Raises.NOTHING) as connection:
            outline_store.add_outline(connection, placement, outline, datetime.now(UTC))
            score_store.make_stale(connection, placement)

    def score(
        self, placement: str, *, most: int | None = None, progress: Progress | None = None
    ) -> "triage.Scored":
        """Score photos that are not scored yet, about `most` of them; that sorts, no more."""
        from core import triage  # noqa: PLC0415  (OpenCV is slow to start)

        base, gap = self.base(placement), self.settings.gap
        return triage.score(self._database, self.previews, base, gap, most=most, progress=progress)

    def tray_cards(self) -> "traycards.TrayCards":
        """Lay out the cards of all study trays for printing."""
        from core import traycards  # noqa: PLC0415  (OpenCV is slow to start)

        return traycards.tray_cards(self.trays(), self.zone)

    def _path_of(self, photo: int) -> Path:
        return self.previews.original(photo).path

    def missing_originals(self) -> dict[str, int]:
        """Count the photos whose card folder is not at hand now, by placement."""
        missing: dict[str, int] = {}
        for card in self.cards():
            if card.photos and not Path(card.folder).is_dir():
                missing[card.placement] = missing.get(card.placement, 0) + card.photos
        return missing

    def photo_rows(self) -> Iterator[tables.Row]:
        """Give one row for each file met on the cards."""
        for placement in self.placements():
            view = self.view(placement.placement)
            corrected = clockfaults.by_photo(view.photos, view.corrections)
            for photo in view.photos:
                yield tables.photo_row(photo, self.zone, corrected.get(photo.id, ()))

    def visit_rows(self, gap: timedelta | None = None) -> Iterator[tables.Row]:
        """Give one row for each visit of each placement, grouped by another gap if asked."""
        species = self.species()
        for placement in self.placements():
            for answered in self.view(placement.placement, gap).visits:
                yield tables.visit_row(answered, placement, species, self.zone)

    # --- tags ------------------------------------------------------------------------------

    def tag(self, new: NewTag, origin: str = "") -> int:
        """Keep one tag; gives its number. TagError names what does not fit."""
        return self.tag_all([new], origin)[0]

    def tag_all(self, new: Sequence[NewTag], origin: str = "") -> list[int]:
        """Keep several tags, all or none."""
        rows = [taglog.tag_of(one, origin) for one in new]
        with self._database.begin(Raises.TAGS) as connection:
            for one in new:
                taglog.refuse_bad(one, self._kept.species(connection))
            return tag_store.add_tags(connection, rows, [one.action for one in new])

    def turn(
        self,
        numbers: Sequence[int],
        by: str,
        *,
        taken_back: bool,
        own: bool = False,
        action: str | None = None,
    ) -> None:
        """Take tags back or let them hold again, all or none; `own`: only those that `by` made."""
        with self._database.begin(Raises.TAGS) as connection:
            if own:
                taglog.refuse_others(tag_store.taggers(connection, numbers), by)
            now = datetime.now(UTC)
            tag_store.turn(connection, numbers, now, by, taken_back=taken_back, action=action)

    def tags_of_acts(self, acts: Sequence[str]) -> dict[str, Tag]:
        """Give the tags that acts (`NewTag.action`) have made, by act."""
        with self._database.read() as connection:
            return tag_store.tags_of_actions(connection, acts)

    def taggers(self) -> list[str]:
        """Name everybody who has a tag in the study."""
        with self._database.read() as connection:
            return tag_store.names_of_taggers(connection)

    def tagger(self, name: str) -> str:
        """Give a tagger's name as the study spells it already, else as it stands."""
        with self._database.read() as connection:
            return self._kept.tagger(connection, name)

    def _load_tags(self, log: str, lines: Sequence[TagLine], faults: Sequence[Problem]) -> Counts:
        """Load tags that name photos of the study; a tag that is there already is the same."""
        trays = {one.placement: one.trays for one in self.placements()}
        names = partial(self._file_names, known=trays)
        rows = taglog.tags_of_lines(lines, faults, names, self.species(), trays, log)
        with self._database.begin(Raises.TAGS) as connection:
            known = {tags.said(tag) for tag in tags.in_force(tag_store.tags(connection, None))}
            once = {tags.said(row): row for row in rows}
            fresh = [row for words, row in once.items() if words not in known]
            tag_store.add_tags(connection, fresh, [None] * len(fresh))
        return Counts(new=len(fresh), changed=0, same=len(rows) - len(fresh))

    def _file_names(self, placement: str, known: Mapping[str, object]) -> taglog.FileNames:
        with self._database.read() as connection:
            photos = card_store.photos(connection, placement)
        if not photos:
            if placement in known:
                raise TagError(f"Placement {placement!r} has no photos yet. Scan its card first.")
            raise TagError(
                f"Placement {placement!r} is not known.{taglog.likely(placement, known)} "
                "Mend the name, or scan its card first."
            )
        return taglog.FileNames(placement, photos)

    # --- outcomes --------------------------------------------------------------------------

    def outcomes(self) -> list[Outcome]:
        """Give one outcome for each study tray deployment, in the log's order."""
        mark = (self.version(), self.watching.mark())
        if self._outcomes is None or self._outcomes[0] != mark:
            self._outcomes = (mark, self._outcomes_near(None))
        return self._outcomes[1]

    def _outcomes_near(
        self, trays: Collection[str] | None, supposed: Mapping[str, Supposed] | None = None
    ) -> list[Outcome]:
        """Give the outcomes of some trays (None: of all), with some placements as they would be."""
        records = self._records(trays, supposed)
        return outcomes.outcomes(self.trays(), records, self.species(), self.settings, trays)

    def _records(
        self, near: Collection[str] | None = None, supposed: Mapping[str, Supposed] | None = None
    ) -> list[Record]:
        """Give placements as outcomes ask for them: those `near` some trays; None: all."""
        found = []
        for placement in self.placements():
            if near is not None and not set(placement.trays) & set(near):
                continue
            name = placement.placement
            one = (supposed or {}).get(name)
            view = one.view if one else self.view(name)
            if view.logged:
                doubted = one.doubted if one else self.clocks.in_doubt(name)
                found.append(self.watching.record(view, clock_doubted=doubted))
        return found

    def outcome(self, deployment: str) -> Outcome:
        """Give the outcome of one deployment; StudyError with the likely id when unknown."""
        found = {one.deployment.deployment: one for one in self.outcomes()}
        if deployment not in found:
            hint = taglog.likely(deployment, found)
            raise StudyError(
                f"The study has no study deployment {deployment!r}.{hint} "
                "`lastbite outcomes` lists them."
            )
        return found[deployment]

    def reading(self, deployment: TrayDeployment) -> food.Reading:
        """Give the food numbers of a tray: corrections, their controls, tolerance, class."""
        controls = food.controls_of(self.trays(), self.zone)
        return food.read_food(deployment, controls, self.settings)

    def outcome_rows(self) -> Iterator[tables.Row]:
        """Give one row for each study tray deployment."""
        for outcome in self.outcomes():
            yield tables.outcome_row(outcome, self.zone)

    def check(self) -> list[Finding]:
        """List everything that has to be put right, and what is good to know."""
        views = [self.view(one.placement) for one in self.placements()]
        cards = [
            checks.Card(v.placement.placement, v.logged, v.photos, v.clock, v.clock_fault, v.tags)
            for v in views
            if v.photos
        ]
        with self._database.read() as connection:
            logged = log_store.placements(connection)
        found = checks.findings(
            self.trays(),
            logged,
            cards,
            self.species(),
            self.outcomes(),
            self.clock_checks(),
            self.zone,
        )
        for place in self.placements():
            for one in self.clocks.findings(place.placement):
                found.append(checks.of_clock(one, self.clocks.changes(one)))
            found += self.watching.findings(self.view(place.placement))
            found += self.codes.findings(place.placement)
        for placement, count in self.missing_originals().items():
            found.append(
                Finding(
                    f"placement {placement}",
                    f"{count} pictures are not at hand (the card was taken out?). Times, visits "
                    "and tags are kept; put the card in to look at them.",
                    serious=False,
                )
            )
        return found
