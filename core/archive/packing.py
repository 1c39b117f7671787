"""Decide what goes into an archive, from one state of the study."""

import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from platform import python_version
from typing import Any, Protocol

from core import logbook, studies, tags
from core.archive import members, words
from core.archive.folders import as_packed
from core.archive.members import Writer
from core.errors import StudyError
from core.exports import tables
from core.logs import COLUMNS, LogKind
from core.model import Photo, Tag
from core.settings import FILE_NAME, Settings
from core.sheets import yes_no_text
from core.store import Database, lines
from core.store import cards as card_store
from core.store import originals as original_store
from core.store import tags as tag_store
from core.store.originals import HeldFile

Progress = Callable[[int, int], None]
CARDS = "cards"
"""The table with the folders of cards."""
FOREIGN = "package:"
"""So begins the fingerprint of a photo whose file was not in the package it came with."""
LIBRARIES = ("exifread", "numpy", "openpyxl", "pillow", "sqlalchemy")
"""What reads the files and counts; a redone result may hang on them."""
HISTORY = (*(column.name for column in COLUMNS[LogKind.TAGS]), *words.OF_A_TAG)
FILES = (*tables.PHOTO_COLUMNS, *words.OF_A_FILE)


class Study(Protocol):
    """What is asked of the study."""

    folder: Path
    settings: Settings

    def photo_rows(self) -> Iterator[tables.Row]:
        """Give every file met on the cards."""

    def visit_rows(self) -> Iterator[tables.Row]:
        """Give every visit."""

    def outcome_rows(self) -> Iterator[tables.Row]:
        """Give one row for each study tray deployment."""


@dataclass(frozen=True, slots=True)
class Packed:
    """What an archive holds."""

    files: int
    photos: int
    pictures: int
    """Copies of photos."""
    missing: int = 0
    """Photos whose file is not at hand, where copies were asked for."""
    unhashed: int = 0
    """Photos of which nobody has hashed the whole file."""


def pack(
    study: Study,
    database: Database,
    file: Path,
    *,
    pictures: bool = False,
    progress: Progress | None = None,
) -> Packed:
    """Write an archive; the same study gives the same bytes with the same program.

    No photo is read for its checksum alone: 100,000 of them are some 300 GB, hours on a disk of
    cards, and they may not be at hand. `pictures` reads all, and then all are known; so it is
    told of how many photos the whole file was never hashed. Making previews hashes it, and that
    is knowledge of the study: it gives other bytes than before, and is not left out for that.

    `study` and `database` must be one that nobody changes meanwhile. StudyError, and no file,
    where there is one of that name, or it cannot be written.
    """
    if file.exists():
        raise StudyError(f"{file} is there already. Name another file; nothing is overwritten.")
    part = file.with_name(f".{file.name}.part")
    try:
        with (
            database.read() as connection,
            zipfile.ZipFile(part, "w", zipfile.ZIP_STORED) as archive,
        ):
            packed = _write(Writer(archive), study, connection, pictures, progress)
        part.replace(file)
    except OSError as fault:
        raise StudyError(
            f"{file} cannot be written ({fault.strerror or fault}). Make room, or name a file in "
            "a folder that is there and that you may write in."
        ) from None
    finally:
        with suppress(OSError):  # where its folder is none, as was said above
            part.unlink(missing_ok=True)
    return packed


def _write(
    out: Writer, study: Study, connection: Any, pictures: bool, progress: Progress | None
) -> Packed:
    text = (study.folder / FILE_NAME).read_bytes().decode("utf-8-sig")
    zone = study.settings.timezone
    told = words.readme(study.settings.name, pictures=pictures, tables=lines.names())
    out.text(members.README, [told])
    out.text(members.SETTINGS, [studies.switched(text, "")])
    for kind, name in members.LOGS.items():
        if kind is not LogKind.TAGS:
            rows = logbook.cells(connection, kind, zone)
            columns = [column.name for column in COLUMNS[kind]]
            extra = dict.fromkeys(c for row in rows for c in row if c not in columns)
            if rows:  # no log is loaded that has no line
                out.text(name, tables.csv_text([*columns, *extra], rows))
    placements = card_store.placements_with_photos(connection)
    files = {one: {p.id: p for p in card_store.photos(connection, one)} for one in placements}
    made = tag_store.tags(connection, None)
    known = {id_: photo for photos in files.values() for id_, photo in photos.items()}
    counting = tags.in_force(made)
    if counting:
        out.text(members.LOGS[LogKind.TAGS], _tags(counting, known))
    out.text(members.HISTORY, _history(made, known, tag_store.taken_back_by(connection)))
    cards = {card.id: Path(card.folder) for card in card_store.cards(connection)}
    held = [one for card in cards for one in original_store.files_on(connection, card)]
    missing = 0
    copied = _Copies(out, cards)
    if pictures:
        for at, one in enumerate(held, 1):
            missing += not copied.put(one)
            if progress:
                progress(at, len(held))
    whole = [
        out.sums.get(members.picture(one.card, one.file)) or one.content_hash or "" for one in held
    ]
    out.text(members.PHOTOS, _photos(study, zip(held, whole, strict=True)))
    out.text(members.VISITS, tables.csv_text(tables.VISIT_COLUMNS, study.visit_rows()))
    out.text(members.OUTCOMES, tables.csv_text(tables.OUTCOME_COLUMNS, study.outcome_rows()))
    for name in lines.names():
        listed = lines.lines(connection, name)
        out.text(members.rows_of(name), as_packed(listed) if name == CARDS else listed)
    out.text(members.NUMBERS, [_json(lines.last_numbers(connection))])
    out.text(members.VERSIONS, [_json(_versions(lines.schema_step(connection), pictures))])
    out.checksums()
    return Packed(len(out.sums), len(held), copied.count, missing, whole.count(""))


@dataclass(slots=True)
class _Copies:
    """Copies of photos as they come into an archive."""

    out: Writer
    cards: Mapping[int, Path]
    count: int = 0

    def put(self, one: HeldFile) -> bool:
        """Copy a file; say whether it was there: no pipe or device, which would never end."""
        path = self.cards[one.card] / one.file
        try:
            if not path.is_file() or self._leads_out(one, path):
                return False
            file = path.open("rb")
        except (OSError, ValueError):
            return False
        with file:  # a fault from here on would leave half a photo in the archive: it is told
            self.out.write(members.picture(one.card, one.file), members.chunks(file.read))
        self.count += 1
        return True

    def _leads_out(self, one: HeldFile, path: Path) -> bool:
        """Say whether a link in a package of others leads to a file that nobody gave."""
        card = self.cards[one.card].resolve()
        return one.fingerprint.startswith(FOREIGN) and not path.resolve().is_relative_to(card)


def _tags(kept: Iterable[Tag], photos: Mapping[int, Photo]) -> Iterator[str]:
    columns = [column.name for column in COLUMNS[LogKind.TAGS]]
    return tables.csv_text(columns, (_tag(tag, photos) for tag in kept))


def _history(
    made: Iterable[Tag], photos: Mapping[int, Photo], back: Mapping[int, tuple[str, datetime]]
) -> Iterator[str]:
    listed = list(made)
    counts = {tag.number for tag in tags.in_force(listed)}
    return tables.csv_text(
        HISTORY,
        (
            _tag(tag, photos)
            | {
                "number": str(tag.number),
                "made_at": "" if tag.made_at is None else tag.made_at.isoformat(),
                "origin": tag.origin,
                "counts": yes_no_text(tag.number in counts),
                "taken_back_by": back[tag.number][0] if tag.number in back else "",
                "taken_back_at": back[tag.number][1].isoformat() if tag.number in back else "",
            }
            for tag in listed
        ),
    )


def _tag(tag: Tag, photos: Mapping[int, Photo]) -> tables.Row:
    """Write a tag as a line of the tag log; its photos by their path below their card."""
    return {
        "placement": tag.placement,
        "first_photo": photos[tag.first_photo].file,
        "last_photo": photos[tag.last_photo].file,
        "tagger": tag.tagger,
        "species": tag.species,
        "count": "" if tag.count is None else str(tag.count),
        "where": "" if tag.where is None else str(tag.where),
        "sure": yes_no_text(tag.sure),
        "tray": tag.tray,
        "ruling": yes_no_text(True) if tag.ruling else "",
        "also": yes_no_text(True) if tag.also else "",
        "comment": tag.comment,
    }


def _photos(study: Study, held: Iterable[tuple[HeldFile, str]]) -> Iterator[str]:
    """Give every file with its times, and what tells it from all others, its SHA-256 last."""
    known: dict[tuple[str, str], list[tuple[HeldFile, str]]] = {}
    for one, whole in held:
        known.setdefault((one.placement, one.file), []).append((one, whole))

    def rows() -> Iterator[tables.Row]:
        for row in study.photo_rows():
            one, whole = known[row["placement"], row["file"]].pop(0)
            yield row | {
                "card": str(one.card),
                "size": str(one.size),
                "fingerprint": one.fingerprint,
                "sha256": whole,
            }

    return tables.csv_text(FILES, rows())


def _versions(step: int, pictures: bool) -> dict[str, object]:
    return {
        "format": members.FORMAT,
        "lastbite": version("lastbite"),
        "schema_step": step,
        "pictures": pictures,
        "python": python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
    }


def _json(told: object) -> str:
    return json.dumps(told, indent=2, sort_keys=True) + "\n"
