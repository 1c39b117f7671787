"""Tags as the store hands them out: what is new since, by which act, and whose."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from builders import LATER, NOON, card_with, rolled_back, tag_of
from stores import KINDS, new_study

from core.errors import TagError
from core.store import Database, tags
from core.store.tags import NOTHING_SEEN


@pytest.fixture(scope="module", params=KINDS)
def database(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    """Give the database of a new study, in a file or on a server."""
    with new_study(request.param, Path(tmp_path_factory.mktemp("tags"))) as made:
        yield made


def test_only_what_is_new_is_fetched_again(database: Database) -> None:
    """Tags added, taken back and restored since; nothing where nobody did anything."""
    with rolled_back(database) as connection:
        _, (one, two) = card_with(connection, "P1", "1.jpg", "2.jpg")
        first, second = tags.add_tags(connection, [tag_of(one), tag_of(two)], [None, None])
        all_of_them, seen = tags.news(connection, "P1")
        assert [tag.number for tag in all_of_them] == [first, second]
        assert tags.news(connection, "P1", seen) == ([], seen)
        tags.turn(connection, [first], NOON, "ann", taken_back=True)
        [third] = tags.add_tags(connection, [tag_of(one, species="m")], [None])
        fresh, later = tags.news(connection, "P1", seen)
        assert [(tag.number, tag.taken_back) for tag in fresh] == [(first, True), (third, False)]
        tags.turn(connection, [first], LATER, "ann", taken_back=False)
        fresh, last = tags.news(connection, "P1", later)
        assert [(tag.number, tag.taken_back) for tag in fresh] == [(first, False)]
        assert tags.news(connection, "P1", last)[0] == []
        assert tags.news(connection, "P1", NOTHING_SEEN)[0] == tags.tags(connection, "P1")


def test_news_of_one_placement_are_its_own(database: Database) -> None:
    """What is said and taken back elsewhere is not told, and what comes after is not missed."""
    with rolled_back(database) as connection:
        _, (here,) = card_with(connection, "P1", "1.jpg")
        _, (there,) = card_with(connection, "P2", "1.jpg", folder="/cards/b")
        [mine] = tags.add_tags(connection, [tag_of(here)], [None])
        _, seen = tags.news(connection, "P1")
        [other] = tags.add_tags(connection, [tag_of(there, placement="P2")], [None])
        tags.turn(connection, [other], NOON, "ann", taken_back=True)
        assert tags.news(connection, "P1", seen) == ([], seen)
        tags.turn(connection, [mine], NOON, "ann", taken_back=True)
        fresh, _ = tags.news(connection, "P1", seen)
        assert [(tag.number, tag.taken_back) for tag in fresh] == [(mine, True)]


def test_an_act_that_is_known_turns_nothing_again(database: Database) -> None:
    """An undo that comes once more after its redo leaves the tag as it is."""
    with rolled_back(database) as connection:
        _, (one,) = card_with(connection, "P1", "1.jpg")
        numbers = tags.add_tags(connection, [tag_of(one)], ["a"])
        for action, taken_back in (("undo", True), ("redo", False), ("undo", True)):
            tags.turn(connection, numbers, NOON, "ann", taken_back=taken_back, action=action)
        assert [tag.taken_back for tag in tags.tags(connection, "P1")] == [False]


def test_one_tag_that_is_not_there_turns_none(database: Database) -> None:
    """All or none."""
    with rolled_back(database) as connection:
        _, (one,) = card_with(connection, "P1", "1.jpg")
        numbers = tags.add_tags(connection, [tag_of(one)], [None])
        with pytest.raises(TagError, match="Tag 999999 is not in the study"):
            tags.turn(connection, [*numbers, 999999], NOON, "ann", taken_back=True)
        assert [tag.taken_back for tag in tags.tags(connection, "P1")] == [False]


def test_tags_are_found_by_the_acts_that_made_them(database: Database) -> None:
    """As they were said; an act that made none is left out, however many are asked for."""
    with rolled_back(database) as connection:
        _, (one, two) = card_with(connection, "P1", "1.jpg", "2.jpg")
        made = [tag_of(one, tagger="bob"), tag_of(two, species="m")]
        first, second = tags.add_tags(connection, made, ["a", "b"])
        asked = ["b", "a", *(f"x{number}" for number in range(1200))]
        found = tags.tags_of_actions(connection, asked)
        assert {act: tag.number for act, tag in found.items()} == {"a": first, "b": second}
        assert (found["a"].tagger, found["b"].species) == ("bob", "m")
        assert tags.taggers(connection, [first, second, 999999]) == {first: "bob", second: "ann"}
        assert tags.names_of_taggers(connection) == ["ann", "bob"]


@pytest.mark.parametrize("many", [1, 2, 3])
def test_numbers_come_in_the_order_of_the_tags(database: Database, many: int) -> None:
    """One tag is added by a shorter way than several; the numbers are the same."""
    with rolled_back(database) as connection:
        _, (one,) = card_with(connection, "P1", "1.jpg")
        wanted = [tag_of(one, comment=str(at)) for at in range(many)]
        numbers = tags.add_tags(connection, wanted, [None] * many)
        held = {tag.number: tag.comment for tag in tags.tags(connection, "P1")}
        assert [held[number] for number in numbers] == [str(at) for at in range(many)]
