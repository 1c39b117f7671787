"""Decide whether an archive is whole, and how a study is made of it again.

Every file is held against its checksum before anything is made; what was changed is named.
"""

import csv
import hashlib
import io
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from core import settings, studies
from core.archive import members
from core.errors import LastbiteError, StudyError
from core.settings import FILE_NAME
from core.store import FILE_NAME as DATABASE
from core.store import Database, Raises, lines
from core.store import cards as card_store
from core.store import originals as original_store

Progress = Callable[[int, int], None]
_SUM = re.compile(r"([0-9a-f]{64})  (.+)")
_DRIVE = re.compile(r"[A-Za-z]:")
MOST_NAMED = 10
"""So many files at fault are named."""
LARGEST_TEXT = 64 << 20
"""No list of checksums or versions is larger (ours). [bytes]"""
PICTURES = "pictures"
ZIPPED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
MOST_GROWN = 1_000
"""Beyond so many times its size in the zip a file is there to fill the disk (ours)."""


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What came out of an archive."""

    folder: Path
    files: int
    outcomes: str
    """The table of outcomes as it was packed."""
    pictures: int
    away: int
    """Cards whose folder is not at hand."""
    program: str
    """The version that wrote it."""


def unpack(file: Path, folder: Path, progress: Progress | None = None) -> Unpacked:
    """Make a study of an archive in a new folder.

    Raises
    ------
    StudyError
        Where a file was changed, is missing or was added (each named), the archive is torn, names
        files outside of itself, or was written by a newer program; or the folder holds anything.
        Nothing is made then. Whatever an archive of others makes the reader raise is a fault of
        the archive, so all of it is caught.
    """
    folder = folder.expanduser().resolve()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StudyError(f"{str(folder)!r} is there already. Name a new folder.")
    if not file.expanduser().is_file():
        raise StudyError(f"There is no file {file}. Name an archive.")
    try:
        with zipfile.ZipFile(file.expanduser()) as archive:
            sums = _proved(archive, file, progress)
            return _made(archive, file, sums, folder)
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as fault:
        raise StudyError(
            f"{file} is no archive, or torn ({fault}). Take another copy of it."
        ) from None
    except OSError as fault:
        raise StudyError(
            f"{str(folder)!r} cannot be made ({fault.strerror or fault}). Make room, or name a "
            "folder that you may write to."
        ) from None
    except LastbiteError:
        raise
    except Exception as fault:  # noqa: BLE001  (see above)
        raise StudyError(
            f"{file} is whole, but what it holds is no study ({fault!r:.200}). Nothing was made: "
            "have it packed again."
        ) from None


# --- proving -----------------------------------------------------------------------------------


def _proved(archive: zipfile.ZipFile, file: Path, progress: Progress | None) -> dict[str, str]:
    """Hold every file against its checksum; StudyError names those that do not hold."""
    infos = archive.infolist()
    _refuse_unsafe(infos, file)
    # Other programs that zip a folder again write its folders too, and compress.
    names = {info.filename for info in infos if not info.is_dir()}
    if members.CHECKSUMS not in names:
        raise StudyError(f"{file} has no {members.CHECKSUMS}: it is no archive of a study.")
    sums = _sums(_text(archive, members.CHECKSUMS), file)
    faults = [f"{name} is missing" for name in sums if name not in names]
    faults += [f"{name} was added" for name in sorted(names - set(sums) - {members.CHECKSUMS})]
    for at, (name, told) in enumerate(sums.items(), 1):
        if name in names and _hash(archive, name) != told:
            faults.append(f"{name} was changed")
        if progress:
            progress(at, len(sums))
    if faults:
        more = len(faults) - MOST_NAMED
        listed = "; ".join(faults[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")
        raise StudyError(
            f"{file} is not what was packed: {listed}. Nothing was made. Take another copy of it."
        )
    return sums


def _refuse_unsafe(infos: Iterable[zipfile.ZipInfo], file: Path) -> None:
    seen: set[str] = set()
    for info in infos:
        name = info.filename
        parts = name.split("/")
        unsafe = (
            name.startswith("/") or "\\" in name or _DRIVE.match(name) or ".." in parts
            or "\0" in info.orig_filename
        )  # fmt: skip
        if unsafe or name in seen:
            raise StudyError(
                f"{file} holds {info.orig_filename!r}, which no archive of a study has: it leads "
                "elsewhere, or stands there twice. Nothing was made."
            )
        if info.compress_type not in ZIPPED or info.file_size > _most(info.compress_size):
            raise StudyError(
                f"{file} holds {name!r} in a form that is not read: pack it again without "
                "compression. Nothing was made."
            )
        seen.add(name)


def _most(compressed: int) -> int:
    """Give to what so many bytes may grow; text does not grow further."""
    return MOST_GROWN * compressed + members.CHUNK


def _sums(text: str, file: Path) -> dict[str, str]:
    found = {}
    for line in text.split("\n")[:-1]:
        read = _SUM.fullmatch(line)
        if read is None:
            raise StudyError(f"{file}: {members.CHECKSUMS} has a line that is none: {line[:80]!r}.")
        found[read[2]] = read[1]
    return found


def _hash(archive: zipfile.ZipFile, name: str) -> str:
    told = hashlib.sha256()
    try:
        with archive.open(name) as member:
            for piece in members.chunks(member.read):
                told.update(piece)
    except (zipfile.BadZipFile, EOFError):
        return "damaged"
    return told.hexdigest()


def _text(archive: zipfile.ZipFile, name: str) -> str:
    if archive.getinfo(name).file_size > LARGEST_TEXT:
        raise StudyError(f"{name} is far too large for what it is. The archive is none of ours.")
    try:
        return archive.read(name).decode("utf-8")
    except (UnicodeDecodeError, zipfile.BadZipFile):
        raise StudyError(f"{name} was changed: it cannot be read. Nothing was made.") from None


# --- making ------------------------------------------------------------------------------------


def _made(archive: zipfile.ZipFile, file: Path, sums: Mapping[str, str], folder: Path) -> Unpacked:
    told = _versions(archive, file)
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        _put_settings(_text(archive, members.SETTINGS), part / FILE_NAME)
        outcomes = _text(archive, members.OUTCOMES)
        _make_rows(archive, part / DATABASE, int(told["schema_step"]))
        _refuse_differing(part / DATABASE, sums, int(told["schema_step"]))
        pictures = _pictures(archive, part)
        away = _set_folders(part / DATABASE, part, folder)
        part.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return Unpacked(folder, len(sums), outcomes, pictures, away, str(told["lastbite"]))


def _put_settings(text: str, path: Path) -> None:
    """Write the settings, such that the study is held in its own folder, whatever they say."""
    path.write_text(text, encoding="utf-8", newline="")
    settings.read(path)
    path.write_text(studies.switched(text, ""), encoding="utf-8", newline="")


def _versions(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    told = json.loads(_text(archive, members.VERSIONS))
    if told["format"] > members.FORMAT:
        raise StudyError(
            f"{file} was written by a newer Lastbite ({told['lastbite']}, form {told['format']}). "
            "Install the newer Lastbite to unpack it."
        )
    return dict(told)


def _make_rows(archive: zipfile.ZipFile, path: Path, step: int) -> None:
    there = {info.filename for info in archive.infolist()}
    tables = {
        name: _lines(archive, members.rows_of(name))
        for name in lines.names()
        if members.rows_of(name) in there
    }
    lines.make(path, step, tables, json.loads(_text(archive, members.NUMBERS)))


def _lines(archive: zipfile.ZipFile, name: str) -> Iterator[str]:
    with archive.open(name) as member:
        yield from io.TextIOWrapper(member, encoding="utf-8", errors="surrogatepass", newline="\n")


def _refuse_differing(path: Path, sums: Mapping[str, str], step: int) -> None:
    """Write the rows again and compare, as long as the schema has not grown since."""
    database = Database.as_it_is(path)
    try:
        with database.read() as connection:
            if lines.current_step() != step:
                return
            for name in lines.names():
                told = hashlib.sha256()
                for line in lines.lines(connection, name):
                    told.update(line.encode("utf-8", "surrogatepass"))
                if told.hexdigest() != sums.get(members.rows_of(name)):
                    raise StudyError(f"The rows of {name} came out otherwise. Nothing was made.")
    finally:
        database.dispose()


def _pictures(archive: zipfile.ZipFile, part: Path) -> int:
    """Lay copies of photos into the study's folder."""
    names = [one for one in archive.namelist() if one.startswith(members.PICTURES)]
    for name in names:
        target = part / members.file_of(name)
        if not target.resolve().is_relative_to(part.resolve()):  # a backslash parts on some systems
            raise StudyError(f"{name!r} leads out of the archive. Nothing was made.")
        target.parent.mkdir(parents=True, exist_ok=True)
        with archive.open(name) as member, target.open("xb") as file:
            shutil.copyfileobj(member, file, members.CHUNK)
    return len(names)


def _set_folders(path: Path, part: Path, folder: Path) -> int:
    """Point the cards whose photos came along to them; count those that are not at hand."""
    database = Database.open(path)
    away = 0
    try:
        with database.begin(Raises.NOTHING) as connection:
            for card in card_store.cards(connection):
                here = Path(PICTURES, str(card.id))
                if (part / here).is_dir():
                    original_store.set_card_folder(connection, card.id, str(folder / here))
                elif not Path(card.folder).is_dir():
                    away += 1
    finally:
        database.dispose()
    return away


def differing(packed: str, now: str) -> list[str]:
    """Name the tray deployments of which two tables of outcomes say something else."""
    tables = [_by_deployment(text) for text in (packed, now)]
    names = dict.fromkeys([*tables[0], *tables[1]])
    return [name for name in names if tables[0].get(name) != tables[1].get(name)]


def _by_deployment(text: str) -> dict[str, dict[str, str]]:
    rows = csv.DictReader(io.StringIO(text, newline=""))
    return {row["deployment"]: row for row in rows}
