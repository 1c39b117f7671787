"""Decide how a study is archived or given away while people go on, and if it comes out the same."""

from collections.abc import Callable, Sequence
from pathlib import Path

from core import archive, copies
from core.archive import Packed, Unpacked
from core.camtrap.telling import Withheld
from core.exchange import Exported, Wanted
from core.exports import tables
from core.scan import Progress
from core.store import FILE_NAME, Database
from core.workspace import Workspace

__all__ = ["Exported", "Packed", "Unpacked", "Wanted", "Withheld", "export", "pack", "unpack"]


def export(
    study: Workspace,
    folder: Path,
    wanted: Wanted,
    *,
    held_back: Callable[[Sequence[Withheld]], object] | None = None,
    progress: Progress | None = None,
) -> Exported:
    """Write a Camtrap DP package of one state of a study; see `Exchange.export`.

    What people change meanwhile is not in it.
    """
    study.exchange.secret()  # in the study itself, so that pseudonyms are the same the next time
    with copies.still(study.copies, proved=False) as beside, Workspace.open(beside) as still:
        return still.exchange.export(folder, wanted, held_back=held_back, progress=progress)


def pack(
    study: Workspace, file: Path, *, pictures: bool = False, progress: Progress | None = None
) -> Packed:
    """Write an archive of one state of a study; StudyError where the file is there already."""
    target = file.expanduser().absolute()
    with copies.still(study.copies, proved=True) as folder, Workspace.open(folder) as still:
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
