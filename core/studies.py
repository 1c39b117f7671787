"""Decide how a study folder is made, where its database is, and how that is changed: at the end.

What stands in the database is carried by `core.store.copying`.
"""

import json
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection

from core import settings
from core.errors import LastbiteError, StudyError
from core.store import FILE_NAME, Database, Raises, copying, dialects, servers
from core.store.copying import Digest
from core.store.database import faults_in_words

SQLITE = "sqlite"
"""What the file in the study folder is called where an address could stand."""
MOVING = "lastbite.db.moving"
NOTE = "# The server that holds the study; its password is not kept here."

Make = Callable[[Path], Database]
"""Makes the database of a study, given the folder."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What became of a move."""

    source: str
    """Where the study was, untouched."""
    target: str
    rows: int
    tables: int


# --- making ------------------------------------------------------------------------------------


def found(folder: Path, timezone: str, name: str = "", address: str = "") -> None:
    """Make a new study folder, its database in it or at the address of a server."""
    folder = folder.expanduser().resolve()
    zone = settings.zone(timezone)
    text = settings.TEMPLATE.format(name=_quoted(name or folder.name)[1:-1], timezone=zone.key)
    if address:
        text = switched(text, server_address(address))
    make(folder, text, lambda inside: Database.create(address or inside / FILE_NAME))


def make(folder: Path, text: str, database: Make) -> None:
    """Make a study folder with these settings; StudyError, and nothing made, where one is there."""
    file = folder / settings.FILE_NAME
    if file.exists() or (folder / FILE_NAME).exists():
        raise StudyError(f"{str(folder)!r} is a study already. Open it, or name a new folder.")
    new = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part = _written(file, text)
        try:
            database(folder).dispose()
            part.replace(file)
        finally:
            part.unlink(missing_ok=True)
    except (OSError, LastbiteError) as fault:
        (folder / FILE_NAME).unlink(missing_ok=True)
        if new and folder.exists() and not any(folder.iterdir()):
            folder.rmdir()
        if isinstance(fault, LastbiteError):
            raise
        raise StudyError(
            f"{str(folder)!r} cannot be made: {fault.strerror or fault}. "
            "Name a folder that you may write to."
        ) from None


def server_address(address: str) -> str:
    """Give the address of a server as it stands in `study.toml`: without a password.

    StudyError for one that holds a password: commands are kept in a shell's history, and the
    settings are handed about.
    """
    url = servers.parsed(address)
    if url.get_backend_name() == SQLITE:
        raise StudyError(
            f"{address!r} is a file. Leave the address out: a study's own file is in its folder."
        )
    if servers.has_password(url):
        raise StudyError(
            f"The address {servers.shown(url)} holds a password. Leave it out there, and put it "
            "into PGPASSWORD or the file .pgpass."
        )
    return address


# --- study.toml --------------------------------------------------------------------------------


def switched(text: str, address: str) -> str:
    """Give the text of `study.toml` with another address of the database; empty: the own file.

    All else stays as it is. StudyError where the text is written so that this cannot be told.
    """
    wanted = tomllib.loads(text)
    wanted["study"].pop("database", None)
    if address:
        wanted["study"]["database"] = address
    lines: list[str] = []
    section = ""
    for line in text.splitlines(keepends=True):
        head = re.match(r"\s*\[\s*([^\[\]]+?)\s*\]", line)
        section = head[1] if head else section
        if section == "study" and (line.strip() == NOTE or re.match(r"\s*database\s*=", line)):
            continue
        lines.append(line)
        if address and section == "study" and re.match(r"\s*timezone\s*=", line):
            end = "\r\n" if line.endswith("\r\n") else "\n"
            lines.append(f"{NOTE}{end}")
            lines.append(f"database = {_quoted(address)}{end}")
    made = "".join(lines)
    try:
        right = tomllib.loads(made) == wanted
    except tomllib.TOMLDecodeError:
        right = False
    if not right:
        raise StudyError(
            f"The settings are written so that their `database` cannot be changed safely. Write "
            f"[study] and its settings on lines of their own in {settings.FILE_NAME}."
        )
    return made


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _written(file: Path, text: str) -> Path:
    """Write the next text of a file beside it, down to the disk."""
    part = file.with_name(file.name + ".part")
    with part.open("w", encoding="utf-8", newline="") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    return part


# --- moving ------------------------------------------------------------------------------------


def move(folder: Path, source: Database, to: str) -> Moved:
    """Carry a study to a server, or (`sqlite`) into the file in its folder; all or nothing.

    Every table is compared before the settings name the new place; the old one stays as it was.
    While it lasts nobody writes. StudyError where somebody has the study open, or there is a
    study already.
    """
    address = "" if to == SQLITE else server_address(to)
    _refuse_same(source, address)
    file = folder / settings.FILE_NAME
    text = file.read_bytes().decode("utf-8-sig")
    path = None if address else folder / FILE_NAME
    if path is not None and path.exists():
        raise StudyError(
            f"{path} is there already, from before the study was on a server. Put it aside under "
            "another name first; nothing is overwritten."
        )
    place: str | Path = address or folder / MOVING
    (folder / MOVING).unlink(missing_ok=True)
    part = _part(file, switched(text, address))
    try:
        moved = _carried(source, place)
        try:
            if path is not None:
                (folder / MOVING).rename(path)
            part.replace(file)
        except OSError as fault:
            Database.open(address or (path if path and path.exists() else place)).discard()
            raise StudyError(
                f"{file} cannot be changed ({fault.strerror}). Nothing was moved; the study is "
                "where it was."
            ) from None
    finally:
        part.unlink(missing_ok=True)
        (folder / MOVING).unlink(missing_ok=True)
    rows = sum(one.rows for one in moved.values())
    target = str(path) if path else servers.shown(servers.parsed(address))
    return Moved(source.name, target, rows, len(moved))


def _part(file: Path, text: str) -> Path:
    try:
        return _written(file, text)
    except OSError as fault:
        raise StudyError(
            f"{file} cannot be written ({fault.strerror}), so nothing was moved. Allow writing to "
            "the folder."
        ) from None


def _carried(source: Database, place: str | Path) -> dict[str, Digest]:
    """Carry all rows and compare them; StudyError, and nothing left there, where they differ."""
    source.dispose()
    if source.path is not None:
        with faults_in_words(source.name, writing=True):
            dialects.refuse_open_elsewhere(source.path)
    with source.begin(Raises.NOTHING) as connection:
        _refuse_others(connection, source)
        target = Database.create(place, lambda other: copying.carry(connection, other))
        try:
            with target.read() as other:
                copied, own = copying.digests(other), copying.digests(connection)
            _refuse_differing(own, copied, source)
        except BaseException:
            target.discard()
            raise
        target.dispose()
    source.dispose()
    return copied


def _refuse_differing(
    own: Mapping[str, Digest], copied: Mapping[str, Digest], source: Database
) -> None:
    differing = copying.differing(own, copied)
    if differing:
        raise StudyError(
            f"{', '.join(differing)} did not arrive as they are in {source.name}. Nothing was "
            "moved; the study is where it was."
        )


def _refuse_same(source: Database, address: str) -> None:
    where = servers.shown(servers.parsed(address)) if address else ""
    if source.name == where or (source.path is not None and not address):
        raise StudyError(f"The study is at {source.name} already. Name another place.")


def _refuse_others(connection: Connection, source: Database) -> None:
    many = 0 if source.path is not None else servers.others(connection)
    if many:
        programs = "another program has" if many == 1 else f"{many} other programs have"
        raise StudyError(
            f"{source.name}: {programs} the study open (its page?). End that first: what is "
            "written there later would not be moved."
        )
