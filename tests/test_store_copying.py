"""Rows go from one database into another as they are written, and are compared one by one."""

import itertools
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from builders import NOON, card_with, new_photo, tag_of
from sqlalchemy import insert
from stores import KINDS, ON_SERVER, POSTGRESQL, place_of

from core.model import Header, Outline, Placement, Where
from core.store import Database, cards, copying, logs, outlines, tables, tags
from core.store.scores import Score, put_scores

PAIRS = [
    pytest.param(*pair, marks=ON_SERVER if POSTGRESQL in pair else ())
    for pair in itertools.product(("sqlite", POSTGRESQL), repeat=2)
]


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    """Give what closes and removes all at the end."""
    with ExitStack() as opened:
        yield opened


def place(stack: ExitStack, kind: str, folder: Path) -> str | Path:
    """Give where a study of one kind may be made."""
    folder.mkdir()
    return stack.enter_context(place_of(kind, folder))


def study(stack: ExitStack, kind: str, folder: Path) -> Database:
    """Give a study with rows that are easily changed on the way."""
    made = Database.create(place(stack, kind, folder))
    stack.callback(made.dispose)
    with made.begin() as connection:
        extra = {"b": "1", "a": 'O\'Neil "x" %s :y 🐭', "empty": ""}
        logs.put_placements(connection, [Placement("Ä vs A\u0308", latitude=0.1, extra=extra)])
        header = Header(NOON.replace(tzinfo=None), "007", "+02:00", is_photo=False)
        odd = new_photo("x.jpg", size=2**53 + 1, changed_ns=2**63 - 1, header=header)
        _, (first, second, third) = card_with(connection, "P1", "1.jpg", "2.jpg", odd)
        cards.set_copy_of(connection, first, third)
        numbers = tags.add_tags(
            connection,
            [tag_of(first, second, where=Where.FED, count=3, sure=False), tag_of(third)],
            ["act", None],
        )
        tags.turn(connection, numbers[:1], NOON, "bob", taken_back=True, action="undo")
        tags.forget_tags(connection, numbers[1:], NOON)
        outline = [[[0.1, 1e-17]]]
        put_scores(connection, [Score(second, 1, "copy", True, 1 / 3, -0.0, None, outline)])
        outlines.add_outline(connection, "P1", Outline("T1", 0.5, 0.5, 0.1, 0.2, 30.0, "ann"), NOON)
        connection.execute(insert(tables.SECRETS), {"name": "x", "value": "00ff"})
    return made


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_rows_are_carried_as_they_are(
    stack: ExitStack, one: str, other: str, tmp_path: Path
) -> None:
    """Every table has the same digest on both sides, whichever way they went."""
    source = study(stack, one, tmp_path / "one")
    there = place(stack, other, tmp_path / "other")
    with source.read() as connection:
        target = Database.create(there, lambda made: copying.carry(connection, made))
        before = copying.digests(connection)
    stack.callback(target.dispose)
    with target.read() as connection:
        after = copying.digests(connection)
        assert copying.differing(before, after) == []
        assert before == after
        assert after["photos"].rows == 3
        assert after["changes"].rows == 2
        [tag] = tags.tags(connection)
        assert (tag.taken_back, tag.count, tag.sure) == (True, 3, False)
        assert cards.photo(connection, tag.first_photo).copy_of is not None
    with target.begin() as connection:
        assert tags.add_tags(connection, [tag_of(tag.first_photo)], [None]) == [3]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "change",
    [
        lambda c: logs.remove_placement(c, "Ä vs A\u0308"),
        lambda c: logs.put_placements(c, [Placement("Ä vs A\u0308", latitude=0.1)]),
        lambda c: logs.put_placements(c, [Placement("P9")]),
        lambda c: tags.turn(c, [1], NOON, "bob", taken_back=False),
    ],
)
def test_every_change_of_a_row_shows(
    stack: ExitStack, kind: str, change: Any, tmp_path: Path
) -> None:
    """One row more, one less, or one cell that is another: a table of one name differs."""
    database = study(stack, kind, tmp_path / "one")
    with database.begin() as connection:
        before = copying.digests(connection)
        change(connection)
        after = copying.digests(connection)
    assert len(copying.differing(before, after)) == 1


def test_the_order_of_rows_says_nothing(stack: ExitStack, tmp_path: Path) -> None:
    """A server gives rows in an order of its own."""
    found = []
    for at, names in enumerate((["a", "b"], ["b", "a"])):
        made = Database.create(place(stack, "sqlite", tmp_path / str(at)))
        stack.callback(made.dispose)
        with made.begin() as connection:
            for name in names:
                connection.execute(insert(tables.SECRETS), {"name": name, "value": "1"})
            found.append(copying.digests(connection)["secrets"])
    assert found[0] == found[1]
    assert found[0].rows == 2
