"""Cards, photos and tags are held, moved and forgotten without losing what people said."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from builders import LATER, NOON, card_with, new_photo, tag_of
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError
from stores import KINDS, new_study

from core.errors import CardError, TagError
from core.model import (
    Header,
)
from core.store import (
    Candidate,
    Database,
    KnownFile,
    cards,
    originals,
    tables,
    tags,
)


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """Give the database of a new study, in a file or on a server."""
    with new_study(request.param, tmp_path) as made:
        yield made


# --- cards and photos ----------------------------------------------------------------------------


def test_a_card_scanned_again_is_the_same_card(database: Database) -> None:
    """A placement's folder has one card, with the time of its last scan; another folder another."""
    with database.begin() as connection:
        card = cards.put_card(connection, "P1", "/a", NOON)
        assert cards.put_card(connection, "P1", "/a", LATER) == card
        assert cards.put_card(connection, "P1", "/b", NOON) != card
        assert cards.put_card(connection, "P2", "/a", NOON) != card
        assert cards.cards(connection)[0].scanned_at == LATER


def test_cards_and_placements_count_their_files(database: Database) -> None:
    """A card counts files, photos, problems and copies; a placement only photos that count."""
    note = new_photo("note.txt", header=Header(is_photo=False))
    bad = new_photo("bad.jpg", header=Header(problem="cut short"))
    with database.begin() as connection:
        card, ids = card_with(connection, "P1", "1.jpg", note, bad)
        copy = new_photo("copy.jpg", copy_of=ids[0])
        cards.add_photos(connection, card, [copy])
        card_with(connection, "P2", note)
        cards.put_card(connection, "P3", "/empty", NOON)
        rows = [(c.files, c.photos, c.problems, c.copies) for c in cards.cards(connection)]
        assert rows == [(4, 3, 1, 1), (1, 0, 0, 0), (0, 0, 0, 0)]
        assert cards.photo_counts(connection) == {"P1": 2}
        assert cards.placements_with_photos(connection) == ["P1", "P2"]


def test_photos_are_ordered_by_file_whatever_the_order_read(database: Database) -> None:
    """Files come back by name across the cards of a placement; ids are given in the order added."""
    with database.begin() as connection:
        _, ids = card_with(connection, "P1", "b.jpg", "Z.jpg", "a.jpg")
        card_with(connection, "P1", "aa.jpg", "a.jpg", folder="/cards/b")
        files = [(p.file, p.id) for p in cards.photos(connection, "P1")]
        assert [file for file, _ in files] == ["Z.jpg", "a.jpg", "a.jpg", "aa.jpg", "b.jpg"]
        assert files[0][1] == ids[1]
        assert files[1][1] == ids[2]
        assert cards.photo(connection, ids[0]).file == "b.jpg"


def test_where_photos_lie(database: Database) -> None:
    """A photo lies in its card's folder; others are left out, over many batches too."""
    files = [f"DCIM/{number:04}.jpg" for number in range(1200)]
    with database.begin() as connection:
        _, ids = card_with(connection, "P1", *files, folder="/cards/a b")
        found = originals.originals_of(connection, [*ids, 999_999])
    assert {photo: one.path for photo, one in found.items()} == {
        i: Path("/cards/a b") / f for i, f in zip(ids, files, strict=True)
    }


def test_a_photo_that_is_gone_is_said_in_words(database: Database) -> None:
    """Asking for a photo or a card that is not held names it."""
    with database.begin() as connection:
        with pytest.raises(CardError, match="Photo 7 is not in the study"):
            cards.photo(connection, 7)
        with pytest.raises(CardError, match="Card 7 is not in the study"):
            cards.forget_card(connection, 7)


def test_files_of_the_same_size_and_fingerprint_are_found(database: Database) -> None:
    """A look-up gives files with both the same, oldest first, over many batches of keys."""
    rows = [new_photo(f"{n}.jpg", size=n, fingerprint=f"f{n}") for n in range(1100)]
    twin = new_photo("twin.jpg", size=3, fingerprint="f3", content_hash="h")
    other_size = new_photo("other.jpg", size=4, fingerprint="f3")
    with database.begin() as connection:
        card, ids = card_with(connection, "P1", *rows, folder="/a")
        second, (twin_id, _) = card_with(connection, "P2", twin, other_size, folder="/b")
        keys = [(row.size, row.fingerprint) for row in rows] + [(9, "none")]
        found = cards.same_content(connection, keys)
    assert len(found) == 1100
    assert found[3, "f3"] == [
        Candidate(ids[3], "P1", card, "3.jpg", "/a", None, None),
        Candidate(twin_id, "P2", second, "twin.jpg", "/b", "h", None),
    ]
    assert found[4, "f4"] == [Candidate(ids[4], "P1", card, "4.jpg", "/a", None, None)]


def test_what_is_known_of_a_photo_can_be_mended(database: Database) -> None:
    """A hash, an original, a problem and a header read again are held for that photo alone."""
    with database.begin() as connection:
        card, (one, two) = card_with(connection, "P1", "1.jpg", "2.jpg")
        originals.set_content_hashes(connection, {two: "abc"})
        cards.set_copy_of(connection, two, one)
        originals.set_photo_problems(connection, {two: "cut short"})
        (found,) = cards.same_content(connection, [(1000, "2.jpg")]).values()
        assert found == [Candidate(two, "P1", card, "2.jpg", "/cards/a", "abc", one)]
        assert cards.photo(connection, two).problem == "cut short"
        cards.set_photos(connection, {two: new_photo("2.jpg", size=7, changed_ns=8)})
        known = cards.known_files(connection, card)
        assert known == {
            "1.jpg": KnownFile(one, 1000, 5, "", "1.jpg"),
            "2.jpg": KnownFile(two, 7, 8, "", "2.jpg"),
        }
        assert cards.photo(connection, two).copy_of is None


def test_a_file_is_held_once_a_card(database: Database) -> None:
    """The same file of a card a second time is refused by the database, and nothing is added."""
    with database.begin() as connection:
        card, _ = card_with(connection, "P1", "1.jpg")
    with pytest.raises(IntegrityError), database.begin() as connection:
        cards.add_photos(connection, card, [new_photo("2.jpg"), new_photo("1.jpg")])
    with database.read() as connection:
        assert list(cards.known_files(connection, card)) == ["1.jpg"]


def test_photo_ids_are_never_given_twice(database: Database) -> None:
    """The id of a forgotten photo is not given to another one, whose preview would be wrong."""
    with database.begin() as connection:
        card, ids = card_with(connection, "P1", "1.jpg")
        cards.forget_card(connection, card)
        _, new = card_with(connection, "P1", "1.jpg")
        assert new[0] > ids[0]


def test_a_moved_card_takes_photos_and_tags_along(database: Database) -> None:
    """After a move, photos and tags are the other placement's, and nothing else moved."""
    with database.begin() as connection:
        card, (one, two) = card_with(connection, "P1", "1.jpg", "2.jpg")
        _, (other,) = card_with(connection, "P1", "3.jpg", folder="/cards/b")
        tags.add_tags(connection, [tag_of(one, two), tag_of(other)], [None, None])
        assert cards.move_card(connection, card, "P2") == card
        assert [photo.id for photo in cards.photos(connection, "P2")] == [one, two]
        assert [photo.id for photo in cards.photos(connection, "P1")] == [other]
        assert [tag.first_photo for tag in tags.tags(connection, "P2")] == [one]
        assert [tag.first_photo for tag in tags.tags(connection, "P1")] == [other]
        assert {row.id: row.placement for row in cards.cards(connection)}[card] == "P2"
        assert cards.move_card(connection, card, "P2") == card


def test_a_move_onto_the_same_folder_joins_the_cards(database: Database) -> None:
    """Where the placement holds the folder already, the files join; a name on both is refused."""
    with database.begin() as connection:
        wrong, (one,) = card_with(connection, "P1", "1.jpg")
        right, (two,) = card_with(connection, "P2", "2.jpg")
        tags.add_tags(connection, [tag_of(one)], [None])
        assert cards.move_card(connection, wrong, "P2") == right
        assert [photo.id for photo in cards.photos(connection, "P2")] == [one, two]
        assert [row.id for row in cards.cards(connection)] == [right]
        again, _ = card_with(connection, "P1", "2.jpg", "9.jpg")
        with pytest.raises(CardError, match=r"1 files of the same names \(2.jpg\)"):
            cards.move_card(connection, again, "P2")
        assert len(cards.photos(connection, "P1")) == 2


def test_a_run_over_two_cards_is_not_torn(database: Database) -> None:
    """A card cannot be moved away from under a tag that ends on another card."""
    with database.begin() as connection:
        card, (one,) = card_with(connection, "P1", "1.jpg")
        _, (two,) = card_with(connection, "P1", "2.jpg", folder="/cards/b")
        tags.add_tags(connection, [tag_of(one, two)], [None])
        with pytest.raises(CardError, match="1 tagged runs"):
            cards.move_card(connection, card, "P2")
        assert len(cards.photos(connection, "P1")) == 2


def test_photos_seen_in_another_folder_change_their_card(database: Database) -> None:
    """The same card under another folder keeps its photos, their ids and tags; no other's do."""
    with database.begin() as connection:
        old, ids = card_with(connection, "P1", "1.jpg", "2.jpg", folder="E:/")
        new = cards.put_card(connection, "P1", "F:/", NOON)
        cards.set_card_of_photos(connection, ids, new)
        assert cards.known_files(connection, old) == {}
        assert [one.path for one in originals.originals(connection, "P1")] == [
            Path("F:/1.jpg"),
            Path("F:/2.jpg"),
        ]
        stranger = cards.put_card(connection, "P2", "F:/", NOON)
        with pytest.raises(CardError, match="is not of placement 'P2'"):
            cards.set_card_of_photos(connection, ids, stranger)


def test_a_card_with_tags_is_not_forgotten_by_accident(database: Database) -> None:
    """Tags are counted and hold the card back; said yes to, they are kept with their events."""
    with database.begin() as connection:
        card, (one,) = card_with(connection, "P1", "1.jpg")
        other, (two,) = card_with(connection, "P1", "2.jpg", folder="/cards/b")
        first, _ = tags.add_tags(connection, [tag_of(one, comment="ä"), tag_of(two)], [None, "x"])
        tags.turn(connection, [first], LATER, "bob", taken_back=True)
        with pytest.raises(CardError, match="has one tag on its photos"):
            cards.forget_card(connection, card)
        assert cards.forget_card(connection, card, with_tags=True, at=LATER) == 1
        assert [tag.first_photo for tag in tags.tags(connection, None)] == [two]
        assert [photo.id for photo in cards.photos(connection, "P1")] == [two]
        assert [row.id for row in cards.cards(connection)] == [other]
        kept = connection.execute(select(tables.FORGOTTEN_TAGS)).one()
        assert (kept.number, kept.forgotten_at) == (first, LATER)
        said = json.loads(kept.tag)
        assert (said["comment"], said["first_photo"], said["species"]) == ("ä", one, "g")
        assert said["events"][0]["done_by"] == "bob"


def test_copies_of_a_forgotten_photo_take_over(database: Database) -> None:
    """The earliest copy elsewhere becomes the one that counts, and the others point to it."""
    with database.begin() as connection:
        card, (original, _) = card_with(connection, "P1", "1.jpg", "9.jpg")
        cards.add_photos(connection, card, [new_photo("again.jpg", copy_of=original)])
        copies = [new_photo(file, copy_of=original) for file in ("1.jpg", "2.jpg", "3.jpg")]
        _, (first, second, third) = card_with(connection, "P2", *copies)
        cards.forget_card(connection, card)
        found = {photo.id: photo.copy_of for photo in cards.photos(connection, "P2")}
        assert found == {first: None, second: first, third: first}


def test_a_copy_of_a_copy_goes_back_to_the_original(database: Database) -> None:
    """Where a forgotten photo was itself a copy, what pointed to it points to its original."""
    with database.begin() as connection:
        _, (original,) = card_with(connection, "P1", "1.jpg")
        card, (middle,) = card_with(connection, "P2", new_photo("1.jpg", copy_of=original))
        _, (last,) = card_with(connection, "P3", new_photo("1.jpg", copy_of=middle))
        cards.forget_card(connection, card)
        assert cards.photo(connection, last).copy_of == original


# --- tags ----------------------------------------------------------------------------------------


def test_a_tag_taken_back_is_kept_and_can_be_restored(database: Database) -> None:
    """Undo and redo add events; the last one holds, and the tag itself stays."""
    with database.begin() as connection:
        _, (one,) = card_with(connection, "P1", "1.jpg")
        number, other = tags.add_tags(connection, [tag_of(one), tag_of(one)], [None, None])

        def state() -> list[bool]:
            return [tag.taken_back for tag in tags.tags(connection, "P1")]

        assert state() == [False, False]
        tags.turn(connection, [number], NOON, "ann", taken_back=True)
        assert state() == [True, False]
        tags.turn(connection, [number], NOON, "ann", taken_back=False)
        assert state() == [False, False]
        tags.turn(connection, [number], LATER, "bob", taken_back=True)
        tags.turn(connection, [other], LATER, "bob", taken_back=True)
        assert state() == [True, True]
        assert tags.tags(connection, "P2") == []
        with pytest.raises(TagError, match="Tag 99 is not in the study"):
            tags.turn(connection, [99], NOON, "ann", taken_back=True)


def test_a_click_that_arrives_twice_tags_once(database: Database) -> None:
    """A known action gives the number it got first, in one call or in several."""
    with database.begin() as connection:
        _, (one,) = card_with(connection, "P1", "1.jpg")
        first = tags.add_tags(connection, [tag_of(one), tag_of(one)], ["a", None])
        both = [tag_of(one, comment=word) for word in ("a again", "b", "none", "b again")]
        second = tags.add_tags(connection, both, ["a", "b", None, "b"])
        assert second == [first[0], first[1] + 1, first[1] + 2, first[1] + 1]
        comments = [tag.comment for tag in tags.tags(connection, None)]
        assert comments == ["", "", "b", "none"]
        assert tags.add_tags(connection, [], []) == []


@pytest.mark.parametrize("values", [{"last_photo": 99}, {"placement": "P2"}])
def test_a_tag_on_a_photo_that_is_not_there_is_refused(
    database: Database, values: dict[str, Any]
) -> None:
    """A tag names photos of its own placement; else nothing of the lot is added."""
    with database.begin() as connection:
        _, (one,) = card_with(connection, "P1", "1.jpg")
        with pytest.raises(TagError, match="is not on placement 'P"):
            tags.add_tags(connection, [tag_of(one), tag_of(one, **values)], [None, None])
        assert tags.tags(connection, None) == []


def test_foreign_keys_refuse_what_hangs_in_the_air(database: Database) -> None:
    """The database itself refuses tags without photos and photos without a card."""
    photo = tables.PHOTOS.insert().values(
        placement="P1", card_id=5, **cards._cells(new_photo("1.jpg"))
    )
    row = tags._cells(tag_of(5))
    for statement in (photo, tables.TAGS.insert().values(row)):
        with (
            pytest.raises(IntegrityError, match=r"(?i)foreign key"),
            database.begin() as connection,
        ):
            connection.execute(statement)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE tags SET species = 'j'",
        "UPDATE tags SET first_photo = 2",
        "DELETE FROM tags",
        "UPDATE tag_events SET taken_back = NOT taken_back",
        "DELETE FROM tag_events",
    ],
)
def test_the_database_keeps_tags_as_they_were_made(database: Database, statement: str) -> None:
    """No statement from anywhere changes what a tag says, or removes one that is not kept."""
    with database.begin() as connection:
        _, (one, two) = card_with(connection, "P1", "1.jpg", "2.jpg")
        numbers = tags.add_tags(connection, [tag_of(one), tag_of(two)], [None, None])
        tags.turn(connection, [numbers[0]], NOON, "ann", taken_back=True)
        before = tags.tags(connection, None)
    with pytest.raises(IntegrityError, match="append-only"), database.begin() as connection:
        connection.execute(text(statement))
    with database.read() as connection:
        assert tags.tags(connection, None) == before
