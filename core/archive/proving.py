"""Decide whether an archive is whole: what its files hold, and the zip around them byte by byte.

The files are held against their checksums. The zip around them has none, so it is written again,
from these same files, beside the one that is there: nothing is kept of it, each byte is compared.
"""

import io
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from core.archive import members
from core.archive.members import Writer
from core.errors import StudyError

Progress = Callable[[int, int], None]
_SUM = re.compile(r"([0-9a-f]{64})  (.+)")
_DRIVE = re.compile(r"[A-Za-z]:")
MOST_NAMED = 10
"""So many files at fault are named."""
LARGEST_TEXT = 64 << 20
"""No list of checksums or versions is larger (ours). [bytes]"""
ZIPPED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
MOST_GROWN = 1_000
"""Beyond so many times its size in the zip a file is there to fill the disk (ours)."""
UNREADABLE = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, RuntimeError, ValueError,
    LookupError, ArithmeticError,
)  # fmt: skip
"""What the reader of a zip raises where bytes of it were changed, or the disk gives none."""
_LISTED, _ENDS = b"PK\x01\x02", (b"PK\x05\x06", b"PK\x06\x06")
"""How a line of the list at a zip's end begins, and how the end of that list does [1]_.

References
----------
.. [1] PKWARE, .ZIP File Format Specification (APPNOTE) 6.3, sections 4.3.12, 4.3.14, 4.3.16.
"""


@dataclass(frozen=True, slots=True)
class Proved:
    """What was found of an archive whose files all hold what was packed."""

    sums: Mapping[str, str]
    """SHA-256 of each file but the list of them."""
    otherwise: str
    """The first byte, from 0, at which the zip around them is not as it is written here, and of
    which file it tells; empty: there is none."""


@contextmanager
def opened(file: Path) -> Iterator[zipfile.ZipFile]:
    """Open an archive; StudyError where it is none, or its list of files was changed."""
    try:
        archive = zipfile.ZipFile(file)
    except UNREADABLE as fault:
        raise StudyError(
            f"{file} is no archive, or it is torn or was changed where it lists its files "
            f"({_told(fault)}). Take another copy of it."
        ) from None
    with archive:
        yield archive


def proved(archive: zipfile.ZipFile, file: Path, progress: Progress | None = None) -> Proved:
    """Hold every file of an archive against its checksum, and the zip against what is written.

    Each file is read once. A zip that another program made of the same files is no fault; it is
    told, as a byte that was changed around them is: nobody can tell one from the other.

    Raises
    ------
    StudyError
        Names the files that were changed, cannot be read, are missing or were added.
    """
    _refuse_unsafe(archive.infolist(), file)
    # Other programs that zip a folder again write its folders too, and compress.
    names = {info.filename for info in archive.infolist() if not info.is_dir()}
    if members.CHECKSUMS not in names:
        raise StudyError(f"{file} has no {members.CHECKSUMS}: it is no archive of a study.")
    sums = _sums(text(archive, members.CHECKSUMS), file)
    faults = [f"{name} is missing" for name in sums if name not in names]
    added = sorted(names - set(sums) - {members.CHECKSUMS})
    faults += [f"{name if name.isprintable() else repr(name)} was added" for name in added]
    with file.open("rb") as held:
        beside = _Beside(held)
        with zipfile.ZipFile(beside, "w", zipfile.ZIP_STORED) as again:
            out = Writer(again)
            for at, (name, told) in enumerate(sums.items(), 1):
                if name in names:
                    faults += _faults(archive, name, told, beside.of(name, out))
                if progress:
                    progress(at, len(sums))
            _faults(archive, members.CHECKSUMS, "", beside.of(members.CHECKSUMS, out))
            beside.listed = iter(out.sums)
        otherwise = beside.otherwise()
    if faults:
        more = len(faults) - MOST_NAMED
        listed = "; ".join(faults[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")
        raise StudyError(
            f"{file} is not what was packed: {listed}. Nothing was made. Take another copy of it."
        )
    return Proved(sums, otherwise)


def text(archive: zipfile.ZipFile, name: str) -> str:
    """Read a file of an archive that is held in memory whole; StudyError where it is too large."""
    if archive.getinfo(name).file_size > LARGEST_TEXT:
        raise StudyError(f"{name} is far too large for what it is. The archive is none of ours.")
    try:
        return archive.read(name).decode("utf-8")
    except UNREADABLE as fault:
        raise StudyError(
            f"{archive.filename} is torn or was changed: {name} cannot be read ({_told(fault)}). "
            "Nothing was made. Take another copy of it."
        ) from None


def _faults(archive: zipfile.ZipFile, name: str, told: str, out: Writer) -> list[str]:
    """Read a file, and write it again; say what is wrong with what it holds."""
    try:
        with archive.open(name) as member:
            out.write(name, members.chunks(member.read))
    except UNREADABLE as fault:
        return [f"{name} was changed, or cannot be read ({_told(fault)})"]
    return [] if out.sums[name] == told else [f"{name} was changed"]


def _told(fault: BaseException) -> str:
    return str(getattr(fault, "strerror", None) or fault)[:200]


def _refuse_unsafe(infos: Iterable[zipfile.ZipInfo], file: Path) -> None:
    """Refuse names that lead elsewhere, files that are none, and those that would fill the disk."""
    seen: set[str] = set()
    room = file.stat().st_size
    for info in infos:
        name = info.filename
        parts = name.split("/")
        unsafe = (
            name.startswith("/") or "\\" in name or _DRIVE.match(name) or ".." in parts
            or "\0" in info.orig_filename
        )  # fmt: skip
        kind = stat.S_IFMT(info.external_attr >> 16) if info.create_system == members.UNIX else 0
        if unsafe or name in seen or kind not in {0, stat.S_IFREG, stat.S_IFDIR}:
            raise StudyError(
                f"{file} holds {info.orig_filename!r}, which no archive of a study has: it leads "
                "elsewhere, is a link or a device, or stands there twice. Nothing was made. Take "
                "another copy of it."
            )
        room -= info.compress_size
        if info.compress_type not in ZIPPED or info.file_size > _most(info.compress_size):
            raise StudyError(
                f"{file} holds {name!r} in a form that is not read: it was changed, or zipped in a "
                "way that is not usual. Nothing was made. Take another copy of it, or one that "
                "was zipped without compression."
            )
        if room < 0:
            raise StudyError(
                f"{file} says that up to {name!r} more is in it than its own size: it is torn or "
                "was changed. Nothing was made. Take another copy of it."
            )
        seen.add(name)


def _most(compressed: int) -> int:
    """Give to what so many bytes may grow; text does not grow further."""
    return MOST_GROWN * compressed + members.CHUNK


def _sums(listed: str, file: Path) -> dict[str, str]:
    found = {}
    for line in listed.split("\n")[:-1]:
        read = _SUM.fullmatch(line)
        if read is None:
            raise StudyError(
                f"{file}: {members.CHECKSUMS} was changed, it has a line that is none: "
                f"{line[:80]!r}. Take another copy of it."
            )
        found[read[2]] = read[1]
    return found


class _Beside(io.RawIOBase):
    """Takes a zip as it is written, and compares it with one that is there."""

    def __init__(self, held: BinaryIO) -> None:
        self._held, self._at, self._end, self._about = held, 0, 0, ""
        self._odd: dict[int, tuple[int, str]] = {}
        """First byte that differs of each piece, by where the piece begins."""
        self.listed: Iterator[str] | None = None
        """Files in the order of the list at the end, from when that is written."""

    def of(self, name: str, out: Writer) -> Writer:
        """Note of which file the next pieces are."""
        self._about = name
        return out

    def tell(self) -> int:
        """Give where the next piece goes."""
        return self._at

    def seek(self, at: int, _whence: int = 0, /) -> int:
        """Go to another place, counted from the beginning."""
        self._at = at
        return at

    def write(self, piece: bytes) -> int:  # type: ignore[override]
        """Compare a piece; one that was written before at the same place no longer counts."""
        if self.listed and piece[:4] == _LISTED:
            self._about = f"{next(self.listed, 'a file')} in the list at its end"
        elif self.listed and piece[:4] in _ENDS:
            self._about = "the end of the list at its end"
        self._held.seek(self._at)
        there = self._held.read(len(piece))
        self._odd.pop(self._at, None)
        if there != piece:
            pairs = zip(piece, there, strict=False)
            same = next((at for at, (one, other) in enumerate(pairs) if one != other), len(there))
            self._odd[self._at] = self._at + same, self._about
        self._at += len(piece)
        self._end = max(self._end, self._at)
        return len(piece)

    def otherwise(self) -> str:
        """Say where the zip that is there first differs; empty: nowhere."""
        if self._held.seek(0, io.SEEK_END) > self._end:
            self._odd.setdefault(self._end, (self._end, "behind its end"))
        at, about = min(self._odd.values(), default=(0, ""))
        return f"byte {at} ({about})" if about else ""
