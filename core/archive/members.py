"""Decide what the files of an archive are called, and how one is written into a zip, bytes alike.

Nothing is compressed and no moment is noted, since both would differ from one computer to the next.
"""

import hashlib
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from core.logs import LogKind

FORMAT = 1
"""Number of this form of archives."""
README, SETTINGS, VERSIONS, NUMBERS = "README.txt", "study.toml", "versions.json", "numbers.json"
CHECKSUMS = "checksums.txt"
LOGS = {kind: f"logs/{kind}.csv" for kind in LogKind}
HISTORY = "logs/tag_history.csv"
PHOTOS, VISITS, OUTCOMES = "photos.csv", "visits.csv", "outcomes.csv"
ROWS, PICTURES = "rows/", "pictures/"
BEGAN = (1980, 1, 1, 0, 0, 0)
"""The first moment that a zip can note."""
READABLE = 0o100644 << 16
UNIX = 3
CHUNK = 1 << 20
_MISREAD = re.compile(r"[%\\\x00-\x1f\x7f]")
_WRITTEN = re.compile(r"%(25|5C|[01][0-9A-F]|7F)")


def rows_of(table: str) -> str:
    """Name the file with the rows of a table."""
    return f"{ROWS}{table}.jsonl"


def picture(card: int, file: str) -> str:
    """Name the copy of a photo, by the number of its card and its path below it.

    What a zip or a list of checksums would take for something else is written as in an address.
    """
    told = _MISREAD.sub(lambda found: f"%{ord(found[0]):02X}", file)
    return f"{PICTURES}{card}/{told}"


def file_of(picture: str) -> str:
    """Give the path of a copy as it was before it was named."""
    return _WRITTEN.sub(lambda found: chr(int(found[1], 16)), picture)


@dataclass(slots=True)
class Writer:
    """A zip that is being written, and the checksum of each file that is in it."""

    zip: zipfile.ZipFile
    sums: dict[str, str] = field(default_factory=dict)

    def text(self, name: str, lines: Iterable[str]) -> None:
        """Write a file of text, as UTF-8."""
        self.write(name, (line.encode("utf-8", "surrogatepass") for line in lines))

    def write(self, name: str, chunks: Iterable[bytes]) -> None:
        """Write a file."""
        told = hashlib.sha256()
        with self.zip.open(_info(name), "w", force_zip64=True) as file:
            for chunk in chunks:
                told.update(chunk)
                file.write(chunk)
        self.sums[name] = told.hexdigest()

    def checksums(self) -> None:
        """Write the checksums of all that is there, as `sha256sum -c` reads them."""
        lines = [f"{told}  {name}\n" for name, told in self.sums.items()]
        self.text(CHECKSUMS, lines)


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, BEGAN)
    info.external_attr, info.create_system = READABLE, UNIX
    info.compress_type = zipfile.ZIP_STORED
    return info


def chunks(read: Callable[[int], bytes]) -> Iterator[bytes]:
    """Give what a file holds, piece by piece."""
    while piece := read(CHUNK):
        yield piece
