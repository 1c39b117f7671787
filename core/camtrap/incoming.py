"""Decide how a package comes into a study: all of it or nothing, and nothing is overwritten.

Twice is the same as once. What the study has otherwise stays as it is and is told.
"""

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import MAXYEAR, MINYEAR, UTC, datetime
from pathlib import Path
from typing import Any

from core import cards as card_files
from core import logs, sheets, tags
from core.camtrap import descriptor, hearing, opening, reading, rules, trays
from core.camtrap.fields import DESCRIPTOR
from core.camtrap.hearing import Heard, Hearing
from core.camtrap.reading import Medium, Package
from core.cards import FoundFile
from core.errors import LogError, Problem, StudyError
from core.model import (
    BLANK,
    HANDLER,
    UNKNOWN,
    Header,
    Photo,
    Placement,
    Tag,
    TimeSource,
    TrayDeployment,
    Where,
)
from core.privacy import pseudonym
from core.settings import Settings
from core.sheets.times import FIRST_YEAR, LAST_YEAR
from core.store import Database, NewPhoto
from core.store import cards as card_store
from core.store import logs as log_store
from core.store import tags as tag_store

Connection = Any
Progress = Callable[[int, int], None]
BATCH = 5_000
"""So many photos are stored at once."""
ORIGIN = "package "
"""How the origin of a tag begins that came in with a package."""
VIDEO = "this is a video: it counts for visits but cannot be shown"
PEOPLE = {"human": "person", "vehicle": "vehicle"}


@dataclass(slots=True)
class Loaded:
    """What came in, what was there already, and what a person has to know."""

    new: dict[str, int] = field(default_factory=dict)
    same: dict[str, int] = field(default_factory=dict)
    """Rows by what they are: placements, photos, species, trays, tags."""
    conflicts: list[str] = field(default_factory=list)
    """What the study has otherwise, in words; it was left as it is."""
    notes: list[str] = field(default_factory=list)

    def count(self, what: str, *, new: int, same: int) -> None:
        """Note how many of some rows came in and how many were there."""
        self.new[what] = self.new.get(what, 0) + new
        self.same[what] = self.same.get(what, 0) + same


def load(
    database: Database,
    settings: Settings,
    folder: Path,
    *,
    where: Where = Where.ON_TRAY,
    secret: bytes | None = None,
    progress: Progress | None = None,
) -> Loaded:
    """Bring in a Camtrap DP package.

    Parameters
    ----------
    folder
        That of the package, or its descriptor.
    where
        Where an animal is held to have been of which the package does not say.
    secret
        The study's, by which it makes pseudonyms; None: it has made none yet.

    Raises
    ------
    LogError
        With the faults for which it cannot be read; nothing was changed.
    StudyError
        Where the study has other photos under a placement of the package.
    """
    folder = folder.expanduser().resolve()
    folder = folder.parent if folder.name == DESCRIPTOR else folder
    faults = rules.check(folder, strict=False)
    if faults:
        raise LogError(str(folder), [Problem(str(one)) for one in faults])
    package = reading.read_package(folder)
    _refuse_unholdable(package)
    by_photo = bool(package.own) and "media" in _levels(package)
    heard = hearing.hear(reading.observations(package), package.media, where, by_photo=by_photo)
    told = Loaded()
    with database.begin() as connection:
        species = _put_species(connection, package, heard, told)
        _put_placements(connection, package, told)
        _put_trays(connection, package, settings, told)
        ids = _put_photos(connection, package, told, progress)
        made = [_tag(one, species, ids, f"{ORIGIN}{folder.name}") for one in heard.tags]
        _put_tags(connection, made, secret, told)
    told.notes += _notes(package, heard, where, settings)
    return told


def _refuse_unholdable(package: Package) -> None:
    """Refuse names and times of a package that no log of a study could hold."""
    problems = [
        Problem(f"deploymentID {one.placement!r} {words}")
        for one in package.placements
        for words in _unholdable(one)
    ]
    # With the first and last year there are, no offset and no tolerance could be reckoned.
    problems += [
        Problem(f"mediaID {one.id!r} is of the year {one.moment.year}. Mend its timestamp.")
        for media in package.media.values()
        for one in media
        if one.moment.year in {MINYEAR, MAXYEAR}
    ]
    if problems:
        raise LogError(str(package.folder), problems)


def _unholdable(one: Placement) -> Iterable[str]:
    named, clock = sheets.name_cell(one.placement), sheets.clock_cell(one.clock)
    if isinstance(named, Problem):
        yield named.message
    elif one.placement != one.placement.strip():
        yield "has blanks at its ends. Take them out in all tables."
    if isinstance(clock, Problem):
        yield f"has photos in the offset {one.clock}, which {clock.message}"
    for moment in (one.start, one.end):
        if moment is not None and not FIRST_YEAR <= moment.year <= LAST_YEAR:
            yield (
                f"begins or ends in the year {moment.year}, outside {FIRST_YEAR} to {LAST_YEAR}. "
                "Mend it in deployments."
            )


def _levels(package: Package) -> Sequence[str]:
    project = package.described.get("project")
    levels = project.get("observationLevel") if isinstance(project, dict) else ()
    return levels if isinstance(levels, list) else ()


# --- species, placements, trays ------------------------------------------------------------------


def _put_species(
    connection: Connection, package: Package, heard: Hearing, told: Loaded
) -> dict[tuple[str, str], str]:
    """Add species that the study has not; give the key of each kind and name."""
    known = {one.key: one for one in log_store.species(connection)}
    names = [tag.name for tag in heard.tags if tag.kind == "animal"]
    sensitive = reading.sensitive_names(package)
    found = reading.species_for([*names, *sensitive], known, package)
    told.conflicts += [
        f"{found[name].name!r} is sensitive in the package, but not in the species list: mark it "
        "there before you give the study to others."
        for name in sensitive
        if not found[name].sensitive
    ]
    new = {one.key: one for one in found.values() if one.key not in known}
    keys = {("animal", name): one.key for name, one in found.items()}
    for kind, called in PEOPLE.items():
        if any(tag.kind == kind for tag in heard.tags):
            person = reading.person_for(called, known | new, package)
            keys[kind, ""] = person.key
            if person.key not in known:
                new[person.key] = person
    log_store.put_species(connection, list(new.values()))
    told.count("species", new=len(new), same=len(set(keys.values())) - len(new))
    if new:
        listed = ", ".join(f"{one.name} ({one.key}, {one.role})" for one in new.values())
        told.notes.append(f"New in the species list, look at their keys and roles: {listed}.")
    return keys


def _put_placements(connection: Connection, package: Package, told: Loaded) -> None:
    known = {one.placement: one for one in log_store.placements(connection)}
    new = [one for one in package.placements if one.placement not in known]
    log_store.put_placements(connection, new)
    told.count("placements", new=len(new), same=len(package.placements) - len(new))
    spelt = {name.casefold(): name for name in known}
    told.conflicts += [
        f"Placement {one.placement!r} is new, beside {spelt[one.placement.casefold()]!r}: if both "
        "are one, name it alike in the camera log and load the package into a study of its own."
        for one in new
        if one.placement.casefold() in spelt
    ]
    for one in package.placements:
        here = known.get(one.placement)
        differing = [] if here is None else _differing(here, one)
        if differing:
            told.conflicts.append(
                f"Placement {one.placement!r} differs in {', '.join(differing)}: the camera log of "
                "the study holds."
            )


def _differing(here: Placement | TrayDeployment, there: Placement | TrayDeployment) -> list[str]:
    names = type(here).__dataclass_fields__
    return [
        name
        for name in names
        if name not in {"extra", "clock"} and getattr(here, name) != getattr(there, name)
    ]


def _put_trays(connection: Connection, package: Package, settings: Settings, told: Loaded) -> None:
    resource = opening.resources_of(package.described).get(trays.TRAY_LOG)
    if not package.own or resource is None:
        return
    path = opening.path_of(package.folder, resource)
    if next(itertools.islice(opening.rows(path), 1, None), None) is None:
        return  # a study without trays has none to tell
    sheet = sheets.read_sheet(path)
    ours = {trays.PLACEMENT.lower(), trays.OTHERS.lower()}
    rows = [
        {name: text for name, text in line.cells.items() if name not in ours}
        for line in sheet.lines
    ]
    read = logs.read_trays(sheets.sheet_of_rows(path.name, rows), settings.timezone)
    known = {one.deployment: one for one in log_store.tray_deployments(connection)}
    new = [one for one in read if one.deployment not in known]
    log_store.put_tray_deployments(connection, new)
    told.count("tray deployments", new=len(new), same=len(read) - len(new))
    for one in read:
        here = known.get(one.deployment)
        # Who handled it is not in a package.
        differing = [] if here is None else _differing(replace(here, handler=""), one)
        if differing:
            told.conflicts.append(
                f"Tray deployment {one.deployment!r} differs in {', '.join(differing)}: the tray "
                "log of the study holds."
            )


# --- photos --------------------------------------------------------------------------------------


def _put_photos(
    connection: Connection, package: Package, told: Loaded, progress: Progress | None
) -> dict[str, int]:
    """Add photos that the study has not; give the study's id of each medium."""
    ids: dict[str, int] = {}
    total = sum(map(len, package.media.values()))
    for placement in package.placements:
        name = placement.placement
        media = package.media.get(name, ())
        if not media:
            continue
        folder = str(reading.card_folder(package, name))
        scanned = _scanned_before(connection, name, folder)
        if scanned:
            ids |= _matched(media, scanned, package)
            told.count("photos", new=0, same=len(media))
        else:
            ids |= _added(connection, package, name, media, told)
        if progress:
            progress(len(ids), total)
    return ids


def _scanned_before(connection: Connection, placement: str, folder: str) -> list[Photo]:
    """Give the photos that the study has of a placement from another card."""
    own = [one for one in card_store.cards(connection) if one.placement == placement]
    if not own or any(one.folder == folder for one in own):
        return []
    return card_store.photos(connection, placement)


def _matched(media: Iterable[Medium], photos: Iterable[Photo], package: Package) -> dict[str, int]:
    """Find the study's photo of each medium, by its file's name and what the camera showed."""
    by_name: dict[tuple[str, datetime | None], list[Photo]] = {}
    for photo in photos:
        key = (photo.file.rpartition("/")[2], photo.camera_time)
        by_name.setdefault(key, []).append(photo)
    ids = {}
    for one in media:
        shown = _shown(one, package)
        found = by_name.get((one.file.rpartition("/")[2], shown), [])
        if len(found) != 1:
            raise StudyError(
                f"The study has photos of placement {one.placement!r} already, and "
                f"{'none' if not found else 'several'} with the name and time of {one.file!r} "
                f"({shown}). Load the package into a study of its own, or forget that card first. "
                "Nothing was changed."
            )
        ids[one.id] = found[0].id
    return ids


def _added(
    connection: Connection, package: Package, placement: str, media: Sequence[Medium], told: Loaded
) -> dict[str, int]:
    folder = str(reading.card_folder(package, placement))
    card = card_store.put_card(connection, placement, folder, datetime.now(UTC))
    known = card_store.known_files(connection, card)
    ids = {one.id: known[one.file].id for one in media if one.file in known}
    fresh = [one for one in media if one.file not in known]
    told.count("photos", new=len(fresh), same=len(media) - len(fresh))
    for at in range(0, len(fresh), BATCH):
        some = fresh[at : at + BATCH]
        added = card_store.add_photos(connection, card, [_photo(one, package) for one in some])
        ids |= dict(zip((one.id for one in some), added, strict=True))
    return ids


def _shown(medium: Medium, package: Package) -> datetime:
    """Give the time in the placement's offset, to the second, as its camera showed it."""
    moment = medium.moment.astimezone(UTC) + package.offsets[medium.placement]
    return moment.replace(tzinfo=None, microsecond=0)


def _photo(medium: Medium, package: Package) -> NewPhoto:
    """Give a photo with the package's time; its file is looked at where it is there."""
    path = reading.path_of(package, medium)
    make, model = package.models[medium.placement]
    header = Header(
        camera_time=_shown(medium, package),
        time_source=TimeSource.ORIGINAL,
        make=make,
        model=model,
        problem="" if medium.type.startswith("image/") else VIDEO,
    )
    if not opening.is_file_in(package.folder, path):
        return NewPhoto(medium.file, 0, 0, f"package:{medium.id}", header)
    stat = path.stat()
    found = FoundFile(path, medium.file, stat.st_size, stat.st_mtime_ns)
    fingerprint = card_files.read_file(found).fingerprint
    return NewPhoto(medium.file, stat.st_size, stat.st_mtime_ns, fingerprint, header)


# --- tags ----------------------------------------------------------------------------------------


def _put_tags(
    connection: Connection, told_tags: Sequence[Tag], secret: bytes | None, told: Loaded
) -> None:
    known = tag_store.tags(connection, None)
    made = told_tags if secret is None else _by_name(told_tags, known, secret)
    wanted = tags.in_force(replace(tag, number=at) for at, tag in enumerate(made, 1))
    fresh, held_back = _news(wanted, known)
    tag_store.add_tags(connection, fresh, [None] * len(fresh))
    told.count("tags", new=len(fresh), same=len(wanted) - len(fresh) - held_back)
    if held_back:
        told.conflicts.append(
            f"{held_back} tags of the package are of photos that the same people have tagged "
            "otherwise in the study, or taken back: what they did there holds."
        )


def _by_name(made: Iterable[Tag], known: Sequence[Tag], secret: bytes) -> Iterator[Tag]:
    """Give tags of the study's own package to those who made them, who else would agree twice.

    A comment that the package held back is that of the tag.
    """
    names = {pseudonym(name, secret): name for name in {tag.tagger for tag in known}}
    comments = {tags.said(replace(tag, comment="")): tag.comment for tag in known}
    for tag in made:
        name = names.get(tag.tagger, tag.tagger)
        own = replace(tag, tagger=name)
        if name != tag.tagger and not tag.comment:
            own = replace(own, comment=comments.get(tags.said(own), ""))
        yield own


def _news(wanted: Sequence[Tag], known: Sequence[Tag]) -> tuple[list[Tag], int]:
    """Give the tags that are to be added, and how many are not, for people said otherwise.

    What a package said before may be said anew by one, with another place for animals; what
    people did in the study since is never undone.
    """
    held = tags.in_force(known)
    here, ever = {tags.said(tag) for tag in held}, {tags.said(tag) for tag in known}
    touched = {tags.replaces_in(tag) for tag in known if tag.taken_back}
    touched |= {tags.replaces_in(tag) for tag in held if not tag.origin.startswith(ORIGIN)}
    missing = [tag for tag in wanted if tags.said(tag) not in here]
    free = [tag for tag in missing if tags.replaces_in(tag) not in touched]
    begun = {tags.replaces_in(tag) for tag in free if not tag.also}
    numbers = {tag.number for tag in free}
    # The first of a run replaces all of it: what was said beside it is to be said again.
    again = (tag for tag in wanted if tag.also and tags.replaces_in(tag) in begun)
    numbers |= {tag.number for tag in again}
    new_to_people = [
        tag for tag in missing if tag.number not in numbers and tags.said(tag) not in ever
    ]
    return [tag for tag in wanted if tag.number in numbers], len(new_to_people)


def _tag(
    one: Heard, species: Mapping[tuple[str, str], str], ids: Mapping[str, int], origin: str
) -> Tag:
    plain = one.kind in {BLANK, HANDLER, UNKNOWN}
    return Tag(
        number=0,
        placement=one.placement,
        first_photo=ids[one.first],
        last_photo=ids[one.last],
        tagger=one.tagger,
        species=one.kind if plain else species[one.kind, one.name],
        count=one.count,
        where=one.where,
        sure=one.sure,
        tray=one.tray,
        ruling=one.ruling,
        also=one.also,
        comment=one.comment,
        made_at=one.at or datetime.now(UTC),
        origin=origin,
    )


# --- what a person has to know -------------------------------------------------------------------


def _notes(package: Package, heard: Hearing, where: Where, settings: Settings) -> Iterable[str]:
    if heard.guessed:
        yield (
            f"Of {heard.guessed} animals the package does not say whether they fed or were on the "
            f"tray: they are held as {where} (--where changes that)."
        )
    if heard.machine:
        yield (
            f"{heard.machine} observations are a machine's: they came in as not sure and wait for "
            "people."
        )
    if heard.uncounted:
        yield f"{heard.uncounted} counts of more than {logs.MOST_ANIMALS} animals were left out."
    if package.oversized:
        yield f"Left out, since no camera has it: {', '.join(package.oversized)}."
    if heard.without_photos:
        yield f"{heard.without_photos} observations have no photo in their time and were left out."
    if heard.quiet:
        yield f"{heard.quiet} blank time-lapse photos are no visit; they prove the camera worked."
    without = [one.placement for one in package.placements if not one.trays]
    if without:
        yield (
            f"No trays are named for: {', '.join(without)}. Write them in the camera log, and load "
            "the tray log."
        )
    yield from _unwatched(package, heard)
    yield from _irregular(package)
    yield from _other_settings(package, settings)


def _unwatched(package: Package, heard: Hearing) -> Iterable[str]:
    """Tell of tags that name a tray which their placement does not watch."""
    watched = {one.placement: one.trays for one in package.placements if one.trays}
    named = dict.fromkeys((tag.placement, tag.tray) for tag in heard.tags if tag.tray)
    stray = [f"{tray} at {at}" for at, tray in named if at in watched and tray not in watched[at]]
    if stray:
        yield (
            f"Tags name trays that their placement does not watch: {', '.join(stray)}. Mend the "
            "camera log if it does."
        )


def _irregular(package: Package) -> Iterable[str]:
    for one in package.placements:
        some = sum(medium.timelapse for medium in package.media.get(one.placement, ()))
        if some and one.timelapse_every_min is None:
            yield (
                f"{some} time-lapse photos of {one.placement!r} keep no rhythm since midnight: "
                "they count as triggered."
            )


def _other_settings(package: Package, settings: Settings) -> Iterable[str]:
    """Tell which settings the package was made with and this study has otherwise."""
    told, own = package.own.get("settings"), descriptor.settings_told(settings)
    if not isinstance(told, dict):
        return
    other = [f"{name} = {told[name]!r} (here {own[name]!r})" for name in own
             if name in told and told[name] != own[name]]  # fmt: skip
    if other:
        yield (
            f"The package was made with other settings: {', '.join(other)}. Outcomes come out "
            "otherwise until study.toml has the same."
        )
