"""Which tags stand where: brought up to date tag by tag, it is what it would be made whole."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from builders import tag_of
from hypothesis import given
from hypothesis import strategies as st

from core import standing
from core.model import HANDLER, Tag, Where
from core.standing import Standing, renewed
from core.tags import in_force

PLACES = {100 + at: at for at in range(8)}
"""Eight photos by their ids."""

TAGS = st.builds(
    lambda ends, tagger, species, ruling, sure, also: tag_of(
        100 + ends[0],
        100 + ends[1],
        tagger=tagger,
        species=species,
        where=None if species == HANDLER else Where.FED,
        ruling=ruling,
        sure=sure,
        also=also,
    ),
    # Photo 108 has no place in the order.
    st.tuples(st.integers(0, 8), st.integers(0, 8)),
    st.sampled_from(["ann", "bob", "cleo"]),
    st.sampled_from(["g", "m", HANDLER, HANDLER]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
STEPS = st.lists(st.one_of(TAGS, st.integers(0, 20)), max_size=25)
"""What people do, one after another: make a tag, or turn one that was made."""


def done(steps: Sequence[Tag | int]) -> list[list[Tag]]:
    """Give what is new after each step: the tag made, or the tag turned as it is then."""
    made: list[Tag] = []
    news = []
    for step in steps:
        if isinstance(step, Tag):
            made.append(replace(step, number=len(made) + 1))
            news.append([made[-1]])
        elif made:
            at = step % len(made)
            made[at] = replace(made[at], taken_back=not made[at].taken_back)
            news.append([made[at]])
    return news


def everything(stands: Standing) -> tuple[object, ...]:
    """Give all that is told of the tags that stand."""
    return (
        stands.tags(),
        stands.runs.tolist(),
        stands.numbers.tolist(),
        stands.firsts.tolist(),
        stands.lasts.tolist(),
        stands.over.tolist(),
        stands.handler.tolist(),
    )


@given(STEPS, st.integers(1, 2), st.integers(1, 4))
def test_step_by_step_comes_to_the_same_as_all_at_once(
    steps: list[Tag | int], needed: int, lot: int
) -> None:
    """Tags taken in one by one, or a few at a time, stand as if they were read all together."""
    news = done(steps)
    stands = standing.nothing(len(PLACES))
    for start in range(0, len(news), lot):
        latest = {tag.number: tag for some in news[start : start + lot] for tag in some}
        stands = renewed(stands, list(latest.values()), PLACES, needed)
    final = {tag.number: tag for some in news for tag in some}
    whole = renewed(standing.nothing(len(PLACES)), list(final.values()), PLACES, needed)
    assert everything(stands) == everything(whole)


@given(STEPS, st.integers(1, 2))
def test_photo_by_photo_the_same_is_found(steps: list[Tag | int], needed: int) -> None:
    """Looking at each photo alone, as a person would, gives the same tags over it."""
    final = {tag.number: tag for some in done(steps) for tag in some}
    stands = renewed(standing.nothing(len(PLACES)), list(final.values()), PLACES, needed)
    held = in_force(final.values())
    for place in range(len(PLACES)):
        over = [tag for tag in held if _lies_over(tag, place)]
        assert stands.over[place] == len(over)
        assert [run.tag for run in stands.between(place, place)] == over
        assert stands.handler[place] == _handler(over, needed)


def _lies_over(tag: Tag, place: int) -> bool:
    ends = [PLACES[end] for end in (tag.first_photo, tag.last_photo) if end in PLACES]
    return bool(ends) and min(ends) <= place <= max(ends)


def _handler(over: Sequence[Tag], needed: int) -> bool:
    rulings = {tag.species for tag in over if tag.ruling}
    if rulings:
        return rulings == {HANDLER}
    sure = {tag.tagger for tag in over if tag.sure}
    return {tag.species for tag in over} == {HANDLER} and len(sure) >= needed


def test_nothing_new_is_the_same_standing() -> None:
    """Where nobody said anything since, nothing is made anew."""
    stands = renewed(standing.nothing(8), [tag_of(100, 103, number=1)], PLACES, 1)
    assert renewed(stands, [], PLACES, 1) is stands


@pytest.mark.parametrize("many", [standing.MANY, standing.MANY + 1])
def test_many_tags_at_once_hold_handlers_as_few_do(many: int) -> None:
    """One pass over everything, taken from a certain number on, finds what run after run does."""
    places = {at: at - 1 for at in range(1, many + 1)}
    made = [tag_of(at, number=at, species=HANDLER, where=None) for at in range(1, many + 1, 1)]
    made[-1] = replace(made[-1], species="g")
    stands = renewed(standing.nothing(many), made, places, 1)
    assert stands.handler.tolist() == [True] * (many - 1) + [False]
