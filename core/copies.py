"""Decide how whole copies of a study are made, moved and brought together: what may be asked."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from core import merging, settings, studies
from core.errors import StudyError
from core.matching import Merged
from core.settings import Settings
from core.store import FILE_NAME, Database, backups
from core.store.backups import Backup
from core.studies import Moved

__all__ = ["Backup", "Copies", "Merged", "Moved", "restore"]


class Copies:
    """The copies of a study that is open."""

    def __init__(self, folder: Path, own: Settings, database: Database) -> None:
        self._folder = folder
        self._settings = own
        self._database = database

    def backup(self, file: Path) -> Backup:
        """Write a back-up of one state of the study while people tag; proved before it is there."""
        text = (self._folder / settings.FILE_NAME).read_bytes().decode("utf-8-sig")
        return backups.write(self._database, text, file.expanduser())

    def lay_beside(self, folder: Path) -> None:
        """Make a study folder of one state of the study, to be read and thrown away."""
        folder.mkdir()
        text = (self._folder / settings.FILE_NAME).read_bytes().decode("utf-8-sig")
        (folder / settings.FILE_NAME).write_bytes(studies.switched(text, "").encode())
        _copy_rows(self._database, folder / FILE_NAME)

    def move(self, to: str) -> Moved:
        """Carry the study to the address of a server, or (`sqlite`) into its own folder."""
        return studies.move(self._folder, self._database, to)

    def merge(self, other: Path, *, only_look: bool = False) -> Merged:
        """Bring in what a study folder or back-up has and this study has not; `only_look`: say it.

        The other is not changed. StudyError where it is another study, or damaged.
        """
        with (
            tempfile.TemporaryDirectory(prefix="lastbite-") as inside,
            _named_as_given(other, Path(inside)),
        ):
            path = Path(inside, FILE_NAME)
            theirs = _copied(other.expanduser(), path)
            opened = Database.open(path)
            try:
                with opened.read() as connection:  # a fault found later would be told of ours
                    backups.refuse_damaged(connection, opened.name)
                return merging.merge(
                    self._database, self._settings, opened, theirs, only_look=only_look
                )
            finally:
                opened.dispose()


@contextmanager
def still(copies: Copies, *, proved: bool) -> Iterator[Path]:
    """Give a study folder with one state of a study, for as long as it is read.

    `proved`: it is written and read again as a back-up is, which takes longer; for what is kept.
    """
    with tempfile.TemporaryDirectory(prefix="lastbite-") as inside:
        folder = Path(inside, "study")
        if proved:
            copies.backup(Path(inside, "backup"))
            restore(Path(inside, "backup"), folder)
        else:
            copies.lay_beside(folder)
        yield folder


def restore(file: Path, folder: Path) -> Backup:
    """Make a new study folder from a back-up; its database is a file there."""
    file, folder = file.expanduser(), folder.expanduser().resolve()
    kept = backups.proved(file)
    text = studies.switched(kept.settings, "")

    def unpacked(inside: Path) -> Database:
        backups.unpack(file, inside / FILE_NAME)
        return Database.open(inside / FILE_NAME)

    studies.make(folder, text, unpacked)
    return kept


@contextmanager
def _named_as_given(other: Path, inside: Path) -> Iterator[None]:
    """Have faults name what the person gave, and not the copy of it that is read."""
    try:
        yield
    except StudyError as fault:
        words = str(fault)
        for name in (FILE_NAME, settings.FILE_NAME):
            words = words.replace(str(inside / name), str(other))
        raise StudyError(words) from fault


def _copied(other: Path, path: Path) -> Settings:
    """Copy another study's database to `path`, as one state of it; give its settings."""
    if not other.is_dir():
        kept = backups.proved(other)
        shutil.copyfile(other, path)
        toml = path.with_name(settings.FILE_NAME)
        toml.write_text(kept.settings, encoding="utf-8")
        return settings.read(toml)
    toml = other / settings.FILE_NAME
    if not toml.is_file():
        raise StudyError(
            f"{str(other)!r} is no study: it has no {settings.FILE_NAME}. Name a study folder, or "
            "a back-up."
        )
    theirs = settings.read(toml)
    if theirs.database:
        source = Database.open(theirs.database)
        _copy_rows(source, path)
        source.dispose()
    else:
        backups.copy_file(other / FILE_NAME, path)
    return theirs


def _copy_rows(source: Database, path: Path) -> None:
    """Copy the database of a study to a new file, as one state of it, while others use it."""
    if source.path is None:
        backups.write(source, "", path)
    else:
        backups.copy_file(source.path, path)
