"""Decide where the copies of photos are kept, which are missing, and how many are made at once.

How a copy looks is decided in `pictures`. All of them can be deleted at any time.
"""

import contextlib
import os
import shutil
import threading
import time
from collections import deque
from collections.abc import Collection, Generator, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from core import pictures
from core.cards.thumbnails import thumbnail
from core.errors import CardError, StudyError
from core.pictures import CANNOT_BE_SHOWN, REVIEW_PX, STRIP_PX, Written, write_copies
from core.store import Database, Original, Raises, base_version
from core.store import cards as card_store
from core.store import originals as store
from core.workers import one_a_core, pool

__all__ = ["FOLDER_NAME", "Made", "Original", "Previews", "Stock"]

FOLDER_NAME = "previews"
BATCH = 25
"""Photos whose hashes are written down together, and faults: those change what `photos` lists."""
_AHEAD = 2  # photos that each worker has before it: few, so that what is wanted now comes soon
_IN_ONE_FOLDER = 1000
_PART, _LEFT_BEHIND_S = ".part", 3600


@dataclass(frozen=True, slots=True)
class Made:
    """What became of one photo."""

    original: Original
    content_hash: str = ""
    size: int = 0
    """Of the copies that were written. [bytes]"""
    fault: str = ""
    """Why it can have none, beginning with CANNOT_BE_SHOWN: its original is damaged."""
    away: str = ""
    """Why it has none for now, in words: its original cannot be read."""


@dataclass(frozen=True, slots=True)
class Stock:
    """How far a placement's copies have come."""

    total: int
    """Photos that count."""
    damaged: int
    """Those that can have no copy."""
    missing: tuple[Original, ...]
    """Those that have none yet and whose card is at hand, by id."""
    away: int
    """Those that have none and whose card is not at hand."""

    @property
    def made(self) -> int:
        """Count the photos that have their copies."""
        return self.total - self.damaged - len(self.missing) - self.away


class Previews:
    """The copies of one study; may be used from many threads at once."""

    def __init__(self, database: Database, folder: Path) -> None:
        self.folder = folder
        self._database = database
        self._turn = threading.BoundedSemaphore(one_a_core())

    def mark(self) -> tuple[int, frozenset[str]]:
        """Give what changes with every scan and log, and with each card put in or taken out."""
        with self._database.read() as connection:
            version, folders = base_version(connection), store.card_folders(connection)
        return version, frozenset(folder for folder in folders if _is_there(folder))

    def placements(self, only: str | None = None) -> list[str]:
        """Name the placements that have photos, or that one; CardError when it has none."""
        with self._database.read() as connection:
            known = list(card_store.photo_counts(connection))
        if only is not None and only not in known:
            others = f", or name one of: {', '.join(known)}" if known else ""
            raise CardError(f"Placement {only!r} has no photos. Scan its card first{others}.")
        return known if only is None else [only]

    def placement_of(self, photo: int) -> str:
        """Name a photo's placement; empty where the study does not have the photo."""
        with self._database.read() as connection:
            found = store.originals_of(connection, [photo]).get(photo)
        return found.placement if found else ""

    def stock(self, placement: str) -> Stock:
        """Look how far a placement's copies have come; its originals are not asked."""
        with self._database.read() as connection:
            originals = store.originals(connection, placement)
        return stock(self.folder, originals)

    def make(
        self, wanted: Iterable[Original], *, workers: int | None = None
    ) -> Generator[Made, None, None]:
        """Make the copies that are missing, in the order given, and tell of each photo.

        In `workers` processes (None: one for each core), which let everything else go first. Only
        a few photos are taken from `wanted` ahead of what was told. Closing the generator, or
        Ctrl-C, ends the processes; what was made is there and is not made again.

        Raises
        ------
        StudyError
            The copies or the database cannot be written.
        """
        noted: list[Made] = []
        faults: list[Made] = []
        making = _made(self.folder, iter(wanted), workers or one_a_core())
        try:
            for one in making:
                noted.append(one)
                faults += [one] if one.fault or CANNOT_BE_SHOWN in one.original.problem else []
                if len(noted) >= BATCH:
                    note_hashes(self._database, noted)
                    noted.clear()
                if len(faults) >= BATCH:
                    note_faults(self._database, faults)
                    faults.clear()
                yield one
        finally:
            making.close()
            note_hashes(self._database, noted)
            note_faults(self._database, faults)

    def original(self, photo: int) -> Original:
        """Give a photo whose original is at hand; CardError in words for any other."""
        with self._database.read() as connection:
            found = store.originals_of(connection, [photo]).get(photo)
        if found is None:
            raise CardError(f"The study has no photo number {photo}. Open the placement again.")
        if not found.path.is_file():
            raise CardError(
                f"The original {str(found.path)!r} is not at hand. Put the card in, or scan the "
                "folder where its copy is now; times, visits and tags are kept."
            )
        return found

    def editions(self, photos: Collection[int]) -> dict[int, str]:
        """Give what tells one content of a photo's file from another, as at its last scan, by id.

        Addresses of pictures carry it: a browser keeps what it got under one.
        """
        with self._database.read() as connection:
            return store.editions(connection, photos)

    def kept(self, original: Original, pixels: int) -> Path | None:
        """Give the copy of an original as it is now; None where there is none yet."""
        return kept(self.folder, original, pixels)

    def copy(self, original: Original, pixels: int) -> Path | bytes:
        """Give a photo's copy, made now where it is not there; its content if it cannot be kept.

        CardError says in words why the original cannot be shown.
        """
        if not original.is_photo:
            raise CardError(f"{original.file} is no photo: {original.problem}.")
        with self._turn:
            found = kept(self.folder, original, pixels)
            return found or self._made_now(original, pixels)

    def _made_now(self, original: Original, pixels: int) -> Path | bytes:
        try:
            targets = _targets(self.folder, original)
        except OSError:
            raise CardError(
                f"The original {original.file} is not at hand. Put the card in."
            ) from None
        try:
            written = write_copies(original.path, *targets.values())
        except StudyError:  # the folder cannot be written: show the picture all the same
            copies = pictures.copies(original.path)
            return copies.review if pixels == REVIEW_PX else copies.strip
        made = Made(original, written.content_hash, written.size, written.fault)
        with contextlib.suppress(StudyError):  # to be noted when the copies are looked over
            note_hashes(self._database, [made])
            note_faults(self._database, [made])
        if written.fault:
            raise CardError(f"{original.file} {written.fault}.")
        return targets[pixels]

    def last(self, photo: int, pixels: int) -> Path | None:
        """Give the newest copy of a photo of the study, whether its original is at hand or not."""
        with self._database.read() as connection:
            known = photo in store.originals_of(connection, [photo])
        return newest(self.folder, [photo], pixels).get(photo) if known else None

    def thumbnail(self, original: Original) -> bytes | None:
        """Give the small picture in a photo's own header, as a JPEG file; None: it has none."""
        return thumbnail(original.path)

    def size(self) -> int:
        """Give how much room the copies take. [bytes]"""
        return sum(_size(entry) for entry in _entries(self.folder))

    def clear(self) -> None:
        """Delete all copies; what cannot be deleted stays."""
        if self.folder.is_dir():
            for inside in self.folder.iterdir():
                shutil.rmtree(inside, ignore_errors=True)

    def forget(self, photos: Collection[int]) -> None:
        """Delete the copies of photos that left the study."""
        gone = set(photos)
        for folder in {_folder(self.folder, photo) for photo in gone}:
            for entry in _listed(folder):
                if _photo_of(entry.name) in gone:
                    with contextlib.suppress(OSError):
                        os.unlink(entry.path)  # noqa: PTH108  (a str from scandir, kept as it is)


# --- where copies are ----------------------------------------------------------------------------


def copy_path(folder: Path, photo: int, size: int, changed_ns: int, pixels: int) -> Path:
    """Name the copy of an original of that size [bytes], changed at that time [ns since 1970].

    A changed original has another name, so an old copy is never taken for its own.
    """
    return _folder(folder, photo) / f"{photo}-{size:x}-{changed_ns:x}-{pixels}.jpg"


def kept(folder: Path, original: Original, pixels: int) -> Path | None:
    """Give the copy of an original as it is now; None where there is none, or it is not at hand."""
    with contextlib.suppress(OSError):
        path = _targets(folder, original)[pixels]
        return path if _is_whole(path) else None
    return None


def newest(folder: Path, photos: Collection[int], pixels: int) -> dict[int, Path]:
    """Give the newest copy of each of these photos that has one, by photo id."""
    asked, found = set(photos), dict[int, "os.DirEntry[str]"]()
    for one in {_folder(folder, photo) for photo in asked}:
        for entry in _listed(one):
            photo = _photo_of(entry.name)
            if photo not in asked or not entry.name.endswith(f"-{pixels}.jpg"):
                continue
            if photo not in found or _changed(entry) > _changed(found[photo]):
                found[photo] = entry
    return {photo: Path(entry.path) for photo, entry in found.items() if _size(entry)}


def stock(folder: Path, originals: Sequence[Original]) -> Stock:
    """Compare the photos of a placement with the copies that are there."""
    there = _there(folder, originals)
    at_hand = {card: _is_there(card) for card in {one.folder for one in originals}}
    damaged, missing, away = 0, [], 0
    for one in originals:
        if one.hashed and CANNOT_BE_SHOWN in one.problem:
            damaged += 1
        elif one.hashed and _names(one) <= there:
            continue
        elif at_hand[one.folder]:
            missing.append(one)
        else:
            away += 1
    return Stock(len(originals), damaged, tuple(missing), away)


def _there(folder: Path, originals: Sequence[Original]) -> set[str]:
    """Name the copies in the folders of these photos; sweep out what was left half written."""
    there: set[str] = set()
    for one in {_folder(folder, original.id) for original in originals}:
        for entry in _listed(one):
            if not entry.name.endswith(_PART):
                there |= {entry.name} if _size(entry) else set()
            elif _changed(entry) < (time.time() - _LEFT_BEHIND_S) * 1e9:
                with contextlib.suppress(OSError):
                    os.unlink(entry.path)  # noqa: PTH108  (a str from scandir, kept as it is)
    return there


def _names(one: Original) -> set[str]:
    stem = f"{one.id}-{one.size:x}-{one.changed_ns:x}"
    return {f"{stem}-{REVIEW_PX}.jpg", f"{stem}-{STRIP_PX}.jpg"}


def _targets(folder: Path, original: Original) -> dict[int, Path]:
    """Name both copies of an original as it is now; OSError where it is not at hand."""
    now = original.path.stat()
    return {
        pixels: copy_path(folder, original.id, now.st_size, now.st_mtime_ns, pixels)
        for pixels in (REVIEW_PX, STRIP_PX)
    }


def _folder(folder: Path, photo: int) -> Path:
    return folder / f"{photo // _IN_ONE_FOLDER:05}"


def _is_whole(copy: Path) -> bool:
    """Say whether a copy is there; after a loss of power it may be there and empty."""
    return copy.is_file() and copy.stat().st_size > 0


def _is_there(folder: str) -> bool:
    return os.path.isdir(folder)  # noqa: PTH112  (as it is held)


def _photo_of(name: str) -> int:
    number = name.partition("-")[0]
    return int(number) if number.isdecimal() else 0


def _changed(entry: "os.DirEntry[str]") -> int:
    with contextlib.suppress(OSError):  # it was deleted, or got its own name, since it was listed
        return entry.stat().st_mtime_ns
    return 0


def _size(entry: "os.DirEntry[str]") -> int:
    with contextlib.suppress(OSError):  # as above
        return entry.stat().st_size
    return 0


def _entries(folder: Path) -> Iterator["os.DirEntry[str]"]:
    for inside in _listed(folder):
        if inside.is_dir():
            yield from _listed(Path(inside.path))


def _listed(folder: Path) -> list["os.DirEntry[str]"]:
    try:
        with os.scandir(folder) as entries:
            return list(entries)
    except OSError:
        return []


# --- making many ---------------------------------------------------------------------------------

_Waiting = tuple[Original, "Future[Written] | Made | None", list[Path]]


def _made(folder: Path, wanted: Iterator[Original], workers: int) -> Generator[Made, None, None]:
    """Make copies in worker processes; where one was killed, new ones are started."""
    done = False
    while not done:
        with pool(workers, background=True) as makers:
            done = yield from _through(makers, folder, wanted, workers * _AHEAD)


def _through(
    makers: ProcessPoolExecutor, folder: Path, wanted: Iterator[Original], ahead: int
) -> Generator[Made, None, bool]:
    """Hand photos out and collect them in the same order; say whether all went through."""
    waiting: deque[_Waiting] = deque()
    whole = True
    for original in wanted:
        waiting.append(_handed_out(makers, folder, original))
        whole = waiting[-1][1] is not None
        if not whole:
            break
        if len(waiting) >= ahead:
            yield _collected(*waiting.popleft())
    while waiting:
        yield _collected(*waiting.popleft())
    return whole


def _handed_out(makers: ProcessPoolExecutor, folder: Path, original: Original) -> _Waiting:
    """Give a photo to a worker; what is there already, or cannot be, is told at once."""
    try:
        targets = list(_targets(folder, original).values())
        if original.hashed and all(map(_is_whole, targets)):
            return original, Made(original), []
    except OSError:
        return original, Made(original, away="its original is not at hand"), []
    try:
        return original, makers.submit(write_copies, original.path, *targets), targets
    except BrokenExecutor:
        return original, None, targets


def _collected(
    original: Original, future: "Future[Written] | Made | None", targets: list[Path]
) -> Made:
    """Tell what became of a photo; one whose worker was killed is made here."""
    if isinstance(future, Made):
        return future
    try:
        try:
            written = future.result() if future else write_copies(original.path, *targets)
        except BrokenExecutor:
            written = write_copies(original.path, *targets)
    except CardError as fault:
        return Made(original, away=str(fault))
    return Made(original, written.content_hash, written.size, written.fault)


# --- what the study is told ----------------------------------------------------------------------


def note_hashes(database: Database, made: Iterable[Made]) -> None:
    """Hold the hashes of what was read whole; no result hangs on them."""
    hashes: dict[int, str | None] = {
        one.original.id: one.content_hash for one in made if one.content_hash
    }
    if hashes:
        with database.begin(Raises.NOTHING) as connection:
            store.set_content_hashes(connection, hashes)


def note_faults(database: Database, made: Iterable[Made]) -> None:
    """Hold what was found wrong with originals, beside what was known; nothing new, no change."""
    faults = {one.original.id: one.fault for one in made if one.content_hash}
    with database.read() as connection:
        news = _problems(store.originals_of(connection, faults), faults)
    if news:
        with database.begin(Raises.ALL) as connection:
            known = store.originals_of(connection, news)
            store.set_photo_problems(connection, _problems(known, faults))


def _problems(known: dict[int, Original], faults: dict[int, str]) -> dict[int, str]:
    """Put each fault behind what else is said of the file; one that no longer holds goes."""
    news = {}
    for photo, one in known.items():
        others = [p for p in one.problem.split("; ") if p and not p.startswith(CANNOT_BE_SHOWN)]
        problem = "; ".join(filter(None, [*others, faults[photo]]))
        if problem != one.problem:
            news[photo] = problem
    return news
