"""Decide how a photo is shown: small copies turned upright, or a picture of words in its place.

Originals are opened for reading only. Where copies are kept is decided in `previews`.
"""

import contextlib
import hashlib
import io
import os
import struct
import textwrap
import uuid
import warnings
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont, ImageOps, UnidentifiedImageError

from core.errors import CardError, StudyError

warnings.filterwarnings("ignore", module=r"PIL\.")  # of every odd file on the terminal

REVIEW_PX, STRIP_PX = 1280, 320
"""Most of the longest side of the copy that is looked at, and of the one in a row. [px]"""
REVIEW_FROM_PX = 960
"""A JPEG is unpacked at the smallest of the scales 1, 1/2, 1/4, 1/8 that is at least so long, since
the unpacking is what costs (ours; a frame of 12 million pixels becomes 1000 px long). [px]"""
MOST_PIXELS = 80_000_000
"""A larger picture is not unpacked (ours; trail cameras write up to about 50 million). [px]"""
MOST_BYTES = 256 << 20
"""A larger file is not read as a picture (ours). [bytes]"""
SHOWN_AS_THEY_ARE = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
"""Formats that a browser shows turned upright, with their media types."""
CANNOT_BE_SHOWN = "cannot be shown"
"""Begins every fault of an original that has no copy because of what is in it."""

_SCALES = (8, 4, 2, 1)
_REVIEW_QUALITY, _STRIP_QUALITY = 85, 75
_PAPER, _INK = (236, 232, 222), (60, 62, 58)
_LINE_CHARACTERS, _FONT_PX, _MARGIN_PX = 52, 40, 80


@dataclass(frozen=True, slots=True)
class Copies:
    """What one reading of an original gives."""

    review: bytes
    strip: bytes
    """JPEG files without metadata; both empty where the original cannot be shown."""
    content_hash: str
    """SHA-256 of the original's bytes, as hexadecimal digits."""
    fault: str = ""
    """Why it cannot be shown, beginning with CANNOT_BE_SHOWN; empty: it can."""


@dataclass(frozen=True, slots=True)
class Written:
    """What is left to know of an original whose copies were written."""

    content_hash: str
    size: int
    """Of both copies. [bytes]"""
    fault: str = ""
    """As in Copies; then nothing was written."""


def copies(original: Path) -> Copies:
    """Give both upright copies of a photo and its hash from one reading and one decoding.

    The longest side of a JPEG's copy is between REVIEW_FROM_PX and REVIEW_PX; a smaller original
    keeps its size. CardError when the original cannot be read now; what is wrong with the picture
    in it is no error but `fault`.
    """
    data = _bytes_of(original)
    content_hash = hashlib.sha256(data).hexdigest()
    try:
        shown = _unpacked(data)
    except _NotShownError as fault:
        return Copies(b"", b"", content_hash, f"{CANNOT_BE_SHOWN}: {fault}")
    except MemoryError:
        raise CardError(
            f"{original.name} needs more memory than is free. Close other programs and look again."
        ) from None
    strip = shown.copy()
    strip.thumbnail((STRIP_PX, STRIP_PX), Image.Resampling.HAMMING, reducing_gap=1.0)
    return Copies(_jpeg(shown, _REVIEW_QUALITY), _jpeg(strip, _STRIP_QUALITY), content_hash)


def write_copies(original: Path, review: Path, strip: Path) -> Written:
    """Write both copies, each whole or not at all; an original that has a fault gets none.

    CardError as in `copies`; StudyError when a copy cannot be written.
    """
    made = copies(original)
    if made.fault:
        return Written(made.content_hash, 0, made.fault)
    keep(review, made.review)
    keep(strip, made.strip)
    return Written(made.content_hash, len(made.review) + len(made.strip))


def keep(target: Path, content: bytes) -> None:
    """Write a file, whole or not at all; StudyError when that cannot be done."""
    part = target.with_name(f"{target.name}.{uuid.uuid4().hex}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            part.write_bytes(content)
            _put(part, target)
        finally:
            part.unlink(missing_ok=True)
    except OSError as fault:
        raise StudyError(
            f"Copies of photos cannot be kept in {str(target.parent)!r} "
            f"({fault.strerror or fault}). Make room on that disk, or allow writing there."
        ) from None


def _put(part: Path, target: Path) -> None:
    try:
        os.replace(part, target)  # noqa: PTH105  Path.replace says less of why it failed
    except PermissionError:
        if not target.is_file():  # where it is, somebody looks at it, and Windows keeps it
            raise


def media_type(original: Path) -> str:
    """Give the media type of an original that a browser can show as it is; '' for any other."""
    try:
        with Image.open(original) as opened:
            _refuse_huge(opened.size)
            return SHOWN_AS_THEY_ARE.get(opened.format or "", "")
    except (_NotShownError, Image.DecompressionBombError, OSError, ValueError, SyntaxError):
        return ""


def placeholder(words: str, size: int = REVIEW_PX) -> bytes:
    """Draw a plain picture that holds words, as the bytes of a PNG file."""
    wide, high = REVIEW_PX, REVIEW_PX * 3 // 4
    picture = Image.new("RGB", (wide, high), _PAPER)
    draw = ImageDraw.Draw(picture)
    lines = textwrap.wrap(words, _LINE_CHARACTERS, break_on_hyphens=False)[:12]
    font = ImageFont.load_default(_FONT_PX)
    draw.rectangle((20, 20, wide - 21, high - 21), outline=_INK, width=4)
    draw.multiline_text((_MARGIN_PX, _MARGIN_PX), "\n".join(lines), _INK, font, spacing=16)
    picture.thumbnail((size, size))
    buffer = io.BytesIO()
    picture.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def with_words(copy: bytes, words: str) -> bytes:
    """Put words below a copy, hiding nothing of it, as the bytes of a JPEG file."""
    with Image.open(io.BytesIO(copy)) as opened:
        picture = opened.convert("RGB")
    size = max(picture.width // 40, 12)
    lines = textwrap.wrap(words, picture.width * 9 // (5 * size), break_on_hyphens=False)[:4]
    whole = Image.new("RGB", (picture.width, picture.height + 2 * size * (len(lines) + 1)), _PAPER)
    whole.paste(picture)
    place, font = (size, picture.height + size), ImageFont.load_default(size)
    text = "\n".join(lines)
    ImageDraw.Draw(whole).multiline_text(place, text, _INK, font, spacing=size // 2)
    return _jpeg(whole, _REVIEW_QUALITY)


class _NotShownError(Exception):
    """What is in a file cannot be shown; its text says why, and what to do."""


def _bytes_of(original: Path) -> bytes:
    try:
        with original.open("rb") as handle:
            size = os.fstat(handle.fileno()).st_size
            if size > MOST_BYTES:
                raise CardError(
                    f"{original.name} has {size >> 20} MB, which is more than a photo has. "
                    "Look at it in another program."
                )
            return handle.read()
    except FileNotFoundError:
        raise CardError(f"The original {original.name} is not at hand. Put the card in.") from None
    except OSError as fault:
        raise CardError(
            f"{original.name} cannot be read ({fault.strerror or fault}). "
            "Put the card in again, or copy the file from it anew."
        ) from None


def _unpacked(data: bytes) -> Image.Image:
    """Unpack a picture no larger than it has to be, upright, in red, green and blue.

    Whatever a damaged file makes the reader raise is a fault of the file, so all of it is caught.
    """
    try:
        with Image.open(io.BytesIO(data)) as opened:
            _refuse_huge(opened.size)
            opened.draft("RGB", _least(opened.size))
            return _upright(opened)
    except Image.DecompressionBombError:
        raise _NotShownError(_TOO_LARGE) from None
    except UnidentifiedImageError:
        raise _NotShownError(
            "it is no picture that can be read here, open it in the camera's own program"
        ) from None
    except (MemoryError, _NotShownError):
        raise
    except Exception as fault:  # noqa: BLE001  (see above)
        what = str(fault).replace(";", ",")
        raise _NotShownError(f"it is damaged ({what}), copy it from the card again") from None


def _least(size: tuple[int, int]) -> tuple[int, int]:
    """Give the size of the smallest scale that is long enough; the whole picture where none is."""
    scale = next((one for one in _SCALES if max(size) // one >= REVIEW_FROM_PX), 1)
    return max(size[0] // scale, 1), max(size[1] // scale, 1)


def _upright(opened: Image.Image) -> Image.Image:
    """Make a picture smaller, then turn it as its Exif says; broken Exif turns nothing."""
    seen = opened
    if opened.mode in {"1", "P"}:  # these would be made smaller without any smoothing
        seen = opened.convert("RGBA" if "transparency" in opened.info else "RGB")
    seen.thumbnail((REVIEW_PX, REVIEW_PX), Image.Resampling.LANCZOS)
    with contextlib.suppress(ValueError, SyntaxError, KeyError, TypeError, struct.error):
        ImageOps.exif_transpose(seen, in_place=True)
    if seen.mode.startswith("I"):
        return seen.point(lambda value: value / 256).convert("L").convert("RGB")
    if seen.mode in {"RGBA", "LA", "PA"} or "transparency" in seen.info:
        return _on_paper(seen.convert("RGBA"))
    return seen if seen.mode == "RGB" else seen.convert("RGB")


def _on_paper(picture: Image.Image) -> Image.Image:
    paper = Image.new("RGBA", picture.size, (*_PAPER, 255))
    return Image.alpha_composite(paper, picture).convert("RGB")


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    """Pack a picture without its metadata; `optimize` would save 2 % for twice the time."""
    picture.info.clear()  # a comment would be written again
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=quality)
    return buffer.getvalue()


def _refuse_huge(size: tuple[int, int]) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise _NotShownError(_TOO_LARGE)


_TOO_LARGE = (
    f"it has more than {MOST_PIXELS // 1_000_000} million pixels, "
    "look at it in another program or take it off the card"
)
