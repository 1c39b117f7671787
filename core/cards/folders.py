"""Decide which files a card folder holds; nothing is opened here."""

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from core.errors import CardError


@dataclass(frozen=True, slots=True)
class FoundFile:
    """A file met on a card, not opened yet."""

    path: Path
    file: str
    """Path below the card folder, `/` between the parts, spelled as on the disk."""
    size: int = 0
    """[bytes]"""
    changed_ns: int = 0
    """When the file system says it was changed last. [ns since 1970 UTC]"""
    problem: str = ""
    """Why it cannot be opened, in words; empty: it can."""


_Listing = list[tuple[str, "os.DirEntry[str]"]]
_JUNCTION = 0xA0000003  # reparse tag of a folder that stands for another one, on Windows alone


def find_files(folder: Path) -> Iterator[FoundFile]:
    """Find every file below a card folder, hidden ones too, sorted by `file`.

    No link is followed, so nothing is met twice and nothing outside the card is. What cannot be
    opened (a link, a pipe, a folder without permission) is one row with a problem.

    Raises
    ------
    CardError
        At once, when the folder is missing, is no folder or cannot be listed.
    """
    try:
        listing = _listed(os.fspath(folder), "")
    except FileNotFoundError:
        raise CardError(
            f"Card folder {str(folder)!r} is not there. "
            "Put the card in, or give the folder that its photos were copied to."
        ) from None
    except NotADirectoryError:
        raise CardError(
            f"Card folder {str(folder)!r} is a file. Give the folder that holds it."
        ) from None
    except OSError as fault:
        raise CardError(
            f"Card folder {str(folder)!r} cannot be listed ({fault.strerror}). "
            "Allow this user to read it, or copy the card to another folder."
        ) from None
    return _below(listing, os.path.realpath(folder))


def _below(listing: _Listing, root: str) -> Iterator[FoundFile]:
    """Walk down, folder by folder; a stack in place of recursion, however deep the card is."""
    stack = [iter(listing)]
    while stack:
        for file, entry in stack[-1]:
            if not file.endswith("/"):
                yield _found(entry, file, root)
                continue
            try:
                stack.append(iter(_listed(entry.path, file)))
                break
            except OSError as fault:
                problem = f"this folder cannot be listed ({fault.strerror}): allow reading it"
                yield FoundFile(Path(entry.path), file[:-1], problem=problem)
        else:
            stack.pop()


def _listed(path: str, below: str) -> _Listing:
    """List one folder; the `/` behind a folder's name makes the order that of whole paths."""
    with os.scandir(path) as entries:
        named = [(below + _shown(entry.name) + "/" * _is_folder(entry), entry) for entry in entries]
    return sorted(named, key=lambda pair: pair[0])


def _shown(name: str) -> str:
    """Spell a name so that it can be stored: escaped, where its bytes are no text."""
    return name if _is_text(name) else os.fsencode(name).decode("utf-8", "backslashreplace")


def _is_text(name: str) -> bool:
    return name.isascii() or not re.search("[\ud800-\udfff]", name)


def _is_folder(entry: "os.DirEntry[str]") -> bool:
    try:
        if not entry.is_dir(follow_symlinks=False):
            return False
        return getattr(entry.stat(follow_symlinks=False), "st_reparse_tag", 0) != _JUNCTION
    except OSError:
        return False


def _found(entry: "os.DirEntry[str]", file: str, root: str) -> FoundFile:
    path = Path(entry.path)
    try:
        facts = entry.stat(follow_symlinks=False)
    except OSError as fault:
        return FoundFile(path, file, problem=f"cannot be reached ({fault.strerror}): copy it anew")
    if stat.S_ISREG(facts.st_mode):
        text = _is_text(entry.path)
        problem = "" if text else "its name holds bytes that are no text: give it another name"
        return FoundFile(path, file, facts.st_size, facts.st_mtime_ns, problem)
    if stat.S_ISLNK(facts.st_mode) or stat.S_ISDIR(facts.st_mode):
        return FoundFile(path, file, problem=_link_problem(entry.path, root))
    return FoundFile(path, file, problem="a pipe or a device, no file: take it off the card")


def _link_problem(path: str, root: str) -> str:
    target = os.path.realpath(path)
    if not os.path.exists(target):  # noqa: PTH110  (a str from realpath, kept as it is)
        return "a link that leads nowhere: copy the file itself onto the card"
    try:
        inside = os.path.commonpath([root, target]) == root
    except ValueError:  # another drive
        inside = False
    if not inside:
        return "a link that leads out of the card; copy the file itself onto the card"
    kind = "folder" if os.path.isdir(target) else "file"  # noqa: PTH112  (as above)
    return f"a link to another {kind} of the card"
