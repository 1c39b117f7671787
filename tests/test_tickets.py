"""Whom the viewer speaks for: only what this study's page signed is believed."""

import base64
import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.viewer import tickets
from app.viewer.tickets import Ticket, TicketError, read, signed, ticket_for
from core.workspace import Workspace

SECRET, OTHER = b"\x01" * 32, b"\x02" * 32
NOMSA = Ticket("Nomsa", instructor=False, made_at=datetime(2026, 3, 14, 9, 26, tzinfo=UTC))


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40), st.booleans())
def test_a_ticket_is_read_as_it_was_signed(who: str, instructor: bool) -> None:
    """Any name comes back, blanks made single, with its role and its time."""
    ticket = ticket_for(who, instructor=instructor)
    assert read(signed(ticket, SECRET), SECRET) == ticket
    assert ticket.who == " ".join(who.split())
    assert ticket.made_at.tzinfo is UTC


def test_a_ticket_without_a_name_may_look() -> None:
    """Nobody said who they are: the ticket is good, and empty."""
    assert read(signed(ticket_for("  ", instructor=False), SECRET), SECRET).who == ""


def forged() -> str:
    """Give Nomsa's ticket with the instructor's role written in, under her seal."""
    seal = signed(NOMSA, SECRET).split(".")[1]
    said = {"who": "Nomsa", "instructor": True, "made_at": NOMSA.made_at.isoformat()}
    return f"{base64.urlsafe_b64encode(json.dumps(said).encode()).decode()}.{seal}"


def sealed(said: object) -> str:
    """Give anything under a good seal."""
    body = tickets._text(json.dumps(said).encode())
    return f"{body}.{tickets._text(tickets._seal(body, SECRET))}"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("", "is missing", id="none"),
        pytest.param(signed(NOMSA, OTHER), "is not one of this study", id="another study's"),
        pytest.param(forged(), "is not one of this study", id="forged role"),
        pytest.param(signed(NOMSA, SECRET)[:-1], "is not one of this study", id="cut at the end"),
        pytest.param(signed(NOMSA, SECRET)[1:], "is not one of this study", id="cut in front"),
        pytest.param(signed(NOMSA, SECRET) + "=", "is not one of this study", id="padded"),
        pytest.param(signed(NOMSA, SECRET).split(".")[0], "cannot be read", id="no seal"),
        pytest.param("Nömsa.x", "cannot be read", id="no ASCII"),
        pytest.param("." * 3000, "cannot be read", id="too long"),
        pytest.param(sealed([]), "cannot be read", id="a list"),
        pytest.param(sealed({"who": "x"}), "cannot be read", id="no time"),
        pytest.param(sealed({"who": "x", "made_at": 5}), "cannot be read", id="no real time"),
    ],
)
def test_anything_else_is_refused_with_words(text: str, words: str) -> None:
    """It is said what is wrong and what to do; nothing of the secret is."""
    with pytest.raises(TicketError, match=f"ticket {words}.*Load the page again"):
        read(text, SECRET)


def test_only_true_makes_an_instructor() -> None:
    """A role that is not exactly true is a student's."""
    said = {"who": "x", "made_at": NOMSA.made_at.isoformat(), "instructor": "yes"}
    assert not read(sealed(said), SECRET).instructor


@given(st.integers(0, 200), st.integers(0, 127))
def test_no_letter_can_be_changed(at: int, letter: int) -> None:
    """A ticket with one letter changed is refused, wherever it stands."""
    text = signed(NOMSA, SECRET)
    changed = text[: at % len(text)] + chr(letter) + text[at % len(text) + 1 :]
    if changed != text:
        with pytest.raises(TicketError):
            read(changed, SECRET)


def test_a_study_keeps_its_secret(demo: Workspace, empty: Workspace) -> None:
    """It is made once, stays when the study is opened again, and differs from any other's."""
    version = demo.version()
    secret = demo.ticket_secret()
    assert len(secret) == 32
    with Workspace.open(demo.folder) as again:
        assert again.ticket_secret() == demo.ticket_secret() == secret
    assert empty.ticket_secret() != secret
    assert demo.version() == version
