"""Which proposals from codes wait for a person: what changes nothing, or was refused, does not."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from builders import at

from core import codes
from core.codes import (
    ClockProposal,
    Contradiction,
    Edge,
    EdgeProposal,
    Ground,
    HandlerProposal,
    Offer,
    Proposals,
    Settled,
    TrayProposal,
)
from core.model import ClockCheck, Photo, Placement

SECOND, MINUTE = timedelta(seconds=1), timedelta(minutes=1)
ZONE = ZoneInfo("Africa/Johannesburg")
OUT = at("18:03")
SHOWN = datetime(2026, 3, 14, 17, 3)  # noqa: DTZ001  what a camera showed
CLOCK = ClockProposal("P1", SHOWN, OUT, 3, "IMG_0003.JPG", 2)
EDGE = EdgeProposal("D1", Edge.SET_OUT, OUT, at("18:00"), 3, by_code=True)
TRAY = TrayProposal("P1", "T2", "D1", 3, listed=False)
PEOPLE = HandlerProposal("P1", 3, 7, ((3, 4), (7, 7)), 3)


def ground(
    checks: Sequence[ClockCheck] = (),
    trays: tuple[str, ...] = ("T1",),
    tagged: Mapping[int, str] | None = None,
) -> Ground:
    photos = {
        number: Photo(number, "P1", f"IMG_{number:04}.JPG", SHOWN, true_time=OUT - 60 * MINUTE)
        for number in range(1, 9)
    }
    return Ground(Placement("P1", trays=trays), photos, checks, tagged or {}, ZONE)


def keys(made: Proposals, *given: Settled, on: Ground | None = None) -> list[str]:
    return [one.key for one in codes.offers(made, on or ground(), *given)]


ALL = Proposals((CLOCK,), (TRAY,), (EDGE,), (PEOPLE,))


def said(kind: int, on: Ground | None = None) -> Offer:
    return codes.offers(ALL, on or ground())[kind]


def test_each_says_what_it_is_what_is_and_what_would_be() -> None:
    """In the study's own time, two hours ahead of UTC, with the file and where the time is from."""
    assert said(0).words == (
        "The camera showed 2026-03-14 17:03:00 when it was 2026-03-14 20:03, as the code in "
        "IMG_0003.JPG and 1 more photo of that stay says"
    )
    assert said(0).now == "IMG_0003.JPG was taken at 2026-03-14 19:03"
    assert said(0).then == "it was taken at 2026-03-14 20:03, and the photos around it move with it"
    assert said(1).words.startswith("The camera watches tray T2")
    assert (said(1).now, said(1).then) == ("the camera log names T1", "it names T1, T2")
    assert said(2).words.startswith("Deployment D1 was set out at 2026-03-14 20:03, by its card")
    assert said(2).now == "the tray log says 2026-03-14 20:00"
    assert said(3).words == (
        "3 photos show our own people, who hold a code (IMG_0003.JPG to IMG_0007.JPG)"
    )
    assert said(3).now == "not tagged"
    tagged = ground(tagged={3: "the visit has tags of Ann"})
    assert said(3, tagged).now == "tagged already: the visit has tags of Ann"


@pytest.mark.parametrize(
    ("shown_off", "true_off", "waits"),
    [
        pytest.param(0, 0, False, id="the very check"),
        pytest.param(3, 3, False, id="three seconds later, as far off"),
        pytest.param(-3, 0, False, id="within three seconds"),
        pytest.param(4, 4, True, id="another moment"),
        pytest.param(0, 4, True, id="the same display, another truth"),
    ],
)
def test_a_check_that_is_there_is_not_proposed(shown_off: int, true_off: int, waits: bool) -> None:
    """Three seconds are a shutter and a screen, a judgement; beyond that it says something else."""
    check = ClockCheck("P1", SHOWN + shown_off * SECOND, OUT + true_off * SECOND)
    found = keys(Proposals(clocks=(CLOCK,)), on=ground([check]))
    assert bool(found) is waits


def test_checks_with_a_blank_cell_say_nothing() -> None:
    """A line of the log that is not filled in yet."""
    blank = [ClockCheck("P1", None, OUT), ClockCheck("P1", SHOWN, None)]
    assert keys(Proposals(clocks=(CLOCK,)), on=ground(blank)) == ["clock 3"]


@pytest.mark.parametrize(
    ("logged", "waits"),
    [
        (OUT, False),
        (OUT - 59 * SECOND, False),
        (OUT - MINUTE, True),
        (OUT + MINUTE, True),
        (None, True),
    ],
)
def test_an_edge_within_the_minute_is_the_same(logged: datetime | None, waits: bool) -> None:
    """People write logs to the minute; exactly a minute off is another time."""
    made = Proposals(edges=(replace(EDGE, logged=logged),))
    assert bool(keys(made)) is waits


def test_a_tray_that_the_log_has_is_not_proposed() -> None:
    """Listed already, nothing is to be changed."""
    assert keys(Proposals(trays=(replace(TRAY, listed=True),))) == []


def test_what_was_refused_waits_no_more() -> None:
    """Each kind by its key; an edge or a check as long as it is about the same minute."""
    whole = codes.offers(ALL, ground())
    refused = [(one.key, codes.time_of(one.proposal)) for one in whole]
    settled = codes.in_force(refused, [])
    assert keys(ALL, settled) == []
    moved = Proposals(edges=(replace(EDGE, at=OUT + 59 * SECOND),))
    assert keys(moved, settled) == []
    moved = Proposals(edges=(replace(EDGE, at=OUT + MINUTE),))
    assert keys(moved, settled) == ["set_out D1 3"]
    again = codes.in_force([*refused, ("set_out D1 3", codes.time_of(moved.edges[0]))], [])
    assert keys(moved, again) == keys(ALL, again) == []


def test_handlers_whose_tags_stand_wait_no_more() -> None:
    """Only they: what the log says by then tells of the others."""
    settled = codes.in_force([], ["handler 3 7", "clock 3"])
    assert keys(Proposals(handlers=(PEOPLE,)), settled) == []


def test_a_contradiction_is_put_aside_by_its_words() -> None:
    """As it was read; when a log has changed, it says something else and is there again."""
    one, other = Contradiction("A and B.", (1, 2)), Contradiction("A and C.", (1, 2))
    made = Proposals(contradictions=(one, other))
    settled = codes.in_force([(codes.key_of(one), "")], [])
    assert codes.open_contradictions(made, settled) == [other]


def test_findings_of_check() -> None:
    """A contradiction has to be put right; what waits is good to know, in one line."""
    whole = codes.offers(ALL, ground())
    found = codes.findings("P1", whole, [Contradiction("A and B.", (1, 2))])
    assert [(one.thing, one.serious) for one in found] == [
        ("placement P1", True),
        ("placement P1", False),
    ]
    assert found[0].message == "A and B."
    assert found[1].message.startswith("4 proposals from codes in its photos. The camera showed")
    assert found[1].message.endswith("Accept or refuse on the Clocks page.")
    [single] = codes.findings("P1", whole[:1], [])
    assert single.message.startswith("1 proposal from codes")
    assert codes.findings("P1", [], []) == []
