"""Decide what a scan adds to the study: new files, changed files, copies, and what it says.

Reading headers is decided in cards; here they meet what the study knows already.
"""

import difflib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from core import cards
from core.cards import FoundFile, ReadFile
from core.errors import CardError
from core.model import ALSO_ON
from core.store import Candidate, Database, KnownFile, NewPhoto, logs
from core.store import cards as store

BATCH = 500
"""Files held in memory, and kept together in one transaction."""
NEAR = 0.7
"""How alike (difflib) a name is that may have been meant (a judgement)."""

Progress = Callable[[int, int], None]
"""Told how many files are done, and of how many."""


@dataclass(slots=True)
class ScanReport:
    """What a scan found, counted by files."""

    placement: str
    folder: str
    files: int = 0
    """Every file met."""
    new: int = 0
    known: int = 0
    changed: int = 0
    """Known files whose content is no longer what it was."""
    photos: int = 0
    """New pictures that count: no copies."""
    copies: int = 0
    others: int = 0
    """New files that are no pictures."""
    gone: int = 0
    """Known files that are no longer on the card; the study keeps them."""
    moved_here: int = 0
    """Photos known from another folder that is no longer there: the same card, seen again."""
    first_shown: datetime | None = None
    last_shown: datetime | None = None
    """First and last time that the camera showed on new photos (naive)."""
    problems: list[tuple[str, str]] = field(default_factory=list)
    """File and what is wrong with it, new files only."""
    unlogged: str = ""
    """That there is a camera log without this placement, in words; else empty."""


def refuse_misspelt(connection: Any, placement: str) -> str:
    """Refuse a placement that the camera log spells otherwise; CardError names its spelling.

    Capitals, blanks and marks tell no two placements apart. Gives, in words, that a name is not
    in the camera log, with the nearest that is; nothing where it is, or where there is no log.
    """
    logged = [one.placement for one in logs.placements(connection)]
    if placement in logged or not logged:
        return ""
    like = next((one for one in logged if _letters(one) == _letters(placement)), None)
    if like is not None:
        raise CardError(
            f"Placement {placement!r} is {like!r} in the camera log. Name it so; another placement "
            "needs a name that differs by more than capitals, blanks and marks."
        )
    near = difflib.get_close_matches(placement, logged, n=1, cutoff=NEAR)
    meant = (
        f" Was {near[0]!r} meant? Then move the card there: scan it under that name with --move, "
        "or move it on the Cards page."
        if near
        else ""
    )
    return (
        f"Placement {placement!r} is not in the camera log, so its visits reach no tray until it "
        f"is.{meant}"
    )


def _letters(name: str) -> str:
    return "".join(one for one in name.casefold() if one.isalnum())


def scan(
    database: Database,
    folder: Path,
    placement: str,
    *,
    file_times: ZoneInfo | None = None,
    progress: Progress | None = None,
) -> ScanReport:
    """Add what is new in a card folder to a placement; nothing on the card is changed.

    Files are kept in batches, so an interrupted scan is continued by scanning again. A folder
    that holds no photo is refused before anything is kept.

    Raises
    ------
    CardError
        No such folder, no photo in it, it is known as the card of another placement, or the
        camera log spells the placement otherwise.
    """
    folder = folder.expanduser().resolve()
    found = list(cards.find_files(folder))
    with database.read() as connection:
        unlogged = refuse_misspelt(connection, placement)
    report = ScanReport(placement, str(folder), files=len(found), unlogged=unlogged)
    if not found:
        raise CardError(f"The folder {str(folder)!r} is empty. Name the folder with the photos.")
    known = _known_files(database, folder, placement)
    report.gone = len(known.keys() - {one.file for one in found})
    todo = [one for one in found if _is_news(one, known.get(one.file))]
    report.known = len(found) - len(todo)
    if progress:
        progress(report.known, report.files)
    batches = _batches(_read(todo, file_times))
    for batch in _from_first_photo(batches, report, known=bool(known)):
        _keep(database, folder, placement, batch, known, report)
        if progress:
            done = report.known + report.new + report.changed + report.moved_here
            progress(min(done, report.files), report.files)
    return report


def _read(todo: list[FoundFile], file_times: ZoneInfo | None) -> Iterator[ReadFile]:
    return cards.read_files(todo, file_times=file_times)


def _known_files(database: Database, folder: Path, placement: str) -> dict[str, KnownFile]:
    with database.read() as connection:
        for card in store.cards(connection):
            if Path(card.folder) != folder:
                continue
            if card.placement != placement:
                raise CardError(
                    f"The folder {str(folder)!r} is known as the card of placement "
                    f"{card.placement!r}. To put it under {placement!r}, scan it with --move, "
                    "or move the card on the Cards page."
                )
            return store.known_files(connection, card.id)
    return {}


def _is_news(found: FoundFile, known: KnownFile | None) -> bool:
    if known is None:
        return True
    return (found.size, found.changed_ns) != (known.size, known.changed_ns)


def _batches(read: Iterator[ReadFile]) -> Iterator[list[ReadFile]]:
    while batch := list(islice(read, BATCH)):
        yield batch


def _from_first_photo(
    batches: Iterable[list[ReadFile]], report: ScanReport, *, known: bool
) -> Iterator[list[ReadFile]]:
    """Hold batches back until a photo is met, so that a wrong folder leaves no trace."""
    held: list[list[ReadFile]] = []
    met = known
    for batch in batches:
        held.append(batch)
        met = met or any(one.header.is_photo for one in batch)
        while met and held:
            yield held.pop(0)
    if held:
        first = held[0][0].found.file
        raise CardError(
            f"The folder {report.folder!r} holds {report.files} files and no photo (the first is "
            f"{first!r}). Name the folder that the camera's card was copied to."
        )


def _keep(
    database: Database,
    folder: Path,
    placement: str,
    batch: list[ReadFile],
    known: dict[str, KnownFile],
    report: ScanReport,
) -> None:
    """Keep one batch whole or not at all."""
    with database.begin() as connection:
        card = store.put_card(connection, placement, str(folder), datetime.now(UTC))
        seen = [(known[one.found.file], one) for one in batch if one.found.file in known]
        younger = {old.id: one.found.changed_ns for old, one in seen if _same_content(old, one)}
        changed = {old.id: _changed(one) for old, one in seen if old.id not in younger}
        store.set_changed_ns(connection, younger)
        store.set_photos(connection, changed)
        report.known += len(younger)
        report.changed += len(changed)
        new = [one for one in batch if one.found.file not in known]
        keys = {_key(one) for one in new if one.fingerprint and one.header.is_photo}
        same = store.same_content(connection, keys)
        again = {
            twin.id: one for one in new if (twin := _same_card(one, same, placement)) is not None
        }
        store.set_card_of_photos(connection, list(again), card)
        report.moved_here += len(again)
        fresh = [one for one in new if all(one is not other for other in again.values())]
        _add(connection, card, fresh, same, report)


def _add(
    connection: Any,
    card: int,
    fresh: list[ReadFile],
    same: dict[tuple[int, str], list[Candidate]],
    report: ScanReport,
) -> None:
    """Add files, each copy pointing to the file it repeats."""
    rows: list[NewPhoto] = []
    originals: dict[tuple[int, str], ReadFile] = {}
    later: list[tuple[int, ReadFile]] = []
    for one in fresh:
        row, copy = _row(one), False
        if one.header.is_photo and one.fingerprint:
            twins = same.get(_key(one), [])
            known = _twin(one, [twin for twin in twins if twin.placement == report.placement])
            elsewhere = _twin(one, [twin for twin in twins if twin.placement != report.placement])
            first = originals.setdefault(_key(one), one)
            if known is not None:
                copy = True
                row = _as_copy(row, known[0].file, certain=known[1])
                row = replace(row, copy_of=known[0].copy_of or known[0].id)
            elif first is not one and _same_bytes(first.found.path, one.found.path):
                copy = True
                row = _as_copy(row, first.found.file, certain=True)
                later.append((len(rows), first))
            elif elsewhere is not None:
                twin = elsewhere[0]
                row = _with_problem(row, f"{ALSO_ON} {twin.placement} as {twin.file}")
        rows.append(row)
        _count(report, row, copy=copy)
    ids = store.add_photos(connection, card, rows)
    at = {row.file: id_ for row, id_ in zip(rows, ids, strict=True)}
    for index, first in later:
        store.set_copy_of(connection, ids[index], at[first.found.file])


def _count(report: ScanReport, row: NewPhoto, *, copy: bool) -> None:
    report.new += 1
    header = row.header
    if copy:
        report.copies += 1
    elif header.is_photo:
        report.photos += 1
    else:
        report.others += 1
    if header.problem:
        report.problems.append((row.file, header.problem))
    if header.camera_time is not None and not copy:
        first, last = report.first_shown, report.last_shown
        report.first_shown = min(first or header.camera_time, header.camera_time)
        report.last_shown = max(last or header.camera_time, header.camera_time)


def _same_content(old: KnownFile, one: ReadFile) -> bool:
    """Say whether a file that is younger than it was still holds what it held."""
    return (
        old.size == one.found.size
        and bool(one.fingerprint)
        and (old.fingerprint == one.fingerprint)
    )


def _key(one: ReadFile) -> tuple[int, str]:
    return one.found.size, one.fingerprint


def _row(one: ReadFile) -> NewPhoto:
    found = one.found
    return NewPhoto(found.file, found.size, found.changed_ns, one.fingerprint, one.header)


def _with_problem(row: NewPhoto, words: str) -> NewPhoto:
    problem = "; ".join(filter(None, (row.header.problem, words)))
    return replace(row, header=replace(row.header, problem=problem))


def _changed(one: ReadFile) -> NewPhoto:
    return _with_problem(_row(one), "changed since it was first scanned")


def _as_copy(row: NewPhoto, file: str, *, certain: bool) -> NewPhoto:
    words = f"a copy of {file}, counted nowhere"
    if not certain:
        words += " (that file is not at hand, so size and both ends were compared)"
    return _with_problem(row, words)


def _same_card(
    one: ReadFile, same: dict[tuple[int, str], list[Candidate]], placement: str
) -> Candidate | None:
    """Find the photo that this file is, when its card was mounted elsewhere before."""
    if not (one.fingerprint and one.header.is_photo):
        return None
    for twin in same.get(_key(one), []):
        old = Path(twin.folder, *twin.file.split("/"))
        if twin.placement == placement and twin.file == one.found.file and not old.exists():
            return twin
    return None


def _twin(one: ReadFile, twins: list[Candidate]) -> tuple[Candidate, bool] | None:
    """Find the file that this one repeats byte for byte, and say whether that is certain."""
    for twin in twins:
        path = Path(twin.folder, *twin.file.split("/"))
        if not path.exists():
            return twin, False
        if _same_bytes(path, one.found.path):
            return twin, True
    return None


def _same_bytes(one: Path, other: Path) -> bool:
    """Compare two files whole; a file that cannot be read equals nothing."""
    try:
        return cards.content_hash(one) == cards.content_hash(other)
    except OSError:
        return False
