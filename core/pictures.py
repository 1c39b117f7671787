"""Decide how a photo is shown: small copies turned upright, or a picture of words in its place.

Originals are opened for reading only. Where copies are kept is decided by who asks for them.
"""

import contextlib
import io
import os
import struct
import textwrap
import uuid
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont, ImageOps, UnidentifiedImageError

from core.errors import CardError

REVIEW_PX, STRIP_PX = 1280, 320
"""Longest side of the copy that is looked at, and of the one in a row of photos. [px]"""
MOST_PIXELS = 80_000_000
"""A larger picture is not unpacked (ours; trail cameras write up to about 50 million). [px]"""
SHOWN_AS_THEY_ARE = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
"""Formats that a browser shows turned upright, with their media types."""

_QUALITY = {REVIEW_PX: 85, STRIP_PX: 75}
_PAPER, _INK = (236, 232, 222), (60, 62, 58)
_LINE_CHARACTERS, _FONT_PX, _MARGIN_PX = 52, 40, 80


def review_copy(original: Path, target: Path, size: int = REVIEW_PX) -> None:
    """Write an upright JPEG copy whose longest side is at most `size` [px], whole or not at all.

    A smaller original keeps its size. The copy holds no metadata. CardError says in words why an
    original cannot be shown; OSError means that `target` cannot be written.
    """
    copy = copy_bytes(original, size)
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{target.name}.{uuid.uuid4().hex}.part")
    try:
        part.write_bytes(copy)
        os.replace(part, target)  # noqa: PTH105  Path.replace says less of why it failed
    finally:
        part.unlink(missing_ok=True)


def copy_bytes(original: Path, size: int = REVIEW_PX) -> bytes:
    """Give that copy as the bytes of a JPEG file."""
    shown = Image.new("RGB", (1, 1))
    try:
        with Image.open(original) as opened:
            _refuse_huge(original, opened.size)
            opened.draft("RGB", (size, size))
            shown = _upright(opened, size)
    except Image.DecompressionBombError:
        raise _too_large(original) from None
    except FileNotFoundError:
        raise CardError(f"The original {original.name} is not at hand. Put the card in.") from None
    except UnidentifiedImageError:
        raise CardError(
            f"{original.name} is no picture that can be shown. Open it in the camera's own program."
        ) from None
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError) as fault:
        raise CardError(
            f"{original.name} is damaged and cannot be shown ({fault}). "
            "Copy it from the card again, if the card is still there."
        ) from None
    buffer = io.BytesIO()
    shown.save(buffer, "JPEG", quality=_QUALITY.get(size, 85), optimize=True)
    return buffer.getvalue()


def media_type(original: Path) -> str:
    """Give the media type of an original that a browser can show as it is; '' for any other."""
    try:
        with Image.open(original) as opened:
            _refuse_huge(original, opened.size)
            return SHOWN_AS_THEY_ARE.get(opened.format or "", "")
    except (CardError, Image.DecompressionBombError, OSError, ValueError, SyntaxError):
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


def _upright(opened: Image.Image, size: int) -> Image.Image:
    """Make a picture smaller, then turn it as its Exif says; broken Exif turns nothing."""
    seen = opened
    if opened.mode in {"1", "P"}:  # these would be made smaller without any smoothing
        seen = opened.convert("RGBA" if "transparency" in opened.info else "RGB")
    seen.thumbnail((size, size), Image.Resampling.LANCZOS)
    with contextlib.suppress(ValueError, SyntaxError, KeyError, TypeError, struct.error):
        seen = ImageOps.exif_transpose(seen)
    if seen.mode.startswith("I"):
        return seen.point(lambda value: value / 256).convert("L").convert("RGB")
    if seen.mode in {"RGBA", "LA", "PA"} or "transparency" in seen.info:
        return _on_paper(seen.convert("RGBA"))
    return seen.convert("RGB")


def _on_paper(picture: Image.Image) -> Image.Image:
    paper = Image.new("RGBA", picture.size, (*_PAPER, 255))
    return Image.alpha_composite(paper, picture).convert("RGB")


def _refuse_huge(original: Path, size: tuple[int, int]) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise _too_large(original)


def _too_large(original: Path) -> CardError:
    return CardError(
        f"{original.name} says that it has more than {MOST_PIXELS // 1_000_000} million pixels and "
        "is not unpacked. Look at it in another program, or take it off the card."
    )
