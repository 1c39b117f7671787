"""Decide what of a picture's file is given to others: the picture, its time, its camera's model.

The pixels are copied as they are compressed, never computed anew. Everything else that cameras and
programs write into a file (owner, serial numbers, place, notes, paths, small pictures, whatever
follows its end) stays behind. A colour profile stays, its description too: colours need it.
"""

import io
import re
import struct
import warnings
import zlib
from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from core.cards import exif_time
from core.cards.tags import MAKE, MODEL, TIMES, Content, Texts, jpeg_parts, kind_of, tags_of
from core.cards.times import offset_of
from core.errors import CardError

MOST_BYTES = 256 << 20
"""A larger file is no photo of a trail camera, and is not taken into memory (a judgement)."""
MARK, SOI, EOI, SOS = 0xFF, 0xD8, 0xD9, 0xDA
ALONE = {0x01, *range(0xD0, 0xD8)}
"""Markers without a length."""
FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
DRAWING = {0xC4, 0xCC, 0xDB, 0xDC, 0xDD, SOS} | FRAMES
"""Segments that the picture is drawn from: tables, number of lines, restarts, frames, scans."""
EXIF_MARK, EXIF = 0xE1, b"Exif\0\0"
JFIF, ICC, ADOBE = (0xE0, b"JFIF\0"), (0xE2, b"ICC_PROFILE\0"), (0xEE, b"Adobe")
FIXED = 12
"""Bytes that mean something in a segment of JFIF (before its small picture), and in Adobe's."""
_NEXT = re.compile(rb"\xff[^\x00\x01\xd0-\xd7\xff]", re.DOTALL)
"""What ends the compressed pixels of a scan: a marker that is none of theirs."""

PNG = b"\x89PNG\r\n\x1a\n"
PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD",
    b"pHYs",
}  # fmt: skip
PNG_FRAME = 12
"""Bytes of a chunk around its data: length, name and checksum."""

ORIENTATION, EXIF_IFD = 0x0112, 0x8769
ORIGINAL, SUBSEC, OFFSET = TIMES[0][0], TIMES[0][3], TIMES[0][4]
UPRIGHT, TURNS = 1, range(1, 9)
_PLAIN_TIME = re.compile(r"[\d :/.TZz+-]{,32}", re.ASCII)
"""A time with all that cameras write behind it, and no room for anything else."""
_SUBSEC = re.compile(r"\d{1,9}", re.ASCII)


def cleaned(source: Path) -> bytes:
    """Give a JPEG or PNG file without what is private in it.

    It keeps when the picture was taken as the camera wrote it (date, part of the second, offset),
    maker, model and orientation. Other kinds are refused, TIFF too: they cannot be cleaned without
    computing their pixels anew, or leaving what nobody knows in them.

    Raises
    ------
    CardError
        Where the file is torn, too large, cannot be read, or of a kind that cannot be cleaned:
        such a file is not to be given away.
    """
    content = _content(source)
    kind = kind_of(content[:64])
    if kind not in {"JPEG", "PNG"}:
        raise CardError(
            f"{source.name!r} is neither JPEG nor PNG, so what is private in it cannot be taken "
            "out. It is not given away: convert it to JPEG or PNG where you want to give it."
        )
    exif = _exif(kind, content, source.name)
    parts = _jpeg if kind == "JPEG" else _png
    return b"".join(parts(content, exif, source.name))


def _content(source: Path) -> bytes:
    try:
        with source.open("rb") as handle:
            content = handle.read(MOST_BYTES + 1)
    except OSError as fault:
        raise CardError(
            f"{source.name!r} cannot be read ({fault.strerror or fault}). Put the card in again, "
            "or copy the file from it anew."
        ) from None
    if len(content) > MOST_BYTES:
        raise CardError(
            f"{source.name!r} is larger than {MOST_BYTES >> 20} MiB, which no photo is. It is not "
            "given away."
        )
    return content


# --- JPEG --------------------------------------------------------------------------------------


def _jpeg(content: bytes, exif: bytes, name: str) -> Iterator[bytes]:
    """Give the segments that are kept, the new Exif behind the one of JFIF."""
    yield content[:2]
    written, drawn = not exif, set()
    for marker, data, following in _segments(content, name):
        kept = _kept(marker, data)
        if kept is None:
            continue
        if not written and marker != JFIF[0]:
            yield _segment(EXIF_MARK, EXIF + exif)
            written = True
        yield _segment(marker, kept) + following
        drawn.add(marker)
    if SOS not in drawn or not FRAMES & drawn:
        raise _torn(name)
    yield bytes((MARK, EOI))


def _kept(marker: int, data: bytes) -> bytes | None:
    """Give of a segment what is given away; None: nothing."""
    if marker in DRAWING or (marker == ICC[0] and data.startswith(ICC[1])):
        return data
    if len(data) >= FIXED and marker == JFIF[0] and data.startswith(JFIF[1]):
        return data[:FIXED] + bytes(2)  # a small picture of no width and no height
    if len(data) >= FIXED and marker == ADOBE[0] and data.startswith(ADOBE[1]):
        return data[:FIXED]
    return None


def _segments(content: bytes, name: str) -> Iterator[tuple[int, bytes, bytes]]:
    """Give marker, data and compressed pixels of each segment up to the end of the picture."""
    at = 2
    while True:
        start = at
        while at < len(content) and content[at] == MARK:
            at += 1
        if at == start or at >= len(content):
            raise _torn(name)
        marker, at = content[at], at + 1
        if marker == EOI:
            return
        if marker in ALONE:
            continue
        end = at + int.from_bytes(content[at : at + 2])
        if marker in {0, SOI} or end > len(content) or end < at + 2:
            raise _torn(name)
        data, at = content[at + 2 : end], end
        if marker == SOS:
            found = _NEXT.search(content, at)
            if found is None:
                raise _torn(name)
            at = found.start()
        yield marker, data, content[end:at]


def _segment(marker: int, data: bytes) -> bytes:
    return bytes((MARK, marker)) + (len(data) + 2).to_bytes(2) + data


# --- PNG ---------------------------------------------------------------------------------------


def _png(content: bytes, exif: bytes, name: str) -> Iterator[bytes]:
    """Give the chunks that are kept, the new Exif before the pixels."""
    yield PNG
    written, seen = not exif, set()
    for kind, data in _chunks(content, name):
        seen.add(kind)
        if kind == b"IDAT" and not written:
            yield _chunk(b"eXIf", exif)
            written = True
        if kind in PNG_KEPT:
            yield _chunk(kind, data)
    if not {b"IHDR", b"IDAT"} <= seen:
        raise _torn(name)
    yield _chunk(b"IEND", b"")


def _chunks(content: bytes, name: str) -> Iterator[tuple[bytes, bytes]]:
    """Give name and data of each chunk up to the last, all of them whole."""
    at = len(PNG)
    while len(content) - at >= PNG_FRAME:
        length, kind = struct.unpack_from(">I4s", content, at)
        data, end = content[at + 8 : at + 8 + length], at + PNG_FRAME + length
        if end > len(content) or _chunk(kind, data) != content[at:end]:
            break
        if kind == b"IEND":
            return
        yield kind, data
        at = end
    raise _torn(name)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


# --- the new Exif --------------------------------------------------------------------------------


def _exif(kind: str, content: bytes, name: str) -> bytes:
    """Give the Exif that is told, without its leading mark; nothing where there is nothing."""
    texts = _texts(kind, content)
    made = Image.Exif()
    for tag in (MAKE, MODEL):
        text = "".join(filter(str.isprintable, texts.get(tag, ""))).strip()
        if text:
            made[tag] = text
    turn = _orientation(kind, content, name)
    if turn != UPRIGHT:
        made[ORIENTATION] = turn
    times = _times(texts)
    if times:
        made.get_ifd(EXIF_IFD).update(times)
    return made.tobytes().removeprefix(EXIF) if made or times else b""


def _texts(kind: str, content: bytes) -> Texts:
    opened = Content(io.BytesIO(content), len(content))
    block = jpeg_parts(opened)[0] if kind == "JPEG" else None
    return tags_of(kind, opened, block)[0]


def _times(texts: Texts) -> dict[int, str]:
    """Give when the picture was taken, as written; what does not read as a time is not told."""
    written = texts.get(ORIGINAL, "").strip()
    time = exif_time(written)
    if time.shown is None:
        return {}
    plain = _PLAIN_TIME.fullmatch(written) is not None
    told = {ORIGINAL: written if plain else time.shown.strftime("%Y:%m:%d %H:%M:%S")}
    subsec, offset = texts.get(SUBSEC, "").strip(), texts.get(OFFSET, "").strip()
    told |= {SUBSEC: subsec} if _SUBSEC.fullmatch(subsec) else {}
    return told | ({OFFSET: offset} if offset_of(offset)[0] else {})


def _orientation(kind: str, content: bytes, name: str) -> int:
    """Give how the picture is turned; CardError where no reader takes it for one.

    Whatever a corrupt file makes the reader raise is a fault of the file, so all of it is caught.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(content), formats=[kind]) as picture:
                turn = picture.getexif().get(ORIENTATION, UPRIGHT)
    except Exception as fault:  # noqa: BLE001  (see above)
        raise CardError(
            f"{name!r} cannot be read as a picture ({fault}). Copy it from the card again."
        ) from None
    return turn if isinstance(turn, int) and turn in TURNS else UPRIGHT


def _torn(name: str) -> CardError:
    return CardError(
        f"{name!r} is torn: it ends before its picture does, or is damaged. Copy it from the card "
        "again."
    )
