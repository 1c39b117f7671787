"""Decide what of a picture's file is given to others: the picture, its time, its camera's model.

The pixels are copied as they are compressed, never computed anew. Everything else that cameras and
programs write into a file (owner, serial numbers, place, notes, paths, small pictures, whatever
follows its end) stays behind.
"""

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from core.cards import FoundFile, read_file
from core.errors import CardError
from core.model import Header, TimeSource

MARK, SOI, EOI, SOS, COM = 0xFF, 0xD8, 0xD9, 0xDA, 0xFE
ALONE = {0x01, *range(0xD0, 0xD8)}
"""Markers without a length."""
APPS = range(0xE0, 0xF0)
JFIF, ICC, ADOBE, EXIF = b"JFIF\0", b"ICC_PROFILE\0", b"Adobe", b"Exif\0\0"
KEPT_APPS = {0xE0: JFIF, 0xE2: ICC, 0xEE: ADOBE}
"""Application segments that say how to draw the picture, by how they begin."""
JFIF_FIXED = 12
"""Bytes of a JFIF segment before the size of its small picture."""
PNG = b"\x89PNG\r\n\x1a\n"
PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
    b"bKGD", b"pHYs",
}  # fmt: skip
MAKE, MODEL, ORIENTATION = 0x010F, 0x0110, 0x0112
EXIF_IFD, ORIGINAL, SUBSEC, OFFSET = 0x8769, 0x9003, 0x9291, 0x9011
UPRIGHT, TURNS = 1, range(1, 9)


def cleaned(source: Path) -> bytes:
    """Give a JPEG or PNG file without what is private in it.

    It keeps when the picture was taken as the camera wrote it (date, part of the second, offset),
    maker, model and orientation.

    Raises
    ------
    CardError
        Where the file is torn, or of a kind that cannot be cleaned: such a file is not to be
        given away.
    """
    content = source.read_bytes()
    if content.startswith(bytes((MARK, SOI))):
        return b"".join(_jpeg(content, _exif(source, content), source))
    if content.startswith(PNG):
        return b"".join(_png(content, _exif(source, content), source))
    raise CardError(
        f"{source.name!r} is neither JPEG nor PNG, so what is private in it cannot be taken out. "
        "It is not given away."
    )


# --- JPEG --------------------------------------------------------------------------------------


def _jpeg(content: bytes, exif: bytes, source: Path) -> Iterator[bytes]:
    """Give the segments that are kept, the new Exif behind the one of JFIF."""
    yield content[:2]
    written = not exif
    for marker, segment in _segments(content, source):
        if not written and marker != APPS[0]:
            yield _segment(APPS[1], EXIF + exif)
            written = True
        if marker == APPS[0] and segment[4:].startswith(JFIF):
            # Its small picture is left behind, too.
            yield _segment(marker, segment[4 : 4 + JFIF_FIXED] + b"\0\0")
        elif marker not in APPS or segment[4:].startswith(KEPT_APPS.get(marker, b"-none-")):
            yield segment


def _segments(content: bytes, source: Path) -> Iterator[tuple[int, bytes]]:
    """Give each segment up to the end of the picture, with its marker; comments are left out."""
    at = 2
    while True:
        start = at
        while at < len(content) and content[at] == MARK:
            at += 1
        if at == start or at >= len(content):
            raise _torn(source)
        marker, at = content[at], at + 1
        if marker == EOI:
            yield marker, bytes((MARK, EOI))
            return
        if marker in ALONE:
            yield marker, bytes((MARK, marker))
            continue
        if marker in {0, SOI} or at + 2 > len(content):
            raise _torn(source)
        end = at + int.from_bytes(content[at : at + 2])
        if end > len(content) or end < at + 2:
            raise _torn(source)
        if marker == SOS:
            end = _scan_end(content, end, source)
        if marker != COM:
            yield marker, bytes((MARK, marker)) + content[at:end]
        at = end


def _scan_end(content: bytes, at: int, source: Path) -> int:
    """Give where the compressed pixels of a scan end: at the next marker that is none of theirs."""
    while True:
        at = content.find(b"\xff", at)
        if at < 0 or at + 1 >= len(content):
            raise _torn(source)
        following = content[at + 1]
        if following == MARK:
            at += 1
        elif following == 0 or following in ALONE:
            at += 2
        else:
            return at


def _segment(marker: int, data: bytes) -> bytes:
    return bytes((MARK, marker)) + (len(data) + 2).to_bytes(2) + data


# --- PNG ---------------------------------------------------------------------------------------


def _png(content: bytes, exif: bytes, source: Path) -> Iterator[bytes]:
    """Give the chunks that are kept, the new Exif before the pixels."""
    yield PNG
    at = len(PNG)
    written = not exif
    while True:
        head = content[at : at + 8]
        if len(head) < 8:  # noqa: PLR2004 (a length and a name)
            raise _torn(source)
        length, kind = struct.unpack(">I4s", head)
        end = at + 12 + length
        if end > len(content):
            raise _torn(source)
        if kind == b"IDAT" and not written:
            yield _chunk(b"eXIf", exif)
            written = True
        if kind in PNG_KEPT:
            yield content[at:end]
        at = end
        if kind == b"IEND":
            return


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


# --- the new Exif --------------------------------------------------------------------------------


def _exif(source: Path, content: bytes) -> bytes:
    """Give the Exif that is told, without its leading mark; nothing where there is nothing."""
    stat = source.stat()
    found = FoundFile(source, source.name, len(content), stat.st_mtime_ns)
    header = read_file(found).header
    made = Image.Exif()
    for tag, text in ((MAKE, header.make), (MODEL, header.model)):
        if text:
            made[tag] = text
    turn = _orientation(source)
    if turn != UPRIGHT:
        made[ORIENTATION] = turn
    inner = _times(header)
    if inner:
        made.get_ifd(EXIF_IFD).update(inner)
    return made.tobytes().removeprefix(EXIF) if made or inner else b""


def _times(header: Header) -> dict[int, str]:
    if header.camera_time is None or header.time_source in {TimeSource.NONE, TimeSource.FILE}:
        return {}
    told = {ORIGINAL: header.camera_time.strftime("%Y:%m:%d %H:%M:%S")}
    told |= {SUBSEC: header.subsec} if header.subsec else {}
    return told | ({OFFSET: header.offset} if header.offset else {})


def _orientation(source: Path) -> int:
    try:
        with Image.open(source) as picture:
            turn = picture.getexif().get(ORIENTATION, UPRIGHT)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as fault:
        raise CardError(f"{source.name!r} cannot be read as a picture: {fault}.") from None
    return turn if isinstance(turn, int) and turn in TURNS else UPRIGHT


def _torn(source: Path) -> CardError:
    return CardError(
        f"{source.name!r} is torn: it ends before its picture does. Copy it from the card again."
    )
