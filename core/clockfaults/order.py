"""Decide in which order a camera wrote the files of a placement, by their folders and numbers."""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from core.model import Photo

UNKNOWN_ORDER = -1
_NUMBER = re.compile(r"\d{3,}")
_CAMERA_FOLDER = re.compile(r"\d{3}(?!\d)")
_MOST_DIGITS = 6
"""A longer number is a date or a time, no counter (ours)."""
_WRAPS_FROM, _WRAPS_TO, _WRAP_GAP = 9000, 999, 1000
"""Numbers that go from 9999 on to 0001 leave at least this gap between (ours)."""


@dataclass(frozen=True, slots=True)
class FileOrder:
    """The files of a placement in the order in which they were written."""

    places: tuple[int, ...]
    """For each place in the order, the position in the photos as given."""
    sequences: tuple[int, ...]
    """For each place, the counter that its number belongs to; -1 where the name has none.
    Inside one counter the order is the camera's own."""


@dataclass(frozen=True, slots=True)
class _File:
    number: int
    prefix: str
    suffix: str
    name: str
    at: int


def file_order(photos: Sequence[Photo]) -> FileOrder:
    """Put photos in the order in which their camera wrote them, whatever order they come in.

    Numbers may go from 9999 on to 0001, and on through folders such as 100MEDIA and 101MEDIA.
    Two cards with like names are told apart by the order in which they were scanned (photo ids).
    """
    folders: dict[tuple[int, str], list[_File]] = defaultdict(list)
    for card, at in _cards(photos):
        folder, _, name = photos[at].file.rpartition("/")
        folders[card, folder].append(_file(name, at))
    labels: dict[tuple[object, ...], int] = {}
    places: list[int] = []
    sequences: list[int] = []
    for (card, folder), files in sorted(folders.items(), key=lambda pair: pair[0]):
        for label, file in _in_folder(files, folder):
            places.append(file.at)
            key = (card, *label)
            known = labels.setdefault(key, len(labels)) if label else UNKNOWN_ORDER
            sequences.append(known)
    return FileOrder(tuple(places), tuple(sequences))


def _cards(photos: Sequence[Photo]) -> Iterator[tuple[int, int]]:
    """Give each photo its card: a file name that comes again opens the next card."""
    card = 0
    seen: set[str] = set()
    for at in sorted(range(len(photos)), key=lambda at: (photos[at].id, photos[at].file)):
        file = photos[at].file
        if file in seen:
            card += 1
            seen = set()
        seen.add(file)
        yield card, at


def _file(name: str, at: int) -> _File:
    stem = name.rpartition(".")[0] or name
    runs = list(_NUMBER.finditer(stem))
    if not runs or len(runs[-1][0]) > _MOST_DIGITS:
        return _File(-1, stem, "", name, at)
    last = runs[-1]
    return _File(int(last[0]), stem[: last.start()], stem[last.end() :], name, at)


def _in_folder(files: Sequence[_File], folder: str) -> Iterator[tuple[tuple[object, ...], _File]]:
    """Give the files of one folder in order, each with the name of its counter (empty: none)."""
    counted = [file for file in files if file.number >= 0]
    for file in sorted((file for file in files if file.number < 0), key=lambda file: file.name):
        yield (), file
    if len({file.number for file in counted}) == len(counted):
        above, _, own = folder.rpartition("/")
        family = (above, "") if _CAMERA_FOLDER.match(own) else (folder, "")
        for file in _rotated(counted):
            yield family, file
        return
    counters: dict[tuple[str, str], list[_File]] = defaultdict(list)
    for file in counted:
        counters[file.prefix, file.suffix].append(file)
    for key, some in sorted(counters.items()):
        for file in _rotated(some):
            yield (folder, *key), file


def _rotated(files: Sequence[_File]) -> list[_File]:
    """Sort by number; where the numbers went from 9999 on to 0001, begin behind the gap."""
    ordered = sorted(files, key=lambda file: (file.number, file.name))
    if not ordered or ordered[0].number > _WRAPS_TO or ordered[-1].number < _WRAPS_FROM:
        return ordered
    gap, start = max(
        (ordered[at].number - ordered[at - 1].number, at) for at in range(1, len(ordered))
    )
    return ordered[start:] + ordered[:start] if gap >= _WRAP_GAP else ordered
