"""Decide in which order a camera wrote the files of a placement, by their folders and numbers."""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import itemgetter

from core.model import Photo

UNKNOWN_ORDER = -1
_LAST_NUMBER = re.compile(r"(\d{3,})(?:\D|\d{1,2}(?!\d))*$")
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


_File = tuple[int, str, str, str, int]
"""Number (-1: none), what stands before and behind it, name, position in the photos as given."""


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
    for (card, folder), files in sorted(folders.items(), key=itemgetter(0)):
        for label, some in _counters(files, folder):
            key = (card, *label)
            number = labels.setdefault(key, len(labels)) if label else UNKNOWN_ORDER
            places += [at for *_, at in some]
            sequences += [number] * len(some)
    return FileOrder(tuple(places), tuple(sequences))


def piece(photos: Sequence[Photo], first: int | None, last: int | None) -> list[int]:
    """Give where the photos of a piece of a card stand, in the order in which they were written.

    `first` and `last` are ids of photos, None: the card's ends. Empty where one is not there.
    """
    places = file_order(photos).places
    ids = [photos[at].id for at in places]
    if (first is not None and first not in ids) or (last is not None and last not in ids):
        return []
    start = 0 if first is None else ids.index(first)
    stop = len(ids) if last is None else ids.index(last) + 1
    return list(places[start:stop])


def _cards(photos: Sequence[Photo]) -> Iterator[tuple[int, int]]:
    """Give each photo its card: a file name that comes again opens the next card."""
    if len({photo.file for photo in photos}) == len(photos):
        yield from ((0, at) for at in range(len(photos)))
        return
    card = 0
    seen: set[str] = set()
    for at in sorted(range(len(photos)), key=lambda at: (photos[at].id, photos[at].file)):
        if photos[at].file in seen:
            card += 1
            seen = set()
        seen.add(photos[at].file)
        yield card, at


def _file(name: str, at: int) -> _File:
    stem = name.rpartition(".")[0] or name
    last = _LAST_NUMBER.search(stem)
    if last is None or last.end(1) - last.start(1) > _MOST_DIGITS:
        return -1, stem, "", name, at
    return int(last[1]), stem[: last.start(1)], stem[last.end(1) :], name, at


def _counters(
    files: Sequence[_File], folder: str
) -> Iterator[tuple[tuple[object, ...], list[_File]]]:
    """Give the files of one folder by counter, each in order; an empty name: no counter."""
    yield (), sorted((file for file in files if file[0] < 0), key=itemgetter(3))
    counted = [file for file in files if file[0] >= 0]
    if len({file[0] for file in counted}) == len(counted) and _share_one(counted):
        above, _, own = folder.rpartition("/")
        yield (above, "") if _CAMERA_FOLDER.match(own) else (folder, ""), _rotated(counted)
        return
    counters: dict[tuple[str, str], list[_File]] = defaultdict(list)
    for file in counted:
        counters[file[1:3]].append(file)
    for key, some in sorted(counters.items()):
        yield (folder, *key), _rotated(some)


def _share_one(files: Sequence[_File]) -> bool:
    """Say whether files of several names may share one counter: no name holds a date as well."""
    names = {(prefix, suffix) for _, prefix, suffix, *_ in files}
    return len(names) == 1 or not any(_LAST_NUMBER.search(prefix) for prefix, _ in names)


def _rotated(files: Sequence[_File]) -> list[_File]:
    """Sort by number; where the numbers went from 9999 on to 0001, begin behind the gap."""
    ordered = sorted(files, key=itemgetter(0, 3))
    if not ordered or ordered[0][0] > _WRAPS_TO or ordered[-1][0] < _WRAPS_FROM:
        return ordered
    gap, start = max((ordered[at][0] - ordered[at - 1][0], at) for at in range(1, len(ordered)))
    return ordered[start:] + ordered[:start] if gap >= _WRAP_GAP else ordered
