"""Decide how a package comes to be: beside its place, checked as its readers would, then at once.

A fault, a full disk or Ctrl-C leaves nothing behind.
"""

import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from core.camtrap import rules
from core.camtrap.fields import DESCRIPTOR
from core.errors import StudyError
from core.exports import tables

MOST_TOLD = 10
"""So many faults are shown."""


class TableFile:
    """A table that grows by chunks."""

    def __init__(self, folder: Path, name: str, columns: Sequence[str]) -> None:
        self.path = folder / f"{name}.csv"
        self.rows = 0
        self._columns = columns
        header = "".join(tables.csv_text(columns, ()))
        self.path.write_text(header, encoding="utf-8", newline="")

    def add(self, rows: Iterable[Mapping[str, str]]) -> None:
        """Write some more rows; a column that a row does not have is empty there."""
        with self.path.open("a", encoding="utf-8", newline="") as file:
            lines = tables.csv_text(self._columns, self._counted(rows))
            next(lines)
            file.writelines(lines)

    def _counted(self, rows: Iterable[Mapping[str, str]]) -> Iterator[dict[str, str]]:
        for row in rows:
            self.rows += 1
            yield dict(row)


def write_descriptor(folder: Path, described: Mapping[str, Any]) -> None:
    """Write `datapackage.json`."""
    text = json.dumps(described, indent=2, ensure_ascii=False) + "\n"
    (folder / DESCRIPTOR).write_text(text, encoding="utf-8", newline="")


@contextmanager
def beside(target: Path) -> Iterator[Path]:
    """Give a folder to write into; it gets its name at the end, or is gone after a fault.

    StudyError where the target is a file or holds anything.
    """
    target = target.expanduser().resolve()
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise StudyError(
            f"{str(target)!r} is there already and would be written over. Name a new folder."
        )
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    except OSError as fault:
        raise StudyError(
            f"No folder can be made in {str(target.parent)!r}: {fault.strerror}. Name another."
        ) from None
    try:
        yield part
        part.chmod(0o755)
        if target.exists():
            target.rmdir()
        os.replace(part, target)  # noqa: PTH105 (Path.replace says less of what went wrong)
    except OSError as fault:
        raise StudyError(
            f"The package could not be written to {str(target)!r}: {fault.strerror or fault}. "
            "Nothing was left there. Make room, or name another folder."
        ) from None
    finally:
        if part.exists():
            shutil.rmtree(part, ignore_errors=True)


def refuse_faults(folder: Path) -> None:
    """Check a package by all that the standard asks and its schemas do not; StudyError."""
    faults = rules.check(folder)
    if faults:
        shown = "\n".join(f"  {one}" for one in faults[:MOST_TOLD])
        more = len(faults) - MOST_TOLD
        rest = f"\n  and {more} more" if more > 0 else ""
        raise StudyError(f"The package would not be sound, so none was written:\n{shown}{rest}")
