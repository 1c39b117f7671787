"""Decide what is kept for one browser, and read it: session state, query parameters, environment.

No other file reads them.
"""

import contextlib
import os
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import streamlit as st

from app import guard, viewer
from app.viewer import tickets
from core import settings
from core.errors import StudyError
from core.people import Role, SignIn, Who
from core.workspace import Workspace

STUDY_VARIABLE = "LASTBITE_STUDY"
"""The environment variable that names the study's folder."""
LONGEST_WAIT_S = 3.0
"""So long a browser waits at most while others draw their first page (a judgement)."""

_TURN = threading.Lock()


# --- the study -------------------------------------------------------------------------------


def workspace() -> Workspace:
    """Give the study as whoever sits here may use it; what they may not is refused in words."""
    return guard.guarded(study(), who())


def study() -> Workspace:
    """Give the study that this server shows, whole; one for all browsers."""
    folder = os.environ.get(STUDY_VARIABLE, "")
    if not folder:
        raise StudyError("No study is named. Start the page with 'lastbite page STUDY'.")
    file = Path(folder) / settings.FILE_NAME
    return _opened(folder, file.stat().st_mtime_ns if file.is_file() else 0)


@st.cache_resource(show_spinner=False)
def _opened(folder: str, _changed_ns: int) -> Workspace:
    return Workspace.open(Path(folder))


def photo_address(size: str, photo: int) -> str:
    """Give where a photo is served in a size: `strip`, `review` or `original`.

    It names the study and what the file holds: a browser keeps what it got under an address.
    """
    whole = study()
    edition = whole.previews.editions([photo]).get(photo, "")
    return f"/photo/{size}/{photo}?of={viewer.study_name(whole.ticket_secret())}&edition={edition}"


# --- who is here -----------------------------------------------------------------------------


def who() -> Who:
    """Give who sits here, with the role that they have now; nobody where none has signed in."""
    whole = study()
    if whole.settings.sign_in is SignIn.NAME:
        here = whole.people.who(tagger(), says_instructor=kept("instructor") == "yes")
        return replace(here, alone=bool(here.name) and whole.people.is_alone(here.name))
    return whole.people.who(tagger() if _proved() == whole.people.way() else "")


def tagger() -> str:
    """Give the name under which this browser tags; empty until somebody said."""
    return str(st.session_state.get("own_tagger", ""))


def set_tagger(name: str | None) -> None:
    """Keep the name; blanks inside and at the ends are made single."""
    st.session_state["own_tagger"] = " ".join((name or "").split())
    st.session_state["own_said_name"] = bool(tagger()) or has_said()


def has_said() -> bool:
    """Say whether this browser gave a name since it opened the page, or took it back."""
    return bool(st.session_state.get("own_said_name"))


def signed_in(name: str, way: str) -> None:
    """Keep that somebody proved to be this person, in a way that holds until it is changed."""
    set_tagger(name)
    st.session_state["own_way"] = way


def _proved() -> str:
    return str(st.session_state.get("own_way", ""))


def signed_out() -> None:
    """Forget who was here, and all that they chose."""
    for name in [str(one) for one in st.session_state if str(one).startswith("own_")]:
        del st.session_state[name]


def ticket(who: Who) -> str:
    """Give what is shown to the routes to say who asks; made once for each name and role."""
    whole = study()
    key = f"own_ticket_{who.role}_{who.name}_{whole.people.way()}"
    if key not in st.session_state:
        instructs = who.role is Role.INSTRUCTOR
        new = tickets.ticket_for(who.name, instructor=instructs, way=whole.people.way())
        st.session_state[key] = tickets.signed(new, whole.ticket_secret())
    return str(st.session_state[key])


def cookie(name: str) -> str:
    """Give a cookie of this browser, as it was when the page was opened."""
    return str(st.context.cookies.get(name, ""))


def header(name: str) -> str:
    """Give a header of this browser's connection, as a proxy set it."""
    return str(st.context.headers.get(name, ""))


def provider() -> str:
    """Give where the provider of the accounts says what it is, as `oidc.toml` has it."""
    return str(st.secrets["auth"]["server_metadata_url"])


def kept(name: str, default: str = "") -> str:
    """Give a choice that outlives a change of page; the first time from the address line."""
    return str(st.session_state.get(f"own_{name}", st.query_params.get(name, default)))


def keep(name: str, value: object) -> None:
    """Keep a choice across pages."""
    st.session_state[f"own_{name}"] = "" if value is None else str(value)


def hold(name: str, value: object) -> None:
    """Hold something for this browser that is no text; None lets it go."""
    st.session_state[f"own_held_{name}"] = value


def held(name: str) -> object:
    """Give what is held under a name; None where nothing is."""
    return st.session_state.get(f"own_held_{name}")


def widget(key: str, default: object = None) -> object:
    """Give what a control on the page holds now."""
    return st.session_state.get(key, default)


def set_widget(key: str, value: object) -> None:
    """Give a control another value, before the page is drawn."""
    st.session_state[key] = value


def dark() -> bool:
    """Say whether this browser shows the pages light on dark."""
    return st.context.theme.type == "dark"


@contextlib.contextmanager
def in_turn() -> Iterator[None]:
    """Draw the first page of this browser when nobody else draws their first one.

    A class opens the page at one moment: drawn all at once, each would be ready as late as the
    last, and tags of people who work already would wait behind all of them.
    """
    if held("drawn"):
        yield
        return
    mine = _TURN.acquire(timeout=LONGEST_WAIT_S)
    try:
        yield
    finally:
        if mine:
            _TURN.release()
    hold("drawn", True)


# --- where the tagger is ---------------------------------------------------------------------


def place() -> tuple[str, int] | None:
    """Give the placement and a photo of the run to begin with; None: the first that is due."""
    here: tuple[str, int] | None = st.session_state.get("own_place")
    return here


def go(placement: str, photo: int | None) -> None:
    """Show the run that holds this photo next, alone: not on the quiet sheet."""
    keep("mode", None)
    st.session_state["own_place"] = None if photo is None else (placement, photo)
    st.session_state["own_turn"] = turn() + 1


def turn() -> int:
    """Count the moves that this browser was sent on."""
    return int(st.session_state.get("own_turn", 0))


# --- what to say on the next run -------------------------------------------------------------


def say(kind: str, words: str) -> None:
    """Leave a message (`good`, `bad`) for the next time that the page is drawn."""
    st.session_state.setdefault("own_words", []).append((kind, words))


def said() -> list[tuple[str, str]]:
    """Take the messages that wait."""
    words: list[tuple[str, str]] = st.session_state.pop("own_words", [])
    return words


def count_up(name: str) -> int:
    """Raise a counter: a control whose key holds it starts afresh."""
    st.session_state[f"own_count_{name}"] = counter(name) + 1
    return counter(name)


def counter(name: str) -> int:
    """Give a counter."""
    return int(st.session_state.get(f"own_count_{name}", 0))
