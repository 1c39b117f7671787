"""Decide how a package comes into a study: all of it or nothing, and nothing is overwritten.

Twice is the same as once. What the study has otherwise stays as it is and is told.
"""

import itertools
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import MAXYEAR, MINYEAR, UTC, datetime
from pathlib import Path
from typing import Any

from core import cards as card_files
from core import logs, sheets, tags
from core.camtrap import hearing, naming, noted, opening, reading, rules, trays
from core.camtrap.choosing import safe_part, safe_path
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
from core.plural import many
from core.privacy import pseudonym
from core.settings import Settings
from core.sheets.times import FIRST_YEAR, LAST_YEAR
from core.store import Database, NewPhoto
from core.store import cards as card_store
from core.store import logs as log_store
from core.store import tags as tag_store

Connection = Any
Progress = Callable[[int, int], None]
Times = Callable[[str], Mapping[int, datetime]]
"""Gives the true time of each photo that the study has of a placement."""
BATCH = 5_000
"""So many photos are stored at once."""
ORIGIN = "package "
"""How the origin of a tag begins that came in with a package."""
VIDEO = "this is a video: it counts for visits but cannot be shown"


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
    times: Times = lambda _: {},
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
    times
        By them photos that the study has already are known again.

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
    told, passed_over = Loaded(), Counter(package.untold)
    rows, apart = reading.observations(package, passed_over), naming.told_apart(package)
    heard = hearing.hear(rows, package.media, where, by_photo=by_photo, apart=apart)
    with database.begin() as connection:
        species = _put_species(connection, package, heard, told)
        _put_placements(connection, package, told)
        _put_trays(connection, package, settings, told)
        ids = _put_photos(connection, package, times, told, progress)
        made = [_tag(one, species, ids, f"{ORIGIN}{folder.name}") for one in heard.tags]
        _put_tags(connection, made, secret, told)
    told.notes += noted.notes(package, heard, passed_over, where, settings)
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
) -> Mapping[tuple[str, ...], str]:
    """Add species that the study has not; give the key of each that tags mean."""
    known = {one.key: one for one in log_store.species(connection)}
    found = naming.named(heard.tags, known, package)
    told.conflicts += [
        f"{name!r} is sensitive in the package, but not in the species list: mark it there before "
        "you give the study to others."
        for name in found.sensitive
    ]
    log_store.put_species(connection, list(found.new))
    same = len(set(found.keys.values())) - len(found.new)
    told.count("species", new=len(found.new), same=same)
    if found.new:
        listed = ", ".join(f"{one.name} ({one.key}, {one.role})" for one in found.new)
        told.notes.append(f"New in the species list, look at their keys and roles: {listed}.")
    return found.keys


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
    lines = (
        replace(line, cells={name: text for name, text in line.cells.items() if name not in ours})
        for line in sheet.lines
    )
    columns = tuple(name for name in sheet.columns if name.lower() not in ours)
    read = logs.read_trays(replace(sheet, columns=columns, lines=tuple(lines)), settings.timezone)
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
    connection: Connection,
    package: Package,
    times: Times,
    told: Loaded,
    progress: Progress | None,
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
            ids |= _matched(media, scanned, times(name), package)
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


def _matched(
    media: Iterable[Medium],
    photos: Iterable[Photo],
    times: Mapping[int, datetime],
    package: Package,
) -> dict[str, int]:
    """Find the study's photo of each medium: by its file's name, and its true time.

    A package tells true times; where the study has mended its clocks since, what the camera showed
    may still be the time that is told.
    """
    by_true: dict[tuple[str, datetime | None], list[int]] = defaultdict(list)
    by_shown: dict[tuple[str, datetime | None], list[int]] = defaultdict(list)
    for photo in photos:
        name = _file_name(photo.file)
        by_true[name, times.get(photo.id)].append(photo.id)
        by_shown[name, photo.camera_time].append(photo.id)
    ids = {}
    for one in media:
        name, shown = _file_name(one.file), _shown(one, package)
        moment = one.moment.astimezone(UTC).replace(microsecond=0)
        found = by_true.get((name, moment)) or by_shown.get((name, shown), [])
        if len(found) != 1:
            raise StudyError(
                f"The study has photos of placement {one.placement!r} already, and "
                f"{'none' if not found else 'several'} with the name and time of {one.file!r} "
                f"({moment:%Y-%m-%d %H:%M:%S} UTC, {shown} on the camera). Load the package into "
                "a study of its own, or forget that card first. Nothing was changed."
            )
        ids[one.id] = found[0]
    return ids


def _file_name(path: str) -> str:
    return safe_part(path.rpartition("/")[2])


def _added(
    connection: Connection, package: Package, placement: str, media: Sequence[Medium], told: Loaded
) -> dict[str, int]:
    folder = str(reading.card_folder(package, placement))
    card = card_store.put_card(connection, placement, folder, datetime.now(UTC))
    known = {safe_path(k): one for k, one in card_store.known_files(connection, card).items()}
    there = {one.id: known.get(safe_path(one.file)) for one in media}
    ids = {key: one.id for key, one in there.items() if one is not None}
    fresh = [one for one in media if one.id not in ids]
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
        time_source=TimeSource.PACKAGE,
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
            f"{many(held_back, 'tag')} of the package: the same people have tagged these photos "
            "otherwise in the study, or taken it back, and what they did there holds."
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
    one: Heard, species: Mapping[tuple[str, ...], str], ids: Mapping[str, int], origin: str
) -> Tag:
    plain = one.kind in {BLANK, HANDLER, UNKNOWN}
    return Tag(
        number=0,
        placement=one.placement,
        first_photo=ids[one.first],
        last_photo=ids[one.last],
        tagger=one.tagger,
        species=one.kind if plain else species[naming.meant(one)],
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
