"""Decide which codes a photo holds: where they are looked for, how hard, and for how long.

OpenCV finds where a code may be, the modules are measured in grids, OpenCV decodes them, and texts
decides whether that is a code of ours. A text that is not sure is no text.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from core.codes.drawing import QUIET, Modules
from core.codes.grids import Corners, Grey, readings
from core.codes.texts import ClockCode, Code, TrayCode, code_of
from core.errors import CardError

BUDGET_S = 3.0
"""No new way of looking is begun after this time (a judgement). [s]"""
MOST_PLACES = 12
"""Places that are measured for one way of looking; more are grass (a judgement)."""
ENLARGED_TO_PX = 2600
"""A photo up to this wide is looked at enlarged too; wider ones have big codes. [px]"""
MOST_PIXELS = 80_000_000
"""A larger picture is not unpacked (a judgement). [px]"""
METHOD = 1
"""Number of this way of reading; photos that were read another way are looked at again."""
BRIGHT, BRIGHTEST = 200, 225
"""Grey levels below which all is black where only bright parts are looked at: the first for small
codes, the second for big ones, found on the photos of the benchmark."""
SMALLEST_EYE_PX = 32
"""Around an eye of a code, which is seven modules wide; what is smaller is not looked at. [px]"""
_CELL = 4
"""Pixels of a module in the clean drawing that is decoded. [px]"""


@dataclass(frozen=True, slots=True)
class Found:
    """A code that was read in a photo."""

    code: Code
    text: str
    corners: tuple[tuple[float, float], ...]
    """Top left, top right, bottom right, bottom left as the code stands; x and y of the upright
    photo, both in picture widths."""
    how: str
    """The way of looking that found it."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one photo gave."""

    found: tuple[Found, ...]
    seconds: float
    """Time it took. [s]"""
    hurried: bool
    """Whether the time ran out before every way of looking was tried."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way of looking at a photo."""

    name: str
    seen: Callable[[Grey], Grey]
    scale: float
    """Pixels of what is looked at for each of the photo."""
    widest: float = float("inf")
    """Photos wider than this are not looked at this way. [px]"""


def _enlarged(photo: Grey) -> Grey:
    large = cv2.resize(photo, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    soft = cv2.GaussianBlur(large, (0, 0), 3)
    return _grey(cv2.addWeighted(large, 2.5, soft, -1.5, 0))


def _bright(photo: Grey, above: int) -> Grey:
    """Spread what is brighter than a grey level: a screen that outshines the night."""
    levels = (np.arange(256) - above) * 255 / (255 - above)
    return _grey(cv2.LUT(photo, np.clip(levels, 0, 255).astype(np.uint8)))


def _half(photo: Grey) -> Grey:
    return _grey(cv2.resize(photo, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))


def _grey(picture: object) -> Grey:
    return np.asarray(picture, dtype=np.uint8)


WAYS = (
    Way("half size", _half, 0.5),
    Way("as it is", lambda photo: photo, 1.0),
    Way("bright parts", lambda photo: _bright(photo, BRIGHT), 1.0),
    Way("brightest parts, half size", lambda photo: _bright(_half(photo), BRIGHTEST), 0.5),
    Way("enlarged", _enlarged, 2.0, ENLARGED_TO_PX),
)
"""In the order they are tried, the quick ones first."""


def use_one_core() -> None:
    """Look at photos with one core from now on; a worker in the background leaves the others."""
    cv2.setNumThreads(1)


def read_photo(file: Path, budget_s: float = BUDGET_S) -> Reading:
    """Find the codes in a photo; its file is only read.

    Raises
    ------
    CardError
        The file is not at hand, or no picture that can be opened.
    """
    try:
        with Image.open(file) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise CardError(f"{file.name} has too many pixels to be looked at for a code.")
            upright = ImageOps.exif_transpose(opened.convert("L"))
            photo = np.array(upright, dtype=np.uint8)
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError) as fault:
        raise CardError(
            f"{file.name} cannot be looked at for a code ({fault}). Put the card in, or copy the "
            "file from it again."
        ) from None
    return read_codes(photo, budget_s)


def read_codes(photo: Grey, budget_s: float = BUDGET_S) -> Reading:
    """Find the codes in grey levels of an upright photo.

    Ways of looking are tried until a clock code and a tray code are found, or all were, or a new
    one would begin after `budget_s` [s]; the first is always tried.
    """
    began = time.monotonic()
    found: dict[str, Found] = {}
    hurried = False
    for way in WAYS:
        if photo.shape[1] > way.widest or min(photo.shape) < 2 * QUIET / way.scale:
            continue
        hurried = way is not WAYS[0] and time.monotonic() - began > budget_s
        if hurried or _both({type(one.code) for one in found.values()}):
            break
        for one in _look(photo, way):
            found.setdefault(one.text, one)
    return Reading(tuple(found.values()), time.monotonic() - began, hurried)


def _both(kinds: set[type[Code]]) -> bool:
    return kinds >= {ClockCode, TrayCode}


def _look(photo: Grey, way: Way) -> Iterator[Found]:
    """Give the codes that one way of looking finds."""
    for place in _places(way.seen(photo))[:MOST_PLACES]:
        corners = place / way.scale
        for modules in readings(photo, corners):
            text = _decoded(modules)
            code = code_of(text)
            if code is not None:
                width = photo.shape[1]
                where = tuple((float(x) / width, float(y) / width) for x, y in corners)
                yield Found(code, text, where, way.name)
                break


def _places(picture: Grey) -> list[Corners]:
    """Give where codes may be: places with three eyes in a right angle."""
    detector = cv2.QRCodeDetectorAruco()
    eyes = detector.getArucoParameters()
    eyes.minMarkerPerimeterRate = SMALLEST_EYE_PX / max(picture.shape)
    detector.setArucoParameters(eyes)
    try:
        seen, corners = detector.detectMulti(picture)
    except cv2.error:  # a picture too small or too plain for the detector
        return []
    if not seen:
        return []
    return list(np.asarray(corners, dtype=np.float64).reshape(-1, 4, 2))


def _decoded(modules: Modules) -> str:
    """Give the text of modules drawn clean, empty where they are none; wrong ones are refused."""
    light = 1 - np.pad(modules, QUIET)
    clean = np.kron(light, np.full((_CELL, _CELL), 255, np.uint8)).astype(np.uint8)
    first, last = QUIET * _CELL, (QUIET + len(modules)) * _CELL - 1
    corners: NDArray[np.float32] = np.array(
        [[[first, first], [last, first], [last, last], [first, last]]], dtype=np.float32
    )
    try:
        text = cv2.QRCodeDetector().decode(clean, corners)[0]
    except (cv2.error, UnicodeDecodeError):  # bytes that are no text are a foreign code
        return ""
    return str(text)
