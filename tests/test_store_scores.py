"""Scores are held one a photo, can be bettered, and raise no counter of changes."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from builders import card_with
from stores import KINDS, new_study

from core.store import Database, Raises, cards, data_version, scores
from core.store.peaks import changes, wholes
from core.store.scores import Score


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """Give the database of a new study, in a file or on a server."""
    with new_study(request.param, tmp_path) as made:
        yield made


def score_of(photo: int, whole: float, **more: object) -> Score:
    cells = {
        "method": 1, "basis": "copy", "infrared": False, "on_tray": None, "off_tray": None,
        "outline": [],
    } | more  # fmt: skip
    return Score(photo=photo, whole=whole, **cells)  # type: ignore[arg-type]


def test_a_later_score_takes_the_place_of_an_earlier_one(database: Database) -> None:
    """First by the picture in the header, then by the copy."""
    with database.begin() as connection:
        _, (first, second) = card_with(connection, "P1", "a", "b")
    with database.begin(Raises.NOTHING) as connection:
        scores.put_scores(
            connection, [score_of(first, 0.1, basis="thumbnail"), score_of(second, 1)]
        )
        scores.put_scores(connection, [score_of(first, 0.4, outline=[[[0.1, 0.2], [0.3, 0.4]]])])
    with database.read() as connection:
        assert wholes(connection, "P1") == {first: 0.4, second: 1.0}
        assert scores.scored(connection, "P1")[first] == (1, "copy", False)
        assert changes(connection, [first])[first].outline == [[[0.1, 0.2], [0.3, 0.4]]]
        assert scores.scored(connection, "P2") == {}


def test_stale_scores_hold_until_they_are_worked_out_anew(database: Database) -> None:
    """Their method is none; what they say stays."""
    with database.begin() as connection:
        _, (mine,) = card_with(connection, "P1", "a")
        _, (other,) = card_with(connection, "P2", "b")
        before = data_version(connection)
    with database.begin(Raises.NOTHING) as connection:
        scores.put_scores(connection, [score_of(mine, 0.2), score_of(other, 0.3)])
        scores.make_stale(connection, "P1")
    with database.read() as connection:
        assert scores.scored(connection, "P1")[mine] == (scores.STALE, "copy", False)
        assert scores.scored(connection, "P2")[other][0] == 1
        assert wholes(connection, "P1") == {mine: 0.2}
        assert data_version(connection) == before


def test_a_forgotten_card_takes_its_scores_along(database: Database) -> None:
    """No score is left of a photo that the study does not hold."""
    with database.begin() as connection:
        card, photos = card_with(connection, "P1", *map(str, range(1100)))
        scores.put_scores(connection, [score_of(photo, 0.5) for photo in photos])
    with database.begin() as connection:
        cards.forget_card(connection, card)
        assert scores.scored(connection, "P1") == {}
