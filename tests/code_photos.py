"""Photos of codes as a tray camera would take them: a drawn scene, a phone or card, lens and light.

Everything is invented. What stands for a lens or a night is a judgement and is said beside it.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
"""Grey levels, 0 to 255."""
Matrix = NDArray[np.uint8]
"""Modules of a code without its quiet zone; 1 is dark."""

ANGLE_OF_VIEW = 50.0
"""From the left to the right edge of a picture; common for trail cameras. [degrees]"""
QUIET = 4
"""White modules around a code, as the QR standard asks (ISO/IEC 18004, from memory)."""
OVERSAMPLED = 4
"""Samples across a pixel, averaged as a sensor does."""


class Light(StrEnum):
    """What falls on the code, and what becomes of its white and black."""

    DAY = "day"
    DULL = "low contrast"
    GLARE = "glare"
    NIGHT = "infrared"
    WASHED = "infrared, washed out"
    BLOOM = "infrared, screen too bright"


INK = {
    Light.DAY: (228, 30, 4),
    Light.DULL: (142, 102, 4),
    Light.GLARE: (228, 30, 4),
    Light.NIGHT: (190, 40, 7),
    Light.WASHED: (250, 205, 7),
    Light.BLOOM: (250, 18, 7),
}
"""Grey levels of white and of black, and the sensor's noise (standard deviation)."""
OVEREXPOSED = 1.7
"""How far a screen outshines what the sensor holds at night; from about 2.1 on, single modules are
gone in white (worked out for the spill below)."""
BY_DAY = {Light.DAY, Light.DULL, Light.GLARE}


@dataclass(frozen=True, slots=True)
class Shot:
    """How a code is held before a camera, and what the camera makes of it."""

    module_px: float
    """Width of a module that faces the camera. [px]"""
    tilt: float = 0.0
    """Turned away from the camera. [degrees]"""
    axis: float = 0.0
    """Direction of the axis that it is tilted about, from upright. [degrees]"""
    roll: float = 7.0
    """Turned in the plane of the picture. [degrees]"""
    blur: float = 0.8
    """Standard deviation of the lens, focus and motion blur together. [px]"""
    light: Light = Light.DAY
    width: int = 4000
    """Of the photo, which is three quarters as high. [px]"""
    at: tuple[float, float] = (0.55, 0.4)
    """Middle of the code, in picture widths and heights."""
    quality: int = 80
    seed: int = 1


def photo(matrix: Matrix, shot: Shot) -> bytes:
    """Give the JPEG that a camera writes of a code."""
    return jpeg(picture(matrix, shot), shot.quality)


def jpeg(grey: Grey, quality: int = 80) -> bytes:
    """Press grey levels into a colour JPEG, as cameras write at night too."""
    whole = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    colour = cv2.cvtColor(whole, cv2.COLOR_GRAY2BGR)
    return cv2.imencode(".jpg", colour, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def picture(matrix: Matrix, shot: Shot) -> Grey:
    """Give the grey levels of a photo of a code before it is pressed."""
    seen = scene(shot.width, night=shot.light not in BY_DAY).copy()
    place, code, cover = held(matrix, shot)
    part = seen[place]
    white, black, noise = INK[shot.light]
    lit = black + (white - black) * code
    part[:] = part * (1 - cover) + lit * cover
    if shot.light is Light.BLOOM:
        part[:] = np.maximum(part, spill(lit * cover, shot))
    if shot.light is Light.GLARE:
        part += glare(part.shape, shot, matrix.shape[0]) * cover
    part[:] = cv2.GaussianBlur(np.minimum(part, 255), (0, 0), shot.blur)
    seen += noise * np.roll(grain(shot.width), 97 * shot.seed)
    return seen


def spill(lit: Grey, shot: Shot) -> Grey:
    """Give the light that a screen, far too bright, throws over its own dark modules."""
    linear = cv2.GaussianBlur(np.power(lit / 255, 2.2), (0, 0), 0.45 * shot.module_px)
    return as_grey(255 * np.power(np.clip(OVEREXPOSED * linear, 0, 1), 1 / 2.2))


def held(matrix: Matrix, shot: Shot) -> tuple[tuple[slice, slice], Grey, Grey]:
    """Give where a code's white card lies, its brightness (0 to 1), and how far it covers."""
    modules = matrix.shape[0] + 2 * QUIET
    corners = seen_corners(modules / 2 + 0.5, shot)
    reach = 3 * shot.blur + 24 + (60 if shot.light is Light.BLOOM else 0)
    left, top = np.maximum(np.floor(corners.min(axis=0) - reach), 0).astype(int)
    high = shot.width * 3 // 4
    right, bottom = np.minimum(np.ceil(corners.max(axis=0) + reach), (shot.width, high)).astype(int)
    fine_px = max(2, round(OVERSAMPLED * shot.module_px))
    card = np.pad(1 - matrix, QUIET, constant_values=1).astype(np.float32)
    drawn = np.kron(card, np.ones((fine_px, fine_px), np.float32))
    drawn = np.pad(drawn, fine_px // 2, constant_values=0.12)  # the edge of the phone, or a finger
    size = drawn.shape[0]
    flat = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
    onto = ((corners - (left, top)) * OVERSAMPLED).astype(np.float32)
    warp = cv2.getPerspectiveTransform(flat, onto)
    fine = (int(right - left) * OVERSAMPLED, int(bottom - top) * OVERSAMPLED)
    wide = (int(right - left), int(bottom - top))
    code, cover = (
        cv2.resize(cv2.warpPerspective(one, warp, fine), wide, interpolation=cv2.INTER_AREA)
        for one in (drawn, np.ones_like(drawn))
    )
    place = (slice(int(top), int(bottom)), slice(int(left), int(right)))
    code = np.divide(code, cover, out=np.zeros_like(code), where=cover > 1e-3)
    return place, code.astype(np.float32), cover.astype(np.float32)


def seen_corners(half: float, shot: Shot) -> NDArray[np.float64]:
    """Give where the corners of a square of 2 x `half` modules are seen. [px]

    A pinhole camera: the square is tilted and rolled in front of it, one module wide in space
    being `module_px` wide in the picture at its middle.
    """
    focal = shot.width / 2 / np.tan(np.radians(ANGLE_OF_VIEW / 2))
    square = np.array([[-half, -half, 0], [half, -half, 0], [half, half, 0], [-half, half, 0]])
    turn = cv2.Rodrigues(np.array([0, 0, np.radians(shot.roll)]))[0]
    axis = np.array([np.sin(np.radians(shot.axis)), np.cos(np.radians(shot.axis)), 0])
    lean = cv2.Rodrigues(axis * np.radians(shot.tilt))[0]
    away = focal / shot.module_px
    middle = np.array([(shot.at[0] - 0.5) * shot.width, (shot.at[1] - 0.5) * shot.width * 0.75])
    space = square @ turn.T @ lean.T + np.array([*(middle / focal * away), away])
    centre = np.array([shot.width / 2, shot.width * 3 / 8])
    return np.asarray(space[:, :2] / space[:, 2:] * focal + centre, dtype=np.float64)


def glare(shape: tuple[int, ...], shot: Shot, modules: int) -> Grey:
    """Give a bright spot somewhere on the code, other for each seed, and a veil around it."""
    row, column = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    up, aside = np.random.default_rng(shot.seed).uniform(-0.45, 0.45, 2) * modules * shot.module_px
    away = np.hypot(row - shape[0] / 2 - up, column - shape[1] / 2 - aside)
    away = away / (shot.module_px * modules)
    return as_grey(260 * np.exp(-((away / 0.13) ** 2)) + 60 * np.exp(-((away / 0.5) ** 2)))


def as_grey(values: object) -> Grey:
    """Give values as grey levels."""
    return np.asarray(values, dtype=np.float32)


@cache
def scene(width: int, *, night: bool) -> Grey:
    """Draw sand, stones, grass and a round tray; the same for the same width. [grey levels]"""
    rng = np.random.default_rng(7)
    high = width * 3 // 4
    ground = np.zeros((high, width), np.float32)
    for octave in range(2, 10):
        size = (2**octave * 4 // 3 + 1, 2**octave + 1)
        rough = rng.normal(0, 1, size[::-1]).astype(np.float32)
        ground += cv2.resize(rough, (width, high), interpolation=cv2.INTER_CUBIC) * 26 / octave
    ground = 150 + 0.55 * ground
    unit = width / 100
    for _ in range(160):
        x, y = rng.uniform(0, width), rng.uniform(0.3, 1) * high
        half = int(unit * rng.uniform(0.1, 0.6)) + 1
        stone = float(rng.uniform(70, 190))
        cv2.ellipse(ground, (int(x), int(y)), (half, half // 2 + 1), 0, 0, 360, stone, -1)
    for _ in range(900):
        x, y = rng.uniform(0, width), rng.uniform(0, 0.45) * high
        tip = (int(x + rng.normal(0, 1.5) * unit), int(y - rng.uniform(1, 6) * unit))
        blade = float(rng.uniform(50, 200))
        cv2.line(ground, (int(x), int(y)), tip, blade, max(1, int(unit / 14)), cv2.LINE_AA)
    tray = (int(0.45 * width), int(0.66 * high))
    cv2.ellipse(ground, tray, (int(0.2 * width), int(0.11 * high)), 0, 0, 360, 60, int(unit))
    ground = as_grey(cv2.GaussianBlur(ground, (0, 0), 0.7))
    if night:
        row, column = np.mgrid[0:high, 0:width].astype(np.float32)
        off = np.hypot(column / width - 0.5, (row / high - 0.55) * 0.75)
        ground = ground * np.clip(1.0 - 1.15 * off, 0.1, 1) * 0.8
    return as_grey(np.clip(ground, 0, 255))


@cache
def grain(width: int) -> Grey:
    """Give a sensor's noise for a whole photo, of standard deviation 1."""
    rng = np.random.default_rng(11)
    return rng.standard_normal((width * 3 // 4, width), np.float32)
