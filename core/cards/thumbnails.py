"""Decide what of the small picture that most cameras put into a photo's header can be shown.

It is there at once, long before a copy of the whole picture is made.
"""

import io
import struct
from pathlib import Path
from typing import Any, cast

import exifread
from PIL import Image, ImageOps, ImageStat

from core.cards.tags import Content, Limited, jpeg_parts, kind_of

MOST_PIXELS = 1_000_000
"""A larger one is not unpacked: no camera writes it (ours). [px]"""
_DARK = 24  # mean grey of a bar, of 255: compression leaves black bars not quite black (ours)
_ORIENTATION, _UPRIGHT, _QUALITY = 0x0112, 1, 90


def thumbnail(photo: Path) -> bytes | None:
    """Give the picture in a JPEG photo's Exif as the bytes of a JPEG file, upright.

    The black bars with which cameras fill it up to another shape than the photo's are cut off.
    None where the photo cannot be read, has none, or has one that is damaged: whatever a corrupt
    header makes a reader raise is a fault of the file, so all of it is caught.
    """
    try:
        with photo.open("rb") as handle:
            content = Content(handle, 0)  # its beginning alone is needed
            block = jpeg_parts(content)[0] if kind_of(content.head) == "JPEG" else None
            if block is None:
                return None
            written, orientation = _embedded(block)
            handle.seek(0)
            with Image.open(handle) as whole:
                shape = whole.size
        return _as_shown(written, orientation, shape) if written else None
    except Exception:  # noqa: BLE001  (see above)
        return None


def _embedded(block: bytes) -> tuple[bytes, int]:
    """Give the small picture as it was written, and the orientation of the photo."""
    handle = cast("Any", Limited(io.BytesIO(_short(block))))
    tags = exifread.process_file(handle, details=False)
    written = tags.get("JPEGThumbnail") or tags.get("TIFFThumbnail") or b""
    turned = getattr(tags.get("Image Orientation"), "values", None)
    number = turned[0] if isinstance(turned, list) and turned else _UPRIGHT
    return bytes(written), number if isinstance(number, int) else _UPRIGHT


def _short(block: bytes) -> bytes:
    """Cut a block's first directory down to the orientation and the way to the small picture.

    The reader takes a third of the time for it, and cannot be led in circles by the rest.
    """
    order = "<" if block.startswith(b"II") else ">"
    at = struct.unpack_from(f"{order}I", block, 4)[0]
    end = at + 2 + 12 * struct.unpack_from(f"{order}H", block, at)[0]
    rows = (block[row : row + 12] for row in range(at + 2, end, 12))
    tag = struct.pack(f"{order}H", _ORIENTATION)
    kept = next((row for row in rows if row.startswith(tag)), b"")
    short = struct.pack(f"{order}H", len(kept) // 12) + kept + block[end : end + 4]
    return block[:at] + short + block[at + len(short) :]


def _as_shown(written: bytes, orientation: int, shape: tuple[int, int]) -> bytes | None:
    """Unpack it whole, to see that it is; pack it anew only where something was changed."""
    with Image.open(io.BytesIO(written)) as small:
        if small.width * small.height > MOST_PIXELS:
            return None
        small.load()
        part = _without_bars(small, shape)
        if part is small and orientation == _UPRIGHT and small.format == "JPEG":
            return written
        part = part.convert("RGB")
        part.getexif()[_ORIENTATION] = orientation
        buffer = io.BytesIO()
        ImageOps.exif_transpose(part).save(buffer, "JPEG", quality=_QUALITY)
        return buffer.getvalue()


def _without_bars(small: Image.Image, shape: tuple[int, int]) -> Image.Image:
    """Give the part that has the photo's shape, where what lies beside it is two dark bars."""
    wide, high = small.size
    across = (wide - round(high * shape[0] / shape[1]) + 1) // 2
    down = (high - round(wide * shape[1] / shape[0]) + 1) // 2
    if across > 0:
        bars = [(0, 0, across, high), (wide - across, 0, wide, high)]
    elif down > 0:
        bars = [(0, 0, wide, down), (0, high - down, wide, high)]
    else:
        return small
    grey = small.convert("L")
    if any(ImageStat.Stat(grey.crop(bar)).mean[0] > _DARK for bar in bars):
        return small
    across, down = max(across, 0), max(down, 0)
    return small.crop((across, down, wide - across, high - down))
