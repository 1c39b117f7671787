"""Decide what of a study goes into a package for others, and what comes back from one."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from importlib.metadata import version
from pathlib import Path
from typing import Protocol

from core import tags
from core.camtrap import (
    choosing,
    descriptor,
    fields,
    incoming,
    missing,
    places,
    rows,
    telling,
    trays,
)
from core.camtrap.choosing import Chosen
from core.camtrap.events import Events
from core.camtrap.incoming import Loaded
from core.camtrap.places import Place
from core.camtrap.telling import Telling, Withheld
from core.camtrap.writing import TableFile, beside, refuse_faults, write_descriptor
from core.cleaned import cleaned
from core.clockbook import Clockbook
from core.errors import CardError, StudyError
from core.model import Outcome, Placement, Species, TrayDeployment, Where
from core.previews import Previews
from core.privacy import people_of, statement
from core.scan import Progress
from core.settings import Settings
from core.store import Database, Raises
from core.store import cards as card_store
from core.store import people as people_store
from core.store import secrets as secret_store
from core.store import tags as tag_store
from core.views import PlacementView

__all__ = ["Exchange", "Exported", "Loaded", "Wanted"]

PSEUDONYMS = "pseudonyms"
"""What the secret is called by which they are made."""
_PLACES, _SET_UP_BY = {"locationid", "locationname"}, "setupby"
"""Columns of the camera log, in small letters, with the names of places and of people."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody asks to have in a package beyond placements, photos and answers."""

    pictures: bool = False
    """The public ones, without private Exif."""
    tags: bool = False
    """What each tagger said of each photo."""
    names: bool = False
    """Taggers by their names; nobody else."""


@dataclass(slots=True)
class Exported:
    """What a package holds, what is not in it, and why."""

    folder: Path
    counts: dict[str, int] = field(default_factory=dict)
    """Rows of each table, and pictures."""
    left_out: dict[str, int] = field(default_factory=dict)
    """Files, visits and pictures, by the reason in words."""
    private: dict[str, int] = field(default_factory=dict)
    """Photos that are not public, by the reason in words."""
    not_copied: list[str] = field(default_factory=list)
    """Public pictures that could not be copied, each with the reason in words."""
    sensitive: bool = False
    """Whether a species of the study is sensitive."""
    names: bool = False
    """Whether taggers are named as they are."""
    withheld: tuple[Withheld, ...] = ()
    statements: tuple[str, ...] = ()


class Study(Protocol):
    """What is asked of the study itself."""

    def placements(self) -> list[Placement]:
        """Give the camera log's lines, and placements that only have photos."""

    def trays(self) -> list[TrayDeployment]:
        """Give the tray log's lines."""

    def species(self) -> Mapping[str, Species]:
        """Give the species list, by key."""

    def outcomes(self) -> list[Outcome]:
        """Give one outcome for each study tray deployment."""

    def view(self, placement: str) -> PlacementView:
        """Give a placement's photos, visits and answers."""


class Exchange:
    """Packages of a study that is open."""

    def __init__(
        self,
        settings: Settings,
        database: Database,
        study: Study,
        clocks: Clockbook,
        previews: Previews,
    ) -> None:
        self._settings = settings
        self._database = database
        self._study = study
        self._clocks = clocks
        self._previews = previews

    def secret(self) -> bytes:
        """Give what pseudonyms are made with; made at first use, kept with the study."""
        with self._database.read() as connection:
            secret = secret_store.secret(connection, PSEUDONYMS)
        if secret is None:
            with self._database.begin(Raises.NOTHING) as connection:
                secret = secret_store.make_secret(connection, PSEUDONYMS)
        return secret

    def export(
        self,
        target: Path,
        wanted: Wanted,
        *,
        held_back: Callable[[Sequence[Withheld]], object] | None = None,
        progress: Progress | None = None,
    ) -> Exported:
        """Write a Camtrap DP package into a new folder, whole or not at all.

        Of a study that nobody changes meanwhile: `keeping.export` sees to that.

        Parameters
        ----------
        held_back
            Told the free texts that are not in the package, once it is written and checked beside
            its place; where it raises anything, nothing is left.

        Raises
        ------
        StudyError
            A fact is missing, the folder is not empty or cannot be written.
        """
        told = self._telling(wanted)
        self._refuse_missing(told, wanted)
        done = Exported(target, sensitive=told.sensitive, names=told.names)
        with beside(target) as part:
            self._write(part, wanted, told, done, progress)
            refuse_faults(part)
            done.withheld = tuple(told.withheld.values())
            if held_back:
                held_back(done.withheld)
        return done

    def load(
        self, folder: Path, where: Where = Where.ON_TRAY, progress: Progress | None = None
    ) -> Loaded:
        """Bring in a Camtrap DP package: placements, photos, tags, and trays where it has them.

        `where` is where animals are held to have been of which it does not say. LogError with the
        faults for which it cannot be read, StudyError where the study has other photos.
        """
        with self._database.read() as connection:
            secret = secret_store.secret(connection, PSEUDONYMS)
        return incoming.load(
            self._database,
            self._settings,
            folder,
            where=where,
            secret=secret,
            times=self._times,
            progress=progress,
        )

    def _times(self, placement: str) -> dict[int, datetime]:
        """Give the true time of each photo of a placement, by its id."""
        photos = self._study.view(placement).photos
        return {one.id: one.true_time for one in photos if one.true_time is not None}

    # --- before ----------------------------------------------------------------------------

    def _telling(self, wanted: Wanted) -> Telling:
        placements, trays = self._study.placements(), self._study.trays()
        with self._database.read() as connection:
            taggers = tag_store.names_of_taggers(connection)
            people = people_store.everybody(connection)
        own = [(name.casefold(), text) for one in placements for name, text in one.extra.items()]
        sites = [one.site for one in trays] + [text for name, text in own if name in _PLACES]
        cells = [one.handler for one in trays] + [text for name, text in own if name == _SET_UP_BY]
        named = (*taggers, *people, *self._settings.instructors)
        return Telling(
            self._study.species(),
            self.secret(),
            names=wanted.names,
            sites=frozenset(filter(None, sites)),
            known=frozenset(filter(None, (*named, *(one for c in cells for one in people_of(c))))),
            taggers=frozenset(taggers),
        )

    def _refuse_missing(self, told: Telling, wanted: Wanted) -> None:
        placements, logged = self._study.placements(), set()
        named: set[str] = set()
        for one in placements:
            view = self._study.view(one.placement)
            if view.logged:
                logged.add(one.placement)
            named |= _named(view, wanted)
        found = missing.missing(
            self._settings, placements, logged, self._study.trays(), told, named
        )
        if found:
            listed = "\n".join(f"  {one}" for one in found)
            raise StudyError(f"A package needs more than the study has yet:\n{listed}")

    # --- writing ---------------------------------------------------------------------------

    def _write(
        self, part: Path, wanted: Wanted, told: Telling, done: Exported, progress: Progress | None
    ) -> None:
        placements, zone = self._study.placements(), self._settings.timezone
        seen = {one.deployment: trays.watching(one, placements) for one in self._study.trays()}
        where = self._places(placements, told)
        files = {one.name: TableFile(part, one.name, one.columns) for one in fields.TABLES}
        total = self._photos()
        methods: set[str] = set()
        named: set[str] = set()
        stretches: list[datetime] = []
        for one in placements:
            view = self._study.view(one.placement)
            chosen = choosing.choose(view, told, zone, self._settings.gap)
            stretches += [chosen.start, chosen.end]
            named |= _named(view, wanted)
            methods |= {rows.capture_method(media.photo) for media in chosen.media}
            self._placement(files, chosen, where[one.placement], told)
            self._media(part, files, chosen, wanted, done, progress, total)
            events = Events(chosen, told, chosen.ids())
            files["observations"].add(events.rows())
            if wanted.tags:
                files["observations"].add(events.tag_rows(view.tags))
            _count_left_out(done, chosen)
        files[trays.TRAY_OUTCOMES] = TableFile(part, trays.TRAY_OUTCOMES, trays.OUTCOME_COLUMNS)
        files[trays.TRAY_OUTCOMES].add(trays.outcome_rows(self._study.outcomes(), seen, told, zone))
        files[trays.TRAY_LOG] = TableFile(part, trays.TRAY_LOG, trays.LOG_COLUMNS)
        files[trays.TRAY_LOG].add(trays.log_rows(self._study.trays(), seen, told, zone))
        sharing = self._settings.sharing
        about = told.about(sharing.description, [one.name for one in sharing.contributors])
        done.counts = {name: file.rows for name, file in files.items()} | done.counts
        done.statements = tuple(self._statements(told, done))
        facts = descriptor.Facts(
            places=[place.at for place in where.values()],
            first=min(stretches).astimezone(zone).date(),
            last=max(stretches).astimezone(zone).date(),
            named=named,
            capture_methods=sorted(methods),
            levels=["event", "media"] if wanted.tags else ["event"],
            withheld=done.statements,
            version=version("lastbite"),
            about=about,
        )
        described = descriptor.descriptor(
            self._settings, told, facts, datetime.now(UTC).replace(microsecond=0)
        )
        write_descriptor(part, described)

    def _placement(
        self, files: Mapping[str, TableFile], chosen: Chosen, place: Place, told: Telling
    ) -> None:
        name = chosen.placement.placement
        with self._database.read() as connection:
            model = card_store.camera_model(connection, name)
        doubted = self._clocks.in_doubt(name)
        row = rows.deployment_row(chosen, place, model, told, clock_doubted=doubted)
        files["deployments"].add([row])

    def _media(
        self,
        part: Path,
        files: Mapping[str, TableFile],
        chosen: Chosen,
        wanted: Wanted,
        done: Exported,
        progress: Progress | None,
        total: int,
    ) -> None:
        def told() -> Iterator[rows.Row]:
            for media in chosen.media:
                public = wanted.pictures and not media.held_back and self._copied(part, media, done)
                done.counts["photos"] = done.counts.get("photos", 0) + 1
                if media.held_back:
                    _add(done.private, str(media.held_back), 1)
                if progress:
                    progress(done.counts["photos"], total)
                yield rows.media_row(chosen, media, public=public)

        files["media"].add(told())

    def _copied(self, part: Path, media: choosing.Media, done: Exported) -> bool:
        """Copy a picture without what is private in its file; say whether it is there."""
        try:
            content = cleaned(self._previews.original(media.photo.id).path)
        except (CardError, OSError) as fault:
            done.not_copied.append(f"{media.id}: {fault}")
            return False
        file = part / choosing.MEDIA / media.id
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
        _add(done.counts, "pictures", 1)
        return True

    def _places(self, placements: Sequence[Placement], told: Telling) -> dict[str, Place]:
        return places.places(placements, self._study.trays(), self._precision(told), told)

    def _precision(self, told: Telling) -> Decimal:
        sharing = self._settings.sharing
        coarse = sharing.sensitive_precision if told.sensitive else sharing.place_precision
        return max(coarse, sharing.place_precision)

    def _photos(self) -> int:
        with self._database.read() as connection:
            return sum(card_store.photo_counts(connection).values())

    def _statements(self, told: Telling, done: Exported) -> Iterator[str]:
        yield statement(self._precision(told), sensitive=told.sensitive)
        yield telling.of_pictures(pictures=bool(done.counts.get("pictures")))
        if not told.names:
            yield "Taggers are named by pseudonyms."
        if told.sensitive and told.sites:
            yield "Sites are named by pseudonyms, in ids and paths too."
        stays = self._stays()
        if stays:
            yield f"Not told: {', '.join(stays)}."
        if told.withheld:
            yield f"Texts that are withheld: {len(told.withheld)}."
        if done.left_out:
            listed = ", ".join(f"{why} ({count})" for why, count in done.left_out.items())
            yield f"Not in the package: {listed}."

    def _stays(self) -> list[str]:
        """Give what the logs hold that no package tells."""
        placements, trays = self._study.placements(), self._study.trays()
        columns = {name: None for one in placements for name, text in one.extra.items() if text}
        standard = {name.casefold() for name in fields.DEPLOYMENTS.columns}
        own = [name for name in columns if name.casefold() not in standard]
        own += dict.fromkeys(name for one in trays for name, text in one.extra.items() if text)
        people = {
            "who handled trays": any(one.handler for one in trays),
            "who set cameras up": any(name.casefold() == _SET_UP_BY for name in columns),
            f"own columns of the logs ({', '.join(own)})": bool(own),
        }
        return [what for what, there in people.items() if there]


def _named(view: PlacementView, wanted: Wanted) -> set[str]:
    """Give the species keys that the observations of a placement would name."""
    named = {key for one in view.visits if one.answer.held for key in one.answer.species}
    if wanted.tags:
        named |= {tag.species for tag in tags.in_force(view.tags)}
    return named


def _count_left_out(done: Exported, chosen: Chosen) -> None:
    for why, count in chosen.left_out:
        _add(done.left_out, str(why), count)
    if chosen.visits_left_out:
        _add(done.left_out, "visits outside their camera's start and end", chosen.visits_left_out)


def _add(counts: dict[str, int], name: str, more: int) -> None:
    counts[name] = counts.get(name, 0) + more
