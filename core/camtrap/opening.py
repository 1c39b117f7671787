"""Decide how the files of a package are opened: inside its folder only, as UTF-8 with commas.

What stands in them is decided elsewhere.

References
----------
.. [1] Frictionless Data, Data Package, version 1.0: resource paths.
"""

import csv
import json
import re
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from core.camtrap.fields import DESCRIPTOR
from core.errors import LastbiteError

BOM = b"\xef\xbb\xbf"
LARGEST_DESCRIPTOR = 50_000_000
"""No descriptor is larger; whatever is, is something else (ours). [bytes]"""
_DRIVE = re.compile(r"[A-Za-z]:")


class PackageError(LastbiteError):
    """A file of a package cannot be read; the text says which, why, and the way out."""


def descriptor_of(folder: Path) -> dict[str, Any]:
    """Read the descriptor of a package, BOM or not; PackageError where it is none."""
    path = folder / DESCRIPTOR
    if folder.is_file():
        way = "Unzip it" if zipfile.is_zipfile(folder) else "Give the folder that it lies in"
        raise PackageError(f"{folder.name} is a file, and a package is a folder. {way} first.")
    try:
        if path.stat().st_size > LARGEST_DESCRIPTOR:
            raise PackageError("The file is far too large for a descriptor. Choose the package.")
        described = json.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as fault:
        raise PackageError(
            f"It cannot be opened ({fault.strerror}). Choose the folder that holds it."
        ) from None
    except UnicodeDecodeError:
        raise PackageError("The file is not in UTF-8. Save it anew as UTF-8.") from None
    except (ValueError, RecursionError) as fault:
        raise PackageError(f"It is no JSON ({fault}). Mend or write it anew.") from None
    if not isinstance(described, dict):
        raise PackageError("It holds no JSON object, {...}. Write it anew.")
    return described


def resources_of(described: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Give the resources by name, the first of each; what has no name is left out."""
    listed = described.get("resources")
    found: dict[str, dict[str, Any]] = {}
    for one in listed if isinstance(listed, list) else ():
        if isinstance(one, dict) and isinstance(one.get("name"), str):
            found.setdefault(one["name"], one)
    return found


def path_of(folder: Path, resource: Mapping[str, Any]) -> Path:
    """Give where a resource's file lies; PackageError where it is none, or not in the folder [1]_.

    A path in a list of one counts as that path.
    """
    told = resource.get("path")
    if isinstance(told, list) and len(told) == 1:
        told = told[0]
    if not isinstance(told, str) or not told.strip():
        raise PackageError("No path of a file is given. Give the table one file, as its path.")
    if "://" in told:
        raise PackageError("The file is elsewhere. Fetch it, and write its name as the path.")
    if not is_inside(told):
        raise PackageError("The path may lead out of the folder. Give one below it, with /.")
    path = folder / told
    if not is_file_in(folder, path):
        raise PackageError(
            "There is no such file, or the path leads out of the folder. Put it there, or give "
            "one below it, with /."
        )
    return path


def is_file_in(folder: Path, path: Path) -> bool:
    """Say whether there is a file, no pipe or device, and no link leads to it from outside."""
    try:
        return path.is_file() and path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return False


def is_inside(path: str) -> bool:
    """Say whether a path, by its text, stays below the folder it is told for."""
    return not (
        path.startswith(("/", "~"))
        or "\\" in path
        or _DRIVE.match(path)
        or ".." in path.split("/")
    )  # fmt: skip


def has_bom(path: Path) -> bool:
    """Say whether a file begins with a byte order mark; not where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(len(BOM)) == BOM
    except OSError:
        return False


def rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Give each row of a table with its number, the header's being 1; empty lines are passed over.

    PackageError, at the row where it shows, if the file is no UTF-8 or no table.
    """
    number = 0
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            for number, cells in enumerate(csv.reader(file, strict=True), 1):
                if cells:
                    yield number, cells
    except OSError as fault:
        raise PackageError(f"It cannot be read ({fault.strerror}). Look at the disk.") from None
    except UnicodeDecodeError:
        raise PackageError("The file is not in UTF-8. Save it anew as UTF-8.") from None
    except csv.Error as fault:
        raise PackageError(
            f"After row {number} it can no longer be read as a table ({fault}). Mend its quotes."
        ) from None
