"""Decide how much a photo differs from its placement's quiet scene, on the tray and off it.

It sorts and suggests; it never answers. The quiet scene is the middle of the nearest other runs in
the same light; what blows about has a wide spread there and hardly counts, and what has the
ground's own grain in it is the ground, in whatever light. Limits: an animal of less than about a
third of a percent of the picture, one that looks like the ground, and one that sits on the very
same spot in half of the runs around can rank behind empty photos; the edge of a hard shadow that
wanders with the sun ranks before small animals; an infrared picture with a tint counts as colour.
So a low score means: look here last, and look.
"""

from collections.abc import Iterable, Mapping, Sequence
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

METHOD = 3
"""Number of this way of scoring; photos scored another way are scored anew."""
WIDTH = 240
"""Pictures are looked at so wide: the eye of a mouse is lost, the mouse is not. [px]"""
RUNS = 15
"""So many other runs make a quiet scene (all constants here are judgements)."""
FEWEST_RUNS = 2
"""One other run alone shows nothing: an animal may be in it too."""
FEWEST_PX = 32
"""A smaller picture shows nothing. [px]"""
UNKNOWN = 1.0
"""Score of what nothing can be compared with: it stands first, never last."""

_GRID = 6, 8  # cells in which the light is levelled: rows, columns
_FLOOR = 8.0  # grey levels that are never divided by
_GREY = 0.05  # a picture with less colour than this is infrared
_SPREAD_SHARE = 0.6  # of the neighbours lie within one spread of their middle
_SPREADS, _NOISES = 3.0, 3.0  # a pixel counts beyond so many spreads and noises
_HUE_SPREADS, _HUE_NOISES = 2.0, 4.0
_GRAIN_PX, _PATCH_PX = 5, 7  # what is finer is grain; the patch in which grain is compared
_UNLIKE, _ALIKE = 0.25, 0.6  # correlation of grain: of another thing, of the same ground
_FULL = 6.0  # so many noises beyond count in full
_BLOB, _JOIN_PX = 0.08, 5  # mean of a 3 x 3 patch that belongs to a blob; how near blobs are one
_HALF_AREA = 0.004  # a blob of this share of the picture scores one half
_SURE_SHIFT = 0.5  # response of a nudged camera; the edge of a wandering shadow gives less
_NEAREST, _FARTHEST = 0.0025, 0.04  # how far it is nudged. [picture widths]
_MOST_POLYGONS = 4


@dataclass(frozen=True, slots=True)
class Frame:
    """A photo made ready for comparing: small, its light levelled; about 320 kB."""

    infrared: bool
    planes: tuple[Plane, ...]
    """Brightness with the light levelled, then by day two hues of half the size."""
    grey: Field
    """Brightness as it was. [grey levels]"""
    light: Field
    """The light that was levelled out, by the cells of the grid. [grey levels]"""
    total: Field
    """Brightness of the hues' planes, by which their noise goes."""
    edges: Field
    """What is fine in the picture, fading to its rim: by it a nudged camera is found."""


@dataclass(frozen=True, slots=True)
class Change:
    """How much a photo differs from its quiet scene, each 0 to 1."""

    whole: float
    on_tray: float | None
    """None where no tray's outline is known, as for `off_tray`."""
    off_tray: float | None
    outline: tuple[Polygon, ...]
    """Round what changed, the largest first; lengths in picture widths."""


Quiet = tuple[Field, Field]
"""Of one plane: the middle of the neighbours, and their spread about it."""


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
    light = _middles(smooth)
    levelled = _bytes(128 * (smooth + _FLOOR) / (_spread_out(light, smooth.shape) + _FLOOR))
    soft = cv2.GaussianBlur(half, (3, 3), 0)
    total = soft.sum(axis=2) + 6 * _FLOOR
    hues = () if infrared else _hues(soft, total)
    return Frame(infrared, (levelled, *hues), smooth, light, total, _fine(smooth))


def _hues(soft: Field, total: Field) -> tuple[Plane, Plane]:
    shares = [(soft[..., channel] + 2 * _FLOOR) / total for channel in (0, 2)]
    blue, red = (_bytes(128 + 500 * (one - np.median(one[::2, ::2]))) for one in shares)
    return blue, red


def _fine(smooth: Field) -> Field:
    small = cv2.resize(smooth, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    fine = small - cv2.blur(small, (9, 9))
    evened = np.clip(fine / (cv2.blur(np.abs(fine), (15, 15)) + 2), -2, 2)
    return _floats(evened * _window(evened.shape))


@cache
def _window(shape: tuple[int, int]) -> Field:
    window: Field = cv2.createHanningWindow(shape[::-1], cv2.CV_32F)
    return window


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


def around(run: int, near: Mapping[int, bool], *, infrared: bool) -> list[int]:
    """Give the runs that make the quiet scene of a run, the nearest first; none: too few.

    Parameters
    ----------
    near
        Of the runs near it, numbered in the order of time, whether each is infrared. Only the
        same light is compared, and a run never with itself.
    infrared
        Whether the run itself is.
    """
    same = [at for at, light in near.items() if light is infrared and at != run]
    nearest = sorted(same, key=lambda at: (abs(at - run), at))[:RUNS]
    return nearest if len(nearest) >= FEWEST_RUNS else []


def quiet_scene(like: Frame, neighbours: Iterable[Frame]) -> list[Quiet]:
    """Give the quiet scene of neighbours, plane by plane; empty where none is in this light.

    They are laid over a frame of the run, which undoes a nudge of the camera between them.
    """
    laid = [_laid_over(like, one) for one in neighbours if one.infrared is like.infrared]
    if not laid:
        return []
    return [_quiet([planes[at] for planes in laid]) for at in range(len(like.planes))]


def _laid_over(like: Frame, other: Frame) -> list[Plane]:
    if like.edges.shape != other.edges.shape:  # a camera set to another shape of picture
        return [
            cv2.resize(plane, one.shape[::-1], interpolation=cv2.INTER_LINEAR)
            for plane, one in zip(other.planes, like.planes, strict=True)
        ]
    # Not given the window: it would write into both pictures, again at every call.
    (x, y), response = cv2.phaseCorrelate(like.edges, other.edges)
    far = 2 * float(np.hypot(x, y)) / WIDTH
    if response <= _SURE_SHIFT or not _NEAREST < far < _FARTHEST:
        return list(other.planes)
    return [
        _moved(plane, *((-2 * x, -2 * y) if at == 0 else (-x, -y)), over=like.planes[at])
        for at, plane in enumerate(other.planes)
    ]


def _moved(plane: Plane, x: float, y: float, *, over: Plane) -> Plane:
    """Move a plane; at the rim, which it does not show, another one stays as it is."""
    move = np.array([[1, 0, x], [0, 1, y]], dtype=np.float32)
    under, rim = over.copy(), cv2.BORDER_TRANSPARENT
    moved: Plane = cv2.warpAffine(plane, move, plane.shape[::-1], under, borderMode=rim)
    return moved


def _quiet(stack: Sequence[Plane]) -> Quiet:
    """Give the median of the neighbours, and how far most of them lie from it, pixel by pixel."""
    middle = _ranked(stack)[len(stack) // 2]
    off = _ranked([cv2.absdiff(one, middle) for one in stack])
    spread = off[min(len(off) - 1, int(len(off) * _SPREAD_SHARE))]
    return _floats(middle), _floats(spread)


def _ranked(stack: Sequence[Plane]) -> list[Plane]:
    """Sort pictures pixel by pixel, the lowest first.

    A network of comparisons sorts whole pictures at once, much quicker than pixel by pixel.
    """
    ranked = list(stack)
    for one, other in _network(len(ranked)):
        pair = ranked[one], ranked[other]
        ranked[one], ranked[other] = cv2.min(*pair), cv2.max(*pair)
    return ranked


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


def change(frame: Frame, quiet: Sequence[Quiet], trays: Sequence[Outline]) -> Change:
    """Score a frame against the quiet scene of its run, in its own light.

    With an empty scene nothing can be compared, and it scores `UNKNOWN`. `trays` is where the
    placement's trays stand; none where that is not known.
    """
    if not quiet:
        return Change(UNKNOWN, None, None, ())
    return _change(_beyond(frame, quiet), trays)


def _beyond(frame: Frame, quiet: Sequence[Quiet]) -> Field:
    """Give how far each pixel lies beyond what its neighbours in time show, 0 to 1."""
    middle, spread = quiet[0]
    level = (_spread_out(frame.light, frame.grey.shape) + _FLOOR) / 128
    gain = _spread_out(_middles(_floats(frame.planes[0]) / (middle + 1)).clip(0.2, 5), level.shape)
    middle, spread = middle * level * gain, np.maximum(spread, 1) * level * gain
    seen = np.minimum(frame.grey + _FLOOR, 255 * level)  # where a plane ends too
    beyond = _bright_beyond(seen, middle, spread)
    if len(quiet) > 1:
        hues = [_hue_beyond(frame, *one) for one in zip(frame.planes[1:], quiet[1:], strict=True)]
        beyond = np.maximum(beyond, _spread_out(np.maximum(*hues), beyond.shape))
    other: Field = beyond * (1 - _same_grain(seen, middle))
    return other


def _bright_beyond(seen: Field, middle: Field, spread: Field) -> Field:
    noise = _noise(seen - middle) + 0.7
    patch = np.ones((3, 3), np.uint8)
    top = cv2.dilate(middle + _SPREADS * spread, patch) + _NOISES * noise
    bottom = cv2.erode(middle - _SPREADS * spread, patch) - _NOISES * noise
    return _in_full(np.maximum(seen - top, bottom - seen) / noise)


def _hue_beyond(frame: Frame, plane: Plane, quiet: Quiet) -> Field:
    middle, spread = quiet
    off = _floats(plane) - middle
    weight = frame.total / frame.total.mean()
    off = (off - _spread_out(_middles(off, 1), off.shape)) * weight
    noise = _noise(off) + 0.5
    wide = cv2.dilate(np.maximum(spread, 0.5) * weight, np.ones((3, 3), np.uint8))
    return _in_full((np.abs(off) - _HUE_SPREADS * wide) / noise - _HUE_NOISES)


def _same_grain(seen: Field, middle: Field) -> Field:
    """Give how surely each pixel shows the ground itself, lit or shaded otherwise, 0 to 1.

    By the correlation of what is finer than a median filter leaves: that keeps the edges of
    shadows, so that they have no grain of their own.
    """
    one, other = (plane - cv2.medianBlur(_bytes(plane), _GRAIN_PX) for plane in (seen, middle))
    patch = _PATCH_PX, _PATCH_PX
    both = cv2.blur(one * one, patch) * cv2.blur(other * other, patch)
    alike = cv2.blur(one * other, patch) / np.sqrt(both + 1)
    share: Field = np.clip((alike - _UNLIKE) / (_ALIKE - _UNLIKE), 0, 1)
    return share


def _noise(off: Field) -> float:
    """Give the noise of a picture from its differences: 1.4826 times their median size."""
    return 1.4826 * float(np.median(np.abs(off[::2, ::2])))


def _in_full(noises: Field) -> Field:
    return (np.clip(noises, 0, _FULL) / _FULL).astype(np.float32)


def _change(beyond: Field, trays: Sequence[Outline]) -> Change:
    patches = (cv2.blur(beyond, (3, 3)) > _BLOB).astype(np.uint8)
    blobs: NDArray[Any] = cv2.dilate(patches, np.ones((_JOIN_PX, _JOIN_PX), np.uint8))
    on_tray = off_tray = None
    if trays:
        inside = _inside(trays, blobs.shape)
        on_tray, off_tray = (_largest(beyond, blobs & part) for part in (inside, 1 - inside))
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
    """Give a simple line round a blob, which reaches a little beyond what changed."""
    lines, _ = cv2.findContours(blob, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
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
