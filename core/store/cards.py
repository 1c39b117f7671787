"""Decide how cards and the files on them are held, moved to another placement, and forgotten.

What a file's header says is decided where cards are scanned.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from operator import attrgetter
from typing import Any

from sqlalchemy import (
    Connection,
    Row,
    Select,
    Text,
    and_,
    bindparam,
    case,
    func,
    select,
    type_coerce,
)

from core.errors import CardError
from core.model import Header, Photo, TimeSource
from core.store.dialects import batches
from core.store.tables import CARDS, CODES_READ, PHOTOS, SCORES, TAGS
from core.store.tags import forget_tags


@dataclass(frozen=True, slots=True)
class CardRow:
    """A card folder as it was scanned last."""

    id: int
    placement: str
    folder: str
    scanned_at: datetime
    files: int
    """Every file met."""
    photos: int
    """Those that are pictures, copies of others too."""
    problems: int
    """Files with something wrong."""
    copies: int
    """Files that repeat another byte for byte."""


@dataclass(frozen=True, slots=True)
class KnownFile:
    """What tells whether a file has changed since it was read."""

    id: int
    size: int
    """[bytes]"""
    changed_ns: int
    """When the file system says it was changed last. [ns]"""
    problem: str
    fingerprint: str = ""


@dataclass(frozen=True, slots=True)
class NewPhoto:
    """A file of a card, read and not yet held."""

    file: str
    """Path below the card folder, `/` between the parts."""
    size: int
    """[bytes]"""
    changed_ns: int
    """When the file system says it was changed last. [ns]"""
    fingerprint: str
    """Of a part of the file: different for different files, but for rare ones."""
    header: Header = field(default_factory=Header)
    content_hash: str | None = None
    """Of the whole file; None until somebody needs it."""
    copy_of: int | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """A file that is held and may be the same as another one."""

    id: int
    placement: str
    card_id: int
    file: str
    folder: str
    content_hash: str | None
    copy_of: int | None


# --- cards ---------------------------------------------------------------------------------------


def put_card(connection: Connection, placement: str, folder: str, scanned_at: datetime) -> int:
    """Give the id of a placement's card folder, new or known, and note when it was scanned."""
    same = and_(CARDS.c.placement == placement, CARDS.c.folder == folder)
    known: int | None = connection.execute(select(CARDS.c.id).where(same)).scalar()
    if known is not None:
        connection.execute(CARDS.update().where(same).values(scanned_at=scanned_at))
        return known
    row = {"placement": placement, "folder": folder, "scanned_at": scanned_at}
    return _inserted(connection.execute(CARDS.insert(), row).inserted_primary_key)


def cards(connection: Connection) -> list[CardRow]:
    """Fetch all cards in the order they were first scanned, each with its numbers of files."""
    counted = select(
        CARDS.c.id,
        CARDS.c.placement,
        CARDS.c.folder,
        CARDS.c.scanned_at,
        func.count(PHOTOS.c.id),
        func.count(case((PHOTOS.c.is_photo, 1))),
        func.count(case((PHOTOS.c.problem != "", 1))),
        func.count(PHOTOS.c.copy_of),
    )
    rows = counted.outerjoin_from(CARDS, PHOTOS).group_by(CARDS.c.id).order_by(CARDS.c.id)
    return [CardRow(*cells) for cells in connection.execute(rows)]


def known_files(connection: Connection, card_id: int) -> dict[str, KnownFile]:
    """Fetch the files held of a card; ask inside the transaction that adds the others."""
    columns = (
        PHOTOS.c.id,
        PHOTOS.c.size,
        PHOTOS.c.changed_ns,
        PHOTOS.c.problem,
        PHOTOS.c.fingerprint,
    )
    rows = connection.execute(select(PHOTOS.c.file, *columns).where(PHOTOS.c.card_id == card_id))
    return {file: KnownFile(*known) for file, *known in rows}


def move_card(connection: Connection, card_id: int, placement: str) -> int:
    """Put a card with its photos and their tags on another placement; give its id from then on.

    Where that placement holds the same folder already, the two become one. CardError, and
    nothing moved, where both hold a file of the same name, or where a tag's run begins on this
    card and ends on another.
    """
    card = _card(connection, card_id)
    if card.placement == placement:
        return card_id
    _refuse_torn_runs(connection, card)
    same = and_(CARDS.c.placement == placement, CARDS.c.folder == card.folder)
    target: int | None = connection.execute(select(CARDS.c.id).where(same)).scalar()
    if target is not None:
        _refuse_same_files(connection, card, target, placement)
    here = PHOTOS.c.card_id == card_id
    on_card = TAGS.c.first_photo.in_(_ids_on(card_id))
    connection.execute(TAGS.update().where(on_card).values(placement=placement))
    values = {"placement": placement, "card_id": card_id if target is None else target}
    connection.execute(PHOTOS.update().where(here).values(values))
    if target is None:
        connection.execute(CARDS.update().where(CARDS.c.id == card_id).values(placement=placement))
        return card_id
    connection.execute(CARDS.delete().where(CARDS.c.id == card_id))
    return target


def forget_card(
    connection: Connection, card_id: int, *, with_tags: bool = False, at: datetime | None = None
) -> int:
    """Remove a card and its photos from the study, and give the number of tags that went too.

    CardError, and nothing removed, where there are tags on its photos, unless `with_tags`: then
    they are kept as JSON among the forgotten, with the time `at` (now where it is None). Copies
    of its photos on other cards take over: the earliest held becomes the one that counts.
    """
    card = _card(connection, card_id)
    numbers = _tags_on(connection, card_id)
    if numbers and not with_tags:
        tags = "one tag" if len(numbers) == 1 else f"{len(numbers)} tags"
        raise CardError(
            f"Card {card.folder} of {card.placement!r} has {tags} on its photos. Nothing was "
            "removed; say that the tags may go as well, or move the card in place of it."
        )
    forget_tags(connection, numbers, at or datetime.now(UTC))
    _pass_on_copies(connection, card_id)
    for table in (SCORES, CODES_READ):
        connection.execute(table.delete().where(table.c.photo_id.in_(_ids_on(card_id))))
    connection.execute(PHOTOS.delete().where(PHOTOS.c.card_id == card_id))
    connection.execute(CARDS.delete().where(CARDS.c.id == card_id))
    return len(numbers)


# --- photos --------------------------------------------------------------------------------------


def add_photos(connection: Connection, card_id: int, rows: Sequence[NewPhoto]) -> list[int]:
    """Add files to a card and give each its id, in the order given.

    A file that the card holds already is an integrity error; look at `known_files` first.
    """
    if not rows:
        return []
    placement = _card(connection, card_id).placement
    before = connection.execute(select(func.max(PHOTOS.c.id))).scalar() or 0
    card = {"card_id": card_id, "placement": placement}
    connection.execute(PHOTOS.insert(), [card | _cells(row) for row in rows])
    added = select(PHOTOS.c.file, PHOTOS.c.id).where(
        PHOTOS.c.card_id == card_id, PHOTOS.c.id > before
    )
    ids = dict(connection.execute(added).all())
    return [ids[row.file] for row in rows]


def set_photos(connection: Connection, rows: Mapping[int, NewPhoto]) -> None:
    """Hold what files say that were read again, by photo id; card and placement stay."""
    if rows:
        for some in batches(list(rows)):
            connection.execute(CODES_READ.delete().where(CODES_READ.c.photo_id.in_(some)))
        cells = [{"photo_id": photo} | _cells(row) for photo, row in rows.items()]
        connection.execute(PHOTOS.update().where(PHOTOS.c.id == bindparam("photo_id")), cells)


def set_changed_ns(connection: Connection, moments: Mapping[int, int]) -> None:
    """Hold when files were changed last, by photo id, their content being what it was."""
    if moments:
        cells = [{"photo_id": photo, "ns": ns} for photo, ns in moments.items()]
        same = PHOTOS.update().where(PHOTOS.c.id == bindparam("photo_id"))
        connection.execute(same.values(changed_ns=bindparam("ns")), cells)


def set_copy_of(connection: Connection, photo_id: int, copy_of: int | None) -> None:
    """Hold that a photo repeats another one; None: it does not."""
    this = PHOTOS.update().where(PHOTOS.c.id == photo_id)
    connection.execute(this.values(copy_of=copy_of))


def set_card_of_photos(connection: Connection, photo_ids: Collection[int], card_id: int) -> None:
    """Put photos on another card of their placement: the same card, seen in another folder.

    CardError where one is not of the card's placement; an integrity error where the card holds
    the file already.
    """
    card = _card(connection, card_id)
    for some in batches(list(photo_ids)):
        these = PHOTOS.c.id.in_(some)
        elsewhere = select(PHOTOS.c.file).where(these, PHOTOS.c.placement != card.placement)
        stranger = connection.execute(elsewhere).scalar()
        if stranger is not None:
            raise CardError(
                f"Photo {stranger} is not of placement {card.placement!r}, to which card "
                f"{card.folder} belongs. Move its card first."
            )
        connection.execute(PHOTOS.update().where(these).values(card_id=card_id))


def same_content(
    connection: Connection, keys: Collection[tuple[int, str]]
) -> dict[tuple[int, str], list[Candidate]]:
    """Fetch the files held that have one of these sizes [bytes] and fingerprints, oldest first.

    A key without any such file is left out.
    """
    found: dict[tuple[int, str], list[Candidate]] = {}
    columns = [PHOTOS.c[name] for name in ("id", "placement", "card_id", "file")]
    columns += [CARDS.c.folder, PHOTOS.c.content_hash, PHOTOS.c.copy_of]
    wanted = set(keys)
    for some in batches(sorted({fingerprint for _, fingerprint in wanted})):
        rows = (
            select(PHOTOS.c.size, PHOTOS.c.fingerprint, *columns)
            .join_from(PHOTOS, CARDS)
            .where(PHOTOS.c.fingerprint.in_(some))
            .order_by(PHOTOS.c.id)
        )
        for size, fingerprint, *cells in connection.execute(rows):
            if (size, fingerprint) in wanted:
                found.setdefault((size, fingerprint), []).append(Candidate(*cells))
    return found


def photos(connection: Connection, placement: str) -> list[Photo]:
    """Fetch every file of a placement, copies and files that are no photos too, ordered by file.

    The true time and the kind are not held; they are worked out from the clock checks.
    """
    rows = connection.execute(_SELECT_PHOTOS.where(PHOTOS.c.placement == placement)).all()
    found = [_photo(cells) for cells in rows]
    found.sort(key=attrgetter("file", "id"))
    return found


def photo(connection: Connection, photo_id: int) -> Photo:
    """Fetch one file; CardError where the study does not hold it."""
    cells = connection.execute(_SELECT_PHOTOS.where(PHOTOS.c.id == photo_id)).first()
    if cells is None:
        raise CardError(
            f"Photo {photo_id} is not in the study: its card was forgotten. Choose another photo."
        )
    return _photo(cells)


def photo_counts(connection: Connection) -> dict[str, int]:
    """Count the photos of each placement that has any, copies and other files left out."""
    counted = select(PHOTOS.c.placement, func.count()).where(
        PHOTOS.c.is_photo, PHOTOS.c.copy_of.is_(None)
    )
    rows = connection.execute(counted.group_by(PHOTOS.c.placement))
    return dict(sorted((placement, number) for placement, number in rows))


def camera_model(connection: Connection, placement: str) -> str:
    """Give the maker and model that most photos of a placement name, `-` between; else nothing."""
    many = func.count().label("many")
    asked = (
        select(PHOTOS.c.make, PHOTOS.c.model, many)
        .where(PHOTOS.c.placement == placement, PHOTOS.c.model != "")
        .group_by(PHOTOS.c.make, PHOTOS.c.model)
        .order_by(many.desc(), PHOTOS.c.make, PHOTOS.c.model)
    )
    row = connection.execute(asked).first()
    return "" if row is None else "-".join(filter(None, (row.make.strip(), row.model.strip())))


def placements_with_photos(connection: Connection) -> list[str]:
    """Name the placements that have at least one file, sorted."""
    return sorted(connection.scalars(select(PHOTOS.c.placement).distinct()))


# --- inside --------------------------------------------------------------------------------------

# Times and sources are read as text and turned into values in `_photo`, which is much quicker
# than by the columns' own types: a placement may have a hundred thousand photos.
_SELECT_PHOTOS: Select[Any] = select(
    PHOTOS.c.id,
    PHOTOS.c.placement,
    PHOTOS.c.file,
    type_coerce(PHOTOS.c.camera_time, Text),
    PHOTOS.c.subsec,
    PHOTOS.c.offset,
    type_coerce(PHOTOS.c.time_source, Text),
    PHOTOS.c.problem,
    PHOTOS.c.copy_of,
    PHOTOS.c.is_photo,
)
_SOURCES = {source.value: source for source in TimeSource}


def _photo(cells: Sequence[Any]) -> Photo:
    photo_id, placement, file, shown, subsec, offset, source, problem, copy_of, is_photo = cells
    return Photo(
        photo_id,
        placement,
        file,
        None if shown is None else datetime.fromisoformat(shown),
        subsec,
        offset,
        _SOURCES[source],
        problem,
        copy_of,
        is_photo,
    )


def _cells(row: NewPhoto) -> dict[str, Any]:
    header = row.header
    return {
        "file": row.file,
        "size": row.size,
        "changed_ns": row.changed_ns,
        "fingerprint": row.fingerprint,
        "content_hash": row.content_hash,
        "camera_time": header.camera_time,
        "subsec": header.subsec,
        "offset": header.offset,
        "time_source": header.time_source,
        "make": header.make,
        "model": header.model,
        "problem": header.problem,
        "is_photo": header.is_photo,
        "copy_of": row.copy_of,
    }


def _inserted(key: Row[Any] | None) -> int:
    assert key is not None
    number: int = key[0]
    return number


def _card(connection: Connection, card_id: int) -> Row[Any]:
    card = connection.execute(select(CARDS).where(CARDS.c.id == card_id)).first()
    if card is None:
        raise CardError(f"Card {card_id} is not in the study. Choose one of those listed.")
    return card


def _ids_on(card_id: int) -> Select[Any]:
    return select(PHOTOS.c.id).where(PHOTOS.c.card_id == card_id)


def _tags_on(connection: Connection, card_id: int) -> list[int]:
    """Give the numbers of the tags that begin or end on a card."""
    found = [
        number
        for end in (TAGS.c.first_photo, TAGS.c.last_photo)
        for number in connection.scalars(select(TAGS.c.number).where(end.in_(_ids_on(card_id))))
    ]
    return sorted(set(found))


def _refuse_torn_runs(connection: Connection, card: Row[Any]) -> None:
    begins, ends = (end.in_(_ids_on(card.id)) for end in (TAGS.c.first_photo, TAGS.c.last_photo))
    torn = connection.execute(select(func.count()).select_from(TAGS).where(begins != ends)).scalar()
    if torn:
        raise CardError(
            f"{torn} tagged runs go from card {card.folder} of {card.placement!r} on to another "
            "card, so it cannot be moved alone. Nothing was moved; forget the card and scan it "
            "on the right placement."
        )


def _refuse_same_files(connection: Connection, card: Row[Any], target: int, placement: str) -> None:
    there = select(PHOTOS.c.file).where(PHOTOS.c.card_id == target)
    both = select(func.count(), func.min(PHOTOS.c.file)).where(
        PHOTOS.c.card_id == card.id, PHOTOS.c.file.in_(there)
    )
    number, example = connection.execute(both).one()
    if number:
        raise CardError(
            f"Placement {placement!r} holds card {card.folder} already, with {number} files of "
            f"the same names ({example}). Nothing was moved; forget one of the two cards first."
        )


def _pass_on_copies(connection: Connection, card_id: int) -> None:
    """Point copies elsewhere of a card's photos to what is left: an older one, or an heir."""
    gone = PHOTOS.alias()
    pairs = (
        select(PHOTOS.c.id, gone.c.id, gone.c.copy_of)
        .join_from(PHOTOS, gone, PHOTOS.c.copy_of == gone.c.id)
        .where(gone.c.card_id == card_id, PHOTOS.c.card_id != card_id)
        .order_by(PHOTOS.c.id)
    )
    here = set(connection.scalars(_ids_on(card_id)))
    heirs: dict[int, int] = {}
    moved = []
    for copy, original, older in connection.execute(pairs):
        heir = (
            older if older is not None and older not in here else heirs.setdefault(original, copy)
        )
        moved.append({"photo_id": copy, "heir": None if heir == copy else heir})
    if moved:
        this = PHOTOS.c.id == bindparam("photo_id")
        connection.execute(PHOTOS.update().where(this).values(copy_of=bindparam("heir")), moved)
