"""Decide what the pages let somebody do: the one check that screens and routes ask.

Who may do what is decided in `core.people`. Routes ask `who_of` and `core.people.refuse`; a
screen is given the study by `guarded`, where everything that is not in `READS` asks for an
instructor, so that what is added to the study later is closed until somebody opens it here.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, cast
from weakref import WeakKeyDictionary

from app.viewer import tickets
from app.viewer.tickets import Ticket, TicketError
from core import people
from core.people import Act, Role, SignIn, Who
from core.workspace import Workspace

LONGEST = timedelta(days=30)
"""A sign-in on a server holds so long (as Streamlit's own)."""
READS = frozenset(
    {
        # the study and its logs
        "species", "placements", "trays", "clock_checks", "log_rows", "reading", "version",
        # photos
        "cards", "card_in", "photo_rows", "missing_originals", "base", "wholes", "outlines",
        "previews.stock", "previews.placements", "previews.size",
        # answers and what follows from them: of a study in which the unsettled is hidden
        "view", "visit_rows", "outcomes", "outcome", "outcome_rows", "check",
        # what cameras and clocks tell, without what anybody said of animals
        "clocks.history", "clocks.checks", "watching.account", "watching.at_tray", "watching.ruled",
        "watching.rhythms_at_tray",
        # what the outcomes say together; other settings would tell what is not settled
        "analysis.foragers", "analysis.microhabitats", "analysis.seasons", "analysis.choice",
        "analysis.outcomes", "analysis.analyse", "analysis.by_mass", "analysis.daylight",
        "analysis.trays", "analysis.placements",
        # people
        "tagger", "taggers", "people.share_of", "people.how_handed_out", "people.sheet",
    }
)  # fmt: skip
"""What every tagger may ask of a study on a server."""
PLAIN = frozenset({"settings"})
"""Parts of a study that are values, and hold nothing that can be called."""

_SHOWN: "WeakKeyDictionary[Workspace, Workspace]" = WeakKeyDictionary()


# --- who it is ---------------------------------------------------------------------------------


def who_of(workspace: Workspace, ticket: Ticket) -> Who:
    """Give who sends a ticket, with the role that they have now.

    TicketError for one that was made for another way to sign in, before the codes were changed,
    or too long ago.
    """
    if ticket.way != workspace.people.way():
        raise TicketError("is from before the study's sign-in was changed")
    sign_in = workspace.settings.sign_in
    if sign_in is not SignIn.NAME and datetime.now(UTC) - ticket.made_at > LONGEST:
        raise TicketError("is too old")
    who = workspace.people.who(ticket.who, says_instructor=ticket.instructor)
    if who.role is Role.INSTRUCTOR and not ticket.instructor:
        return replace(who, role=Role.TAGGER)  # an instructor who tags as one of the readers
    return who


def of_request(workspace: Workspace, signed: str) -> Who:
    """Give who sends a request with a signed ticket."""
    return who_of(workspace, tickets.read(signed, workspace.ticket_secret()))


def may_look(workspace: Workspace, signed: str) -> bool:
    """Say whether pictures are shown to whoever sends this ticket (in a cookie)."""
    if workspace.settings.sign_in is SignIn.NAME:
        return True
    try:
        return people.may(of_request(workspace, signed), Act.LOOK)
    except TicketError:
        return False


# --- what a screen is given --------------------------------------------------------------------


def guarded(workspace: Workspace, who: Who) -> Workspace:
    """Give the study as somebody may use it: whole, without what is unsettled, or only to read."""
    shown = workspace if people.may(who, Act.SEE_ALL) else _as_all_may_see(workspace)
    if people.may(who, Act.CHANGE):
        return shown
    return cast("Workspace", Guarded(shown, who))


def _as_all_may_see(workspace: Workspace) -> Workspace:
    if workspace not in _SHOWN:
        _SHOWN[workspace] = workspace.as_all_may_see()
    return _SHOWN[workspace]


class Guarded:
    """A study, or a part of one, of which somebody may only ask what is in `READS`."""

    def __init__(self, whole: object, who: Who, within: str = "") -> None:
        self._whole = whole
        self._who = who
        self._within = within

    def __getattr__(self, name: str) -> Any:
        """Give what is asked for: a value, a part that is guarded too, or what may be called."""
        value = getattr(self._whole, name)
        dotted = f"{self._within}{name}"
        if dotted in PLAIN:
            return value
        if callable(value):
            return value if dotted in READS else _refusing(self._who)
        if type(value).__module__.startswith("core."):
            return Guarded(value, self._who, f"{dotted}.")
        return value


def _refusing(who: Who) -> Callable[..., None]:
    def refused(*_: object, **__: object) -> None:
        people.refuse(who, Act.CHANGE)

    return refused
