"""Decide what kind of file it is and what its tags say, the few that are needed.

The tags' texts are given as written; what they mean is decided in `times` and `headers`.
"""

import contextlib
import hashlib
import io
import logging
import struct
import warnings
from typing import BinaryIO, cast

import exifread

from core.cards.times import text_of
from core.model import TimeSource

logging.getLogger("exifread").disabled = True  # it warns of every odd file on the terminal

END_BYTES = 65_536
"""How much of a file's beginning and of its end is read. [bytes]"""

PICTURE_NAMES = frozenset(
    (".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp", ".avif")
)
_TIFF = (b"II*\0", b"MM\0*")
_MAGIC = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    *((magic, "TIFF") for magic in _TIFF),
    (b"GIF87a", "GIF"),
    (b"GIF89a", "GIF"),
    (b"\0\0\0\x0cJXL \r\n\x87\n", "JXL"),
    (b"\0\x05\x16\x07", "AppleDouble"),
)
_HEIC_BRANDS = frozenset((b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1"))
NO_PICTURE = {
    "": "not a picture",
    "video": "a video, not a photo: visits are made of photos",
    "AppleDouble": "not a picture: what a Mac noted about one",
}


def kind_of(head: bytes) -> str:
    """Tell a file's kind by its content, whatever it is called; empty: no picture is known so."""
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            return kind
    if head[:4] == b"RIFF":
        return {b"WEBP": "WebP", b"AVI ": "video"}.get(head[8:12], "")
    if head[4:8] == b"ftyp":
        if b"avif" in head[8:40] or b"avis" in head[8:40]:
            return "AVIF"
        return "HEIC" if head[8:12] in _HEIC_BRANDS else "video"
    bitmap = head[:2] == b"BM" and head[6:10] == bytes(4)
    return "BMP" if bitmap else ""


class Content:
    """An open file, its two ends in memory."""

    def __init__(self, handle: BinaryIO, size: int) -> None:
        self.handle, self.size = handle, size
        self.head = handle.read(END_BYTES)
        if size > 2 * END_BYTES:
            handle.seek(size - END_BYTES)
        self.tail = handle.read(END_BYTES) if size > END_BYTES else b""

    def at(self, start: int, length: int) -> bytes:
        """Give the bytes [start, start + length), fewer at the end of the file."""
        if start + length <= len(self.head) or len(self.head) < END_BYTES:
            return self.head[start : start + length]
        self.handle.seek(start)
        return self.handle.read(length)

    def fingerprint(self) -> str:
        """Give a hash of the size and both ends: it misses a change in the middle."""
        hashed = hashlib.blake2b(self.size.to_bytes(8, "big") + self.head, digest_size=16)
        hashed.update(self.tail)
        return hashed.hexdigest()


_SEGMENTS = 1000  # more than any camera writes; ends the walk through a file of nothing but 0xFF
_ALONE = frozenset((0x01, *range(0xD0, 0xD9)))  # markers without a length


def jpeg_parts(content: Content) -> tuple[bytes | None, int]:
    """Give a JPEG's Exif block (None: it has none) and where its compressed picture begins."""
    block, at = None, 2
    for _ in range(_SEGMENTS):
        part = content.at(at, 10)
        if len(part) < 4 or part[0] != 0xFF or part[1] in (0xDA, 0xD9):  # noqa: PLR2004
            break
        if part[1] == 0xFF or part[1] in _ALONE:  # noqa: PLR2004
            at += 1 if part[1] == 0xFF else 2  # noqa: PLR2004
            continue
        length = int.from_bytes(part[2:4], "big")
        if part[1] == 0xE1 and part[4:8] == b"Exif" and not (block or b"").startswith(_TIFF):  # noqa: PLR2004
            block = content.at(at + 10, max(0, length - 8))
        at += 2 + length
    return block, at


def is_whole(content: Content, picture_at: int) -> bool:
    """Say whether a JPEG has an end marker behind the beginning of its picture.

    Cameras put previews, zeros or a film behind it, so where the last 64 KiB have none, the rest
    is read; before the picture it may be the embedded thumbnail's.
    """
    end, piece = b"\xff\xd9", 1 << 20
    if content.tail.rfind(end, max(0, picture_at - content.size + len(content.tail))) >= 0:
        return True
    pieces = (content.at(at, piece + 1) for at in range(picture_at, content.size, piece))
    return any(end in some for some in pieces)


MAKE, MODEL, _EXIF = 0x010F, 0x0110, 0x8769
TIMES = (  # time, where it comes from, its name, its digits, its offset: in order of trust
    (0x9003, TimeSource.ORIGINAL, "DateTimeOriginal", 0x9291, 0x9011),
    (0x9004, TimeSource.DIGITIZED, "DateTimeDigitized", 0x9292, 0x9012),
    (0x0132, TimeSource.CHANGED, "DateTime", 0x9290, 0x9010),
)
_NEEDED = frozenset((MAKE, MODEL, _EXIF, *(t for row in TIMES for t in row if type(t) is int)))
_ASCII, _UTF8 = 2, 129
_READS, _READ_BYTES = 20_000, 1 << 20
_WITH_PILLOW = ("PNG", "WebP", "TIFF", "AVIF")
Texts = dict[int, str]


class Limited:
    """A file for a reader that may run in circles: after so many reads it fails."""

    def __init__(self, handle: BinaryIO) -> None:
        self.tell, self.seek, self._read = handle.tell, handle.seek, handle.read
        self._left = _READS

    def read(self, length: int = _READ_BYTES) -> bytes:
        """Give the next bytes, at most a MiB; OSError once there were too many reads."""
        self._left -= 1
        if self._left < 0:
            raise OSError("too many reads for one header")
        return self._read(min(length, _READ_BYTES))


def _needed_only(block: bytes) -> tuple[bytes, bool]:
    """Cut an Exif block's directories down to the tags that are needed; say whether it was whole.

    The reader takes 0.25 ms for the forty tags of an ordinary block and 0.08 ms for these, and
    cannot be led in circles by the others. Values stay where they are. A block without a first
    directory becomes empty.
    """
    order = "<" if block.startswith(b"II") else ">"
    at = struct.unpack_from(f"{order}I", block.ljust(8, b"\0"), 4)[0]
    if not block.startswith(_TIFF) or at + 2 > len(block):
        return b"", False
    cut = bytearray(block)
    first, whole = _directory(block, order, at)
    if _EXIF in first:
        below = struct.unpack(f"{order}I", first[_EXIF][-4:])[0]
        rows, all_there = _directory(block, order, below)
        whole = whole and all_there
        if rows:
            _put(cut, order, below, rows)
    _put(cut, order, at, first)
    return bytes(cut), whole


def _directory(block: bytes, order: str, at: int) -> tuple[dict[int, bytes], bool]:
    """Give the needed rows of one directory, 12 bytes each, and say whether all rows are there.

    Text of Exif 3.0 (UTF-8, type 129), which readers drop, is given to them as ASCII.
    """
    if at + 2 > len(block):
        return {}, False
    length = 12 * struct.unpack_from(f"{order}H", block, at)[0]
    rows = block[at + 2 : at + 2 + length]
    kept: dict[int, bytes] = {}
    for tag, kind, rest in struct.iter_unpack(f"{order}HH8s", rows[: len(rows) // 12 * 12]):
        if tag in _NEEDED and tag not in kept:
            kept[tag] = struct.pack(f"{order}HH8s", tag, _ASCII if kind == _UTF8 else kind, rest)
    return kept, len(rows) == length


def _put(cut: bytearray, order: str, at: int, rows: dict[int, bytes]) -> None:
    short = struct.pack(f"{order}H", len(rows)) + b"".join(rows.values()) + bytes(4)
    cut[at : at + len(short)] = short


def tags_of(kind: str, content: Content, block: bytes | None) -> tuple[Texts, str]:
    """Read the tags that are needed, and say what is wrong with the block that holds them.

    Whatever a corrupt file makes a reader raise is a fault of the file, so all of it is caught.
    """
    if kind == "JPEG" and block is None:
        return {}, ""
    short, whole = _needed_only(block) if block is not None else (b"", True)
    fault = "" if whole else "its Exif block is damaged"
    if kind == "JPEG" and not short:
        return {}, fault
    texts: Texts = {}
    with contextlib.suppress(Exception):
        content.handle.seek(0)
        texts = _exifread_tags(io.BytesIO(short) if short else Limited(content.handle))
    if TIMES[0][0] in texts:
        return texts, ""
    try:
        return _pillow_tags(kind, content, short) | texts, fault
    except Exception as raised:  # noqa: BLE001  (see above)
        bomb = type(raised).__name__ == "DecompressionBombError"
        return texts, "it has too many pixels to be opened safely" if bomb else fault


def _exifread_tags(handle: "io.BytesIO | Limited") -> Texts:
    texts: Texts = {}
    tags = exifread.process_file(cast("BinaryIO", handle), details=False, extract_thumbnail=False)
    for name, tag in tags.items():
        own = name.startswith("EXIF ")
        if tag.tag in _NEEDED and (own or (name.startswith("Image ") and tag.tag not in texts)):
            value = tag.values
            if isinstance(value, list) and tag.field_length == len(value):  # bytes, not numbers
                value = bytes(number & 0xFF for number in value)
            texts[tag.tag] = text_of(value)
    return texts


def _pillow_tags(kind: str, content: Content, short: bytes) -> Texts:
    if kind not in ("JPEG", *_WITH_PILLOW):
        return {}
    from PIL import Image  # noqa: PLC0415  (no worker waits for it unless a file needs it)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if kind == "JPEG":
            tags = Image.Exif()
            tags.load(b"Exif\0\0" + short)
        else:
            content.handle.seek(0)
            tags = Image.open(content.handle, formats=[kind.upper()]).getexif()
        values = dict(tags) | tags.get_ifd(_EXIF)
    return {tag: text_of(value) for tag, value in values.items() if tag in _NEEDED}
