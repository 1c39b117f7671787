"""Decide how a study is made of an archive again, once all of it is proved."""

import csv
import hashlib
import io
import json
import shutil
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from core import settings, studies
from core.archive import members, proving
from core.archive.folders import elsewhere
from core.archive.proving import Progress, Proved, text
from core.archive.sound import sound
from core.errors import LastbiteError, StudyError
from core.settings import FILE_NAME
from core.store import FILE_NAME as DATABASE
from core.store import Database, Raises, lines
from core.store import cards as card_store
from core.store import originals as original_store

PICTURES = "pictures"


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What came out of an archive."""

    folder: Path
    files: int
    outcomes: str
    """The table of outcomes as it was packed."""
    pictures: int
    away: int
    """Cards that came without their photos: nobody here has said yet where they lie."""
    program: str
    """The version that wrote it."""
    otherwise: str
    """Where the zip around the files is not as Lastbite writes it; empty: nowhere."""


def unpack(file: Path, folder: Path, progress: Progress | None = None) -> Unpacked:
    """Make a study of an archive in a new folder.

    Raises
    ------
    StudyError
        Where a file was changed, is missing or was added (each named), the archive is torn, names
        files outside of itself, has a row that no study holds, or was written by a newer program;
        or the folder holds anything. Nothing is made then.
    """
    folder, file = folder.expanduser().resolve(), file.expanduser()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StudyError(f"{str(folder)!r} is there already. Name a new folder.")
    if not file.is_file():
        is_one = f"{file} is a folder" if file.is_dir() else f"There is no file {file}"
        raise StudyError(f"{is_one}. Name an archive, as in 'lastbite unpack FILE.zip NEWSTUDY'.")
    with proving.opened(file) as archive:
        return _made(archive, file, proving.proved(archive, file, progress), folder)


def _made(archive: zipfile.ZipFile, file: Path, whole: Proved, folder: Path) -> Unpacked:
    """Make the study; whatever an archive that is whole makes us raise is told in words."""
    try:
        return _make(archive, file, whole, folder)
    except OSError as fault:
        raise StudyError(
            f"{str(folder)!r} cannot be made ({fault.strerror or fault}). Make room, or name a "
            "folder that you may write to."
        ) from None
    except LastbiteError:
        raise
    except Exception as fault:  # noqa: BLE001  (no archive of others makes a traceback)
        raise StudyError(
            f"{file} is whole, but what it holds is no study ({fault!r:.200}). Nothing was made: "
            "have it packed again."
        ) from None


def _make(archive: zipfile.ZipFile, file: Path, whole: Proved, folder: Path) -> Unpacked:
    told = _versions(archive, file)
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        _put_settings(text(archive, members.SETTINGS), part / FILE_NAME)
        outcomes = text(archive, members.OUTCOMES)
        _make_rows(archive, part / DATABASE, int(told["schema_step"]))
        _refuse_differing(part / DATABASE, whole.sums, int(told["schema_step"]))
        pictures = _pictures(archive, part)
        away = _set_folders(part / DATABASE, part, folder)
        part.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    version = str(told["lastbite"])
    return Unpacked(folder, len(whole.sums), outcomes, pictures, away, version, whole.otherwise)


def _put_settings(text: str, path: Path) -> None:
    """Write the settings, such that the study is held in its own folder, whatever they say."""
    path.write_text(text, encoding="utf-8", newline="")
    settings.read(path)
    path.write_text(studies.switched(text, ""), encoding="utf-8", newline="")


def _versions(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    told = json.loads(text(archive, members.VERSIONS))
    if told["format"] > members.FORMAT:
        raise StudyError(
            f"{file} was written by a newer Lastbite ({told['lastbite']}, form {told['format']}). "
            "Install the newer Lastbite to unpack it."
        )
    return dict(told)


def _make_rows(archive: zipfile.ZipFile, path: Path, step: int) -> None:
    there = {info.filename for info in archive.infolist()}
    tables = {
        name: sound(name, _lines(archive, members.rows_of(name)))
        for name in lines.names()
        if members.rows_of(name) in there
    }
    lines.make(path, step, tables, json.loads(text(archive, members.NUMBERS)))


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
    """Point the cards whose photos came along to them, all others nowhere; count those."""
    database = Database.open(path)
    away = 0
    try:
        with database.begin(Raises.NOTHING) as connection:
            for card in card_store.cards(connection):
                here = Path(PICTURES, str(card.id))
                came = (part / here).is_dir()
                at = str(folder / here) if came else elsewhere(folder, card.folder, card.id)
                original_store.set_card_folder(connection, card.id, at)
                away += not came
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
