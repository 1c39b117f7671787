"""Decide how much a photo differs from its placement's quiet scene, on the tray and off it.

It sorts and suggests; it never answers. The quiet scene is the middle of the nearest runs before
and after, in the same light; what blows about there has a wide spread and hardly counts. Limits:
an animal of less than about a third of a percent of the picture, one that looks like the ground,
and one that sat on the very same spot in three or more of the nine runs before or after can rank
behind empty photos; the edge of a shadow that wanders with the sun ranks before them. So a low
score means: look here last, and look.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from core.model import Outline

# OpenCV's own types tell no kind of number, so these are for people.
Picture = NDArray[Any]
"""Shape (h, w, 3), blue, green, red, 0 to 255."""
Plane = NDArray[Any]
"""Shape (h, w), 0 to 255 as bytes."""
Field = NDArray[Any]
"""Shape (h, w), floats of 32 bits."""
Polygon = tuple[tuple[float, float], ...]

METHOD = 1
"""Number of this way of scoring; photos scored another way are scored anew."""
WIDTH = 240
"""Pictures are looked at so wide: the eye of a mouse is lost, the mouse is not. [px]"""
SIDE_RUNS = 9
"""So many runs before and after make a quiet scene each (all constants here are judgements)."""
MOST_RUNS = 15
"""So many runs make the one scene of a run near the beginning or the end."""
FEWEST_RUNS = 4
"""Fewer neighbours on one side make no scene of their own."""
FEWEST_PX = 32
"""A smaller picture shows nothing. [px]"""
UNKNOWN = 1.0
"""Score of what nothing can be compared with: it stands first, never last."""

_GRID = 6, 8  # cells in which the light is levelled: rows, columns
_FLOOR = 8.0  # grey levels that are never divided by
_GREY = 0.05  # a picture with less colour than this is infrared
_SPREADS, _NOISES = 2.0, 3.0  # a pixel counts beyond so many spreads and noises
_HUE_SPREADS, _HUE_NOISES = 1.5, 4.0
_FULL = 6.0  # so many noises beyond count in full
_BLOB = 0.08  # mean of a 3 x 3 patch that belongs to a blob
_HALF_AREA = 0.004  # a blob of this share of the picture scores one half
_SURE_SHIFT, _FARTHEST = 0.08, 0.02  # of a nudged camera: response, and share of the width
_MOST_POLYGONS = 4


@dataclass(frozen=True, slots=True)
class Frame:
    """A photo made ready for comparing: its light levelled, small, about 200 kB."""

    infrared: bool
    planes: tuple[Plane, ...]
    """Brightness with the light levelled, then by day two hues of half the size."""
    light: Field
    """The light that was levelled out. [grey levels]"""
    total: Field
    """Brightness of the hues' planes, by which their noise goes."""
    edges: Field
    """What is fine in the picture: by it a nudged camera is found."""


@dataclass(frozen=True, slots=True)
class Change:
    """How much a photo differs from its quiet scene, each 0 to 1."""

    whole: float
    on_tray: float | None
    """None where no tray's outline is known, as for `off_tray`."""
    off_tray: float | None
    outline: tuple[Polygon, ...]
    """Round what changed, the largest first; lengths in picture widths."""


Scene = list[tuple[Field, Field, Field]]
"""Of each plane: a quarter of the neighbours lie below the first, half below the second, a
quarter above the third."""


# --- frames --------------------------------------------------------------------------------------


def frame_of(picture: Picture) -> Frame:
    """Make a picture ready: shape (h, w, 3), blue, green, red, at least 32 px wide."""
    high, wide = picture.shape[:2]
    small = cv2.resize(
        picture, (WIDTH, max(24, round(high * WIDTH / wide))), interpolation=cv2.INTER_AREA
    )
    grey = cv2.cvtColor(small, cv2.COLOR_BGR2GRAY)
    half = _floats(cv2.resize(small, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    colour = half.max(axis=2) - half.min(axis=2)
    infrared = bool(colour.mean() / (grey.mean() + 5) < _GREY)
    smooth = cv2.GaussianBlur(_floats(grey), (3, 3), 0)
    light = _spread_out(_middles(smooth), smooth.shape)
    levelled = _bytes(128 * (smooth + _FLOOR) / (light + _FLOOR))
    total = half.sum(axis=2) + 6 * _FLOOR
    hues = () if infrared else _hues(half, total)
    return Frame(infrared, (levelled, *hues), light, total, _fine(smooth))


def _hues(half: Field, total: Field) -> tuple[Plane, Plane]:
    soft = cv2.GaussianBlur(half, (3, 3), 0)
    shares = [(soft[..., channel] + 2 * _FLOOR) / total for channel in (0, 2)]
    blue, red = (_bytes(128 + 500 * (one - np.median(one[::2, ::2]))) for one in shares)
    return blue, red


def _fine(smooth: Field) -> Field:
    small = cv2.resize(smooth, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    fine = small - cv2.blur(small, (9, 9))
    evened: Field = np.clip(fine / (cv2.blur(np.abs(fine), (15, 15)) + 2), -2, 2)
    return evened.astype(np.float32)


def _floats(plane: Plane) -> Field:
    return plane.astype(np.float32)


def _bytes(values: Field) -> Plane:
    return np.clip(values, 0, 255).astype(np.uint8)


def _middles(plane: Field, step: int = 2) -> Field:
    """Give the median of each cell of the grid."""
    few = plane[::step, ::step]
    rows, columns = _GRID
    high, wide = few.shape[0] // rows, few.shape[1] // columns
    cut = few[: high * rows, : wide * columns].reshape(rows, high, columns, wide)
    cells = cut.transpose(0, 2, 1, 3).reshape(rows * columns, -1)
    half = cells.shape[1] // 2
    middle: Field = np.partition(cells, half, axis=1)[:, half].reshape(_GRID)
    return middle.astype(np.float32)


def _spread_out(cells: Field, shape: tuple[int, ...]) -> Field:
    wide: Field = cv2.resize(cells, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)
    return wide


# --- which frames make a scene -------------------------------------------------------------------


def around(run: int, near: Mapping[int, bool], infrared: bool | None) -> list[list[int]]:
    """Give the runs that make the quiet scenes of a run: before it, and after it; or all round it.

    A photo has to differ from both scenes to count, so that the wandering sun and a nudged camera
    count on one side only. Where one side has too few runs there is one scene of the nearest on
    both sides; none where no other run is in this light.

    Parameters
    ----------
    near
        Of the runs near it, numbered in the order of time, whether each is infrared. Only the
        same light is compared, and a run never with itself.
    infrared
        Whether the run itself is.
    """
    same = sorted(at for at, light in near.items() if light is infrared and at != run)
    before = [at for at in same if at < run][-SIDE_RUNS:]
    after = [at for at in same if at > run][:SIDE_RUNS]
    sides = [side for side in (before[::-1], after) if len(side) >= FEWEST_RUNS]
    if len(sides) > 1:
        return sides
    nearest = sorted(same, key=lambda at: abs(at - run))[:MOST_RUNS]
    return [nearest] if nearest else []


def quiet_scene(like: Frame, neighbours: Sequence[Frame]) -> Scene:
    """Give the quiet scene of neighbours in the same light, laid over a frame of the run.

    That undoes a nudge of the camera between them. At least one neighbour.
    """
    laid = [_laid_over(like, one) for one in neighbours]
    return [_quarters([planes[at] for planes in laid]) for at in range(len(like.planes))]


def _laid_over(like: Frame, other: Frame) -> list[Plane]:
    if like.edges.shape != other.edges.shape:  # a camera set to another shape of picture
        return [
            cv2.resize(plane, one.shape[::-1], interpolation=cv2.INTER_LINEAR)
            for plane, one in zip(other.planes, like.planes, strict=True)
        ]
    (x, y), response = cv2.phaseCorrelate(like.edges, other.edges, _window(like.edges.shape))
    x, y, response = (round(one, 2) for one in (x, y, response))  # its last digits vary
    far = float(np.hypot(x, y))
    if response <= _SURE_SHIFT or not 0.3 < far < _FARTHEST * WIDTH:  # noqa: PLR2004
        return list(other.planes)
    return [
        _moved(plane, *((-2 * x, -2 * y) if at == 0 else (-x, -y)))
        for at, plane in enumerate(other.planes)
    ]


@cache
def _window(shape: tuple[int, int]) -> Field:
    window: Field = cv2.createHanningWindow(shape[::-1], cv2.CV_32F)
    return window


def _moved(plane: Plane, x: float, y: float) -> Plane:
    move = np.array([[1, 0, x], [0, 1, y]], dtype=np.float32)
    moved: Plane = cv2.warpAffine(
        plane, move, plane.shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return moved


def _quarters(stack: Sequence[Plane]) -> tuple[Field, Field, Field]:
    """Give what a quarter, a half and three quarters of the neighbours lie below, pixel by pixel.

    A network of comparisons sorts whole pictures at once, much quicker than pixel by pixel.
    """
    ranked = list(stack)
    for one, other in _network(len(ranked)):
        pair = ranked[one], ranked[other]
        ranked[one], ranked[other] = cv2.min(*pair), cv2.max(*pair)
    last, quarter = len(ranked) - 1, len(ranked) // 4
    low, middle, high = ranked[quarter], ranked[len(ranked) // 2], ranked[last - quarter]
    return _floats(low), _floats(middle), _floats(high)


@cache
def _network(count: int) -> tuple[tuple[int, int], ...]:
    """Give the comparisons that sort so many things: Batcher's odd-even merge (from memory)."""
    found: list[tuple[int, int]] = []
    size = 1
    while size < count:
        step = size
        while step >= 1:
            for start in range(step % size, count - step, 2 * step):
                found += [
                    (at, at + step)
                    for at in range(start, min(start + step, count - step))
                    if at // (2 * size) == (at + step) // (2 * size)
                ]
            step //= 2
        size *= 2
    return tuple(found)


# --- scores --------------------------------------------------------------------------------------


def changes(
    run: Sequence[Frame], scenes: Sequence[Sequence[Frame]], trays: Sequence[Outline]
) -> list[Change]:
    """Score the frames of one run against quiet scenes made of their neighbours.

    Parameters
    ----------
    run
        The run's frames, in order.
    scenes
        The frames of the runs that `around` gives, one list for each scene. With none, nothing
        can be compared and every frame scores `UNKNOWN`.
    trays
        Where the placement's trays stand; none where that is not known.

    Returns
    -------
    One change a frame, in order.
    """
    quiet: dict[bool, list[Scene]] = {}
    for frame in run:
        if frame.infrared not in quiet:
            same = [[one for one in scene if one.infrared is frame.infrared] for scene in scenes]
            quiet[frame.infrared] = [quiet_scene(frame, scene) for scene in same if scene]
    return [_compared(frame, quiet[frame.infrared], trays) for frame in run]


def _compared(frame: Frame, quiet: Sequence[Scene], trays: Sequence[Outline]) -> Change:
    if not quiet:
        return Change(UNKNOWN, None, None, ())
    beyond = _beyond(frame, quiet[0])
    for scene in quiet[1:]:
        beyond = np.minimum(beyond, _beyond(frame, scene))
    return _change(beyond, trays)


def _beyond(frame: Frame, scene: Scene) -> Field:
    """Give how far each pixel lies beyond what its neighbours in time show, 0 to 1."""
    bright = _bright_beyond(frame, *scene[0])
    if len(scene) == 1:
        return bright
    hues = [
        _hue_beyond(frame, plane, *quarters)
        for plane, quarters in zip(frame.planes[1:], scene[1:], strict=True)
    ]
    return np.maximum(bright, _spread_out(np.maximum(*hues), bright.shape))


def _bright_beyond(frame: Frame, low: Field, middle: Field, high: Field) -> Field:
    raw = (frame.light + _FLOOR) / 128
    seen = _floats(frame.planes[0])
    gain = _spread_out(np.clip(_middles(seen / (middle + 1)), 0.2, 5), seen.shape)
    noise = _noise((seen - middle * gain) * raw) + 0.7
    up, down = np.maximum(high - middle, 1), np.maximum(middle - low, 1)
    patch = np.ones((3, 3), np.uint8)
    top = cv2.dilate((middle + _SPREADS * up) * gain * raw, patch) + _NOISES * noise
    bottom = cv2.erode((middle - _SPREADS * down) * gain * raw, patch) - _NOISES * noise
    value = seen * raw
    return _in_full(np.maximum(value - top, bottom - value) / noise)


def _hue_beyond(frame: Frame, plane: Plane, low: Field, middle: Field, high: Field) -> Field:
    off = _floats(plane) - middle
    weight = frame.total / frame.total.mean()
    off = (off - _spread_out(_middles(off, 1), off.shape)) * weight
    noise = _noise(off) + 0.5
    patch = np.ones((3, 3), np.uint8)
    up, down = (
        cv2.dilate(np.maximum(side, 0.5) * weight * _HUE_SPREADS, patch) + _HUE_NOISES * noise
        for side in (high - middle, middle - low)
    )
    return _in_full(np.maximum(off - up, -off - down) / noise)


def _noise(off: Field) -> float:
    """Give the noise of a picture from its differences: 1.4826 times their median size."""
    return 1.4826 * float(np.median(np.abs(off[::2, ::2])))


def _in_full(noises: Field) -> Field:
    return (np.clip(noises, 0, _FULL) / _FULL).astype(np.float32)


def _change(beyond: Field, trays: Sequence[Outline]) -> Change:
    patches = cv2.blur(beyond, (3, 3))
    blobs = (patches > _BLOB).astype(np.uint8)
    if not trays:
        return Change(_largest(beyond, blobs), None, None, _polygons(beyond, blobs))
    inside = _inside(trays, blobs.shape)
    on_tray = _largest(beyond, blobs & inside)
    off_tray = _largest(beyond, blobs & (1 - inside))
    return Change(_largest(beyond, blobs), on_tray, off_tray, _polygons(beyond, blobs))


def _weights(beyond: Field, blobs: NDArray[np.uint8]) -> tuple[NDArray[Any], Field]:
    """Give which blob each pixel is in, from 1, and how much each blob differs, as a share."""
    count, labels = cv2.connectedComponents(blobs, connectivity=8)
    sums = np.bincount(labels.ravel(), weights=beyond.ravel(), minlength=count)[1:]
    return labels, (sums / beyond.size).astype(np.float32)


def _largest(beyond: Field, blobs: NDArray[np.uint8]) -> float:
    _, shares = _weights(beyond, blobs)
    most = float(shares.max(initial=0))
    return most / (most + _HALF_AREA)


def _polygons(beyond: Field, blobs: NDArray[np.uint8]) -> tuple[Polygon, ...]:
    labels, shares = _weights(beyond, blobs)
    order = np.argsort(-shares)[:_MOST_POLYGONS]
    return tuple(
        _polygon((labels == at + 1).astype(np.uint8))
        for at in order.tolist()
        if shares[at] > 0.05 * shares.max()
    )


def _polygon(blob: NDArray[np.uint8]) -> Polygon:
    """Give a simple line round a blob, a little outside of it."""
    wider = cv2.dilate(blob, np.ones((5, 5), np.uint8))
    lines, _ = cv2.findContours(wider, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    line = cv2.approxPolyDP(max(lines, key=cv2.contourArea), 1.5, closed=True)
    wide = blob.shape[1]
    return tuple((round(float(x) / wide, 4), round(float(y) / wide, 4)) for x, y in line[:, 0])


def _inside(trays: Sequence[Outline], shape: tuple[int, ...]) -> NDArray[np.uint8]:
    mask = np.zeros(shape[:2], np.uint8)
    for tray in trays:
        box = (
            (tray.cx * shape[1], tray.cy * shape[1]),
            (2 * tray.rx * shape[1], 2 * tray.ry * shape[1]),
            tray.angle,
        )
        cv2.ellipse(mask, box, 1, -1)
    return mask


# --- the tray ------------------------------------------------------------------------------------

_FIND_WIDTH = 320
_SMALLEST, _LARGEST = 0.08, 0.45  # half axes of a tray. [picture widths]
_FLATTEST = 0.3  # a tray seen from lower than this is no ellipse that can be told
_FIT = 0.75  # share of an ellipse's line that has an edge along it


def quiet_picture(pictures: Sequence[Picture]) -> Picture:
    """Give the middle of pictures of one size, pixel by pixel: what stays, without what passes."""
    high, wide = pictures[0].shape[:2]
    same = [one for one in pictures if one.shape[:2] == (high, wide)]
    middle: Picture = np.median(np.stack(same), axis=0).astype(np.uint8)
    return middle


def trays_in(picture: Picture, count: int) -> list[Outline]:
    """Find up to so many round trays in a quiet picture, from left to right; unnamed, unlooked at.

    An ellipse counts when edges lie along most of it, at a slope square to its line. A guess for
    a person to put right: grass before the rim, a shadow or a pot hides a tray or stands for one.
    """
    high, wide = picture.shape[:2]
    size = _FIND_WIDTH, round(high * _FIND_WIDTH / wide)
    grey = cv2.cvtColor(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2GRAY)
    grey = cv2.createCLAHE(2.0, (4, 4)).apply(cv2.GaussianBlur(grey, (5, 5), 0))
    slope = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    ranked = sorted(
        ((_edge_along(one, slope), one) for one in _candidates(grey)), key=lambda one: -one[0]
    )
    chosen: list[Outline] = []
    for fit, one in ranked:
        apart = all(np.hypot(one.cx - o.cx, one.cy - o.cy) > o.rx for o in chosen)
        if fit >= _FIT and apart and len(chosen) < count:
            chosen.append(one)
    return sorted(chosen, key=lambda one: one.cx)


def _candidates(grey: Plane) -> list[Outline]:
    """Fit ellipses to the longer lines of edges, each alone and each two together."""
    found = []
    for low, high in ((30, 90), (60, 160)):
        edges = cv2.dilate(cv2.Canny(grey, low, high), np.ones((2, 2), np.uint8))
        lines, _ = cv2.findContours(edges, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        lines = sorted((one for one in lines if len(one) >= 25), key=len, reverse=True)[:14]  # noqa: PLR2004
        both = [np.concatenate([a, b]) for at, a in enumerate(lines) for b in lines[at + 1 :]]
        for points in (*lines, *both, *(cv2.convexHull(one) for one in lines)):
            if len(points) >= 5:  # noqa: PLR2004
                found += _ellipse(points)
    return found


def _ellipse(points: NDArray[Any]) -> list[Outline]:
    (x, y), (first, second), angle = cv2.fitEllipse(points)
    cx, cy, rx, ry = (float(one) / _FIND_WIDTH for one in (x, y, first / 2, second / 2))
    if not all(np.isfinite((cx, cy, rx, ry))):
        return []
    if ry > rx:
        rx, ry, angle = ry, rx, angle + 90
    tilted = min(angle % 180, 180 - angle % 180)
    fits = _SMALLEST <= rx <= _LARGEST and ry >= _FLATTEST * rx and tilted < 30  # noqa: PLR2004
    inside = 0.05 < cx < 0.95 and cy > 0.05  # noqa: PLR2004
    return [Outline("", cx, cy, rx, ry, float(angle % 180))] if fits and inside else []


def _edge_along(one: Outline, slope: tuple[Field, Field]) -> float:
    """Give the share of an ellipse's line at which the picture's slope is square to it."""
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    lean = np.deg2rad(one.angle)
    across, down = one.rx * np.cos(turn), one.ry * np.sin(turn)
    x = (one.cx + across * np.cos(lean) - down * np.sin(lean)) * _FIND_WIDTH
    y = (one.cy + across * np.sin(lean) + down * np.cos(lean)) * _FIND_WIDTH
    out_x, out_y = np.cos(turn) / one.rx, np.sin(turn) / one.ry
    normal = np.stack(
        [out_x * np.cos(lean) - out_y * np.sin(lean), out_x * np.sin(lean) + out_y * np.cos(lean)]
    )
    normal /= np.linalg.norm(normal, axis=0)
    high, wide = slope[0].shape
    best = np.zeros(len(turn), bool)
    for step in (-2, -1, 0, 1, 2):
        at_x = np.rint(x + step * normal[0]).astype(int)
        at_y = np.rint(y + step * normal[1]).astype(int)
        seen = (at_x >= 0) & (at_x < wide) & (at_y >= 0) & (at_y < high)
        at_x, at_y = np.clip(at_x, 0, wide - 1), np.clip(at_y, 0, high - 1)
        gx, gy = slope[0][at_y, at_x], slope[1][at_y, at_x]
        size = np.hypot(gx, gy)
        square = np.abs(gx * normal[0] + gy * normal[1]) > 0.85 * size
        best |= seen & square & (size > 40)  # noqa: PLR2004
    return float(best.mean())
