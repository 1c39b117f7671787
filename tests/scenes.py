"""Made-up placements: one camera, many runs of photos, most empty, some with an animal cut in.

Grounds are drawn, or textures of the corpora; animals are drawn, or real birds of the corpora.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from core.model import Outline

Picture = NDArray[Any]
Floats = NDArray[Any]

WIDE, HIGH = 640, 480
"""Size at which scenes are drawn. [px]"""
BURST_S = (0, 1, 3)
TRAY = Outline("T1", 0.5, 0.42, 0.2, 0.115, 0.0)
"""Where the tray lies, in picture widths."""


@dataclass(frozen=True, slots=True)
class Piece:
    """An animal cut out of its picture."""

    colour: Floats
    """Shape (h, w, 3), 0 to 255, in the order blue, green, red."""
    mask: Floats
    """Shape (h, w), 0 to 1: how much of each pixel is animal."""


@dataclass(frozen=True, slots=True)
class Weather:
    """What moves in a scene besides animals."""

    wind_px: float = 0.0
    """How far grass is blown at most. [px of 640]"""
    cloud: float = 0.0
    """How much light a cloud takes, 0 to 1."""
    exposure: float = 0.0
    """How much the camera's exposure jumps from run to run, as a share."""
    dusk: float = 0.0
    """How much light is lost from the first to the last run, 0 to 1."""
    nudge_px: float = 0.0
    """How far the camera is pushed, once, in the middle. [px of 640]"""
    sun: float = 0.0
    """How dark the shadows are that wander with the sun, 0 to 1."""
    infrared: bool = False
    noise: float = 3.0
    """Standard deviation of a pixel. [grey levels]"""


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo of a scene."""

    id: int
    run: int
    at: datetime
    jpeg: bytes
    """What a strip copy would hold."""
    animal: float
    """Share of the picture that is animal, 0 in an empty photo."""


@dataclass(frozen=True, slots=True)
class Scene:
    """A placement that is made up."""

    name: str
    ground: Floats
    """Shape (HIGH, WIDE, 3)."""
    animals: Sequence[Piece]
    weather: Weather
    seed: int
    runs: int = 60
    share: float = 0.2
    """Of the runs, how many hold an animal."""
    tray: Outline | None = TRAY
    sizes: tuple[float, float] = (0.003, 0.05)
    """Smallest and largest animal, as shares of the picture."""
    lingers: bool = False
    """Whether an animal that comes back is the same one, as still as a stone, in the same spot."""
    likeness: float = 0.5
    """How far an animal's brightness may be that of the ground below it, 0 to 1."""
    frames: Sequence[Floats] = field(default=())
    """Several pictures of the same ground in place of one: real photos of one camera."""


def with_fields(scene: Scene, fields: Mapping[str, Any]) -> Scene:
    """Give a scene with some of its fields changed."""
    return replace(scene, **fields)


def read(file: Path) -> Picture:
    """Read a picture: shape (h, w, 3), blue, green, red."""
    found = cv2.imread(str(file), cv2.IMREAD_COLOR)
    assert found is not None, file
    return found


# --- grounds -------------------------------------------------------------------------------------


def drawn_ground(seed: int = 1) -> Floats:
    """Draw sand: soft patches, grains and bits of litter."""
    rng = np.random.default_rng(seed)
    grey = sum(
        (cv2.resize(_noise(rng, HIGH // cell, WIDE // cell), (WIDE, HIGH)) * weight)
        for cell, weight in ((80, 18.0), (20, 8.0), (4, 7.0), (1, 5.0))
    )
    sand = np.dstack([150 + grey, 175 + grey, 190 + grey]).astype(np.float32) * _hues(rng)
    for _ in range(60):
        x, y = int(rng.integers(WIDE)), int(rng.integers(HIGH))
        tip = (x + int(rng.integers(-8, 9)), y + int(rng.integers(-5, 6)))
        cv2.line(sand, (x, y), tip, (60, 80, 95), 2, cv2.LINE_AA)
    return sand


def textured_ground(file: Path, seed: int = 1) -> Floats:
    """Lay a grey texture out as ground: nearer rows larger, tinted, uneven."""
    rng = np.random.default_rng(seed)
    texture = cv2.cvtColor(read(file), cv2.COLOR_BGR2GRAY).astype(np.float32)
    rows = np.linspace(0.45, 1.25, HIGH, dtype=np.float32)[:, None]
    x = (np.arange(WIDE, dtype=np.float32)[None, :] - WIDE / 2) / rows + 3000
    y = np.cumsum(1 / rows, axis=0) * np.ones((1, WIDE), np.float32) + float(rng.integers(400))
    size = texture.shape[0]
    laid = cv2.remap(texture, (x % size).astype(np.float32), (y % size).astype(np.float32), 1)
    grey = 60 + laid * 0.55 + cv2.resize(_noise(rng, 6, 8), (WIDE, HIGH)) * 14
    return np.dstack([grey * 0.8, grey * 1.0, grey * 0.98]).astype(np.float32) * _hues(rng)


def _hues(rng: np.random.Generator) -> Floats:
    """Draw how the colour of a ground varies from place to place and from grain to grain."""
    cells = ((60, 0.05), (12, 0.05), (3, 0.05))
    each = [
        sum(
            cv2.resize(_noise(rng, HIGH // cell, WIDE // cell), (WIDE, HIGH)) * weight
            for cell, weight in cells
        )
        for _ in range(3)
    ]
    hues = np.dstack(each)
    evened: Floats = 1 + hues - hues.mean(axis=2, keepdims=True)
    return evened.astype(np.float32)


def with_tray(ground: Floats, tray: Outline) -> Floats:
    """Set a tray of sand with a dark rim on a ground."""
    laid = ground.copy()
    for part, size, colour in ((1.0, 1.0, (62, 70, 66)), (0.92, 0.92, (165, 190, 205))):
        mask = _ellipse_mask(tray, size)
        sand = np.array(colour, np.float32) + (cv2.blur(ground, (3, 3)) - 150) * 0.25 * (part < 1)
        laid = laid * (1 - mask) + sand * mask
    return laid.astype(np.float32)


def _ellipse_mask(tray: Outline, size: float) -> Floats:
    mask = np.zeros((HIGH, WIDE), np.float32)
    axes = (tray.rx * WIDE * size, tray.ry * WIDE * size)
    box = ((tray.cx * WIDE, tray.cy * WIDE), (axes[0] * 2, axes[1] * 2), tray.angle)
    cv2.ellipse(mask, box, 1.0, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(mask, (3, 3), 0)[..., None]


def _noise(rng: np.random.Generator, high: int, wide: int) -> Floats:
    return rng.standard_normal((high, wide), dtype=np.float32)


# --- animals -------------------------------------------------------------------------------------

OUTLINES = {
    "Junco hyemalis": [72, 12, 92, 9, 108, 22, 112, 48, 125, 75, 122, 100, 100, 122, 75, 125, 55,
                       105, 20, 120, 18, 112, 50, 85, 55, 60, 66, 40, 62, 28],
    "Leiothlypis celata": [143, 50, 130, 46, 112, 46, 95, 58, 60, 75, 5, 88, 5, 95, 40, 95, 70,
                           103, 85, 110, 110, 100, 128, 80, 130, 65],
    "Melozone crissalis": [38, 25, 45, 14, 58, 14, 75, 25, 90, 60, 112, 95, 130, 130, 148, 148,
                           130, 140, 105, 115, 80, 105, 60, 105, 45, 80, 42, 55, 45, 40],
    "Passer domesticus": [140, 25, 128, 13, 112, 13, 105, 30, 75, 50, 50, 85, 10, 130, 12, 137,
                          55, 100, 80, 105, 105, 95, 122, 65, 128, 40],
    "Poecile rufescens": [18, 68, 30, 55, 50, 52, 75, 55, 100, 62, 148, 50, 148, 58, 120, 85, 95,
                          105, 65, 112, 40, 105, 28, 88],
    "Sayornis nigricans": [32, 50, 40, 38, 58, 27, 74, 32, 76, 50, 88, 80, 110, 110, 137, 132,
                           132, 140, 105, 120, 88, 108, 85, 128, 60, 118, 40, 95, 33, 75],
    "Setophaga coronata": [85, 20, 75, 8, 55, 8, 48, 22, 38, 40, 28, 70, 25, 100, 10, 140, 20,
                           146, 35, 120, 60, 95, 72, 60, 75, 35],
    "Setophaga townsendi": [137, 33, 122, 25, 100, 25, 92, 40, 70, 55, 50, 85, 15, 115, 20, 120,
                            60, 100, 90, 95, 115, 85, 128, 60, 128, 42],
    "Spinus psaltria": [134, 48, 118, 30, 102, 32, 90, 50, 60, 65, 35, 80, 15, 100, 22, 106, 55,
                        95, 80, 95, 105, 85, 122, 65, 128, 50],
    "Zonotrichia leucophrys": [18, 48, 25, 32, 38, 30, 50, 42, 75, 45, 105, 55, 148, 58, 148, 65,
                               110, 72, 95, 85, 70, 95, 45, 85, 30, 65],
}  # fmt: skip
"""Outlines of the birds in the corpora's crops, x and y in turn, drawn by hand. [px of 150]"""


def birds(folder: Path, names: Sequence[str]) -> list[Piece]:
    """Cut birds out of the corpora's crops."""
    pieces = []
    for name in names:
        colour = read(folder / f"{name}.jpg").astype(np.float32)
        mask = np.zeros(colour.shape[:2], np.float32)
        outline = np.array(OUTLINES[name], np.int32).reshape(-1, 2)
        cv2.fillPoly(mask, [outline], 1.0, cv2.LINE_AA)
        pieces.append(Piece(colour, mask))
    return pieces


def drawn_animal(seed: int = 1) -> Piece:
    """Draw something like a mouse: a furry body, a head and a tail."""
    rng = np.random.default_rng(seed)
    mask = np.zeros((100, 150), np.float32)
    cv2.ellipse(mask, ((75, 55), (80, 50), 0), 1.0, -1, cv2.LINE_AA)
    cv2.ellipse(mask, ((115, 60), (36, 28), 20), 1.0, -1, cv2.LINE_AA)
    cv2.line(mask, (38, 60), (5, 75), 1.0, 4, cv2.LINE_AA)
    fur = cv2.GaussianBlur(_noise(rng, 100, 150), (5, 3), 0) * 25
    light = np.linspace(25, -35, 100, dtype=np.float32)[:, None]
    grey = 95 + fur + light
    return Piece(np.dstack([grey * 0.7, grey * 0.9, grey * 1.05]).astype(np.float32), mask)


# --- photos --------------------------------------------------------------------------------------


def photos_of(scene: Scene) -> Iterator[Shot]:
    """Draw a scene's photos in the order of time."""
    rng = np.random.default_rng(scene.seed)
    ground = scene.ground if scene.tray is None else with_tray(scene.ground, scene.tray)
    grass = Grass(rng, scene)
    held = _which_hold_an_animal(rng, scene)
    clock, number, stay = datetime(2026, 3, 14, 7, tzinfo=UTC), 0, None
    for run in range(scene.runs):
        clock += timedelta(minutes=float(rng.uniform(4, 25)))
        weather = _Moment(rng, scene.weather, run / max(scene.runs - 1, 1))
        if not (scene.lingers and run and held[run - 1]) or stay is None:
            stay = _Stay(rng, scene)
        here = stay if held[run] else None
        for place, second in enumerate(BURST_S):
            number += 1
            frame = ground
            if scene.frames:
                frame = scene.frames[int(rng.integers(len(scene.frames)))]
            seen = grass.blown(frame, weather.gust, rng)
            share = 0.0
            if here is not None:
                seen, share = here.put(seen, place)
            picture = weather.taken(seen, rng)
            yield Shot(number, run, clock + timedelta(seconds=second), _jpeg(picture), share)


def _which_hold_an_animal(rng: np.random.Generator, scene: Scene) -> NDArray[np.bool_]:
    """Choose runs, about half of them in twos and threes: an animal that comes back."""
    held = np.zeros(scene.runs, bool)
    while held.sum() < round(scene.share * scene.runs):
        at = int(rng.integers(scene.runs))
        few = int(rng.integers(3, 5)) if scene.lingers else int(rng.integers(2, 4))
        held[at : at + (1 if rng.random() < 0.5 else few)] = True
    return held


def _jpeg(picture: Picture) -> bytes:
    strip = cv2.resize(picture, (320, 240), interpolation=cv2.INTER_AREA)
    return cv2.imencode(".jpg", strip, [cv2.IMWRITE_JPEG_QUALITY, 75])[1].tobytes()


class Grass:
    """Tufts of blades, and a ground that sways where it is grass."""

    def __init__(self, rng: np.random.Generator, scene: Scene) -> None:
        self.amount = scene.weather.wind_px
        soft = cv2.resize(rng.random((5, 7), dtype=np.float32), (WIDE, HIGH))
        self.mask = np.clip(soft * 2.2 - 0.7, 0, 1)
        if scene.tray is not None:
            self.mask *= 1 - _ellipse_mask(scene.tray, 1.15)[..., 0]
        self.blades: list[tuple[float, float, float, float, float]] = []
        for _ in range(7 if self.amount else 0):
            foot = rng.uniform((0, 60), (WIDE, HIGH))
            if scene.tray is not None and abs(foot[0] - WIDE / 2) < scene.tray.rx * WIDE * 1.3:
                continue
            for _ in range(22):
                x, y = foot + rng.normal(0, 7, 2)
                length, lean = rng.uniform(25, 75), rng.normal(0, 0.45)
                self.blades.append((x, y, length, lean, float(rng.uniform(0.5, 1.3))))

    def blown(self, ground: Floats, gust: float, rng: np.random.Generator) -> Floats:
        """Give the ground as it stands in one moment of a gust."""
        if not self.amount:
            return ground
        size = self.amount * gust
        field = [cv2.resize(_noise(rng, 6, 8), (WIDE, HIGH)) * self.mask * size for _ in range(2)]
        x, y = np.meshgrid(np.arange(WIDE, dtype=np.float32), np.arange(HIGH, dtype=np.float32))
        moved = cv2.remap(ground, x + field[0], y + field[1] * 0.5, 1, None, cv2.BORDER_REFLECT)
        sway = float(rng.normal(0, 1)) * size
        for foot_x, foot_y, length, lean, shade in self.blades:
            tip = foot_x + math.sin(lean) * length + sway * length / 25 + float(rng.normal(0, size))
            ends = (int(foot_x), int(foot_y)), (int(tip), int(foot_y - math.cos(lean) * length))
            cv2.line(moved, *ends, (70 * shade, 140 * shade, 130 * shade), 2, cv2.LINE_AA)
        return moved


class _Stay:
    """One animal in one run: where it is in each of the photos."""

    def __init__(self, rng: np.random.Generator, scene: Scene) -> None:
        low, high = np.log(scene.sizes)
        piece = scene.animals[int(rng.integers(len(scene.animals)))]
        share = float(np.exp(rng.uniform(low, high)))
        scale = math.sqrt(share * WIDE * HIGH / float(piece.mask.sum()))
        scale = min(scale, (HIGH - 20) / max(piece.mask.shape))
        self.colour = cv2.resize(piece.colour, None, fx=scale, fy=scale, interpolation=3)
        self.mask = cv2.resize(piece.mask, None, fx=scale, fy=scale, interpolation=3)
        if scene.weather.infrared:
            grey = self.colour.mean(axis=2, keepdims=True) * 0.8 + 60
            self.colour = np.repeat(grey, 3, axis=2)
        self.colour = self.colour * float(rng.uniform(0.75, 1.15))
        self.likeness = float(rng.uniform(0, scene.likeness))
        if rng.random() < 0.5:
            self.colour, self.mask = self.colour[:, ::-1], self.mask[:, ::-1]
        still = scene.lingers or rng.random() < 0.5
        spot = self._spot(rng, scene.tray)
        stride = 0.0 if still else 0.5 * self.mask.shape[1]
        self.spots = [spot + rng.normal(0, 1, 2) * (stride or 0.3) for _ in BURST_S]
        self.there = [True] * 3 if still else [True, *(rng.random(2) < 0.7)]

    def _spot(self, rng: np.random.Generator, tray: Outline | None) -> NDArray[Any]:
        if tray is not None and rng.random() < 0.6:
            middle = np.array([tray.cx, tray.cy]) * WIDE
            off = rng.uniform(-0.5, 0.5, 2) * np.array([tray.rx, tray.ry])
            spot: NDArray[Any] = middle + off * WIDE
            return spot
        return rng.uniform((60, 60), (WIDE - 60, HIGH - 60))

    def put(self, ground: Floats, place: int) -> tuple[Floats, float]:
        """Put the animal on the ground; gives the share of the picture that it covers."""
        if not self.there[place]:
            return ground, 0.0
        high, wide = self.mask.shape
        x, y = (self.spots[place] - np.array([wide, high]) / 2).round().astype(int)
        x, y = int(np.clip(x, 0, WIDE - wide)), int(np.clip(y, 0, HIGH - high))
        seen, mask = ground.copy(), self.mask[..., None]
        there = seen[y : y + high, x : x + wide]
        own = float((self.colour * mask).sum() / (3 * mask.sum()))
        below = float((there * mask).sum() / (3 * mask.sum()))
        colour = self.colour * (1 + self.likeness * (below / max(own, 1) - 1))
        seen[y : y + high, x : x + wide] = there * (1 - mask) + colour * mask
        return seen, float(self.mask.sum()) / (WIDE * HIGH)


class _Moment:
    """The light and the wind while one run is taken."""

    def __init__(self, rng: np.random.Generator, weather: Weather, when: float) -> None:
        self.weather = weather
        self.gust = float(rng.beta(0.8, 1.6))
        self.gain = float(np.exp(rng.uniform(-1, 1) * weather.exposure))
        self.gamma = float(np.exp(rng.uniform(-0.15, 0.15) * (weather.exposure > 0)))
        self.dim = 1 - weather.dusk * when
        self.when = when
        self.clouds = cv2.GaussianBlur(cv2.resize(_noise(rng, 3, 4), (WIDE, HIGH)), (0, 0), 60) * 2
        self.nudged = weather.nudge_px * (when > 0.5)

    def taken(self, scene: Floats, rng: np.random.Generator) -> Picture:
        """Give the picture that the camera makes of a scene."""
        weather = self.weather
        light = np.full((HIGH, WIDE), self.gain * self.dim, np.float32)
        if weather.cloud:
            drift = float(rng.normal(0, 0.05))
            light *= 1 - weather.cloud * np.clip(self.clouds * 0.8 + 0.3 + drift, 0, 1)
        if weather.sun:
            light *= 1 - weather.sun * self._shadow()
        if weather.infrared:
            light *= _falloff()
        tint = np.array([0.9, 1.0, 1.08], np.float32)  # shade is lit by the blue sky
        seen: Floats = 255 * np.clip(scene / 255 * light[..., None] ** tint, 0, 1) ** self.gamma
        if self.nudged:
            turn = cv2.getRotationMatrix2D((WIDE / 2, HIGH / 2), 0.25 * self.nudged / 4, 1)
            turn[:, 2] += np.array([self.nudged, -0.6 * self.nudged])
            seen = cv2.warpAffine(seen, turn, (WIDE, HIGH), borderMode=cv2.BORDER_REPLICATE)
        if weather.infrared:
            seen = np.repeat(seen.mean(axis=2, keepdims=True), 3, axis=2)
            noise = np.repeat(_noise(rng, HIGH, WIDE)[..., None], 3, axis=2)
        else:
            noise = rng.standard_normal((HIGH, WIDE, 3), dtype=np.float32)
        strength = weather.noise * (1 + 2 * (1 - self.dim))
        return np.clip(seen + noise * strength, 0, 255).astype(np.uint8)

    def _shadow(self) -> Floats:
        """Draw the shadow of a bush that wanders over the ground through the day."""
        mask = np.zeros((HIGH, WIDE), np.float32)
        x = WIDE * (1.1 - 1.2 * self.when)
        for dx, dy, size in ((0, 60, 90), (40, 150, 70), (-30, 230, 60), (20, 20, 60)):
            cv2.circle(mask, (int(x + dx), int(dy)), size, 1.0, -1)
        return cv2.GaussianBlur(mask, (0, 0), 4)


def _falloff() -> Floats:
    """Give how an infrared lamp's light falls off to the corners."""
    y, x = np.mgrid[0:HIGH, 0:WIDE].astype(np.float32)
    far = np.hypot((x - WIDE / 2) / WIDE, (y - HIGH * 0.55) / HIGH)
    light: Floats = 0.95 - 0.95 * np.clip(far, 0, 0.8) ** 1.3
    return light.astype(np.float32)


# --- real infrared frames ------------------------------------------------------------------------


def emptied_night_frames(folder: Path) -> list[Floats]:
    """Take the heron out of the night burst's frames: the water beside it in its place."""
    frames = []
    for file in sorted(folder.glob("*.JPG")):
        picture = cv2.resize(read(file), (WIDE, HIGH), interpolation=cv2.INTER_AREA)
        mask = heron_mask(picture)
        reach = cv2.dilate(mask, np.ones((9, 9), np.uint8))
        smooth = cv2.inpaint(picture, (reach > 0).astype(np.uint8), 5, cv2.INPAINT_TELEA)
        aside = np.roll(picture.astype(np.float32), 150, axis=1)
        grain = aside - cv2.GaussianBlur(aside, (0, 0), 4)
        soft = cv2.GaussianBlur((reach > 0).astype(np.float32), (5, 5), 0)[..., None]
        frames.append((picture * (1 - soft) + (smooth + grain) * soft).astype(np.float32))
    return frames


def herons(folder: Path) -> list[Piece]:
    """Cut the heron out of each frame of the night burst."""
    pieces = []
    for file in sorted(folder.glob("*.JPG")):
        picture = cv2.resize(read(file), (WIDE, HIGH), interpolation=cv2.INTER_AREA)
        mask = heron_mask(picture)
        x, y, wide, high = cv2.boundingRect((mask > 0).astype(np.uint8))
        cut = slice(y, y + high), slice(x, x + wide)
        pieces.append(Piece(picture[cut].astype(np.float32), mask[cut]))
    return pieces


def heron_mask(picture: Picture) -> Floats:
    """Find the heron: the largest bright patch over the dark water in the middle below."""
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    window = np.zeros_like(grey)
    window[270:450, 200:460] = 1
    bright = ((grey > 75) & (window > 0)).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(bright)
    largest = (labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))).astype(np.uint8)
    closed = cv2.morphologyEx(largest, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    return cv2.GaussianBlur(closed.astype(np.float32), (3, 3), 0)
