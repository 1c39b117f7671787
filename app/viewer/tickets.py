"""Decide whom the viewer speaks for: a ticket that the page signs and the routes believe.

It proves what the page knew when it was drawn, no more: on a computer of one's own whoever opens
the page may type any name. It keeps what was said under a name under that name, whatever the page
shows by the time it arrives. What its holder may do is looked up at every request, in `app.guard`.
"""

import base64
import binascii
import hashlib
import hmac
import json
from dataclasses import dataclass
from datetime import UTC, datetime

from core.errors import LastbiteError

HEADER = "X-Lastbite-Ticket"
LONGEST = 2000
"""More letters are no ticket of ours."""


class TicketError(LastbiteError):
    """A ticket was not made by this study's own page."""

    def __init__(self, what: str) -> None:
        super().__init__(
            f"This page's ticket {what}. Load the page again; tags that wait are kept until then."
        )


@dataclass(frozen=True, slots=True)
class Ticket:
    """Who sits before the page, as the page said when it was drawn."""

    who: str
    """Empty where nobody said yet: they may look, and not tag."""
    instructor: bool
    """Whether they speak as the instructor; on a server only where they are one."""
    made_at: datetime
    way: str = "name"
    """How they signed in, as `Classroom.way` has it."""


def ticket_for(who: str, *, instructor: bool, way: str = "name") -> Ticket:
    """Give a ticket made now; blanks inside and at the ends of the name are made single."""
    return Ticket(" ".join(who.split()), instructor, datetime.now(UTC), way)


def signed(ticket: Ticket, secret: bytes) -> str:
    """Write a ticket so that only who knows the secret could have."""
    said = {
        "who": ticket.who,
        "instructor": ticket.instructor,
        "made_at": ticket.made_at.isoformat(),
        "way": ticket.way,
    }
    body = _text(json.dumps(said).encode())
    return f"{body}.{_text(_seal(body, secret))}"


def read(text: str, secret: bytes) -> Ticket:
    """Read a signed ticket; TicketError for one that is missing, cut, forged or another study's."""
    if not text:
        raise TicketError("is missing")
    body, dot, seal = text.partition(".")
    if not dot or len(text) > LONGEST or not text.isascii():
        raise TicketError("cannot be read")
    if not hmac.compare_digest(_text(_seal(body, secret)), seal):
        raise TicketError("is not one of this study, or was changed")
    try:
        said = json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
        made_at = datetime.fromisoformat(said["made_at"])
        way = str(said.get("way", ""))
        return Ticket(str(said["who"]), said["instructor"] is True, made_at, way)
    except (binascii.Error, ValueError, KeyError, TypeError):
        raise TicketError("cannot be read") from None


def _seal(body: str, secret: bytes) -> bytes:
    return hmac.new(secret, body.encode(), hashlib.sha256).digest()


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()
