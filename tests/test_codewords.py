"""Codes and what they lead to, in words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from app import codewords
from core.codebook import CodeState, Decision, Waiting
from core.codes import Contradiction, Offer, TrayProposal

ZONE = ZoneInfo("Africa/Johannesburg")
TRAY = TrayProposal("P1", "T2", "D1", 3, listed=False)
OFFER = Offer("P1", "tray T2", TRAY, 3, "The camera watches tray T2", "names T1", "names T1, T2")
DOUBT = Contradiction("Two phones.", (1, 2))


def state(looked_at: int, left: int, damaged: int = 0, with_codes: int = 0) -> CodeState:
    return CodeState(looked_at, left, damaged, with_codes)


@pytest.mark.parametrize(
    ("now", "at_work", "away", "expected"),
    [
        pytest.param(state(0, 0), False, False, "No photo is near an end", id="nothing to do"),
        pytest.param(state(142, 98, with_codes=4), True, False,
                     "142 of 240 photos looked at for codes; 4 show one. The others are being "
                     "looked at, which takes about half a second each.", id="at work"),
        pytest.param(state(0, 12), False, False,
                     "0 of 12 photos looked at for codes; none shows one. They are looked at "
                     "behind the page, once the previews are made.", id="waits"),
        pytest.param(state(3, 9, with_codes=1), False, True,
                     "3 of 12 photos looked at for codes; 1 shows one. The card is not at hand: "
                     "put it in to go on.", id="card out"),
        pytest.param(state(11, 0, 1), False, False,
                     "11 of 12 photos looked at for codes; none shows one. 1 cannot be opened.",
                     id="damaged"),
    ],
)  # fmt: skip
def test_how_far_a_survey_has_come(
    now: CodeState, at_work: bool, away: bool, expected: str
) -> None:
    """How many of how many, what was found, and what becomes of the rest."""
    assert codewords.progress(now, at_work=at_work, away=away).startswith(expected)


def test_the_terminal_is_told_what_waits_and_what_is_left() -> None:
    """One line a placement, and one for each thing that keeps it from being done."""
    waiting = Waiting((OFFER, OFFER), (DOUBT,))
    first, *others = codewords.surveyed("P1", state(10, 1, 1, 3), waiting)
    assert first == (
        "P1: 10 of 12 photos looked at, 3 with codes; 2 proposals and 1 contradiction on the "
        "Clocks page"
    )
    assert others == [
        "  1 not at hand: put the card in, and run the same command again",
        "  1 cannot be opened",
    ]


def test_the_cards_page_says_in_one_line_what_waits() -> None:
    """Nothing where nothing waits; placements by name, five at the most."""
    nothing, offer, doubt = Waiting(), Waiting((OFFER,)), Waiting((), (DOUBT,))
    assert codewords.waits({"P1": nothing}) == ""
    assert codewords.waits({"P1": nothing, "P2": offer}) == (
        "1 proposal from codes in the photos waits on the Clocks page: P2."
    )
    assert codewords.waits({"P1": doubt, "P2": offer}) == (
        "1 proposal and 1 contradiction from codes in the photos wait on the Clocks page: P1, P2."
    )
    many = codewords.waits({f"P{at}": offer for at in range(7)})
    assert many.endswith("P0, P1, P2, P3, P4 and others.")


@pytest.mark.parametrize(
    ("accepted", "key", "did"),
    [(True, "tray T2", "accepted"), (False, "tray T2", "not this"),
     (False, "contradiction: Two phones.", "put aside")],
)  # fmt: skip
def test_who_decided_what_and_when(accepted: bool, key: str, did: str) -> None:
    """In the study's time; taken back, by whom and when too."""
    made = datetime(2026, 3, 15, 16, 0, tzinfo=UTC)
    one = Decision("P1", key, accepted, "Words", by="Ann", made_at=made)
    assert codewords.decided(one, ZONE) == f"Words: {did}, Ann, 15 Mar 2026, 18:00:00"
    back = Decision(
        "P1", key, accepted, "Words", by="Ann", made_at=made, taken_back=made, taken_back_by="Ben"
    )
    assert codewords.decided(back, ZONE).endswith(". Taken back by Ben, 15 Mar 2026, 18:00:00")


def test_what_people_wrote_is_no_markup_in_a_marked_photo() -> None:
    """A deployment may be called anything: it stays text."""
    found = codewords.marked(3, [((0.1, 0.2),) * 4], '"><script>x</script>')
    assert "<script" not in found
    assert 'alt="&quot;&gt;&lt;script&gt;x&lt;/script&gt;"' in found
    assert found.count("<img") == 2
    assert codewords.marked(3, [], "x").count("<img") == 1
