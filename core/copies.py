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

    def move(self, to: str) -> Moved:
        """Carry the study to the address of a server, or (`sqlite`) into its own folder."""
        return studies.move(self._folder, self._database, to)

    def merge(self, other: Path, *, only_look: bool = False) -> Merged:
        """Bring in what a study folder or back-up has and this study has not; `only_look`: say it.

        The other is not changed. StudyError where it is another study.
        """
        with tempfile.TemporaryDirectory(prefix="lastbite-") as inside:
            path = Path(inside, FILE_NAME)
            theirs = _copied(other.expanduser(), path)
            opened = Database.open(path)
            try:
                return merging.merge(
                    self._database, self._settings, opened, theirs, only_look=only_look
                )
            finally:
                opened.dispose()


@contextmanager
def still(copies: Copies) -> Iterator[Path]:
    """Give a study folder with one state of a study, for as long as it is read."""
    with tempfile.TemporaryDirectory(prefix="lastbite-") as inside:
        file, folder = Path(inside, "backup"), Path(inside, "study")
        copies.backup(file)
        restore(file, folder)
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
        backups.write(source, "", path)
        source.dispose()
    else:
        backups.copy_file(other / FILE_NAME, path)
    return theirs
