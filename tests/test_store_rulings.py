"""Rulings are held with the photos they are of; measures stand beside scores, and are told."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from builders import card_with
from stores import KINDS, new_study

from core.coverage import StretchRuling, Why
from core.model import Span
from core.store import Database, Raises, data_version, rulings, scores
from core.store.scores import Score

NOON = datetime(2026, 3, 14, 12, tzinfo=UTC)
LATER = datetime(2026, 3, 14, 15, tzinfo=UTC)


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """Give the database of a new study, in a file or on a server."""
    with new_study(request.param, tmp_path) as made:
        yield made


def test_a_ruling_is_read_back_whole_and_kept_when_taken_back(database: Database) -> None:
    """Stretch, cause, word, photos; who took it back and when, and only the first time."""
    made = StretchRuling(
        "P1", Why.BATTERY_DEAD, Span(NOON, LATER), True, "cold", "ann", NOON, look_at=(7, 9)
    )
    with database.begin() as connection:
        number = rulings.add_ruling(connection, made)
        other = rulings.add_ruling(
            connection, StretchRuling("P2", Why.QUIET, made.span, False, made_at=NOON)
        )
        rulings.take_back(connection, number, LATER, "ben")
        rulings.take_back(connection, number, NOON, "eve")
    assert other > number
    with database.read() as connection:
        [found] = rulings.rulings(connection, "P1")
        assert found == StretchRuling(
            "P1", Why.BATTERY_DEAD, Span(NOON, LATER), True, "cold", "ann", NOON, LATER, "ben",
            number, (7, 9),
        )  # fmt: skip
        assert [one.placement for one in rulings.rulings(connection)] == ["P1", "P2"]


def test_measures_stand_beside_scores(database: Database) -> None:
    """Those that a score lacked are added, and the score stays; no counter of changes rises."""
    with database.begin() as connection:
        _, (first, second) = card_with(connection, "P1", "a", "b")
        before = data_version(connection)
    with database.begin(Raises.NOTHING) as connection:
        bare = Score(first, 1, "copy", False, 0.5, None, None, [])
        whole = Score(second, 1, "copy", False, 0.7, None, None, [], 0.4, 0.2)
        scores.put_scores(connection, [bare, whole])
        assert rulings.unmeasured(connection, "P1") == {first}
        assert not rulings.has_dark(connection, "P1", 0.03, 0.03)
        rulings.put_measures(connection, {first: (0.01, 0.3)})
    with database.read() as connection:
        assert rulings.measures(connection, "P1") == {first: (0.01, 0.3), second: (0.4, 0.2)}
        assert rulings.unmeasured(connection, "P1") == set()
        assert rulings.has_dark(connection, "P1", 0.03, 0.03)
        assert not rulings.has_dark(connection, "P2", 0.03, 0.03)
        assert data_version(connection) == before


def test_marks_rise_by_placement_and_together(database: Database) -> None:
    """A placement without a mark has none; all together rise with each."""
    with database.begin(Raises.NOTHING) as connection:
        assert rulings.mark_of_measures(connection) == 0
        for placement in ("P1", "P2", "P1"):
            rulings.raise_mark(connection, placement)
        assert rulings.mark_of_measures(connection, "P1") == 2
        assert rulings.mark_of_measures(connection, "P3") == 0
        assert rulings.mark_of_measures(connection) == 3
