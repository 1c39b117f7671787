"""Decide how one placement is surveyed for codes: choose photos, read them, propose."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from pathlib import Path

from core.codes.looking import photos_to_look_at
from core.codes.proposals import Proposals, proposals
from core.codes.reading import Found, read_photo
from core.errors import CardError
from core.model import Photo, PhotoKind, Placement, TrayDeployment

Progress = Callable[[int, int], None]
"""Told how many photos of how many were looked at."""


@dataclass(frozen=True, slots=True)
class Survey:
    """What a placement's photos say of the time and of the trays."""

    proposals: Proposals
    found: tuple[tuple[int, Found], ...]
    """Photo id and code, in the order of the photos."""
    looked_at: int
    """Photos that were looked at."""
    unreadable: tuple[int, ...]
    """Ids of photos whose original is not at hand or damaged."""
    hurried: int
    """Photos for which time ran out before every way of looking was tried."""


def survey(
    placement: Placement,
    photos: Sequence[Photo],
    trays: Sequence[TrayDeployment],
    gap: timedelta,
    path_of: Callable[[int], Path],
    progress: Progress | None = None,
) -> Survey:
    """Look for codes in a placement's photos where people are likely, and say what they lead to.

    Parameters
    ----------
    photos
        Those that count, in the order of time.
    trays
        The whole tray log; only the windows of the placement's own trays are looked at, or all
        windows where the camera log names no tray.
    path_of
        Gives a photo's original; may raise CardError.
    """
    windows = [
        (one.set_out, one.picked_up)
        for one in trays
        if not placement.trays or one.tray in placement.trays
    ]
    chosen = photos_to_look_at(photos, windows, _handler_runs(photos))
    found: list[tuple[int, Found]] = []
    unreadable, hurried = [], 0
    for done, photo in enumerate(chosen, start=1):
        try:
            reading = read_photo(path_of(photo))
        except CardError:
            unreadable.append(photo)
        else:
            found += [(photo, one) for one in reading.found]
            hurried += reading.hurried
        if progress is not None:
            progress(done, len(chosen))
    codes = {photo: [one.code for _, one in group] for photo, group in _by_photo(found)}
    said = proposals(placement, photos, codes, trays, gap)
    return Survey(said, tuple(found), len(chosen), tuple(unreadable), hurried)


def _by_photo(
    found: Sequence[tuple[int, Found]],
) -> Iterable[tuple[int, Iterable[tuple[int, Found]]]]:
    return groupby(found, key=lambda one: one[0])


def _handler_runs(photos: Sequence[Photo]) -> list[tuple[int, int]]:
    runs = []
    for handler, group in groupby(photos, key=lambda photo: photo.kind is PhotoKind.HANDLER):
        if handler:
            run = [photo.id for photo in group]
            runs.append((run[0], run[-1]))
    return runs
