"""What holds of every account of a window, whatever was photographed, suspected and ruled."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from builders import at, camera, judge, record, stay, tray
from hypothesis import given, settings
from hypothesis import strategies as st

from core.coverage import (
    Confidence,
    State,
    Stretch,
    StretchRuling,
    Suspicion,
    Why,
    account_of,
    clip,
    cover,
    doubted,
    gaps,
    stretches_of,
    union,
    watched,
    with_clock_in_doubt,
    without,
    without_accepted,
)
from core.model import Photo, Placement, Span, Status

GAP = timedelta(seconds=120)
NIGHT = Span(at("18:00"), at("06:00"))
FULL, BATTERY, LENS = Why.CARD_FULL, Why.BATTERY_DEAD, Why.LENS_BLOCKED


def minute(number: int) -> datetime:
    """Give a minute of the night."""
    return at("18:00") + timedelta(minutes=number)


some_minutes = st.lists(st.integers(-60, 800), max_size=15).map(sorted)
some_spans = st.tuples(st.integers(-60, 700), st.integers(1, 200)).map(
    lambda pair: Span(minute(pair[0]), minute(pair[0] + pair[1]))
)
causes = st.sampled_from([FULL, BATTERY, LENS])
some_suspicions = st.lists(
    st.builds(
        Suspicion,
        st.just("P1"), causes, some_spans, st.just(Confidence.POSSIBLE), st.just(("a sign",)),
        st.just((1,)),
    ),
    max_size=3,
)  # fmt: skip
some_rulings = st.lists(
    st.builds(
        StretchRuling, st.just("P1"), causes, some_spans, st.booleans(), number=st.integers(1, 9)
    ),
    max_size=3,
)
some_cameras = st.builds(
    camera,
    timelapse_every_min=st.sampled_from([None, 5, 60]),
    working_at_pickup=st.sampled_from([None, True, False]),
    quiet_s=st.sampled_from([None, 30, 300]),
    start=st.sampled_from([None, at("17:30"), at("20:00")]),
    end=st.sampled_from([None, at("06:30"), at("02:00")]),
)


def photos_of(minutes: Sequence[int]) -> list[Photo]:
    """Give a photo a minute."""
    moments = [minute(number) for number in minutes]
    return [Photo(1, "P1", "A.JPG", one.replace(tzinfo=None), true_time=one) for one in moments]


def of_state(stretches: Sequence[Stretch], *states: State) -> list[Span]:
    """Give the joined time of some states inside the night."""
    spans = [one.span for one in stretches if one.state in states]
    return [one for one in clip(union(spans), NIGHT) if one.start < one.end]


@settings(deadline=None)
@given(some_minutes, some_cameras)
def test_with_nothing_set_or_suspected_it_is_what_outcomes_use(
    minutes: list[int], place: Placement
) -> None:
    """The watched stretches of the account are those of `watched`, to the second."""
    bare = replace(place, quiet_s=None)
    taken = photos_of(minutes)
    inside = clip(union(watched(taken, bare, GAP)), NIGHT)
    long = [one for one in inside if one.start < one.end]
    assert of_state(stretches_of(taken, bare, GAP), State.WATCHED) == long


@settings(deadline=None)
@given(some_minutes, some_cameras, some_suspicions, some_rulings, st.booleans())
def test_an_account_is_whole_and_never_better(
    minutes: list[int],
    place: Placement,
    suspicions: list[Suspicion],
    rulings: list[StretchRuling],
    doubt: bool,
) -> None:
    """Stretches follow each other without a hole, and no suspicion adds watched time."""
    taken = photos_of(minutes)
    found = stretches_of(taken, place, GAP, suspicions=suspicions, rulings=rulings)
    found = with_clock_in_doubt(found, "reset") if doubt else found
    assert found[0].span.start == datetime.min.replace(tzinfo=UTC)
    assert found[-1].span.end == datetime.max.replace(tzinfo=UTC)
    whole = account_of(NIGHT, [found], None)
    for stretches in (found, whole.stretches):
        assert all(one.span.start < one.span.end for one in stretches)
        for one, following in pairwise(stretches):
            assert one.span.end == following.span.start
            assert replace(one, span=following.span) != following
    assert (whole.stretches[0].span.start, whole.stretches[-1].span.end) == (
        NIGHT.start,
        NIGHT.end,
    )
    totals = [whole.total(state) for state in State]
    assert sum(totals, timedelta(0)) == NIGHT.end - NIGHT.start
    assert [bool(words) for words in whole.missed] == [
        one.state is not State.WATCHED for one in whole.stretches
    ]
    plain = union(watched(taken, place, GAP))
    for seen in of_state(found, State.WATCHED):
        assert any(held.start <= seen.start and seen.end <= held.end for held in plain)


some_watches = st.tuples(some_minutes, some_cameras, some_suspicions, some_rulings, st.booleans())


@settings(deadline=None, max_examples=300)
@given(st.lists(some_watches, min_size=1, max_size=3), st.integers(0, 719))
def test_the_account_and_the_verdict_agree(watches: Sequence[Any], fed: int) -> None:
    """Unwatched time makes the cell and the watched share; with untrusted time nothing is kept."""
    accounts, records = [], []
    when = f"{minute(fed):%H:%M}"
    for number, (minutes, place, asked, said, doubt) in enumerate(watches, start=1):
        name = f"P{number}"
        named = replace(place, placement=name)
        taken = photos_of(minutes)
        found = stretches_of(
            taken,
            named,
            GAP,
            suspicions=[replace(one, placement=name) for one in asked],
            rulings=[replace(one, placement=name) for one in said],
        )
        accounts.append(with_clock_in_doubt(found, "reset") if doubt else found)
        dull = record(replace(named, start=at("17:30"), end=at("06:30")), stay(when))
        records.append(
            replace(
                dull,
                placement=named,
                visits=dull.visits if number == 1 else (),
                watched=tuple(without_accepted(watched(taken, named, GAP), found)),
                doubted=tuple(doubted(found)),
                clock_doubted=doubt,
            )
        )
    [outcome] = judge([tray()], records)
    account = account_of(NIGHT, accounts, minute(fed))
    unwatched = of_state(account.stretches, State.UNWATCHED)
    assert union(gaps(NIGHT, outcome.watched)) == unwatched
    seen = account.total(State.WATCHED) + account.total(State.UNTRUSTED)
    assert outcome.watched_share == pytest.approx(seen / (NIGHT.end - NIGHT.start))
    by_the_table = not outcome.cell.startswith("check")
    if by_the_table and all(one.start < one.end for one in outcome.watched):
        expected = cover(NIGHT, without(NIGHT, unwatched), minute(fed))
        assert outcome.cell.endswith(expected)
    if account.total(State.UNTRUSTED):
        assert outcome.status is not Status.KEEP
    if outcome.status is Status.KEEP:
        assert [one.state for one in account.stretches] == [State.WATCHED] * len(account.stretches)


@settings(deadline=None)
@given(some_minutes, some_minutes, some_cameras, some_cameras)
def test_a_second_camera_never_takes_time_away(
    minutes: list[int], others: list[int], place: Placement, other: Placement
) -> None:
    """Two cameras together watch what the one or the other watches, in any order."""
    one = stretches_of(photos_of(minutes), place, GAP)
    two = stretches_of(photos_of(others), replace(other, placement="P2"), GAP)
    together = account_of(NIGHT, [one, two], None)
    each = [span for found in (one, two) for span in of_state(found, State.WATCHED)]
    assert of_state(together.stretches, State.WATCHED) == union(each)
    assert account_of(NIGHT, [two, one], None).total(State.WATCHED) == together.total(State.WATCHED)


@settings(deadline=None)
@given(some_minutes, some_suspicions)
def test_refusing_every_suspicion_restores_the_account(
    minutes: list[int], suspicions: list[Suspicion]
) -> None:
    """What was suspected and refused leaves no trace; accepting it all leaves nothing watched."""
    taken, place = photos_of(minutes), camera(working_at_pickup=True)
    rulings = [
        StretchRuling("P1", one.why, one.span, False, number=at_)
        for at_, one in enumerate(suspicions)
    ]
    before = stretches_of(taken, place, GAP)
    assert stretches_of(taken, place, GAP, suspicions=suspicions, rulings=rulings) == before
    accepted = [replace(one, accepted=True) for one in rulings]
    after = stretches_of(taken, place, GAP, suspicions=suspicions, rulings=accepted)
    for one in of_state(after, State.WATCHED, State.UNTRUSTED):
        assert not any(
            max(one.start, held.span.start) < min(one.end, held.span.end) for held in suspicions
        )
