"""Every moment of a window watched, unwatched or untrusted, why, and what could be missed there."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from builders import at, camera

from core.coverage import (
    Confidence,
    State,
    Stretch,
    StretchRuling,
    Suspicion,
    Why,
    account_of,
    could_be_missed,
    lens_blocked,
    stretches_of,
    with_clock_in_doubt,
)
from core.model import ClockFlag, Photo, Span

GAP = timedelta(seconds=120)
NIGHT = Span(at("18:00"), at("06:00"))
MARKS = {
    Why.PROVEN: "+",
    Why.WORKING_AT_PICKUP: "working",
    Why.CLOCK: "clock",
    Why.CARD_FULL: "full",
    Why.BATTERY_DEAD: "battery",
    Why.LENS_BLOCKED: "lens",
    Why.QUIET: "quiet",
    Why.TIMELAPSE_MISSING: "missing",
    Why.DEAD_AT_PICKUP: "dead",
    Why.AFTER_LAST: "after",
    Why.BEFORE_FIRST: "before",
    Why.NO_PHOTO: "none",
    Why.NO_CAMERA: "no camera",
}


def shots(clocks: str) -> list[Photo]:
    """Give photos by their true times; `~` before one: at an hour the clock showed twice."""
    found = []
    for number, clock in enumerate(clocks.split(), start=1):
        moment = at(clock.lstrip("~"))
        flag = ClockFlag.TWICE if clock.startswith("~") else ClockFlag.NONE
        dull = Photo(number, "P1", f"{number}.JPG", moment.replace(tzinfo=None))
        found.append(replace(dull, true_time=moment, clock_flag=flag))
    return found


def span(text: str) -> Span:
    """Give a stretch written as `18:00-20:00`."""
    start, _, end = text.partition("-")
    return Span(at(start), at(end))


def told(stretches: Sequence[Stretch]) -> str:
    """Write stretches as `18:00 + 22:00 after`: when each begins and why it is so."""
    return " ".join(f"{one.span.start:%H:%M} {MARKS[one.why]}" for one in stretches)


def night(clocks: str, last: str | None = None, **values: Any) -> str:
    """Account for the night by one camera."""
    found = stretches_of(shots(clocks), camera(**values), GAP)
    seen = None if last is None else at(last)
    return told(account_of(NIGHT, [found], seen).stretches)


HOURLY: dict[str, Any] = {"timelapse_every_min": 60}


@pytest.mark.parametrize(
    ("clocks", "values", "expected"),
    [
        pytest.param("17:35 06:05", {}, "18:00 +", id="throughout"),
        pytest.param("17:35 23:00", {}, "18:00 + 23:00 after", id="nothing after 23:00"),
        pytest.param(
            "17:35 23:00", {"working_at_pickup": False}, "18:00 + 23:00 dead", id="dead battery"
        ),
        pytest.param(
            "17:35 23:00", {"working_at_pickup": True}, "18:00 + 23:00 working", id="working"
        ),
        pytest.param("20:00 06:05", {}, "18:00 before 20:00 +", id="nothing before 20:00"),
        pytest.param("", {}, "18:00 none", id="no photo at all"),
        pytest.param("21:00", {}, "18:00 before 21:00 after", id="one photo, one moment"),
        pytest.param("15:00 09:00", {}, "18:00 none", id="photos of other days"),
        pytest.param(
            "17:35 06:05",
            {"start": at("19:00"), "end": at("05:00")},
            "18:00 no camera 19:00 none 05:00 no camera",
            id="there for a part of the night, its photos outside that",
        ),
        pytest.param(
            "19:00 05:00",
            {"start": at("19:00"), "end": at("05:00")},
            "18:00 no camera 19:00 + 05:00 no camera",
            id="there for a part of the night",
        ),
        pytest.param(
            "19:00 05:00", {"start": None, "end": None}, "18:00 before 19:00 + 05:00 after",
            id="the log does not say from when to when",
        ),
        pytest.param(
            "18:00 19:00 22:00 06:05",
            HOURLY,
            "18:00 + 19:00 missing 22:00 missing",
            id="time-lapse photos missing",
        ),
        pytest.param(
            "18:00 19:00 20:00",
            HOURLY | {"working_at_pickup": False},
            "18:00 + 20:00 dead",
            id="dead, with time-lapse",
        ),
        pytest.param(
            "18:00 19:00 20:00",
            HOURLY | {"working_at_pickup": True},
            "18:00 + 20:00 missing",
            id="working, yet time-lapse photos are missing",
        ),
    ],
)  # fmt: skip
def test_why_each_part_of_a_night_is_watched_or_not(
    clocks: str, values: dict[str, Any], expected: str
) -> None:
    """Every moment of the window is in one stretch with its reason."""
    assert night(clocks, **values) == expected


@pytest.mark.parametrize(
    ("clocks", "values", "expected"),
    [
        pytest.param("17:35 ~01:30 06:05", {}, "18:00 +", id="between two proofs"),
        pytest.param("17:35 22:00 ~01:30", {}, "18:00 + 22:00 clock 01:30 after", id="the last"),
        pytest.param("~01:30 04:00 06:05", {}, "18:00 before 01:30 clock 04:00 +", id="the first"),
        pytest.param(
            "~01:30 ~01:40", {}, "18:00 none 01:30 clock 01:40 none", id="all there are"
        ),
        pytest.param(
            "18:00 19:00 20:00 21:00 22:00 23:00 00:00 ~01:00 ~02:00 03:00 04:00 05:00 06:00",
            HOURLY,
            "18:00 + 00:00 clock 03:00 +",
            id="hourly photos through the hour that was shown twice",
        ),
    ],
)  # fmt: skip
def test_an_hour_that_was_shown_twice(clocks: str, values: dict[str, Any], expected: str) -> None:
    """Photos of an unsure hour prove nothing, yet the time they may belong to is not just dark."""
    assert night(clocks, **values) == expected


def test_a_clock_that_nobody_trusts() -> None:
    """With its clock in doubt, what a camera watched is untrusted; unwatched time stays so."""
    found = stretches_of(shots("19:00 02:00"), camera(start=at("19:00")), GAP)
    whole = account_of(NIGHT, [with_clock_in_doubt(found, "set back an hour")], None)
    assert told(whole.stretches) == "18:00 no camera 19:00 clock 02:00 after"
    assert [one.state for one in whole.stretches] == [
        State.UNWATCHED, State.UNTRUSTED, State.UNWATCHED,
    ]  # fmt: skip
    assert whole.stretches[1].said == "set back an hour"


def test_what_the_camera_showed_when_it_fell_silent() -> None:
    """The first missing time-lapse photo bounds when the camera stopped."""
    place = camera(**HOURLY, working_at_pickup=False)
    *_, silence, _ = stretches_of(shots("18:00 19:00 20:20"), place, GAP)
    assert silence.why is Why.DEAD_AT_PICKUP
    assert silence.said == "a time-lapse photo was due when the camera showed 2026-03-14 21:00"
    for end, said in (("20:50", ""), ("21:00", ""), ("21:01", silence.said)):
        *_, ended, _ = stretches_of(shots("18:00 19:00 20:20"), replace(place, end=at(end)), GAP)
        assert (ended.why, ended.said) == (Why.DEAD_AT_PICKUP, said)
    *_, just_before, _ = stretches_of(shots("18:00 18:59:58"), place, GAP)
    assert just_before.said == "a time-lapse photo was due when the camera showed 2026-03-14 20:00"


# --- quiet time --------------------------------------------------------------------------------


def test_quiet_time_longer_than_the_gap_is_cut_out() -> None:
    """Five minutes blind after each trigger; within the gap, as for one minute, nothing is."""
    clocks = "17:35 20:00 20:05 23:00 06:05"
    assert night(clocks, quiet_s=300) == (
        "18:00 + 20:00 quiet 20:05 quiet 20:10 + 23:00 quiet 23:05 +"
    )
    assert night(clocks, quiet_s=60) == "18:00 +"
    assert night(clocks, quiet_s=120) == "18:00 +"
    assert night(clocks, quiet_s=121) == (
        "18:00 + 20:00 quiet 20:02 + 20:05 quiet 20:07 + 23:00 quiet 23:02 +"
    )


def test_quiet_time_takes_from_watched_time_only() -> None:
    """After the last photo of a dead camera it is dead, not quiet; and so before suspicions."""
    assert night("17:35 23:00", quiet_s=300, working_at_pickup=False) == "18:00 + 23:00 dead"
    assert night("17:35 23:00", quiet_s=300, working_at_pickup=True) == (
        "18:00 + 23:00 quiet 23:05 working"
    )


def test_two_neighbouring_quiet_times_are_two() -> None:
    """A retrigger at the end of the quiet time begins another, and each visit may be missed."""
    found = stretches_of(shots("20:00 20:05"), camera(quiet_s=300, working_at_pickup=True), GAP)
    blind = [one for one in found if one.why is Why.QUIET]
    assert [one.span for one in blind] == [span("20:00-20:05"), span("20:05-20:10")]
    assert [one.said for one in blind] == [
        "300 s of quiet after 1.JPG",
        "300 s of quiet after 2.JPG",
    ]
    sentence = account_of(NIGHT, [found], None).sentence
    assert "stayed quiet 2 times after a trigger: visits shorter than 5 min" in sentence


# --- suspicions and what people say of them ----------------------------------------------------


def suspected(why: Why, text: str, placement: str = "P1") -> Suspicion:
    """Give a suspicion with one piece of evidence."""
    return Suspicion(placement, why, span(text), Confidence.POSSIBLE, ("a sign",), (1,))


def ruling(why: Why, text: str, accepted: bool = True, **values: Any) -> StretchRuling:
    """Give what ann said of it."""
    dull = StretchRuling("P1", why, span(text), accepted, "looked", "ann", number=1)
    return replace(dull, **values)


FULL, LENS = Why.CARD_FULL, Why.LENS_BLOCKED


@pytest.mark.parametrize(
    ("suspicions", "rulings", "expected"),
    [
        pytest.param([], [], "18:00 + 23:00 working", id="nothing"),
        pytest.param(
            [suspected(FULL, "23:00-06:30")], [], "18:00 + 23:00 full?", id="only suspected"
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(FULL, "23:00-06:30")],
            "18:00 + 23:00 full",
            id="accepted",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(FULL, "23:00-06:30", False)],
            "18:00 + 23:00 working",
            id="refused",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(FULL, "23:00-06:30", taken_back=at("12:00"))],
            "18:00 + 23:00 full?",
            id="accepted and taken back",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(FULL, "23:00-06:30"), ruling(FULL, "01:00-06:30", False, number=2)],
            "18:00 + 23:00 full 01:00 working",
            id="a later ruling holds where two meet",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(FULL, "23:00-06:30", number=2), ruling(FULL, "01:00-06:30", False)],
            "18:00 + 23:00 full",
            id="later by number, not by its place in the list",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(LENS, "23:00-06:30", False)],
            "18:00 + 23:00 full?",
            id="refused for another cause",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30")],
            [ruling(FULL, "23:00-06:30", placement="P2")],
            "18:00 + 23:00 full?",
            id="accepted at another camera",
        ),
        pytest.param(
            [suspected(FULL, "23:00-06:30", "P2")], [], "18:00 + 23:00 working", id="another camera"
        ),
        pytest.param(
            [suspected(LENS, "19:00-21:00")],
            [ruling(LENS, "19:00-20:00")],
            "18:00 + 19:00 lens 20:00 lens? 21:00 + 23:00 working",
            id="a part is ruled on",
        ),
        pytest.param(
            [suspected(LENS, "19:00-21:00"), suspected(FULL, "20:00-22:00")],
            [],
            "18:00 + 19:00 lens? 21:00 full? 22:00 + 23:00 working",
            id="two suspicions overlap",
        ),
        pytest.param(
            [], [ruling(LENS, "19:00-21:00")], "18:00 + 19:00 lens 21:00 + 23:00 working",
            id="accepted stays accepted when it is no longer suspected",
        ),
    ],
)  # fmt: skip
def test_suspected_until_a_person_rules(
    suspicions: list[Suspicion], rulings: list[StretchRuling], expected: str
) -> None:
    """Suspected time is untrusted, accepted time unwatched, refused time as it was before."""
    place = camera(working_at_pickup=True)
    found = stretches_of(shots("17:35 23:00"), place, GAP, suspicions=suspicions, rulings=rulings)
    stretches = account_of(NIGHT, [found], None).stretches
    marked = " ".join(
        f"{one.span.start:%H:%M} {MARKS[one.why]}{'?' * (one.why in {FULL, LENS})}"
        if one.state is State.UNTRUSTED
        else f"{one.span.start:%H:%M} {MARKS[one.why]}"
        for one in stretches
    )
    assert marked == expected


def test_a_ruling_goes_with_its_photos() -> None:
    """A clock correction of an hour moves the photos that were looked at, and the ruling too."""
    ruled = ruling(LENS, "19:00-21:00", look_at=(1,))
    for suspicions, expected in (
        ([suspected(LENS, "20:00-22:00")], "18:00 + 20:00 lens 22:00 + 23:00 working"),
        ([], "18:00 + 19:00 lens 21:00 + 23:00 working"),
        ([suspected(FULL, "20:00-22:00")], "18:00 + 19:00 lens 21:00 full 22:00 + 23:00 working"),
    ):
        found = stretches_of(
            shots("17:35 23:00"),
            camera(working_at_pickup=True),
            GAP,
            suspicions=suspicions,
            rulings=[ruled],
        )
        assert told(account_of(NIGHT, [found], None).stretches) == expected


def test_a_suspicion_makes_nothing_better() -> None:
    """Time that is unwatched anyway stays so while a card is only suspected of being full."""
    place = camera(working_at_pickup=False)
    full = [suspected(FULL, "23:00-06:30")]
    found = stretches_of(shots("17:35 23:00"), place, GAP, suspicions=full)
    assert told(account_of(NIGHT, [found], None).stretches) == "18:00 + 23:00 dead"
    accepted = stretches_of(
        shots("17:35 23:00"), place, GAP, suspicions=full, rulings=[ruling(FULL, "23:00-06:30")]
    )
    assert told(account_of(NIGHT, [accepted], None).stretches) == "18:00 + 23:00 full"
    assert accepted[-2].said == "accepted by ann; looked"


def test_a_blocked_lens_from_its_photos_to_the_account() -> None:
    """Five dark photos from 21:00 to 22:00: untrusted from the clear one before to the next."""
    taken = shots("17:35 20:00 21:00 21:10 21:20 21:40 22:00 23:30 06:05")
    dark = [0.3, 0.3, *[0.01] * 5, 0.3, 0.3]
    found = lens_blocked(taken, camera(), np.array(dark), np.array(dark))
    stretches = stretches_of(taken, camera(), GAP, suspicions=found)
    whole = account_of(NIGHT, [stretches], at("23:30"))
    assert told(whole.stretches) == "18:00 + 20:00 lens 23:30 +"
    assert whole.missed[::2] == ("", "")
    assert whole.missed[1] == (
        "If the lens was blocked, any visit in these 3 h 30 min was missed; the last one on the "
        "tray was seen later, so only the count is a minimum."
    )


# --- two cameras -------------------------------------------------------------------------------


def test_two_cameras_at_one_tray_watch_together() -> None:
    """The better of two counts at each moment, and the stretch says whose it is."""
    early = stretches_of(shots("17:35 22:00"), camera("A", working_at_pickup=False), GAP)
    late = stretches_of(shots("21:00 03:00"), camera("B", start=at("20:30")), GAP)
    for both in ([early, late], [late, early]):
        found = account_of(NIGHT, both, None).stretches
        assert told(found) == "18:00 + 22:00 + 03:00 dead"
        assert [one.placement for one in found] == ["A", "B", "A"]


def test_untrusted_time_is_better_than_none() -> None:
    """Where one camera is dead and the other doubtful, the time is untrusted, not unwatched."""
    dead = stretches_of(shots("17:35 19:00"), camera("A", working_at_pickup=False), GAP)
    sound = stretches_of(shots("17:35 06:05"), camera("B"), GAP)
    doubt = with_clock_in_doubt(sound, "it was reset")
    found = account_of(NIGHT, [dead, doubt], None).stretches
    assert told(found) == "18:00 + 19:00 clock"


def test_no_camera_at_all() -> None:
    """A tray that no placement names: nobody watched it."""
    assert told(account_of(NIGHT, [], None).stretches) == "18:00 no camera"


# --- in words ----------------------------------------------------------------------------------


def stretch(text: str, state: State, why: Why) -> Stretch:
    """Give a stretch of P1."""
    return Stretch(span(text), state, why, "P1")


@pytest.mark.parametrize(
    ("one", "last", "words"),
    [
        pytest.param(stretch("18:00-20:00", State.WATCHED, Why.PROVEN), "19:00", "", id="watched"),
        pytest.param(
            stretch("20:00-23:30", State.UNWATCHED, Why.AFTER_LAST),
            "19:00",
            "Any visit in these 3 h 30 min could have been missed; it may have come after the last "
            "one seen, and then another animal fed last.",
            id="after the last visit",
        ),
        pytest.param(
            stretch("20:00-23:30", State.UNWATCHED, Why.BEFORE_FIRST),
            "23:30",
            "Any visit in these 3 h 30 min could have been missed; the last one on the tray was "
            "seen later, so only the count is a minimum.",
            id="before the last visit",
        ),
        pytest.param(
            stretch("20:00-23:30", State.UNWATCHED, Why.AFTER_LAST),
            None,
            "Any visit in these 3 h 30 min could have been missed; none was seen on the tray, so "
            "one may have been all there was.",
            id="nobody was seen",
        ),
        pytest.param(
            stretch("20:00-20:05", State.UNTRUSTED, Why.QUIET),
            "19:00",
            "A visit that began and ended in these 5 min could have been missed.",
            id="quiet",
        ),
        pytest.param(
            stretch("20:00-21:00", State.UNTRUSTED, Why.CLOCK),
            "22:00",
            "Photos of these 1 h may belong to another time, so any visit could have been missed; "
            "the last one on the tray was seen later, so only the count is a minimum.",
            id="clock",
        ),
        pytest.param(
            stretch("20:00-21:00", State.UNTRUSTED, Why.CARD_FULL),
            "19:00",
            "If the card was full, any visit in these 1 h was missed; it may have come after the "
            "last one seen, and then another animal fed last.",
            id="suspected",
        ),
        pytest.param(
            stretch("20:00-21:00", State.UNWATCHED, Why.CARD_FULL),
            "19:00",
            "Any visit in these 1 h could have been missed; it may have come after the last one "
            "seen, and then another animal fed last.",
            id="accepted",
        ),
    ],
)
def test_what_could_have_been_missed(one: Stretch, last: str | None, words: str) -> None:
    """Which visits, and what that would change: the count, or the last feeder too."""
    assert could_be_missed(one, None if last is None else at(last)) == words


@pytest.mark.parametrize(
    ("clocks", "values", "last", "sentence"),
    [
        pytest.param(
            "17:35 06:05",
            {},
            "20:00",
            "Every moment was watched. An animal that did not trigger the camera can still have "
            "been missed.",
            id="watched throughout",
        ),
        pytest.param(
            "17:35 23:30",
            {},
            "23:30",
            "Of 12 h, 6 h 30 min not watched. Any visit in 6 h 30 min could have been missed; it "
            "may have come after the last one seen, and then another animal fed last.",
            id="one gap at the end",
        ),
        pytest.param(
            "19:00 20:00 22:00 23:00 00:00 01:00 02:00 03:00 04:00 05:00 06:00",
            HOURLY,
            "04:00",
            "Of 12 h, 3 h not watched. Any visit in 2 stretches (the longest 2 h) could have been "
            "missed; the last one on the tray was seen later, so only the count is a minimum.",
            id="two gaps before the last visit",
        ),
        pytest.param(
            "17:35 20:00 23:00 06:05",
            {"quiet_s": 300},
            "23:00",
            "Of 12 h, 10 min not trusted. The camera stayed quiet 2 times after a trigger: visits "
            "shorter than 5 min could have been missed there.",
            id="quiet",
        ),
        pytest.param(
            "17:35 20:00 23:00 ~01:30",
            {"quiet_s": 300},
            None,
            "Of 12 h, 7 h not watched and 5 min not trusted. Any visit in 2 stretches "
            "(the longest 4 h 30 min) could have been missed; none was seen on the tray, so one "
            "may have been all there was. The camera stayed quiet once after a trigger: visits "
            "shorter than 5 min could have been missed there.",
            id="all at once",
        ),
    ],
)
def test_a_sentence_for_the_window(
    clocks: str, values: dict[str, Any], last: str | None, sentence: str
) -> None:
    """How much was not watched, and which visits could have been missed, in two or three lines."""
    found = stretches_of(shots(clocks), camera(**values), GAP)
    whole = account_of(NIGHT, [found], None if last is None else at(last))
    assert whole.sentence == sentence


def test_every_reason_has_its_words_and_its_mark() -> None:
    """No two reasons read the same, and this file knows them all."""
    assert set(MARKS) == set(Why)
    assert len({str(why) for why in Why}) == len(Why)
