"""Decide what each module of a code is, from a photo and roughly where its corners are.

This reads codes that are too small, blurred or tilted for a plain detector: marks that every QR
code has are laid onto the photo as well as they fit, each module is then measured at its middle,
sharpened against its neighbours and held against the light and dark around it. Which of several
answers is right is decided by the code's own error correction, in reading.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from core.codes.drawing import CLOCK_MODULES, MOST_MODULES, Modules

Grey = NDArray[np.uint8]
Corners = NDArray[np.float64]
"""Shape (4, 2): x and y of top left, top right, bottom right and bottom left, as the code stands.
[px]"""
Levels = NDArray[np.float64]

SIZES = range(CLOCK_MODULES, MOST_MODULES + 1, 4)
"""Modules along a side: versions 1 to 4."""
LIKE_A_CODE = 0.45
"""How well the marks must fit, as a correlation: below it nothing is measured (a judgement)."""
BLURRED_FROM_PX = 3.0
"""Width of a module from which a photo is blurred to lay the marks on; below, the lens did. [px]"""
SHARPENED = (0.0, 0.5, 1.0, 1.6)
"""How much of the difference to its four neighbours is added to a module (a judgement)."""
THRESHOLDS = (0.5, 0.62, 0.38, 0.75, 0.85)
"""Where between dark (0) and light (1) a module turns light; the last are for spilled light."""
_SAMPLES, _KEPT = 5, slice(1, 4)
"""Samples across a module, and those of its middle that count."""
_RIM = 2
"""Modules beyond the edge that are measured too, as neighbours."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What every code of one size looks like: its three eyes, and the dotted lines between."""

    size: int
    modules: NDArray[np.int8]
    """Shape (size * size,): 1 dark, 0 light, -1 where each code differs."""
    middles: NDArray[np.float32]
    """Shape (size * size, 2): x and y of each module's middle, in modules from the top left."""
    planes: tuple[Levels, Levels]
    """From the levels of the light marks (first) or the dark ones, those of a plane through them
    at every module."""

    @property
    def known(self) -> NDArray[np.bool_]:
        """Say which modules are the same in every code."""
        return self.modules >= 0


@cache
def marks(size: int) -> Marks:
    """Give the marks of a code of `size` modules on a side (ISO/IEC 18004, from memory)."""
    modules = np.full((size, size), -1, dtype=np.int8)
    eye = np.zeros((8, 8), dtype=np.int8)
    eye[:7, :7] = 1
    eye[1:6, 1:6] = 0
    eye[2:5, 2:5] = 1
    modules[:8, :8], modules[:8, -8:], modules[-8:, :8] = eye, eye[:, ::-1], eye[::-1]
    dots = (np.arange(size) + 1) % 2
    modules[6, 8:-8] = modules[8:-8, 6] = dots[8:-8]
    modules[-8, 8] = 1
    if size > CLOCK_MODULES:
        modules[-9:-4, -9:-4] = 1
        modules[-8:-5, -8:-5] = 0
        modules[-7, -7] = 1
    rows, columns = np.mgrid[0:size, 0:size]
    middles = np.stack([columns.ravel(), rows.ravel()], axis=1) + 0.5
    flat = modules.ravel()
    plane = np.column_stack([middles, np.ones(len(middles))])
    light, dark = (plane @ np.linalg.pinv(plane[flat == kind]) for kind in (0, 1))
    return Marks(size, flat, middles.astype(np.float32), (light, dark))


def readings(photo: Grey, corners: Corners) -> Iterator[Modules]:
    """Give what the code with these corners may be, the likeliest first, each once.

    `corners` may be off by about a module, and may begin at any of the four. Nothing is given
    where the marks of no size fit.
    """
    near, off = _around(photo, corners)
    if min(near.shape) < CLOCK_MODULES:
        return
    turned = [np.roll(corners - off, -turn, axis=0) for turn in range(4)]
    guesses = sorted(
        ((_marks_fit(near, marks(size), one), size, turn)
         for size in SIZES for turn, one in enumerate(turned)),
        reverse=True,
    )  # fmt: skip
    fits = sorted(
        (_fitted(near, marks(size), turned[turn]) for _, size, turn in guesses[:3]),
        key=lambda fit: -fit[0],
    )
    met: set[bytes] = set()
    for well, on, laid in fits[:2]:
        if well < LIKE_A_CODE:
            return
        for modules in _measured(near, on, laid):
            if modules.tobytes() not in met:
                met.add(modules.tobytes())
                yield modules


def _around(photo: Grey, corners: Corners) -> tuple[Grey, NDArray[np.int64]]:
    """Cut out a code with a rim; gives the part and where it begins (x, y)."""
    rim = 0.25 * np.ptp(corners, axis=0) + 8
    first = np.clip(np.floor(corners.min(axis=0) - rim), 0, None).astype(np.int64)
    last = np.ceil(np.clip(corners.max(axis=0) + rim, 0, None)).astype(np.int64)
    return np.ascontiguousarray(photo[first[1] : last[1], first[0] : last[0]]), first


# --- laying the marks onto the photo ---------------------------------------------------------


def _fitted(photo: Grey, on: Marks, corners: Corners) -> tuple[float, Marks, Corners]:
    """Move the corners until the marks fit best; gives how well, and the corners.

    The marks leave the bottom right corner of a small code free, so in a second step every module
    has to be as clearly dark or light as it can.
    """
    module = float(np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)) / on.size)
    blurred = cv2.GaussianBlur(photo, (0, 0), max(0.33 * module, 0.5))
    soft = np.asarray(blurred, dtype=np.uint8) if module > BLURRED_FROM_PX else photo
    well, laid = _climb(lambda to: _marks_fit(soft, on, to), corners, module, (0.6, 0.3, 0.15))
    if well < LIKE_A_CODE:
        return well, on, laid
    steps = np.arange(-5, 6) * 0.35 * module
    corner = [_moved(laid, 2, np.array(by)) for by in product(steps, repeat=2)]
    laid = max(corner, key=lambda to: _all_fit(soft, on, to))
    _, laid = _climb(lambda to: _all_fit(soft, on, to), laid, module, (0.2, 0.1, 0.05))
    return _marks_fit(soft, on, laid), on, laid


def _climb(
    worth: Callable[[Corners], float], start: Corners, module: float, steps: Sequence[float]
) -> tuple[float, Corners]:
    """Move one corner at a time, up, down, left or right, as long as it gets better."""
    best, here = worth(start), start
    for step in steps:
        for _ in range(4):
            before = best
            for corner, way in product(range(4), np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])):
                there = _moved(here, corner, way * step * module)
                value = worth(there)
                if value > best:
                    best, here = value, there
            if best == before:
                break
    return best, here


def _moved(corners: Corners, corner: int, by: Levels) -> Corners:
    moved = corners.copy()
    moved[corner] += by
    return moved


def _marks_fit(photo: Grey, on: Marks, corners: Corners) -> float:
    """Give the correlation, -1 to 1, of the photo with the marks."""
    levels = _levels(photo, on, corners, on.middles[on.known])
    expected = 1.0 - on.modules[on.known]
    apart, wanted = levels - levels.mean(), expected - expected.mean()
    return float(apart @ wanted / np.sqrt((apart @ apart) * (wanted @ wanted) + 1e-6))


def _all_fit(photo: Grey, on: Marks, corners: Corners) -> float:
    """Give how clear all modules are, 1 at best: the marks as they must be, the rest as they like.

    A level half-way between dark and light adds nothing.
    """
    levels = _levels(photo, on, corners, on.middles)
    light, dark = (plane @ levels[on.modules == kind] for kind, plane in enumerate(on.planes))
    apart = levels - (light + dark) / 2
    sign = np.where(on.modules < 0, np.sign(apart), np.where(on.modules == 0, 1.0, -1.0))
    return float(sign @ apart / np.sqrt(len(apart) * (apart @ apart) + 1e-6))


def _levels(photo: Grey, on: Marks, corners: Corners, at: NDArray[np.float32]) -> Levels:
    """Give the grey levels of the photo at points of the code, in modules from its top left."""
    seen = cv2.perspectiveTransform(at[None], _view(on.size, corners))[0] - 0.5
    x, y = seen[None, :, 0].astype(np.float32), seen[None, :, 1].astype(np.float32)
    found = cv2.remap(photo, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found[0], dtype=np.float64)


def _view(size: int, corners: Corners) -> Levels:
    flat = np.array([[0, 0], [size, 0], [size, size], [0, size]], dtype=np.float32)
    view = cv2.getPerspectiveTransform(flat, corners.astype(np.float32))
    return np.asarray(view, dtype=np.float64)


# --- measuring the modules -------------------------------------------------------------------


def _measured(photo: Grey, on: Marks, corners: Corners) -> Iterator[Modules]:
    """Give the modules for each sharpening and threshold; the marks are put in as they must be."""
    plain = _middles(photo, on, corners)
    beside = (plain[:-2, 1:-1] + plain[2:, 1:-1] + plain[1:-1, :-2] + plain[1:-1, 2:]) / 4
    inner = slice(_RIM - 1, _RIM - 1 + on.size)
    for amount in SHARPENED:
        sharp = plain[1:-1, 1:-1] + amount * (plain[1:-1, 1:-1] - beside)
        levels = sharp[inner, inner].ravel()
        light, dark = (plane @ levels[on.modules == kind] for kind, plane in enumerate(on.planes))
        for threshold in THRESHOLDS:
            read = levels < dark + threshold * (light - dark)
            modules = np.where(on.known, on.modules, read).astype(np.uint8)
            yield modules.reshape(on.size, on.size)


def _middles(photo: Grey, on: Marks, corners: Corners) -> Levels:
    """Give the mean level of each module's middle, with a rim of modules around the code."""
    side = on.size + 2 * _RIM
    points = (np.arange(side * _SAMPLES, dtype=np.float32) + 0.5) / _SAMPLES - _RIM
    at = np.stack(np.meshgrid(points, points), axis=-1).reshape(-1, 2)
    seen = cv2.perspectiveTransform(at[None], _view(on.size, corners))[0] - 0.5
    shape = (side * _SAMPLES, side * _SAMPLES)
    x, y = (seen[:, axis].reshape(shape).astype(np.float32) for axis in (0, 1))
    found = cv2.remap(photo, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    blocks = found.reshape(side, _SAMPLES, side, _SAMPLES).astype(np.float64)
    middle: Levels = blocks[:, _KEPT, :, _KEPT].mean(axis=(1, 3))
    return middle
