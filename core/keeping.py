"""Decide how a study is archived while people go on, and whether one comes out of it the same."""

from pathlib import Path

from core import archive, copies
from core.archive import Packed, Unpacked
from core.exports import tables
from core.scan import Progress
from core.store import FILE_NAME, Database
from core.workspace import Workspace

__all__ = ["Packed", "Unpacked", "pack", "unpack"]


def pack(
    study: Workspace, file: Path, *, pictures: bool = False, progress: Progress | None = None
) -> Packed:
    """Write an archive of one state of a study; StudyError where the file is there already."""
    target = file.expanduser().absolute()
    with copies.still(study.copies) as folder, Workspace.open(folder) as still:
        database = Database.open(folder / FILE_NAME)
        try:
            return archive.pack(still, database, target, pictures=pictures, progress=progress)
        finally:
            database.dispose()


def unpack(
    file: Path, folder: Path, progress: Progress | None = None
) -> tuple[Unpacked, list[str]]:
    """Make a study of an archive; name the trays whose outcome comes out otherwise now.

    StudyError where a file of the archive is not as it was packed; nothing is made then.
    """
    made = archive.unpack(file, folder, progress)
    with Workspace.open(made.folder) as study:
        now = "".join(tables.csv_text(tables.OUTCOME_COLUMNS, study.outcome_rows()))
    return made, archive.differing(made.outcomes, now)
