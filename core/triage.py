"""Decide which photos of a placement are scored next, from which small pictures, and keep scores.

How a score is worked out is decided in `motion`. Runs go by time alone: what people said of a
photo never changes its score, and no score changes what people said.
"""

from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import cv2
import numpy as np
from sqlalchemy import Connection

from core import motion, visits
from core.coverage import lens
from core.errors import CardError
from core.model import Outline
from core.motion import Frame, Picture
from core.pictures import STRIP_PX
from core.previews import Original, Previews, newest
from core.store import Database, Raises, originals
from core.store import outlines as outline_store
from core.store import rulings as measure_store
from core.store import scores as store
from core.store.scores import Score
from core.views import PlacementBase

Progress = Callable[[int, int], None]
COPY, THUMBNAIL = "copy", "thumbnail"
LOT = 200
"""Photos whose scores are written down together."""
FRAMES_KEPT = 200
"""Frames that are held ready, of about 320 kB each."""
REACH = 120
"""Runs that are looked through on each side for neighbours in the same light (a judgement)."""
TRAY_PICTURES = 15
"""Pictures by day from which the trays are found; fewer than a third of them are too few."""


@dataclass(frozen=True, slots=True)
class Scored:
    """How far scoring came."""

    done: int
    """Photos that were scored now."""
    left: int
    """Photos that could be scored and are not yet."""


class _Frames:
    """The small pictures of one placement, made ready when they are asked for."""

    def __init__(self, previews: Previews, base: PlacementBase, files: dict[int, Original]) -> None:
        self._previews, self._files = previews, files
        self._copies = newest(previews.folder, base.place.keys(), STRIP_PX)
        self._ready: OrderedDict[int, Frame | None] = OrderedDict()
        self.measures: dict[int, tuple[float, float]] = {}
        """Mean grey and contrast of each picture that was looked at."""

    def basis(self, photo: int) -> str:
        return COPY if photo in self._copies else THUMBNAIL

    def frame(self, photo: int) -> Frame | None:
        """Give a photo's frame; None where there is no picture of it."""
        if photo in self._ready:
            self._ready.move_to_end(photo)
            return self._ready[photo]
        picture = self.picture(photo)
        frame = None if picture is None else motion.frame_of(picture)
        if picture is not None:
            self.measures[photo] = lens.measure(picture)
        self._ready[photo] = frame
        if len(self._ready) > FRAMES_KEPT:
            self._ready.popitem(last=False)
        return frame

    def picture(self, photo: int) -> Picture | None:
        """Give a photo's small picture: its copy, else the one in its header."""
        raw = self._copy(photo) or self._header(photo)
        found = cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_COLOR) if raw else None
        return None if found is None or min(found.shape[:2]) < motion.FEWEST_PX else found

    def _copy(self, photo: int) -> bytes:
        try:
            return self._copies[photo].read_bytes() if photo in self._copies else b""
        except OSError:  # deleted since it was listed
            return b""

    def _header(self, photo: int) -> bytes:
        try:
            known = self._files.get(photo)
            return (self._previews.thumbnail(known) or b"") if known else b""
        except (CardError, OSError):  # the card is not at hand
            return b""


class _Placement:
    """The runs of one placement, and what is known of their light."""

    def __init__(self, base: PlacementBase, gap: timedelta, frames: _Frames) -> None:
        self.frames = frames
        numbers = visits.numbers_within(base.seconds, gap)
        edges = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(numbers)]
        ids = base.ids.tolist()
        self.runs: list[list[int]] = [ids[one:end] for one, end in pairwise(edges)] if ids else []
        self._infrared: dict[int, bool | None] = {}

    def infrared(self, run: int) -> bool | None:
        """Say in which light most of a run was taken; None where there is no picture of it."""
        if run not in self._infrared:
            asked = map(self.frames.frame, _middle_first(self.runs[run]))
            self._infrared[run] = next((one.infrared for one in asked if one is not None), None)
        return self._infrared[run]

    def changes(
        self, run: int, trays: Sequence[Outline]
    ) -> Iterator[tuple[int, bool, motion.Change]]:
        """Score the photos of a run that have a picture: photo, whether infrared, change."""
        quiet: dict[object, list[motion.Quiet]] = {}
        for photo in self.runs[run]:
            frame = self.frames.frame(photo)
            if frame is None:
                continue
            kind = frame.infrared, frame.grey.shape
            if kind not in quiet:
                neighbours = self._neighbours(run, infrared=frame.infrared)
                quiet[kind] = motion.quiet_scene(frame, neighbours)
            yield photo, frame.infrared, motion.change(frame, quiet[kind], trays)

    def _neighbours(self, run: int, *, infrared: bool) -> list[Frame]:
        """Give frames of the runs around: the middle one of each, then more where runs are few."""
        runs = motion.around(run, self._near(run, infrared=infrared), infrared=infrared)
        ranked = [_middle_first(self.runs[one]) for one in runs]
        ids = [one[place] for place in range(3) for one in ranked if place < len(one)]
        found = map(self.frames.frame, ids[: motion.RUNS])
        return [one for one in found if one is not None]

    def _near(self, run: int, *, infrared: bool) -> dict[int, bool]:
        """Give the light of the runs near one, until there are enough in that light."""
        near: dict[int, bool] = {}
        for step in (-1, 1):
            same, at = 0, run + step
            while 0 <= at < len(self.runs) and abs(at - run) <= REACH and same < motion.RUNS:
                light = self.infrared(at)
                if light is not None:
                    near[at] = light
                    same += light is infrared
                at += step
        return near


def _middle_first(run: Sequence[int]) -> list[int]:
    middle = len(run) // 2
    return [run[middle], *run[:middle][:1], *run[middle + 1 :][-1:]]


def score(
    database: Database,
    previews: Previews,
    base: PlacementBase,
    gap: timedelta,
    *,
    most: int | None = None,
    progress: Progress | None = None,
) -> Scored:
    """Score the photos of a placement that are not scored, or only by a poorer picture.

    In the order of time, at most about `most` photos; what was done is kept, so that it can be
    stopped at any time. Photos without any picture (damaged, the card taken out) stay unscored.
    How dark and how plain a picture is, is measured in the same pass; photos that were scored
    before that was asked keep their score, and are measured alone.
    """
    placement = base.placement.placement
    with database.read() as connection:
        known = store.scored(connection, placement)
        files = {one.id: one for one in originals.originals(connection, placement)}
        unmeasured = measure_store.unmeasured(connection, placement)
    frames = _Frames(previews, base, files)
    whole = _Placement(base, gap, frames)
    due = [at for at, run in enumerate(whole.runs) if _is_due(run, known, frames)]
    keep = _Keeper(database, placement)
    _measure(unmeasured - {photo for at in due for photo in whole.runs[at]}, frames, keep)
    if not due:
        return Scored(0, 0)
    trays = _trays(database, base, whole)
    total, done, tried, held = sum(len(whole.runs[at]) for at in due), 0, 0, list[Score]()
    for at in due:
        for photo, infrared, change in whole.changes(at, trays):
            scored = _score(photo, frames.basis(photo), infrared, change)
            grey, contrast = frames.measures[photo]
            held.append(replace(scored, grey=grey, contrast=contrast))
        tried += len(whole.runs[at])
        if len(held) >= LOT:
            done += keep.scores(held)
        if progress:
            progress(tried, total)
        if most is not None and tried >= most:
            break
    return Scored(done + keep.scores(held), total - tried)


def _is_due(run: Sequence[int], known: dict[int, tuple[int, str, bool]], frames: _Frames) -> bool:
    """Say whether a photo of a run is not scored, by an older method or by a poorer picture."""
    for photo in run:
        method, basis, _ = known.get(photo, (store.STALE, "", False))
        if method != motion.METHOD or (basis == THUMBNAIL and frames.basis(photo) == COPY):
            return True
    return False


def _score(photo: int, basis: str, infrared: bool, change: motion.Change) -> Score:
    return Score(
        photo,
        motion.METHOD,
        basis,
        infrared,
        change.whole,
        change.on_tray,
        change.off_tray,
        change.outline,
    )


class _Keeper:
    """Writes scores and measures of one placement, and says so where they may be suspected."""

    def __init__(self, database: Database, placement: str) -> None:
        self._database, self._placement = database, placement
        with database.read() as connection:
            self._dark = measure_store.has_dark(connection, placement, lens.DARK, lens.FEATURELESS)

    def scores(self, held: list[Score]) -> int:
        """Write scores and empty their list; gives how many they were."""
        count = len(held)
        if held:
            found = [
                (one.grey, one.contrast)
                for one in held
                if one.grey is not None and one.contrast is not None
            ]
            with self._database.begin(Raises.NOTHING) as connection:
                store.put_scores(connection, held)
                self._tell(connection, found)
            held.clear()
        return count

    def measures(self, found: Mapping[int, tuple[float, float]]) -> None:
        """Write how dark and how plain photos are, beside the scores that they have."""
        if found:
            with self._database.begin(Raises.NOTHING) as connection:
                measure_store.put_measures(connection, found)
                self._tell(connection, found.values())

    def _tell(self, connection: Connection, found: Iterable[tuple[float, float]]) -> None:
        """Raise the placement's mark, unless every photo of it shows something."""
        self._dark = self._dark or any(lens.shows_nothing(*one) for one in found)
        if self._dark:
            measure_store.raise_mark(connection, self._placement)


def _measure(photos: Collection[int], frames: _Frames, keep: _Keeper) -> None:
    """Measure photos that have a score already."""
    ids = sorted(photos)
    for start in range(0, len(ids), LOT):
        pictures = ((photo, frames.picture(photo)) for photo in ids[start : start + LOT])
        keep.measures({photo: lens.measure(one) for photo, one in pictures if one is not None})


# --- trays ---------------------------------------------------------------------------------------


def _trays(database: Database, base: PlacementBase, whole: _Placement) -> list[Outline]:
    """Give where the trays stand: as held, else as found now, to be put right by a person."""
    placement = base.placement
    with database.read() as connection:
        held = outline_store.outlines(connection, placement.placement)
    if held:
        return held
    names = placement.trays or ("",)
    pictures = list(_by_day(whole))
    if len(pictures) * 3 < TRAY_PICTURES:
        return []
    found = motion.trays_in(motion.quiet_picture(pictures), len(names))
    if len(found) != len(names):
        return []
    named = [replace(one, tray=name) for one, name in zip(found, names, strict=True)]
    with database.begin(Raises.NOTHING) as connection:
        for one in named:
            outline_store.add_outline(connection, placement.placement, one, datetime.now(UTC))
    return named


def _by_day(whole: _Placement) -> Iterator[Picture]:
    """Give pictures by day of runs from all over the placement; of copies, which are sharp."""
    step = max(1, len(whole.runs) // (2 * TRAY_PICTURES))
    left = TRAY_PICTURES
    for run in range(0, len(whole.runs), step):
        photo = _middle_first(whole.runs[run])[0]
        if left and whole.frames.basis(photo) == COPY and whole.infrared(run) is False:
            picture = whole.frames.picture(photo)
            if picture is not None:
                left -= 1
                yield picture
