"""Whose is what to tag: evenly, nobody twice, and few change hands."""

from collections import Counter
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.handout import hand_out, training_of

PEOPLE = ["Ann", "Ben", "Cas", "Dee", "Eve", "Fay", "Gus"]
Holds = Mapping[int, frozenset[str]]


def loads(given: Holds, sizes: Mapping[int, int]) -> Counter[str]:
    """Count the visits that each has."""
    found = Counter(dict.fromkeys(PEOPLE, 0))
    for key, holders in given.items():
        for who in holders:
            found[who] += sizes[key]
    return found


def spread(given: Holds, sizes: Mapping[int, int], people: list[str]) -> int:
    """Give by how many visits loads differ at the most."""
    found = [loads(given, sizes)[who] for who in people]
    return max(found) - min(found)


def moved(before: Holds, after: Holds) -> int:
    """Count the shares that somebody has now and did not have before."""
    return sum(len(after[key] - before[key]) for key in after)


visits = st.integers(1, 120).map(lambda n: dict.fromkeys(range(n), 1))
cards = st.dictionaries(st.integers(0, 40), st.integers(1, 60), min_size=1)
teams = st.integers(1, 6).map(lambda n: PEOPLE[:n])


@given(visits, teams, st.integers(1, 4))
def test_visits_are_handed_out_evenly_and_to_nobody_twice(
    sizes: dict[int, int], team: list[str], needed: int
) -> None:
    """Each visit has as many holders as are needed (or all there are); loads differ by one."""
    given = hand_out(sizes, team, needed, before={}, done={})
    assert {len(holders) for holders in given.values()} == {min(needed, len(team))}
    assert spread(given, sizes, team) <= 1


@given(cards, teams, st.integers(1, 3))
def test_placements_are_handed_out_evenly_to_the_largest_of_them(
    sizes: dict[int, int], team: list[str], needed: int
) -> None:
    """Loads differ by no more visits than the largest placement has."""
    given = hand_out(sizes, team, needed, before={}, done={})
    assert {len(holders) for holders in given.values()} == {min(needed, len(team))}
    assert spread(given, sizes, team) <= max(sizes.values())


@given(visits, teams, st.integers(1, 4))
def test_handing_out_again_changes_nothing(
    sizes: dict[int, int], team: list[str], needed: int
) -> None:
    """The same people and visits keep what they have."""
    given = hand_out(sizes, team, needed, before={}, done={})
    assert hand_out(sizes, team, needed, before=given, done={}) == given


@given(visits, st.integers(2, 6), st.integers(1, 3))
def test_who_joins_takes_an_even_part_and_no_more_changes_hands(
    sizes: dict[int, int], many: int, needed: int
) -> None:
    """At most the newcomer's even part moves, all of it to the newcomer."""
    team = PEOPLE[:many]
    before = hand_out(sizes, team, needed, before={}, done={})
    after = hand_out(sizes, [*team, "Zoe"], needed, before=before, done={})
    shares = sum(len(holders) for holders in after.values())
    assert spread({k: v - {"Zoe"} for k, v in after.items()}, sizes, team) <= 1
    mine = sum("Zoe" in holders for holders in after.values())
    assert mine <= -(-shares // (many + 1))
    grown = sum(len(after[key]) - len(before[key]) for key in sizes)
    assert moved(before, after) == max(mine, grown)


@given(visits, st.integers(2, 7), st.integers(1, 3), st.data())
def test_of_who_leaves_all_is_handed_on_and_little_else_moves(
    sizes: dict[int, int], many: int, needed: int, data: st.DataObject
) -> None:
    """Nothing is left with them; what moves is at most twice what they had."""
    team = PEOPLE[:many]
    gone = data.draw(st.sampled_from(team))
    before = hand_out(sizes, team, needed, before={}, done={})
    rest = [who for who in team if who != gone]
    after = hand_out(sizes, rest, needed, before=before, done={})
    assert all(gone not in holders for holders in after.values())
    assert {len(holders) for holders in after.values()} == {min(needed, len(rest))}
    assert spread(after, sizes, rest) <= 1
    assert moved(before, after) <= 2 * loads(before, sizes)[gone]


@settings(max_examples=60)
@given(visits, st.integers(2, 6), st.integers(1, 3), st.data())
def test_what_is_begun_stays_with_whoever_began_it(
    sizes: dict[int, int], many: int, needed: int, data: st.DataObject
) -> None:
    """Whoever has tagged a visit holds it, whoever joins; nobody holds it twice."""
    team = PEOPLE[:many]
    done = data.draw(
        st.dictionaries(st.sampled_from(list(sizes)), st.sets(st.sampled_from(team), max_size=2))
    )
    given = hand_out(sizes, [*team, "Zoe"], needed, before={}, done=done)
    assert all(set(done.get(key, ())) <= holders for key, holders in given.items())
    assert all(len(given[key]) >= min(needed, many + 1) for key in sizes)


def test_pairs_of_taggers_are_mixed() -> None:
    """Two of six a visit: nearly every pair reads some visits together, so that all compare."""
    given = hand_out(dict.fromkeys(range(300), 1), PEOPLE[:6], 2, before={}, done={})
    pairs = Counter(frozenset(holders) for holders in given.values())
    assert len(pairs) == 15
    assert max(pairs.values()) <= 2 * 300 / 15


def test_nobody_to_give_to() -> None:
    """Without people every visit has no holder."""
    assert hand_out({1: 1}, [], 2, before={}, done={}) == {1: frozenset()}


# --- to learn from -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("own", "share", "known", "expected"),
    [(90, 0.1, 50, 10), (90, 0.1, 4, 4), (90, 0.0, 50, 0), (10, 0.9, 50, 10), (0, 0.5, 50, 0)],
)
def test_a_share_of_all_that_somebody_gets_is_to_learn_from(
    own: int, share: float, known: int, expected: int
) -> None:
    """A tenth of 100 are 10 beside 90; never more than half, nor than there are."""
    assert len(training_of("Ann", own, list(range(known)), set(), share)) == expected


def test_what_somebody_has_read_teaches_them_no_more() -> None:
    """Visits that they have tagged are left out; each gets others, the same every time."""
    known = list(range(40))
    ann = training_of("Ann", 20, known, {1, 2, 3}, 0.3)
    assert not {1, 2, 3} & set(ann)
    assert ann == training_of("Ann", 20, known, {1, 2, 3}, 0.3)
    assert set(ann) != set(training_of("Ben", 20, known, {1, 2, 3}, 0.3))
